"""CSV files, read back with the csv module."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import InputError
from cureplan.output.sheet.write import (
    buckets_csv,
    calls_csv,
    coats_csv,
    defused,
    need_workbooks,
    people_csv,
    write_sheets,
)
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


@pytest.mark.parametrize("write", [*WRITERS, people_csv])
def test_columns_have_the_same_names_in_every_language_and_cells_its_words(
    write: Callable[[Plan], str],
):
    english, spanish = (
        read_back(write(sheet_sample.sample_plan(languages=(language,))))
        for language in ("en", "es")
    )
    assert [*english[0]] == [*spanish[0]]
    words = {cell for row in spanish for cell in row.values()}
    assert words & {
        "sí", "Mezclador", "colado", "punto de rocío 8 °F abajo de la losa", "carretillero",
    }  # fmt: skip


def test_a_workbook_holds_each_table_with_times_and_numbers_to_reckon_with(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    pytest.importorskip("xlsxwriter")
    plan = sheet_sample.sample_plan(('=HYPERLINK("x")', "Corridor"), languages=("es",))
    write_sheets(plan, tmp_path, pictures=False, as_workbook=True)
    with zipfile.ZipFile(tmp_path / "plan.xlsx") as book:
        pages = re.findall(r'<sheet name="([^"]+)"', book.read("xl/workbook.xml").decode())
        cells = book.read("xl/worksheets/sheet1.xml").decode()
        words = book.read("xl/sharedStrings.xml").decode()
    assert pages == ["Cubetas", "Llamadas", "Personas", "Capas"]
    # No formula; 17 July 2013 is day 41472 of a spreadsheet (days since 1899-12-30), and
    # 21:06:30 is 75,990 of 86,400 s: worked by hand.
    assert "<f>" not in cells
    assert f"<v>{41472 + 75990 / 86400:.8f}"[:16] in cells
    assert "<v>-0.6</v>" in cells
    assert "con hielo" in words
    # A plan that does not ask for it leaves none of an older plan beside itself.
    write_sheets(plan, tmp_path, pictures=False)
    assert not (tmp_path / "plan.xlsx").exists()


def test_a_workbook_without_its_library_is_refused_in_one_line(monkeypatch):
    monkeypatch.setattr("cureplan.output.sheet.write.find_spec", lambda _: None)
    with pytest.raises(InputError, match=r"cureplan\[xlsx\]"):
        need_workbooks()


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
