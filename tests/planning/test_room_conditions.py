"""Room air and slab hour by hour: climates, readings, dry hours."""

from dataclasses import replace
from datetime import time, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import OutOfRangeError
from cureplan.inputs.job.model import SlabReading, SunPatch
from cureplan.planning.floor.conditions import room_conditions
from cureplan.weather.hours.series import HourlySeries, WeatherOrigin, utc_of

HOURS = 24 * 8
EPOCH_S = 1_374_001_200.0  # a full hour in July 2013
ORIGIN = WeatherOrigin(label="test", kind="file", licence="CC0", attribution="invented")


def weather(temp_c, dew_c=np.nan, hours=HOURS):
    def column(values):
        return np.broadcast_to(np.asarray(values, dtype=float), hours)

    return HourlySeries(
        epoch_s=EPOCH_S + 3600.0 * np.arange(hours),
        temp_c=column(temp_c),
        dew_c=column(dew_c),
        cloud_frac=column(0.0),
        origin=np.zeros(hours, dtype=np.int64),
        origins=(ORIGIN,),
    )


def swinging():
    return weather(27.0 + 6.0 * np.sin(2 * np.pi * (np.arange(HOURS) - 9) / 24))


def job_with(demo_job, *rooms, **building):
    bare = [replace(room, slab_reading=None, sun_patch=None) for room in rooms]
    return replace(demo_job, rooms=tuple(bare), building=replace(demo_job.building, **building))


def two_rooms(demo_job, **changed):
    first, second = demo_job.rooms[:2]
    return replace(first, **changed), replace(second, **changed)


def test_held_air_is_the_set_point_and_open_air_the_outdoors(demo_job):
    held, open_ = two_rooms(demo_job)
    job = job_with(
        demo_job,
        replace(held, climate="held", set_point_c=22.0),
        replace(open_, climate="open"),
    )
    series = swinging()
    found = room_conditions(job, series)
    assert found[held.name].air_c == pytest.approx(np.full(HOURS, 22.0))
    assert found[open_.name].air_c == pytest.approx(series.temp_c)


def test_drifting_air_trails_the_outdoors_by_its_lag(demo_job):
    # By hand: a first-order lag of 5 h passes a daily wave weakened to
    # 1/sqrt(1 + (2 pi 5/24)²) = 0.607 and late by atan(2 pi 5/24) = 3.5 h.
    room = replace(demo_job.rooms[0], climate="drifting")
    job = job_with(demo_job, room, lag_s=5 * 3600.0, gain_k=1.5)
    air_c = room_conditions(job, swinging())[room.name].air_c
    days = air_c[-72:]
    assert days.mean() == pytest.approx(28.5, abs=0.02)
    # Hourly rows, straight in between, take 1.4 % off the tips.
    assert np.ptp(days) / 2 == pytest.approx(6.0 * 0.607 * 0.986, abs=0.01)
    # Outdoors peaks at 15 h, the room 3.5 h later: between two full hours.
    assert np.argmax(days[:24]) in (18, 19)


def test_a_slab_under_steady_air_settles_between_air_and_ground(demo_job):
    room = replace(demo_job.rooms[0], climate="held", set_point_c=30.0)
    job = job_with(demo_job, room, ground_c=18.0)
    slab_c = room_conditions(job, weather(30.0))[room.name].slab_c
    assert np.ptp(slab_c[-24:]) < 0.05
    assert 26.0 < slab_c[-1] < 30.0
    warmer = job_with(demo_job, room, ground_c=24.0)
    assert room_conditions(warmer, weather(30.0))[room.name].slab_c[-1] > slab_c[-1]


def test_a_reading_on_the_hour_puts_the_slab_where_it_was_read(demo_job):
    first, second = two_rooms(demo_job)
    job = job_with(demo_job, first, second)
    at = utc_of(EPOCH_S + 120 * 3600.0)
    read = replace(
        job, rooms=(replace(first, slab_reading=SlabReading(surface_c=33.0, read_at=at)),
                    job.rooms[1]),
    )  # fmt: skip
    as_is, corrected = room_conditions(job, swinging()), room_conditions(read, swinging())
    assert corrected[first.name].slab_at(at.timestamp()) == pytest.approx(33.0, abs=1e-6)
    assert corrected[first.name].reading_s == at.timestamp()
    # It fades both ways, and never turns round.
    off_k = corrected[first.name].slab_c - as_is[first.name].slab_c
    assert np.argmax(np.abs(off_k)) == 120
    assert np.all(off_k * off_k[120] > 0)
    assert np.all(np.diff(np.abs(off_k[:121])) > 0)
    assert np.all(np.diff(np.abs(off_k[120:])) < 0)
    # The other room, and the air, know nothing of it.
    assert np.array_equal(corrected[second.name].slab_c, as_is[second.name].slab_c)
    assert corrected[second.name].reading_s is None
    assert np.array_equal(corrected[first.name].air_c, as_is[first.name].air_c)


