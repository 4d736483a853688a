"""A plain file that reaches into the future is a forecast with an age."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta

import pytest
from builders import told

from cureplan.core.errors import InputError
from cureplan.weather.hours.csv_file import read_weather_csv_for

FIRST = datetime(2026, 6, 1, tzinfo=UTC)
STARTS = FIRST + timedelta(days=4)
ENDS = STARTS + timedelta(days=1)
HOURS = 24 * 6


def planned(tmp_path, *, now, written, issued=""):
    path = tmp_path / "hours.csv"
    rows = [
        f"{(FIRST + timedelta(hours=h)).isoformat()},{15 + h % 24 / 4},8" for h in range(HOURS)
    ]
    head = [f"# issued: {issued}"] if issued else []
    path.write_text("\n".join([*head, "time,temp_c,dew_c", *rows]) + "\n", encoding="utf-8")
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
