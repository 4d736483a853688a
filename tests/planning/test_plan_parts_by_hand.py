"""A room in parts where a job holds by that, what changes ask for, and coats as told."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.core.messages import Message
from cureplan.planning.plan import calls, hours, parts, warnings, worth
from cureplan.planning.schedule.outcome import Relaxation

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


# Rooms in parts


def parted(
    monkeypatch, *, lasts_s=3000.0, fracs=(0.8,), planned=True, failed=(), keeps=False,
    stopped=False, ends=False, room="Hall", late_sd_s=100.0, rhythm_sd=0.1, noise=0.01,
):  # fmt: skip
    """What comes of a job whose Hall and Bar may be parted, and what was tried."""
    monkeypatch.setattr(parts, "RHYTHM_SD_FRAC", rhythm_sd)
    monkeypatch.setattr(parts, "LATE_SD_S", late_sd_s)
    monkeypatch.setattr(parts, "NOISE_FRAC", noise)
    monkeypatch.setattr(
        parts, "pour_lasts_s", lambda _, one: lasts_s if one.name == room else 9.0
    )
    monkeypatch.setattr(parts, "longest_shift_s", lambda _: 3600.0)
    monkeypatch.setattr(parts, "ways_to_split", lambda _, one: iter(f"{one.name[0]}123"))
    tried, answers = [], iter(fracs)

    def choose(split, *_, **__):
        tried.append(split)
        frac = next(answers, None)
        return Made(
            stopped=ends, odds=None if frac is None else "odds", chance_frac=frac or 0.0,
            schedule=split,
        )  # fmt: skip

    monkeypatch.setattr(parts, "choose", choose)
    job = Made(
        rooms=[Made(name="Bar", area_m2=5.0), Made(name="Hall", area_m2=9.0)],
        policy=Made(confidence=0.9),
    )
    schedule = Made(failures=[Made(rooms=(name,)) for name in failed])
    chosen = Made(
        stopped=stopped, keeps_policy=lambda _: keeps, odds="odds" if planned else None,
        chance_frac=0.5 if planned else 0.0, schedule=schedule,
    )  # fmt: skip
    tables = Made(of_changed=lambda split, was: f"tables {split}" if was is job else None)
    got = parts.in_parts(job, tables, chosen, issued_s=0.0)
    if got[0] is job:
        assert got[1] is tables
        assert got[2] is chosen
        return None, tried
    assert got[1] == f"tables {got[0]}"
    return got[0], tried


@pytest.mark.parametrize(
    ("given", "found", "tried"),
    [
        # Nine in ten lie within 1.645 of the middle: a pour of 2950 s may take 1.1645 times
        # that and begin 164 s late, 3600 s in all.
        ({"lasts_s": 2950.0}, None, ""), ({"lasts_s": 2951.0}, "H", "H"),
        ({"lasts_s": 9999.0, "room": "Bar"}, "B", "B"),
        # Two ways at most; what gains no more than a hundredth is left.
        ({"fracs": (0.5, 0.6)}, "1", "H1"), ({"fracs": (0.5, 0.5, 0.9)}, None, "H1"),
        ({"fracs": (0.515,)}, "H", "H"), ({"fracs": (0.505,)}, None, "H1"),
        ({"fracs": (None, 0.6)}, "1", "H1"),
        # Without a plan also what is said to fail, the largest first.
        ({"lasts_s": 9.0, "failed": ("Hall",)}, None, ""),
        ({"lasts_s": 9.0, "failed": ("Hall",), "planned": False}, "H", "H"),
        ({"lasts_s": 9.0, "failed": ("Bar", "Hall"), "planned": False, "fracs": ()}, None,
         "H1B1"),
        ({"lasts_s": 9.0, "planned": False}, None, ""),
        # Nothing is parted where all holds or the search is ended.
        ({"keeps": True}, None, ""), ({"stopped": True}, None, ""), ({"ends": True}, None, "H"),
    ],
)  # fmt: skip
def test_a_room_is_parted_where_it_may_outlast_its_shift(monkeypatch, given, found, tried):
    got, looked = parted(monkeypatch, **given)
    assert (got, "".join(looked)) == (found, tried)


def test_just_the_noise_is_no_gain_and_just_the_shift_no_more_than_it(monkeypatch):
    # A quarter, for the sake of a whole binary fraction.
    given = {"planned": False, "noise": 0.25, "fracs": (0.25, 0.26)}
    assert parted(monkeypatch, **given) == ("1", ["H", "1"])
    punctual = {"late_sd_s": 0.0, "rhythm_sd": 0.0}
    assert parted(monkeypatch, lasts_s=3600.0, **punctual)[0] is None
    assert parted(monkeypatch, lasts_s=3601.0, **punctual)[0] == "H"


# What a change asks for


@pytest.mark.parametrize(
    ("code", "values", "asks"),
    [
        ("relax.open_later", {"minutes": 9}, ["relax.open_later"]),
        ("relax.remedies", {"remedies": "chill; hour"}, ["chill", "hour"]),
        # Two more at one task, one at another.
        ("relax.more_hands", {"hands": "rake.2; mixing"},
         ["relax.more_rake", "relax.more_rake.1", "relax.more_mixing"]),
        # Open for feet it is for nothing more.
        ("relax.open_for", {"open_for": "open_for.feet"},
         ["relax.open_for.feet", "relax.open_for.carts", "relax.open_for.wash-down"]),
        ("relax.open_for", {"open_for": "open_for.carts"},
         ["relax.open_for.carts", "relax.open_for.wash-down"]),
    ],
)  # fmt: skip
def test_what_a_change_asks_for_one_by_one(code, values, asks):
    assert worth._each(Message(code, values)) == asks


@pytest.mark.parametrize(
    ("code", "says", "second"),
    [
        # Of a way whose first change is hands these are told first, of any other second.
        ("relax.more_rake", "relax.more_hands", "relax.b"),
        ("relax.open_later", "relax.open_later", "relax.more_hands"),
    ],
)
def test_one_hand_more_costs_its_own_effort_besides(monkeypatch, code, says, second):
    more = Made(job="more", say=Message("relax.more_hands", {}), effort_min=30.0)
    monkeypatch.setattr(worth, "more_hands_yet", lambda *_: more)
    way = Relaxation(
        job="job", say=Message(code, {}), also=Message("relax.b", {}), effort_min=60.0
    )
    got = worth.one_hand_more("as it was", way)
    assert (got.job, got.effort_min, got.say.code, got.also.code) == (
        "more", 90.0, says, second,
    )  # fmt: skip
    monkeypatch.setattr(worth, "more_hands_yet", lambda *_: None)
    assert worth.one_hand_more("as it was", way) is None


@pytest.mark.parametrize(
    ("codes", "later"),
    [
        (("relax.open_later", None), True), (("relax.a", "relax.open_later"), True),
        (("relax.a", None), False), (("relax.open_for", "relax.a"), False),
    ],
)  # fmt: skip
def test_a_later_opening_is_the_first_change_or_the_second(codes, later):
    first, second = codes
    also = None if second is None else Message(second, {})
    assert worth.opens_later(Made(say=Message(first, {}), also=also)) == later


# Coats as they are told


def film(**more):
    """A coat of two batches from an hour after the night begins on, open for eight hours."""
    given = {
        "room": "Bar", "coat": 1, "start_s": NIGHT_S + 3600.0, "end_s": NIGHT_S + 5400.0,
        "begins_s": NIGHT_S + 3000.0,
        "window": Made(opens_s=NIGHT_S + 600.0, closes_s=NIGHT_S + 8 * 3600.0),
        "closed": Made(ends_s=NIGHT_S + 9000.0),
        "work": Made(
            batches=2, volume_m3=0.01, batch_s=90.0, offset_s=np.array([0.0]),
            layer=Made(stage="coat 1"), leads=(),
        ),
    }  # fmt: skip
    return Made(**{**given, **more})


def floor(*, dew_c=12.345, humidity=None):
    """A floor on which the second of a material's clocks ends after ten minutes at 30 °C."""
    clocks = Made(
        age_s={"opens": 0.0, "working_time": 0.0},
        fit=Made(time_s=lambda slab_c, order: 20.0 * slab_c * order), humidity=humidity,
    )  # fmt: skip
    return Made(
        conditions=Made(
            slab_at=lambda _: 30.0, dew_at=lambda _: dew_c, humidity_at=lambda _: 0.5
        ),
        material=lambda _: (clocks, None), pour_task=1,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("dew_c", "humidity", "told_c", "working_min"),
    [
        (12.345, None, 12.35, 10.0), (np.nan, None, None, 10.0),
        # Air that hastens it by a quarter leaves four fifths of the time.
        (12.0, Made(at=lambda share: 1.0 + share / 2.0), 12.0, 8.0),
    ],
)  # fmt: skip
def test_a_coat_is_told_with_its_dew_point_and_how_long_a_batch_lasts(
    monkeypatch, dew_c, humidity, told_c, working_min
):
    monkeypatch.setattr(calls, "coat_closes_s", lambda _, coat: coat.window.closes_s)
    monkeypatch.setattr(calls, "pour_closes_s", lambda _, poured: poured.window.closes_s)
    job = Made(site=Made(zone=UTC), room=lambda _: Made(pins={}))
    here = floor(dew_c=dew_c, humidity=humidity)
    (coat,) = calls.coat_plans(job, {"Bar": here}, Made(coats=[film()]), {("Bar", 1): 0.98765})
    assert (coat.dew_c, coat.batch_working_min) == (told_c, working_min)
    assert (coat.opens, coat.start, coat.end, coat.closes) == (at(10), at(60), at(90), at(480))
    assert (coat.batch_minutes, coat.slab_c, coat.keeps_frac) == (1.5, 30.0, 0.9877)
    for broadcast in (0.0, 1.0, None):
        card = None if broadcast is None else Made(broadcast_kg_m2=broadcast)
        job.cards = Made(primer=card)
        of = Made(primers=[film()], pours=[film()])
        (primer,) = calls.primer_plans(job, {"Bar": here}, of, {"Bar": 0.5})
        assert (primer.dew_c, primer.batch_working_min) == (told_c, working_min)
        assert primer.broadcast == bool(broadcast)
        assert (primer.slurry_opens, primer.walkable) == (at(10), at(150))


