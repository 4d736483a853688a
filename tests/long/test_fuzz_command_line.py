"""Any command on spoiled files and strange places: what it may end with, and what it may touch.

    python -m pytest -o addopts= tests/long/test_fuzz_command_line.py --cases 0:2000

Each case is drawn from a seed and its own number, so that one that fails can be run alone
(`--cases 1234:1235`). In this process, to be fast; the second test runs a few of the same as
processes of their own, with the pictures drawn. Whatever happens, a command ends with a code
that was designed and, past 1, says one line; it leaves every file as it was that is not its
own to write, and its own old or new, whole.
"""

from __future__ import annotations

import hashlib
import os
import random
import shutil
import stat
import tempfile
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from command_line import run_here, run_process
from spoiling import (
    CELLS,
    NUMBERS,
    VALUES,
    Edit,
    characters,
    moved_line,
    other_cell,
    other_number,
    other_value,
    outcomes,
    spoiled,
    within,
)
from test_fuzz_night_log import CELLS as LOG_CELLS
from test_fuzz_readings import READINGS, RECORD
from test_killed_runs import ROOMS, usual_answers

from cureplan.api import read_plan
from cureplan.output.sheet.write import FILES, ROLE_FILES
from cureplan.planning.plan import made_of
from cureplan.planning.plan.model import plan_id

SEED = 20_261_128
LONGEST_S = 60.0
PINNED = Path(__file__).parents[1] / "pinned" / "jobs"
CARDS = Path(__file__).parents[2] / "cureplan" / "inputs" / "cards" / "shipped"
NOW = ("--now", "2026-06-10T09:00")
RED = "\x1b[31mred\x07"
SIGNS = [
    "\x1b[31m",
    "\x07",
    "\u2028",
    "\u202e",
    "é" * 300,
    "[" * 2000,
    '"',
    "'",
    "\\",
    "#",
    "\0",
]


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with all that commands read, older results of some, and what is nobody's."""
    folder = tmp_path_factory.mktemp("shop")
    card = (CARDS / "fast-slurry.toml").read_text("utf-8")
    (folder / "card.toml").write_text(card, "utf-8")
    job = (PINNED / "one-room.toml").read_text("utf-8")
    job = job.replace('slurry = "fast-slurry"', 'slurry = "card.toml"')
    (folder / "job.toml").write_text(job, "utf-8")
    shutil.copy(PINNED / "mild.csv", folder)
    (folder / "readings.csv").write_text(READINGS, "utf-8")
    (folder / "done").mkdir()
    (folder / "done" / "school.toml").write_text(RECORD, "utf-8")
    run_here("plan", "job.toml", *NOW, "--out", "old", "-q", folder=folder)
    plan = read_plan(folder / "old")
    rows = [f"{b.pour.isoformat()},poured,{b.room},{b.number},," for b in plan.buckets[:4]]
    first = plan.buckets[0]
    rows.append(f"{first.wet_edge_end.isoformat()},wet edge ended,{first.room},1,,slow")
    text = "at,event,room,bucket,value,note\n" + "\n".join(sorted(rows)) + "\n"
    (folder / "log.csv").write_text(text, "utf-8")
    (folder / "notes.txt").write_text("mine\n", "utf-8")
    (folder / "mine").mkdir()
    (folder / "mine" / "plan.pdf").write_bytes(b"%PDF the floor as drawn\n")
    (folder / "old.png").write_bytes(b"\x89PNG older")
    return folder


def stage(shop: Path, folder: Path) -> None:
    """A fresh copy, with what cannot be copied."""
    shutil.copytree(shop, folder, dirs_exist_ok=True)
    os.mkfifo(folder / "pipe")
    (folder / "link").symlink_to("job.toml")
    (folder / "nowhere").symlink_to("gone/far")
    (folder / "loop").symlink_to("loop")
    with suppress(PermissionError):
        # A device of its own: nobody misses this one.
        os.mknod(folder / "null", 0o666 | stat.S_IFCHR, os.makedev(1, 3))
    (folder / "notes.txt").chmod(0o640)


