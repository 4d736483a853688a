"""Plan every night of July at 23 weather stations, iced and not.

    pip download --no-deps -d FOLDER tsib==0.1.4 cityenergyanalyst==3.11.0 ochre-nrel==0.9.2
    pip download --no-deps --no-binary sinergym -d FOLDER sinergym==3.5.1
    python data/station_nights.py FOLDER              rewrites data/station-nights.csv
    python data/station_nights.py FOLDER Mannheim     one station of it
    python data/station_nights.py FOLDER Mannheim 2015-07-18      prints one night

The hours are those of typical years that these packages carry, read from them and not kept
here. Fourteen are test reference years of Deutscher Wetterdienst (2010; in tsib, MIT): observed
hours of a station, stretches of weather of 1988-2007 put in a row. Eight are TMY3 files of NREL
(public domain; in sinergym and cityenergyanalyst, MIT, and ochre-nrel, BSD): each month is one
a station really had, so July is a month of real hours; the June before it, which warms the
slab, may be another year's. Zurich is the year 2015 as observed. All are written as the year
2015 here. Kitchen and crew are `airport_nights.py`'s. What holds is our model's answer, not
a measurement.
"""

from __future__ import annotations

import csv
import sys
import tarfile
import tempfile
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, timedelta, timezone
from pathlib import Path

from airport_nights import Site, planned

from cureplan.planning.plan import made_of

TARGET = Path(__file__).with_name("station-nights.csv")
TSIB = "tsib-0.1.4-*.whl tsib/data/weatherdata/TRY/TRY2010_{:02}_Jahr.dat"
SINERGYM = "sinergym-3.5.1.tar.gz sinergym-3.5.1/sinergym/data/weather/USA_{}_TMY3.epw"
CEA = "cityenergyanalyst-3.11.0-*.whl cea/databases/weather/{}.epw"
OCHRE = "ochre_nrel-0.9.2-*.whl ochre/defaults/Weather/USA_{}_TMY3.epw"
ZONE_OF = {
    -5: "America/New_York", -6: "America/Chicago", -7: "America/Denver",
    -8: "America/Los_Angeles", 1: "Europe/Berlin",
}  # fmt: skip
GERMAN = (
    "Bremerhaven", "Rostock", "Hamburg", "Potsdam", "Essen",
    "Bad Marienberg", "Kassel", "Braunlage", "Chemnitz", "Hof", "", "Mannheim",
    "Muehldorf", "Stoetten", "Garmisch-Partenkirchen",
)  # fmt: skip
"""By region; the eleventh, a peak of 1,213 m, is left out: a July night there is colder than
kits may be."""
STATIONS = {
    "Zurich": CEA.format("Zuerich-SMA_2015"),
    "New York Central Park": CEA.format("NewYork-CentralPark_1973_2005_TMY3"),
    "New York JFK": SINERGYM.format("NY_New.York-J.F.Kennedy.Intl.AP.744860"),
    "Pittsburgh": SINERGYM.format("PA_Pittsburgh-Allegheny.County.AP.725205"),
    "Chicago O'Hare": SINERGYM.format("IL_Chicago-OHare.Intl.AP.725300"),
    "Denver": OCHRE.format("CO_Denver.Intl.AP.725650"),
    "Aurora Buckley": SINERGYM.format("CO_Aurora-Buckley.Field.ANGB.724695"),
    "Tucson Davis-Monthan": SINERGYM.format("AZ_Davis-Monthan.AFB.722745"),
    "Port Angeles": SINERGYM.format("WA_Port.Angeles-William.R.Fairchild.Intl.AP.727885"),
} | {name: TSIB.format(region) for region, name in enumerate(GERMAN, 1) if name}
YEAR, SINCE, UNTIL = 2015, (5, 15), (8, 8)
COLUMNS = ("station", "night", "outdoor_f", "without", "without_frac", "with", "with_frac")
Hour = tuple[int, int, int, float, float]
"""Month, day, hour as counted from 1 to 24, temperature [°C], relative humidity [%]."""


def _text(folder: Path, place: str) -> str:
    """A file of a package as it was downloaded."""
    archive, name = place.split(" ", 1)
    found = sorted(folder.glob(archive))
    if not found:
        raise SystemExit(f"{folder} holds no {archive}; see the head of this script")
    if found[0].suffix == ".whl":
        return zipfile.ZipFile(found[0]).read(name).decode("utf-8", "replace")
    with tarfile.open(found[0]) as held:
        member = held.extractfile(name)
        if member is None:
            raise SystemExit(f"{found[0]} holds no {name}")
        return member.read().decode("utf-8", "replace")


