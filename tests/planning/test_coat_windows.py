"""Coat windows against minute-by-minute counting, and coats worked by hand."""

from dataclasses import replace

import numpy as np
import pytest
from effort import examples
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq
from scipy.special import erfcx

from cureplan.core.errors import OutOfRangeError
from cureplan.planning.floor.layers import (
    FloorAge,
    Landed,
    Layer,
    Lead,
    Work,
    coat_work,
    film_reached,
    finished_floor,
    floor_layers,
    floor_tasks,
    landed_reached,
    landed_when_s,
    lead_works,
    slab_age_curve,
    window_over,
)
from cureplan.science.clocks import slurry_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.science.kit import FLOOR_ROOT_S05, run_bucket

MINUTE_S = 60.0
GALLON_M3 = 0.003785411784


def everywhere(curve):
    """A floor that no sun falls on."""
    return FloorAge(lit=curve, shade=curve)


@pytest.fixture(scope="module")
def night(weather_of):
    """A slab that swings by 8 K over the day, with a hot afternoon."""
    hours = np.arange(120)
    return weather_of(29.0 + 4.0 * np.sin(2 * np.pi * (hours - 9) / 24))


@pytest.fixture(scope="module")
def curves(night, slurry, topcoat):
    return [
        slab_age_curve(
            night,
            activation_energy_j_mol=clocks.fit.activation_energy_j_mol,
            reference_c=clocks.fit.reference_c,
        )
        for clocks in (slurry, topcoat)
    ]


def minutes_of_age(night, energy_j_mol, begins_s):
    """Age after each whole minute from an instant [s], by counting minutes one by one."""
    ages, age_s, at_s = [0.0], 0.0, begins_s
    while at_s + MINUTE_S <= night.epoch_s[-1]:
        slab_c = np.interp(at_s + MINUTE_S / 2, night.epoch_s, night.slab_c)
        inverse = 1 / (slab_c + 273.15) - 1 / 294.15
        age_s += MINUTE_S * np.exp(-energy_j_mol / 8.314462618 * inverse)
        at_s += MINUTE_S
        ages.append(age_s)
    return np.array(ages)


def first_minute(ages, target_s):
    """How many whole minutes until an age is there."""
    return int(np.argmax(ages >= target_s))


PATCHES = 4
VACUUM = Layer(kind="vacuum", crew="topcoat", bears="foot_traffic", leads=True)
COAT = Work(
    layer=Layer(
        kind="topcoat",
        crew="topcoat",
        opens="topcoat_opens",
        closes="topcoat_closes",
        bears="foot_traffic",
    ),
    leads=(Lead(layer=VACUUM, lasts_s=600.0),),
    duration_s=1320.0,
    offset_s=120.0 + 300.0 * np.arange(PATCHES),
    batches=2,
    volume_m3=0.01,
    batch_s=700.0,
)


def as_warm_as_the_slab(pour_s, pour_age_s):
    return Landed(
        pour_s=pour_s,
        pour_age_s=pour_age_s,
        film_age_s=np.zeros((*pour_s.shape, FLOOR_ROOT_S05.size)),
    )


@pytest.fixture(scope="module")
def poured(epoch_s):
    pour_s = epoch_s + 7 * 3600.0 + 240.0 * np.arange(PATCHES)
    return as_warm_as_the_slab(pour_s, np.array([420.0, 400.0, 380.0, 410.0]))


@pytest.fixture(scope="module")
def floor(poured, slurry, curves):
    return landed_reached(
        poured, age_s=slurry.age_s, curve=everywhere(curves[0]), wait=1.15, close=0.87
    )


def test_curing_floor_against_counted_minutes(floor, poured, night, slurry):
    # A minute is what counting by minutes can tell apart.
    for patch, (pour_s, landed_s) in enumerate(
        zip(poured.pour_s, poured.pour_age_s, strict=True)
    ):
        ages = landed_s + minutes_of_age(night, 50e3, pour_s)
        for name, factor in (
            ("foot_traffic", 1.15),
            ("topcoat_opens", 1.15),
            ("topcoat_closes", 0.87),
        ):
            counted_s = pour_s + MINUTE_S * first_minute(ages, slurry.age_s[name] * factor)
            assert floor[name][patch] == pytest.approx(counted_s, abs=MINUTE_S)


