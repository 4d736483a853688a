"""Floor readings: the corrected curve, its doubt, the time constant, rising or falling."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import OutOfRangeError
from cureplan.science.conduction_series import Body, Shape, mean_gap_left
from cureplan.science.slab import Slab
from cureplan.science.slab_grid import slab_on_ground, slab_over_air
from cureplan.science.slab_reading import (
    corrected_surface_c,
    reading_fade,
    slab_doubt_k,
    slab_time_constant_s,
)

CONCRETE = {"conductivity_w_mk": 1.4, "density_kg_m3": 2300, "specific_heat_j_kgk": 880}
SIX_INCHES = {"thickness_m": 0.152, "top_w_m2k": 7.0, **CONCRETE}
TIMES_S = np.arange(0, 48 * 3600 + 1, 600.0)


def fading(tau_s):
    """The share left after each 10 min of an error that falls to 1/e in `tau_s`."""
    return {"fade": np.exp(-np.arange(400) * 600.0 / tau_s), "step_s": 600.0}


def test_thin_slab_is_a_stirred_body():
    # Incropera eq. 5.7: rho·c·L/h once the slab conducts far better than its faces.
    # 20 mm with 0.5 W/m²K above and below; Biot .014, a third of which is the error.
    both = slab_time_constant_s(
        **{**SIX_INCHES, "thickness_m": 0.02, "top_w_m2k": 0.5}, lower_w_m2k=0.5
    )
    assert both == pytest.approx(2300 * 880 * 0.02 / 1.0, rel=0.002)


def test_thick_slab_is_ruled_by_its_own_conduction():
    # Faces held: slowest mode of a plate is L²/(pi²·alpha); one face shut: (2L/pi)²/alpha.
    alpha = 1.4 / (2300 * 880)
    held = {**SIX_INCHES, "top_w_m2k": 1e8}
    assert slab_time_constant_s(**held, lower_w_m2k=1e8) == pytest.approx(
        0.152**2 / (math.pi**2 * alpha), rel=1e-4
    )
    assert slab_time_constant_s(**held, lower_w_m2k=0) == pytest.approx(
        (2 * 0.152 / math.pi) ** 2 / alpha, rel=1e-4
    )


@pytest.mark.parametrize(("lower", "half_m"), [(0.0, 0.152), (7.0, 0.076)])
def test_it_is_the_late_decay_of_the_textbook_wall(lower, half_m):
    wall = Body(
        shape=Shape.WALL,
        half_size_m=half_m,
        conductivity_w_mk=1.4,
        diffusivity_m2_s=1.4 / (2300 * 880),
        surface_w_m2k=7.0,
    )
    early, late = mean_gap_left([2e5, 2.1e5], body=wall)
    tau_s = slab_time_constant_s(**SIX_INCHES, lower_w_m2k=lower)
    assert 1e4 / math.log(early / late) == pytest.approx(tau_s, rel=1e-6)


def marched_fall_h(layers, lower, *, sunk_in):
    """Hours in which the surface of a floor set 1 K apart falls to 1/e."""
    slab = Slab(layers=layers, top_w_m2k=7, lower_w_m2k=lower, step_s=600, finest_cell_m=0.01)
    apart = np.where(slab.operator.grid.layer_of_cell == 0, 1.0, 0.0)[:, np.newaxis]
    if sunk_in:
        week = np.ones((7 * 144 + 1, 1))
        common = {"absorbed_w_m2": 0, "lower_c": 0, "keep_profile": False}
        apart = slab.run(week, start_c=0.0, **common).end_profile_c
    run = slab.run(
        np.zeros((6 * 72, 1)), absorbed_w_m2=0, lower_c=0, start_c=apart, keep_profile=False
    )
    share = run.surface_c[:, 0] / run.surface_c[0, 0]
    return float(np.argmax(share < math.exp(-1)) / 6)


@pytest.mark.parametrize(
    ("layers", "lower", "at_once_h", "sunk_in_h"),
    [
        # What slab_time_constant_s says of itself against the marched floor.
        (slab_on_ground(thickness_m=0.152, insulation_m=0), None, 5.5, 13),
        (slab_on_ground(thickness_m=0.152, insulation_m=0.05), None, 11, 11),
        (slab_over_air(thickness_m=0.152), 7.0, 6.3, 4.7),
    ],
)
def test_marched_floor_forgets_as_stated(layers, lower, at_once_h, sunk_in_h):
    assert marched_fall_h(layers, lower, sunk_in=False) == pytest.approx(at_once_h, abs=0.3)
    assert marched_fall_h(layers, lower, sunk_in=True) == pytest.approx(sunk_in_h, abs=0.3)


def test_correction_halves_when_the_clock_says():
    # By hand: exp(-t/tau) = 1/2 at t = tau·ln 2; the reading sits 3 K above.
    flat = np.full((TIMES_S.size, 1), 28.0)
    tau_s = 3600 / math.log(2)
    bent = corrected_surface_c(TIMES_S, flat, reading_s=36_000, reading_c=31, **fading(tau_s))
    at = {hour: float(bent[round(hour * 6), 0]) for hour in (9, 10, 11, 12)}
    assert at == pytest.approx({9: 29.5, 10: 31.0, 11: 29.5, 12: 28.75})


def test_columns_without_a_reading_stay_as_marched():
    curves = np.tile(np.linspace(25, 30, TIMES_S.size)[:, np.newaxis], (1, 3))
    bent = corrected_surface_c(
        TIMES_S,
        curves,
        reading_s=[np.nan, 3600, np.nan],
        reading_c=[np.nan, 40, np.nan],
        **fading(50_000),
    )
    assert np.array_equal(bent[:, [0, 2]], curves[:, [0, 2]])
    assert np.all(bent[:, 1] > curves[:, 1])


@given(
    when_s=st.floats(0, 48 * 3600),
    shown_c=st.floats(-10, 60),
    tau_s=st.floats(600, 2e5),
    phase=st.floats(0, 6.3),
)
def test_correction_fades_either_way(when_s, shown_c, tau_s, phase):
    curve = (25 + 5 * np.sin(TIMES_S / 13_750 + phase))[:, np.newaxis]
    common = {"reading_s": when_s, "reading_c": shown_c, **fading(tau_s)}
    change = np.abs(corrected_surface_c(TIMES_S, curve, **common) - curve)[:, 0]
    # Of the two times around a reading either may be lifted more.
    after, before = change[when_s <= TIMES_S - 600], change[when_s >= TIMES_S + 600]
    assert np.all(np.diff(after) <= 1e-9)
    assert np.all(np.diff(before) >= -1e-9)


@given(
    when_s=st.integers(0, 48 * 60),
    shown_c=st.floats(-10, 60),
    step_s=st.sampled_from([600.0, 3600.0]),
    phase=st.floats(0, 6.3),
)
def test_a_curve_straight_between_its_times_passes_through_its_reading(
    when_s, shown_c, step_s, phase
):
    # What the reading says is what the curve says: at full hours and between them.
    times_s = np.arange(0, 48 * 3600 + 1, step_s)
    curve = (25 + 5 * np.sin(times_s / 13_750 + phase))[:, np.newaxis]
    read_s = 60.0 * when_s
    bent = corrected_surface_c(
        times_s, curve, reading_s=read_s, reading_c=shown_c, **fading(50_000)
    )[:, 0]
    assert np.interp(read_s, times_s, bent) == pytest.approx(shown_c, abs=1e-9)
    # Two hours on, no more and no less is left of it than its fade says.
    later = times_s >= read_s + 7200
    left = np.exp(-(times_s[later] - read_s) / 50_000)
    error_k = shown_c - np.interp(read_s, times_s, curve[:, 0])
    assert bent[later] - curve[later, 0] == pytest.approx(error_k * left, abs=1e-2)


@given(
    hours=st.lists(st.floats(0, 200), min_size=2, max_size=2),
    read=st.floats(0, 1),
    marched=st.floats(1, 5),
)
def test_doubt_grows_away_from_the_reading(hours, read, marched):
    left = np.exp(-np.sort(hours) * 3600 / 50_000)
    near, far = slab_doubt_k(left, reading_doubt_k=read, march_doubt_k=marched)
    assert read - 1e-9 <= near <= far + 1e-9 <= marched + 2e-9


def test_doubt_is_the_spread_of_the_process_it_names():
    # Simulated, not derived: an autoregressive error read with noise once, then predicted
    # by what is left of the reading. 40,000 draws hold the spread to about 1 %.
    rng = np.random.default_rng(3)
    tau_s, later_s = 50_000.0, 30_000.0
    kept = math.exp(-later_s / tau_s)
    now = rng.normal(0, 2.0, 40_000)
    later = kept * now + rng.normal(0, 2.0 * math.sqrt(1 - kept**2), now.size)
    shown = now + rng.normal(0, 0.5, now.size)
    spread = np.std(later - kept * shown)
    stated = slab_doubt_k(kept, reading_doubt_k=0.5, march_doubt_k=2.0)
    assert stated == pytest.approx(spread, rel=0.02)


def test_a_reading_that_has_faded_leaves_the_marchs_own_doubt():
    assert float(slab_doubt_k(0.0, reading_doubt_k=0.5, march_doubt_k=2.0)) == 2.0


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"reading_s": -1.0}, "reading_s must lie within 0..172800 s"),
        ({"reading_s": 2e5}, "reading_s must lie within"),
        ({"reading_c": np.nan}, "NaN together"),
        ({"reading_s": [0.0, 1.0], "reading_c": [1.0, 2.0]}, "must fit 1 columns"),
        ({"fade": [1.0, 1.5]}, "fade"),
        ({"surface_c": np.zeros((5, 1))}, r"surface_c must have the shape \(289, columns\)"),
        ({"elapsed_s": TIMES_S[::-1]}, "elapsed_s must increase"),
    ],
)
def test_correction_refuses(change, named):
    given_ = {
        "elapsed_s": TIMES_S,
        "surface_c": np.full((TIMES_S.size, 1), 28.0),
        "reading_s": 3600.0,
        "reading_c": 30.0,
        **fading(50_000),
        **change,
    }
    with pytest.raises(OutOfRangeError, match=named):
        corrected_surface_c(given_.pop("elapsed_s"), given_.pop("surface_c"), **given_)


def test_others_refuse():
    with pytest.raises(OutOfRangeError, match="lower_w_m2k must be >= 0"):
        slab_time_constant_s(**SIX_INCHES, lower_w_m2k=-1)
    with pytest.raises(OutOfRangeError, match="march_doubt_k"):
        slab_doubt_k(0, reading_doubt_k=0, march_doubt_k=-1)


SLABS = {
    "on soil": (slab_on_ground(thickness_m=0.152, insulation_m=0), None, 0.0),
    "insulated": (slab_on_ground(thickness_m=0.152, insulation_m=0.05), None, 0.0),
    "deck": (slab_over_air(thickness_m=0.152), 7.0, 7.0),
}


def true_fade(layers, lower, *, held_h):
    """What is left at each hour of a day after a room held 1 K apart is let go, marched."""
    slab = Slab(layers=layers, top_w_m2k=7, lower_w_m2k=lower, step_s=600, finest_cell_m=0.01)
    hold = round(held_h * 6)
    air = np.where(np.arange(hold + 145) < hold, 1.0, 0.0)[:, np.newaxis]
    found = slab.run(air, absorbed_w_m2=0, lower_c=0, start_c=0.0, keep_profile=False)
    left = found.surface_c[hold:, 0]
    return left[::6] / left[0]


@pytest.mark.parametrize("name", SLABS)
def test_a_reading_after_a_hold_or_a_wash_fades_with_the_floor(name):
    # The floor marched through the hold itself. The slowest mode
    # alone is up to 0.8 off after a wash; all modes, not knowing which it was, half as much.
    layers, lower, deep = SLABS[name]
    slab = Slab(layers=layers, top_w_m2k=7, lower_w_m2k=lower, step_s=600, finest_cell_m=0.01)
    jump = slab.run(
        np.ones((9 * 144, 1)), absorbed_w_m2=0, lower_c=0, start_c=0.0, keep_profile=False
    )
    tau_s = slab_time_constant_s(**SIX_INCHES, lower_w_m2k=deep)
    fade = reading_fade(jump.surface_c[:, 0], step_s=600, time_constant_s=tau_s)
    truths = [true_fade(layers, lower, held_h=held_h) for held_h in (1 / 3, 12, 48)]
    slowest = np.exp(-np.arange(25) * 3600 / tau_s)
    worst = max(np.abs(fade[::6][:25] - truth).max() for truth in truths)
    assert worst < 0.6 * max(np.abs(slowest - truth).max() for truth in truths)
    assert fade[0] == 1.0
    assert np.all(np.diff(fade) < 0)


def test_an_error_whose_cause_goes_on_falls_to_1_over_e_in_the_slabs_own_time():
    # A surface that follows its air at once: three causes that have ended leave nothing, and
    # of the fourth, which goes on, 1/e is left after four hours, 1/e² after eight.
    follows = np.concatenate([[0.0], np.ones(60)])
    fade = reading_fade(follows, step_s=3600.0, time_constant_s=4 * 3600.0)
    assert fade[[0, 4, 8]] == pytest.approx([1.0, math.exp(-1) / 4, math.exp(-2) / 4])
