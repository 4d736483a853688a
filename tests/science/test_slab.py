"""The marched slab against exact solutions and textbook examples, and its own account.

Books not seen; inputs and answers as in the oracles' own tests, where the closed forms
are held to the same examples.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from oracles.half_space import air_wave_c, convective_face_c
from oracles.series import Body, Shape, gap_left
from scipy.interpolate import CubicSpline

from cureplan.core.errors import OutOfRangeError
from cureplan.science.slab import Slab
from cureplan.science.slab_grid import Layer, cut_cells, slab_on_ground, slab_over_air

CONCRETE = {"conductivity_w_mk": 1.4, "diffusivity_m2_s": 1.4 / (2300 * 880)}
SHUT = 1e-9  # as good as insulated [W/m²K]
HELD = 1e9  # as good as held


def layer(thickness_m, *, k, rho_c):
    return Layer(
        thickness_m=thickness_m,
        conductivity_w_mk=k,
        density_kg_m3=rho_c / 1000,
        specific_heat_j_kgk=1000,
    )


def marched(layers, air, *, start_c, top=7.0, lower=None, lower_c=20.0, **grid):
    settings_ = {"step_s": 600.0, "finest_cell_m": 0.01, **grid}
    slab = Slab(layers=layers, top_w_m2k=top, lower_w_m2k=lower, **settings_)
    run = slab.run(air, absorbed_w_m2=0, lower_c=lower_c, start_c=start_c, keep_profile=True)
    return slab, run


def at_depth(slab, run, depth_m, when):
    # A smooth curve through the cells: straight lines between grown ones cut corners.
    curve = CubicSpline(slab.operator.grid.depth_m, run.profile_c[when, :, 0])
    return float(curve(depth_m))


def test_step_under_air_follows_the_exact_half_space():
    # 4 m of concrete, 10 K warmer air. Slab.__doc__ promises 0.02 K at 10 mm cells.
    air = np.full((145, 1), 30.0)
    times_s = np.arange(1, 145) * 600.0
    exact = convective_face_c(0.0, times_s, initial_c=20, air_c=30, surface_w_m2k=7, **CONCRETE)
    for finest_cell_m, first, later in ((0.01, 0.02, 0.012), (0.02, 0.1, 0.03)):
        _, run = marched(
            slab_over_air(thickness_m=4.0), air, start_c=20, finest_cell_m=finest_cell_m
        )
        off = np.abs(run.surface_c[1:, 0] - exact)
        assert off.max() < first
        assert off[5:].max() < later


def test_daily_wave_follows_the_exact_half_space():
    # 8 K swing for 20 days; the last five against the settled wave, to 0.02 K.
    times_s = np.arange(20 * 144 + 1) * 600.0
    air = 20 + 8 * np.sin(2 * np.pi * times_s / 86_400)[:, np.newaxis]
    slab, run = marched(slab_over_air(thickness_m=4.0), air, start_c=20)
    late = times_s > 15 * 86_400
    wave = {"mean_c": 20, "amplitude_k": 8, "period_s": 86_400, "surface_w_m2k": 7, **CONCRETE}
    exact = air_wave_c(0.0, times_s[late], **wave)
    assert run.surface_c[late, 0] == pytest.approx(exact, abs=0.02)
    # and going down, where the swing has shrunk and lags
    depth_m = slab.operator.grid.depth_m[8]
    below = air_wave_c(depth_m, times_s[late], **wave)
    assert run.profile_c[late, 8, 0] == pytest.approx(below, abs=0.02)


def test_hourly_weather_is_good_enough_for_a_day():
    # The same wave with hourly rows, straight between them, as weather comes.
    times_s = np.arange(20 * 24 + 1) * 3600.0
    air = 20 + 8 * np.sin(2 * np.pi * times_s / 86_400)[:, np.newaxis]
    _, run = marched(slab_over_air(thickness_m=4.0), air, start_c=20, step_s=3600.0)
    late = times_s > 15 * 86_400
    exact = air_wave_c(
        0.0,
        times_s[late],
        mean_c=20,
        amplitude_k=8,
        period_s=86_400,
        surface_w_m2k=7,
        **CONCRETE,
    )
    assert run.surface_c[late, 0] == pytest.approx(exact, abs=0.03)


def test_frozen_field_geankoplis_5_3_1():
    # Published surface -5.2 °C after 5 h (±0.1), exact -5.17; exact frost depth 33.1 mm.
    soil = layer(2.0, k=0.865, rho_c=0.865 / 4.65e-7)
    air = np.full((31, 1), -17.8)
    slab, run = marched((soil,), air, start_c=15.6, top=11.36, lower_c=15.6)
    assert run.surface_c[-1, 0] == pytest.approx(-5.2, abs=0.1)
    assert run.surface_c[-1, 0] == pytest.approx(-5.17, abs=0.03)
    assert at_depth(slab, run, 0.0331, -1) == pytest.approx(0.0, abs=0.03)


def test_butter_slab_geankoplis_5_3_2():
    # Published 292.2 / 288.3 / 287.4 K (±0.3) at the face, 25.4 mm down and below;
    # exact 292.4 / 288.3 / 287.2.
    butter = layer(0.0462, k=0.197, rho_c=998 * 2300)
    slab, run = marched(
        (butter,),
        np.full((31, 1), 297.1 - 273.15),
        start_c=277.6 - 273.15,
        top=8.52,
        lower=SHUT,
        finest_cell_m=0.002,
    )
    got = [run.surface_c[-1, 0], at_depth(slab, run, 0.0254, -1), run.profile_c[-1, -1, 0]]
    got_k = np.array(got) + 273.15
    assert got_k == pytest.approx([292.2, 288.3, 287.4], abs=0.3)
    assert got_k == pytest.approx([292.4, 288.3, 287.2], abs=0.07)


def test_pipeline_wall_incropera_5_4():
    # Published 42.9 °C behind after 8 min and -7362 W/m² (0.3 °C, 1 %); exact 43.0, -7318.
    steel = layer(0.04, k=63.9, rho_c=63.9 / 18.8e-6)
    slab, run = marched(
        (steel,),
        np.full((9, 1), 60.0),
        start_c=-20,
        top=500.0,
        lower=SHUT,
        step_s=60.0,
        finest_cell_m=0.003,
    )
    assert run.profile_c[-1, -1, 0] == pytest.approx(42.9, abs=0.3)
    assert run.profile_c[-1, -1, 0] == pytest.approx(43.0, abs=0.05)
    flux_w_m2 = slab.top_w_m2k * (run.surface_c[-1, 0] - 60)
    assert flux_w_m2 == pytest.approx(-7362, rel=0.01)
    assert flux_w_m2 == pytest.approx(-7318, rel=0.001)


def test_heated_steel_holman_4_2():
    # Published 79.3 °C at 25 mm, 30 s after 3.2e5 W/m² came on (±0.1); surface 199.4.
    # The sun's way in, with next to no air to carry it off.
    steel = layer(1.0, k=45, rho_c=45 / 1.4e-5)
    slab = Slab(
        layers=(steel,), top_w_m2k=1e-6, lower_w_m2k=None, step_s=1.0, finest_cell_m=0.001
    )
    run = slab.run(
        np.full((31, 1), 35.0), absorbed_w_m2=3.2e5, lower_c=35, start_c=35, keep_profile=True
    )
    assert at_depth(slab, run, 0.025, -1) == pytest.approx(79.3, abs=0.1)
    # Cells that grow by 15 % cost 0.2 % of a rise of 164 K.
    assert run.surface_c[-1, 0] == pytest.approx(199.4, abs=0.5)


def test_burial_depth_incropera_5_6():
    # Published: 0.68 m stays at 0 °C after 60 days with the face at -15 °C (±0.1 K).
    soil = layer(8.0, k=0.52, rho_c=2050 * 1840)
    slab, run = marched(
        (soil,),
        np.full((60 * 24 + 1, 1), -15.0),
        start_c=20,
        top=HELD,
        lower_c=20,
        step_s=3600.0,
        finest_cell_m=0.02,
    )
    assert at_depth(slab, run, 0.68, -1) == pytest.approx(0.0, abs=0.1)


def test_deck_between_two_airs_is_the_textbook_wall():
    # Both faces in the same air: half the deck is a wall insulated in the middle.
    air = np.full((73, 1), 30.0)
    _, run = marched(
        slab_over_air(thickness_m=0.2),
        air,
        start_c=20,
        lower=7.0,
        lower_c=30.0,
        finest_cell_m=0.01,
    )
    half = Body(shape=Shape.WALL, half_size_m=0.1, surface_w_m2k=7.0, **CONCRETE)
    exact = 30 - 10 * gap_left(1.0, np.arange(6, 73) * 600.0, body=half)
    assert run.surface_c[6:, 0] == pytest.approx(exact, abs=0.02)


def test_settled_floor_is_resistances_in_series():
    # By hand: 1/7 + .15/1.4 + .05/.027 + 3/.52 = 7.871 m²K/W from 30 °C air to 12 °C
    # ground: 2.287 W/m², so the surface stands 2.287/7 = 0.327 K below the air.
    layers = slab_on_ground(thickness_m=0.15, insulation_m=0.05)
    _, run = marched(layers, np.full((145, 1), 30.0), start_c=None, lower_c=12.0)
    assert run.surface_c[:, 0] == pytest.approx(30 - 0.327, abs=0.001)
    per_day = run.top_heat_j_m2[-1, 0] / 86_400
    assert per_day == pytest.approx(2.287, abs=0.001)
    assert run.lower_heat_j_m2[-1, 0] == pytest.approx(-run.top_heat_j_m2[-1, 0], rel=1e-9)


def test_spin_up_starts_from_the_mean_of_the_first_day():
    # One day at 20 then days at 30: settled at 20, so the first day stays put. By
    # hand the ground at 20 leaves no other steady state.
    air = np.full((3 * 144, 2), 20.0)
    air[144:, 1] = 30.0
    _, run = marched(slab_on_ground(thickness_m=0.15, insulation_m=0), air, start_c=None)
    assert run.surface_c[:144] == pytest.approx(20.0, abs=1e-9)
    assert run.surface_c[-1, 1] > 26


def test_sun_warms_as_much_as_air_hotter_by_its_share():
    # 140 W/m² over 7 W/m²K is 20 K of air temperature: sol-air, by definition.
    slab = Slab(
        layers=slab_on_ground(thickness_m=0.15, insulation_m=0),
        top_w_m2k=7.0,
        lower_w_m2k=None,
        step_s=600,
        finest_cell_m=0.01,
    )
    common = {"lower_c": 18, "start_c": 20, "keep_profile": False}
    sunlit = slab.run(np.full((37, 1), 25.0), absorbed_w_m2=140, **common)
    hotter = slab.run(np.full((37, 1), 45.0), absorbed_w_m2=0, **common)
    assert sunlit.surface_c[1:] == pytest.approx(hotter.surface_c[1:], abs=1e-9)
    assert sunlit.top_heat_j_m2[-1] == pytest.approx(hotter.top_heat_j_m2[-1], rel=1e-12)


def test_columns_do_not_touch_each_other():
    air = np.random.default_rng(7).normal(25, 6, (100, 5))
    layers = slab_on_ground(thickness_m=0.1, insulation_m=0.03)
    _, together = marched(layers, air, start_c=None)
    _, alone = marched(layers, air[:, 3:4], start_c=None)
    assert together.surface_c[:, 3] == pytest.approx(alone.surface_c[:, 0], abs=1e-10)


FLOORS = {
    "ground": ({"layers": slab_on_ground(thickness_m=0.15, insulation_m=0)}, None),
    "foam": ({"layers": slab_on_ground(thickness_m=0.15, insulation_m=0.05)}, None),
    "deck": ({"layers": slab_over_air(thickness_m=0.2)}, 7.0),
}
SLABS = {
    name: Slab(**layers, top_w_m2k=7.0, lower_w_m2k=lower, step_s=600, finest_cell_m=0.01)
    for name, (layers, lower) in FLOORS.items()
}
HISTORY = arrays(np.float64, (24, 2), elements=st.floats(-30, 60))


@settings(max_examples=60, deadline=None)
@given(
    floor=st.sampled_from(sorted(SLABS)),
    air=HISTORY,
    hotter=arrays(np.float64, (24, 2), elements=st.floats(0, 40)),
    sun=arrays(np.float64, (24, 2), elements=st.floats(0, 800)),
)
def test_hotter_outside_never_cools_the_slab(floor, air, hotter, sun):
    common = {"lower_c": 15.0, "start_c": 20.0, "keep_profile": True}
    plain = SLABS[floor].run(air, absorbed_w_m2=0, **common)
    warmed = SLABS[floor].run(air + hotter, absorbed_w_m2=sun, **common)
    assert np.all(warmed.surface_c >= plain.surface_c - 1e-9)
    assert np.all(warmed.profile_c >= plain.profile_c - 1e-9)


def test_one_hot_reading_leaves_no_ripple():
    # Where Crank-Nicolson is known to ring: thin cells, long steps, a spike of air. A
    # whole step taken at once here swings the surface below its start.
    air = np.zeros((20, 1))
    air[1] = 40.0
    _, run = marched(
        slab_over_air(thickness_m=0.2),
        air,
        start_c=0,
        top=25.0,
        lower_c=0.0,
        finest_cell_m=0.002,
        step_s=300.0,
    )
    assert run.profile_c.min() >= 0.0
    assert np.all(np.diff(run.surface_c[2:, 0]) < 0)


@settings(max_examples=60, deadline=None)
@given(
    floor=st.sampled_from(sorted(SLABS)), air=HISTORY, below=HISTORY, start_c=st.floats(-10, 50)
)
def test_heat_is_conserved_to_a_millionth(floor, air, below, start_c):
    run = SLABS[floor].run(
        air, absorbed_w_m2=np.abs(air), lower_c=below, start_c=start_c, keep_profile=False
    )
    moved = np.abs(run.top_heat_j_m2) + np.abs(run.lower_heat_j_m2) + 1.0
    came = run.top_heat_j_m2 + run.lower_heat_j_m2
    assert np.all(np.abs(run.stored_j_m2 - run.stored_j_m2[0] - came) <= 1e-6 * moved)


@settings(max_examples=40, deadline=None)
@given(floor=st.sampled_from(sorted(SLABS)), air=HISTORY)
def test_slab_stays_within_what_surrounds_it(floor, air):
    run = SLABS[floor].run(air, absorbed_w_m2=0, lower_c=15.0, start_c=20.0, keep_profile=True)
    assert run.profile_c.min() >= min(15.0, air.min()) - 1e-9
    assert run.profile_c.max() <= max(20.0, air.max()) + 1e-9


def test_heat_account_counts_what_entered():
    # By hand: a face held at 20 above concrete at 20 passes nothing; one degree above,
    # the first seconds take in up to h·1 K.
    _, run = marched(slab_over_air(thickness_m=0.2), np.full((2, 1), 21.0), start_c=20)
    assert 0.8 * 7 * 600 < run.top_heat_j_m2[1, 0] < 7 * 600
    assert run.stored_j_m2[0, 0] == pytest.approx(20 * 0.2 * 2300 * 880)


def test_cells_keep_each_layer_whole():
    layers = slab_on_ground(thickness_m=0.15, insulation_m=0.05)
    grid = cut_cells(layers, finest_cell_m=0.01)
    for number, one in enumerate(layers):
        held = grid.capacity_j_m2k[grid.layer_of_cell == number].sum()
        assert held == pytest.approx(one.thickness_m * one.heat_capacity_j_m3k)
    assert np.all(np.diff(grid.depth_m) > 0)
    assert grid.depth_m[0] <= 0.005


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"air_c": np.full(5, 20.0)}, r"air_c must have the shape \(times >= 2, columns\)"),
        ({"air_c": np.array([[20.0], [np.nan]])}, "air_c must be a finite number"),
        ({"absorbed_w_m2": -1.0}, "absorbed_w_m2 must be >= 0"),
        ({"absorbed_w_m2": np.zeros((7, 1))}, r"absorbed_w_m2 must fit the shape \(2, 1\)"),
        ({"start_c": np.zeros((3, 1))}, "start_c must fit the shape"),
        ({"lower_c": np.inf}, "lower_c must be a finite number"),
    ],
)
def test_run_refuses_what_does_not_fit(change, named):
    given_ = {
        "air_c": np.full((2, 1), 20.0),
        "absorbed_w_m2": 0.0,
        "lower_c": 15.0,
        "start_c": 20.0,
        "keep_profile": False,
        **change,
    }
    with pytest.raises(OutOfRangeError, match=named):
        SLABS["ground"].run(given_.pop("air_c"), **given_)


def test_slab_refuses_what_it_cannot_march():
    good = {
        "layers": slab_over_air(thickness_m=0.15),
        "top_w_m2k": 7.0,
        "lower_w_m2k": 7.0,
        "step_s": 600.0,
        "finest_cell_m": 0.01,
    }
    for change, named in (
        ({"top_w_m2k": 0}, "top_w_m2k"),
        ({"lower_w_m2k": -1}, "lower_w_m2k"),
        ({"step_s": 0}, "step_s"),
        ({"finest_cell_m": 0}, "finest_cell_m"),
        ({"finest_cell_m": 1e-4}, "thicken finest_cell_m"),
        ({"layers": ()}, "at least one layer"),
    ):
        with pytest.raises(OutOfRangeError, match=named):
            Slab(**{**good, **change})
    with pytest.raises(OutOfRangeError, match="thickness_m"):
        slab_over_air(thickness_m=0)
    with pytest.raises(OutOfRangeError, match="insulation_m"):
        slab_on_ground(thickness_m=0.1, insulation_m=-0.01)