def test_first_window_against_trying_every_minute(floor):
    # A start is good when the vacuum that ends then began on a floor that bears feet all
    # over, and every patch, when it is reached, is open and not closed.
    starts_s = np.floor(floor["foot_traffic"].min()) + MINUTE_S * np.arange(40 * 60)
    reached_s = starts_s[:, None] + COAT.offset_s
    walked = starts_s[:, None] - COAT.lead_s >= floor["foot_traffic"]
    in_time = (reached_s >= floor["topcoat_opens"]) & (reached_s <= floor["topcoat_closes"])
    good = np.all(walked & in_time, axis=1)
    window = window_over(floor, COAT)
    assert starts_s[good][0] == pytest.approx(window.opens_s, abs=MINUTE_S)
    assert starts_s[good][-1] == pytest.approx(window.closes_s, abs=MINUTE_S)
    assert np.all(good[(starts_s >= window.opens_s) & (starts_s <= window.closes_s)])


@pytest.mark.parametrize(
    ("vacuum_s", "opens_s"), [(100.0, 5000 - 120), (600.0, 4300 + 600), (2000.0, 4300 + 2000)]
)
def test_the_window_of_four_patches_by_hand(vacuum_s, opens_s):
    # Patches poured 100 s apart are reached 300 s apart. The first is the last to be dry
    # when it is reached: 5000 - 120. A vacuum that takes longer waits for the last patch
    # to bear feet, at 4300 s. The third is the first to be too old: 9200 - 720.
    floor = {
        "foot_traffic": np.array([4000.0, 4100, 4200, 4300]),
        "topcoat_opens": np.array([5000.0, 5100, 5200, 5300]),
        "topcoat_closes": np.array([9000.0, 9100, 9200, 9900]),
    }
    window = window_over(floor, replace(COAT, leads=(Lead(layer=VACUUM, lasts_s=vacuum_s),)))
    assert (window.opens_s, window.closes_s) == (opens_s, 9200 - 720)


def test_next_window_against_counted_minutes(night, topcoat, curves, epoch_s):
    start_s = epoch_s + 20 * 3600.0
    second = coat_of(30.0, number=2, offsets=120.0 + 200.0 * np.arange(PATCHES))
    below = film_reached(
        start_s + COAT.offset_s,
        age_s=topcoat.age_s,
        curve=everywhere(curves[1]),
        wait=1.1,
        close=0.9,
    )
    window = window_over(below, second)
    opens_s, closes_s = [], []
    for patch in range(PATCHES):
        laid_s = start_s + COAT.offset_s[patch]
        ages = minutes_of_age(night, 50e3, laid_s)
        for ends, name, factor in (
            (opens_s, "recoat_opens", 1.1),
            (closes_s, "recoat_closes", 0.9),
        ):
            after_s = MINUTE_S * first_minute(ages, topcoat.age_s[name] * factor)
            ends.append(laid_s + after_s - second.offset_s[patch])
    assert window.opens_s == pytest.approx(max(opens_s), abs=MINUTE_S)
    assert window.closes_s == pytest.approx(min(closes_s), abs=MINUTE_S)


def test_the_ladder_counts_from_the_last_batch(night, topcoat, curves, epoch_s):
    start_s = epoch_s + 30 * 3600.0
    laid_s = start_s + COAT.offset_s
    finished = finished_floor(
        film_reached(
            laid_s, age_s=topcoat.age_s, curve=everywhere(curves[1]), wait=1.2, close=1.0
        ),
        needs=("foot_traffic", "wheels", "wash_down"),
    )
    last_s = start_s + COAT.offset_s[-1]
    ages = minutes_of_age(night, 50e3, last_s)
    for got_s, name in (
        (finished.foot_s, "foot_traffic"),
        (finished.wheels_s, "wheels"),
        (finished.wash_down_s, "wash_down"),
    ):
        counted_s = last_s + MINUTE_S * first_minute(ages, topcoat.age_s[name] * 1.2)
        assert got_s == pytest.approx(counted_s, abs=MINUTE_S)
    assert finished.opens_s == finished.wash_down_s