def test_who_pours_is_called_ahead_of_what_he_does_first(monkeypatch):
    spans = [
        Made(role=role, people=1, names=(), first_s=first, last_s=last, busy_frac=0.12345)
        for role, first, last in (("mixer", 0.0, 600.0), ("broadcaster", 900.0, 1500.0))
    ]
    monkeypatch.setattr(calls, "pour_roles", lambda *_, **__: spans)
    job = Made(
        site=Made(zone=UTC), cards=Made(slurry=None),
        crew=Made(setup_s=1800.0, foreman="Ana", people=(1,)),
    )  # fmt: skip
    poured = film(option=None, own=Made(leads=()), start_s=NIGHT_S, end_s=NIGHT_S + 2400.0)
    here = Made(plan=lambda _: None)
    got = {
        fresh: [
            (c.role, c.call, c.first_task, c.last_task, c.names)
            for c in calls._pour_calls(job, here, poured, fresh, 600.0)
        ]
        for fresh in (True, False)
    }
    # Set up for half an hour, or ten minutes on from the room before; the grains fall to
    # the very end.
    assert got[True] == [
        ("foreman", at(-30), at(0), at(40), ("Ana",)), ("mixer", at(-30), at(0), at(10), ()),
        ("broadcaster", at(-15), at(15), at(40), ()),
    ]  # fmt: skip
    assert [call for _, call, *_ in got[False]] == [at(-10), at(-10), at(5)]
    job.crew.people = ()
    assert next(calls._pour_calls(job, here, poured, True, 0.0)).names == ()


