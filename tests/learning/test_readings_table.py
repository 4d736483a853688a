"""A table of readings: what is read, and one clear line for everything that is wrong."""

from __future__ import annotations

import math
from pathlib import Path

import pytest
from effort import examples
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import InputError
from cureplan.inputs.tables.readings import read_readings, read_readings_text

NAMES = ("wet_edge", "working_time", "foot_traffic")
SOURCE = Path("trial.csv")
GOOD = """\
# two kits and a cup
kind,batch,milestone,minutes,hours,temp_f,liquids_f,filler_f,air_f,slab_f,poured_min,humidity_pct,mass_kg,note
sheet,,working_time,19,,70,,,,,,,,
cup,lot 7,working_time,9.5,,90,,,,,,55,0.2,"in shade, windy"
bucket,k1,wet_edge,6,,,90,91,92,88,4.2,,,
bucket,k1,foot_traffic,,2.5,,,,,,,,,
probe,k1,,9,,112,,,,,,,,
bucket,k2,wet_edge,,,,,,,,,,,not watched
"""


def read(text):
    return read_readings_text(text, source=SOURCE, milestones=NAMES)


def test_every_kind_is_read_into_si():
    found = read(GOOD)
    sheet, cup, wet, foot, probe = found.rows
    assert (sheet.after_s, sheet.temp_c) == (19 * 60, pytest.approx(21.1111, abs=1e-4))
    assert (cup.humidity_frac, cup.mass_kg, cup.note) == (0.55, 0.2, "in shade, windy")
    assert wet.poured_s == pytest.approx(252.0)
    assert foot.after_s == 9000.0
    assert probe.temp_c == pytest.approx((112 - 32) / 1.8)
    assert found.blank == (8,)


def test_lines_of_one_batch_share_their_temperatures():
    *_, wet, foot, probe = read(GOOD).rows
    for one in (foot, probe):
        assert one.liquids_c == wet.liquids_c == pytest.approx((90 - 32) / 1.8)
        assert (one.slab_c, one.poured_s) == (wet.slab_c, wet.poured_s)


def test_a_cup_takes_nothing_from_a_kit_of_its_name():
    text = GOOD.replace("cup,lot 7", "cup,k1")
    assert math.isnan(read(text).rows[1].slab_c)


HEAD = "kind,batch,milestone,minutes,temp_f,liquids_f,filler_f,slab_f\n"
WRONG = {
    "cup,,working_time,9.5,,,,": "temp: it is empty",
    "cup,,working_time,,90,,,": "minutes: it is empty",
    "cup,,working_tme,9.5,90,,,": 'did you mean "working_time"',
    "cup,,,9.5,90,,,": "milestone: it is empty",
    "cupp,,working_time,9.5,90,,,": 'did you mean "cup"',
    ",,working_time,9.5,90,,,": "no such kind",
    "cup,,working_time,9.5 min,90,,,": "write 9.5",
    "cup,,working_time,9.5,90F,,,": "write 90",
    'cup,,working_time,"9,500",90,,,': "write 9.500, or 9500",
    "cup,,working_time,9-11,90,,,": "a range is not one reading",
    "cup,,working_time,9:30,90,,,": "write 9.5 for minutes and seconds, or 570",
    "cup,,working_time,-3,90,,,": "a time lies above 0",
    "cup,,working_time,0,90,,,": "a time lies above 0",
    "cup,,working_time,99999,90,,,": "a time lies above 0",
    f"cup,,working_time,{'9' * 400},90,,,": "a time lies above 0",
    "cup,,working_time,nan,90,,,": "not a number",
    "cup,,working_time,1e3,90,,,": "not a number",
    "cup,,working_time,9.5,21,,,": "is it in °C?",
    "cup,,working_time,9.5,90,,": "7 cells where the header has 8",
    'cup,,working_time,"9.5,90,,,': "a quote is never closed",
    "bucket,,wet_edge,9.5,,90,90,": "slab: it is empty",
    "bucket,,wet_edge,9.5,,90,,88": "write the mixed temperature",
    "probe,,,6,104,90,90,": "name the kit",
    "probe,k,wet_edge,6,104,90,90,": "a thermometer sees none",
    "probe,k,,,104,90,90,": "write when the thermometer was read",
    "probe,k,,6,104,,90,": "write the liquids' temperature",
    "probe,k,,6,104,90,,": "write the filler's temperature",
    "probe,k,,6,400,90,90,": "outside -5..110",
}


@pytest.mark.parametrize("line", WRONG, ids=lambda line: line[:40])
def test_a_wrong_line_is_refused_in_one_line(line):
    with pytest.raises(InputError) as caught:
        read(HEAD + line + "\n")
    said = str(caught.value)
    assert said.startswith("trial.csv:2: ")
    assert WRONG[line] in said
    assert "\n" not in said


