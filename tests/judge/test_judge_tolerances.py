"""What the judge lets pass and what it finds, a little on either side of each tolerance."""

from __future__ import annotations

import math
from datetime import UTC, datetime, time, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.inputs.job.model import Shift
from cureplan.judge import (
    ageing,
    arrival_rules,
    case,
    compare,
    ice_rules,
    limit_rules,
    people_rules,
    shared_hands,
    stated_rules,
)
from cureplan.judge.ageing import CardRate, HumiditySlope, RoomHours, SlabAge
from cureplan.judge.finding import (
    Finding,
    PlanRefusedError,
    miscounted,
    mismeasured,
    wall_clock,
)
from cureplan.judge.kit import first_crossing
from cureplan.judge.night_rules import unexcused
from cureplan.judge.outlines import rectangle_off_m
from cureplan.judge.people_rules import Task

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


def floor_of(count: int = 3, **more: object) -> Made:
    buckets = [Made(number=10 + n) for n in range(count)]
    return Made(name="Bar", zone=UTC, buckets=buckets, **more)


# Amounts and instants


@pytest.mark.parametrize(
    ("got", "want", "found"),
    [(2.5, 2.0, False), (2.51, 2.0, True), (1.5, 2.0, False), (1.49, 2.0, True),
     (math.nan, 2.0, True), (2.0, math.nan, True)],
)  # fmt: skip
def test_an_amount_may_be_off_by_its_tolerance(got, want, found):
    told = list(mismeasured("ice", "Bar", "ice", got, want, within=0.5, unit="kg"))
    assert bool(told) == found
    if found and not math.isnan(got + want):
        assert told[0].off_by == pytest.approx(abs(got - want))
        assert told[0].what.startswith("Bar: ice is given as")
    assert bool(list(miscounted("kits", None, "kits", 3, 3))) is False
    assert [f.off_by for f in miscounted("kits", None, "kits", 2, 3)] == [1.0]


@pytest.mark.parametrize("at_s", [math.inf, -math.inf, math.nan])
def test_an_instant_that_never_comes_is_said_so(at_s):
    assert wall_clock(at_s, UTC) == "never within the hours given"
    assert wall_clock(0.0, UTC) == "01 Jan 00:00:00"


@pytest.mark.parametrize(("count", "more"), [(1, ""), (3, ""), (4, "; and 1 more")])
def test_a_refusal_names_three_findings(count, more):
    one = Finding(rule="ice", room=None, what="too warm", off_by=1.0, unit="K")
    said = str(PlanRefusedError((one,) * count))
    assert said.endswith("ice: too warm" + more)
    assert said.count("too warm") == min(count, 3)


WANT_S = NIGHT_S + np.array([0.0, 600.0, 1200.0])


@pytest.mark.parametrize(
    ("off_s", "soon", "late"),
    [(0.0, 0, 0), (6.0, 0, 0), (6.25, 0, 1), (-6.0, 0, 0), (-6.25, 1, 0), (math.nan, 1, 1)],
)
def test_buckets_may_be_off_by_six_seconds(off_s, soon, late):
    got_s = WANT_S + np.array([0.0, off_s, 0.0])
    floor = floor_of()
    found = {
        name: list(rule(floor, "buckets", "filler", got_s, WANT_S))
        for name, rule in (
            ("soon", compare.too_soon), ("late", compare.too_late), ("unlike", compare.unlike)
        )
    }  # fmt: skip
    assert (len(found["soon"]), len(found["late"])) == (soon, late)
    assert len(found["unlike"]) == max(soon, late)
    for told in found.values():
        for finding in told:
            assert finding.what.startswith("Bar bucket 11: filler at")
            assert "more)" not in finding.what


def test_the_worst_bucket_is_named_and_the_others_counted():
    got_s = WANT_S + np.array([60.0, 120.0, 90.0])
    (told,) = compare.unlike(floor_of(), "buckets", "filler", got_s, WANT_S)
    assert "bucket 11" in told.what
    assert told.what.endswith("(off by 2.0 min) (and 2 more)")
    assert told.off_by == 2.0
    which = np.array([2, 0, 1])
    (told,) = compare.unlike(floor_of(), "buckets", "filler", got_s, WANT_S, which)
    assert "bucket 10" in told.what
    (told,) = compare.unlike(floor_of(), "buckets", "filler", got_s[:2], WANT_S[:2])
    assert told.what.endswith("(and 1 more)")


