"""Names and places that no file can have, or that a terminal must not be shown as they are."""

from __future__ import annotations

import json
import os
import shutil
import sys
from importlib.resources import files
from io import StringIO
from pathlib import Path

import pytest

from cureplan.core.errors import InputError
from cureplan.inputs.job.reader import read_job_text
from cureplan.output.commands.common import in_colour, progress_line
from cureplan.output.sheet.write import FILES, ROLE_FILES

JOBS = Path(__file__).parents[1] / "pinned" / "jobs"
BAD_INPUT = 2
LONG = "n" * 300
# A folder of bytes that are no UTF-8, and a name that would colour a terminal red.
FOREIGN = os.fsdecode(b"caf\xe9")
RED = "out\x1b[31m\x07"
PLAN = ("one-room.toml", "--now", "2026-06-10T09:00")
SHEETS = ("plan.json", "sheet.html", "buckets.csv", "calls.csv", "coats.csv", "crew.ics")


def job_in(folder: Path) -> Path:
    """A folder with a job and the weather it names."""
    folder.mkdir(parents=True, exist_ok=True)
    for path in JOBS.iterdir():
        shutil.copy(path, folder)
    return folder


@pytest.fixture(scope="module")
def planned(cureplan, tmp_path_factory):
    """A plan made in the one folder and written to the other: where, and what was said."""
    folder = job_in(tmp_path_factory.mktemp("shop") / FOREIGN)
    done = cureplan("plan", *PLAN, "--out", RED, folder=folder)
    assert done.returncode == 0, done.stderr
    return folder, done


def test_a_folder_of_any_bytes_is_read_and_written(planned) -> None:
    folder, _ = planned
    written = {path.name for path in (folder / RED).iterdir()}
    assert {*SHEETS, "plan.png", "plan.pdf"} <= written <= {*FILES, *ROLE_FILES}


def test_no_control_character_of_a_name_reaches_the_terminal(planned, cureplan) -> None:
    folder, done = planned
    assert "\\x1b[31m" in done.stdout
    for words in (
        ("plan", RED),
        ("trial", "--card", "fast-slurry", "--out", f"{RED}.csv"),
        ("trial", "--card", "fast-slurry", "--out", f"{RED}/no/x.csv"),
        (
            "weather",
            "one-room.toml",
            "--save",
            f"{RED}.csv",
            "--picture",
            f"{RED}.png",
            "--force",
        ),
        ("new", f"{RED}/no/job.toml"),
        ("record", f"{RED}/no.json", RED),
        ("clock", RED, "--at", RED),
    ):
        run = cureplan(*words, folder=folder)
        assert not {"\x1b", "\x07"} & set(done.stdout + run.stdout + run.stderr), words


def test_a_plan_holds_no_path_of_the_machine(planned) -> None:
    folder, _ = planned
    for name in (
        "plan.json",
        "sheet.html",
        "buckets.csv",
        "calls.csv",
        "coats.csv",
        "crew.ics",
    ):
        text = (folder / RED / name).read_text(encoding="utf-8")
        assert str(folder.parent) not in text
        assert "caf" not in text
    job = json.loads((folder / RED / "plan.json").read_text(encoding="utf-8"))["job"]
    assert (job["source"], job["weather"]["file"]) == ("one-room.toml", "mild.csv")


def test_a_thousand_older_nights_do_not_block_the_next(planned, cureplan, tmp_path) -> None:
    shutil.copytree(planned[0] / RED, tmp_path / "night-plan")
    for number in range(2, 1002):
        (tmp_path / f"night-plan-{number}").mkdir()
    plan = json.loads((tmp_path / "night-plan" / "plan.json").read_text(encoding="utf-8"))
    first = plan["buckets"][0]
    (tmp_path / "log.csv").write_text(
        f"at,event,room,bucket,value\n{first['pour']},poured,{first['room']},1,\n"
    )
    done = cureplan("replan", "night-plan/plan.json", "log.csv", folder=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "night-plan-1002" / "plan.json").exists()


def circles(folder: Path) -> None:
    links = {"a.toml": "a.toml", "a.csv": "b.csv", "b.csv": "a.csv", "d": "d"}
    for name, target in links.items():
        (folder / name).symlink_to(folder / target)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


@pytest.mark.parametrize(
    "words",
    [
        ("plan", "a.toml"),
        ("check", "d/job.toml"),
        ("plan", *PLAN, "--out", "d"),
        ("plan", *PLAN, "--out", "d/out"),
        ("weather", "one-room.toml", "--save", "a.csv"),
        ("weather", "one-room.toml", "--picture", "d/x.png"),
        ("fit", "a.csv", "--card", "fast-slurry"),
        ("clock", "a.toml", "--at", "90 F"),
        ("trial", "--card", "fast-slurry", "--out", "a.csv"),
        ("replan", "d", "a.csv"),
        ("record", "a.csv", "a.csv"),
        ("new", "a.toml"),
        ("new", "d/job.toml"),
    ],
)
def test_links_in_a_circle_are_one_line(cureplan, tmp_path, words) -> None:
    circles(job_in(tmp_path))
    before = names(tmp_path)
    done = cureplan(*words, folder=tmp_path)
    assert done.returncode == BAD_INPUT
    assert done.stderr.count("\n") == 1
    assert "there is no such" not in done.stderr or words[0] == "check"
    assert names(tmp_path) == before


