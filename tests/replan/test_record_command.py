"""A finished job's record: from plan and log, through `fit`, to the next plan's honesty."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
import typer
from log_lines import said
from typer.testing import CliRunner

from cureplan.api import demo_job_path, make_plan, read_job
from cureplan.core.errors import InputError
from cureplan.inputs.tables.record import past_scores, read_record, record_text
from cureplan.output.commands.fit import fit
from cureplan.output.commands.night import record
from cureplan.planning.plan.assemble import past_warnings
from cureplan.planning.plan.model import plan_from_json, plan_to_json
from cureplan.planning.replan.record import night_record

HEADER = "at,event,room,bucket,value,note\n"
ENDS = {"wet_edge_end": "wet edge ended", "broadcast_end": "surface closed"}
SOONER_S = 90.0


@pytest.fixture(scope="session")
def apps():
    made = {}
    for command in (record, fit):
        made[command] = typer.Typer()
        made[command].command()(command)
    return made


@pytest.fixture(scope="session")
def lines(first):
    """Four buckets poured as planned; each of two clocks went a minute and a half early."""
    room, buckets = first
    rows = []
    for bucket in buckets[:4]:
        rows.append((bucket.pour, said(bucket.pour, "poured", room.room, bucket.number)))
        for end, event in ENDS.items():
            at = getattr(bucket, end) - timedelta(seconds=SOONER_S)
            rows.append((at, said(at, event, room.room, bucket.number)))
    return [line for _, line in sorted(rows)]


@pytest.fixture
def night(tmp_path, small_plan, lines):
    (tmp_path / "plan.json").write_text(plan_to_json(small_plan), encoding="utf-8")
    (tmp_path / "log.csv").write_text(HEADER + "\n".join(lines), encoding="utf-8")
    return tmp_path


def run(apps, command, *words):
    return CliRunner().invoke(apps[command], [str(word) for word in words])


def test_a_record_holds_what_the_plan_said_and_what_was_seen(small_plan, first, lines, log_of):
    _, buckets = first
    done = night_record(small_plan, log_of(*lines))
    assert (done.card, len(done.clocks)) == ("fast-slurry", 8)
    by_hand = {(b.number, end): b for b in buckets[:4] for end in ENDS}
    for clock in done.clocks:
        end = {"wet_edge": "wet_edge_end", "broadcast_closes": "broadcast_end"}[clock.milestone]
        bucket = by_hand[clock.batch, end]
        stated_s = (getattr(bucket, end) - bucket.filler_in).total_seconds()
        # Poured as planned, so the plan's own instants, which are whole seconds.
        assert clock.expected_s == pytest.approx(stated_s, abs=3.0)
        assert clock.error_s == pytest.approx(-SOONER_S, abs=3.0)
        # By hand: 1.6449 is the normal 95 % point; a watch and an eye err by 20 s and 5 %.
        watch = math.hypot(20.0, 0.05 * stated_s) / stated_s
        reach = math.exp(1.6449 * math.hypot(bucket.clocks_sd_frac, watch))
        assert clock.latest_s / clock.expected_s == pytest.approx(reach, rel=1e-3)
        assert clock.expected_s / clock.soonest_s == pytest.approx(reach, rel=1e-3)
    score = past_scores([done])
    assert score.overall.mean_error_s == pytest.approx(-SOONER_S, abs=3.0)


def test_a_bucket_mixed_at_another_hour_is_held_against_that_hour(small_plan, first, log_of):
    room, buckets = first
    late = timedelta(hours=9)
    at = buckets[0].pour + late
    end = buckets[0].wet_edge_end + late
    done = night_record(
        small_plan,
        log_of(
            said(at, "poured", room.room, 1),
            said(end, "wet edge ended", room.room, 1),
        ),
    )
    # Before dawn the slab is cooler: the edge is expected to live longer.
    planned_s = (buckets[0].wet_edge_end - buckets[0].filler_in).total_seconds()
    assert done.clocks[0].expected_s > planned_s + 10.0


def test_a_slab_that_was_read_is_recorded_as_read(small_plan, first, lines, log_of):
    room, buckets = first
    plain = night_record(small_plan, log_of(*lines))
    warm_c = buckets[0].slab_c + 3.0
    read = said(buckets[0].liquids_in, "slab reads", room.room, "", f"{warm_c} C")
    warmed = night_record(small_plan, log_of(read, *lines))
    # Expectations are the plan's. A reading good to 0.5 K, somewhere on a floor whose ends
    # differ by 1 K, takes 1 / (1 + 0.5² + 1²/12) of the way from what is believed.
    assert warmed.clocks[0].expected_s == plain.clocks[0].expected_s
    gained_k = warmed.clocks[0].slab_c - plain.clocks[0].slab_c
    assert gained_k == pytest.approx(3.0 * 0.75, abs=0.2)


@pytest.mark.thorough
def test_from_the_command_to_the_fit_and_the_next_plan(apps, night, demo_weather):
    ran = run(apps, record, night / "plan.json", night / "log.csv", "--out", night / "records")
    assert ran.exit_code == 0, ran.output
    assert "From 1 finished job" in ran.stdout
    (path,) = (night / "records").iterdir()
    again = run(
        apps, record, night / "plan.json", night / "log.csv", "--out", night / "records"
    )
    assert isinstance(again.exception, InputError)
    assert "--force" in str(again.exception)
    forced = run(
        apps, record, night / "plan.json", night / "log.csv",
        "--out", night / "records", "--force", "--json",
    )  # fmt: skip
    assert json.loads(forced.stdout)["past"]["overall"]["count"] == 8
    assert record_text(read_record(path)) == path.read_text(encoding="utf-8")

    # The fit learns from it alone, and finds a batch that is faster than its card.
    learned = run(apps, fit, "--card", "fast-slurry", "--records", night / "records", "--json")
    assert learned.exit_code == 0, learned.output
    found = {m["milestone"]: m for m in json.loads(learned.stdout)["milestones"]}
    assert found["wet_edge"]["time"]["value"] < found["wet_edge"]["was_s"] - 10.0

    # The next job in that folder says how the last one's predictions fared.
    text = demo_job_path("school-kitchen").read_text(encoding="utf-8")
    (night / "job.toml").write_text(text, encoding="utf-8")
    (night / "heat-wave.csv").write_bytes(
        (demo_job_path("school-kitchen").parent / "heat-wave.csv").read_bytes()
    )
    job = read_job(night / "job.toml")
    rooms = tuple(job.room(name) for name in ("Dish room", "Corridor"))
    job = replace(job, rooms=rooms)
    plan = make_plan(
        job, now=job.access.begins - timedelta(hours=23), weather=demo_weather, what_helps=False
    )
    (told,) = [source for source in plan.sources if source.kind == "record"]
    values = told.detail.values
    assert (values["jobs"], values["clocks"], values["bias"]) == (1, 8, "shorter")
    assert values["miss_min"] == pytest.approx(SOONER_S / 60.0, abs=0.05)
    assert plan_from_json(plan_to_json(plan)).sources == plan.sources


def test_intervals_that_did_not_hold_are_warned_of(small_plan, log_of, lines):
    done = night_record(small_plan, log_of(*lines))
    wide = [replace(c, soonest_s=60.0, latest_s=7200.0) for c in done.clocks]
    narrow = [replace(c, soonest_s=c.expected_s, latest_s=c.expected_s) for c in done.clocks]
    kept, lost = (past_scores([replace(done, clocks=tuple(c))]) for c in (wide, narrow))
    assert past_warnings(kept) == ()
    (warning,) = past_warnings(lost)
    assert (warning.code, warning.values["inside_frac"]) == ("warn.past", 0.0)


def test_a_job_names_its_own_folder_of_records(tmp_path):
    text = demo_job_path("school-kitchen").read_text(encoding="utf-8")
    (tmp_path / "heat-wave.csv").write_bytes(
        (demo_job_path("school-kitchen").parent / "heat-wave.csv").read_bytes()
    )
    path = tmp_path / "job.toml"
    path.write_text(text, encoding="utf-8")
    assert read_job(path).records is None
    path.write_text('records = "../done"\n' + text, encoding="utf-8")
    assert read_job(path).records == tmp_path / "../done"
    path.write_text(text, encoding="utf-8")
    (tmp_path / "records").mkdir()
    job = read_job(path)
    assert job.records == tmp_path / "records"


def test_rooms_that_only_a_later_plan_has_are_passed_over(apps, night, first, lines):
    _, buckets = first
    added = said(buckets[0].pour, "room added", "Pot wash", "", "3 m x 3 m, storage")
    more = [added, said(buckets[3].pour, "poured", "Pot wash", 1, late_s=600.0)]
    (night / "log.csv").write_text(HEADER + "\n".join([*lines, *more]), encoding="utf-8")
    ran = run(apps, record, night / "plan.json", night / "log.csv", "--out", night / "done")
    assert ran.exit_code == 0, ran.output
    assert "Pot wash" not in next((night / "done").iterdir()).read_text(encoding="utf-8")


def test_a_record_speaks_site_time_and_asks_about_a_clock_an_hour_off(apps, night, lines):
    # New York keeps 4 h behind UTC in July: the same night on three clocks is one record.
    rows = [line.partition(",") for line in lines[:6]]
    at = [datetime.fromisoformat(row[0]) for row in rows]
    clocks = {
        "utc": [f"{one.astimezone(UTC):%Y-%m-%dT%H:%M:%SZ}" for one in at],
        "site": [f"{one:%Y-%m-%d %H:%M:%S}" for one in at],
        "late": [f"{one + timedelta(hours=1):%Y-%m-%d %H:%M:%S}" for one in at],
    }
    kept = {}

    def kept_as(name):
        (path,) = (night / name).iterdir()
        return path.read_text(encoding="utf-8")

    for name, stamps in clocks.items():
        told = [f"{stamp},{row[2]}" for stamp, row in zip(stamps, rows, strict=True)]
        (night / "log.csv").write_text(HEADER + "\n".join(told), encoding="utf-8")
        ran = run(apps, record, night / "plan.json", night / "log.csv", "--out", night / name)
        if name == "late":
            break
        assert (ran.exit_code, ran.stderr) == (0, "")
        kept[name] = kept_as(name)
    assert kept["utc"] == kept["site"]
    assert f"finished = {at[-1]:%Y-%m-%dT%H:%M:%S}-04:00" in kept["site"]
    # Asked in one line, and nothing kept or offered to learn from until it is answered.
    told = str(ran.exception)
    assert "every line (4) lies about an hour later than planned" in told
    assert "--clock ahead" in told
    assert "site time (EDT)" in told
    assert "\n" not in told
    assert not (night / "late").exists()
    assert "fit" not in ran.output
    answered = {}
    for which in ("ahead", "site", "behind", "Berlin"):
        words = (night / "plan.json", night / "log.csv", "--out", night / f"by {which}")
        answered[which] = run(apps, record, *words, "--clock", which)
    assert kept_as("by ahead") == kept["site"]
    # Where the crew did begin an hour late, the hours are the log's own.
    late_s = f"finished = {at[-1] + timedelta(hours=1):%Y-%m-%dT%H:%M:%S}-04:00"
    assert late_s in kept_as("by site")
    assert "one of site, ahead, behind" in str(answered["Berlin"].exception)


def test_a_log_without_an_end_makes_no_record(apps, night, lines):
    poured = [line for line in lines if ",poured," in line]
    (night / "log.csv").write_text(HEADER + "\n".join(poured), encoding="utf-8")
    ran = run(apps, record, night / "plan.json", night / "log.csv", "--out", night / "done")
    assert isinstance(ran.exception, InputError)
    assert "no clock was seen to end" in str(ran.exception)
    assert not (night / "done").exists()


def test_fit_wants_something_to_learn_from_and_keeps_what_stands(apps, night):
    ran = run(apps, fit, "--card", "fast-slurry")
    assert "nothing to learn from" in str(ran.exception)
    run(apps, record, night / "plan.json", night / "log.csv", "--out", night / "done")
    ran = run(apps, fit, "--card", "clear-topcoat", "--records", night / "done")
    assert "no record of clear-topcoat" in str(ran.exception)
    mine = night / "mine.toml"
    mine.write_text("a season's work", encoding="utf-8")
    words = ("--card", "fast-slurry", "--records", night / "done", "--out", mine)
    ran = run(apps, fit, *words)
    assert isinstance(ran.exception, InputError)
    assert "--force" in str(ran.exception)
    assert mine.read_text(encoding="utf-8") == "a season's work"
    ran = run(apps, fit, *words, "--force")
    assert ran.exit_code == 0, ran.output
    assert "8 readings" in mine.read_text(encoding="utf-8")


@pytest.mark.thorough
def test_records_count_once_and_go_on_counting_over_fits(apps, night, lines, first):
    # Fitted to mine.toml, the next fit from it found no record of "mine"; and
    # with one job more, the first job's eight readings came in a second time.
    records = night / "records"
    run(apps, record, night / "plan.json", night / "log.csv", "--out", records)
    mine = night / "mine.toml"
    ran = run(apps, fit, "--card", "fast-slurry", "--records", records, "--out", mine)
    assert ran.exit_code == 0, ran.output
    assert "Measure next:" in ran.stdout
    ran = run(apps, fit, "--card", mine, "--records", records)
    assert "fitted to these readings already" in str(ran.exception)
    job = next(records.iterdir())
    later = job.read_text(encoding="utf-8").replace(
        "finished = 2013-07-", "finished = 2013-08-"
    )
    (records / "2013-08-night.toml").write_text(later, encoding="utf-8")
    ran = run(apps, fit, "--card", mine, "--records", records, "--json")
    assert ran.exit_code == 0, ran.output
    told = json.loads(ran.stdout)
    assert (told["readings_used"], told["readings_known"]) == (8, 8)