@pytest.mark.parametrize(
    ("got_s", "sooner", "later", "differs"),
    [
        (0.0, False, False, False), (-10.0, False, False, False), (-10.5, True, False, True),
        (10.0, False, False, False), (10.5, False, True, False), (110.0, False, True, False),
        (110.5, False, True, True), (math.nan, True, True, True),
    ],
)  # fmt: skip
def test_one_instant_against_its_bounds(got_s, sooner, later, differs):
    words = ("coats", "Bar", UTC, "coat 1")
    got_s += NIGHT_S
    assert bool(list(compare.sooner(*words, got_s, NIGHT_S, 10.0))) == sooner
    assert bool(list(compare.later(*words, got_s, NIGHT_S, 10.0))) == later
    for between_s in ((NIGHT_S, NIGHT_S + 100.0), (NIGHT_S + 100.0, NIGHT_S)):
        told = list(compare.differs(*words, got_s, between_s, 10.0))
        assert bool(told) == differs
        if told and got_s < NIGHT_S:
            assert "re-derived as 17 Jul 20:00:00 (off by 0.2 min)" in told[0].what
        elif told and got_s > NIGHT_S:
            assert "re-derived as 17 Jul 20:01:40 (off by 0.2 min)" in told[0].what


# Rates and curves


@pytest.mark.parametrize(
    ("pair", "speaks"),
    [
        (((20.0, 0.40), (23.0, 0.45)), True), (((20.0, 0.40), (23.01, 0.90)), False),
        (((20.0, 0.40), (20.0, 0.44)), False), (((23.0, 0.90), (20.0, 0.40)), True),
        (((20.0, None), (20.0, 0.40)), False), (((20.0, 0.40), (20.0, None)), False),
        (((20.0, None), (20.0, None)), False),
    ],
)  # fmt: skip
def test_points_speak_of_humidity_within_three_kelvin_and_five_points_apart(pair, speaks):
    points = [Made(at_c=at_c, humidity_frac=share) for at_c, share in pair]
    assert ageing._speaks_of_humidity({"wet_edge": Made(points=points)}) == speaks


@pytest.mark.parametrize(
    ("slope", "closing", "waiting"), [(-1.0, 0.2, 0.8), (1.0, 0.8, 0.2), (0.0, 0.8, 0.2)]
)
def test_a_point_without_humidity_errs_on_the_safe_side(slope, closing, waiting):
    # With less time in damp air, dry air lasts longest: a closing point is taken as of there.
    humid = HumiditySlope(slope=slope, mean=0.5, driest=0.2, dampest=0.8)
    rate = CardRate(
        ref_c=21.0, energy_j_mol=50e3, energy_sd_j_mol=5e3, batch_frac=0.1, ref_s={},
        humidity_slope=humid,
    )  # fmt: skip
    assert rate.bare_share("wet_edge") == closing
    assert rate.bare_share("foot_traffic") == waiting
    assert rate.pace(0.5) == 1.0
    assert rate.pace(math.nan) == 1.0
    assert rate.pace(0.8) == pytest.approx(math.exp(-slope * 0.3))
    assert rate.pace(0.95) == rate.pace(0.8)


def test_first_crossings_on_and_off_the_points_of_a_curve():
    at_s = np.array([[0.0, 10.0, 20.0, 30.0]])
    for rising, level, found in (
        ([0.0, 1.0, 2.0, 3.0], 3.0, 30.0), ([0.0, 1.0, 2.0, 3.0], 3.5, math.inf),
        ([0.0, 1.0, 2.0, 3.0], 1.5, 15.0), ([0.0, 1.0, 2.0, 3.0], -1.0, 0.0),
        ([5.0, 5.0, 6.0, 7.0], 3.0, 0.0), ([0.0, 1.0, 1.0, 3.0], 1.0, 10.0),
        ([0.0, 0.0, 0.0, 2.0], 1.0, 25.0), ([0.0, 1.0, 2.0, 3.0], 0.0, 0.0),
    ):  # fmt: skip
        got = first_crossing(at_s, np.array([rising]), np.array([level]))
        assert got[0] == pytest.approx(found)


def test_ages_of_a_slab_are_sums_over_minutes_of_all_its_hours():
    at_s = 3600.0 * np.arange(3)
    hours = RoomHours(
        at_s=at_s, air_c=np.full(3, 21.0), slab_c=np.array([21.0, 31.0, 31.0]),
        shade_c=np.full(3, 21.0), dew_c=np.full(3, np.nan),
    )  # fmt: skip
    rate = CardRate(
        ref_c=21.0, energy_j_mol=50e3, energy_sd_j_mol=5e3, batch_frac=0.1, ref_s={}
    )
    shade = SlabAge.of(hours, rate, closing=False)
    assert (shade.at_s[0], shade.at_s[-1], shade.at_s.size) == (0.0, 7200.0, 121)
    assert shade.age_s == pytest.approx(shade.at_s)
    assert shade.reached(5000.0) == pytest.approx(5000.0)
    assert shade.reached(7200.0) == pytest.approx(7200.0)
    assert shade.reached(7201.0) == math.inf
    assert shade.gathered(1234.0) == pytest.approx(1234.0)
    assert SlabAge.of(hours, rate, closing=True).age_s[-1] > 7200.0


# Temperatures


