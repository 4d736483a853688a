"""The three answers are on the terminal before their doubt is taken apart or a file drawn."""

from __future__ import annotations

import pytest
from steady import write_job, write_weather

from cureplan.core.errors import OutputError

QUESTIONS = ("ORDER AND START", "ICE OR NOT", "TOPCOATS AND REOPENING")


@pytest.mark.parametrize(
    "later", ["planning.plan.assemble.made_of", "output.sheet.write.write_sheets"]
)
def test_the_answers_are_said_before_what_takes_as_long(cureplan, tmp_path, monkeypatch, later):
    def full(*_args, **_named):
        raise OutputError("the disk is full")

    write_weather(tmp_path / "weather.csv")
    job = write_job(tmp_path)
    monkeypatch.setattr(f"cureplan.{later}", full)
    ended = cureplan("plan", job, "--out", "out", folder=tmp_path)
    assert ended.returncode == OutputError.exit_code
    assert "the disk is full" in ended.stderr
    # Outside: the three questions of the product.
    asked = [ended.stdout.find(words) for words in QUESTIONS]
    assert -1 not in asked
    assert asked == sorted(asked)
    assert "plan.json" not in ended.stdout
