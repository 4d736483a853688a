"""Three providers to open weather data, each opened through the real client.

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
from queue import Empty, Queue
from threading import Lock, Thread

import numpy as np

from cureplan.core.errors import WeatherUnavailableError
from cureplan.core.messages import Message
from cureplan.weather.hours.series import HourlySeries
from cureplan.weather.providers.client_setup import Endpoints, bounded_client
from cureplan.weather.providers.exchange import Exchange, Span, WeatherQuery
from cureplan.weather.providers.forecast import metno_provider, mosmix_provider
from cureplan.weather.providers.hourly import hourly_provider
from cureplan.weather.providers.stations import (
    Station,
    forget_list,
    nearby_stations,
    station_list,
)

__all__ = ["ProviderResult", "ask_providers"]

PATIENCE_S = 2.5
"""How long one provider is waited for before the next is asked beside it."""
CLOCK_OFF_S = 600.0
# Clocks of servers are right; one that lies further off than this is ours.


@dataclass(frozen=True, slots=True)
class _Provider:
    """How one is asked, and whether it is asked whatever the others gave."""

    ask: Callable[[], HourlySeries]
    always: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ProviderResult:
    """What one provider gave for one span: a series, or the reason why not."""

    span_index: int
    series: HourlySeries | None
    failure: str | None
    reason: Message | None = None
    """The failure for the sheets."""
    rank: int = 0
    """Which counts most where several give an hour: 0 before 1."""


def ask_providers(query: WeatherQuery, *, endpoints: Endpoints) -> Iterator[ProviderResult]:
    """Open as many providers as the query needs, yielding each answer as it comes.

    Not bounded as a whole: a body that drips may take for ever. `fetch_in_worker` runs
    this where it can be abandoned.
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
            yield from _side_by_side(visit, number, span)


def _side_by_side(visit: _Visit, number: int, span: Span) -> Iterator[ProviderResult]:
    """Each provider in a thread of its own; the next is asked when one lets us wait.

    One that answers at once spares the others; one that drips holds nobody up.
    """
    came: Queue[ProviderResult] = Queue()
    left = list(enumerate(visit.providers_for(span)))
    running: dict[int, _Provider] = {}
    while left or running:
        if left and visit.needs(left[0][1], span):
            rank, provider = left.pop(0)
            running[rank] = provider
            Thread(target=visit.ask, args=(provider, came, number, rank), daemon=True).start()
        elif left and not running:
            left.pop(0)
            continue
        while any(visit.needs(provider, span) for provider in running.values()):
            try:
                result = came.get(timeout=PATIENCE_S if left else None)
            except Empty:
                break
            del running[result.rank]
            if result.series is not None:
                visit.answers.append(result.series)
            yield result
        else:
            # Whoever still drips has nothing that is not there.
            running.clear()


class _Visit:
    """One run through the providers; the station list is opened once, when first needed."""

    def __init__(self, query: WeatherQuery, exchange: Exchange, held: ExitStack) -> None:
        self._query = query
        self._exchange = exchange
        self._held = held
        self._stations: list[Station] | WeatherUnavailableError | None = None
        self._listing = Lock()
        self._remark: Message | None = None
        self.answers: list[HourlySeries] = []

    def providers_for(self, span: Span) -> list[_Provider]:
        """The providers in the order in which they are worth asking."""
        query = self._query
        self.answers = []

        def hourly() -> HourlySeries:
            series = hourly_provider(query, span, self._exchange, self._near())
            remarks = () if self._remark is None else (self._remark,)
            return replace(series, notes=(*series.notes, *remarks))

        def mosmix() -> HourlySeries:
            return mosmix_provider(query, span, self._exchange, self._near())

        def metno() -> HourlySeries:
            return metno_provider(query, span, self._exchange)

        asked: dict[str, list[_Provider]] = {
            "station": [
                _Provider(hourly, always=True),
                _Provider(mosmix),
                _Provider(metno),
            ],
            "forecast": [
                _Provider(metno, always=True),
                _Provider(mosmix),
                _Provider(hourly, always=True),
            ],
            "history": [_Provider(hourly, always=True)],
        }
        return asked[query.provider]

    def needs(self, provider: _Provider, span: Span) -> bool:
        """Whether a provider may still give something that is not there."""
        # What is still to come wants a forecast hour by hour; what lies behind does not.
        ahead = max(span.starts, self._query.now)
        return provider.always or not self._hourly_given(ahead, span.ends)

    def ask(
        self, provider: _Provider, came: Queue[ProviderResult], number: int, rank: int
    ) -> None:
        """One provider's answer, or why there is none, put where it is waited for."""
        try:
            series = self._with_clock_remarks(provider.ask())
        except WeatherUnavailableError as closed:
            result = ProviderResult(
                span_index=number,
                series=None,
                failure=str(closed),
                reason=closed.reason,
                rank=rank,
            )
        except Exception:  # noqa: BLE001 - a thread that dies silently would be waited for
            result = ProviderResult(
                span_index=number,
                series=None,
                failure="an answer could not be read",
                reason=Message("provider.unreadable"),
                rank=rank,
            )
        else:
            result = ProviderResult(span_index=number, series=series, failure=None, rank=rank)
        came.put(result)

    def _with_clock_remarks(self, series: HourlySeries) -> HourlySeries:
        off_s = self._exchange.clock_off_s
        if abs(off_s) < CLOCK_OFF_S:
            return series
        code = "weather.clock_ahead" if off_s > 0 else "weather.clock_behind"
        warning = Message(code, {"off_h": abs(off_s) / 3600.0})
        return replace(series, warnings=(*series.warnings, warning))

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
        with self._listing:
            return self._near_once()

    def _near_once(self) -> list[Station]:
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
                Message("provider.list_broken"),
            ) from error
        if not stations:
            raise WeatherUnavailableError(
                "no weather station lies within 50 km of the site",
                Message("provider.no_station"),
            )
        return stations