@pytest.mark.parametrize(
    ("temp_c", "found"),
    [([0.05], None), ([0.06], "most 0.0"), ([-9.0], None), ([-10.06], "least -10.0"),
     ([-10.0, 0.1, 0.3], "most 0.0")],
)  # fmt: skip
def test_a_twentieth_of_a_kelvin_beyond_a_limit_is_let_pass(temp_c, found):
    at_s = NIGHT_S + 60.0 * np.arange(len(temp_c))
    told = list(
        limit_rules._outside(floor_of(), "pour", "air", at_s, np.array(temp_c), (-10.0, 0.0))
    )
    assert bool(told) == (found is not None)
    if found:
        assert found in told[0].what
        assert told[0].off_by == pytest.approx(max(temp_c) if "most" in found else 0.06)
    # At most to the last digit: -10.05 is off by 0.05 and a rounding.
    cold = np.array([-0.05])
    assert not list(limit_rules._outside(floor_of(), "pour", "air", at_s, cold, (0.0, 9.0)))


@pytest.mark.parametrize(
    ("slab_c", "stage", "whats"),
    [
        # From 0 to 10 min it is laid, to 60 min it bears nobody; 5 to 30 °C are allowed.
        (lambda m: 20.0 + 0 * m, "pour", []),
        (lambda m: np.where(m > 30, 4.0, 20.0), "pour", ["slab"]),
        (lambda m: np.where(m > 70, 4.0, 20.0), "pour", []),
        (lambda m: np.where(m > 30, 35.0, 20.0), "pour", []),
        (lambda m: np.where(m == 10, 35.0, 20.0), "pour", ["slab"]),
        (lambda m: 4.0 + 0 * m, "pour", ["slab"]),
        (lambda m: 4.96 - 0.02 * (m > 20), "pour", ["slab"]),
        (lambda m: 20.0 + 0 * m, "coat 1", ["mix"]),
    ],
)
def test_a_slab_is_never_too_warm_while_laid_and_never_too_cold_until_it_bears(
    slab_c, stage, whats
):
    def slab(at_s):
        return slab_c((np.asarray(at_s) - NIGHT_S) / 60.0)

    hours = Made(
        shade=slab, slab=slab, air=lambda at_s: np.full(np.shape(at_s), 20.0),
        at_s=NIGHT_S + np.array([0.0, 7200.0]),
    )  # fmt: skip
    limits = Made(
        slab_c=(5.0, 30.0), air_c=(5.0, 30.0), material_c=(5.0, 30.0), mixed_c=(5.0, 15.0)
    )
    judged = Made(plan=Made(job=Made(materials=Made(storage_c=None))))
    span_s = (NIGHT_S, NIGHT_S + 600.0, NIGHT_S + 3600.0)
    told = list(limit_rules._check_layer(judged, floor_of(hours=hours), stage, limits, span_s))
    assert [finding.what.split(": ")[1].split()[0] for finding in told] == whats


@pytest.mark.parametrize(
    ("dew_c", "sweats", "found"),
    [(4.0, True, False), (4.0, False, True), (2.0, False, False),
     (2.0, True, True), (3.01, True, False), (3.01, False, False), (2.99, True, False),
     (math.nan, False, False), (math.nan, True, True)],
)  # fmt: skip
def test_pails_sweat_below_the_dew_point(dew_c, sweats, found):
    materials = Made(liquids_measured_c=None, iced_c=3.0)
    rows = tuple(
        Made(at=at(60 * n), dew_c=None if math.isnan(dew_c) else dew_c) for n in (0, 1)
    )
    judged = Made(
        plan=Made(job=Made(materials=materials), chill=Made(liquids_as_is_c=30.0), hours=rows)
    )
    room = Made(
        from_c=30.0, to_c=3.0, gained_bucket_min=4.0, gained_floor_min=1.0, gained_min=5.0,
        sweats=sweats,
    )  # fmt: skip
    told = list(ice_rules._check_cold(judged, floor_of(begins_s=NIGHT_S), room))
    assert bool(told) == found
    wrong = Made(**{**vars(room), "gained_min": 5.1, "sweats": False})
    labels = [f.what for f in ice_rules._check_cold(judged, floor_of(begins_s=NIGHT_S), wrong)]
    assert any("minutes gained" in label for label in labels)


def test_pails_are_in_ice_for_the_hours_said_before_the_first_stir():
    chill = Made(hours_stirred=0.5, hours_standing=4.0)
    floor = floor_of(begins_s=NIGHT_S)
    for stirred, in_ice in ((False, -240.0), (True, -30.0)):
        judged = Made(plan=Made(chill=chill, job=Made(materials=Made(stirred_in_ice=stirred))))
        room = Made(needed_at=NIGHT, in_ice_by=at(in_ice), in_ice_by_stirred=at(-30.0))
        assert list(ice_rules._check_times(judged, floor, room)) == []
        late = Made(needed_at=at(0.2), in_ice_by=at(in_ice + 0.2), in_ice_by_stirred=at(-29.8))
        assert len(list(ice_rules._check_times(judged, floor, late))) == 3


# People


def arrival(who="Ana", call=0.0, leaves=480.0, people=1, first=45.0, **more):
    stops = more.pop("stops", (Made(stage="pour", room="Bar", first_task=at(first)),))
    return Made(
        who=who, call=at(call), leaves=at(leaves), people=people, stops=stops,
        roles=more.pop("roles", ("rake",)),
    )  # fmt: skip


