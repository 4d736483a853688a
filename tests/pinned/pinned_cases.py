"""What the command line gives for fixed jobs and nights, made ready to be compared.

The jobs, their weather, the card and the logs are invented scenarios. Commands run in
this process, just as ``python -m cureplan`` runs them, so that no import has to follow
when a module moves; plan.png and plan.pdf are left blank, as nothing here looks at them.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import re
import runpy
import shutil
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from unittest.mock import patch

from matplotlib.figure import Figure

HERE = Path(__file__).parent
EXPECTED = HERE / "expected"
TABLES = ("buckets.csv", "calls.csv", "coats.csv", "crew.ics")
NOW = "2026-06-10T09:00"
# The digest of a plan.json hangs on every last bit.
CHANGING = ("made_at", "digest")
DECIMAL = re.compile(r"-?\d+\.\d+(?:[eE][+-]?\d+)?")


@dataclass(frozen=True)
class Case:
    """A run of the command, and the run whose plan it goes on from, if any."""

    words: tuple[str, ...]
    after: str | None = None


def _job(name: str) -> Case:
    return Case(("plan", f"{name}.toml", "--now", NOW, "--out", name))


def _night(name: str, *, of: str, now: str) -> Case:
    words = ("replan", f"{of}/plan.json", f"{name}.csv", "--now", now, "--out", name)
    return Case(words, after=of)


CASES = {
    "demo": Case(("demo", "--out", "demo")),
    "one-room": _job("one-room"),
    "metric-spanish": _job("metric-spanish"),
    "ten-rooms": _job("ten-rooms"),
    "short-of-policy": _job("short-of-policy"),
    "no-plan": _job("no-plan"),
    "humidity-card": _job("humidity-card"),
    "night-on-time": _night("night-on-time", of="metric-spanish", now="2026-06-10T22:06"),
    "night-fast-warm": _night("night-fast-warm", of="metric-spanish", now="2026-06-10T22:12"),
    "night-mixer-down": _night("night-mixer-down", of="humidity-card", now="2026-06-10T18:58"),
}


@contextlib.contextmanager
def workshop(folder: Path) -> Iterator[Callable[[str], dict[str, str]]]:
    """A folder with jobs and logs in it, and what runs a case there, each only once."""
    for source in (*(HERE / "jobs").iterdir(), *(HERE / "logs").iterdir()):
        shutil.copy(source, folder)
    done: dict[str, dict[str, str]] = {}

    def outputs(name: str) -> dict[str, str]:
        if name not in done:
            case = CASES[name]
            if case.after is not None:
                outputs(case.after)
            done[name] = _outputs(name, case, folder)
        return done[name]

    yield outputs


def _outputs(name: str, case: Case, folder: Path) -> dict[str, str]:
    """Terminal text, parts of plan.json and tables by name, as they are compared."""
    found = {"terminal": plain_text(_run(case.words, folder), folder)}
    made = folder / name
    if not made.exists():
        return found
    plan = plain_value(json.loads((made / "plan.json").read_text(encoding="utf-8")), folder)
    found["plan.json"] = json.dumps(plan, ensure_ascii=False, indent=1)
    for key, value in plan.items():
        found[f"plan.json {key}"] = json.dumps(value, ensure_ascii=False, indent=1)
    for table in TABLES:
        text = (made / table).read_bytes().decode("utf-8")
        found[table] = plain_text(text, folder)
    return found


def _run(words: tuple[str, ...], folder: Path) -> str:
    """Both streams and the exit code of ``python -m cureplan`` with these words."""
    out, err = io.StringIO(), io.StringIO()
    code: object = 0
    with (
        contextlib.chdir(folder),
        patch.object(sys, "argv", ["cureplan", *words]),
        patch.dict(os.environ, {"COLUMNS": "100"}),
        patch.object(Figure, "draw", lambda *_: None),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            runpy.run_module("cureplan", run_name="__main__")
        except SystemExit as end:
            code = end.code
    said = f"{err.getvalue()}(on stderr)\n" if err.getvalue() else ""
    return f"{out.getvalue()}{said}(exit code {code})\n"


def plain_text(text: str, folder: Path) -> str:
    """Text without the folder's path, its decimals cut to six digits."""
    here = text.replace(f"{folder.resolve()}{os.sep}", "")
    return DECIMAL.sub(lambda found: _six(float(found[0])), here)


def plain_value(value: Any, folder: Path) -> Any:
    """A value of plan.json without paths and the time it was made, to six digits.

    So that the last bit of another processor's floats changes nothing.
    """
    if isinstance(value, dict):
        kept = {key: item for key, item in value.items() if key not in CHANGING}
        return {key: plain_value(item, folder) for key, item in kept.items()}
    if isinstance(value, list):
        return [plain_value(item, folder) for item in value]
    if isinstance(value, float):
        return float(_six(value))
    if isinstance(value, str):
        return Path(value).name if Path(value).is_absolute() else plain_text(value, folder)
    return value


def _six(number: float) -> str:
    return "0" if abs(number) < 1e-9 else f"{number:.6g}"


def digests(outputs: dict[str, str]) -> dict[str, str]:
    """A digest of each output."""
    return {
        name: hashlib.sha256(text.encode("utf-8")).hexdigest()[:16]
        for name, text in outputs.items()
    }


def write_expected(name: str, outputs: dict[str, str]) -> None:
    """The digests, and the terminal text in full so that a difference can be read."""
    table = json.dumps(digests(outputs), indent=2) + "\n"
    (EXPECTED / f"{name}.json").write_text(table, encoding="utf-8")
    (EXPECTED / f"{name}.txt").write_text(outputs["terminal"], encoding="utf-8")