def state(folder: Path) -> dict[str, tuple[int, str]]:
    """Kind, mode and content of everything below a folder."""
    found: dict[str, tuple[int, str]] = {}
    for path in sorted(folder.rglob("*")):
        mode = path.lstat().st_mode
        text = ""
        if stat.S_ISREG(mode):
            text = hashlib.sha256(path.read_bytes()).hexdigest()
        elif stat.S_ISLNK(mode):
            text = str(path.readlink())
        found[str(path.relative_to(folder))] = mode, text
    return found


# What is spoiled, and how


def _toml(draw: random.Random) -> Edit:
    if draw.random() < 0.5:
        return other_number(draw.randrange(10**5), draw.choice(NUMBERS))
    return other_value(draw.randrange(10**5), draw.choice(VALUES))


def _table(draw: random.Random) -> Edit:
    return other_cell(draw.randrange(10**5), draw.choice([*CELLS, *LOG_CELLS]))


def _signs(draw: random.Random) -> Edit:
    signs = draw.choice([*SIGNS, str(draw.randrange(10)), draw.choice("[]{},:=\n")])
    return characters(draw.randrange(10**6), draw.choice([0, 0, 1, 3, 40]), signs)


def _line(draw: random.Random) -> Edit:
    return moved_line(draw.randrange(10**4), draw.randrange(10**4), draw.random() < 0.5)


def _half(draw: random.Random) -> Edit:
    at = draw.random()
    return lambda text: text[: int(at * len(text))]


def _json(draw: random.Random) -> Edit:
    value = draw.choice(["null", "-1", "1e308", '"x"', "[]", "{}", "5000000000", '"\\ud800"'])
    return other_cell(draw.randrange(10**5), value)


KINDS: dict[str, list[Callable[[random.Random], Edit]]] = {
    ".toml": [_toml, _toml, _toml, _line, _signs, _half],
    ".csv": [_table, _table, _table, _line, _signs, _half],
    ".json": [_json, _json, _signs, _half],
    ".ics": [_signs, _line, _half],
}


def spoil(path: Path, draw: random.Random) -> None:
    """A few changes of a file, and now and then the whole of it in another shape."""
    kinds = KINDS[path.suffix]
    edits = [draw.choice(kinds)(draw) for _ in range(draw.choice([1, 1, 2, 3]))]
    text = spoiled(path.read_text("utf-8", errors="replace"), edits)
    shape = draw.random()
    if shape < 0.02:
        path.write_bytes(draw.randbytes(draw.choice([0, 3, 200])))
    elif shape < 0.05:
        path.write_text(
            text, encoding=draw.choice(["utf-16", "utf-8-sig", "latin-1"]), errors="replace"
        )
    else:
        path.write_text(text, encoding="utf-8", errors="surrogatepass")


# What is asked

PLACES = [
    "old", "old", "mine", "notes.txt", "old.png", "job.toml", "link", "nowhere", "loop", "pipe",
    "null", "no/such", "n" * 300, ".", "", "card.toml", "done/school.toml", "mild.csv",
    "log.csv", "./job.toml", "mine/../log.csv", RED, "caf\udce9", "readings.csv",
    "old/plan.json",
]  # fmt: skip
READ = ["link", "pipe", "null", "loop", "nothing", ".", "mild.csv", "n" * 300]
WARM = ["90 F", "21 C", "0 C", "130 F", "90", "", "-- F", "1e400 F", f"9{RED}0 F"]