def at_night(*arrivals, calls=(), ice=(), **crew):
    crew = {
        "setup_s": 2700.0, "changeover_s": 900.0, "rest_s": 36_000.0, "people": (),
        "most_s": lambda _: 10 * 3600.0, **crew,
    }  # fmt: skip
    return Made(
        plan=Made(
            arrivals=arrivals, calls=calls, chill=Made(rooms=ice),
            job=Made(crew=Made(**crew), site=Made(zone=UTC), access=Made(begins=at(-120.0))),
            night=None, warnings=(),
        )
    )  # fmt: skip


@pytest.mark.parametrize(
    ("came", "said"),
    [
        (arrival(), None), (arrival(call=-5.0), None), (arrival(call=-10.0), "before"),
        (arrival(call=2.0), "odd minute"), (arrival(call=-0.05), "odd minute"),
        (arrival(call=50.0), "before"), (arrival(call=45.0), None),
        (arrival(leaves=600.0), None), (arrival(leaves=600.02), None),
        (arrival(leaves=600.03), "longer than 10 h"), (arrival(stops=()), None),
        (arrival(call=-5.0, first=45.02), None), (arrival(call=-5.0, first=45.04), "before"),
    ],
)  # fmt: skip
def test_a_stay_begins_a_set_up_early_and_ends_within_the_longest_shift(came, said):
    told = [f.what for f in arrival_rules._check_stays(at_night(came), "Ana", [came])]
    assert [said in what for what in told] == ([] if said is None else [True])


@pytest.mark.parametrize(
    ("second_call", "roles", "count"),
    [(1080.0, ("rake",), 0), (1075.0, ("rake",), 1), (1075.0, ("ice",), 0)],
)
def test_between_two_stays_lies_a_rest_but_for_an_errand_with_ice(second_call, roles, count):
    stays = [
        arrival(),
        arrival(call=second_call, leaves=1500.0, first=second_call + 45.0, roles=roles),
    ]
    told = list(arrival_rules._check_stays(at_night(*stays), "Ana", stays))
    assert len(told) == count
    tight = [arrival(), arrival(call=1080.0, leaves=1500.0, first=1125.0)]
    for rest_s, found in ((36_001.5, 0), (36_002.0, 1)):
        judged = at_night(*tight, rest_s=rest_s)
        assert len(list(arrival_rules._check_stays(judged, "Ana", tight))) == found
    judged = at_night(*tight, rest_s=None, most_s=lambda _: None)
    assert list(arrival_rules._check_stays(judged, "Ana", tight)) == []


@pytest.mark.parametrize(
    ("came", "count"),
    [
        ((arrival(),), 0), ((arrival(call=45.0, first=45.0),), 0),
        ((arrival(call=45.01, first=46.0),), 1), ((arrival(leaves=300.0),), 0),
        ((arrival(leaves=299.98),), 0), ((arrival(leaves=299.96),), 1),
        ((arrival(who="Bo"),), 1), ((arrival(), arrival()), 1),
    ],
)  # fmt: skip
def test_who_is_called_by_name_is_there_from_first_to_last_task_once(came, count):
    call = Made(
        role="rake", names=("Ana",), people=1, room="Bar", stage="pour", first_task=at(45.0),
        last_task=at(300.0),
    )  # fmt: skip
    assert len(list(arrival_rules._check_call(at_night(*came), call))) == count


@pytest.mark.parametrize(("people", "count"), [(2, 0), (3, 0), (1, 1)])
def test_of_a_role_that_is_counted_as_many_come_as_are_called(people, count):
    call = Made(
        role="vacuum", names=(), people=2, room="Bar", stage="vacuum", first_task=at(45.0),
        last_task=at(300.0),
    )  # fmt: skip
    judged = at_night(arrival(who="topcoat", people=people))
    assert len(list(arrival_rules._check_call(judged, call))) == count


def pails(begins=-45.0, ends=-30.0, room="Bar"):
    return Made(stage="ice", room=room, first_task=at(begins), last_task=at(ends))


@pytest.mark.parametrize(
    ("came", "due", "count"),
    [
        # A quarter of an hour each, done when they are due or sooner, a second and a half off.
        (arrival(call=-60.0, leaves=-30.0), -30.0, 0),
        (arrival(call=-45.0, leaves=0.0), -30.0, 0),
        (arrival(call=-44.0, leaves=0.0), -30.0, 1),
        (arrival(call=-60.0, leaves=-30.02), -30.0, 0),
        (arrival(call=-60.0, leaves=-30.04), -30.0, 1),
        (arrival(call=-60.0, leaves=0.0), 300.0, 0),
        (arrival(call=-60.0, leaves=0.0), -30.02, 0),
        (arrival(call=-60.0, leaves=0.0), -30.04, 1),
    ],
)  # fmt: skip
def test_somebody_is_there_when_pails_go_into_ice(came, due, count):
    came.stops, came.roles = (pails(),), ("ice",)
    judged = at_night(came, ice=(Made(room="Bar", in_ice_by=at(due)),))

    def told():
        return [f for f in arrival_rules.check_arrivals(judged) if "pails" in f.what]

    assert len(told()) == count
    came.stops = (pails(room="Hall"),)
    assert len(told()) == 1


