"""Why there is no plan is said before anybody looks for help; Ctrl-C says what it leaves."""

from __future__ import annotations

import importlib
import json
import signal
import sys
from dataclasses import replace

import pytest
from steady import write_job, write_weather

from cureplan.core.errors import NoFeasiblePlanError
from cureplan.output.sheet.write import PICTURES


@pytest.mark.parametrize("pressed", [True, False])
def test_the_reason_is_told_before_the_looking_and_outlives_it(
    cureplan, tmp_path, monkeypatch, pressed
):
    before: list[str] = []

    def look(job, tables, chosen, **_named):
        before.append(sys.stderr.getvalue())
        if pressed:
            signal.raise_signal(signal.SIGINT)
        return replace(chosen.schedule, relaxed=())

    write_weather(tmp_path / "weather.csv")
    # A topcoat bears wash-down days after it is laid, by its card; here it has a morning.
    job = write_job(tmp_path, ("2013-07-21T06:00:00", "2013-07-18T06:00:00"))
    monkeypatch.setattr("cureplan.planning.plan.ways.look_for_help", look)
    ended = cureplan("plan", job, "--out", "out", folder=tmp_path)
    assert ended.returncode == NoFeasiblePlanError.exit_code
    (told,) = before
    assert told.count("cureplan: No order and start keeps every limit:\n- ") == 1
    assert "is wanted" in told
    after = ended.stderr.removeprefix(told)
    assert after == ("" if pressed else "cureplan: No change that was tried would do.\n")
    assert not (tmp_path / "out").exists()


def test_ctrl_c_before_a_first_plan_says_that_nothing_was_written(
    cureplan, tmp_path, monkeypatch
):
    def prepare(*_args):
        signal.raise_signal(signal.SIGINT)

    write_weather(tmp_path / "weather.csv")
    job = write_job(tmp_path)
    monkeypatch.setattr("cureplan.planning.schedule.construct.prepare_pours", prepare)
    ended = cureplan("plan", job, "--out", "out", folder=tmp_path)
    # 128 and the number of the signal, as shells have it.
    assert ended.returncode == 128 + signal.SIGINT
    (line,) = (one for one in ended.stderr.splitlines() if "in the past" not in one)
    assert line == "stopped before a first plan was found; nothing was written"
    assert not (tmp_path / "out").exists()


@pytest.mark.thorough
@pytest.mark.parametrize(
    "during", ["cureplan.planning.plan.choose.assess", "cureplan.planning.plan.made_of._size"]
)
def test_what_is_stopped_is_written_without_what_nobody_acts_on(
    cureplan, tmp_path, monkeypatch, during
):
    # Pressed in the search or while its doubt is taken apart, and again while it is written.
    for place in (during, "cureplan.output.sheet.write._texts"):
        owner, _, name = place.rpartition(".")
        real = getattr(importlib.import_module(owner), name)

        def press(*args, real=real, place=place, **named):
            monkeypatch.setattr(place, real)
            signal.raise_signal(signal.SIGINT)
            return real(*args, **named)

        monkeypatch.setattr(place, press)
    write_weather(tmp_path / "weather.csv")
    ended = cureplan("plan", write_job(tmp_path), "--out", "out", folder=tmp_path)
    assert ended.returncode in (0, 1)
    plan = json.loads((tmp_path / "out" / "plan.json").read_text(encoding="utf-8"))
    assert plan["risk"]["made_of"] == []
    assert "warn.stopped" in [warning["code"] for warning in plan["warnings"]]
    sheet = (tmp_path / "out" / "sheet.html").read_text(encoding="utf-8")
    assert "Stopped by hand: this is the best plan found by then" in sheet
    # Nor is a search said to be stopped that had ended before.
    assert ("search was stopped by hand" in sheet) == (during.endswith("assess"))
    assert "topped by hand" in ended.stdout + ended.stderr
    written = {path.name for path in (tmp_path / "out").iterdir()}
    assert {"sheet.html", "buckets.csv", "coats.csv", "calls.csv", "crew.ics"} <= written
    assert not written & set(PICTURES)