def words_of(draw: random.Random) -> list[str]:
    """A command line, most of it sound."""

    def place() -> str:
        return "new" if draw.random() < 0.5 else draw.choice(PLACES)

    job = "job.toml" if draw.random() < 0.85 else draw.choice(READ)
    force = ["--force"] if draw.random() < 0.3 else []
    card = draw.choice(["card.toml"] * 18 + ["fast-slurry", "clear-topcoat", "nothing", "pipe"])
    log = draw.choice(["log.csv"] * 20 + ["pipe", "old/calls.csv", "job.toml", "nothing"])
    made = draw.choice(
        ["old/plan.json"] * 18 + ["old", "old", "job.toml", "pipe", "mine/plan.pdf"]
    )
    now = draw.choice([NOW] * 6 + [(), ("--now", "yesterday"), ("--now", "9999-12-31T23:59")])
    more = ["--json"] if draw.random() < 0.3 else ["-q"] if draw.random() < 0.3 else []
    asked = {
        "check": lambda: ["check", job],
        "plan": lambda: [
            *("plan", job, *now, "--out", place(), *force),
            *draw.choice([["--no-help"], ["--no-help"], ["--xlsx", "--no-help"], []]),
        ],
        "weather": lambda: [
            *("weather", job, *now, *force, "--save", place()),
            *(["--picture", place()] if draw.random() < 0.3 else []),
        ],
        "replan": lambda: [
            *("replan", made, log, *(now if draw.random() < 0.2 else ())),
            *("--out", place(), *force),
        ],
        "record": lambda: ["record", made, log, "--out", place(), *force],
        "fit": lambda: [
            *("fit", draw.choice(["readings.csv"] * 9 + ["mild.csv", "pipe"])),
            *("--card", card, "--out", place(), *force),
            *draw.choice([[], [], ["--records", "done"], ["--records", place()]]),
            *(["--picture", place()] if draw.random() < 0.3 else []),
        ],
        "trial": lambda: ["trial", "--card", card, "--out", place(), *force],
        "clock": lambda: ["clock", card, "--at", draw.choice(WARM)],
        "chill": lambda: ["chill", card, "--air", draw.choice(WARM), "--slab", "88 F"],
        "new": lambda: ["new", place()],
        "compare": lambda: ["compare", job, "--vary", draw.choice(["ice", "x"]), *now],
        "schema": lambda: ["schema", draw.choice(["plan", "job", "x"])],
    }
    names = [*asked, *["plan", "weather", "replan", "record", "fit", "check"] * 3]
    return [*asked[draw.choice(names)](), *more]


ANSWERS = [
    "", "Corridor", "34 ft", "6 ft", "passage", "none", "x", RED, "2026-06-10 18:00", "9" * 400,
]  # fmt: skip


def typed_of(draw: random.Random) -> str:
    """What is typed in an interview: all as usual and two rooms, but for an answer or two."""
    lines = ["" for _ in usual_answers()] + ROOMS.splitlines()
    for _ in range(draw.choice([0, 1, 1, 2, 9])):
        lines[draw.randrange(len(lines))] = draw.choice(ANSWERS)
    return "\n".join(lines[: draw.choice([99, 99, draw.randrange(40)])]) + "\n"


SPOILT = [
    *("job.toml", "job.toml", "mild.csv", "card.toml", "log.csv", "readings.csv"),
    *("done/school.toml", "old/plan.json", "old/crew.ics"),
]


def case(number: int, shop: Path, folder: Path) -> tuple[list[str], str]:
    """The command line of a case and what is typed, its folder staged and spoiled."""
    draw = random.Random(f"{SEED} {number}")
    stage(shop, folder)
    words = words_of(draw)
    read = [name for name in SPOILT if name in words] * 3 + SPOILT
    for name in draw.choices(read, k=draw.choice([0, 1, 1, 1, 2])):
        spoil(folder / name, draw)
    return words, typed_of(draw)


# What may come of it


def judged(
    words: list[str], code: int, out: str, err: str, before: dict[str, Any], folder: Path
) -> None:
    """Assert whatever holds for any command at all."""
    assert code in (0, 1, 2, 3, 4), err[-600:]
    assert code != 1 or words[0] in ("plan", "replan", "demo"), err
    assert "Traceback" not in out + err
    assert "fault of cureplan" not in err
    assert not {"\x1b", "\x07"} & {*out, *err}, (out + err)[-300:]
    assert all(len(line) < 3000 for line in err.splitlines())
    # What `check` finds impossible it says in its answer.
    if code >= 2 and "Usage:" not in err and (words[0], code) != ("check", 3):
        last = [line for line in err.splitlines() if line.startswith("cureplan: ")]
        assert len(last) == 1, err
    after = state(folder)
    assert not any(".cureplan-" in name for name in after)
    changed = {n for n in before.keys() | after.keys() if before.get(n) != after.get(n)}
    if words[0] == "new":
        _judge_new(words[1], code, changed)
    elif code >= 2 and words[0] != "record":
        assert not changed, err
    elif changed:
        _judge_written(words, changed, before, after, folder)
    if code <= 1 and words[0] in ("plan", "replan"):
        _judge_plan(folder / words[words.index("--out") + 1])