def test_what_the_weather_does_not_reach_is_never(poured, slurry, weather_of):
    short = weather_of(25.0, hours=10)
    curve = slab_age_curve(short, activation_energy_j_mol=50e3, reference_c=21.0)
    floor = landed_reached(
        poured, age_s=slurry.age_s, curve=everywhere(curve), wait=1.0, close=1.0
    )
    assert np.all(np.isinf(floor["topcoat_closes"]))
    assert window_over(floor, COAT).closes_s == np.inf


def landed_at(pour_s, path):
    return Landed(pour_s=pour_s, pour_age_s=path.pour_age_s, film_age_s=path.film_age_s)


def counted_on_the_floor_s(path, age_s, *, slurry, slab_c):
    """From the pour to an age, by quadrature of the film's own rate."""
    kit = slurry.kit
    beta = slurry.slab_effusivity / (kit.volumetric_heat_j_m3_k * slurry.film_m)
    gap_k = float(path.pour_c[0]) - slab_c

    def speed(root):
        film_k = slab_c + gap_k * erfcx(beta * root) + 273.15
        return np.exp(
            -kit.activation_energy_j_mol
            / 8.314462618
            * (1 / film_k - 1 / (kit.reference_c + 273.15))
        )

    def missing_s(root):
        grown_s, _ = quad(lambda r: 2 * r * speed(r), 0.0, root, epsabs=1e-6, limit=200)
        return float(path.pour_age_s[0]) + grown_s - age_s

    return brentq(missing_s, 0.0, 120.0, xtol=1e-9) ** 2


@examples(40)
@given(
    film_m=st.floats(0.003, 0.012),
    liquids_c=st.sampled_from([4.0, 31.0]),
    slab_c=st.floats(10.0, 42.0),
    hours=st.floats(0.5, 3.5),
)
def test_a_thick_films_clock_counts_only_the_gap_that_lies_behind_it(
    film_m, liquids_c, slab_c, hours, slurry_card, weather_of, epoch_s
):
    # Independent: SciPy's quadrature of the half-space film and its root finding. The path
    # is straight in the root of time between 25 nodes, good to a second; 2 s are allowed.
    slurry = slurry_clocks(slurry_card, film_m=film_m, slab_effusivity=SLAB_EFFUSIVITY)
    path = run_bucket(
        liquids_c, 30.0, 31.0, slab_c, 60.0,
        kit=slurry.kit, speed=1.0, film_m=film_m, slab_effusivity=SLAB_EFFUSIVITY,
    )  # fmt: skip
    curve = slab_age_curve(
        weather_of(slab_c),
        activation_energy_j_mol=slurry.kit.activation_energy_j_mol,
        reference_c=slurry.kit.reference_c,
    )
    pour_s = epoch_s + 3600.0
    age_s = float(path.pour_age_s[0]) + hours * 3600.0 * float(path.slab_rate[0])
    expected_s = counted_on_the_floor_s(path, age_s, slurry=slurry, slab_c=slab_c)
    found_s = landed_when_s(landed_at(np.array([pour_s]), path), age_s, curve=curve)
    assert found_s == pytest.approx([pour_s + expected_s], abs=2.0)


def test_a_clock_of_minutes_is_not_for_the_slabs_curve(weather_of, epoch_s):
    # A film that gathers 20 min of age in its first minutes on a slab at 10 °C: asked for
    # an age in the midst of that, counting back and forth never ends.
    film_s = 1200.0 * np.minimum(1.0, FLOOR_ROOT_S05 / 20.0)[None, :]
    landed = Landed(pour_s=np.array([epoch_s]), pour_age_s=np.array([300.0]), film_age_s=film_s)
    curve = slab_age_curve(weather_of(10.0), activation_energy_j_mol=50e3, reference_c=21.0)
    with pytest.raises(OutOfRangeError, match="far from its slab"):
        landed_when_s(landed, 300.0 + 700.0, curve=curve)


def coat_of(duration_min, *, offsets, number=1):
    below = "topcoat" if number == 1 else "recoat"
    layer = Layer(
        kind="topcoat", crew="topcoat", number=number, opens=f"{below}_opens",
        closes=f"{below}_closes",
    )  # fmt: skip
    return Work(
        layer=layer, duration_s=duration_min * 60, offset_s=offsets, batches=2,
        volume_m3=0.01, batch_s=700.0,
    )  # fmt: skip


