"""What the judge lets pass and what it finds, a little on either side of each tolerance."""

from __future__ import annotations

import math
from datetime import UTC
from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_floors import NIGHT, NIGHT_S, at, floor_of

from cureplan.judge import ageing, compare, ice_rules, limit_rules
from cureplan.judge.ageing import CardRate, HumiditySlope, RoomHours, SlabAge
from cureplan.judge.finding import (
    Finding,
    PlanRefusedError,
    miscounted,
    mismeasured,
    wall_clock,
)
from cureplan.judge.kit import first_crossing

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
