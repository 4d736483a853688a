"""CSV files, read back with the csv module."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import datetime

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
    assert [row["number"] for row in rows] == ["1", "2", "1", "2"]
    first, planned = rows[0], plan.buckets[0]
    assert datetime.fromisoformat(first["pour"]) == planned.pour
    # The site's wall clock, with its offset.
    assert first["pour"] == "2013-07-17T21:06:30-04:00"
    assert float(first["margin_min"]) == planned.margin_min
    assert first["chilled"] == "yes"
    assert rows[1]["tied_in"] == ""


def test_a_negative_margin_stays_a_number(plan: Plan):
    assert float(read_back(buckets_csv(plan))[3]["margin_min"]) == -0.6


def test_calls_and_coats_come_in_the_order_of_the_clock(plan: Plan):
    calls, coats = read_back(calls_csv(plan)), read_back(coats_csv(plan))
    assert [row["call"] for row in calls] == sorted(row["call"] for row in calls)
    assert [row["start"] for row in coats] == sorted(row["start"] for row in coats)
    assert len(calls) == len(plan.calls)
    assert coats[0]["reason"] == "dew point 8 °F below the slab"


def test_words_are_in_the_first_language_of_the_job():
    plan = sheet_sample.sample_plan(languages=("es",))
    coat, call = read_back(coats_csv(plan))[0], read_back(calls_csv(plan))[0]
    assert coat["razon"] == "punto de rocío 8 °F abajo de la losa"
    assert (call["puesto"], call["para"]) == ("Mezclador", "colado")
    assert {row["con_hielo"] for row in read_back(buckets_csv(plan))} == {"sí"}


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
