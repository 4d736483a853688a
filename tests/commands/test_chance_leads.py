"""Colour, words, exit code, calendar and JSON all follow the chance, whatever it is."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from icalendar import Calendar
from typer.testing import CliRunner

from cureplan.cli import app
from cureplan.output.text.terminal import terminal_text
from cureplan.planning.plan.model import plan_from_json

JOBS = Path(__file__).parents[1] / "pinned" / "jobs"


@pytest.mark.thorough
@pytest.mark.parametrize(("asked", "code"), [("60 %", 0), ("99.9 %", 1)])
def test_all_that_is_shown_follows_the_chance(tmp_path, asked, code):
    # One job, asked for less than it can have and for more: its buckets keep their margin
    # either way, so nothing but the chance may turn what is shown.
    shutil.copy(JOBS / "mild.csv", tmp_path)
    text = (JOBS / "one-room.toml").read_text(encoding="utf-8")
    assert 'confidence = "90 %"' in text
    job = tmp_path / "job.toml"
    job.write_text(text.replace('confidence = "90 %"', f'confidence = "{asked}"'))
    out = tmp_path / "out"
    words = ["plan", str(job), "--out", str(out), "--no-help", "--json"]
    ran = CliRunner().invoke(app, words)
    assert ran.exit_code == code, ran.output
    told = json.loads(ran.stdout)
    kept, chance = code == 0, told["risk"]["all_keep_frac"]
    assert (
        told["risk"]["all_keep_frac"]
        == json.loads((out / "plan.json").read_text())["risk"]["all_keep_frac"]
    )
    assert told["decisions"]["status"] == ("within policy" if kept else "short of policy")
    assert (chance >= told["job"]["policy"]["confidence"]) == kept

    plan = plan_from_json((out / "plan.json").read_text(encoding="utf-8"))
    shown = terminal_text(plan, width=100, colour=True, language="en")
    head = "\n".join(shown.splitlines()[:4])
    percent = f"holds on {int(100 * chance + 1e-9)}% of nights"
    assert percent in head
    # Green or amber (ANSI 32 and 33).
    assert ("\x1b[32m" in head, "\x1b[33m" in head) == (kept, not kept)
    assert ("not as often as asked" in head) == (not kept)

    events = Calendar.from_ical((out / "crew.ics").read_bytes()).walk("VEVENT")
    assert events
    # RFC 5545, 3.8.1.11: what is settled, and what is not.
    assert {str(e["STATUS"]) for e in events} == {"CONFIRMED" if kept else "TENTATIVE"}
    assert all(("not as often as asked" in str(e["DESCRIPTION"])) != kept for e in events)

    page = (out / "sheet.html").read_text(encoding="utf-8")
    assert f'class="status state-{"kept" if kept else "tight"}"' in page
    assert percent in page
