"""What a fit makes of readings: near the card when few, the readings' own when many."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from effort import examples
from fit_builders import fitted, numbered, reading
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import InputError
from cureplan.inputs.cards.model import MilestonePoint
from cureplan.inputs.cards.reader import read_card, read_card_text
from cureplan.planning.studies.quick import card_clock
from cureplan.science.clocks import slurry_clocks, topcoat_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.science.kit import run_bucket
from cureplan.science.learning.estimates import steady_ln_s
from cureplan.science.learning.least_squares import solve
from cureplan.science.learning.report import fitted_card_text
from cureplan.science.learning.setup import setup

GAS_J_MOL_K = 8.314462618
KIT = {"liquids_c": 30.0, "filler_c": 31.0, "air_c": 32.0, "slab_c": 29.0, "poured_s": 250.0}


def minutes(at_21_min, temp_c, energy_j_mol):
    """Arrhenius by hand."""
    inverse = 1.0 / (temp_c + 273.15) - 1.0 / 294.15
    return at_21_min * math.exp(energy_j_mol / GAS_J_MOL_K * inverse)


def line_of(milestone, at_21_min, temps_c, energy_j_mol, **rest):
    return [
        reading("cup", milestone, minutes(at_21_min, t, energy_j_mol), t, **rest)
        for t in temps_c
    ]


def energy_kj(found):
    return found.energy.value / 1e3


def test_one_reading_leaves_the_energy_as_believed(topcoat):
    found = fitted(topcoat, [reading("cup", "working_time", 20.0, 21.0)])
    assert energy_kj(found) == pytest.approx(50.0, abs=0.05)
    assert found.energy.sd == pytest.approx(10e3, rel=0.01)


def test_more_readings_draw_the_energy_from_the_card_to_their_own(topcoat):
    # Readings without noise at 70 kJ/mol: the fit goes there as they grow in number.
    nears = []
    for count in (2, 4, 12, 40):
        temps = np.tile([12.0, 32.0], count // 2)
        found = fitted(topcoat, line_of("working_time", 20.0, temps, 70e3))
        nears.append(energy_kj(found))
    assert nears == sorted(nears)
    # By hand: two readings 20 K apart know the energy to 0.1 * sqrt(2) / 0.0276 = 5.1
    # kJ/mol, the card to 10: 10² / (10² + 5.1²) = 0.79 of the way from 50 to 70.
    assert nears[0] == pytest.approx(50.0 + 0.79 * 20.0, abs=0.5)
    assert nears[-1] == pytest.approx(70.0, abs=0.5)


def test_a_generic_card_gives_way_to_one_reading_more_than_an_own_card(topcoat, own_topcoat):
    cups = [reading("cup", "working_time", 12.0, 21.0)]
    moved = [
        math.log(20.0 / (fitted(card, cups).milestones[0].time.value / 60.0))
        for card in (topcoat, own_topcoat)
    ]
    # By hand: prior variances 0.3² + 0.25² and 0.1² + 0.1² against 0.1² of the reading,
    # which the surprising reading itself widens for the generic card: a band, not a point.
    whole = math.log(20.0 / 12.0)
    assert 0.7 * whole < moved[0] < 0.95 * whole
    assert 0.35 * whole < moved[1] < 0.70 * whole


def test_a_milestone_nobody_read_moves_with_the_others(topcoat):
    found = fitted(topcoat, line_of("working_time", 14.0, [15.0, 21.0, 30.0], 50e3))
    by_name = {one.milestone: one for one in found.milestones}
    opens = by_name["recoat_opens"]
    assert opens.readings == 0
    assert opens.time.value < 0.95 * opens.was_s
    assert opens.time.width / opens.time.value > 2 * (
        by_name["working_time"].time.width / by_name["working_time"].time.value
    )
    assert "recoat_opens" in found.unread
    assert found.card.generic


def test_a_card_is_no_longer_generic_once_all_its_milestones_are_read(topcoat):
    cups = [
        reading("sheet", name, one.points[0].after_s / 60, 21.0)
        for name, one in topcoat.milestones.items()
    ]
    assert not fitted(topcoat, cups).card.generic


def test_the_new_card_reads_back_and_gives_the_fitted_clocks(slurry):
    readings = [
        *line_of("working_time", 15.0, [12.0, 30.0], 45e3),
        reading("sheet", "foot_traffic", 270.0, 21.0),
        reading("bucket", "wet_edge", 6.0, batch="k", **KIT),
        reading("bucket", "working_time", 8.3, batch="k", **KIT),
    ]
    found = fitted(slurry, readings)
    again = read_card_text(fitted_card_text(found), source=Path("new.toml"), kind="slurry")
    clocks = slurry_clocks(again, film_m=again.thickness_m, slab_effusivity=SLAB_EFFUSIVITY)
    assert clocks.kit.activation_energy_j_mol == pytest.approx(found.energy.value, rel=1e-9)
    assert clocks.fit.energy_sd_j_mol == pytest.approx(found.energy.sd, rel=1e-6)
    for one, told in zip(
        found.milestones, card_clock(again, at_c=found.reference_c), strict=True
    ):
        # The card's point is the fitted time at its reference; clocks hold it to 1e-6.
        assert told.after_s == pytest.approx(one.time.value, rel=1e-5)
    # Away from the reference the curves of the fit and the clocks of the card are one.
    for curve in found.curves:
        for temp_c, mid_s in list(zip(curve.temp_c, curve.mid_s, strict=True))[::8]:
            told = {m.milestone: m.after_s for m in card_clock(again, at_c=temp_c)}
            assert told[curve.milestone] == pytest.approx(mid_s, rel=2e-4)


def test_every_number_keeps_where_it_comes_from(topcoat):
    found = fitted(topcoat, line_of("working_time", 15.0, [12.0, 30.0], 45e3))
    again = read_card_text(fitted_card_text(found), source=Path("new.toml"))
    fitted_says = f"readings.csv ({found.digest}): fitted 2026-07-17 from 2 readings"
    assert again.provenance["rate.mean"] == fitted_says
    assert again.milestones["working_time"].points[0].provenance == fitted_says
    assert again.provenance["milestones.working_time.spread"] == fitted_says
    assert again.milestones["wheels"].points[0].provenance == "invented, moved by a fit"
    assert again.provenance["milestones.wheels.spread"] == "invented"
    assert again.provenance["ratio"] == "common practice"
    assert "before: 50 ± 10" in fitted_card_text(found)


def test_the_same_readings_do_not_count_twice(topcoat):
    cups = line_of("working_time", 15.0, [12.0, 30.0], 45e3)
    found = fitted(topcoat, cups)
    with pytest.raises(InputError, match="fitted to these readings already"):
        fitted(found.card, cups)
    # With one more, the two of before came in again at full weight.
    more = [*cups, reading("cup", "working_time", 11.0, 27.0)]
    again = fitted(found.card, more)
    assert (again.counted, again.known) == (1, 2)
    alone = fitted(found.card, more[2:])
    assert again.energy == alone.energy
    with pytest.raises(InputError, match="fitted to these readings already"):
        fitted(again.card, more)
    # Two cups that read the same are two readings, in one file or over two.
    twice = fitted(topcoat, [cups[0], cups[0], cups[1]])
    assert twice.counted == 3
    assert fitted(found.card, [cups[0], cups[0]]).counted == 1


def test_a_fitted_card_keeps_its_name_for_records_over_fits(topcoat):
    # Its records stopped counting once the card had a file of its own.
    first = fitted(topcoat, line_of("working_time", 15.0, [12.0, 30.0], 45e3))
    mine = read_card_text(fitted_card_text(first), source=Path("mine.toml"))
    assert (mine.key, mine.product) == ("mine", "clear-topcoat")
    assert mine.learned == first.card.learned
    second = fitted(mine, line_of("working_time", 16.0, [14.0, 33.0], 45e3))
    again = read_card_text(fitted_card_text(second), source=Path("mine-2.toml"))
    assert again.product == "clear-topcoat"
    assert len(again.learned) == 4


def test_what_was_read_goes_on_counting_over_three_fits(topcoat):
    cups = [
        reading("cup", "working_time", minutes, temp_c, batch=f"k{number}")
        for number, (minutes, temp_c) in enumerate(
            [(21.0, 20.0), (16.5, 25.0), (13.4, 29.0), (11.0, 33.0), (24.5, 17.0), (15.1, 27.0)]
        )
    ]
    card = topcoat
    for count in (2, 4, 6):
        found = fitted(card, cups[:count])
        card = read_card_text(fitted_card_text(found), source=Path("mine.toml"))
    once = fitted(topcoat, cups).card
    last, whole = card.milestones["working_time"], once.milestones["working_time"]
    told = [
        {m.milestone: m.after_s for m in card_clock(one, at_c=24.0)}["working_time"]
        for one in (card, once)
    ]
    # Six readings in three fits are worth what they are in one: the time as near as a third
    # of its doubt, and no wider a spread, where each fit forgot the one before.
    assert told[0] == pytest.approx(told[1], rel=whole.doubt_frac / 3)
    assert last.spread_frac < 1.1 * whole.spread_frac
    assert last.doubt_frac < 1.3 * whole.doubt_frac
    assert card.prior.sd_j_mol < 1.3 * once.prior.sd_j_mol


def test_what_helps_most_to_measure_next_is_said(topcoat):
    # By hand: working time read ten times at 21 °C, wash-down never: the times
    # nobody read are as unsure as a generic card's, 25 % each, so one of those helps most;
    # and as all six share an energy known to 10 kJ/mol, 12 K off the middle is not worse.
    found = fitted(topcoat, [reading("cup", "working_time", 20.0, 21.0) for _ in range(10)])
    more = found.measure_next
    assert more.milestone != "working_time"
    assert more.sd_then_frac < more.sd_frac
    # What it promises is what a fit finds: once more with that reading, as expected.
    expects = {one.milestone: one for one in found.milestones}[more.milestone].time.value / 60
    took = expects * math.exp(found.energy.value / GAS_J_MOL_K * (
        1 / (more.at_c + 273.15) - 1 / (found.reference_c + 273.15)))  # fmt: skip
    cups = [reading("cup", "working_time", 20.0, 21.0) for _ in range(10)]
    then = fitted(topcoat, [*cups, reading("cup", more.milestone, took, more.at_c)])
    assert then.measure_next.sd_frac == pytest.approx(more.sd_then_frac, rel=0.1)


def test_a_second_night_narrows_what_the_first_one_left(topcoat):
    first = fitted(topcoat, line_of("working_time", 15.0, [12.0, 30.0], 45e3))
    second = fitted(first.card, line_of("working_time", 15.0, [14.0, 33.0], 45e3))
    assert second.energy.sd < first.energy.sd


@pytest.mark.parametrize(
    ("cold_min", "hot_min", "word"),
    [(10.0, 30.0, "last longer when hotter"), (200.0, 5.0, "times as fast")],
)
def test_nonsense_is_refused_with_a_clear_word(topcoat, cold_min, hot_min, word):
    # Longer when hotter; and a fortieth of the time over 15 K, which no reaction does.
    cups = [
        reading("cup", "working_time", took + step, temp_c + step)
        for temp_c, took in ((12.0, cold_min), (27.0, hot_min))
        for step in np.linspace(-0.5, 0.5, 12)
    ]
    with pytest.raises(InputError, match=word) as caught:
        fitted(topcoat, cups)
    assert caught.value.exit_code == 2
    assert "readings.csv" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.thorough
@pytest.mark.parametrize("kind", ["sheet", "cup"])
@pytest.mark.parametrize(
    ("cold_c", "hot_c", "hot_min"), [(15.6, 32.2, 30.0), (15.6, 32.2, 18.0), (21.1, 26.7, 45.0)]
)
def test_two_points_of_which_the_hotter_lasts_longer_are_refused(
    slurry, kind, cold_c, hot_c, hot_min
):
    # Two data-sheet points 17 K apart, the hotter one of twice the time, were fitted to.
    points = [
        reading(kind, "wet_edge", 16.0, cold_c),
        reading(kind, "wet_edge", hot_min, hot_c),
    ]
    with pytest.raises(InputError, match="longer when hotter"):
        fitted(slurry, points)


def test_one_warm_reading_that_lasted_longer_is_not_yet_nonsense(topcoat):
    cups = [
        reading("cup", "working_time", 20.0, 20.0),
        reading("cup", "working_time", 20.5, 22.0),
    ]
    assert 40.0 < energy_kj(fitted(topcoat, cups)) < 52.0


def test_readings_all_over_the_place_are_refused(topcoat):
    rng = np.random.default_rng(2)
    wild = [
        reading("cup", "working_time", 20.0 * math.exp(sign * rng.uniform(1.0, 1.9)), 21.0)
        for sign in (-1, 1) * 15
    ]
    with pytest.raises(InputError, match="scatter"):
        fitted(topcoat, wild)


def test_two_nights_of_records_15_percent_apart_are_accepted(slurry):
    # A crew's first two nights, from pallets 15 % slow and 15 % fast.
    rows = []
    for lot, factor in (("night 1", 0.85), ("night 2", 1.15)):
        for kit in range(4):
            own = factor * (1.0 + 0.03 * (kit - 1.5))
            where = {**KIT, "batch": f"{lot} {kit}", "lot": lot}
            rows += [
                reading("bucket", "wet_edge", 8.3 * own, **where),
                reading("bucket", "broadcast_closes", 13.1 * own, **where),
            ]
    found = fitted(slurry, rows)
    assert not found.disagreeing
    assert not any(one.disagrees for one in found.batches)


def test_hours_written_for_minutes_are_refused_on_their_line(slurry):
    # `cup,wet_edge,16` under hours made a card with a nine-hour wet edge.
    with pytest.raises(InputError, match="times longer than the card's time") as caught:
        fitted(slurry, [reading("cup", "wet_edge", 16 * 60.0, 21.0)])
    assert (caught.value.line, caught.value.key) == (2, "wet_edge")
    with pytest.raises(InputError, match="times shorter"):
        fitted(slurry, [reading("cup", "foot_traffic", 5.0, 21.0)])


def test_milestones_in_an_order_that_cannot_be_are_refused(topcoat):
    # Wheels before feet, each within reach of its own card's time.
    cups = [reading("cup", "foot_traffic", 24 * 60.0, 21.0)] * 3
    cups += [reading("cup", "wheels", 10 * 60.0, 21.0)] * 3
    with pytest.raises(InputError, match="foot_traffic would come after wheels"):
        fitted(topcoat, cups)


def test_longer_when_hotter_is_refused_though_chance_might_have_done_it(topcoat):
    # -10 kJ/mol over 8 degrees, which scatter of 10 % can just make.
    cups = line_of("working_time", 20.0, [17.0, 25.0], -10e3)
    with pytest.raises(InputError, match="longer when hotter"):
        fitted(topcoat, cups)
    # Two cups half a degree apart say nothing of heat, whichever took longer.
    assert fitted(topcoat, line_of("working_time", 20.0, [21.0, 21.5], -10e3)).counted == 2


def test_an_outlier_does_not_count_in_full(topcoat):
    # Four times the time of its like, some 14 deviations of 10 %.
    cups = line_of("working_time", 20.0, [10.0, 14.0, 18.0, 22.0, 26.0, 30.0, 34.0], 50e3)
    sound = fitted(topcoat, cups)
    wild = [*cups, reading("cup", "working_time", 80.0, 21.0)]
    found = fitted(topcoat, wild)
    assert [one.reading.line for one in found.disagreeing] == [9]
    working = {one.milestone: one.time.value for one in found.milestones}["working_time"]
    kept = {one.milestone: one.time.value for one in sound.milestones}["working_time"]
    factor = math.exp(50e3 / 8.314462618 * (1 / (found.reference_c + 273.15)
                                            - 1 / (sound.reference_c + 273.15)))  # fmt: skip
    # In full it would add a seventh of ln(4), about a fifth; at the limit a thirtieth.
    assert abs(math.log(working / (kept * factor))) < 0.06


def test_a_slip_of_the_pen_is_named_and_can_be_struck(topcoat):
    cups = line_of("working_time", 20.0, [10.0, 14.0, 18.0, 22.0, 26.0, 30.0, 34.0], 50e3)
    cups[3] = replace(cups[3], after_s=2.2 * cups[3].after_s)
    found = fitted(topcoat, cups)
    assert [one.reading.line for one in found.disagreeing] == [5]
    struck = fitted(topcoat, cups, without=[5])
    assert not struck.disagreeing
    assert struck.spread_factor < found.spread_factor
    assert struck.energy.value == pytest.approx(found.disagreeing[0].energy_without_j_mol)
    with pytest.raises(InputError, match="no reading on this line"):
        fitted(topcoat, cups, without=[99])


def test_a_batch_that_ran_fast_is_told_from_its_readings(topcoat):
    cups = line_of("working_time", 20.0, [10.0, 14.0, 18.0, 26.0, 30.0, 34.0], 50e3)
    cups += line_of("wash_down", 2880.0, [10.0, 18.0, 26.0], 50e3)
    odd = [reading("cup", "working_time", 9.0, 21.0, batch="old stock"),
           reading("cup", "wash_down", 2880.0 * 0.45, 21.0, batch="old stock")]  # fmt: skip
    found = fitted(topcoat, [*cups, *odd])
    assert [one.batch for one in found.batches if one.disagrees] == ["old stock"]
    assert not found.disagreeing
    # Drawn from the 2.2 that its readings say towards the 1 that batches have.
    assert 1.5 < found.batches[0].speed < 1 / 0.45


def damp(humidities, temps_c, slope, *, energy_j_mol=50e3):
    return [
        reading(
            "cup", "recoat_opens",
            minutes(240.0, t, energy_j_mol) * math.exp(slope * (rh - 0.5)), t,
            humidity_frac=rh,
        )
        for rh, t in zip(humidities, temps_c, strict=True)
    ]  # fmt: skip


def test_a_humidity_factor_is_found_where_readings_carry_one(topcoat):
    humidities = [0.30, 0.40, 0.50, 0.60, 0.70, 0.30, 0.70]
    found = fitted(topcoat, damp(humidities, [21, 22, 21, 22, 21, 22, 21], -1.5))
    assert found.humidity.why == "found"
    assert found.humidity.slope is not None
    assert found.humidity.slope.low < -1.5 < found.humidity.slope.high
    # The card has it as two points whose quotient is the factor over their span.
    again = read_card_text(fitted_card_text(found), source=Path("new.toml"))
    dry, wet = again.milestones["recoat_opens"].points
    slope = math.log(wet.after_s / dry.after_s) / (wet.humidity_frac - dry.humidity_frac)
    assert slope == pytest.approx(found.humidity.slope.value, rel=1e-6)
    assert topcoat_clocks(again).age_s["recoat_opens"] == pytest.approx(
        {m.milestone: m.time.value for m in found.milestones}["recoat_opens"], rel=1e-6
    )


@pytest.mark.parametrize(
    ("humidities", "temps_c", "slope", "why"),
    [
        ([0.30, 0.50, 0.70], [10.0, 20.0, 30.0], -1.5, "too alike"),
        ([0.48, 0.50, 0.55, 0.60], [21.0] * 4, -1.5, "too alike"),
        ([0.30, 0.70] * 3, [21.0] * 6, -1.5, "too alike"),
        ([0.30, 0.40, 0.50, 0.60, 0.70], [21.0] * 5, 0.0, "no effect seen"),
    ],
)
def test_no_humidity_factor_without_readings_that_carry_it(
    topcoat, humidities, temps_c, slope, why
):
    found = fitted(topcoat, damp(humidities, temps_c, slope))
    assert found.humidity.why == why
    assert found.humidity.slope is None
    assert all(len(m.points) == 1 for m in found.card.milestones.values())


def test_a_slurry_clock_that_starts_when_mixed_keeps_its_start(slurry):
    edge = slurry.milestones["wet_edge"]
    later = MilestonePoint(
        at_c=21.0, humidity_frac=None, after_s=780.0, after_late_s=780.0, provenance="x"
    )
    mixed = replace(
        slurry,
        milestones={
            **slurry.milestones,
            "wet_edge": replace(edge, points=(later,), clock_starts="mixed"),
        },
    )
    cups = line_of("working_time", 20.0, [15.0, 28.0], 50e3)
    plain, other = fitted(slurry, cups), fitted(mixed, cups)
    assert other.milestones[0].time.value == pytest.approx(plain.milestones[0].time.value)
    assert other.card.milestones["wet_edge"].points[0].after_s == pytest.approx(
        plain.card.milestones["wet_edge"].points[0].after_s - 180.0
    )


def test_kits_are_judged_by_their_own_history_not_by_the_slab_alone(slurry):
    # One iced and one hot kit on one slab, as the card itself predicts them: nothing to
    # learn, so a fit that knows their history moves nothing.
    iced = KIT | {"liquids_c": 3.0}
    clocks = slurry_clocks(slurry, film_m=slurry.thickness_m, slab_effusivity=SLAB_EFFUSIVITY)
    readings = []
    for kit in (KIT, iced):
        path = run_bucket(
            kit["liquids_c"], 31.0, 32.0, 29.0, kit["poured_s"] - 180.0, kit=clocks.kit,
            speed=1.0, film_m=clocks.film_m, slab_effusivity=SLAB_EFFUSIVITY,
        )  # fmt: skip
        took = float(path.when_s(clocks.age_s["working_time"])[0]) / 60.0
        readings.append(reading("bucket", "working_time", took, **kit))
    assert readings[1].after_s - readings[0].after_s > 240.0
    found = fitted(slurry, readings)
    assert energy_kj(found) == pytest.approx(50.0, abs=0.05)
    assert all(one.expected == pytest.approx(one.observed, rel=1e-3) for one in found.readings)


@pytest.mark.thorough
@examples(30)
@given(
    temps=st.lists(st.floats(8.0, 38.0), min_size=1, max_size=7),
    noise=st.lists(st.floats(-0.25, 0.25), min_size=7, max_size=7),
    energy_kj_mol=st.floats(35.0, 65.0),
    where_c=st.floats(8.0, 38.0),
)
def test_a_reading_that_agrees_never_widens_the_energy(temps, noise, energy_kj_mol, where_c):
    card = read_card("clear-topcoat")
    cups = [
        reading("cup", "working_time", minutes(20.0, t, 1e3 * energy_kj_mol) * math.exp(n), t)
        for t, n in zip(temps, noise, strict=False)
    ]
    try:
        before = fitted(card, cups)
    except InputError:
        return
    # Agrees with the first pass of the search, in which the scatter is as guessed.
    made = setup(card, numbered(cups), free=frozenset(), humidity_ref=math.nan)
    ln_s = steady_ln_s(made, [where_c], [0], at=solve(made.problem).value)
    agrees = reading("cup", "working_time", math.exp(float(ln_s[0])) / 60.0, where_c)
    after = fitted(card, [*cups, agrees])
    assert after.energy.width <= before.energy.width * (1.0 + 1e-6)


REFUSED = {
    "a probe alone": [reading("probe", "", 6.0, 40.0, batch="k", **KIT)],
    "mixed too late": [reading("bucket", "wet_edge", 9.0, **(KIT | {"poured_s": 100.0}))],
    "read while mixing": [
        reading("bucket", "wet_edge", 9.0, batch="k", **KIT),
        reading("probe", "", 1.0, 36.0, batch="k", **KIT),
    ],
}


@pytest.mark.parametrize("name", REFUSED)
def test_readings_no_kit_can_have_are_refused(slurry, name):
    with pytest.raises(InputError) as caught:
        fitted(slurry, REFUSED[name])
    assert "readings.csv" in str(caught.value)


def test_a_topcoat_is_mixed_in_no_bucket(topcoat):
    with pytest.raises(InputError, match="call it a cup"):
        fitted(topcoat, [reading("bucket", "working_time", 9.0, **KIT)])


def test_hot_readings_still_give_a_card_whose_procedure_fits(slurry):
    # At 41 °C this product's wet edge is gone before a kit is poured: a card can hold no
    # point there, so its reference is cooler.
    hot = line_of("wet_edge", 12.0, [40.0, 41.0, 42.0], 55e3)
    found = fitted(slurry, hot)
    assert found.reference_c < 40.0
    read_card_text(fitted_card_text(found), source=Path("new.toml"))


def test_refitting_is_deterministic(slurry):
    readings = [reading("bucket", "wet_edge", 6.0, **KIT)]
    one, two = fitted(slurry, readings), fitted(slurry, readings)
    assert fitted_card_text(one) == fitted_card_text(two)
    assert one.fitted_on == date(2026, 7, 17)
    assert numbered(readings)[0].line == 2
