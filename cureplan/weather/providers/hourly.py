"""Nearby stations by the hour, with model rows where the client has them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import WeatherUnavailableError
from cureplan.core.messages import Message, Value, once
from cureplan.core.moist_air import dew_from_humidity_c
from cureplan.weather.hours.merge import RawRows, hourly_from_rows
from cureplan.weather.hours.plausible import Air, questions
from cureplan.weather.hours.series import HOUR_S, HourlySeries, WeatherOrigin
from cureplan.weather.providers.exchange import Answer, Exchange, Span, WeatherQuery
from cureplan.weather.providers.stations import Station

if TYPE_CHECKING:
    import pandas as pd
    from meteostat import TimeSeries

__all__ = [
    "CLOCK_SLACK",
    "FORECAST_REACH",
    "HIGHEST_M",
    "ClientRows",
    "ProviderTerms",
    "at_site_height",
    "hourly_provider",
    "odd_in",
    "provider_terms",
    "reasons",
    "remarks",
    "rows_of",
    "time_series",
    "weighed",
]

# The same bounds as for a file: beyond them a reading is a fault of the instrument.
_COLDEST_C = -60.0
_HOTTEST_C = 60.0
_DEW_SLACK_K = 0.5
_OKTAS = 8.0
_CLIENT_LICENCE = "CC BY 4.0"
FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ClientRows:
    """Rows in rising time with a known temperature; `source` is the client's own word."""

    epoch_s: FloatArray
    temp_c: FloatArray
    dew_c: FloatArray
    cloud_frac: FloatArray
    source: tuple[str, ...]
    dropped: int


def time_series(
    where: Any, starts: datetime, ends: datetime, *, provider: str
) -> TimeSeries | None:
    """Ask the client for one place and one provider; None when it has nothing usable."""
    import meteostat
    from meteostat import Parameter, Provider

    columns = [Parameter.TEMP, Parameter.DWPT, Parameter.RHUM]
    if provider != Provider.HOURLY:
        columns.append(Parameter.CLDC)
    try:
        series = meteostat.hourly(
            where,
            _naive_utc(starts),
            _naive_utc(ends),
            parameters=columns,
            providers=[Provider(provider)],
        )
        frame = series.fetch()
    except Exception:  # noqa: BLE001 - the client raises whatever its parsers raise
        return None
    return None if frame is None or frame.empty else series


def rows_of(series: TimeSeries) -> ClientRows | None:
    """Checked rows of a series; None when no row has a usable temperature."""
    try:
        frame = series.fetch(sources=True)
        if frame is None:
            return None
        temp_c = _column(frame, "temp")
        rhum_frac = _column(frame, "rhum") / 100.0
        dew_c = _column(frame, "dwpt")
        cloud_frac = _column(frame, "cldc") / _OKTAS
        epoch_s = frame.index.to_numpy().astype("datetime64[s]").astype(np.float64)
        source = frame["temp_source"].to_numpy()
    except Exception:  # noqa: BLE001 - columns changed or of another type
        return None
    temp_c[~((temp_c >= _COLDEST_C) & (temp_c <= _HOTTEST_C))] = np.nan
    # No air is without vapour: 0 % is a sensor that has failed.
    rhum_frac[~((rhum_frac > 0) & (rhum_frac <= 1))] = np.nan
    cloud_frac[~((cloud_frac >= 0) & (cloud_frac <= 1))] = np.nan
    dew_c = np.where(np.isnan(dew_c), dew_from_humidity_c(temp_c, rh_frac=rhum_frac), dew_c)
    dew_c[~((dew_c >= _COLDEST_C) & (dew_c <= temp_c + _DEW_SLACK_K))] = np.nan
    keep = ~np.isnan(temp_c)
    if not keep.any():
        return None
    return ClientRows(
        epoch_s=epoch_s[keep],
        temp_c=temp_c[keep],
        # Within the slack it is rounding: air holds no more than saturation.
        dew_c=np.minimum(dew_c, temp_c)[keep],
        cloud_frac=cloud_frac[keep],
        source=tuple(str(name) for name in source[keep]),
        dropped=int(np.count_nonzero(~keep)),
    )


def _column(frame: pd.DataFrame, name: str) -> FloatArray:
    if name not in frame.columns:
        return np.full(len(frame), np.nan)
    return np.array(frame[name].to_numpy(dtype=np.float64, na_value=np.nan))