@pytest.mark.parametrize(("lasts", "count"), [(15.0, 0), (14.98, 0), (14.96, 1)])
def test_pails_of_a_floor_take_a_quarter_of_an_hour(lasts, count):
    came = arrival(call=-60.0, leaves=0.0, roles=("ice",), stops=(pails(-30.0 - lasts),))
    judged = at_night(came, ice=(Made(room="Bar", in_ice_by=at(-30.0)),))
    assert len(list(arrival_rules.check_arrivals(judged))) == count


@pytest.mark.parametrize(
    ("begins", "ends", "count"),
    [
        (0.0, 30.0, 0), (0.0, 30.02, 0), (0.0, 30.03, 1), (45.0, 60.0, 0), (44.97, 60.0, 1),
        (0.0, 300.0, 1), (33.0, 40.0, 1),
    ],
)  # fmt: skip
def test_nobody_puts_pails_in_ice_and_is_elsewhere(begins, ends, count):
    work = Made(stage="primer", room="Hall", first_task=at(begins), last_task=at(ends))
    one = arrival(call=-60.0, leaves=300.0, stops=(pails(30.0, 45.0), work))
    judged = at_night(one, ice=(Made(room="Bar", in_ice_by=at(45.0)),), rest_s=None)
    told = [f for f in arrival_rules.check_arrivals(judged) if "while at primer" in f.what]
    assert len(told) == count
    if count:
        assert told[0].off_by == pytest.approx(min(ends, 45.0) - max(begins, 30.0))
    # Nor on an errand of his own while he stays for other work; others may.
    for who, found in (("Ana", count), ("Bo", 0)):
        errand = arrival(who=who, call=30.0, leaves=45.0, stops=(pails(30.0, 45.0),),
                         roles=("ice",))  # fmt: skip
        other = arrival(call=-60.0, leaves=300.0, stops=(work,))
        judged = at_night(
            errand, other, ice=(Made(room="Bar", in_ice_by=at(45.0)),), rest_s=None
        )
        told = [f for f in arrival_rules.check_arrivals(judged) if "while at" in f.what]
        assert len(told) == found


def outside(rooms="Bar", ice=-30.0, access=0.0):
    values = {
        "rooms": rooms, "in_ice_at": at(ice).isoformat(), "access_at": at(access).isoformat()
    }  # fmt: skip
    return Made(code="warn.ice_outside", values=values)


@pytest.mark.parametrize(
    ("stop", "warnings", "count"),
    [
        # Pails alone are seen to before the access, and the plan says which and since when.
        (pails(), (outside(),), 0), (pails(), (), 1), (pails(), (outside("Hall"),), 2),
        (pails(), (outside("Bar; Hall"),), 1), (pails(0.0, 15.0), (), 0),
        (pails(-0.02, 15.0), (), 0), (pails(-0.03, 15.0), (), 1),
        (pails(0.0, 15.0), (outside(),), 1), (pails(), (outside(ice=-30.02),), 0),
        (pails(), (outside(ice=-30.03),), 1), (pails(), (outside(access=0.03),), 1),
        (Made(stage="pour", room="Bar", first_task=at(-45.0), last_task=at(-30.0)), (), 1),
        (Made(stage="pour", room="Bar", first_task=at(-0.02), last_task=at(30.0)), (), 0),
    ],
)  # fmt: skip
def test_what_is_done_before_the_access_are_pails_outside_and_said(stop, warnings, count):
    judged = at_night(arrival(stops=(stop,)))
    judged.plan.warnings, judged.plan.job.access.begins = warnings, at(0.0)
    assert len(list(arrival_rules._check_outside(judged))) == count
    # On the night the access has begun long since.
    judged.plan.night = Made()
    assert list(arrival_rules._check_outside(judged)) == []


# Crews, shifts and ways


def task(begins, ends, *, name="Bar", label="pour", group=None, **more):
    floor = Made(name=name, zone=UTC, room=Made(group=group), **more)
    return Task(floor=floor, label=label, begins_s=NIGHT_S + begins, ends_s=NIGHT_S + ends)


def with_crew(**crew):
    given = {"changeover_s": 900.0, "group_changeover_s": 300.0, "setup_s": 2700.0, **crew}
    access = Made(begins=at(-120.0), open_by=at(24 * 60.0))
    return Made(
        plan=Made(job=Made(crew=Made(**given), site=Made(zone=UTC), access=access), night=None)
    )


