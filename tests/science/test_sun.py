"""Height of the sun against published rise and set, light against other codes' values."""

from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import OutOfRangeError
from cureplan.science.sun import absorbed_w_m2, clear_sky_w_m2, clouded_w_m2, sun_elevation_deg

NEW_YORK = ZoneInfo("America/New_York")
CLEVELAND = {"latitude_deg": 41 + 29 / 60, "longitude_deg": -(81 + 40 / 60)}
MANHATTAN = {"latitude_deg": 40.75, "longitude_deg": -73.99}
# Sunrise and sunset: upper limb on the horizon, 34' of bending, 16' of radius.
HORIZON_DEG = -0.833


def minutes_off(published, *, site):
    """Minutes between a published rise or set and our crossing of the horizon."""
    around = [published + timedelta(seconds=20 * step) for step in range(-30, 31)]
    height = sun_elevation_deg(around, refracted=False, **site) - HORIZON_DEG
    crossing = np.flatnonzero(np.sign(height[:-1]) != np.sign(height[1:]))
    assert crossing.size == 1
    left = int(crossing[0])
    share = height[left] / (height[left] - height[left + 1])
    return (left + share - 30) / 3


@pytest.mark.parametrize(
    ("day", "rise", "sets"),
    [
        # Cleveland, 41°29'N 81°40'W: a newspaper crediting USNO; whole minutes. The
        # clocks went back in the night to 4 November.
        ((2018, 11, 3), (8, 1), (18, 19)),
        ((2018, 11, 4), (7, 2), (17, 18)),
        ((2018, 12, 21), (7, 50), (17, 0)),
        ((2019, 6, 21), (5, 53), (21, 4)),
    ],
)
def test_cleveland_rise_and_set(day, rise, sets):
    for clock in (rise, sets):
        published = datetime(*day, *clock, tzinfo=NEW_YORK)
        assert abs(minutes_off(published, site=CLEVELAND)) <= 1.0


@pytest.mark.parametrize("published", [(7, 20, 2), (16, 38, 16)])
def test_new_york_new_years_day(published):
    # NOAA's algorithm in the documentation of a library (rubydoc, "sun" 1.0.1) for
    # 40.75, -73.99. It works with one declination a day; half a minute comes of that.
    instant = datetime(2015, 1, 1, *published, tzinfo=NEW_YORK)
    assert abs(minutes_off(instant, site=MANHATTAN)) <= 1.0


def test_noon_height_is_plain_geometry():
    # At the June solstice the noon sun stands 90 - latitude + 23.44 degrees high.
    day = [datetime(2019, 6, 21, 16, tzinfo=UTC) + timedelta(minutes=m) for m in range(180)]
    highest = sun_elevation_deg(day, refracted=False, **CLEVELAND).max()
    assert highest == pytest.approx(90 - CLEVELAND["latitude_deg"] + 23.44, abs=0.02)


def test_bending_lifts_the_low_sun_only():
    # Half a degree at the horizon (34', Meeus), next to nothing at noon.
    low = [datetime(2019, 6, 21, 5, 57, tzinfo=NEW_YORK)]
    high = [datetime(2019, 6, 21, 13, 30, tzinfo=NEW_YORK)]
    lift = [
        float(
            sun_elevation_deg(when, refracted=True, **CLEVELAND)[0]
            - sun_elevation_deg(when, refracted=False, **CLEVELAND)[0]
        )
        for when in (low, high)
    ]
    assert 0.35 < lift[0] < 0.65
    assert 0 <= lift[1] < 0.02


@given(hours=st.floats(-12, 14), minutes=st.integers(0, 500_000))
def test_the_same_instant_in_any_zone_gives_the_same_sun(hours, minutes):
    instant = datetime(2026, 1, 1, tzinfo=UTC) + timedelta(minutes=minutes)
    zone = timezone(timedelta(minutes=round(hours * 60)))
    both = sun_elevation_deg([instant, instant.astimezone(zone)], refracted=True, **MANHATTAN)
    assert both[0] == pytest.approx(both[1], abs=1e-9)


def test_haurwitz_as_other_code_has_it():
    # Expected values of pvlib's own test of Haurwitz 1945, quoted to six digits.
    height = [-20, -0.05, -0.001, 5, 10, 30, 50, 90]
    expected = [0, 0, 0, 48.6299, 135.742, 487.894, 778.767, 1035.09]
    assert clear_sky_w_m2(height) == pytest.approx(expected, rel=1e-5)


@given(first=st.floats(-90, 90), second=st.floats(-90, 90))
def test_higher_sun_is_never_dimmer(first, second):
    low, high = sorted((first, second))
    assert clear_sky_w_m2(high) >= clear_sky_w_m2(low)


def test_cloud_takes_away_as_kasten_and_czeplak_say():
    # 1 - 0.75·N^3.4 (from memory, agrees with open codes quoting it); by hand for
    # N = 0.5: 0.5^3.4 = 0.09473, so 0.92895 is left.
    left = clouded_w_m2(1000.0, cloud_share=[0, 0.5, 1])
    assert left == pytest.approx([1000, 928.95, 250], abs=0.01)


@given(clear=st.floats(0, 1200), first=st.floats(0, 1), second=st.floats(0, 1))
def test_more_cloud_never_brightens(clear, first, second):
    thin, thick = sorted((first, second))
    assert clouded_w_m2(clear, cloud_share=thick) <= clouded_w_m2(clear, cloud_share=thin)


def test_patch_takes_up_the_product_of_its_shares():
    # By hand: 800 · 0.5 · 0.7 · 0.6 = 168.
    got = absorbed_w_m2(
        [800.0, 800.0], lit_share=[0.5, 0.0], transmitted_share=0.7, absorptance=0.6
    )
    assert got.tolist() == pytest.approx([168.0, 0.0])


def test_refusals_name_the_argument_and_the_cure():
    aware = datetime(2019, 6, 21, 12, tzinfo=UTC)
    naive = [aware, aware.replace(tzinfo=None)]
    with pytest.raises(OutOfRangeError, match=r"instants\[1\] = 2019-06-21T12:00:00 has no"):
        sun_elevation_deg(naive, refracted=True, **MANHATTAN)
    with pytest.raises(OutOfRangeError, match="latitude_deg"):
        sun_elevation_deg([], refracted=True, latitude_deg=90, longitude_deg=0)
    with pytest.raises(OutOfRangeError, match="longitude_deg"):
        sun_elevation_deg([], refracted=True, latitude_deg=40, longitude_deg=286)
    with pytest.raises(OutOfRangeError, match="elevation_deg"):
        clear_sky_w_m2(91)
    with pytest.raises(OutOfRangeError, match="cloud_share must be >= 0 and <= 1, got 8"):
        clouded_w_m2(500, cloud_share=8)
    with pytest.raises(OutOfRangeError, match="absorptance"):
        absorbed_w_m2(500, lit_share=1, transmitted_share=1, absorptance=1.2)