def _judge_new(name: str, code: int, changed: set[str]) -> None:
    own = {os.path.normpath(name), f"{os.path.normpath(name)}.draft"}
    assert changed <= own, changed
    assert (os.path.normpath(name) in changed) == (code == 0)


def _judge_written(
    words: list[str], changed: set[str], before: Any, after: Any, folder: Path
) -> None:
    """Only what was named, never what is read, another's only by force; modes are kept."""
    named = {
        os.path.normpath(words[at + 1])
        for at, word in enumerate(words)
        if word in ("--out", "--save", "--picture")
    }
    # Links are followed, and by force what they lead to is written over.
    named |= {
        os.path.relpath((folder / name).resolve(), folder.resolve())
        for name in named
        if name == "link"
    }
    read = {"job.toml", "mild.csv", "card.toml"}
    if words[0] in ("replan", "record"):
        read = {"old/plan.json", "log.csv"}
    elif words[0] in ("fit", "trial"):
        read = {"card.toml", "readings.csv"} if words[0] == "fit" else {"card.toml"}
        read |= {"done/school.toml"} if "done" in words else set()
    sheets = {*FILES, *ROLE_FILES}
    for name in changed:
        into = str(Path(name).parent)
        folders = {str(Path(each).parent) for each in named}
        assert name in named or into in named or name in folders, (name, named)
        assert name not in read, name
        was, now = before.get(name), after.get(name)
        is_sheet = words[0] in ("plan", "replan") and Path(name).name in sheets
        assert now is not None or is_sheet, f"{name} is gone"
        if was is None or now is None:
            continue
        assert was[0] == now[0], f"{name} has another kind or mode"
        assert into == "old" or name == "old.png" or "--force" in words, f"{name} is another's"


def _judge_plan(folder: Path) -> None:
    """One whole plan: its sheet is of the plan beside it."""
    plan = read_plan(folder)
    assert plan_id(plan) in (folder / "sheet.html").read_text("utf-8")
    assert all((folder / name).stat().st_size > 0 for name in ("buckets.csv", "crew.ics"))


@pytest.fixture
def without_pictures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Drawn by the processes of the second test; here they only cost time."""
    png = b"\x89PNG"
    monkeypatch.setattr("cureplan.output.charts.pages.plan_pictures", lambda _: {})
    monkeypatch.setattr("cureplan.output.charts.weather_picture.weather_png", lambda *_: png)
    monkeypatch.setattr("cureplan.output.charts.fit_picture.fit_png", lambda _: png)
    monkeypatch.setattr(made_of, "ROOM_NIGHTS", 200)


def faults_of(numbers: Iterator[int], shop: Path, run: Callable[..., Any]) -> list[str]:
    """What went wrong in some cases; the others are counted."""
    faults: list[str] = []
    for number in numbers:
        with tempfile.TemporaryDirectory(dir=shop.parent) as name:
            folder = Path(name)
            words, typed = case(number, shop, folder)
            before = state(folder)
            try:
                with within(LONGEST_S):
                    done = run(*words, folder=folder, typed=typed)
                judged(words, done.returncode, done.stdout, done.stderr, before, folder)
            except (Exception, KeyboardInterrupt) as error:  # noqa: BLE001
                faults.append(f"case {number}: {words}: {type(error).__name__}: {error}"[:1500])
            else:
                outcomes[f"{words[0]}: exit {done.returncode}"] += 1
    return faults


@pytest.mark.usefixtures("without_pictures")
def test_any_command_on_spoiled_files(shop: Path, cases: tuple[int, int]) -> None:
    faults = faults_of(iter(range(*cases)), shop, run_here)
    assert not faults, "\n".join(faults)


def test_the_same_as_processes_of_their_own(shop: Path, cases: tuple[int, int]) -> None:
    faults = faults_of(iter(range(*cases, 40)), shop, run_process)
    assert not faults, "\n".join(faults)