@pytest.mark.parametrize(
    ("closed", "found"),
    [
        # Closed for two minutes less, which is what is let pass of windows.
        (task(600.0, 1320.0), True), (task(600.0, 721.5), False), (task(600.0, 722.0), True),
        (task(1198.5, 9000.0), False), (task(1198.0, 9000.0), True), (task(0.0, 100.0), False),
    ],
)  # fmt: skip
def test_nobody_crosses_a_closed_floor_for_longer_than_two_roundings(closed, found):
    assert bool(list(people_rules._check_crossing(task(600.0, 1200.0), closed))) == found


@pytest.mark.parametrize(
    ("minutes", "inside"),
    [
        (0.0, True),
        (-0.02, True),
        (-0.03, False),
        (600.0, True),
        (600.02, True),
        (600.03, False),
    ],
)
def test_a_shift_holds_its_ends(minutes, inside):
    shifts = (Shift(begins=time(20), ends=time(6)),)
    found = people_rules.in_shift(with_crew(), shifts, NIGHT_S + 60.0 * minutes)
    assert (found is not None) == inside


@pytest.mark.parametrize(
    ("before", "after", "between_s"),
    [
        (task(0, 60, group="a"), task(99, 999, group="a"), 300.0),
        (task(0, 60, group="a"), task(99, 999, group="b"), 900.0),
        (task(0, 60, group="a"), task(99, 999), 900.0),
        (task(0, 60), task(99, 999), 900.0),
        (task(0, 60, group="a", label="primer"), task(99, 999, group="a"), 900.0),
        (task(0, 60, group="a"), task(99, 999, group="a", label="coat 1"), 900.0),
        (
            task(0, 60, group="a", label="primer"), task(99, 999, group="a", label="primer"),
            900.0,
        ),
    ],
)  # fmt: skip
def test_a_crew_moves_over_inside_a_group_from_pour_to_pour_as_the_job_says(
    before, after, between_s
):
    assert people_rules._between_s(with_crew(), before, after) == between_s
    assert people_rules._between_s(with_crew(group_changeover_s=None), before, after) == 900.0
    for begins_s, count in ((60.0 + between_s - 6.0, 0), (60.0 + between_s - 6.5, 1)):
        moved = task(begins_s, begins_s + 600.0, label=after.label)
        moved.floor.room.group = after.floor.room.group
        told = people_rules._check_one_crew(with_crew(), "pours", [moved, before])
        assert len(list(told)) == count


@pytest.mark.parametrize(
    ("begins_s", "count"), [(60.0 + 300.0 + 150.0, 0), (60.0 + 300.0 + 151.0, 1)]
)
def test_rooms_of_a_group_follow_each_other_within_two_minutes_and_a_half(begins_s, count):
    tasks = [
        task(0.0, 60.0, group="a"),
        task(begins_s, begins_s + 60.0, group="a", name="Hall"),
        task(9000.0, 9060.0, name="Store"),
    ]
    judged = with_crew()
    assert len(list(people_rules._check_groups(judged, tasks))) == count
    judged.plan.night = Made()
    assert list(people_rules._check_groups(judged, tasks)) == []


@pytest.mark.parametrize(
    ("begins", "ends", "rules"),
    [
        (45.0, 600.0, []), (44.9, 600.0, []), (44.89, 600.0, ["starts at"]),
        (45.0, 600.1, []), (45.0, 600.11, ["ends at"]), (-1.0, 60.0, ["starts 17 Jul"]),
    ],
)  # fmt: skip
def test_work_begins_a_set_up_after_its_shift_and_ends_with_it(begins, ends, rules):
    shifts = (Shift(begins=time(20), ends=time(6)),)
    one = task(60.0 * begins, 60.0 * ends)
    told = list(people_rules._check_shift(with_crew(), "pours", one, shifts))
    assert [word in f.what for f, word in zip(told, rules, strict=True)] == [True] * len(rules)


def test_ways_out_lead_over_the_floors_behind_the_next_one():
    rooms = [Made(name="a", way_out=["b"]), Made(name="b", way_out=["c"]),
             Made(name="c", way_out=["a"]), Made(name="d", way_out=[])]  # fmt: skip
    judged = Made(plan=Made(job=Made(rooms=rooms)))
    assert people_rules.on_the_way_out(judged, ["b"]) == {"a", "b", "c"}
    assert people_rules.on_the_way_out(judged, ["street"]) == {"street"}
    assert people_rules.on_the_way_out(judged, []) == set()


# What a plan states


@pytest.mark.parametrize(
    ("rises_k", "falling", "found"),
    [(0.0, True, False), (0.34, True, False), (0.36, True, True), (-2.0, True, False),
     (1.0, False, False), (0.26, False, False), (0.24, False, True), (-1.0, False, True)],
)  # fmt: skip
def test_a_slab_that_warms_by_less_than_a_third_of_a_kelvin_is_level(rises_k, falling, found):
    hours = Made(
        air=lambda _: 20.0,
        slab=lambda at_s: 20.0 + rises_k * (np.asarray(at_s) - NIGHT_S) / 3600,
    )
    floor = floor_of(
        hours=hours, begins_s=NIGHT_S, ends_pour_s=NIGHT_S + 3600.0,
        plan=Made(air_c=20.0, slab_c=20.0, slab_falling=falling),
    )  # fmt: skip
    told = list(stated_rules._check_air_and_slab(floor))
    assert bool(told) == found
    if told:
        assert f"{rises_k:+.1f} K" in told[0].what
        assert told[0].off_by == pytest.approx(abs(rises_k - 0.3))


