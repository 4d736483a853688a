"""Odds of kits and mixing: each term by itself, against sums worked out apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm
from scipy.stats import t as student

from cureplan.planning.floor.layout import met_by
from cureplan.planning.floor.pour import PourOption, RoomPours
from cureplan.planning.odds import margins
from cureplan.planning.odds.nights import TERMS, draw_nights
from cureplan.planning.odds.risk import assess
from cureplan.planning.odds.scatter import heavy_normal
from cureplan.planning.plan.made_of import made_of
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import place_pour
from tests.schedule.rooms import EXACT, few_rooms, pours_of

MEMBERS = 4000
ICED = PourOption(chilled=True, cool_filler=False, bays=2)


def _poured(
    *, name="Servery", option=ICED, cut_at="bay", silent=("weather", "slab", "crew"), **doubts
):
    """A floor poured iced, everything known but what is said; its odds and its pour."""
    job = few_rooms(name)
    job = replace(
        job,
        doubt=replace(EXACT, **doubts),
        policy=replace(job.policy, cut_at=cut_at),
    )
    room = pours_of(job)[name]
    fit = replace(room.clocks.fit, covariance=1e-12 * room.clocks.fit.covariance)
    clocks = replace(room.clocks, fit=fit, spread_frac=1e-6)
    room = RoomPours(room.room, job, clocks, room.topcoat, room.conditions)
    start_s = job.access.begins.timestamp() + 5 * 3600.0
    poured = place_pour(room, option, start_s, confidence=0.5)
    schedule = Schedule(pours=(poured,), coats=(), failures=(), required_s=120.0)
    odds = assess(job, {name: room}, schedule, issued_s=start_s, members=MEMBERS, silent=silent)
    return odds, room, poured, schedule


def _margins(room, poured):
    """Least margin of each bucket at the expected pace [s]."""
    return poured.clocks.margins_s[:, 0]


def test_with_everything_known_a_pour_in_hand_always_holds():
    odds, _, poured, _ = _poured()
    assert poured.margin_s > 30.0
    assert (odds.buckets_frac, odds.cut_frac) == (1.0, 0.0)


@pytest.mark.parametrize("cut_at", ["bay", "row"])
def test_a_stop_of_the_mixing_loses_the_open_edge_unless_it_may_be_cut(cut_at):
    # Stop by stop: one before bucket k keeps waiting every patch that k or a later one
    # meets; the edge is lost where the stop, exponential in length, outlasts the least of
    # their margins. Stops are apart from each other; two in one row are left out, so 0.02.
    every, lasts_s = 40, 360.0
    odds, room, poured, _ = _poured(stop_every=every, stop_lasts_s=lasts_s, cut_at=cut_at)
    met, margins = met_by(room.plan(ICED).layout), _margins(room, poured)
    edges = np.minimum(margins[0], margins[2])
    safe = 1.0
    for k in range(met.size):
        waits = (np.arange(met.size) < k) & (met >= k)
        if waits.any():
            safe *= 1 - np.exp(-edges[waits].min() / lasts_s) / every
    assert 0.3 < safe < 0.9
    if cut_at == "bay":
        assert odds.buckets_frac == pytest.approx(safe, abs=0.03)
        assert odds.stop_lost_frac == pytest.approx(1 - safe, abs=0.03)
    else:
        # A cost, told apart from a loss.
        assert odds.buckets_frac == 1.0
        assert odds.cut_frac == pytest.approx(1 - safe, abs=0.03)
        assert odds.as_planned_frac == pytest.approx(safe, abs=0.03)
        assert odds.stop_lost_frac == 0.0


def test_a_stop_that_ends_at_a_planned_stop_line_is_a_cost_and_loses_nothing():
    # Two buckets to a bay: a stop inside a bay loses its open edge, one before a bay's
    # first bucket finds the pour at its stop line. Stops are summed as above, apart.
    every, lasts_s = 20, 1800.0
    bays = PourOption(chilled=True, cool_filler=False, bays=5)
    odds, room, poured, _ = _poured(
        name="Dish room", option=bays, stop_every=every, stop_lasts_s=lasts_s
    )
    layout, margins = room.plan(bays).layout, _margins(room, poured)
    assert layout.kits_per_bay == 2
    edges = np.minimum(margins[0], margins[2])[::2]
    outlasts = np.exp(-edges / lasts_s) / every
    between = np.exp(-edges.min() / lasts_s) / every
    assert odds.stop_lost_frac == pytest.approx(1 - np.prod(1 - outlasts), abs=0.02)
    assert odds.cut_frac == pytest.approx(1 - (1 - between) ** 4, abs=0.02)
    assert odds.buckets_frac == pytest.approx(1 - odds.stop_lost_frac)


def test_kits_that_differ_lose_a_floor_as_often_as_the_weakest_does():
    # Kit by kit: each by itself a normal ln of its pace; the pace at which its least
    # margin is gone is looked for on full runs of its clocks.
    sd = 0.15
    odds, room, poured, _ = _poured(kit=sd)
    tries = np.linspace(0.0, 0.7, 141)
    margins = np.array(
        [room.run(ICED, poured.start_s, speed=float(np.exp(x))).margin_s[0] for x in tries]
    )
    breaks = np.array([np.interp(0.0, -column, tries) for column in margins.T])
    assert odds.buckets_frac == pytest.approx(np.prod(norm.cdf(breaks / sd)), abs=0.03)


def test_what_all_kits_share_loses_fewer_floors_than_what_each_has_by_itself():
    # One draw for all or one for each, of one size: a floor is as good as its worst kit.
    together, _, _, _ = _poured(slurry_times=0.2)
    each, _, _, _ = _poured(kit=0.2)
    assert together.buckets_frac > each.buckets_frac + 0.05
    # Per bucket it is the same.
    assert together.bucket_frac["Servery"] == pytest.approx(
        each.bucket_frac["Servery"], abs=0.03
    )


def test_ice_that_is_not_cold_costs_what_warmer_liquids_cost():
    # Liquids warmer by the size of a normal draw; the warmth at which the
    # least margin is gone is looked for on full runs.
    sd_k = 12.0
    odds, room, poured, _ = _poured(iced_k=sd_k)
    tries_k = np.linspace(0.0, 48.0, 97)
    least = [
        room.run(ICED, poured.start_s, liquids_shift_k=float(k)).least_s[0] for k in tries_k
    ]
    breaks_k = np.interp(0.0, -np.array(least), tries_k)
    expected = 2 * norm.cdf(breaks_k / sd_k) - 1
    assert expected < 0.98
    assert odds.buckets_frac == pytest.approx(expected, abs=0.04)


def test_the_table_names_what_costs_most_and_what_takes_it_away(monkeypatch):
    monkeypatch.setattr("cureplan.planning.plan.made_of.TERMS", TERMS)
    odds, room, _, schedule = _poured(stop_every=40, stop_lasts_s=360.0, silent=())
    rows = made_of(room.job, {"Servery": room}, schedule, odds).terms
    assert rows[0].term == "stops"
    assert rows[0].measure == "spare drill"
    assert rows[0].costs_frac > 0.1
    # What has no size has no row.
    assert "kit" not in {row.term for row in rows}


def test_a_probe_in_the_pail_takes_the_doubt_of_the_ice_away():
    # Six kelvin out of a guess, half a kelvin out of a probe.
    job = replace(few_rooms("Servery"), doubt=replace(EXACT, iced_k=6.0))
    probed = replace(job, materials=replace(job.materials, liquids_measured_c=4.0))
    spreads = []
    for asked in (job, probed):
        pours = pours_of(asked)
        start_s = asked.access.begins.timestamp() + 5 * 3600.0
        poured = place_pour(pours["Servery"], ICED, start_s, confidence=0.5)
        schedule = Schedule(pours=(poured,), coats=(), failures=(), required_s=120.0)
        nights = draw_nights(asked, pours, schedule, members=500, issued_s=start_s)
        spreads.append(float(np.sqrt(np.mean(nights.iced_k**2))))
    assert spreads == pytest.approx([6.0, 0.5], rel=0.15)


def test_heavy_draws_are_those_of_student_at_the_same_ranks():
    # As scipy has it: its t of four degrees (variance 2) at the ranks of the normal.
    normal = np.array([[-6.0, -2.5, -0.3], [0.0, 1e-6, 3.7]])
    told = student.ppf(norm.cdf(normal), 4) / np.sqrt(2.0)
    assert heavy_normal(normal) == pytest.approx(told, rel=1e-8, abs=1e-9)


def test_a_table_straight_in_pace_slab_and_air_is_read_as_it_is():
    # On a plane a value between nodes is the plane's, wherever the nodes lie.
    speed, slab, air = np.meshgrid(
        margins._LN_SPEED, margins._SLAB_K, margins._AIR_K, indexing="ij"
    )
    plane = -900.0 * speed - 40.0 * slab - 7.0 * air
    by_bucket = np.stack([plane, plane + 1000.0, plane + 2000.0], axis=-1)
    table = margins.Margins(
        margins_s=np.stack([by_bucket] * 3), energy_ln=np.zeros((3, 3)),
        iced_ln=np.zeros((3, margins._ICED_K.size, 3)),
    )  # fmt: skip
    drawn = np.random.default_rng(3)
    ln, slab_k, air_k = (drawn.uniform(-far, far, (50, 3)) for far in (0.7, 4.4, 4.9))
    found = table.at(ln, energy=np.zeros(50), iced_k=np.zeros(50), slab_k=slab_k, air_k=air_k)
    expected = -900.0 * ln - 40.0 * slab_k - 7.0 * air_k + [0.0, 1000.0, 2000.0]
    assert found == pytest.approx(np.stack([expected] * 3))
