"""Why a room cannot be done, and with which figures: each step on a floor made up by hand."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.core.messages import Message
from cureplan.planning.floor.layers import Layer
from cureplan.planning.floor.limits import Breach
from cureplan.planning.schedule import conflict
from cureplan.planning.schedule.conflict import LIMITS, Some, _Windows
from cureplan.planning.schedule.outcome import Failure
from cureplan.planning.schedule.placing import Span
from cureplan.planning.schedule.problem import NEVER, stage_of
from cureplan.planning.schedule.slots import Slots

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()
SLOTS = Slots(origin_s=NIGHT_S)


def at(minutes):
    return (NIGHT + timedelta(minutes=float(minutes))).isoformat()


def s_at(minutes):
    return NIGHT_S + 60.0 * minutes


def stage(begins, lasts=10, **more):
    begins = np.asarray(begins)
    given = {"opens": begins + 60, "closes": NEVER, **more}
    return stage_of(crew=0, begins=begins, lasts=lasts, **given)


@dataclass(frozen=True)
class Policy:
    margin_s: float = 180.0
    dew_margin_k: float = 3.0


@dataclass(frozen=True)
class Room:
    name: str
    open_for: str = "wash-down"


@dataclass(frozen=True)
class Access:
    begins: datetime = NIGHT
    open_by: datetime = NIGHT + timedelta(days=1)


@dataclass(frozen=True)
class Job:
    rooms: tuple = (Room("Bar"), Room("Hall"))
    policy: Policy = Policy()
    access: Access = Access()
    crew: object = field(
        default_factory=lambda: Made(pour_shifts=(), topcoat_shifts=(), setup_s=600.0)
    )
    site: object = field(default_factory=lambda: Made(zone=UTC))
    cards: object = field(
        default_factory=lambda: Made(slurry=Made(limits=Made(mixed_c=(10.0, 30.0))))
    )

    def room(self, name):
        return next(room for room in self.rooms if room.name == name)


# Whether there is a way, and which limits leave none


@pytest.mark.parametrize(
    ("plain", "whole", "goes"),
    [((1,), None, True), (None, (1,), True), (None, None, False), ((1,), (1,), True)],
)
def test_a_room_goes_with_whatever_margin_or_with_remedies(monkeypatch, plain, whole, goes):
    monkeypatch.setattr(
        Some, "begins", lambda one: plain if one.job.policy.margin_s == -86_400.0 else whole
    )
    assert Some(Job(), None, ("Bar",), frozenset()).goes() == goes


@pytest.mark.parametrize(
    ("breaks", "named", "says"),
    [
        ([{"dew"}], ("dew",), ["dew"]),
        # Each that breaks by itself is told; what a set of them adds is not.
        ([{"opening"}, {"dew"}, {"dew", "pin"}], ("dew", "opening"),
         ["dew", "opening", "wash"]),
        # Of sets of the same size the first.
        ([{"pour shift", "pin"}, {"dew", "too old"}], ("dew", "too old"), ["dew", "too old"]),
        ([{"opening", "pin"}, {"dew", "pin", "too old"}], ("opening", "pin"),
         ["opening", "pin", "wash"]),
        ([set(LIMITS)], LIMITS, [*LIMITS, "wash"]),
    ],
)  # fmt: skip
def test_the_fewest_limits_that_leave_no_way_are_told(monkeypatch, breaks, named, says):
    monkeypatch.setattr(
        Some, "goes", lambda one: not any(broken <= one.limits for broken in breaks)
    )
    monkeypatch.setattr(conflict, "limits_of_job", lambda _: LIMITS)
    monkeypatch.setattr(conflict, "_says", lambda _lifted, limit, _some: limit)
    monkeypatch.setattr(conflict, "_only_wash", lambda *_: iter(["wash"]))
    whole = Some(Job(), None, ("Bar",), frozenset(LIMITS))
    got = conflict._why(whole)
    assert (got.limits, got.rooms, list(got.says)) == (named, ("Bar",), says)
    monkeypatch.setattr(Some, "goes", lambda _: False)
    monkeypatch.setattr(conflict, "_unseen", lambda lifted: lifted.limits)
    assert conflict._why(whole) == frozenset()


@pytest.mark.parametrize(
    ("asked", "ways", "instead"),
    [
        ("wash-down", {"carts", "feet"}, "carts"), ("wash-down", {"feet"}, "feet"),
        ("wash-down", (), None), ("carts", {"carts", "feet"}, "feet"), ("carts", (), None),
        ("feet", {"carts", "feet"}, None),
    ],
)  # fmt: skip
def test_it_is_told_what_a_room_could_be_opened_for_in_time(monkeypatch, asked, ways, instead):
    tried = []

    def some(job, _tables, rooms, limits):
        tried.append([room.open_for for room in job.rooms])
        assert (rooms, limits) == (("Bar",), frozenset(LIMITS))
        return Made(
            begins=lambda: (0, 20, 40) if job.room("Bar").open_for in ways else None,
            problem=Made(rooms=[(stage([0]), stage([20]), stage([5, 40], opens=[50, 99]))]),
            model=Made(slots=SLOTS),
        )

    monkeypatch.setattr(conflict, "Some", some)
    job = Job(rooms=(Room("Bar", asked), Room("Hall")))
    got = list(conflict._only_wash(job, None, "Bar"))
    assert [message.values["instead"] for message in got] == (
        [] if instead is None else [f"open_for.{instead}"]
    )
    assert all(hall == "wash-down" for _, hall in tried)
    for message in got:
        assert message.values["open_for"] == f"open_for.{asked}"
        assert message.values["ready_at"] == at(99)


@pytest.mark.parametrize(
    ("breaks", "named"),
    [
        # The held hour is told with the limit that it breaks too, not beside another.
        (
            [{"opening", "topcoat shift"}, {"opening", "pin"}],
            ("topcoat shift", "opening", "pin"),
        ),
        (
            [{"opening", "topcoat shift"}, {"longest shift", "pin"}],
            ("topcoat shift", "opening"),
        ),
        (
            [{"opening", "topcoat shift"}, {"opening", "pin", "dew"}],
            ("topcoat shift", "opening"),
        ),
        ([{"pin"}, {"opening"}], ("opening", "pin")),
    ],
)
def test_an_hour_held_is_told_where_it_breaks_one_of_the_limits_as_well(
    monkeypatch, breaks, named
):
    monkeypatch.setattr(
        Some, "goes", lambda one: not any(broken <= one.limits for broken in breaks)
    )
    monkeypatch.setattr(conflict, "limits_of_job", lambda _: LIMITS)
    # Each with the limits by which its figures are found, which have a way without it.
    monkeypatch.setattr(
        conflict, "_says", lambda lifted, limit, some: (
            limit, replace(lifted, limits=frozenset(some) - {limit}).goes(),
        )
    )  # fmt: skip
    monkeypatch.setattr(conflict, "_only_wash", lambda *_: iter([]))
    got = conflict._why(Some(Job(), None, ("Bar",), frozenset(LIMITS)))
    assert got.limits == named
    assert got.says == tuple((limit, True) for limit in named)


@pytest.mark.parametrize(
    ("feet_go", "named"), [(True, ("opening",)), (False, ("temperature", "opening"))]
)
def test_what_only_cures_past_the_weather_known_is_no_reason_of_its_own(
    monkeypatch, feet_go, named
):
    # Laid later it would cure for wash-down after the last hour known: the opening is why.
    def goes(one):
        if "opening" in one.limits:
            return False
        feet = all(room.open_for == "feet" for room in one.job.rooms)
        return "temperature" not in one.limits or (feet and feet_go)

    monkeypatch.setattr(Some, "goes", goes)
    monkeypatch.setattr(conflict, "limits_of_job", lambda _: LIMITS)
    monkeypatch.setattr(conflict, "_says", lambda _lifted, limit, _some: limit)
    monkeypatch.setattr(conflict, "_only_wash", lambda *_: iter([]))
    assert conflict._why(Some(Job(), None, ("Bar",), frozenset(LIMITS))).limits == named


def test_limits_are_told_by_the_other_limits_where_these_leave_a_way(monkeypatch):
    monkeypatch.setattr(conflict, "limits_of_job", lambda _: ("dew", "opening", "pin"))
    monkeypatch.setattr(conflict, "_Windows", lambda _job, _pours, some, begins: Made(
        **{name: lambda: (set(some.limits), begins) for name in (
            "temperature", "dew", "pour_shift", "topcoat_shift", "too_old", "opening",
            "longest_shift", "pin",
        )}
    ))  # fmt: skip
    lifted = Some(Job(), Made(pours={"Bar": None}), ("Bar",), frozenset())
    monkeypatch.setattr(Some, "begins", lambda _: (7,))
    got = conflict._says(lifted, "opening", ("dew", "opening"))
    assert got == ({"dew", "pin"}, (7,))
    monkeypatch.setattr(Some, "begins", lambda one: None if "pin" in one.limits else (8,))
    assert conflict._says(lifted, "opening", ("dew", "opening")) == ({"dew"}, (8,))


# No way within the weather


def breach(*, cold=True, at_min=0.0, what="slab"):
    return Breach(what=what, at_s=s_at(at_min), temp_c=4.0, limit_c=5.0, cold=cold)


@pytest.mark.parametrize(
    ("breaks", "dry", "codes"),
    [
        (False, True, ["weather"]), (True, True, ["too_cold_always", "weather"]),
        (False, False, ["dew_throughout", "weather"]),
        (True, False, ["too_cold_always", "dew_throughout", "weather"]),
    ],
)  # fmt: skip
@pytest.mark.parametrize("shifts", [True, False])
def test_no_way_at_all_is_told_by_what_stands_in_it_first(
    monkeypatch, breaks, dry, codes, shifts
):
    asked = []
    primer, slurry, coat = (
        Layer(kind=kind, crew="pour") for kind in ("primer", "slurry", "topcoat")
    )
    limits = Made(
        breach=lambda *given: asked.append(given) or (breach() if breaks else None),
        next_s=lambda *given: asked.append(given) or np.inf,
    )

    def next_dry_s(*given, margin_k):
        asked.append((*given, margin_k))
        return 0.0 if dry else np.inf

    conditions = Made(
        next_dry_s=next_dry_s, shade=Made(slab_at=lambda _: 12.0), dew_c=np.array([11.0, 13.0]),
        epoch_s=np.array([NIGHT_S, s_at(60)]),
    )  # fmt: skip
    pours = Made(
        tasks=[("vacuum", "cove", slurry), (None, primer, coat)], conditions=conditions,
        works=lambda _: [Made(duration_s=900.0), Made(duration_s=5.0)], room=Room("Bar"),
        limits=lambda layer: limits if layer is slurry else None,
    )  # fmt: skip
    spans = [Span(begins_s=s_at(n), ends_s=s_at(90)) for n in (60, 30)] if shifts else []
    monkeypatch.setattr(conflict, "crew_spans", lambda *_: spans)
    monkeypatch.setattr(conflict, "_slow", lambda _: Message("limit.weather", {}))
    got = conflict._unseen(Made(job=Job(), rooms=("Bar",), tables=Made(pours={"Bar": pours})))
    assert [say.code for say in got.says] == [f"limit.{code}" for code in codes]
    assert got == Failure(limits=("weather",), rooms=("Bar",), says=got.says)
    start_s = s_at(30 if shifts else 0)
    expected = [(start_s, start_s + 900.0), (start_s, 900.0, start_s), (start_s, 900.0, 3.0)]
    assert asked == (expected if breaks else [expected[0], expected[2]])
    if not dry:
        values = got.says[-2].values
        assert values["stage"] == coat.stage
        assert (values["slab_c"], values["dew_c"]) == (12.0, 12.0 if shifts else 11.0)


@pytest.mark.parametrize(
    ("opens", "until", "takes_min"),
    [
        # The pour opens after 60 min, the coat after 90: it is ready after 150 of them.
        ((60, 90), 150, None), ((60, 90), 149, 150),
        # What never opens takes until the weather ends, 200 min after it began at 10.
        ((60, None), 250, None), ((60, None), 249, 250), ((None, None), 600, None),
        ((None, None), 200, 390),
    ],
)  # fmt: skip
def test_a_room_that_cures_longer_than_the_weather_lasts_is_told_so(
    monkeypatch, opens, until, takes_min
):
    def opening(after, begins):
        return [NEVER if after is None else begin + after for begin in begins]

    stages = (
        stage([0, 5], opens=opening(opens[0], [0, 5])),
        stage([10, 20], opens=opening(opens[1], [10, 20])),
    )
    pours = Made(conditions=Made(last_s=s_at(200), first_s=s_at(-60), slab_at=lambda s: s))
    lifted = Made(
        job=Job(), rooms=("Bar",), problem=Made(rooms=[stages]), model=Made(slots=SLOTS),
        tables=Made(pours={"Bar": pours}),
    )  # fmt: skip
    until_at = NIGHT + timedelta(minutes=until)
    monkeypatch.setattr(conflict, "_looked_until", lambda *_: until_at)
    got = conflict._slow(lifted)
    assert got.values["until_at"] == until_at.isoformat()
    assert got.code == ("limit.weather" if takes_min is None else "limit.slow")
    if takes_min is not None:
        assert got.values["takes_s"] == 60.0 * takes_min
        assert got.values["slab_c"] == NIGHT_S
        assert got.values["open_for"] == "open_for.wash-down"
    # Nor does a room without any way at all tell how slow it is.
    lifted.problem = Made(rooms=[(*stages, stage([]))])
    assert conflict._slow(lifted).code == "limit.weather"


# By the soonest way without the limit


def windows(stages, begins, *, lead_s=0.0, conditions=None, lifted=None, **more):
    """A floor of a primer, the pour and a coat, in the tables of one room."""
    layers = [Layer(kind=kind, crew="pour") for kind in ("primer", "slurry", "topcoat")]
    pours = Made(
        room=Room("Bar"), pour_task=1, tasks=[(None, None, layer) for layer in layers],
        works=lambda _: [Made(lead_s=lead_s)] * 3, conditions=conditions, **more,
    )  # fmt: skip
    some = Some(Job(), None, ("Bar",), frozenset({"dew"}))
    vars(some).update(problem=Made(rooms=[stages]), model=Made(slots=SLOTS))
    return _Windows(Job(), pours, some, begins), [layer.stage for layer in layers]


THREE = (
    stage([0, 5], walks=[50, 55]), stage([100, 110], 30, walks=[200, 210]),
    stage([300, 310], walks=[350, 360]),
)  # fmt: skip


@pytest.mark.parametrize(
    ("broken", "laid", "cured", "lifts", "laid_min", "stage_", "code"),
    [
        # The second begins at 110, with its lead laid from 115 to 140 and walked on at 210.
        (1, True, False, 500, 115, 1, "too_cold"), (1, False, True, 500, 115, 1, "too_cold"),
        (1, True, False, None, None, 1, "too_cold_always"),
        # It could be laid at 400, but at 495, when it would bear feet, it is too cold.
        (1, True, False, None, 400, 1, "too_cold_sets"),
        (2, True, False, 500, 400, 2, "too_cold"),
        (None, False, False, 500, 400, None, None), (1, False, False, 500, 400, None, None),
    ],
)  # fmt: skip
def test_the_first_layer_outside_its_limits_is_told(
    monkeypatch, broken, laid, cured, lifts, laid_min, stage_, code
):
    asked = []

    class Limits:
        def __init__(self, _job, layer, _conditions):
            self.breaks = broken is not None and layer.stage == stages[broken]

        def kept(self, start_s, lasts_s, until_s):
            asked.append((*start_s, *lasts_s, *until_s))
            return np.array([not self.breaks])

        def breach(self, start_s, end_s, *, cures=False):
            if start_s >= s_at(400):
                asked.append((start_s, end_s, cures))
                return breach(at_min=450)
            if not self.breaks or not (cured if cures else laid):
                return None
            asked.append((start_s, end_s, cures))
            return breach(at_min=120)

        def next_s(self, start_s, lasts_s, until_s):
            asked.append((start_s, lasts_s, until_s, "next"))
            minutes = laid_min if until_s == start_s else lifts
            return np.inf if minutes is None else s_at(minutes)

    one, stages = windows(THREE, (5, 110, 310), lead_s=300.0)
    monkeypatch.setattr(conflict, "LayerLimits", Limits)
    monkeypatch.setattr(_Windows, "_mixed", lambda _: "mixed")
    got = one.temperature()
    if code is None:
        assert got == "mixed"
        return
    assert (got.code, got.values["stage"]) == (f"limit.{code}", stages[stage_])
    if stage_ == 1:
        assert (s_at(115), 25 * 60.0, s_at(210)) in asked
        assert ((s_at(115), s_at(140), False) in asked) == laid
        assert (s_at(115), 25 * 60.0, s_at(210), "next") in asked
        assert (s_at(115), 25 * 60.0, s_at(115), "next") in asked
        assert ((s_at(115), s_at(210), True) in asked) == cured
    # Walked on 95 min after it is laid.
    assert ((s_at(400), s_at(495), True) in asked) == (code == "too_cold_sets")


@pytest.mark.parametrize(
    ("mixed_c", "code", "temp_c", "limit_c"),
    [
        ((9.9, 31.0), "too_cold_always", 9.9, 10.0),
        ((10.0, 31.0), "too_hot_always", 31.0, 30.0),
        ((12.0, 33.0), "too_hot_always", 33.0, 30.0),
    ],
)  # fmt: skip
def test_a_mix_outside_its_limits_is_told(mixed_c, code, temp_c, limit_c):
    asked = []

    def run(_option, start_s):
        asked.append(start_s)
        return Made(mixed_c=np.array(mixed_c))

    one, stages = windows(THREE, (5, 110, 310), lead_s=300.0, run=run)
    got = one._mixed()
    assert (got.code, got.values["stage"]) == (f"limit.{code}", stages[1])
    assert (got.values["temp_c"], got.values["limit_c"]) == (temp_c, limit_c)
    assert (asked, got.values["from_at"]) == ([s_at(115)], at(115))


@pytest.mark.parametrize(
    ("wet", "named", "until"),
    [((0, 2), 0, 30), ((2,), 2, 340), ((2, None), 2, None), ((), 2, 310)],
)
def test_the_first_thin_layer_on_a_wet_slab_is_told(wet, named, until):
    # Begun at 5, 110 and 310; where it is wet it is dry half an hour after that.
    asked = []

    def next_dry_s(start_s, lasts_s, *, margin_k):
        asked.append((start_s, lasts_s, margin_k))
        number = [5, 110, 310].index((start_s - NIGHT_S) / 60)
        if number not in wet:
            return start_s
        return np.inf if None in wet else s_at((30, 0, 340)[number])

    conditions = Made(
        next_dry_s=next_dry_s, next_wet_s=lambda *_, **__: np.inf, epoch_s=np.array([0.0]),
        shade=Made(slab_at=lambda s: s), dew_c=np.array([11.0]),
    )  # fmt: skip
    one, stages = windows(THREE, (5, 110, 310), conditions=conditions)
    got = one.dew()
    assert got.values["stage"] == stages[named]
    assert got.values["from_at"] == at((5, 110, 310)[named])
    assert (got.code, got.values.get("until_at")) == (
        ("limit.dew_always", None) if until is None else ("limit.dew", at(until))
    )
    # The slurry may lie on a wet one; after the first that is wet nobody looks any further.
    both = [(s_at(5), 600.0, 3.0), (s_at(310), 600.0, 3.0)]
    assert asked == both[: 1 if 0 in wet else 2]


@pytest.mark.parametrize(
    ("again_h", "code"),
    [
        (1.5, "limit.dew_again"),
        (24, "limit.dew_again"),
        (24.1, "limit.dew"),
        (np.inf, "limit.dew"),
    ],
)
def test_a_slab_that_is_dry_for_some_hours_only_is_told_so(again_h, code):
    # Dry from 30 on: until when matters to a shift that begins in the morning.
    asked = []

    def next_wet_s(start_s, *, margin_k):
        asked.append((start_s, margin_k))
        return start_s + 3600.0 * again_h

    conditions = Made(
        next_dry_s=lambda *_, **__: s_at(30), next_wet_s=next_wet_s, epoch_s=np.array([0.0]),
        shade=Made(slab_at=lambda s: s), dew_c=np.array([11.0]),
    )  # fmt: skip
    got = windows(THREE, (5, 110, 310), conditions=conditions)[0].dew()
    assert asked == [(s_at(30), 3.0)]
    assert (got.code, got.values["until_at"]) == (code, at(30))
    again = at(30 + 60 * again_h) if code == "limit.dew_again" else None
    assert got.values.get("again_at") == again


@pytest.mark.parametrize("behind", ["Bar", "Hall"])
def test_a_floor_wanted_for_the_room_behind_it_is_told_so(behind):
    one, _ = windows(THREE, (5, 110, 310))
    job = Made(site=Made(zone=UTC), due=lambda _: NIGHT, due_for=lambda _: behind)
    got = replace(one, job=job).opening()
    assert got.code == ("limit.opening" if behind == "Bar" else "limit.opening_way")
    assert got.values["due_at"] == at(0)
    assert got.values.get("behind") == (None if behind == "Bar" else "Hall")


def coats(begins, *, crew=None, works=None, each=None):
    """A pour and two coats that take half an hour and open after an hour, minute by minute."""
    layers = [Layer(kind="slurry", crew="pour")] + [
        Layer(kind="topcoat", crew="topcoat", number=number) for number in (1, 2)
    ]
    each = np.arange(401) if each is None else np.array(each)
    pours = Made(
        room=Room("Bar"), pour_task=0, tasks=[(None, None, layer) for layer in layers],
        works=lambda _: [
            Made(layer=layer, lead_s=60.0 * lead, duration_s=60.0 * lasts)
            for layer, (lead, lasts) in zip(layers, works, strict=True)
        ],
    )  # fmt: skip
    some = Some(Job(), None, ("Bar",), frozenset({"topcoat shift"}))
    vars(some).update(model=Made(slots=SLOTS))
    job = Job() if crew is None else Job(crew=crew)
    return _Windows(job, pours, some, begins), [(stage(each, 30),) * 3]


@pytest.mark.parametrize(
    ("spans_min", "told"),
    [
        # Set up in ten minutes. Free at 100 and 170, the first ends at 130.
        ([(0, 130), (150, 400)], []), ([(90, 400)], []),
        ([(0, 129), (150, 400)], [("waits", 1, 100, 160)]),
        ([(91, 400)], [("waits", 1, 100, 101)]),
        # Laid at 160 the second could follow at 220, until 250.
        ([(0, 129), (150, 249), (290, 400)], [("waits", 1, 100, 160), ("waits", 2, 220, 300)]),
        ([(0, 129), (150, 250)], [("waits", 1, 100, 160)]),
        ([(0, 130), (290, 400)], [("waits", 2, 170, 300)]),
        ([(0, 130)], [("never", 2, 170, None)]), ([(0, 129)], [("never", 1, 100, None)]),
    ],
)  # fmt: skip
def test_coats_that_wait_for_their_shift_are_told(monkeypatch, spans_min, told):
    one, rooms = coats((0, 100, 170))
    monkeypatch.setattr(Some, "model", Made(slots=SLOTS))
    monkeypatch.setattr(Some, "problem", Made(rooms=rooms))
    spans = [Span(begins_s=s_at(begins), ends_s=s_at(ends)) for begins, ends in spans_min]
    got = [
        (say.code.removeprefix("limit.coat_"), say.values["coat"], say.values["start_at"],
         say.values.get("until_at"))
        for say in one._waits(spans)
    ]  # fmt: skip
    assert got == [
        (code, coat, at(start), until and at(until)) for code, coat, start, until in told
    ]


def test_of_a_coat_that_never_comes_nothing_is_told(monkeypatch):
    one, rooms = coats((0, 100, 170), each=[0, 40, 99])
    monkeypatch.setattr(Some, "model", Made(slots=SLOTS))
    monkeypatch.setattr(Some, "problem", Made(rooms=rooms))
    assert list(one._waits([Span(begins_s=s_at(0), ends_s=s_at(20))])) == []


@pytest.mark.parametrize(
    ("works", "number", "lasts"),
    [(((0, 99), (0, 90), (30, 50)), 1, 90), (((0, 99), (0, 90), (41, 50)), 2, 91)],
)
def test_the_longest_coat_is_the_one_with_all_that_leads_up_to_it(
    monkeypatch, works, number, lasts
):
    # From 20 on; with ten minutes of set-up a minute too short for it.
    spans = [Span(begins_s=s_at(20), ends_s=s_at(20 + 10 + lasts - 1))]
    monkeypatch.setattr(conflict, "crew_spans", lambda *_: spans)
    got = coats((0, 100, 170), works=works)[0].topcoat_shift()
    assert (got.code, got.values["stage"]) == ("limit.coat_long", f"coat {number}")
    assert got.values["lasts_s"] == 60.0 * lasts
    assert got.values["longest_s"] == 60.0 * (lasts - 1)


@pytest.mark.parametrize(
    ("works", "number", "stays"),
    [(((0, 50), (0, 90), (30, 50)), 1, 90), (((0, 50), (0, 90), (41, 50)), 2, 91)],
)
def test_the_longest_stay_is_for_the_task_with_all_that_leads_up_to_it(works, number, stays):
    crew = Made(people=(), most_s=lambda _: 3600.0, ahead_s=900.0, setup_s=600.0)
    got = coats((0, 100, 170), crew=crew, works=works)[0].longest_shift()
    assert (got.values["stage"], got.values["stays_s"]) == (
        f"coat {number}", 60.0 * (stays + 15),
    )  # fmt: skip
