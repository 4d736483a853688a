"""Weather looked at again before the night: when, what it says, and that no plan is touched."""

from __future__ import annotations

import csv
import io
import json
import time
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from cureplan.api import make_plan, read_job, read_plan, write_sheets
from cureplan.desk.folder import JobFolder, file_mark
from cureplan.desk.jobs import job_line
from cureplan.desk.news import due, looks
from cureplan.desk.pages import page
from cureplan.planning.plan.model import Plan
from desk.conftest import EVENING_BEFORE, Served, Server
from desk.test_plans import JOB, small_job

pytestmark = pytest.mark.usefixtures("hired")


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Plan:
    folder = tmp_path_factory.mktemp("news")
    return make_plan(read_job(small_job(folder)), now=EVENING_BEFORE, what_helps=False)


def test_it_is_looked_at_on_the_evening_before_and_two_hours_before_the_first_mix(
    plan: Plan,
) -> None:
    zone = plan.job.site.zone
    first = min(room.pour_start for room in plan.rooms).astimezone(zone)
    evening, late = looks(plan)
    # Eight in the evening of the day before, by the site's clock; two hours before the mix.
    assert (evening.hour, evening.minute) == (20, 0)
    assert first.date() - evening.date() == timedelta(days=1)
    assert first - late == timedelta(hours=2)
    made = replace(plan.decisions, made_at=evening - timedelta(hours=30))
    early = replace(plan, decisions=made)
    minute = timedelta(minutes=1)
    wanted = [
        (evening - minute, None, False),
        (evening + minute, None, True),
        (evening + 2 * minute, evening + minute, False),
        (late + minute, evening + minute, True),
        (late + 2 * minute, late + minute, False),
        (first + minute, None, False),
    ]
    for now, looked, is_due in wanted:
        assert due(early, now=now, looked=looked) is is_due, (now, looked)
    fresh = replace(plan, decisions=replace(plan.decisions, made_at=evening + minute))
    assert not due(fresh, now=evening + 2 * minute, looked=None)


def warmer(path: Path, by_k: float) -> None:
    """The same weather, warmer: every temperature of the file raised."""
    lines = path.read_text("utf-8").splitlines()
    head = next(n for n, line in enumerate(lines) if not line.startswith("#"))
    rows = list(csv.reader(lines[head:]))
    place = rows[0].index("temp_c") if "temp_c" in rows[0] else rows[0].index("temp_f")
    by = by_k if "temp_c" in rows[0] else 1.8 * by_k
    for row in rows[1:]:
        if row[place]:
            row[place] = f"{float(row[place]) + by:.2f}"
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    path.write_text("\n".join([*lines[:head], out.getvalue()]), encoding="utf-8")


def look(served: Served) -> None:
    assert served.post(f"/jobs/{JOB}/news", {}).status == 200
    deadline = time.monotonic() + 120
    while served.ask("/planning").json["running"]:
        assert time.monotonic() < deadline
        time.sleep(0.1)
    kept = served.folder / ".cureplan-desk" / f"{JOB}.news.json"
    while not kept.exists():
        assert time.monotonic() < deadline
        time.sleep(0.05)


@pytest.mark.parametrize(("chance", "said"), [(0.5, True), (0.89, False)])
def test_the_list_of_jobs_says_where_the_weather_has_changed(
    plan: Plan, tmp_path: Path, chance: float, said: bool
) -> None:
    small_job(tmp_path)
    place = tmp_path / f"{JOB}-plan"
    write_sheets(plan, place, pictures=False)
    before = {"status": "within policy", "chance": 0.9, "margin_min": 3.0, "first_s": 0.0}
    before |= {"iced": 0}
    kept = {
        "plan": file_mark(place / "plan.json"), "at": EVENING_BEFORE.isoformat(),
        "before": before, "same": {**before, "chance": chance}, "anew": before,
    }  # fmt: skip
    folder = JobFolder(tmp_path)
    assert job_line(folder, JOB).news == ""
    (folder.own() / f"{JOB}.news.json").write_text(json.dumps(kept), encoding="utf-8")
    assert bool(job_line(folder, JOB).news) is said
    shown = bytes(page("jobs.html.j2", jobs=[job_line(folder, JOB)], left_off=[]).body)
    assert (b"The weather has changed" in shown) is said


@pytest.mark.thorough
def test_news_of_warmer_weather_is_shown_and_the_plan_stays(
    plan: Plan, tmp_path: Path, desk_on: Server
) -> None:
    small_job(tmp_path)
    place = tmp_path / f"{JOB}-plan"
    write_sheets(plan, place, pictures=False)
    before = {path.name: path.read_bytes() for path in place.iterdir()}
    served = desk_on(tmp_path)
    assert "Weather looked at" not in served.ask(f"/jobs/{JOB}/plan").text
    look(served)
    assert "Nothing of note changes" in served.ask(f"/jobs/{JOB}/plan").text
    (tmp_path / ".cureplan-desk" / f"{JOB}.news.json").unlink()
    warmer(tmp_path / "heat-wave.csv", 5.0)
    look(served)
    page = served.ask(f"/jobs/{JOB}/plan").text
    assert "the plan stays until you plan anew" in page
    assert "The same plan now" in page
    assert {path.name: path.read_bytes() for path in place.iterdir()} == before
    # News are of one plan: with another they are gone.
    later = replace(
        plan, decisions=replace(plan.decisions, made_at=datetime.now(EVENING_BEFORE.tzinfo))
    )
    write_sheets(later, place, pictures=False)
    assert "Weather looked at" not in served.ask(f"/jobs/{JOB}/plan").text
    assert read_plan(place).decisions.made_at == later.decisions.made_at


def test_a_job_without_a_plan_has_no_news(tmp_path: Path, desk_on: Server) -> None:
    small_job(tmp_path)
    got = desk_on(tmp_path).post(f"/jobs/{JOB}/news", {})
    assert got.status == 422
    assert "no plan yet" in got.json["fault"]