@pytest.mark.parametrize("minute", [0, 1, 20, 30, 47, 59])
def test_a_reading_is_what_the_slab_is_at_its_minute(demo_job, minute):
    # Hours are kept, straight in between; what was read stands at its own minute all the
    # same, and five hours on no more is left of it than the slab keeps.
    room = demo_job.rooms[0]
    job = job_with(demo_job, room)
    at = utc_of(EPOCH_S + 120 * 3600.0 + 60.0 * minute)
    later_s = EPOCH_S + 125 * 3600.0
    plain = room_conditions(job, swinging())[room.name]
    shown_c = float(plain.slab_at(at.timestamp())) + 2.0
    reading = SlabReading(surface_c=shown_c, read_at=at)
    read = replace(job, rooms=(replace(job.rooms[0], slab_reading=reading),))
    found = room_conditions(read, swinging())[room.name]
    assert float(found.slab_at(at.timestamp())) == pytest.approx(shown_c, abs=1e-6)
    left = float(found.reading_left(later_s - at.timestamp()))
    moved_k = float(found.slab_at(later_s) - plain.slab_at(later_s))
    assert moved_k == pytest.approx(2.0 * left, abs=1e-6)


def test_rooms_of_one_build_up_are_marched_like_each_alone(demo_job):
    first, second = two_rooms(demo_job)
    second = replace(second, climate="open")
    thin = replace(first, name="Thin", slab_thickness_m=0.08)
    together = room_conditions(job_with(demo_job, first, thin, second), swinging())
    assert list(together) == [first.name, "Thin", second.name]
    for room in (first, thin, second):
        alone = room_conditions(job_with(demo_job, room), swinging())[room.name]
        assert together[room.name].slab_c == pytest.approx(alone.slab_c, abs=1e-9)


def test_a_deck_over_air_follows_the_weather_more_than_a_slab_on_ground(demo_job):
    room = demo_job.rooms[0]
    ground = room_conditions(job_with(demo_job, room), swinging())[room.name]
    deck = room_conditions(job_with(demo_job, room, below="air"), swinging())[room.name]
    assert np.ptp(deck.slab_c[-48:]) > 1.2 * np.ptp(ground.slab_c[-48:])


def test_a_deck_between_two_airs_settles_by_its_resistances(demo_job):
    # By hand: 30 °C above, 10 °C below, 7 W/m²K on either face, 152 mm of 1.4 W/mK:
    # 1/7 + 0.1089 + 1/7 = 0.3946 m²K/W, so the top stands 20 * (1/7)/0.3946 = 7.24 K
    # below its air.
    room = replace(demo_job.rooms[0], climate="held", set_point_c=30.0)
    job = job_with(demo_job, room, below="air")
    slab_c = room_conditions(job, weather(10.0))[room.name].slab_c
    assert slab_c[-1] == pytest.approx(30 - 7.24, abs=0.02)


def test_sun_warms_the_slab_only_where_and_when_it_falls(demo_job):
    sunny, shaded = two_rooms(demo_job)
    job = job_with(demo_job, sunny, shaded)
    patch = SunPatch(starts=time(9), ends=time(12), share=0.5)
    lit = replace(job, rooms=(replace(job.rooms[0], sun_patch=patch), job.rooms[1]))
    as_is, found = room_conditions(job, swinging()), room_conditions(lit, swinging())
    gained_k = found[sunny.name].slab_c - as_is[sunny.name].slab_c
    assert np.array_equal(found[shaded.name].slab_c, as_is[shaded.name].slab_c)
    local = np.array(
        [utc_of(s).astimezone(job.site.zone).hour for s in found[sunny.name].epoch_s]
    )
    gains_k, hours = np.diff(gained_k), local[:-1]
    # A lit part is as warm however small it is; a share of the floor heats none
    # of it less.
    small = replace(patch, share=0.1)
    spot = replace(job, rooms=(replace(job.rooms[0], sun_patch=small), job.rooms[1]))
    spot_c = room_conditions(spot, swinging())[sunny.name].slab_c
    assert np.array_equal(spot_c, found[sunny.name].slab_c)
    # The shade is the room without sun.
    shade_c = found[sunny.name].slab_c - found[sunny.name].sun_k
    assert shade_c == pytest.approx(as_is[sunny.name].slab_c, abs=1e-9)
    assert found[shaded.name].sun_k is None
    # Rises in the first two lit hours, when the sun climbs too; falls all afternoon and
    # night. On ten-minute steps the edges are five minutes soft.
    assert np.all(gains_k[48:][(hours[48:] == 9) | (hours[48:] == 10)] > 2.0)
    assert np.all(gains_k[48:][(hours[48:] >= 12) | (hours[48:] < 8)] < 0.0)