@pytest.mark.parametrize(
    ("shade_k", "sun", "halved", "found"),
    [
        (0.0, False, False, False), (-0.1, False, False, True), (0.1, False, False, True),
        (-0.1, True, False, False), (0.1, True, False, True), (-0.1, False, True, False),
        (0.05, True, False, False), (0.0625, True, False, True),
    ],
)  # fmt: skip
def test_a_shade_is_cooler_where_a_floor_has_a_warmer_part(shade_k, sun, halved, found):
    slabs = (Made(room="Bar", warm_parts=("last",)), Made(room="Hall", warm_parts=("first",)))
    night = Made(slab=slabs if halved else slabs[1:])
    hours = Made(shade_c=np.array([0.0, shade_k]), slab_c=np.zeros(2))
    floor = floor_of(hours=hours, room=Made(sun_patch=Made() if sun else None))
    assert bool(list(stated_rules._check_shade(Made(plan=Made(night=night)), floor))) == found
    if not halved:
        judged = Made(plan=Made(night=None))
        assert bool(list(stated_rules._check_shade(judged, floor))) == found


@pytest.mark.parametrize(
    ("cadence_min", "apart_min", "count"),
    [(5.0, 5.0, 0), (4.91, 5.0, 0), (4.89, 5.0, 1), (5.0, 4.91, 0), (5.0, 4.89, 1),
     (9.0, 9.0, 0)],
)  # fmt: skip
def test_buckets_follow_no_sooner_than_the_busiest_hands(
    monkeypatch, cadence_min, apart_min, count
):
    monkeypatch.setattr(stated_rules, "busiest_s", lambda *_: 300.0)
    liquids_s = NIGHT_S + 60.0 * apart_min * np.arange(3)
    floor = floor_of(planned=Made(liquids_s=liquids_s), plan=Made(cadence_min=cadence_min))
    assert len(list(stated_rules._check_shared_rhythm(Made(), floor))) == count


@pytest.mark.parametrize(
    ("whole", "parts", "count"),
    [
        (0.7, [0.9, 0.8], 0), (0.6981, [0.9, 0.8], 0), (0.697, [0.9, 0.8], 1),
        (0.8009, [0.9, 0.8], 0), (0.8011, [0.9, 0.8], 1), (0.0, [0.2, 0.3], 0),
        (-0.01, [0.2, 0.3], 1), (1.0, [], 0), (0.99, [], 1), (1.0, [1.01], 1),
        (0.0, [-0.01], 2),
    ],
)  # fmt: skip
def test_a_whole_holds_no_more_often_than_a_part_and_no_less_than_all_of_them(
    whole, parts, count
):
    # At the least each part fails in other nights: 1 - 0.1 - 0.2, a thousandth each rounded.
    assert len(list(stated_rules._check_whole("Bar", "coats", whole, parts))) == count


@pytest.mark.parametrize(("got", "count"), [(0.0, 0), (0.5, 0), (0.5009, 0), (0.502, 1),
                                            (-0.001, 0), (-0.002, 1)])  # fmt: skip
def test_shares_lie_within_what_they_are_shares_of(got, count):
    assert len(list(stated_rules._check_shares([("a stop", got, 0.5)]))) == count


# Where buckets lie


def buckets_of(*rows):
    """Buckets of rows, each a bay, a row and how many it holds."""
    return tuple(
        Made(bay=bay, row=row, number=number)
        for number, (bay, row) in enumerate(
            ((bay, row) for bay, row, many in rows for _ in range(many)), start=1
        )
    )


@pytest.mark.parametrize(
    ("rows", "per_row", "partners"),
    [
        ([(1, 1, 2), (1, 2, 2)], 2, (2, 3, None, None)),
        # Three shares against two: the first third ends before the second half begins.
        ([(1, 1, 3), (1, 2, 2)], 3, (3, 4, 4, None, None)),
        ([(1, 1, 3), (1, 2, 1)], 3, (3, 3, 3, None)),
        ([(1, 1, 1), (1, 2, 1), (2, 1, 1), (2, 2, 1)], 1, (1, None, 3, None)),
        ([(1, 1, 2)], 0, (1, None)),
    ],
)
def test_an_edge_is_met_by_the_last_of_the_next_row_that_begins_before_it_ends(
    rows, per_row, partners
):
    assert case._partners(buckets_of(*rows), per_row) == partners