WRONG_TABLES = {
    "": "the file is empty",
    "# only words\n": "it has only comments",
    HEAD: "a header but no readings",
    "kind|milestone|minuts\n": "no such column is known",
    "kind,milestone,minutes,minutes\ncup,wet_edge,3,3\n": "stands there twice",
    "kind,milestone,minutes,tempf\ncup,wet_edge,3,3\n": 'did you mean "temp_f"',
    "kind,milestone,minutes,temp_f,temp_c\ncup,wet_edge,3,70,21\n": "keep one of the two",
    "milestone,minutes\nwet_edge,3\n": "kind: the column is missing",
    "kind,milestone\ncup,wet_edge\n": "minutes: the column is missing",
    "kind,milestone,minutes,hours,temp_f\ncup,wet_edge,3,1,70\n": "minutes are given too",
    "kind,milestone,minutes\nbucket,wet_edge,\n": "no reading is filled in",
    "kind,milestone,minutes,temp_f,humidity_pct\ncup,wet_edge,3,70,0.5\n": "write percent",
    "kind,milestone,minutes,temp_f,mass_kg\ncup,wet_edge,3,70,-1\n": "above 0 and up to 300 kg",
    HEAD + "bucket,k,wet_edge,9,,90,90,88\nbucket,k,wet_edge,9,,70,,\n": "says otherwise",
    HEAD + "cup,,wet_edge,9,70,,,\n" * 501: "more than 500 readings",
}


@pytest.mark.parametrize("text", WRONG_TABLES, ids=lambda text: text[:40].replace("\n", "|"))
def test_a_wrong_table_is_refused_in_one_line(text, tmp_path):
    path = tmp_path / "trial.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_readings(path, milestones=NAMES)
    assert WRONG_TABLES[text] in str(caught.value)
    assert str(caught.value).count("\n") == 0


BYTES = {
    "half of utf-16": GOOD.encode("utf-16") + b"x",
    "workbook": b"PK\x03\x04",
    "zeros": b"kind\0",
    "large": b"#" * 1_000_001,
}


@pytest.mark.parametrize("name", BYTES)
def test_a_file_that_is_no_table_is_refused(name, tmp_path):
    path = tmp_path / "trial.csv"
    path.write_bytes(BYTES[name])
    with pytest.raises(InputError, match=str(path)):
        read_readings(path, milestones=NAMES)


def test_a_missing_file_and_a_folder_are_refused(tmp_path):
    for path in (tmp_path / "none.csv", tmp_path, Path("a\0b.csv")):
        with pytest.raises(InputError):
            read_readings(path, milestones=NAMES)


@st.composite
def mutated(draw):
    """The good table with a few stretches replaced, swapped, cut or doubled."""
    text = GOOD
    for _ in range(draw(st.integers(1, 4))):
        start = draw(st.integers(0, len(text)))
        end = draw(st.integers(start, min(len(text), start + 12)))
        new = draw(
            st.one_of(
                st.text(max_size=6),
                st.sampled_from([",", '"', "\n", "-", "0", "1e9", "nan", "°F", "probe", "k1"]),
            )
        )
        text = text[:start] + new + text[end:]
    return text


@examples(300)
@given(text=mutated())
def test_a_mutated_table_is_read_or_refused(text):
    try:
        found = read(text)
    except InputError:
        return
    assert found.rows
    assert all(0 <= one.after_s <= 31 * 86_400 for one in found.rows)


SAME = {
    "utf-16": lambda text: text.encode("utf-16"),
    "western": lambda text: text.encode("cp1252"),
    "semicolons": lambda text: text.replace(",", ";").encode(),
    "tabs": lambda text: text.replace(",", "\t").encode(),
    "carriage returns": lambda text: text.replace("\n", "\r").encode(),
    "spare commas": lambda text: text.replace("\n", ",,,\n").encode(),
    "header twice": lambda text: (text + text.partition("\n")[0] + "\n").encode(),
}


@pytest.mark.parametrize("how", SAME)
def test_a_table_says_the_same_however_it_was_saved(how, tmp_path):
    path = tmp_path / "trial.csv"
    text = "kind,milestone,temp_c,minutes,note\ncup,working_time,21.5,12,Küche\n"
    path.write_bytes(SAME[how](text))
    row = read_readings(path, milestones=NAMES).rows[0]
    assert (row.temp_c, row.after_s, row.note) == (21.5, 720.0, "Küche")


