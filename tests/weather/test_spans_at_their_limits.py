"""Which rows of a weather file count for a job, and what is missing, at their limits."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from types import SimpleNamespace as Made
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import HAND, series_of

from cureplan.core.errors import InputError
from cureplan.core.messages import Message
from cureplan.weather.hours import csv_file
from cureplan.weather.hours.series import Gap

JULY = datetime(2013, 7, 17, tzinfo=UTC)
HOUR = timedelta(hours=1)


def table(hours, offset_h=0.0):
    """Rows at hours after midnight UTC, whose faults say only what is wrong."""
    hours = np.asarray(hours, float)
    return Made(
        epoch_s=JULY.timestamp() + 3600.0 * hours,
        offset_s=3600.0 * np.broadcast_to(np.asarray(offset_h, float), hours.shape),
        lines=np.arange(2, 2 + hours.size),
        source="air.csv",
        fault=lambda row, role, problem, cure: InputError(f"{row} {role} {problem}", cure=cure),
    )


@pytest.mark.parametrize(
    ("hours", "offset_h", "problem"),
    [
        ([0, 1], 0, None), ([0], 0, None), ([0.1, 0.9], 0, "1 time no whole hour"),
        ([0.1, 1], 0, None), ([0.5, 0.9], 0, "1 time no whole hour"), ([0.4, 0.6], 5.5, None),
        ([0.6, 1.4], 5.5, "1 time no whole hour"),
        # Of one step nothing is told; of several the usual one is six hours and a half at most.
        ([0, 7], 0, None), ([0, 6.5, 13], 0, None), ([0, 1, 2, 20], 0, None),
        ([0, 7, 14], 0, "1 time rows lie 7 h apart"),
        # Twenty years of 365 and a quarter days.
        ([0, 175_320], 0, None), ([0, 175_321], 0, "1 time more than 20 years"),
    ],
)  # fmt: skip
def test_rows_span_an_hour_and_no_twenty_years_in_steps_that_tell_a_night(
    hours, offset_h, problem
):
    if problem is None:
        csv_file._require_span(table(hours, offset_h))
        return
    with pytest.raises(InputError, match=problem):
        csv_file._require_span(table(hours, offset_h))


@pytest.mark.parametrize(
    ("offset_h", "phase_min"),
    [(5.5, 30), (-3.5, 30), (5.75, 15), (-4, 0), (0, 0), ([5.5, -4], 0), ([5.5, 4.5], 30)],
)
def test_whole_hours_stand_where_the_files_own_clock_has_them(offset_h, phase_min):
    # Midnight at five and a half hours east is half past six in the evening, UTC.
    assert csv_file._phase_s(table([0, 1], offset_h)) == 60.0 * phase_min


def test_rows_count_from_an_hour_before_what_is_needed_to_an_hour_behind():
    rows = table([-1.01, -1, 0, 5, 6, 6.01])
    found = csv_file._within(rows, JULY, JULY + 5 * HOUR)
    assert found.tolist() == [False, True, True, True, True, False]


@pytest.mark.parametrize(
    ("hours", "told"),
    [
        ([0], "1 h (2013-07-17 00:00+00:00 to 2013-07-17 00:00+00:00)"),
        ([0, 1, 2], "3 h (2013-07-17 00:00+00:00 to 2013-07-17 02:00+00:00)"),
        ([0, 2, 3], "2 h (2013-07-17 02:00+00:00 to 2013-07-17 03:00+00:00) and 1 h more"),
        ([0, 1, 3, 4, 9],
         "2 h (2013-07-17 00:00+00:00 to 2013-07-17 01:00+00:00) and 3 h more"),
    ],
)  # fmt: skip
def test_the_longest_run_of_missing_hours_is_told_and_how_many_there_are_beside(hours, told):
    assert csv_file._spans(tuple(JULY + n * HOUR for n in hours), UTC) == told


@pytest.mark.parametrize(
    ("missing", "told", "line"),
    [
        ([9], "add the hours up to 2013-07-17 12:00+00:00: the file ends at", 10),
        ([-1], "add the hours back to 2013-07-16 22:00+00:00, 2 h before the job", 2),
        ([-1, 9], "add the hours up to", 10),
        # The row below the hole: of hours from midnight on, in the second line, that of five.
        ([4], "add the air temperature of 1 h (2013-07-17 04:00", 7),
        ([0], "add the air temperature of 1 h (2013-07-17 00:00", 3), ([8], "add the air", 10),
    ],
)  # fmt: skip
def test_what_a_file_lacks_is_told_with_the_line_where_it_belongs(missing, told, line):
    rows = table([0, 1, 2, 3, 4, 5, 6, 7, 8.5])
    read = Made(series=Made(starts=JULY, ends=JULY + 8 * HOUR), table=rows)
    hours = tuple(JULY + n * HOUR for n in missing)
    fault = csv_file._not_covered(read, hours, JULY - 2 * HOUR, JULY + 12 * HOUR, 7200.0, UTC)
    assert (fault.problem.startswith(told), fault.line) == (True, line)


def gap(first, last, what="temperature"):
    starts, ends = JULY + first * HOUR, JULY + last * HOUR
    return Gap(what=what, starts=starts, ends=ends, hours=last - first + 1, mended="")


@pytest.mark.parametrize(
    ("found", "is_named"),
    [
        (gap(3, 5), True), (gap(1, 3), True), (gap(5, 9), True), (gap(1, 9), True),
        (gap(1, 2), False), (gap(6, 9), False), (gap(4, 4, "dew point"), False),
    ],
)  # fmt: skip
def test_a_gap_that_the_file_names_is_told_once(monkeypatch, found, is_named):
    monkeypatch.setattr(csv_file, "replace", lambda _, **changed: changed)
    stated = Made(gaps=(gap(3, 5),), notes=(), warnings=(), accepted=frozenset())
    told = csv_file._with_notes(Made(gaps=(found,), notes=()), stated, ())
    assert told["gaps"] == (gap(3, 5), *([] if is_named else [found]))


def test_a_stamp_is_of_the_sites_clock():
    told = csv_file._stamp(JULY, ZoneInfo("America/New_York"))
    assert told == "2013-07-16 20:00-04:00"


# Ages

SECOND = timedelta(seconds=1)


def dated(monkeypatch, *, issued=None, written, clock=JULY):
    """Kinds of six hours around midnight, which is now, and codes of what is warned of."""
    series = series_of([20.0] * 6, first_s=JULY.timestamp() - 7200.0)
    path = Made(name="air.csv", stat=lambda: Made(st_mtime=written.timestamp()))
    monkeypatch.setattr(csv_file, "_issued_at", lambda *_, **__: (issued, ""))
    monkeypatch.setattr(csv_file, "time", Made(time=clock.timestamp))
    found = csv_file._dated(series, Made(stated=Made(origins=())), path, JULY, UTC)
    kinds = [found.origins[number].kind for number in found.origin]
    return kinds.count("forecast"), [note.code for note in found.warnings]


@pytest.mark.parametrize(
    ("issued", "written", "forecast"),
    [
        # Rows stand at the hours from two before midnight to three behind it.
        (JULY, JULY, 3), (JULY - SECOND, JULY, 4), (JULY - 9 * HOUR, JULY, 6),
        (JULY + HOUR, JULY, 2), (None, JULY, 3), (None, JULY - SECOND, 4),
        (None, JULY + HOUR, 2), (JULY - HOUR, JULY + HOUR, 4),
    ],
)  # fmt: skip
def test_rows_behind_the_issue_or_else_the_writing_are_a_forecast(
    monkeypatch, issued, written, forecast
):
    # A clock may be an hour off.
    assert dated(monkeypatch, issued=issued, written=written) == (forecast, [])


def test_a_file_is_issued_an_hour_ahead_at_most(monkeypatch):
    with pytest.raises(InputError, match="1 h in the future"):
        dated(monkeypatch, issued=JULY + HOUR + SECOND, written=JULY)


@pytest.mark.parametrize(
    ("clock_h", "written_s", "told"),
    [
        (0, 3600, []), (0, 3601, ["weather.file_ahead"]), (0, -9, []), (2, 10_800, []),
        (2, 10_801, ["weather.file_ahead"]), (-2, 3601, ["weather.file_ahead"]),
        (-2, 3600, []),
    ],
)  # fmt: skip
def test_a_file_written_after_now_and_the_clock_is_told(monkeypatch, clock_h, written_s, told):
    written = JULY + written_s * SECOND
    found = dated(monkeypatch, written=written, clock=JULY + clock_h * HOUR)
    assert found[1] == told


def test_a_file_written_after_the_night_it_is_planned_for_is_a_record(monkeypatch):
    # Now is midnight by the command, the clock's some days later.
    later = JULY + 90 * HOUR
    assert dated(monkeypatch, written=JULY + HOUR + SECOND, clock=later) == (0, [])
    assert dated(monkeypatch, written=JULY + HOUR, clock=later) == (2, [])


def test_hours_ahead_are_told_apart_from_those_before_and_stand_behind_them(monkeypatch):
    # Two sources, hour by hour; the issue lies between the second hour and the third.
    monkeypatch.setattr(csv_file, "_issued_at", lambda *_, **__: (JULY, ""))
    monkeypatch.setattr(csv_file, "time", Made(time=JULY.timestamp))
    origins = HAND, replace(HAND, label="between", kind="interpolated")
    series = series_of([20.0] * 4, first_s=JULY.timestamp() - 3600.0, origins=origins)
    series = replace(series, origin=np.array([0, 1, 0, 1]))
    path = Made(name="air.csv", stat=lambda: Made(st_mtime=JULY.timestamp()))
    found = csv_file._dated(series, Made(stated=Made(origins=())), path, JULY, UTC)
    assert [one.kind for one in found.origins] == [
        "file", "interpolated", "forecast", "interpolated"
    ]  # fmt: skip
    assert found.origin.tolist() == [0, 1, 2, 3]
    assert [one.issued_at for one in found.origins] == [None, None, JULY, JULY]


def test_what_a_copy_was_accepted_with_is_not_asked_again():
    notes = (
        Message("weather.read_as", {"how": ()}),
        Message("weather.accepted", {"names": "dew, jump"}),
    )
    read = csv_file._Read(None, None, Made(notes=notes, accepted=frozenset({"stuck"})))
    assert read.accepted == {"dew", "jump", "stuck"}


@pytest.mark.parametrize(
    ("words", "issued", "before", "told"),
    [
        ("", JULY, True, ["parted"]), ("12z", None, True, ["parted"]),
        ("12z", JULY, True, ["parted", "issued"]), ("12z", JULY, False, ["issued"]),
    ],
)  # fmt: skip
def test_the_day_guessed_for_an_issue_joins_the_line_of_guesses(words, issued, before, told):
    guesses = Message("weather.read_as", {"how": (Message("read.parted"),)})
    other = Message("weather.columns_aside", {"columns": "wind"})
    series = series_of([20.0], notes=(other, *[guesses] * before))
    notes = csv_file._with_guessed_issue(series, words, issued).notes
    (line,) = (note for note in notes if note.code == "weather.read_as")
    assert [one.code for one in line.values["how"]] == [f"read.{name}" for name in told]
    assert [note for note in notes if note.code != "weather.read_as"] == [other]


def issue_of(*, offset_h=0.0, guessed=False, made=(), cells=(), hours=(0, 1, 2), issued=None):
    """When hours from midnight UTC on were made by what is said; written at one o'clock."""
    rows = table(hours, offset_h)
    rows.guessed_zone, rows.made, rows.texts = guessed, tuple(made), {}
    if cells:
        rows.texts["issued"] = cells
    read = Made(table=rows, stated=Made(issued=issued, made=()))
    site = timezone(timedelta(hours=2))
    return csv_file._issued_at(read, Path("air.csv"), latest=JULY + HOUR, zone=site)