@pytest.mark.parametrize(
    "words",
    [
        ("plan", f"{LONG}.toml"),
        ("plan", *PLAN, "--out", LONG),
        ("plan", *PLAN, "--out", f"{LONG}/{LONG}"),
        ("weather", "one-room.toml", "--save", f"{LONG}.csv"),
        ("fit", LONG, "--card", "fast-slurry"),
        ("clock", f"{LONG}.toml", "--at", "90 F"),
        ("trial", "--card", "fast-slurry", "--out", LONG),
        ("replan", LONG, LONG),
        ("record", LONG, LONG),
        ("replan", "made/plan.json", "log.csv", "--out", LONG),
        ("new", f"{LONG}.toml"),
        # Short enough itself, but not with what is put after it.
        ("new", "n" * 250),
    ],
)
def test_names_longer_than_names_may_be_are_one_line(
    planned, cureplan, tmp_path, words
) -> None:
    job_in(tmp_path)
    shutil.copytree(planned[0] / RED, tmp_path / "made")
    before = names(tmp_path)
    done = cureplan(*words, folder=tmp_path)
    assert done.returncode == BAD_INPUT, done.stderr
    assert done.stderr.count("\n") == 1
    assert "File name too long" in done.stderr
    assert len(done.stderr) < 900
    assert names(tmp_path) == before


@pytest.mark.parametrize(
    "zone",
    [
        *("America", "Etc", "America/", "../../etc/passwd", "/etc/localtime", "zone.tab"),
        # What this machine was set to, and zones that count leap seconds.
        *("localtime", "posixrules", "right/America/New_York", "posix/America/New_York"),
    ],
)
def test_what_is_no_zone_is_one_line(zone: str) -> None:
    text = (JOBS / "one-room.toml").read_text(encoding="utf-8")
    with pytest.raises(InputError, match="no such time zone is known") as caught:
        read_job_text(text.replace("America/New_York", zone), source=JOBS / "job.toml")
    assert caught.value.key == "site.time_zone"
    assert "\n" not in str(caught.value)


def test_a_file_named_as_a_draft_would_be_is_kept(cureplan, tmp_path) -> None:
    (tmp_path / "job.toml.draft").write_text('[site]\nname = "my own notes"\n')
    done = cureplan("new", "job.toml", folder=tmp_path)
    assert done.returncode == BAD_INPUT
    assert "job.toml.draft" in done.stderr
    assert (tmp_path / "job.toml.draft").read_text() == '[site]\nname = "my own notes"\n'


class Terminal:
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True

    def write(self, _: str) -> int:
        return 0

    def flush(self) -> None:
        pass


@pytest.mark.parametrize(
    ("variables", "colour", "written_over"),
    [
        ({}, True, True),
        # As no-color.org has it: set, and not empty.
        ({"NO_COLOR": "1"}, False, True),
        ({"NO_COLOR": ""}, True, True),
        ({"TERM": "dumb"}, False, False),
    ],
)
def test_plain_terminals_get_plain_text(monkeypatch, variables, colour, written_over) -> None:
    for name in ("NO_COLOR", "TERM"):
        monkeypatch.delenv(name, raising=False)
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(sys, "stdout", Terminal())
    monkeypatch.setattr(sys, "stderr", Terminal())
    assert in_colour() is colour
    with progress_line() as tell:
        assert (tell is not None) is written_over


def test_who_reads_no_terminal_hears_now_and_then_how_far_a_long_search_is(monkeypatch) -> None:
    clock_s = [0.0]
    monkeypatch.setattr("time.monotonic", lambda: clock_s[0])
    monkeypatch.setattr(sys, "stderr", StringIO())
    with progress_line(long=True) as tell:
        assert tell is not None
        for second in range(25):
            clock_s[0] = float(second)
            tell(f"step {second}")
    assert sys.stderr.getvalue() == "searching: step 10\nsearching: step 20\n"


def test_whatever_a_command_reads_is_never_written_over(cureplan, tmp_path) -> None:
    job_in(tmp_path)
    shipped = files("cureplan.inputs.cards") / "shipped" / "fast-slurry.toml"
    (tmp_path / "mine.toml").write_text(shipped.read_text(encoding="utf-8"), encoding="utf-8")
    job = (tmp_path / "one-room.toml").read_text(encoding="utf-8")
    job = job.replace('slurry = "fast-slurry"', 'slurry = "mine.toml"')
    (tmp_path / "job.toml").write_text(f'records = "done"\n{job}', encoding="utf-16")
    (tmp_path / "own.toml").write_text("[pace]\n", encoding="utf-8")
    (tmp_path / "done").mkdir()
    (tmp_path / "done" / "2025.toml").write_text("# a season\n", encoding="utf-8")
    before = {path: path.read_bytes() for path in tmp_path.rglob("*.toml")}
    weather = ("weather", "job.toml", "--force", "--save")
    for words in (
        *((*weather, name) for name in ("mine.toml", "own.toml", "done/2025.toml")),
        (
            "fit",
            "--card",
            "mine.toml",
            "--records",
            "done",
            "--force",
            "--out",
            "done/2025.toml",
        ),
    ):
        env = {"CUREPLAN_DEFAULTS": "own.toml"}
        done = cureplan(*words, folder=tmp_path, env=env)
        assert done.returncode == BAD_INPUT, done.stderr
        assert "the command reads" in done.stderr, words
    assert {path: path.read_bytes() for path in before} == before
