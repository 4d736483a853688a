"""Open weather for a job: fresh, or the last good copy with its age, or a clear end."""

from __future__ import annotations

import re
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path
from typing import Literal

import numpy as np

from cureplan.core.errors import OutOfRangeError, OutputError, WeatherUnavailableError
from cureplan.core.messages import Message, once
from cureplan.weather.hours.history import fill_history
from cureplan.weather.hours.merge import splice
from cureplan.weather.hours.plausible import Air, Place, oddities
from cureplan.weather.hours.series import HOUR_S, HourlySeries, utc_of
from cureplan.weather.kept import KeptCopy, WeatherStore, age_warnings, oldest_forecast
from cureplan.weather.providers.exchange import Span, WeatherQuery
from cureplan.weather.providers.fetching import (
    Fetched,
    Fetcher,
    fetch_in_worker,
    fetch_with_folder,
)

__all__ = ["FETCH_BUDGET_S", "obtain_weather"]

# A whole run must end within 20 s, bad network or not; this leaves room for the plan.
FETCH_BUDGET_S = 15.0
CONNECTION_TIMEOUT_S = 5.0
# Within this time the providers have nothing newer, and are not to be bothered. (invented)
REUSE_S = 1800.0
# Clocks disagree by minutes; hours are a clock set wrong, or a `now` that is not now.
CLOCK_SLACK = timedelta(hours=1)


def obtain_weather(
    *,
    provider: Literal["station", "forecast"],
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    starts: datetime,
    ends: datetime,
    history_s: float,
    max_age_s: float,
    now: datetime,
    contact: str | None,
    store_folder: Path,
    budget_s: float = FETCH_BUDGET_S,
    timeout_s: float = CONNECTION_TIMEOUT_S,
    reuse_s: float = REUSE_S,
    fetch: Fetcher = fetch_in_worker,
    clock: datetime | None = None,
) -> HourlySeries:
    """Hourly weather that covers a job, from open data or from what we had of it.

    Not for a file: `csvfile.read_weather_csv_for`.
    """
    span = _span(starts, ends, history_s)
    query = WeatherQuery(
        provider=provider,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=elevation_m,
        spans=(span,),
        now=_utc(now, "now"),
        contact=contact,
        timeout_s=timeout_s,
        folder=str(store_folder),
    )
    store = WeatherStore(
        folder=store_folder,
        provider=provider,
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=elevation_m,
    )
    young = _young(store, query, reuse_s)
    if young is not None:
        return _finished(young, query, max_age_s)
    fetched = fetch_with_folder(query, budget_s, fetch)
    wall = _utc(clock, "clock") if clock else utc_of(time.time())
    keeps = abs(wall - query.now) <= CLOCK_SLACK
    zone = starts.tzinfo or UTC
    best = _best(fetched, query, store, max_age_s, keeps=keeps, zone=zone)
    return _finished(best, query, max_age_s)


def _span(starts: datetime, ends: datetime, history_s: float) -> Span:
    begins, finishes = _utc(starts, "starts"), _utc(ends, "ends")
    if finishes < begins:
        raise OutOfRangeError(f"ends ({ends}) lies before starts ({starts})")
    if not history_s >= 0:
        raise OutOfRangeError(f"history_s must be >= 0 s, got {history_s:g}")
    return Span(wanted_from=begins - timedelta(seconds=history_s), starts=begins, ends=finishes)


def _utc(when: datetime, name: str) -> datetime:
    if when.tzinfo is None:
        raise OutOfRangeError(f"{name} must carry a UTC offset, got naive {when}")
    return when.astimezone(UTC)


def _young(store: WeatherStore, query: WeatherQuery, reuse_s: float) -> HourlySeries | None:
    span = query.spans[0]
    for copy in store.copies():
        age_s = (query.now - copy.fetched_at).total_seconds()
        # A copy from the future is a clock set wrong, then or now: ask again.
        if 0 <= age_s < reuse_s and copy.series.covers(span.wanted_from, span.ends):
            note = Message("weather.reused", {"age_s": age_s})
            return replace(copy.series, notes=(*copy.series.notes, note))
    return None