def _naive_utc(when: datetime) -> datetime:
    return when.astimezone(UTC).replace(tzinfo=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class ProviderTerms:
    """What the client knows about the provider of a row."""

    forecast: bool
    licence: str
    attribution: str


# Sources the client does not know by name, but whose name tells that nobody saw them.
_MODEL_WORD = re.compile(r"model|forecast|mosmix|gfs|icon|era5|ecmwf|analysis|nwp")


def provider_terms(source: str) -> ProviderTerms:
    """Kind, licence and attribution of one of the client's source words.

    Not for a provider's name: a row may come from several providers, parted by spaces.
    """
    from meteostat.core.providers import provider_service
    from meteostat.enumerations import Grade

    specs = [provider_service.get_provider(word) for word in source.split()]
    known = [spec for spec in specs if spec is not None]
    licences = [spec.license for spec in known if spec.license is not None]
    # What the client hands on is CC BY 4.0 unless a provider says otherwise.
    names = [licence.name or _CLIENT_LICENCE for licence in licences] or [_CLIENT_LICENCE]
    givers = [licence.attribution for licence in licences if licence.attribution]
    return ProviderTerms(
        forecast=any(spec.grade == Grade.FORECAST for spec in known)
        or bool(_MODEL_WORD.search(source)),
        licence=", ".join(dict.fromkeys(names)),
        attribution=", ".join(dict.fromkeys(["Meteostat", *givers])),
    )


# How far ahead any provider is asked; later jobs can then be served by a kept copy.
FORECAST_REACH = timedelta(days=10)
# Clocks disagree by minutes; hours are a clock set wrong.
CLOCK_SLACK = timedelta(hours=1)
_MOST_ASKED = 6
_MOST_WEIGHED = 3
# A station this close stands for the site alone, as in the client's own rule.
_ALONE_WITHIN_M = 5_000.0
_ALONE_WITHIN_HEIGHT_M = 50.0
# Least share of past hours that a station must have reported, and the longest silence
# up to now, before others are asked in its place. (invented)
_LEAST_SHARE = 0.9
_LONGEST_SILENCE_S = 6 * HOUR_S
# Lapse rate of the standard atmosphere (ICAO Doc 7488), applied as the client does.
_LAPSE_K_M = 0.0065
_LAPSE_FROM_M = 50.0
# Half of all hours further than this from every neighbour, at one height: invented.
_NEIGHBOURS_K = 5.0
# Beyond this a station's air is not the site's, whatever the lapse. (invented)
HIGHEST_M = 300.0
# Stations this near that all lie this much higher or lower contradict the height given.
_AROUND_M, _APART_M = 15_000.0, 100.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Record:
    """One station's rows and how complete they are."""

    station: Station
    rows: ClientRows
    share: float
    silent_s: float
    answers: list[Answer]
    odd: str = ""
    """Name of what its readings cannot be; "" where nothing is."""

    @property
    def sound(self) -> bool:
        return (
            not self.odd and self.share >= _LEAST_SHARE and self.silent_s <= _LONGEST_SILENCE_S
        )

    @property
    def alone(self) -> bool:
        return (
            self.station.distance_m <= _ALONE_WITHIN_M
            and abs(self.station.height_above_site_m) < _ALONE_WITHIN_HEIGHT_M
        )

    def remark(self, *, used: bool) -> Message:
        station: dict[str, Value] = {"station": self.station.label()}
        if self.odd:
            code = "weather.station_used_odd" if used else "weather.station_odd"
            return Message(code, {**station, "odd": self.odd})
        if self.sound:
            return Message("weather.station_used" if used else "weather.station_spare", station)
        return Message(
            "weather.station_used_poor" if used else "weather.station_poor",
            {**station, "given_frac": self.share, "silent_s": self.silent_s},
        )


def hourly_provider(
    query: WeatherQuery, span: Span, exchange: Exchange, stations: list[Station]
) -> HourlySeries:
    """Hourly rows at the site from the stations around it.

    Not for a place without stations within 50 km.
    """
    mark = exchange.mark()
    level = [one for one in stations if abs(one.height_above_site_m) <= HIGHEST_M]
    if stations and not level:
        raise WeatherUnavailableError(
            "check elevation in [site]: every station nearby lies more than 300 m above or"
            f" below the {query.elevation_m:.0f} m given",
            Message("provider.height", {"site_m": query.elevation_m}),
        )
    records, silent = _ask_around(query, span, exchange, level)
    if not records:
        asked = exchange.since(mark)
        reason = "; ".join(reasons(asked)) or "nothing asked"
        raise WeatherUnavailableError(
            f"no station nearby gave a usable hour ({reason})",
            Message("provider.no_hour", {"why": remarks(asked)}),
        )
    records = _compared(records)
    chosen = _choose(records, single=query.provider == "history")
    rows, labels = _rows_at_site(chosen)
    series = _with_origins(rows, labels, chosen, query)
    doubtful = [one.remark(used=True) for one in records if one.odd and one in chosen]
    used = [
        record.remark(used=record in chosen)
        for record in records
        if not (record.odd and record in chosen)
    ]
    used += [
        Message("weather.station_silent", {"station": station.label()}) for station in silent
    ]
    used += [
        Message("weather.station_years", {"station": record.station.label(), "years": years})
        for record in chosen
        if (years := _years_missing(record.answers, query.now))
    ]
    used += [
        Message("weather.station_high", {"station": station.label()})
        for station in stations[:_MOST_ASKED]
        if station not in level
    ]
    return replace(
        series,
        notes=(*used, *_height_notes(chosen), *series.notes),
        warnings=(*series.warnings, *doubtful, *_contradicted(query, stations)),
    )


def _years_missing(answers: Sequence[Answer], now: datetime) -> str:
    """Years begun whose files could not be had, as words; the client asks file by file."""
    found = {
        int(year[1])
        for one in answers
        if (one.status != 200 or one.trouble) and (year := re.search(r"/(\d{4})/", one.url))
    }
    return ", ".join(str(year) for year in sorted(found) if year <= now.year)


def _contradicted(query: WeatherQuery, stations: list[Station]) -> tuple[Message, ...]:
    """A site's height that all stations around it speak against."""
    near = [s.height_above_site_m for s in stations if s.distance_m <= _AROUND_M]
    if len(near) < 2 or not (min(near) > _APART_M or max(near) < -_APART_M):
        return ()
    around_m = query.elevation_m + float(np.median(near))
    values = {"site_m": query.elevation_m, "around_m": around_m}
    return (Message("weather.site_height", values),)


def _ask_around(
    query: WeatherQuery, span: Span, exchange: Exchange, stations: list[Station]
) -> tuple[list[_Record], list[Station]]:
    records: list[_Record] = []
    silent: list[Station] = []
    for station in stations[:_MOST_ASKED]:
        mark = exchange.mark()
        record = _ask(query, span, station)
        if any(one.trouble == "cut" for one in exchange.since(mark)):
            # A year that came in part may come whole when asked for again.
            mark = exchange.mark()
            record = _ask(query, span, station) or record
        answers = exchange.since(mark)
        if record is not None:
            records.append(replace(record, answers=answers))
            if record.sound and (record.alone or query.provider == "history"):
                break
        else:
            silent.append(station)
            # A server that lets us wait will do so for the next station, too.
            if any(one.status is None or one.trouble == "wait" for one in answers):
                break
        if sum(one.sound for one in records) >= _MOST_WEIGHED:
            break
    return records, silent


def _ask(query: WeatherQuery, span: Span, station: Station) -> _Record | None:
    until = span.ends
    if query.provider != "history":
        until = max(until, query.now + FORECAST_REACH)
    first = span.wanted_from.replace(minute=0, second=0, microsecond=0)
    # Up to the whole hour: the last instants are read between two rows.
    until += timedelta(seconds=-until.timestamp() % HOUR_S)
    client = time_series(station.key, first, until, provider="hourly")
    rows = rows_of(client) if client is not None else None
    if client is None or rows is None:
        return None
    past_until = min(query.now, span.ends)
    past = np.arange(first.timestamp(), past_until.timestamp() + 1, HOUR_S)
    # Model rows go on when a station has stopped: only what was seen counts.
    known = np.isin(past, rows.epoch_s[_seen(rows)])
    silent_s = 0.0
    if past.size:
        last = past[known][-1] if known.any() else first.timestamp()
        silent_s = past_until.timestamp() - float(last)
    return _Record(
        station=station,
        rows=rows,
        share=float(known.mean()) if past.size else 1.0,
        silent_s=silent_s,
        answers=[],
        odd=odd_in(rows, only=_seen(rows)),
    )


def odd_in(rows: ClientRows, *, only: NDArray[np.bool_] | None = None) -> str:
    """What a file would be asked about before it is planned on; "" where nothing is.

    Not the season: a service's unit is known, and an odd month is no fault of a gauge.
    """
    kept = np.ones(rows.epoch_s.size, dtype=np.bool_) if only is None else only
    if not kept.any():
        return ""
    air = Air(
        epoch_s=rows.epoch_s[kept],
        temp_c=rows.temp_c[kept],
        dew_c=rows.dew_c[kept],
        humidity_frac=np.full(int(kept.sum()), np.nan),
        fahrenheit=frozenset(),
        guessed_zone=False,
        has_dew=True,
    )
    return next((one.name for one in questions(air, zone=UTC, place=None)), "")


def _compared(records: list[_Record]) -> list[_Record]:
    """Stations that all their neighbours speak against are odd; two cannot tell which."""
    sound = [n for n, record in enumerate(records) if record.sound]
    if len(sound) < 3:
        return records
    moved = [at_site_height(records[n].rows, records[n].station) for n in sound]
    apart = np.zeros((len(sound), len(sound)))
    for i, one in enumerate(moved):
        for j, other in enumerate(moved[:i]):
            _, here, there = np.intersect1d(one.epoch_s, other.epoch_s, return_indices=True)
            if here.size:
                gap_k = np.abs(one.temp_c[here] - other.temp_c[there])
                apart[i, j] = apart[j, i] = float(np.median(gap_k))
    apart[np.diag_indices_from(apart)] = np.inf
    nearest_k = apart.min(axis=1)
    if np.count_nonzero(nearest_k > _NEIGHBOURS_K) >= len(sound) - 1:
        return records
    odd = {n for n, gap_k in zip(sound, nearest_k, strict=True) if gap_k > _NEIGHBOURS_K}
    return [
        replace(record, odd="neighbours") if n in odd else record
        for n, record in enumerate(records)
    ]


def _seen(rows: ClientRows) -> NDArray[np.bool_]:
    forecast = {word: provider_terms(word).forecast for word in set(rows.source)}
    return np.array([not forecast[word] for word in rows.source], dtype=np.bool_)


def _choose(records: list[_Record], *, single: bool) -> list[_Record]:
    sound = [record for record in records if record.sound]
    if not sound:
        return [max(records, key=lambda record: (record.share, record.rows.epoch_s.size))]
    if single or sound[0].alone:
        return sound[:1]
    return sound[:_MOST_WEIGHED]


def _rows_at_site(chosen: list[_Record]) -> tuple[ClientRows, list[str]]:
    """Rows at the site's place and height, and per row the stations behind it."""
    if len(chosen) == 1:
        station, rows = chosen[0].station, chosen[0].rows
        return at_site_height(rows, station), [station.label()] * rows.epoch_s.size
    return weighed([(record.station, record.rows) for record in chosen])


def weighed(pieces: list[tuple[Station, ClientRows]]) -> tuple[ClientRows, list[str]]:
    """Several stations' rows as one: brought to the site's height, weighed by 1/distance².

    A dew point is kept across heights, one station or several; each hour takes the
    stations that have it.
    """
    epoch_s = np.unique(np.concatenate([rows.epoch_s for _, rows in pieces]))
    shape = len(pieces), epoch_s.size
    temp_c, dew_c, cloud = (np.full(shape, np.nan) for _ in range(3))
    word = np.full(shape, -1, dtype=np.int64)
    words = sorted({source for _, rows in pieces for source in rows.source})
    for n, (station, rows) in enumerate(pieces):
        moved = at_site_height(rows, station)
        at = np.searchsorted(epoch_s, moved.epoch_s)
        temp_c[n, at], dew_c[n, at] = moved.temp_c, moved.dew_c
        cloud[n, at] = moved.cloud_frac
        word[n, at] = [words.index(source) for source in moved.source]
    weight = np.array([1.0 / max(s.remoteness_m, 1.0) ** 2 for s, _ in pieces])[:, None]
    air_c = _weighed_mean(temp_c, weight)
    # Which stations and which sources an hour rests on: few patterns, each told once.
    patterns, of_hour = np.unique(word, axis=1, return_inverse=True)
    named = [
        (
            " + ".join(
                s.label() for (s, _), one in zip(pieces, pattern, strict=True) if one >= 0
            ),
            " ".join(dict.fromkeys(words[one] for one in pattern if one >= 0)),
        )
        for pattern in patterns.T.tolist()
    ]
    of_hour = of_hour.ravel()
    merged = ClientRows(
        epoch_s=epoch_s,
        temp_c=air_c,
        dew_c=np.minimum(_weighed_mean(dew_c, weight), air_c),
        cloud_frac=_weighed_mean(cloud, weight),
        source=tuple(named[n][1] for n in of_hour),
        dropped=sum(rows.dropped for _, rows in pieces),
    )
    return merged, [named[n][0] for n in of_hour]


def _weighed_mean(values: FloatArray, weight: FloatArray) -> FloatArray:
    """Over the stations that have a value; NaN where none has."""
    known = ~np.isnan(values)
    whole = (known * weight).sum(axis=0)
    total = (np.where(known, values, 0.0) * weight).sum(axis=0)
    return np.where(whole > 0, total / np.where(whole > 0, whole, 1.0), np.nan)


def at_site_height(rows: ClientRows, station: Station) -> ClientRows:
    """Move a station's temperature to the site's height, where 50 m or more apart.

    Examples
    --------
    >>> hut = Station(key="1", name="Hut", distance_m=1e3, elevation_m=203,
    ...               height_above_site_m=200, mosmix_key=None, reported_until=None)
    >>> one = ClientRows(epoch_s=np.zeros(1), temp_c=np.array([20.0]), dew_c=np.array([10.0]),
    ...                  cloud_frac=np.zeros(1), source=("metar",), dropped=0)
    >>> float(at_site_height(one, hut).temp_c[0])
    21.3
    """
    if abs(station.height_above_site_m) < _LAPSE_FROM_M:
        return rows
    temp_c = rows.temp_c + _LAPSE_K_M * station.height_above_site_m
    return replace(rows, temp_c=temp_c, dew_c=np.minimum(rows.dew_c, temp_c))


def _with_origins(
    rows: ClientRows, labels: list[str], chosen: list[_Record], query: WeatherQuery
) -> HourlySeries:
    terms = {source: provider_terms(source) for source in set(rows.source)}
    now_s = query.now.timestamp()
    written_at = _oldest_file(chosen, query.now)
    number: dict[WeatherOrigin, int] = {}
    origin: NDArray[np.int64] = np.zeros(rows.epoch_s.size, dtype=np.int64)
    for n, (epoch_s, label, source) in enumerate(
        zip(rows.epoch_s, labels, rows.source, strict=True)
    ):
        ahead = terms[source].forecast or epoch_s > now_s
        one = _origin(label, terms[source], ahead=ahead, written_at=written_at, now=query.now)
        origin[n] = number.setdefault(one, len(number))
    raw = RawRows(
        epoch_s=rows.epoch_s,
        temp_c=rows.temp_c,
        dew_c=rows.dew_c,
        cloud_frac=rows.cloud_frac,
        origin=origin,
    )
    return hourly_from_rows(raw, origins=tuple(number), phase_s=0.0)


def _origin(
    label: str,
    terms: ProviderTerms,
    *,
    ahead: bool,
    written_at: datetime | None,
    now: datetime,
) -> WeatherOrigin:
    return WeatherOrigin(
        label=label,
        kind="forecast" if ahead else "observed",
        licence=terms.licence,
        attribution=terms.attribution,
        written_at=written_at if ahead else None,
        fetched_at=now,
    )


def _oldest_file(chosen: list[_Record], now: datetime) -> datetime | None:
    """When the newest file of the least fresh station was written; the rows carry no issue.

    A file of the future is a clock set wrong, there or here, and tells no age.
    """
    newest = []
    for record in chosen:
        stamps = [answer.modified for answer in record.answers if answer.modified is not None]
        if not stamps:
            return None
        newest.append(max(stamps))
    oldest = min(newest, default=None)
    return None if oldest is not None and oldest > now + CLOCK_SLACK else oldest


def _height_notes(chosen: list[_Record]) -> tuple[Message, ...]:
    if all(abs(record.station.height_above_site_m) < _LAPSE_FROM_M for record in chosen):
        return ()
    return (Message("weather.height", {"lapse_k": _LAPSE_K_M * 1000.0}),)


def reasons(answers: list[Answer]) -> list[str]:
    """Each kind of trouble once, in the order met."""
    return list(dict.fromkeys(answer.summary() for answer in answers))


def remarks(answers: list[Answer]) -> tuple[Message, ...]:
    """The same for the sheets."""
    return once(answer.remark() for answer in answers) or (Message("net.nothing"),)
