"""`cureplan replan` from plan file and log to a folder of sheets."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta

import pytest
import typer
from log_lines import said
from typer.testing import CliRunner

from cureplan.core.errors import InputError, NoFeasiblePlanError
from cureplan.output.commands.night import replan
from cureplan.output.sheet.write import FILES, ROLE_FILES
from cureplan.planning.plan.model import plan_to_json

HEADER = "at,event,room,bucket,value,note\n"
OLD = ("plan.json", "sheet.html")


@pytest.fixture(scope="session")
def app():
    made = typer.Typer()
    made.command()(replan)
    return made


@pytest.fixture
def night(tmp_path, one_room):
    """The old plan's folder and a log of its first three buckets, a drill down."""
    room = one_room.rooms[0]
    buckets = one_room.buckets_of(room.room)
    folder = tmp_path / "night-plan"
    folder.mkdir()
    (folder / "plan.json").write_text(plan_to_json(one_room), encoding="utf-8")
    (folder / "sheet.html").write_text("as it was", encoding="utf-8")
    lines = [said(b.pour, "poured", room.room, b.number) for b in buckets[:3]]
    lines.append(said(buckets[2].pour + timedelta(minutes=1), "drill down"))
    (tmp_path / "log.csv").write_text(HEADER + "\n".join(lines), encoding="utf-8")
    return folder / "plan.json", tmp_path / "log.csv"


@pytest.mark.thorough
def test_it_writes_every_sheet_beside_the_old_plan_and_keeps_that(app, night):
    plan_file, log_file = night
    before = {name: (plan_file.parent / name).read_bytes() for name in OLD}
    ran = CliRunner().invoke(app, [str(plan_file), str(log_file)])
    assert ran.exit_code in (0, 1), ran.output
    new = plan_file.parent.parent / "night-plan-2"
    # Pictures take longer than all the rest; they and the workbook are made when asked for.
    drawn = {"plan.png", "plan.pdf", "plan.xlsx"}
    names = {path.name for path in new.iterdir()}
    assert names - set(ROLE_FILES) == set(FILES) - drawn - {"primers.csv"}
    assert "crew-mixer.ics" in names
    assert {name: (plan_file.parent / name).read_bytes() for name in OLD} == before
    shown = ran.stdout.splitlines()
    assert shown[0].startswith("> Something is lost as it stands. In the next ten minutes:")
    assert any("Next: bucket 4 of " in line for line in shown)
    assert any("A drill is down" in line for line in shown)
    assert sum("A drill is down" in line for line in shown) == 1
    written = json.loads((new / "plan.json").read_text(encoding="utf-8"))
    codes = [change["code"] for change in written["night"]["changes"]]
    assert codes[0] == "replan.ten_minutes"
    assert "replan.next" in codes
    assert written["warnings"][0]["code"] == "replan.ten_minutes"

    words = [str(new / "plan.json"), str(log_file), "--json", "--pictures"]
    again = CliRunner().invoke(app, words)
    assert again.exit_code == ran.exit_code
    third = plan_file.parent.parent / "night-plan-3"
    assert {path.name for path in third.iterdir()} - set(ROLE_FILES) == set(FILES) - {
        "primers.csv",
        "plan.xlsx",
    }
    # What is not drawn anew would show another plan.
    CliRunner().invoke(app, [str(new / "plan.json"), str(log_file), "--out", str(third)])
    assert {path.name for path in third.iterdir()} - set(ROLE_FILES) == set(FILES) - drawn - {
        "primers.csv"
    }
    assert json.loads(again.stdout)["buckets"][0] == written["buckets"][0]