def _best(
    fetched: Fetched,
    query: WeatherQuery,
    store: WeatherStore,
    max_age_s: float,
    *,
    keeps: bool,
    zone: tzinfo,
) -> HourlySeries:
    """Fresh weather if it covers the job, else fresh weather filled up from a copy."""
    span = query.spans[0]
    ranked = sorted(fetched.results, key=lambda one: one.rank)
    pieces = [one.series for one in ranked if one.series is not None]
    why = fetched.reasons() or (Message("provider.short"),)
    fresh = splice(pieces) if pieces else None
    if fresh is not None and fresh.covers(span.starts, span.ends):
        notes = tuple(Message("weather.shut", {"why": why}) for why in fetched.reasons())
        fresh = replace(fresh, notes=(*fresh.notes, *notes))
        newer = _newer_copy(fresh, query, store, max_age_s)
        if newer is None:
            return _kept(fresh, query, store) if keeps else fresh
        observed = _observed(fresh)
        pieces = [*([] if observed is None else [observed]), newer.series, fresh]
        return _from_copy(newer, pieces, query, (Message("provider.older"),))
    copies = _past_copies(store, query)
    for copy in copies:
        both = [*pieces, copy.series]
        if splice(both).covers(span.starts, span.ends):
            return _from_copy(copy, both, query, why)
    raise WeatherUnavailableError(_nothing(fresh, span, fetched, kept=bool(copies), zone=zone))


def _past_copies(store: WeatherStore, query: WeatherQuery) -> list[KeptCopy]:
    """Copies but for those of the future: of a clock set wrong, or a `now` set back."""
    latest = query.now + CLOCK_SLACK
    return [copy for copy in store.copies() if copy.fetched_at <= latest]


def _newer_copy(
    fresh: HourlySeries, query: WeatherQuery, store: WeatherStore, max_age_s: float
) -> KeptCopy | None:
    """A copy with a newer forecast for the job, should the one just had be too old."""
    span = query.spans[0]
    had = oldest_forecast(fresh, span.starts, span.ends)
    if had is None or had.age_s(query.now) <= max_age_s:
        return None
    for copy in _past_copies(store, query):
        kept = oldest_forecast(copy.series, span.starts, span.ends)
        if kept and kept.since > had.since and copy.series.covers(span.starts, span.ends):
            return copy
    return None


def _observed(series: HourlySeries) -> HourlySeries | None:
    """Only what was observed; no copy of a forecast beats that."""
    seen = np.array([origin.kind == "observed" for origin in series.origins])[series.origin]
    if not seen.any():
        return None
    return replace(series, temp_c=np.where(seen, series.temp_c, np.nan))


def _kept(fresh: HourlySeries, query: WeatherQuery, store: WeatherStore) -> HourlySeries:
    try:
        store.keep(fresh, fetched_at=query.now)
    except OutputError:
        unkept = Message("weather.not_kept", {"folder": str(store.folder)})
        return replace(fresh, warnings=(*fresh.warnings, unkept))
    return fresh


def _from_copy(
    copy: KeptCopy, pieces: list[HourlySeries], query: WeatherQuery, why: tuple[Message, ...]
) -> HourlySeries:
    age_s = (query.now - copy.fetched_at).total_seconds()
    told = Message(
        "weather.copy_mixed" if len(pieces) > 1 else "weather.copy",
        {"why": why, "age_s": age_s, "fetched_at": copy.fetched_at.isoformat()},
    )
    joined = splice(pieces)
    return replace(joined, warnings=(told, *joined.warnings))


# Words of the reasons and what mends them, the surest cure first.
_CURES: tuple[tuple[str, str], ...] = (
    ("check elevation", "check elevation in [site]"),
    ("web page", "log in to this network in a browser"),
    ("HTTP 511", "log in to this network in a browser"),
    ("could not be written", "make room on the disk of the weather store"),
    ("left alone", "wait the time it asks for and try again"),
)
_LONGEST_LINE = 200 - len("cureplan: ")


