"""Long tables of invented weather, and stations around a site."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np

from cureplan.inputs.files import Decoded
from cureplan.weather.hours import csv_file
from cureplan.weather.hours.series import HourlySeries
from cureplan.weather.providers.hourly import ClientRows
from cureplan.weather.providers.stations import Station

ROWS = 480_000
# A header, a form of the time, the mark between cells, and the decimal mark.
WAYS = {
    "as we write them": ("time,temp_c,dew_c", "%Y-%m-%dT%H:%MZ", ",", "."),
    "spreadsheet, decimal commas": (
        "Datum;Temperatur [°C];Taupunkt [°C]", "%d.%m.%Y %H:%M", ";", ",",
    ),
    "spreadsheet, 12-hour clock": (
        "Date/Time,Temp (C),Dew Point (C)", "%m/%d/%Y %I:%M %p", ",", ".",
    ),
}  # fmt: skip


def long_table(way: str, rows: int) -> str:
    """Quarter hours from 2010 on, a day's swing of 10 K."""
    header, form, mark, decimal = WAYS[way]
    first = datetime(2010, 1, 1)  # noqa: DTZ001 - the table has no zone
    lines = [header]
    for n in range(rows):
        air = f"{15 + n % 96 / 9.6:.1f}".replace(".", decimal)
        dew = f"{5 + n % 7}"
        lines.append(mark.join((format(first + timedelta(minutes=15 * n), form), air, dew)))
    return "\n".join(lines)


def read_long(text: str) -> HourlySeries:
    """The table as from a file, by the clock of a zone."""
    return csv_file._parse(Decoded(text, "UTF-8"), Path("long.csv"), ZoneInfo("UTC")).series


def three_stations(hours: int) -> list[tuple[Station, ClientRows]]:
    """Stations some kilometres and metres apart, all hours known."""
    at_s = 3600.0 * np.arange(hours)
    return [
        (
            Station(
                key=str(n), name=f"S{n}", distance_m=9e3 + 4e3 * n, elevation_m=60.0 * n,
                height_above_site_m=60.0 * n, mosmix_key=None, reported_until=None,
            ),
            ClientRows(
                epoch_s=at_s, temp_c=20 + n + np.sin(at_s), dew_c=np.full(hours, 10.0),
                cloud_frac=np.zeros(hours), source=("metar",) * hours, dropped=0,
            ),
        )
        for n in range(3)
    ]  # fmt: skip
