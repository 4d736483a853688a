"""How crews wait for floors, and layers for each other, followed by hand for a few nights.

Every material here ages a second in a second, but where a test says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.odds import risk
from cureplan.planning.odds.nights import Visit
from cureplan.planning.schedule.placing import Span

S = 1_374_019_200.0
H = 3600.0
# Waits are found by halving six hours fourteen times.
TOL_S = 6 * H / 2**14


class Ages:
    """Ages that run as the clock does, so many times as fast in each night."""

    def __init__(self, pace=(1.0, 1.0)):
        self.pace = np.asarray(pace, float)

    def age_s(self, at_s):
        return self.pace[:, None] * (np.asarray(at_s) - S)

    def pace_at(self, at_s):
        return np.broadcast_to(self.pace[:, None], np.shape(at_s))

    def of_nights(self, nights):
        return Ages(self.pace[nights])


@dataclass(frozen=True)
class Layer:
    stage: str = "pour"
    crew: str = "pour"
    kind: str = "slurry"
    opens: str | None = None
    closes: str | None = None
    bears: str | None = None


POUR = Layer()
COAT = Layer("coat_1", "topcoat", "topcoat", "coat_opens", "coat_closes")
VACUUM = Layer("vacuum", "topcoat", "", bears="foot_traffic")
NEEDS_S = {"foot_traffic": 3 * H, "coat_opens": 5 * H, "coat_closes": 20 * H}


def visit(late_s=(0.0, 0.0), begins_h=0.0):
    late = np.asarray(late_s, float)
    return Visit(begins_s=S + begins_h * H, late_s=late, slow_frac=np.zeros(late.size))


def stay(room, begins_h, ends_h, *, layer=POUR, come=None, lead_h=0.0, laid_h=None, **more):
    """Laid all at once where its hour is not told, `lead_h` after its crew begins."""
    at_h = [begins_h + lead_h] if laid_h is None else laid_h
    leads = ((VACUUM, lead_h * H),) if lead_h else ()
    ages = more.pop("ages", Ages())
    work = Made(layer=layer, steps=(*leads, (layer, (ends_h - begins_h - lead_h) * H)))
    given = {
        "sun_ages": ages, "kit_factor": np.ones((2, len(at_h))), "needs_s": NEEDS_S,
        "shifts": (), **more,
    }  # fmt: skip
    return risk._Stay(
        room=room, work=work, begins_s=S + begins_h * H, ends_s=S + ends_h * H,
        patch_s=S + H * np.asarray(at_h, float), visit=come or visit(begins_h=begins_h),
        ages=ages, **given,
    )  # fmt: skip


def lived(monkeypatch, stays, *, crosses=(), known_h=-1.0, begun=(), setup_h=0.5, move_h=0.25):
    """What becomes of stays, where those of a room cross the floors it is paired with."""
    monkeypatch.setattr(risk, "_planned", lambda *_: stays)
    shift = Span(begins_s=S - H, ends_s=S + 100 * H)
    monkeypatch.setattr(risk, "crew_spans", lambda *_: [shift])
    rooms = {one.room for one in stays}
    job = Made(
        crossed_from=lambda room: dict(crosses).get(room, ()),
        crew=Made(setup_s=setup_h * H, changeover_s=move_h * H),
    )
    pours = {
        room: Made(settled=Made(begun_s={"pour": S} if room in begun else {})) for room in rooms
    }
    schedule = Made(
        pours=[
            Made(room=room, works=[Made(layer=s.layer) for s in stays if s.room == room])
            for room in sorted(rooms)
        ]
    )
    nights = Made(members=2, known_s=S + known_h * H)
    return risk._lived(job, pours, schedule, nights, None)


def late_h(one):
    return (one.visit.late_s / H).tolist()


def about_h(*hours):
    return pytest.approx(list(hours), abs=TOL_S / H)


def test_who_comes_before_a_floor_bears_him_waits_with_his_tools(monkeypatch):
    hall = stay("Hall", 0.0, 1.0, laid_h=[0.25, 0.5])
    bar = stay("Bar", 2.0, 3.0, come=visit((0.0, 2 * H), 2.0))
    crosses = [("Bar", ("Hall",))]
    found, no_wait, soon = lived(monkeypatch, [hall, bar], crosses=crosses)
    # The last patch, laid at half past, bears feet 3 h later; the tools come 15 min ahead.
    # Who comes at 4 has nothing to wait for.
    assert late_h(found[1]) == about_h(1.75, 2.0)
    assert late_h(found[0]) == [0.0, 0.0]
    assert no_wait.tolist() == [False, True]
    assert soon == {}


@pytest.mark.parametrize(
    ("more", "waits_h"),
    [
        # The first of its crew in a shift carries for half an hour; what is begun has them in.
        ({"layer": COAT}, 2.0), ({"begun": ("Bar",)}, 1.5), ({"move_h": 0.0}, 1.5),
        ({"crosses": [("Bar", ())]}, 0.0), ({"crosses": [("Bar", ("Yard",))]}, 0.0),
        # Who was seen to begin has waited already.
        ({"known_h": 2.0}, 0.0), ({"known_h": 1.99}, 1.75),
    ],
)  # fmt: skip
def test_what_is_waited_for_a_way(monkeypatch, more, waits_h):
    more = {"crosses": [("Bar", ("Hall",))], **more}
    bar = stay("Bar", 2.0, 3.0, layer=more.pop("layer", POUR))
    stays = [stay("Hall", 0.0, 1.0, laid_h=[0.5]), bar]
    found, no_wait, _ = lived(monkeypatch, stays, **more)
    assert late_h(found[1]) == about_h(waits_h, waits_h)
    assert no_wait.tolist() == [waits_h == 0.0] * 2


def test_of_two_layers_of_a_floor_the_upper_is_walked_on(monkeypatch):
    hall = stay("Hall", 0.0, 0.5, laid_h=[0.0])
    coat = stay("Hall", 6.0, 6.5, layer=COAT, laid_h=[6.0])
    bar = stay("Bar", 7.0, 8.0, come=visit(begins_h=7.0))
    found, _, _ = lived(monkeypatch, [hall, coat, bar], crosses=[("Bar", ("Hall",))])
    assert late_h(found[2]) == about_h(2.25, 2.25)


def test_of_two_floors_on_a_way_the_later_one_is_waited_for(monkeypatch):
    stays = [
        stay("Hall", 0.0, 0.5, laid_h=[0.5]), stay("Store", 0.5, 1.0, laid_h=[1.0]),
        stay("Bar", 2.0, 3.0),
    ]  # fmt: skip
    for ways in (("Hall", "Store"), ("Store", "Hall")):
        found, _, _ = lived(monkeypatch, stays, crosses=[("Bar", ways)])
        assert late_h(found[2]) == about_h(2.25, 2.25)


def test_who_waited_is_late_for_the_rest_of_his_stay(monkeypatch):
    come = visit((0.0, 0.25 * H))
    stays = [
        stay("Hall", 0.0, 1.0, come=come, laid_h=[0.5], stopped_s=np.array([[0.0], [900.0]])),
        stay("Bar", 2.0, 3.0, come=come), stay("Yard", 6.0, 7.0, come=come),
        stay("Loft", 8.0, 9.0, come=visit()),
    ]  # fmt: skip
    found, no_wait, _ = lived(monkeypatch, stays, crosses=[("Bar", ("Hall",))])
    # In the second night a quarter of an hour late, and the mixing stopped for another: the
    # floor bears feet at 4, and the crew would have come at half past two.
    assert late_h(found[1]) == about_h(1.75, 2.25)
    assert late_h(found[2]) == about_h(1.75, 2.25)
    assert late_h(found[3]) == [0.0, 0.0]
    assert no_wait.tolist() == [False, False]


def test_a_stop_of_the_mixing_is_no_wait(monkeypatch):
    come = visit()
    stays = [
        stay("Hall", 0.0, 1.0, come=come, stopped_s=np.array([[0.0], [900.0]])),
        stay("Bar", 2.0, 3.0, come=come),
    ]
    found, no_wait, _ = lived(monkeypatch, stays)
    assert late_h(found[1]) == about_h(0.0, 0.25)
    assert no_wait.tolist() == [True, True]


@pytest.mark.parametrize(("wait_s", "noticed"), [(59.0, False), (61.0, True)])
def test_a_wait_of_less_than_a_minute_is_none(monkeypatch, wait_s, noticed):
    bar_h = 3.75 - wait_s / H
    stays = [stay("Hall", 0.0, 1.0, laid_h=[0.5]), stay("Bar", bar_h, 5.0)]
    _, no_wait, _ = lived(monkeypatch, stays, crosses=[("Bar", ("Hall",))])
    assert no_wait.tolist() == [not noticed] * 2


# Layer upon layer


def coated(monkeypatch, coat_h, *, known_h=-1.0, pace=(1.0, 1.0), lead_h=0.0, **more):
    ages = Ages(pace)
    pour = stay("Bar", 0.0, 1.0, laid_h=[0.5, 1.0], ages=ages, **more)
    coat = stay("Bar", coat_h, coat_h + 1.0, layer=COAT, lead_h=lead_h)
    found, no_wait, soon = lived(monkeypatch, [pour, coat], known_h=known_h)
    return found[1], no_wait, soon["Bar", COAT], found[0]


@pytest.mark.parametrize(
    ("coat_h", "pace", "waits_h"),
    [
        # The last patch is laid at 1 and bears a coat 5 h later.
        (6.0, (1.0, 1.0), (0.0, 0.0)), (5.0, (1.0, 1.0), (1.0, 1.0)),
        (5.0, (1.0, 2.0), (1.0, 0.0)), (3.5, (1.0, 2.0), (2.5, 0.0)),
        (3.0, (1.0, 2.0), (3.0, 0.5)),
    ],
)  # fmt: skip
def test_a_coat_waits_until_the_floor_bears_it(monkeypatch, coat_h, pace, waits_h):
    coat, no_wait, soon, _ = coated(monkeypatch, coat_h, pace=pace)
    assert late_h(coat) == about_h(*waits_h)
    assert no_wait.tolist() == [wait == 0.0 for wait in waits_h]
    assert not soon.any()


def test_a_floor_that_bears_nothing_for_hours_is_coated_too_soon(monkeypatch):
    # After six hours of waiting it is laid all the same, and the night is lost.
    coat, _, soon, _ = coated(monkeypatch, 5.0, pace=(1.0, 0.4))
    assert late_h(coat) == about_h(1.0, 6.0)
    assert soon.tolist() == [False, True]


def test_a_coat_that_is_begun_waits_for_nothing_any_more(monkeypatch):
    coat, no_wait, soon, _ = coated(monkeypatch, 5.0, known_h=5.0, pace=(1.0, 2.0))
    assert late_h(coat) == [0.0, 0.0]
    assert no_wait.all()
    assert soon.tolist() == [True, False]


def test_who_vacuums_first_comes_once_the_floor_bears_feet(monkeypatch):
    # Two hours of it before the coat, which bears feet at 4 and a coat at 6.
    assert late_h(coated(monkeypatch, 3.0, lead_h=2.0)[0]) == about_h(1.0, 1.0)
    assert late_h(coated(monkeypatch, 3.5, lead_h=2.0)[0]) == about_h(0.5, 0.5)
    assert late_h(coated(monkeypatch, 3.5, lead_h=3.0)[0]) == about_h(0.5, 0.5)
    assert late_h(coated(monkeypatch, 4.0, lead_h=1.5)[0]) == about_h(0.5, 0.5)


@pytest.mark.parametrize(
    ("coat_h", "sun_pace", "met"),
    [
        # The first patch, laid at half past, is too old after 20 h; in the sun sooner.
        (20.5, 1.0, True), (20.51, 1.0, False), (15.0, 1.25, True), (17.0, 1.25, False),
    ],
)  # fmt: skip
def test_a_floor_is_too_old_where_the_sun_falls_first(monkeypatch, coat_h, sun_pace, met):
    sun = {} if sun_pace == 1.0 else {"sun_ages": Ages((sun_pace, sun_pace))}
    coat, _, soon, pour = coated(monkeypatch, coat_h, **sun)
    laid = {("Bar", POUR): pour, ("Bar", COAT): coat}
    poured = Made(works=[Made(layer=POUR), Made(layer=COAT)])
    for too_soon in (False, True):
        got = risk._met(coat, poured, laid, {("Bar", COAT): soon | too_soon})
        assert got.tolist() == [met and not too_soon] * 2
    # With nothing below, or what never is too old for anything, it is met.
    assert risk._met(coat, poured, {("Bar", COAT): coat}, {}).all()
    assert risk._met(pour, poured, laid, {}).all()


def test_a_slurrys_age_is_its_buckets_its_films_and_then_its_slabs(monkeypatch):
    monkeypatch.setattr(risk, "film_age_after_s", lambda gone_s, film_s: gone_s * film_s)
    landed = Made(pour_age_s=np.array([[100.0, 200.0]]), film_age_s=np.array([[0.5, 0.25]]))
    slow = stay(
        "Bar", 0.0, 1.0, laid_h=[0.0, 1.0], ages=Ages((2.0, 1.0)), landed=landed,
        kit_factor=np.array([[1.0, 3.0], [1.0, 1.0]]),
    )  # fmt: skip
    got = slow.aged_s(np.full((2, 1), S + 2 * H))
    # What it had aged in bucket and film runs at the night's pace, then the slab's own age;
    # a kit three times as fast is three times as old.
    assert got.tolist() == [
        [(100 + 7200 * 0.5) * 2 + 14_400, 3 * ((200 + 3600 * 0.25) * 2 + 7200)],
        [100 + 7200 * 0.5 + 7200, 200 + 3600 * 0.25 + 3600],
    ]


def test_some_nights_of_a_stay_are_those_nights_of_it():
    sun = Ages((3.0, 4.0))
    one = stay(
        "Bar", 0.0, 1.0, laid_h=[0.0, 1.0], come=visit((10.0, 20.0)), sun_ages=sun,
        stopped_s=np.array([[0.0, 1.0], [2.0, 3.0]]),
        kit_factor=np.array([[1.0, 1.0], [2.0, 2.0]]),
    )  # fmt: skip
    second = np.array([False, True])
    for known in (False, True):
        if known:
            _ = one.laid_s
        some = one.of(second)
        assert some.laid_s.tolist() == [[S + 22.0, S + H + 23.0]]
        assert some.kit_factor.tolist() == [[2.0, 2.0]]
        assert some.sun_ages.pace.tolist() == [4.0]
        assert some.has_sun
    plain = replace(one, sun_ages=one.ages, stopped_s=None)
    assert not plain.of(second).has_sun
    assert plain.of(second).stopped_s is None


def test_no_night_is_asked_of_none():
    none = np.zeros(0)
    empty = stay("Bar", 1.0, 2.0, layer=COAT, come=visit(none), kit_factor=np.zeros((0, 1)))
    assert empty.too_soon(empty).shape == (0,)


def test_ages_are_followed_anew_only_where_something_else_is_asked(monkeypatch):
    made = []

    def ages_on(_pours, layer, _nights, span):
        made.append((layer.kind, span))
        return len(made), None

    monkeypatch.setattr(risk, "ages_on", ages_on)
    pours = Made(room=Made(name="Bar"))
    slab = np.zeros(3)
    nights = Made(slab_k={"Bar": slab}, energy={"slurry": np.zeros(3), "topcoat": np.ones(3)})
    looked = risk.Looked()

    def asked(first_h, last_h, *, layer=POUR, these=nights):
        return looked.ages(pours, layer, these, (S + first_h * H, S + last_h * H))[0]

    assert asked(10, 12) == 1
    # The same, or within it, is known.
    assert [asked(10, 12), asked(11, 11), asked(10, 11), asked(11, 12)] == [1, 1, 1, 1]
    # Before or after it, it is followed anew, three hours around both.
    assert asked(9.9, 11) == 2
    assert made[-1][1] == (S + 6.9 * H, S + 15 * H)
    assert [asked(6.9, 15), asked(15, 15)] == [2, 2]
    assert asked(14, 15.1) == 3
    assert made[-1][1] == (S + 3.9 * H, S + 18.1 * H)
    # Another material, other energies or another slab are others.
    assert asked(10, 12, layer=COAT) == 4
    other = Made(slab_k={"Bar": slab}, energy={"slurry": np.array([0.0, 0.0, 0.1])})
    assert asked(10, 12, these=other) == 5
    assert asked(10, 12, these=Made(slab_k={"Bar": slab + 0}, energy=other.energy)) == 6
    # Shared with who looks with other hands, but not what they run.
    again = looked.with_other_runs()
    assert again._ages is looked._ages
    assert again.draws is looked.draws
    assert again.tables is not looked.tables


@pytest.mark.parametrize(("rooms", "around"), [(24, True), (25, False)])
def test_of_many_floors_ages_are_kept_of_what_is_asked_alone(monkeypatch, rooms, around):
    spans = []
    monkeypatch.setattr(risk, "ages_on", lambda *a: (spans.append(a[3]), None))
    energy, slab = {"slurry": np.zeros(1)}, np.zeros(1)
    looked = risk.Looked()
    for n in range(rooms):
        nights = Made(slab_k={str(n): slab}, energy=energy)
        looked.ages(Made(room=Made(name=str(n))), POUR, nights, (S, S))
    looked.ages(Made(room=Made(name="0")), POUR, Made(slab_k={"0": slab}, energy=energy),
                (S - H, S))  # fmt: skip
    assert spans[-1] == ((S - 4 * H, S + 3 * H) if around else (S - H, S))


# As planned


def test_every_stay_stands_in_the_order_of_the_plan_with_its_own_crew(monkeypatch):
    monkeypatch.setattr(risk, "kit_factor", lambda _room, layer, _nights, at_s: (layer, at_s))
    primer = Layer("primer", "pour", "primer")

    def placed(layer, begins_h, ends_h, **more):
        work = Made(layer=layer, offset_s=np.array([0.0, 600.0]))
        start_s = S + (begins_h + 0.25) * H
        return Made(
            room="Bar", begins_s=S + begins_h * H, end_s=S + ends_h * H, start_s=start_s,
            work=work, own=work, **more,
        )  # fmt: skip

    spans = {}

    def ages(_pours, layer, _nights, span):
        spans[layer.kind] = span
        return f"{layer.kind} in shade", f"{layer.kind} in sun"

    schedule = Made(
        pours=[placed(POUR, 3.0, 5.0, option=None, clocks="landed")],
        coats=[placed(COAT, 12.0, 13.0, coat=1), placed(COAT, 20.0, 22.0, coat=2)],
        primers=[placed(primer, 0.0, 1.0)],
    )
    pours = {"Bar": Made(
        plan=lambda _: Made(times=Made(pour_s=np.array([60.0, 120.0]))),
        material=lambda layer: (Made(age_s={"of": layer.kind}), None),
    )}  # fmt: skip
    visits = {name: object() for name in ("pour", "coat 1", "coat 2", "primer")}
    nights = Made(
        pour_visit={"Bar": visits["pour"]}, primer_visit={"Bar": visits["primer"]},
        coat_visit={("Bar", n): visits[f"coat {n}"] for n in (1, 2)},
        stop_s={"Bar": np.array([[0.0, 5.0], [2.0, 3.0]])},
    )  # fmt: skip
    job = Made(crew=Made(topcoat_shifts=["days"], pour_shifts=["nights"]))
    got = risk._planned(pours, schedule, nights, job, Made(ages=ages))
    assert [one.layer for one in got] == [primer, POUR, COAT, COAT]
    assert [one.visit for one in got] == [
        visits[name] for name in ("primer", "pour", "coat 1", "coat 2")
    ]
    assert [one.shifts for one in got] == [["nights"], ["nights"], ["days"], ["days"]]
    # Buckets fall when they are poured, patches of a film where it has come to.
    assert [((one.patch_s - S) / 60.0).tolist() for one in got] == [
        [15.0, 25.0], [196.0, 197.0], [735.0, 745.0], [1215.0, 1225.0],
    ]  # fmt: skip
    assert got[1].stopped_s.tolist() == [[0.0, 5.0], [2.0, 5.0]]
    assert [one.stopped_s is None for one in got] == [True, False, True, True]
    assert [one.landed for one in got] == [None, "landed", None, None]
    assert got[0].ages == "primer in shade"
    assert got[0].sun_ages == "primer in sun"
    # Of a material laid twice ages are asked for from its first layer to its last.
    assert spans["topcoat"] == (S + 12 * H, S + 22 * H)
    assert spans["slurry"] == (S + 3 * H, S + 5 * H)
    assert got[2].kit_factor == (COAT, float(got[2].patch_s[0]))
    assert got[2].needs_s == {"of": "topcoat"}


@pytest.mark.parametrize(("age_h", "bears"), [(3.0, True), (2.999, False)])
def test_a_floor_bears_feet_at_its_very_age(age_h, bears):
    one = stay("Bar", 0.0, 1.0, laid_h=[0.0])
    assert one.bears(np.full(2, S + age_h * H)).tolist() == [bears] * 2


@pytest.mark.parametrize(
    ("begins_h", "laid_h", "soon"),
    [
        # The floor bears feet after 3 h and a coat after 5; who comes works an hour where it
        # need not bear anybody, and then vacuums it.
        (2.0, 5.0, False), (1.99, 5.5, True), (2.5, 4.99, True),
    ],
)  # fmt: skip
def test_a_floor_is_dry_enough_at_its_very_age(begins_h, laid_h, soon):
    below = stay("Bar", 0.0, 0.5, laid_h=[0.0])
    coat = stay("Bar", begins_h, 7.0, layer=COAT, laid_h=[laid_h])
    steps = ((Layer("mask", "topcoat", ""), H), (VACUUM, H), (COAT, H))
    coat = replace(coat, work=Made(layer=COAT, steps=steps))
    assert coat.too_soon(below).tolist() == [soon] * 2
