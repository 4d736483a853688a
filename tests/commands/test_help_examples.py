"""Every command's help ends with two examples; each is run as it stands there."""

from __future__ import annotations

import csv
import io
import json
import shlex
import sys
from pathlib import Path

import pytest
from matplotlib.figure import Figure
from test_new import ROOMS, USUAL
from typer.testing import CliRunner

import cureplan.api
from cureplan.cli import app, main

DEMO = Path(__file__).parents[2] / "cureplan" / "demo_data"
# In the order of a job, as the help lists them.
ORDER = (
    "new", "check", "weather", "plan", "compare", "replan", "record", "trial", "fit", "clock",
    "chill", "demo", "schema",
)  # fmt: skip


def examples(command: str) -> list[str]:
    """The lines below `Examples:` in a command's help."""
    ran = CliRunner().invoke(app, [command, "--help"])
    assert ran.exit_code == 0
    lines = ran.output.split("Examples:")[1].strip().splitlines()
    return [line.strip().removeprefix("cureplan ") for line in lines]


def test_commands_stand_in_the_order_of_a_job() -> None:
    text = CliRunner().invoke(app, ["-h"]).output
    listed = [line.split()[0] for line in text.split("Commands:")[1].splitlines() if line]
    assert [word for word in listed if word in ORDER] == list(ORDER)


@pytest.fixture(scope="module")
def kitchen(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what the examples name: a job of one room, readings, answers."""
    folder = tmp_path_factory.mktemp("kitchen")
    text = (DEMO / "school-kitchen.toml").read_text(encoding="utf-8")
    head, *rooms = text.split("[[rooms]]")
    corridor = next(room for room in rooms if 'name = "Corridor"' in room)
    (folder / "job.toml").write_text(f"{head}[[rooms]]{corridor}", encoding="utf-8")
    (folder / "heat-wave.csv").write_bytes((DEMO / "heat-wave.csv").read_bytes())
    (folder / "readings.csv").write_text(
        "kind,milestone,minutes,temp_c\ncup,working_time,11,30\n", encoding="utf-8"
    )
    return folder


def log_of(plan_file: Path) -> str:
    """What a crew would have ticked: the first two buckets, and the first one's end."""
    plan = json.loads(plan_file.read_text(encoding="utf-8"))
    first, second = plan["buckets"][:2]
    out = io.StringIO()
    table = csv.writer(out)
    table.writerow(["at", "event", "room", "bucket", "value", "note"])
    for bucket in (first, second):
        table.writerow([bucket["pour"], "poured", bucket["room"], bucket["number"], "", ""])
    last = [first["working_time_end"], "working time ended", first["room"], first["number"]]
    table.writerow([*last, "", ""])
    return out.getvalue()


@pytest.mark.thorough
@pytest.mark.parametrize("command", ORDER)
def test_the_examples_of_a_command_run(
    command: str, kitchen: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture
) -> None:
    monkeypatch.setattr(Figure, "draw", lambda *_: None)
    # The demo's own job is planned, in a process of its own, by tests/test_cli.py.
    monkeypatch.setattr(cureplan.api, "demo_job_path", lambda: kitchen / "job.toml")
    found = examples(command)
    assert len(found) == 2
    for number, words in enumerate(found):
        folder = kitchen
        if command == "new":
            folder = kitchen / f"new-{number}"
            folder.mkdir()
        monkeypatch.chdir(folder)
        typed = shlex.split(words.split("<")[0])
        answers = "\n".join([*USUAL, *ROOMS]) + "\n"
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(answers.encode())))
        monkeypatch.setattr(sys, "argv", ["cureplan", *typed])
        with pytest.raises(SystemExit) as ended:
            main()
        told = capsys.readouterr()
        # 1: a plan that falls short is a plan.
        assert ended.value.code in ((0, 1) if "plan" in command else (0,)), told.err
        assert (told.out == "") == ("--quiet" in typed), words
    if command == "plan":
        log = log_of(kitchen / "night-plan" / "plan.json")
        (kitchen / "log.csv").write_text(log, encoding="utf-8")


@pytest.mark.parametrize("command", ["chill", "fit"])
def test_readme_shows_what_its_commands_say(command: str, tmp_path, monkeypatch) -> None:
    text = (DEMO.parents[1] / "README.md").read_text(encoding="utf-8")
    block = next(b for b in text.split("```") if f"$ cureplan {command} " in b)
    typed, *told = block.strip().splitlines()
    points = ("25,60", "18,70", "11,90")
    lines = ["kind,milestone,minutes,temp_f", *(f"sheet,working_time,{p}" for p in points)]
    (tmp_path / "readings.csv").write_text("\n".join(lines), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    ran = CliRunner().invoke(app, shlex.split(typed.removeprefix("$ cureplan ")))
    assert len(told) == 3
    assert set(told) <= set(ran.output.splitlines())