@pytest.mark.parametrize("sign", ["\u2028", "\u2029", "\x85", "\x0b", "\n", "\n# no remark\n"])
def test_a_note_may_hold_any_break_of_line(sign, tmp_path):
    path = tmp_path / "trial.csv"
    note = f"slow{sign}but sure"
    path.write_bytes(
        f'kind,milestone,temp_c,minutes,note\ncup,working_time,21,12,"{note}"\n'
        "# a remark: \"don't\ncup,wet_edge,21,16,\n".encode()
    )
    first, second = read_readings(path, milestones=NAMES).rows
    assert first.note == note
    # Counted as an editor does: by line feeds.
    assert second.line == 4 + note.count("\n")


def test_decimal_commas_are_read_where_they_can_mean_nothing_else(tmp_path):
    path = tmp_path / "trial.csv"
    path.write_text("kind;milestone;temp_c;minutes\ncup;working_time;21,5;12,25\n")
    row = read_readings(path, milestones=NAMES).rows[0]
    assert (row.temp_c, row.after_s) == (21.5, 735.0)


PRINTED = [
    # The cautious end of each: what ends a time takes the sooner, what is waited for the later.
    ("working_time", "minutes", "15-20 min", 900.0),
    ("working_time", "minutes", "15 to 20", 900.0),
    ("foot_traffic", "hours", "3-4 h", 14_400.0),
    ("foot_traffic", "hours", "3-1/2 to 4 h", 14_400.0),
    ("foot_traffic", "minutes", "3-4 h", 14_400.0),
    ("topcoat_closes", "hours", "18-24", 64_800.0),
    ("working_time", "minutes", "max. 20", 1200.0),
    ("foot_traffic", "hours", "4+", 14_400.0),
    ("foot_traffic", "hours", "at least 4 h", 14_400.0),
    ("working_time", "minutes", "20 min ±10 %", 1080.0),
]


@pytest.mark.parametrize(
    ("column", "cell", "after_s"),
    [
        ("hours", "4:30", 16_200.0),
        ("minutes", "0:21:30", 1290.0),
        ("minutes", "1:05 h", 3900.0),
    ],
)
def test_a_stopwatch_may_be_written_off_as_it_stands(column, cell, after_s):
    table = f"kind,milestone,temp_f,{column}\ncup,working_time,70,{cell}\n"
    found = read_readings_text(table, source=Path("x.csv"), milestones=("working_time",))
    assert found.rows[0].after_s == after_s


@pytest.mark.parametrize(("milestone", "column", "cell", "after_s"), PRINTED)
def test_a_sheet_is_typed_as_printed(milestone, column, cell, after_s, tmp_path):
    path = tmp_path / "sheet.csv"
    path.write_text(f'kind,milestone,temp_f,{column}\nsheet,{milestone},70,"{cell}"\n')
    names = ("working_time", "foot_traffic", "topcoat_closes")
    assert read_readings(path, milestones=names).rows[0].after_s == after_s


def test_a_sheet_may_say_its_conditions_in_the_same_cell(tmp_path):
    path = tmp_path / "sheet.csv"
    path.write_text(
        "kind,milestone,temp_f,minutes,humidity_pct\n"
        'sheet,working_time,,"15 to 20 min at 70 F, 50 % RH",\n'
    )
    row = read_readings(path, milestones=NAMES).rows[0]
    # 70 °F is 21.11 °C.
    assert row.temp_c == pytest.approx(21.111, abs=1e-3)
    assert (row.after_s, row.humidity_frac) == (900.0, 0.5)


@pytest.mark.parametrize("kind", ["cup", "sheet"])
@pytest.mark.parametrize(
    "cell", ["20-15 min", "15-20 at", "about 15", "15-20 min at noon", "1.200", "4 min/20 max"]
)
def test_what_is_no_time_is_refused(kind, cell, tmp_path):
    path = tmp_path / "sheet.csv"
    path.write_text(f'kind,milestone,temp_f,minutes\n{kind},working_time,70,"{cell}"\n')
    with pytest.raises(InputError, match="minutes"):
        read_readings(path, milestones=NAMES)


@pytest.mark.parametrize(
    "cell",
    [
        "15 to 20 min at 70 F, 50 % RH",
        "15-20 minutes @ 70°F, 50% RH",
        "15-20 min at 70°F (21°C), 50% RH",
        "15–20 min at 70 degrees F and 50 % R.H.",
        "15-20 min. at 70 °F / 50 % rel. humidity",
    ],
)
def test_a_sheets_line_is_taken_as_printed(cell):
    # The sooner end of what closes; 70 °F is 21.111 °C by hand.
    table = f'kind,milestone,minutes,temp_f\nsheet,working_time,"{cell}",\n'
    found = read_readings_text(table, source=Path("x.csv"), milestones=("working_time",))
    (row,) = found.rows
    assert (row.after_s, row.humidity_frac) == (900.0, 0.5)
    assert row.temp_c == pytest.approx(21.111, abs=1e-3)