@pytest.mark.parametrize(
    ("parts", "warm"),
    [
        ((), [1, 1, 1, 1]), (("last",), [0, 0, 1, 1]), (("first",), [1, 1, 0, 0]),
        (("front",), [0, 1, 0, 1]), (("back",), [1, 0, 1, 0]),
        (("last", "front"), [0, 0.5, 0.5, 1]),
    ],
)  # fmt: skip
def test_the_half_that_a_night_finds_warmer_begins_in_the_middle(parts, warm):
    # Two bays of two rows: the second bay is poured last, each second row lies in front.
    buckets = buckets_of((1, 1, 1), (1, 2, 1), (2, 1, 1), (2, 2, 1))
    hours = Made(
        slab=lambda at_s: np.full(at_s.size, 30.0), shade=lambda at_s: np.full(at_s.size, 26.0)
    )
    night = Made(
        slab=(Made(room="Hall", warm_parts=("last",)), Made(room="Bar", warm_parts=parts))
    )
    planned = Made(pour_s=np.zeros(4))
    got_c = case._under_c(night, "Bar", buckets, planned, hours)
    assert got_c.tolist() == [26.0 + 4.0 * share for share in warm]
    assert case._under_c(None, "Bar", buckets, planned, hours).tolist() == [30.0] * 4


def rectangle(*, off_m=0.0):
    """Two bays of a 4 m front: rows of 2 and 1 patches, and of one, 3 m deep."""
    rings = [
        [(0, 0), (1, 0), (1, 2), (0, 2)], [(1, 0), (2, 0), (2, 2), (1, 2)],
        [(0, 2), (2, 2), (2, 3), (0, 3)], [(2, 0), (4, 0), (4, 3), (2, 3 + off_m)],
    ]  # fmt: skip
    return [[ring] for ring in rings]


def test_corners_of_a_rectangle_are_measured_against_rows_of_equal_shares():
    size = {"length_m": 3.0, "width_m": 4.0, "counts": [[2, 1], [1]]}
    assert rectangle_off_m(rectangle(), **size) == 0.0
    assert rectangle_off_m(rectangle(off_m=0.25), **size) == 0.25
    assert rectangle_off_m(rectangle()[:3], **size) == 4.0
    assert rectangle_off_m([], length_m=3.0, width_m=4.0, counts=[]) == 0.0


# Hands, and the night


def test_work_of_hands_by_role():
    planned = Made(
        filler_s=np.array([180.0, 380.0, 580.0]), liquids_s=np.array([0.0, 200.0, 400.0]),
        pour_s=np.array([420.0, 620.0, 820.0]), raked_s=np.array([500.0, 700.0, 900.0]),
        smoothed_s=np.array([600.0, 800.0, 1000.0]),
    )  # fmt: skip
    card = Made(liquids_mix_s=180.0, filler_mix_s=180.0, turnaround_s=60.0)
    pace = Made(haul_s=30.0, rake_m2_s=0.1, smooth_m2_s=0.05, broadcast_m2_s=0.1, edge_m_s=0.1)
    judged = Made(plan=Made(job=Made(cards=Made(slurry=card), pace=pace)))
    floor = floor_of(planned=planned, bucket_area_m2=np.array([4.0] * 3), edge_m=12.0)
    for number, bucket in enumerate(floor.buckets):
        bucket.station = 1 + number % 2
    for role, place, hands, begins, ends in (
        ("mixer", 0, 2, [0.0, 400.0], [360.0, 760.0]), ("mixer", 1, 2, [200.0], [560.0]),
        ("runner", 0, 2, [390.0, 790.0], [450.0, 850.0]), ("runner", 1, 2, [590.0], [650.0]),
        ("rake", 0, 1, [460.0, 660.0, 860.0], [500.0, 700.0, 900.0]),
        ("smoother", 0, 2, [560.0, 760.0, 960.0], [600.0, 800.0, 1000.0]),
        ("edge", 0, 1, [], []),
    ):  # fmt: skip
        got = shared_hands._times(judged, floor, role, place, hands)
        assert [part.tolist() for part in got] == [begins, ends]
    assert shared_hands.work_of_bucket_s(judged, floor) == pytest.approx(
        {"mixer": 420, "runner": 60, "rake": 40, "smoother": 80, "broadcaster": 40, "edge": 40}
    )


@pytest.mark.parametrize(
    ("rule", "room", "kept"),
    [
        ("pours", "Bar", True), ("pours", "Hall", False), ("pours", None, True),
        ("coats", "Bar", False), ("coats", "Hall", True), ("ice", "Hall", True),
        ("people", "Bar", True),
    ],
)  # fmt: skip
def test_a_night_excuses_what_it_says_of_a_room_and_what_is_begun_there(rule, room, kept):
    found = Finding(rule=rule, room=room, what="", off_by=1.0, unit="min")
    night = Made(
        poured=(Made(room="Hall"),),
        changes=(Made(code="replan.coat_late", values={"room": "Bar"}),),
    )
    plan = Made(night=night, warnings=())
    assert (unexcused(plan, [found]) == (found,)) == kept
    assert unexcused(Made(night=None), [found]) == (found,)
    warned = Made(night=night, warnings=(Made(code="warn.over_stay"),))
    assert (unexcused(warned, [found]) == (found,)) == (kept and rule != "people")