@pytest.mark.parametrize(
    ("offset_h", "guessed", "made_h"),
    [(1.0, False, -1), (1.0, True, -2), ([1, 1, 0], False, -2), (0.0, False, 0)],
)
def test_an_issue_is_told_by_the_clock_of_the_rows_if_they_have_one(offset_h, guessed, made_h):
    # Midnight of an hour east, else of the site's two.
    found = issue_of(offset_h=offset_h, guessed=guessed, made=[("17 july 2013 0:00", 1)])
    assert found == (JULY + made_h * HOUR, "")


def test_an_issue_may_lie_sixty_days_behind_the_last_row():
    said = [("1 october 0:00", 1)]
    assert issue_of(hours=(0, 1, 24 * 20), made=said)[0] == datetime(2013, 10, 1, tzinfo=UTC)
    assert issue_of(hours=(0, 1, 2), made=said) == (None, "")


def test_rows_ahead_alone_tell_of_their_issue_and_the_first_of_several_counts():
    # The file was written at one o'clock: only what lies behind is a forecast.
    cells = "2013-07-16T06:00Z", "2013-07-16T12:00Z", "2013-07-16T18:00Z", "2013-07-16T21:00Z"
    found, words = issue_of(hours=(0, 1, 2, 3), cells=cells)
    assert (found, words) == (JULY - 6 * HOUR, "")
    assert issue_of(hours=(0, 1, 2, 3), cells=("x", "x", "12:00Z", " "))[1] == "12:00Z"


def test_an_issue_that_means_two_days_is_refused_in_the_first_line_that_says_so():
    # 6 July or 7 June; the row of two o'clock stands in the fourth line.
    cells = "", "", "6/7/2013 7:00", "6/7/2013 7:00"
    with pytest.raises(InputError, match="may be 2013-06-07") as caught:
        issue_of(hours=(0, 1, 2, 3), cells=cells)
    assert caught.value.line == 4
