"""CSV files, read back with the csv module."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.output.sheet.write import buckets_csv, calls_csv, coats_csv, defused
from cureplan.planning.plan.model import Plan
from output import sheet_sample

WRITERS = [buckets_csv, calls_csv, coats_csv]
FORMULA_SIGNS = "=+-@\t\r\n＝＋－＠"


def read_back(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline="")))


def test_every_bucket_comes_back_with_its_instants_and_numbers(plan: Plan):
    rows = read_back(buckets_csv(plan))
    assert [row["bucket"] for row in rows] == ["1", "2", "1", "2"]
    first, planned = rows[0], plan.buckets[0]
    # The site's wall clock, in the form that spreadsheets take for a time.
    assert first["pour"] == "2013-07-17 21:06:30"
    assert float(first["min to spare"]) == planned.margin_min
    assert first["iced"] == "yes"
    assert rows[1]["tied in by"] == ""


def test_numbers_are_in_the_units_of_the_sheets(plan: Plan):
    # By hand: 31.2 C are 88.16 F; 0.0027 m3 are 2.7 L or 0.713 gal; 0.93 are 93 %.
    us, metric = plan, replace(plan, job=replace(plan.job, display="metric"))
    assert read_back(buckets_csv(us))[0]["slab, °F"] == "88.2"
    assert read_back(buckets_csv(metric))[0]["slab, °C"] == "31.2"
    assert read_back(coats_csv(us))[0]["volume, gal"] == "0.71"
    assert read_back(coats_csv(metric))[0]["volume, L"] == "2.7"
    assert read_back(buckets_csv(us))[0]["chance, %"] == "93"


def test_no_column_has_a_name_only_a_program_reads(plan: Plan):
    for write in WRITERS:
        assert not [name for name in read_back(write(plan))[0] if "_" in name]


def test_a_time_the_wall_shows_twice_keeps_its_offset(plan: Plan):
    # New York put its clocks back on 2013-11-03 at 06:00 UTC.
    at = datetime(2013, 11, 3, 5, 30, tzinfo=UTC)
    coats = tuple(replace(coat, opens=at) for coat in plan.coats[:1])
    assert read_back(coats_csv(replace(plan, coats=coats)))[0]["not before"] == (
        "2013-11-03 01:30:00-04:00"
    )


def test_a_negative_margin_stays_a_number(plan: Plan):
    assert float(read_back(buckets_csv(plan))[3]["min to spare"]) == -0.6


def test_calls_and_coats_come_in_the_order_of_the_clock(plan: Plan):
    calls, coats = read_back(calls_csv(plan)), read_back(coats_csv(plan))
    assert [row["be there"] for row in calls] == sorted(row["be there"] for row in calls)
    assert [row["start"] for row in coats] == sorted(row["start"] for row in coats)
    assert len(calls) == len(plan.calls)
    assert coats[0]["reason"] == "dew point 8 °F below the slab"


def test_words_are_in_the_first_language_of_the_job():
    plan = sheet_sample.sample_plan(languages=("es",))
    coat, call = read_back(coats_csv(plan))[0], read_back(calls_csv(plan))[0]
    assert coat["razón"] == "punto de rocío 8 °F abajo de la losa"
    assert (call["puesto"], call["para"]) == ("Mezclador", "colado")
    assert {row["con hielo"] for row in read_back(buckets_csv(plan))} == {"sí"}


@pytest.mark.parametrize("name", sheet_sample.HOSTILE)
@pytest.mark.parametrize("write", WRITERS)
def test_hostile_names_come_back_whole_and_run_nothing(name: str, write: Callable[[Plan], str]):
    plan = sheet_sample.sample_plan((name, "Corridor"))
    rooms = {row["room"] for row in read_back(write(plan))}
    assert rooms <= {name, f"'{name}", "Corridor"}
    assert not any(room.lstrip().startswith(tuple(FORMULA_SIGNS)) for room in rooms)


@given(text=st.text(max_size=30))
def test_no_text_starts_like_a_formula_and_none_is_lost(text: str):
    shown = defused(text)
    assert not shown.startswith(tuple(FORMULA_SIGNS))
    assert shown in (text, f"'{text}")
