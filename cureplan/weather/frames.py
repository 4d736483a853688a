"""The client's data frames → plain columns; the only place that touches pandas.

Everything beyond this boundary is typed and in SI.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cureplan.weather.humidity import dew_from_humidity_c

if TYPE_CHECKING:
    import pandas as pd
    from meteostat import TimeSeries

__all__ = [
    "ClientRows",
    "ProviderTerms",
    "merged_at_point",
    "provider_terms",
    "rows_of",
    "time_series",
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
    """Ask the client for one place and one provider; None when it has nothing usable.

    Parameters
    ----------
    where : str or meteostat.Point
        Station identifier, or a point for a provider that takes one.
    starts, ends : datetime
        Aware; passed on as the naive UTC the client means.
    provider : str
        The client's name of the provider.
    """
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
    rhum_frac[~((rhum_frac >= 0) & (rhum_frac <= 1))] = np.nan
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


def merged_at_point(
    series: list[TimeSeries], *, latitude_deg: float, longitude_deg: float, elevation_m: float
) -> TimeSeries:
    """Several stations brought to one point by the client's inverse-distance weighting.

    Temperatures move by 6.5 K/km where a station lies 50 m or more off in height.
    """
    import meteostat

    merged = meteostat.merge(series)
    point = meteostat.Point(latitude_deg, longitude_deg, round(elevation_m))
    # Zero distance: always weigh all stations, never switch to one hour by hour.
    return meteostat.interpolate(merged, point, distance_threshold=-1)


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


def provider_terms(source: str) -> ProviderTerms:
    """Kind, licence and attribution of one of the client's source words.

    Not for a door's name: a row may come from several providers, parted by spaces.
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
        forecast=any(spec.grade == Grade.FORECAST for spec in known),
        licence=", ".join(dict.fromkeys(names)),
        attribution=", ".join(dict.fromkeys(["Meteostat", *givers])),
    )
