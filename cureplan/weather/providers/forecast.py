"""The two forecast providers: by station (MOSMIX) and for any point (MET Norway)."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from cureplan.core.errors import WeatherUnavailableError
from cureplan.core.messages import Message
from cureplan.weather.hours.merge import RawRows, hourly_from_rows
from cureplan.weather.hours.resample import fill_coarse_steps
from cureplan.weather.hours.series import HourlySeries, WeatherOrigin
from cureplan.weather.providers.exchange import (
    Exchange,
    Span,
    WeatherQuery,
    metno_issue,
    mosmix_issue,
)
from cureplan.weather.providers.hourly import (
    CLOCK_SLACK,
    FORECAST_REACH,
    HIGHEST_M,
    ClientRows,
    at_site_height,
    odd_in,
    provider_terms,
    reasons,
    remarks,
    rows_of,
    time_series,
)
from cureplan.weather.providers.stations import Station

__all__ = ["metno_provider", "mosmix_provider"]

_MOSMIX = "dwd_mosmix"
_METNO = "metno_forecast"
_MOST_ASKED = 2
# Beyond this a station forecast speaks of other weather than the site's. (invented)
_FARTHEST_M = 30_000.0
# MET Norway refuses coordinates with more digits (its terms of service).
_POINT_DIGITS = 4


def mosmix_provider(
    query: WeatherQuery, span: Span, exchange: Exchange, stations: list[Station]
) -> HourlySeries:
    """The forecast of the best station nearby that has one, hourly for ten days.

    Not for history: it begins at its issue.
    """
    near = [
        station
        for station in stations
        if station.mosmix_key
        and station.distance_m <= _FARTHEST_M
        and abs(station.height_above_site_m) <= HIGHEST_M
    ]
    if not near:
        raise WeatherUnavailableError(
            "no station within 30 km has a forecast of its own", Message("provider.far")
        )
    mark = exchange.mark()
    for station in sorted(near, key=lambda s: s.remoteness_m)[:_MOST_ASKED]:
        rows = _ask(query, span, station.key, provider=_MOSMIX)
        answer = exchange.last()
        if rows is not None and answer is not None:
            _refuse_odd(rows, "DWD MOSMIX")
            issued_at = _believable(mosmix_issue(answer.body), query.now, "DWD MOSMIX")
            label = f"DWD MOSMIX, {station.label()}"
            moved = at_site_height(rows, station)
            return _series(
                moved, label=label, provider=_MOSMIX, issued_at=issued_at, query=query
            )
    asked = exchange.since(mark)
    raise WeatherUnavailableError(
        f"no station forecast could be had ({'; '.join(reasons(asked))})",
        Message("provider.station_forecast", {"why": remarks(asked)}),
    )


def metno_provider(query: WeatherQuery, span: Span, exchange: Exchange) -> HourlySeries:
    """The point forecast, its six-hourly tail filled and marked.

    Not without a contact address: the service asks for one.
    """
    if not query.contact:
        raise WeatherUnavailableError(
            "the point forecast of MET Norway asks for a mail or web address of yours:"
            " set contact in [weather]",
            Message("provider.contact"),
        )
    import meteostat

    point = meteostat.Point(
        round(query.latitude_deg, _POINT_DIGITS),
        round(query.longitude_deg, _POINT_DIGITS),
        round(query.elevation_m),
    )
    mark = exchange.mark()
    rows = _ask(query, span, point, provider=_METNO)
    answer = exchange.last()
    if rows is None or answer is None:
        asked = exchange.since(mark)
        reason = "; ".join(reasons(asked)) or "nothing was asked"
        raise WeatherUnavailableError(
            f"no point forecast could be had ({reason})",
            Message("provider.point_forecast", {"why": remarks(asked)}),
        )
    _refuse_odd(rows, "MET Norway")
    issued_at = _believable(metno_issue(answer.body), query.now, "MET Norway")
    modified = answer.modified
    late = modified is not None and modified > query.now + CLOCK_SLACK
    written_at = None if issued_at is not None or late else modified
    return _series(
        rows,
        label="MET Norway",
        provider=_METNO,
        issued_at=issued_at,
        written_at=written_at,
        query=query,
    )


def _ask(query: WeatherQuery, span: Span, where: Any, *, provider: str) -> ClientRows | None:
    first = min(span.starts, query.now) - timedelta(hours=1)
    until = max(span.ends + timedelta(hours=1), query.now + FORECAST_REACH)
    client = time_series(where, first, until, provider=provider)
    return rows_of(client) if client is not None else None


def _refuse_odd(rows: ClientRows, who: str) -> None:
    odd = odd_in(rows)
    if odd:
        raise WeatherUnavailableError(
            f"the {who} forecast holds readings that cannot be ({odd})",
            Message("provider.odd", {"who": who, "odd": odd}),
        )


def _believable(issued_at: datetime | None, now: datetime, who: str) -> datetime | None:
    if issued_at is not None and issued_at > now + CLOCK_SLACK:
        ahead_h = (issued_at - now).total_seconds() / 3600
        raise WeatherUnavailableError(
            f"the {who} forecast says that it was issued {ahead_h:.0f} h in the future"
            " (check this machine's clock)",
            Message("provider.future", {"who": who, "ahead_h": ahead_h}),
        )
    return issued_at


def _series(
    rows: ClientRows,
    *,
    label: str,
    provider: str,
    issued_at: datetime | None,
    query: WeatherQuery,
    written_at: datetime | None = None,
) -> HourlySeries:
    terms = provider_terms(provider)
    origin = WeatherOrigin(
        label=label,
        kind="forecast",
        licence=terms.licence,
        attribution=terms.attribution,
        issued_at=issued_at,
        fetched_at=query.now,
        written_at=written_at,
    )
    raw = RawRows(
        epoch_s=rows.epoch_s,
        temp_c=rows.temp_c,
        dew_c=rows.dew_c,
        cloud_frac=rows.cloud_frac,
        origin=np.zeros(rows.epoch_s.size, dtype=np.int64),
    )
    filled, origins, coarse = fill_coarse_steps(raw, origins=(origin,))
    series = hourly_from_rows(filled, origins=origins, phase_s=0.0)
    return replace(series, gaps=(*coarse, *series.gaps))