def _of_epw(lines: list[str]) -> tuple[float, float, float, float, Iterator[Hour]]:
    """Latitude, longitude, metres above the sea, hours from UTC, and the hours."""
    latitude, longitude, from_utc, elevation_m = map(float, lines[0].split(",")[6:10])
    rows = (line.split(",") for line in lines[8:])
    hours = ((int(r[1]), int(r[2]), int(r[3]), float(r[6]), float(r[8])) for r in rows if r[4:])
    return latitude, longitude, elevation_m, from_utc, hours


def _of_try(lines: list[str]) -> tuple[float, float, float, float, Iterator[Hour]]:
    """The same of a test reference year; its place stands in degrees and minutes."""
    words = lines[2].replace("°", " ").replace("'", " ").split()
    numbers = [int(word) for word in words if word.isdigit()]
    degrees = [a + b / 60 for a, b in (numbers[0:2], numbers[2:4])]
    begin = next(i for i, line in enumerate(lines) if line.startswith("***")) + 1
    rows = (line.split() for line in lines[begin:] if line.strip())
    hours = ((int(r[2]), int(r[3]), int(r[4]), float(r[8]), float(r[11])) for r in rows)
    return degrees[0], degrees[1], float(numbers[4]), 1.0, hours


def site(packages: Path, folder: Path, station: str) -> Site:
    """A station's place; its summer is written into the folder, as a plan reads it."""
    place = STATIONS[station]
    lines = _text(packages, place).splitlines()
    latitude, longitude, elevation_m, from_utc, hours = (
        _of_epw if place.endswith(".epw") else _of_try
    )(lines)
    zone = timezone(timedelta(hours=from_utc))
    with (folder / f"{station}.csv").open("w", newline="", encoding="utf-8") as handle:
        out = csv.writer(handle)
        out.writerow(["time", "temp_c", "humidity_pct"])
        for month, day, hour, temp_c, humidity in hours:
            if SINCE <= (month, day) <= UNTIL:
                at = datetime(YEAR, month, day, tzinfo=zone) + timedelta(hours=hour)
                out.writerow([at.isoformat(), temp_c, humidity])
    name = "America/Phoenix" if "Tucson" in station else ZONE_OF[int(from_utc)]
    return Site(station, latitude, longitude, elevation_m, name)


def night_at(folder: Path, where: Site, night: date) -> dict[str, object]:
    """One night without ice, and where that does not hold, with it."""
    # One coat, open to feet on the second morning: asked is of the pour, in this night.
    less = {
        "use": '"service"\nopen_for = "feet"',
        "open_by": f"{night + timedelta(days=2)}T06:00:00",
    }
    found = planned(folder, where, night, ("without",), less)
    if found["without"] != "holds":
        found |= planned(folder, where, night, ("with",), less)
    else:
        found |= {"with": "holds", "with_frac": found["without_frac"]}
    found["station"] = found.pop("airport")
    return {name: found.get(name, "") for name in COLUMNS}


def main(packages: Path, asked: list[str]) -> None:
    """Plan and write the stations asked for, or print the one night asked for."""
    # What the doubt is made of is not asked here, and is a quarter of the work.
    made_of.ROOM_NIGHTS = 20
    with tempfile.TemporaryDirectory() as name:
        for station in asked[:1] or STATIONS:
            where = site(packages, Path(name), station)
            days = [date(YEAR, 7, 1) + timedelta(days=number) for number in range(31)]
            rows = []
            for night in [date.fromisoformat(asked[1])] if asked[1:] else days:
                rows.append(night_at(Path(name), where, night))
                print(*rows[-1].values(), flush=True)
            if not asked[1:]:
                write(rows)


def table() -> list[dict[str, str]]:
    """What stands."""
    with TARGET.open("r", newline="", encoding="utf-8") as handle:
        return list(csv.DictReader(handle))


def write(rows: list[dict[str, object]]) -> None:
    """A station's nights in place of those that stood."""
    new = {row["station"] for row in rows}
    stood = table() if TARGET.exists() else []
    kept = [*(row for row in stood if row["station"] not in new), *rows]
    with TARGET.open("w", newline="", encoding="utf-8") as handle:
        out = csv.DictWriter(handle, COLUMNS, lineterminator="\n")
        out.writeheader()
        out.writerows(sorted(kept, key=lambda row: (str(row["station"]), str(row["night"]))))


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
