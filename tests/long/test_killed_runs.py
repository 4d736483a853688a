"""Processes killed at random instants: files are old or new, whole, and nothing is left over.

`--kills 1000` kills so many; the instants are drawn from a seed that a failure names.
"""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from cureplan.core.writing import settle

PINNED = Path(__file__).parents[1] / "pinned"
SEED = 20_260_610
# What each command writes: a folder all or nothing, or single files whole.
TOGETHER = {
    "plan": ("plan", "one-room.toml", "--now", "2026-06-10T09:00", "--out", "night-plan"),
    "replan": ("replan", "before/plan.json", "log.csv", "--out", "night-plan"),
}
APART = {
    "record": ("record", "before/plan.json", "log.csv", "--out", "finished", "--force"),
    "fit": ("fit", "readings.csv", "--card", "fast-slurry", "--out", "mine.toml", "--force"),
    "trial": ("trial", "--card", "fast-slurry", "--out", "trial.csv", "--force"),
    "weather": ("weather", "one-room.toml", "--save", "hours.csv"),
}


def run(words: tuple[str, ...], folder: Path) -> subprocess.Popen[bytes]:
    """The command as a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-m", "cureplan", *words, "--quiet"],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        env={**os.environ, "MPLBACKEND": "Agg"},
    )


def finished(words: tuple[str, ...], folder: Path) -> float:
    """Run to the end; how long it took."""
    begun = time.monotonic()
    running = run(words, folder)
    _, err = running.communicate(timeout=300)
    assert running.returncode in (0, 1), err
    return time.monotonic() - begun


def state(folder: Path) -> dict[str, str]:
    """A digest of every file below a folder."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def leftovers(folder: Path) -> list[str]:
    return [path.name for path in folder.rglob(".cureplan-*")]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with an older result of every command, and what each reads."""
    folder = tmp_path_factory.mktemp("shop")
    for path in (PINNED / "jobs").iterdir():
        shutil.copy(path, folder)
    now = ("--now", "2026-06-10T08:00")
    for out in ("before", "night-plan"):
        finished(("plan", "one-room.toml", *now, "--out", out), folder)
    import json

    buckets = json.loads((folder / "before" / "plan.json").read_text())["buckets"]
    lines = ["at,event,room,bucket,value,note"]
    lines += [f"{b['pour']},poured,{b['room']},{b['number']},," for b in buckets[:3]]
    first = buckets[0]
    lines.append(
        f"{first['working_time_end']},working time ended,{first['room']},{first['number']},,"
    )
    lines[1:] = sorted(lines[1:])
    (folder / "log.csv").write_text("\n".join(lines) + "\n")
    (folder / "readings.csv").write_text(
        "kind,milestone,minutes,temp_c\ncup,working_time,11,30\n"
    )
    for name in ("mine.toml", "trial.csv"):
        (folder / name).write_text("# older\n")
    (folder / "hours.csv").write_text("# hourly weather written by cureplan, older\n")
    return folder


@pytest.mark.parametrize("name", [*TOGETHER, *APART])
def test_killed_at_any_instant_files_are_old_or_new_and_nothing_stays(
    name: str, shop: Path, tmp_path: Path, kills: int
) -> None:
    words = {**TOGETHER, **APART}[name]
    whole = tmp_path / "whole"
    shutil.copytree(shop, whole)
    old = state(whole)
    took_s = finished(words, whole)
    new = state(whole)
    assert old != new
    draw = random.Random(f"{SEED} {name}")
    for number in range(-(-kills // len({**TOGETHER, **APART}))):
        folder = tmp_path / "killed"
        shutil.copytree(shop, folder)
        running = run(words, folder)
        # Most of a run only reads and reckons; half of the kills fall near its end.
        after_s = took_s * (draw.uniform(0, 1.1) if number % 2 else draw.uniform(0.75, 1.1))
        time.sleep(after_s)
        running.send_signal(signal.SIGKILL)
        running.communicate()
        where = f"{name}, kill {number} of seed {SEED}, after {after_s:.3f} s"
        for each in [folder, *(path for path in folder.iterdir() if path.is_dir())]:
            settle(each)
        seen = {key: one for key, one in state(folder).items() if ".cureplan-" not in key}
        if name in TOGETHER:
            assert seen in (old, new), where
        else:
            for key, one in seen.items():
                assert one in (old.get(key), new.get(key)), (where, key)
        if leftovers(folder):
            finished(words, folder)
        assert leftovers(folder) == [], where
        shutil.rmtree(folder)
