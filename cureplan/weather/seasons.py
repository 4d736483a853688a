"""The same month of several past years at a site, from the stations' own record."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, tzinfo
from pathlib import Path

from cureplan.core.errors import OutOfRangeError, OutputError, WeatherUnavailableError
from cureplan.weather.hours.series import HOUR_S, HourlySeries
from cureplan.weather.kept import WeatherStore
from cureplan.weather.providers.exchange import Span, WeatherQuery
from cureplan.weather.providers.fetching import Fetcher, fetch_in_worker, fetch_with_folder

__all__ = ["season_nights", "season_years"]

SEASONS_BUDGET_S = 90.0
_TIMEOUT_S = 10.0
_MONTHS = 12
_MOST_YEARS = 60
# Of its hours; a year of which less came is used, but asked for again. (invented)
_LEAST_KEPT = 0.9


def season_nights(
    *,
    latitude_deg: float,
    longitude_deg: float,
    elevation_m: float,
    month: int,
    years: int,
    zone: tzinfo,
    history_s: float,
    tail_s: float,
    now: datetime,
    store_folder: Path,
    budget_s: float = SEASONS_BUDGET_S,
    fetch: Fetcher = fetch_in_worker,
) -> list[HourlySeries]:
    """Observed weather of one month in each of the last years, for what-ifs.

    Not for planning a job to come: it holds no forecast, and may hold gaps; ask each
    night `HourlySeries.covers` before using it.
    """
    if not (1 <= month <= _MONTHS and 1 <= years <= _MOST_YEARS):
        raise OutOfRangeError(
            f"month must lie in 1..12 and years in 1..{_MOST_YEARS}, got {month} and {years}"
        )
    spans = _spans(month, years, zone, history_s=history_s, tail_s=tail_s, now=now)
    # Hours of history and tail are part of the name: a shorter copy must not stand in.
    reach = f"{month:02}-{history_s / 3600:.0f}h-{tail_s / 3600:.0f}h"
    shelves = [
        WeatherStore(
            folder=store_folder,
            provider=f"history-{year}-{reach}",
            latitude_deg=latitude_deg,
            longitude_deg=longitude_deg,
            elevation_m=elevation_m,
        )
        for year in spans
    ]
    query = WeatherQuery(
        provider="history",
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        elevation_m=elevation_m,
        spans=tuple(spans.values()),
        now=now.astimezone(UTC),
        contact=None,
        timeout_s=_TIMEOUT_S,
        folder=str(store_folder),
    )
    found = [
        next((copy.series for copy in shelf.copies() if _is_whole(copy.series, span)), None)
        for shelf, span in zip(shelves, spans.values(), strict=True)
    ]
    failures = _fetch_missing(found, shelves, query, budget_s, fetch)
    have = [series for series in found if series is not None]
    if not have:
        reason = "; ".join(failures) or "no station has them"
        raise WeatherUnavailableError(
            f"no past year could be had ({reason}); try again with a network"
        )
    return have


def season_years(month: int, years: int, zone: tzinfo, now: datetime) -> tuple[int, ...]:
    """The years that `season_nights` looks for.

    >>> season_years(7, 2, UTC, datetime(2031, 7, 20, tzinfo=UTC))
    (2029, 2030)
    """
    return tuple(_spans(month, years, zone, history_s=0.0, tail_s=0.0, now=now))


def _is_whole(series: HourlySeries, span: Span) -> bool:
    wanted_h = (span.ends - span.wanted_from).total_seconds() / HOUR_S
    return (
        len(series.missing_hours(span.wanted_from, span.ends)) <= (1 - _LEAST_KEPT) * wanted_h
    )


def _fetch_missing(
    found: list[HourlySeries | None],
    shelves: list[WeatherStore],
    query: WeatherQuery,
    budget_s: float,
    fetch: Fetcher,
) -> tuple[str, ...]:
    """Fill the years not had yet, keep them, and return why others stay empty."""
    wanted = [number for number, series in enumerate(found) if series is None]
    if not wanted:
        return ()
    asked = replace(query, spans=tuple(query.spans[number] for number in wanted))
    fetched = fetch_with_folder(asked, budget_s, fetch)
    for result in fetched.results:
        if result.series is not None:
            number = wanted[result.span_index]
            found[number] = result.series
            if _is_whole(result.series, query.spans[number]):
                _keep(shelves[number], result.series, query.now)
    return fetched.failures()


def _spans(
    month: int, years: int, zone: tzinfo, *, history_s: float, tail_s: float, now: datetime
) -> dict[int, Span]:
    spans: dict[int, Span] = {}
    year = now.astimezone(zone).year
    while len(spans) < years:
        starts = datetime(year, month, 1, tzinfo=zone).astimezone(UTC)
        after = datetime(year + month // 12, month % 12 + 1, 1, tzinfo=zone).astimezone(UTC)
        ends = after + timedelta(seconds=tail_s)
        if ends <= now:
            wanted_from = starts - timedelta(seconds=history_s)
            spans[year] = Span(wanted_from=wanted_from, starts=starts, ends=ends)
        year -= 1
    return dict(sorted(spans.items()))


def _keep(store: WeatherStore, series: HourlySeries, now: datetime) -> None:
    try:
        store.keep(series, fetched_at=now)
    except OutputError:
        # Only speed is lost: the year will be asked for again.
        return