def test_a_coats_crew_is_called_ahead_of_what_leads_up_to_it():
    job = Made(
        site=Made(zone=UTC),
        crew=Made(setup_s=1800.0, changeover_s=600.0, topcoat=3, holding=lambda _: ()),
    )
    late, soon = film(begins_s=NIGHT_S + 7200.0, start_s=NIGHT_S + 7500.0), film()
    got = calls._film_calls(job, [late, soon], "topcoat", {id(late): False, id(soon): True})
    assert [(c.call, c.first_task, c.last_task) for c in got] == [
        (at(20), at(60), at(90)), (at(110), at(125), at(90)),
    ]  # fmt: skip


# What a plan rests on


def test_a_floor_is_cut_short_by_the_hours_only_where_it_closes_after_them(monkeypatch):
    monkeypatch.setattr(hours, "PlacedPour", Made)
    monkeypatch.setattr(hours, "known_until_s", lambda _: 1000.0)
    for closes_s, cut in ((900.0, False), (1000.0, False), (1001.0, True)):
        poured = Made(reached={"topcoat_closes": np.array([2000.0, closes_s])})
        assert hours._cut(None, poured) == cut


def test_a_margin_short_by_no_more_than_half_a_second_is_as_asked():
    room = Made(
        room="Bar", binding_bucket=1, sure_margin_min=1.0, row_depth_m=1.0, patches=(),
        margin_min=1.0, keeps_frac=0.5,
    )  # fmt: skip
    for asked_s, short in ((60.5, False), (60.6, True)):
        policy = Made(margin_s=asked_s, confidence=0.9)
        job = Made(policy=policy, pace=Made(row_depth_max_m=1.5))
        assert bool(warnings._pour_warnings(job, [room])) == short


def test_a_gap_that_was_mended_is_a_note_and_one_that_was_not_a_warning():
    gaps = [
        Made(what=what, mended=mended, starts=NIGHT, hours=2)
        for what, mended in (("wind", "no"), ("cloud", "straight line"))
    ]
    origins = [
        Made(label="station", attribution=by, licence=licence, kind="file")
        for by, licence in (("an office", "free"), ("", ""))
    ]
    series = Made(
        gaps=gaps, origins=origins, notes=("noted",), warnings=("warned",),
        epoch_s=np.array([NIGHT_S - 36 * 3600.0]),
    )  # fmt: skip
    card = Made(title="card", generic=False, provenance={})
    job = Made(
        site=Made(zone=UTC), access=Made(begins=NIGHT), rooms=(), notes=(),
        cards=Made(slurry=card, topcoat=card, aggregate=card, primer=None),
    )  # fmt: skip
    told = warnings._weather_warnings(job, series)
    assert [one.values.get("what", one.values.get("note")) for one in told] == [
        "wind", "warned",
    ]  # fmt: skip
    sources = warnings.plan_sources(job, series)
    notes = [one.detail.values for one in sources if one.kind == "note"]
    assert notes[0] == {"note": "noted"}
    assert [one["note"].values["what"] for one in notes[1:]] == ["cloud"]
    weather = [(one.label, one.licence) for one in sources if one.kind == "weather"]
    assert weather == [("station: an office", "free"), ("station", None)]
    (slab,) = [one.detail for one in sources if one.detail.code == "source.slab"]
    assert slab.values["history_h"] == 36.0
    assert sum(one.kind == "card" for one in sources) == 3
