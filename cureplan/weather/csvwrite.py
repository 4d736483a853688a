"""Save a series as a CSV file that reads back identically."""

from __future__ import annotations

import math
from pathlib import Path

from cureplan.weather.atomic import write_atomically
from cureplan.weather.csvnotes import comment_lines
from cureplan.weather.series import HourlySeries, utc_of

__all__ = ["csv_text", "write_csv"]


def csv_text(series: HourlySeries) -> str:
    """The series as CSV text, with its origins, gaps and notes as comment lines.

    Not for a sheet: values carry all their digits and times are UTC.
    """
    lines = [*comment_lines(series), "time,temp_c,dew_c,cloud_frac,origin"]
    columns = zip(
        series.epoch_s.tolist(),
        series.temp_c.tolist(),
        series.dew_c.tolist(),
        series.cloud_frac.tolist(),
        series.origin.tolist(),
        strict=True,
    )
    for epoch_s, temp_c, dew_c, cloud_frac, origin in columns:
        cells = (_cell(temp_c), _cell(dew_c), _cell(cloud_frac), str(origin))
        lines.append(",".join((utc_of(epoch_s).isoformat(), *cells)))
    return "\n".join(lines) + "\n"


def write_csv(series: HourlySeries, path: Path) -> None:
    """Write the series so that `read_weather_csv` returns the same again.

    Parameters
    ----------
    series : HourlySeries
        Any series, gaps included.
    path : Path
        Target file; replaced whole or not at all.

    Raises
    ------
    OutputError
        The file could not be written.
    """
    write_atomically(path, csv_text(series))


def _cell(value: float) -> str:
    # repr is the shortest text that gives the same float back.
    return "" if math.isnan(value) else repr(value)
