"""Which rows of a weather file count for a job, and what is missing, at their limits."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import series_of

from cureplan.core.errors import InputError
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