def _nothing(
    fresh: HourlySeries | None, span: Span, fetched: Fetched, *, kept: bool, zone: tzinfo
) -> str:
    """Why there is no weather for a job, in site time, what to do before the reasons."""
    # A door that only wants a setting of the user's is told of last.
    failures = sorted(fetched.failures(), key=lambda told: "set contact" in told)
    failures = failures or ["the hours given do not reach the whole job"]
    cure = next(
        (cure for words, cure in _CURES if any(words in told for told in failures)),
        "try again later or nearer the day",
    )
    if asked := re.search(r"left alone for (\d+) s", " ".join(failures)):
        wait_s = int(asked[1])
        wait = f"{wait_s} s" if wait_s < 120 else f"{-(-wait_s // 60)} min"
        cure = cure.replace("the time it asks for", wait)
    missing = (span.starts, span.ends)
    hours = (span.ends - span.starts).total_seconds() / HOUR_S
    if fresh is not None:
        lacking = fresh.missing_hours(span.starts, span.ends)
        missing, hours = (lacking[0], lacking[-1]), len(lacking)
    first, last = (f"{at.astimezone(zone):%Y-%m-%d %H:%M}" for at in missing)
    copies = "no kept copy reaches that far" if kept else "no copy kept"
    line = (
        f'no weather: {cure}, or set source = "file"; {hours:.0f} h missing, '
        f"{first} to {last}, {copies}"
    )
    # As much of the reasons as one line holds; what was asked first says most.
    # The host and its answer, which stand in brackets, say which door it was.
    inner = (re.sub(r"^[^()]*\((.*)\)$", r"\1", failure) for failure in failures)
    told = "; ".join(dict.fromkeys(text.removeprefix(f"{cure}: ") for text in inner))
    room = _LONGEST_LINE - len(line) - 3
    return f"{line} ({told if len(told) <= room else told[: room - 3].rstrip() + '...'})"


def _finished(series: HourlySeries, query: WeatherQuery, max_age_s: float) -> HourlySeries:
    """Cut to the job and its history, and say what the reader must know about it."""
    span = query.spans[0]
    series = fill_history(series, before=span.starts, since=span.wanted_from)
    begin = _history_from(series, span)
    cut = series.slice(begin, span.ends)
    notes, warnings = list(cut.notes), list(cut.warnings)
    if begin > span.wanted_from:
        had_h = max(0.0, (span.starts - begin).total_seconds() / HOUR_S)
        wanted_h = (span.starts - span.wanted_from).total_seconds() / HOUR_S
        known = {"had_h": had_h, "wanted_h": wanted_h}
        warnings.append(Message("weather.history_short", known))
    oldest = oldest_forecast(cut, span.starts, span.ends)
    if oldest is not None:
        notes.append(oldest.remark("weather.forecast_age", query.now, {}))
    warnings += oddities(_air(cut), place=_place(query))
    late = age_warnings(cut, span.starts, span.ends, now=query.now, max_age_s=max_age_s)
    return replace(
        cut,
        notes=once(notes),
        warnings=once((*warnings, *late)),
    )


def _air(series: HourlySeries) -> Air:
    return Air(
        epoch_s=series.epoch_s,
        temp_c=series.temp_c,
        dew_c=series.dew_c,
        humidity_frac=np.full(series.epoch_s.size, np.nan),
        fahrenheit=frozenset(),
        guessed_zone=False,
        has_dew=True,
    )


def _place(query: WeatherQuery) -> Place:
    return Place(
        zone=UTC,
        latitude_deg=query.latitude_deg,
        longitude_deg=query.longitude_deg,
        elevation_m=query.elevation_m,
    )


def _history_from(series: HourlySeries, span: Span) -> datetime:
    """The instant from which everything up to the job is known."""
    missing = series.missing_hours(span.wanted_from, span.starts)
    return missing[-1] + timedelta(hours=1) if missing else span.wanted_from