def test_coat_work_by_hand(plain_room, plain_job):
    # 45 m²: three people at 0.03 m²/s spread it in 500 s after 2 min of mixing. 90 sq
    # ft/gal is 2.2088 m²/L: 20.37 L, 5.38 gal, 3 batches of 2 gal. One batch covers
    # 16.72 m², spread in 185.8 s. Vacuum 45/(0.05 * 3) = 300 s, before the first coat
    # only. Five patches are reached every 100 s.
    asked = {"crew": plain_job.crew, "pace": plain_job.pace, "patches": 5}
    tasks = floor_tasks(floor_layers(plain_room, primed=False))
    vacuum = lead_works(plain_room, plain_job, tasks[1])
    first = coat_work(
        plain_room, plain_job.cards.topcoat, layer=tasks[1][-1], leads=vacuum, **asked
    )
    assert first.duration_s == pytest.approx(620.0)
    assert first.lead_s == pytest.approx(300.0)
    assert (first.batches, first.volume_m3) == (3, pytest.approx(0.020373, abs=1e-6))
    assert first.batch_s == pytest.approx(120 + 185.8, abs=0.1)
    assert first.offset_s.tolist() == pytest.approx([120, 220, 320, 420, 520])
    # Second: 150 sq ft/gal, 12.22 L, 3.23 gal, 2 batches; nothing to vacuum.
    second = coat_work(plain_room, plain_job.cards.topcoat, layer=tasks[2][-1], **asked)
    assert (second.batches, second.lead_s) == (2, 0.0)
    assert second.volume_m3 / GALLON_M3 == pytest.approx(3.229, abs=0.001)


@examples(40)
@given(
    wait=st.floats(1, 1.5),
    slower=st.floats(0, 0.3),
    warmer_k=st.floats(0, 6),
    spread_s=st.floats(60, 600),
)
def test_doubt_narrows_a_window_and_warmth_moves_it_forward(
    wait, slower, warmer_k, spread_s, slurry, weather_of, epoch_s
):
    work = coat_of(30.0, offsets=120.0 + spread_s * np.arange(PATCHES))
    pour_s = epoch_s + 3600.0 * 3 + 240.0 * np.arange(PATCHES)

    def window(slab_c, factor):
        curve = slab_age_curve(
            weather_of(slab_c), activation_energy_j_mol=50e3, reference_c=21.0
        )
        floor = landed_reached(
            as_warm_as_the_slab(pour_s, np.full(PATCHES, 400.0)),
            age_s=slurry.age_s, curve=everywhere(curve), wait=factor, close=1 / factor,
        )  # fmt: skip
        return window_over(floor, work)

    as_is, doubtful = window(26.0, wait), window(26.0, wait + slower)
    assert doubtful.opens_s >= as_is.opens_s
    assert doubtful.closes_s <= as_is.closes_s
    warm = window(26.0 + warmer_k, wait)
    assert warm.opens_s <= as_is.opens_s
    assert warm.closes_s <= as_is.closes_s


def test_at_the_cards_own_temperature_the_floor_keeps_the_cards_hours(
    slurry, slurry_card, weather_of, epoch_s
):
    # Regression: followed for 4 h as a film and then by the slab alone, a card's 24 h
    # came out as 24 h 7 min. The card says 5 h, 5 h and 24 h from filler-in.
    path = run_bucket(
        21.0, 21.0, 21.0, 21.0, slurry_card.reference_haul_s,
        kit=slurry.kit, speed=1.0, film_m=slurry.film_m,
        slab_effusivity=slurry.slab_effusivity,
    )  # fmt: skip
    curve = slab_age_curve(weather_of(21.0), activation_energy_j_mol=50e3, reference_c=21.0)
    filler_s = epoch_s + 3600.0
    floor = landed_reached(
        landed_at(filler_s + path.pour_s, path),
        age_s=slurry.age_s, curve=everywhere(curve), wait=1.0, close=1.0,
    )  # fmt: skip
    assert floor["foot_traffic"] - filler_s == pytest.approx([5 * 3600.0], abs=0.1)
    assert floor["topcoat_opens"] - filler_s == pytest.approx([5 * 3600.0], abs=0.1)
    assert floor["topcoat_closes"] - filler_s == pytest.approx([24 * 3600.0], abs=0.1)
    # And the bucket's own clock, asked beyond its path, says the same.
    assert path.when_s(slurry.age_s["topcoat_closes"]) == pytest.approx([86_400.0], abs=0.1)
