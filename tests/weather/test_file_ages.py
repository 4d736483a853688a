"""A plain file that reaches into the future is a forecast with an age."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest
from builders import series_of, told

from cureplan.core.errors import InputError
from cureplan.weather.hours import csv_file
from cureplan.weather.hours.csv_file import read_weather_csv_for
from cureplan.weather.hours.series import utc_of

FIRST = datetime(2026, 6, 1, tzinfo=UTC)
STARTS = FIRST + timedelta(days=4)
ENDS = STARTS + timedelta(days=1)
HOURS = 24 * 6


def planned(tmp_path, *, now, written, issued="", said=(), below=(), run=""):
    path = tmp_path / "hours.csv"
    rows = [
        f"{(FIRST + timedelta(hours=h)).isoformat()},{15 + h % 24 / 4},8{run and f',{run}'}"
        for h in range(HOURS)
    ]
    head = [*([f"# issued: {issued}"] if issued else []), *said]
    head.append(f"time,temp_c,dew_c{run and ',run'}")
    path.write_text("\n".join([*head, *rows, *below]) + "\n", encoding="utf-8")
    os.utime(path, (written.timestamp(), written.timestamp()))
    return read_weather_csv_for(path, starts=STARTS, ends=ENDS, history_s=3 * 86_400.0, now=now)


def ahead(series, since):
    """The origins of the hours after an instant, and of those before it."""
    late = series.epoch_s > since.timestamp()
    return (
        {series.origins[int(k)] for k in series.origin[late]},
        {series.origins[int(k)] for k in series.origin[~late]},
    )


@pytest.mark.parametrize("says", [True, False])
def test_what_lies_after_a_plain_file_is_a_forecast_of_its_age(tmp_path, says):
    made = FIRST + timedelta(days=3, hours=6)
    now = made + timedelta(hours=10)
    issued = made.isoformat() if says else ""
    # Copied later: its own words count, not the date of the copy.
    written = now if says else made
    series = planned(tmp_path, now=now, written=written, issued=issued)
    late, early = ahead(series, made)
    assert {one.kind for one in late} == {"forecast"}
    assert {one.kind for one in early} == {"file"}
    (one,) = late
    assert (one.issued_at if says else one.written_at) == made
    # Written is not issued.
    assert (one.written_at if says else one.issued_at) is None


def test_a_file_written_after_the_night_is_a_record(tmp_path):
    series = planned(tmp_path, now=STARTS, written=ENDS + timedelta(days=30))
    assert {one.kind for one in series.origins} == {"file"}


def test_a_file_dated_ahead_of_the_clock_is_told_and_has_no_age(tmp_path):
    clock = datetime.now(UTC)
    series = planned(tmp_path, now=STARTS, written=clock + timedelta(days=2))
    assert any("check this machine's clock" in line for line in told(series.warnings))
    assert {one.kind for one in series.origins} == {"file"}


def test_words_of_the_future_are_refused(tmp_path):
    later = STARTS + timedelta(hours=30)
    with pytest.raises(InputError, match="issued 30 h in the future; check the `# issued:`"):
        planned(tmp_path, now=STARTS, written=STARTS, issued=later.isoformat())


# The evening of 3 June 2026, a Wednesday, at 20:00 UTC; the file was copied at 22:00.
EVENING = datetime(2026, 6, 3, 20, tzinfo=UTC)


@pytest.mark.parametrize(
    ("words", "made_h"),
    [
        ("# Issued: Wednesday 3 June 3 PM CDT", 20),
        ("# forecast made Wed 3 Jun 2026 at 20:00", 20),
        ("# run 12Z", 12),
        ("# 12Z run", 12),
        ("# source: a weather office, issued 300 PM CDT WED JUN 3 2026", 20),
        ("# Init: 2026060306", 6),
        ("# Erstellt am 3.6.2026 um 22:00 MESZ", 20),
        ("# Emitido el 3 de junio a las 20:00", 20),
        ("# last updated 06/03/2026 8:00 PM", 20),
        ("# issued yesterday 11 PM", -1),
        ("# issued: 2026-06-03", 0),
        ("Issued,2026-06-03 20:00", 20),
    ],
)
def test_free_words_tell_when_a_forecast_was_made(tmp_path, words, made_h):
    copied = EVENING + timedelta(hours=2)
    series = planned(tmp_path, now=copied, written=copied, said=[words])
    made = EVENING.replace(hour=0) + timedelta(hours=made_h)
    (one,) = {one for one in ahead(series, copied)[0] if one.kind == "forecast"}
    assert (one.issued_at, one.written_at) == (made, None)
    guessed = any(
        f"named {words[-3:].lower()} as Wed 12:00" in line for line in told(series.notes)
    )
    assert guessed == (words == "# run 12Z")


def test_a_column_or_a_line_below_tells_it_too(tmp_path):
    copied = EVENING + timedelta(hours=2)
    for where in ({"run": "2026-06-03T18:00Z"}, {"below": ["Forecast made 18:00 UTC 3 June"]}):
        series = planned(tmp_path, now=copied, written=copied, **where)
        (one,) = ahead(series, copied)[0]
        assert one.issued_at == EVENING.replace(hour=18)


@pytest.mark.parametrize("words", ["# made by hand in the county office", "# run since 2013"])
def test_words_of_making_without_a_time_tell_nothing(tmp_path, words):
    series = planned(tmp_path, now=EVENING, written=EVENING, said=[words])
    (one,) = ahead(series, EVENING)[0]
    assert (one.issued_at, one.written_at) == (None, EVENING)


def test_words_that_mean_two_days_are_asked_about(tmp_path):
    # Both 5 June and 6 May lie near the rows.
    line = "# issued: 05/06/2026 08:00"
    late = STARTS + timedelta(days=2)
    with pytest.raises(InputError, match="may be 2026-05-06 08:00 UTC or 2026-06-05 08:00 UTC"):
        planned(tmp_path, now=late, written=late, said=[line])
    with pytest.raises(InputError, match="= 'soon': not understood; put `# issued: 2013"):
        planned(tmp_path, now=late, written=late, issued="soon")


@pytest.mark.parametrize(("ahead_s", "refused"), [(3600.0, False), (3601.0, True)])
def test_a_clock_an_hour_ahead_is_let_pass_and_no_more(tmp_path, monkeypatch, ahead_s, refused):
    path = tmp_path / "w.csv"
    path.write_text("a file\n")
    now = utc_of(path.stat().st_mtime)
    issued = now + timedelta(seconds=ahead_s)
    monkeypatch.setattr(csv_file, "_issued_at", lambda *_, **__: (issued, False))
    read = SimpleNamespace(stated=SimpleNamespace(origins=()))
    series = series_of([20.0] * 8, first_s=now.timestamp() // 3600 * 3600.0)
    if refused:
        with pytest.raises(InputError, match="issued 1 h in the future"):
            csv_file._dated(series, read, path, now, UTC)
    else:
        assert csv_file._dated(series, read, path, now, UTC).temp_c.tolist() == [20.0] * 8
