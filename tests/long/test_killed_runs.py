"""Processes killed at random instants: files are old or new, whole, and nothing is left over.

`--kills 1000` kills so many; the instants are drawn from a seed that a failure names. A
third fall anywhere in a run; the rest within the moment in which it writes, found by
watching its folder, since most of a run only reads and reckons.
"""

from __future__ import annotations

import ctypes
import hashlib
import os
import random
import select
import shutil
import signal
import subprocess
import sys
import time
import tomllib
from collections import Counter
from pathlib import Path

import pytest
from spoiling import outcomes

from cureplan.core.writing import settle
from cureplan.inputs.job.interview import next_question

PINNED = Path(__file__).parents[1] / "pinned"
SEED = 20_260_610
# What each command writes: several files all or nothing, or single files whole.
TOGETHER = {
    "plan": ("plan", "one-room.toml", "--now", "2026-06-10T09:00", "--out", "night-plan"),
    "replan": ("replan", "before/plan.json", "log.csv", "--out", "night-plan"),
    "fit": (
        *("fit", "readings.csv", "--card", "fast-slurry", "--force"),
        *("--out", "mine.toml", "--picture", "mine.png"),
    ),
    "weather": ("weather", "one-room.toml", "--save", "hours.csv", "--picture", "hours.png"),
}
APART = {
    "record": ("record", "before/plan.json", "log.csv", "--out", "finished", "--force"),
    "trial": ("trial", "--card", "fast-slurry", "--out", "trial.csv", "--force"),
    # In a folder of its own, where no older job changes what is usual.
    "new": ("new", "fresh/job.toml"),
}
NAMES = [*TOGETHER, *APART]
# Two rooms, after every other question has been answered as usual.
ROOMS = "Corridor\n34 ft\n6 ft\npassage\n\nnone\nCook line\n\n\n\n\nCorridor\n\n"
WRITING_S = (0.002, 0.01, 0.08)
"""From the first of several files to longer than any of them writes on a quiet machine."""
CHANGES = 0x2 | 0x40 | 0x80 | 0x100 | 0x200
"""IN_MODIFY, IN_MOVED_FROM, IN_MOVED_TO, IN_CREATE and IN_DELETE of inotify(7)."""


def run(words: tuple[str, ...], folder: Path) -> subprocess.Popen[bytes]:
    """The command as a process of its own."""
    with (folder / "answers.txt").open("rb") as answers:
        return subprocess.Popen(
            [sys.executable, "-m", "cureplan", *words, "--quiet"],
            cwd=folder,
            stdin=answers,
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


def usual_answers() -> dict[str, str]:
    """The interview up to the rooms, all as usual."""
    said: dict[str, str] = {}
    while (question := next_question(said)) is not None and question.path[0] != "rooms":
        said[question.key] = question.usual
    return said


def leftovers(folder: Path) -> list[str]:
    return [path.name for path in folder.rglob(".cureplan-*")]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with an older result of every command, and what each reads."""
    folder = tmp_path_factory.mktemp("shop")
    for path in (PINNED / "jobs").iterdir():
        shutil.copy(path, folder)
    (folder / "fresh").mkdir()
    (folder / "answers.txt").write_text("\n" * len(usual_answers()) + ROOMS)
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
    for name in ("mine.toml", "trial.csv", "mine.png"):
        (folder / name).write_text("# older\n")
    (folder / "hours.png").write_bytes(b"\x89PNG older")
    (folder / "hours.csv").write_text("# hourly weather written by cureplan, older\n")
    return folder


class Watch:
    """The kernel's word that something in a folder, or in one below it, is written."""

    def __init__(self, folder: Path) -> None:
        self._libc = ctypes.CDLL(None, use_errno=True)
        self._number = self._libc.inotify_init1(os.O_CLOEXEC)
        for place in (folder, folder / "night-plan", folder / "fresh"):
            watched = self._libc.inotify_add_watch(self._number, os.fsencode(place), CHANGES)
            assert watched >= 0, os.strerror(ctypes.get_errno())

    def wait(self, running: subprocess.Popen[bytes]) -> None:
        """Until it is so, or the run has ended."""
        try:
            while running.poll() is None:
                if select.select([self._number], [], [], 0.05)[0]:
                    return
        finally:
            os.close(self._number)


def check_new(folder: Path, new: dict[str, str], where: str) -> None:
    """The job file whole or not there, and a draft that the next run goes on from."""
    draft = folder / "fresh" / "job.toml.draft"
    if draft.exists():
        tomllib.loads(draft.read_text(encoding="utf-8"))
    if not (folder / "fresh" / "job.toml").exists():
        finished(APART["new"], folder)
        assert state(folder) == new, where
    else:
        assert state(folder).get("fresh/job.toml") == new["fresh/job.toml"], where
        draft.unlink(missing_ok=True)


@pytest.mark.parametrize("name", NAMES)
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
    seen_as: Counter[str] = Counter()
    for number in range(-(-kills // len(NAMES))):
        folder = tmp_path / "killed"
        shutil.copytree(shop, folder)
        watch = Watch(folder) if number % 3 else None
        running = run(words, folder)
        if watch is not None:
            after_s = draw.uniform(0, draw.choice(WRITING_S))
            watch.wait(running)
        else:
            after_s = draw.uniform(0, 1.1 * took_s)
        time.sleep(after_s)
        running.send_signal(signal.SIGKILL)
        running.communicate()
        where = f"{name}, kill {number} of seed {SEED}, after {after_s:.3f} s"
        seen_as["killed" if running.returncode == -signal.SIGKILL else "had ended"] += 1
        seen_as["left something"] += bool(leftovers(folder))
        for each in [folder, *(path for path in folder.iterdir() if path.is_dir())]:
            settle(each)
        seen = {key: one for key, one in state(folder).items() if ".cureplan-" not in key}
        if name in TOGETHER:
            assert seen in (old, new), where
            seen_as["old" if seen == old else "new"] += 1
        elif name == "new":
            check_new(folder, new, where)
        else:
            for key, one in seen.items():
                assert one in (old.get(key), new.get(key)), (where, key)
        if leftovers(folder):
            finished(words, folder)
        assert leftovers(folder) == [], where
        shutil.rmtree(folder)
    for what, count in seen_as.items():
        outcomes[f"{name}: {what}"] += count