@pytest.mark.thorough
@pytest.mark.parametrize("poured", [0, 3])
@pytest.mark.parametrize("as_json", [False, True])
def test_a_night_no_plan_fits_says_in_every_language_what_to_do(
    app, tmp_path, one_room, poured, as_json
):
    # Nobody mixes before all hours are over: whether or not a floor is begun, there are
    # ten minutes in which to stop, keep everybody off, and call.
    room = one_room.rooms[0]
    buckets = one_room.buckets_of(room.room)
    job = one_room.job
    until = job.access.open_by
    plan = replace(one_room, job=replace(job, languages=("en", "es")))
    (tmp_path / "plan.json").write_text(plan_to_json(plan), encoding="utf-8")
    lines = [said(b.pour, "poured", room.room, b.number) for b in buckets[:poured]]
    at = buckets[2].pour + timedelta(minutes=1) if poured else job.access.begins
    lines.append(said(at, "wait until", value=until.isoformat()))
    (tmp_path / "log.csv").write_text(HEADER + "\n".join(lines), encoding="utf-8")
    words = [str(tmp_path / "plan.json"), str(tmp_path / "log.csv"), "--now", at.isoformat()]
    ran = CliRunner().invoke(app, words + ["--json"] * as_json)
    if ran.exception is None or isinstance(ran.exception, SystemExit):
        # A begun floor is ended, however late: then the plan's own first lines say so.
        assert poured
        assert "ten_minutes" in ran.stdout or "ten minutes" in ran.stdout
        return
    assert isinstance(ran.exception, NoFeasiblePlanError), ran.output
    if as_json:
        told = json.loads(ran.stdout)["advice"]
        assert set(told) == {"en", "es"}
        text = "\n".join([*told["en"], *told["es"]])
    else:
        text = ran.stdout
    assert "In the next ten minutes" in text
    assert "En los próximos diez minutos" in text
    assert text.count(room.room) >= 2
    assert not list(tmp_path.glob("night-plan*"))


def test_the_old_plan_is_never_written_over(app, night):
    plan_file, log_file = night
    before = plan_file.read_bytes()
    for out in (plan_file.parent, plan_file.parent / ".." / plan_file.parent.name):
        ran = CliRunner().invoke(app, [str(plan_file), str(log_file), "--out", str(out)])
        assert isinstance(ran.exception, InputError)
        assert "--out" in str(ran.exception)
    assert plan_file.read_bytes() == before


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (None, "no such file"),
        (b"", "not a plan"),
        (b"\xff\xfe\x00", "UTF-8"),
        (b"[1, 2]", "not a plan"),
        (b'{"job": 1}', "not a plan"),
    ],
)
def test_a_plan_that_is_none_is_refused_in_one_line(app, tmp_path, content, words):
    path = tmp_path / "plan.json"
    if content is not None:
        path.write_bytes(content)
    ran = CliRunner().invoke(app, [str(path), str(tmp_path / "log.csv")])
    assert isinstance(ran.exception, InputError)
    assert words in str(ran.exception)
    assert "\n" not in str(ran.exception)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("crew.mixer", 10**9),
        ("site.latitude", 400.0),
        ("crew.pour_shifts", [{"begins": "19:00:00", "ends": "05:00:00"}] * 5000),
    ],
)
def test_a_job_changed_within_a_sealed_plan_is_held_to_its_limits(
    app, night, sealed, key, value
):
    plan_file, log_file = night
    data = json.loads(plan_file.read_text(encoding="utf-8"))
    table, name = key.split(".")
    data["job"][table][f"{name}_deg" if name == "latitude" else name] = value
    plan_file.write_text(sealed(data), encoding="utf-8")
    ran = CliRunner().invoke(app, [str(plan_file), str(log_file)])
    assert isinstance(ran.exception, InputError)
    assert key in str(ran.exception)
    assert "\n" not in str(ran.exception)


@pytest.mark.parametrize("gone", ["format", "digest"])
def test_a_plan_changed_by_hand_is_refused(app, night, gone):
    plan_file, log_file = night
    data = json.loads(plan_file.read_text(encoding="utf-8"))
    del data[gone]
    plan_file.write_text(json.dumps(data), encoding="utf-8")
    ran = CliRunner().invoke(app, [str(plan_file), str(log_file)])
    assert isinstance(ran.exception, InputError)
    said = "changed after it was written" if gone == "digest" else "in format 1 of plan.json"
    assert said in str(ran.exception)


def test_a_time_that_is_none_is_refused(app, night):
    ran = CliRunner().invoke(app, [str(night[0]), str(night[1]), "--now", "soon"])
    assert isinstance(ran.exception, InputError)
    assert "--now" in str(ran.exception)