def test_a_slab_is_called_falling_or_level_within_a_third_of_a_degree(weather_of, epoch_s):
    warming = weather_of(20.0 + 0.2 * np.arange(120))
    assert warming.slab_falls(epoch_s, epoch_s + 3600.0)
    assert not warming.slab_falls(epoch_s, epoch_s + 2 * 3600.0)
    cooling = weather_of(40.0 - 0.2 * np.arange(120))
    assert cooling.slab_falls(epoch_s, epoch_s + 50 * 3600.0)


def test_the_next_dry_start_by_hand(weather_of, epoch_s):
    # Slab 20 °C; dew point 18 °C until 10 h, falling to 14 °C at 12 h: 3 K clear from
    # 10.5 h on, wet again from 20 h. Found on ten-minute steps.
    dew_c = np.full(120, 14.0)
    dew_c[:11], dew_c[11], dew_c[21:] = 18.0, 16.0, 19.0
    room = weather_of(20.0, dew_c=dew_c)
    from_s = epoch_s + 3600.0
    found_h = (room.next_dry_s(from_s, 3600.0, margin_k=3.0) - epoch_s) / 3600
    assert found_h == pytest.approx(10.5, abs=1 / 6)
    # A longer coat may not run into the damp that follows: 17 °C at 20.6 h.
    assert room.next_dry_s(from_s, 9.5 * 3600.0, margin_k=3.0) < np.inf
    assert room.next_dry_s(from_s, 10.5 * 3600.0, margin_k=3.0) == np.inf
    assert room.next_dry_s(from_s, 3600.0, margin_k=1.0) == from_s


def test_an_unknown_dew_point_counts_as_dry(weather_of, epoch_s):
    assert weather_of(20.0).next_dry_s(epoch_s, 3600.0, margin_k=3.0) == epoch_s


@given(
    start_h=st.floats(0, 100),
    lasts_h=st.floats(0.2, 6),
    margin_k=st.floats(0, 5),
    phase=st.floats(0, 24),
)
def test_dry_spans_are_dry_and_nothing_sooner_was(
    weather_of, epoch_s, start_h, lasts_h, margin_k, phase
):
    hours = np.arange(120)
    room = weather_of(
        22.0 + 2 * np.sin(2 * np.pi * (hours - phase) / 24),
        dew_c=18.5 + 2 * np.cos(2 * np.pi * hours / 24),
    )
    start_s, lasts_s = epoch_s + start_h * 3600, lasts_h * 3600

    def is_dry(from_s):
        at = np.linspace(from_s, from_s + lasts_s, 200)
        return np.all(room.slab_at(at) - room.dew_at(at) >= margin_k - 1e-6)

    found_s = room.next_dry_s(start_s, lasts_s, margin_k=margin_k)
    if np.isfinite(found_s):
        assert is_dry(found_s)
    last_s = min(found_s, room.last_s - lasts_s)
    for earlier_s in np.arange(start_s, last_s - 600.0, 600.0):
        assert not is_dry(earlier_s)


def test_the_demo_slab_was_read_as_the_job_says(demo_job, demo_weather):
    room = demo_job.room("Cook line")
    found = room_conditions(demo_job, demo_weather)
    at = room.slab_reading.read_at
    # The job's file says 86 F at 16:30.
    assert float(found["Cook line"].slab_at(at.timestamp())) == pytest.approx(30.0, abs=1e-6)
    a_day_on_s = (at + timedelta(days=2)).timestamp()
    far = [float(found[name].slab_at(a_day_on_s)) for name in ("Cook line", "Preparation")]
    assert far[0] == pytest.approx(far[1], abs=0.15)


@pytest.mark.parametrize("read", ["air_at", "slab_at", "dew_at"])
@pytest.mark.parametrize(
    ("hour", "said"),
    [
        (-0.01, "2013-07-16 18:59"),
        (119.01, "2013-07-21 18:00"),
        ([5.0, 200.0], "2013-07-25 03:00"),
        (np.inf, "inf"),
        (np.nan, "nan"),
    ],
)
def test_no_temperature_is_guessed_beyond_the_hours(weather_of, epoch_s, read, hour, said):
    # The hours of `weather_of` run from 16 July 2013 19:00 UTC for 119 h.
    room = weather_of(20.0, dew_c=15.0)
    with pytest.raises(OutOfRangeError) as caught:
        getattr(room, read)(epoch_s + 3600.0 * np.asarray(hour))
    assert said in str(caught.value)
    assert "2013-07-16 19:00" in str(caught.value)
    assert "2013-07-21 18:00" in str(caught.value)


def test_the_first_and_the_last_hour_belong_to_the_hours(weather_of):
    room = weather_of(20.0 + np.arange(120) / 10, dew_c=15.0)
    assert room.slab_at([room.first_s, room.last_s]) == pytest.approx([20.0, 31.9])
    assert room.air_at(room.last_s) == pytest.approx(31.9)
    assert room.dew_at([]).size == 0
