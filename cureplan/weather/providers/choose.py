"""Three doors to open weather data, each opened through the real client.

hourly
    Files by station and year: observations, with model rows for the coming days.
mosmix
    Ten days of hourly forecast for stations that have one.
metno
    A point forecast for any place: hourly at first, then in steps of six hours.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from cureplan.core.errors import WeatherUnavailableError
from cureplan.core.messages import Message
from cureplan.weather.hours.series import HourlySeries
from cureplan.weather.providers.client_setup import Endpoints, bounded_client
from cureplan.weather.providers.exchange import Exchange, Span, WeatherQuery
from cureplan.weather.providers.forecast import metno_door, mosmix_door
from cureplan.weather.providers.hourly import hourly_door
from cureplan.weather.providers.stations import (
    Station,
    forget_list,
    nearby_stations,
    station_list,
)

__all__ = ["DoorResult", "knock"]

_Door = Callable[[], HourlySeries]


@dataclass(frozen=True, slots=True, kw_only=True)
class DoorResult:
    """What one door gave for one span: a series, or the reason why not."""

    span_index: int
    series: HourlySeries | None
    failure: str | None
    reason: Message | None = None
    """The failure for the sheets."""


def knock(query: WeatherQuery, *, endpoints: Endpoints) -> Iterator[DoorResult]:
    """Open as many doors as the query needs, yielding each answer as it comes.

    Not bounded as a whole: a body that drips may take for ever. `fetch_in_worker` runs
    this where it can be abandoned.

    Parameters
    ----------
    query : WeatherQuery
        What is asked.
    endpoints : Endpoints
        Addresses, where not the client's own.

    Yields
    ------
    DoorResult
        At least one per span; the door that counts most comes first.
    """
    with ExitStack() as held:
        exchange = held.enter_context(
            bounded_client(
                endpoints=endpoints,
                folder=Path(query.folder),
                timeout_s=query.timeout_s,
                contact=query.contact,
            )
        )
        visit = _Visit(query, exchange, held)
        for number, span in enumerate(query.spans):
            for door in visit.doors_for(span):
                try:
                    series = door()
                except WeatherUnavailableError as closed:
                    yield DoorResult(
                        span_index=number,
                        series=None,
                        failure=str(closed),
                        reason=closed.reason,
                    )
                else:
                    visit.answers.append(series)
                    yield DoorResult(span_index=number, series=series, failure=None)


class _Visit:
    """One run through the doors; the station list is opened once, when first needed."""

    def __init__(self, query: WeatherQuery, exchange: Exchange, held: ExitStack) -> None:
        self._query = query
        self._exchange = exchange
        self._held = held
        self._stations: list[Station] | WeatherUnavailableError | None = None
        self._remark: Message | None = None
        self.answers: list[HourlySeries] = []

    def doors_for(self, span: Span) -> Iterator[_Door]:
        """The doors in the order in which they are worth opening."""
        query = self._query
        self.answers = []
        # What is still to come wants a forecast hour by hour; what lies behind does not.
        ahead = max(span.starts, query.now)

        def hourly() -> HourlySeries:
            series = hourly_door(query, span, self._exchange, self._near())
            remarks = () if self._remark is None else (self._remark,)
            return replace(series, notes=(*series.notes, *remarks))

        def mosmix() -> HourlySeries:
            return mosmix_door(query, span, self._exchange, self._near())

        def metno() -> HourlySeries:
            return metno_door(query, span, self._exchange)

        in_order: list[_Door] = {
            "station": [hourly, mosmix, metno],
            "forecast": [metno, mosmix],
            "history": [hourly],
        }[query.door]
        for door in in_order:
            if door is in_order[0] or not self._hourly_given(ahead, span.ends):
                yield door
        if query.door == "forecast":
            yield hourly

    def _hourly_given(self, starts: datetime, ends: datetime) -> bool:
        """Whether the answers so far give each hour of a span without interpolation."""
        if ends <= starts:
            return True
        wanted = np.arange(starts.timestamp() // 3600, -(-ends.timestamp() // 3600) + 1)
        given = [np.empty(0)]
        for series in self.answers:
            plain = np.array([origin.kind != "interpolated" for origin in series.origins])
            known = ~np.isnan(series.temp_c) & plain[series.origin]
            given.append(series.epoch_s[known] // 3600)
        return bool(np.isin(wanted, np.concatenate(given)).all())

    def _near(self) -> list[Station]:
        if self._stations is None:
            try:
                self._stations = self._listed()
            except WeatherUnavailableError as error:
                self._stations = error
        if isinstance(self._stations, WeatherUnavailableError):
            raise self._stations
        return self._stations

    def _listed(self) -> list[Station]:
        query = self._query
        folder = Path(query.folder)
        self._remark = self._held.enter_context(station_list(folder, self._exchange))
        try:
            stations = nearby_stations(
                latitude_deg=query.latitude_deg,
                longitude_deg=query.longitude_deg,
                elevation_m=query.elevation_m,
                now=query.now,
            )
        except Exception as error:
            # The client raises whatever its database raises.
            forget_list(folder)
            raise WeatherUnavailableError(
                "the list of weather stations could not be read, and was dropped",
                Message("door.list_broken"),
            ) from error
        if not stations:
            raise WeatherUnavailableError(
                "no weather station lies within 50 km of the site", Message("door.no_station")
            )
        return stations
