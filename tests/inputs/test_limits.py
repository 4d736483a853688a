"""How much a job, a log, a folder of records and a plan may hold: the limits more.md names."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from cureplan.api import make_plan
from cureplan.core.errors import InputError
from cureplan.inputs.job.reader import job_text_faults
from cureplan.inputs.tables.night_log import NightSite, read_night_log_text
from cureplan.inputs.tables.record import read_records
from cureplan.planning.plan.read import read_plan

MORE = (Path(__file__).parents[2] / "notebooks" / "more.md").read_text(encoding="utf-8")
SITE = NightSite(
    zone=ZoneInfo("UTC"),
    kits={"Bar": 4},
    begins=datetime(2026, 7, 17, tzinfo=UTC),
    open_by=datetime(2026, 7, 19, tzinfo=UTC),
)


def refused(call, *words, **named) -> str:
    with pytest.raises(InputError) as caught:
        call(*words, **named)
    assert "\n" not in str(caught.value)
    assert caught.value.cure
    return str(caught.value)


@pytest.mark.parametrize(
    "limit",
    ["48 rooms", "3,000 buckets", "60 days", "500 readings", "5,000 lines", "2,000 records"],
)
def test_more_md_names_every_limit(limit: str) -> None:
    assert limit in " ".join(MORE.split())


def test_an_edit_is_held_to_the_limits_of_a_file(demo_job) -> None:
    # 400 ft x 400 ft at 1/8 in is some 1,700 ft3, more than 3,000 kits of 9.5 L.
    said = refused(demo_job.with_room, "Cook line", length="400 ft", width="400 ft")
    assert "more than 3000 buckets" in said
    said = refused(demo_job.with_start, "2013-04-17T19:00")
    assert "93 days after" in said
    assert "at most 60 days" in said


def test_shifts_have_a_limit(folder, demo_text) -> None:
    shifts = ", ".join(['{ from = "19:00", to = "05:00" }'] * 25)
    line = next(line for line in demo_text.splitlines() if line.startswith("pour_shifts"))
    job = demo_text.replace(line, f"pour_shifts = [{shifts}]")
    said = [str(fault) for fault in job_text_faults(job, source=folder / "job.toml")]
    assert len(said) == 1
    assert "crew.pour_shifts: this list is too long; keep at most 24 entries" in said[0]


def test_a_log_of_more_lines_than_a_night_has(tmp_path) -> None:
    lines = ["at,event,room,bucket", *["2026-07-17T20:05,poured,Bar,1"] * 5001]
    text = "\n".join(lines)
    assert "more than 5,000" in refused(
        read_night_log_text, text, source=tmp_path / "log.csv", site=SITE
    )


def test_a_folder_of_more_records_than_one_can_learn_from(tmp_path) -> None:
    for number in range(2001):
        (tmp_path / f"{number}.toml").touch()
    assert "more than 2000 records" in refused(read_records, tmp_path)


@pytest.mark.parametrize(
    ("key", "count"),
    [("rooms", 61), ("buckets", 6001), ("calls", 10_000), ("coats", 601), ("hours", 2881)],
)
def test_a_plan_of_more_rows_than_any_has(tmp_path, sealed, key: str, count: int) -> None:
    plan = {"job": {}, "decisions": {}, "buckets": [], key: [{}] * count}
    (tmp_path / "plan.json").write_text(sealed(plan))
    assert f"{count} {key} are more than" in refused(read_plan, tmp_path)


def test_nobody_plans_years_ahead(demo_job, demo_weather) -> None:
    now = demo_job.access.begins - timedelta(days=3 * 365)
    said = refused(make_plan, demo_job, now=now, weather=demo_weather)
    assert "that is 1095 days before the job's access; plan at most 400 days ahead" in said
