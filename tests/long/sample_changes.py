"""Change one token of the package at random, in a copy: do the fast tests notice?

    python tests/long/sample_changes.py                 forty changes
    python tests/long/sample_changes.py 200 7           two hundred, drawn by the seed 7
    python tests/long/sample_changes.py 200 7 FOLDER    what is seen is kept there, and a run
                                                        that was ended goes on

Needs `coverage`: one run of the fast tests, but for the desk's and the browser's, tells which
of them run which line. A change is then shown to those that run its line, quickest first, for
some seconds, and if none fails to the others of their files. A test notices a change where it
fails by itself with it and passes by itself without: no other test is to blame. A line that no
test runs is missed at once. Prints a row for each change, and last the share noticed, with the
interval that holds it nineteen times in twenty. Each that is missed is to be read: a line
without a test, or one that means the same either way, and then it belongs in `EQUAL`. Ends
with 0.
"""

from __future__ import annotations

import ast
import gc
import io
import json
import os
import random
import re
import resource
import signal
import subprocess
import sys
import tempfile
import time
import tokenize
from collections.abc import Iterable, Iterator, Mapping
from contextlib import nullcontext
from pathlib import Path
from types import CodeType, FunctionType
from typing import Any, NamedTuple

import pytest
from mutating import TOP, copied

SWAPS = {
    "<": "<=", "<=": "<", ">": ">=", ">=": ">", "==": "!=", "!=": "==",
    "+": "-", "-": "+", "+=": "-=", "-=": "+=", "and": "or", "or": "and",
}  # fmt: skip
PLACES = (
    "planning/floor", "planning/schedule", "planning/odds", "planning/plan",
    "planning/replan", "judge", "weather", "inputs/job", "output/sheet",
)  # fmt: skip
"""Where changes are drawn."""
RECORDED = (
    "tests/schedule cureplan/planning cureplan/judge cureplan/weather cureplan/inputs",
    "tests/judge", "tests/planning", "tests/weather tests/inputs", "tests/replan",
    "tests/output cureplan/output", "tests/commands", "tests/pinned",
)  # fmt: skip
FIRST_S, THEN_S, LAST_S, PATIENCE_S, MOST_CPU_S = 15.0, 20.0, 60.0, 1800, 120
"""Of tests that run the line; of others in their files; of whole plans as they were; by the
clock and of the processor, before a change counts as one that never ends."""
USUAL = ("-q", "-p", "no:cacheprovider", "--no-header", "--timeout=0", "-m", "not thorough")
EQUAL = {
    "if worker.stdin is None and worker.stdout is None:": "it is given both",
    "if room.sun.ends_min <= room.sun.begins_min:": "like hours are refused above",
    "(max(a, c), min(b, d)) for a, b in below for c, d in above if min(b, d) >= max(a, c)":
        "an edge without length adds none",
    "dew_c[too_wide | (hours_s <= at_s[0]) | (hours_s > at_s[-1])] = np.nan":
        "no hour that is put in is a row's",
    "return self.stop() or self.worked > self.budget": "no sum is it to the last digit",
    "return ahead or [way] * (way.job.access.begins.timestamp() > now_s)":
        "no job begins in the second it is planned",
    'if trials.goal == "windows" and len(found) <= FEW_WAYS:': "none is wanted beside two",
    "if worst_k >= TEMP_TOL_K:": "no heat is off by it to the last digit",
    "in_step = -near_s < late_s <= 2.5 * near_s and spread_s <= near_s / 2":
        "who is early by just that is near",
    "week = [today - timedelta(days=n) for n in range(first, 9)]":
        "a week has each day once",
    "if layout.cut is not None or room.outline is not None:":
        "a layout is cut just where a room has an outline",
    "return towards if signed_area_m2(self.corners_m) > 0 else towards - math.pi":
        "half a turn either way",
    "if found.chance_frac <= self.job.policy.confidence - CLOSE_FRAC / 2:":
        "no chance is it to the last digit",
    "if falls < _LEAST_FALL:": "no slope is it to the last digit",
    "if above.start_s <= below.closed.ends_s:": "no layer bears feet on the very second",
    "if known.size < 24 or air.epoch_s[known[-1]] + air.epoch_s[known[0]] < _FULL_DAYS_S:":
        "fewer than four whole days are not looked at below",
    "gained = found.chance_frac >= best_frac + NOISE_FRAC":
        "a gain of just the noise is as good as none",
    "near_s = low_s if sure_s <= low_s else high_s": "who stands on the edge is not asked",
    "if then_k[least] <= worst_k:": "either of two alike may be told",
    "if buckets >= MOST_BUCKETS and len(written.rooms) <= MOST_ROOMS:":
        "no floor takes that to the last digit",
    'if not tail or text[10:11] == "T":': "what is parted otherwise is searched",
    "stated = [when for when in past if when < known.latest + _LATER][:1]":
        "no file is written in that very second",
    'counted = all(re.fullmatch(r"\\d{9,13}", text, re.ASCII) for text in texts[:2])':
        "seconds are counted in every row or in none",
    "if len(problem.rooms[room]) >= problem.pour(room) + 1": "every floor has a coat",
    "if pins[stage].timestamp() - could_s >= worst_s:": "either of two alike may be told",
    "if temp_k.std() <= _LEAST_SWING_K or np.ptp(shares[known]) == 0:":
        "no swing is it to the last digit",
    "if np.median(share) > _DRY_MEDIAN or share.max() >= _DRY_MOST:":
        "no air is it to the last digit",
    "if np.median(share) >= _DRY_MEDIAN or share.max() > _DRY_MOST:":
        "no air is it to the last digit",
    "if np.median(other) <= 0.2:": "no air is it to the last digit",
    "at = np.abs(numbers[known] - mark) <= 1e-9": "nothing is so little off",
    "if _sun_w_m2(place, float(np.median(air.epoch_s))) <= _DARK_W_M2:":
        "no sun is it to the last digit",
    "kept = means_c.std() <= _ROOM_DAYS_K and _ROOM_C[0] <= means_c.mean() <= _ROOM_C[1]":
        "no spread is it to the last digit",
    "if swing_k <= _LEAST_SWING_K or left.var() > (1.0 - _LEAST_SHARE) * rest.var():":
        "no swing is it to the last digit",
    "if swing_k < _LEAST_SWING_K or left.var() >= (1.0 - _LEAST_SHARE) * rest.var():":
        "no share is it to the last digit",
    "return None if _WARMEST_H[0] < crest_h <= _WARMEST_H[1] else crest_h":
        "no crest is it to the last digit",
    "return None if _WARMEST_H[0] <= crest_h < _WARMEST_H[1] else crest_h":
        "no crest is it to the last digit",
    "if plain.rindex(months[0]) <= plain.index(first):": "no word is a number",
    "cold = temp_c[worst] <= low_c": "what stands at its limit is not told",
    'if not tail and text[11:11] == "T":': "what is parted otherwise is searched",
    'if not tail and text[10:12] == "T":': "what is parted otherwise is searched",
    'if not tail and text[10:11] != "T":': "what is parted otherwise is searched",
    "head, tail = text[:11], text[11:]": "what is parted otherwise is searched",
    "if one is not None or one not in met:": "a date met before fits as it did",
    "if abs(longitude_deg) < 90 and far(longitude_deg, latitude_deg, most_h=2.5) is None:":
        "no zone's city lies at a pole",
    "if abs((hours - 12) % 24 - 12) > most_h:": "half a day either way",
    "east_deg = (longitude_deg - city[1] - 180.0) % 360.0 - 180.0": "half a turn either way",
    "if abs(east_deg) >= FARTHEST_EAST_DEG.get(time_zone, FARTHEST_FROM_CITY_DEG):":
        "no site is it to the last digit",
    "if len(cells) >= 2 and cells[2] == time_zone:": "no line has two cells",
    "if _moved(model.rate, rate) <= SETTLED_FRAC:": "no move is it to the last digit",
    "if np.count_nonzero(nearest_k > _NEIGHBOURS_K) > len(sound) - 1:":
        "who has a neighbour is one himself",
    "ready = np.where(stages[-1].opens <= NEVER, stages[-1].opens, NEVER)":
        "never is never either way",
    "times_s = np.arange(0.0, lasts_s - STEP_S / 2, STEP_S)": "the last step is not read",
    "inside = (self.epoch_s >= start) & (self.epoch_s < start + lasts_s)":
        "both ends are looked at besides",
    "inside = (self.epoch_s > start) & (self.epoch_s <= start + lasts_s)":
        "both ends are looked at besides",
    "inside = hours_s[(hours_s >= start_s) & (hours_s < end_s)]":
        "both ends are looked at besides",
    "inside = hours_s[(hours_s > start_s) & (hours_s <= end_s)]":
        "both ends are looked at besides",
    "when_s = curve.when(start_s=landed.pour_s, age_s=by_slab_s + landed.film_age_s[..., -1])":
        "the rounds end where they end, wherever they begin",
    "tied_in_s=np.where(met <= 0, np.nan, raked[met]),": "no bucket is met by the first",
    "bare_s = 0.0 if met[patch] <= 0 else strip_s[patch]": "no bucket is met by the first",
    "waiting.append((patch, float(broadcast_s[patch] - bare_s), bool(met[patch] <= 0)))":
        "no bucket is met by the first",
    "while waiting and free_s <= over_s - _EPS:": "no turn is over to the last digit",
    "if done_s <= left_s - _EPS:": "no work is done to the last digit",
    'code = "replan.faster" if faster_frac >= 0 else "replan.slower"': "nothing is not told",
    'code = "replan.kits_warmer" if fit.kit_k >= 0 else "replan.kits_cooler"':
        "nothing is not told",
    'code = "replan.quickens" if per_h >= 0 else "replan.slows"': "nothing is not told",
    "half, *other = parts if warmer_k >= 0 else (OTHER_PART[part] for part in parts)":
        "nothing is not told",
    '"replan.slab_warmer" if shift_k >= 0 else "replan.slab_cooler",': "nothing is not told",
    'code = "replan.margin_less" if change_min <= 0 else "replan.margin_more"':
        "nothing is not told",
    'code = "replan.hour_late" if middle_s >= 0 else "replan.hour_early"':
        "who is on time is no hour off",
    "if len(off_s) < 2 or min(off_s) * max(off_s) <= 0:": "who is on time is no hour off",
    "if abs(faster_frac) > WORTH_FRAC:": "no speed is it to the last digit",
    "return fit.speed - 1.0 > WORTH_FRAC or fit.kit_k >= WORTH_K":
        "no speed is it to the last digit",
    "in_step = +near_s <= late_s <= 2.5 * near_s and spread_s <= near_s / 2":
        "who is early by less is near",
    "return sorted((p.bounds[0], p.bounds[2]) for p in pieces if p.length >= 0.0)":
        "an edge without length adds none",
    'return "mixer" if crew.mixer <= crew.stations else "station"':
        "as many of both is answered above",
    "if 0 < people <= begins_s.size:": "as many as there are buckets wait for none",
    "near_s = low_s if got_s <= low_s else high_s": "who stands on the edge is not told",
    "near = low if stated <= low else high": "who stands on the edge is not told",
    "if not abs(over_k) <= TEMP_TOL_K and room.sweats != (over_k < 0.0):":
        "what is as cold as the dew point is not asked",
    "if abs(one - other) > 0.05 - 1e-9:": "no two shares are it to the last digit",
    "side = 1.0 if from_wall_m([(middle.x, middle.y)])[0] >= 0 else -1.0":
        "no floor's middle lies on its wall",
    "and _shared_m(grown[i], grown[j]) >= LEAST_SHARED_M": "no edge is it to the last digit",
    "within = ROUNDED * max(1, len(parts)) if got <= low else ROUNDED":
        "the least is off by nothing",
    "if floor.plan.cadence_min <= least_min:": "just as long is off by nothing",
    "if apart_s.size and apart_s.min() <= 60.0 * least_min:": "just as long is off by nothing",
    'if plan.status == "within policy" and not risk.all_keep_frac > asked:':
        "as often as asked is off by nothing",
    "pull += apart @ (log_s + log_s.mean()) / milestone.spread_frac**2":
        "what lies apart from its mean adds up to nothing",
    "if search.score is not None or search.choice is not None:": "a choice has its score",
    "hours = round((last_s + first_s) / HOUR_S) + 1": "hours that nobody gives are left out",
    "if not 0 <= step_s <= _FINEST_AVERAGED_S or rows.epoch_s[-1] - rows.epoch_s[0] < HOUR_S:":
        "a single row spans no hour",
    "last = np.floor((rows.epoch_s[-1] + phase_s) / HOUR_S)": "no hour past the rows is known",
    "point[(grid <= at_s[0]) | (grid > at_s[-1])] = np.nan": "an hour with a row is set below",
    "point[(grid < at_s[0]) | (grid >= at_s[-1])] = np.nan": "an hour with a row is set below",
    "dew_c[too_wide | (hours_s < at_s[0]) | (hours_s >= at_s[-1])] = np.nan":
        "no hour that is put in is a row's",
    "len(series.missing_hours(span.wanted_from, span.ends)) < (1 - _LEAST_KEPT) * wanted_h":
        "no share is it to the last digit",
    "elif left or not running:": "what is not wanted is not wanted later",
    'code = "weather.clock_ahead" if off_s >= 0 else "weather.clock_behind"':
        "a clock that is right is not told of",
    "return body.lstrip()[:16].lower().startswith(_PAGE)": "no page's beginning is as long",
    "size += len(unpacking.decompress(left, LARGEST_BODY_BYTES + size + 1))":
        "what is too large may be read a little farther",
    "if risk.members <= 1:": "one night is as many as is asked",
    "if len(switches) >= 1:": "a run that is the only one is taken",
    "int((intervals.first - lengths).min()),": "nothing is free so soon",
    "many = min(len(tasks), (high + low) // max(1, hands.rest) + 1, MOST_VISITS)":
        "stays that are not used change nothing",
    "self.model.add(goes > comes)": "nor do they by how long they last",
    "int(task.intervals.last.max()) + min(most, least),": "nothing begins so late",
    "if self.problem.setup == self.problem.moving and not self.problem.crossings:":
        "who is first is asked where it matters",
    "if first or low.any():": "what has no first has no offset",
    'stay = self._int(0, high + low, f"{name} stay")': "nobody stays so long",
    "before = max(0, high + int(task.intervals.first.min()))": "it is enough either way",
    "after = max(0, int(task.ends_in(None).max()) + low)": "it is enough either way",
    "self.model.add(stay >= last - first - (high + low) * (1 - used))":
        "it is enough either way",
}  # fmt: skip
"""Lines, as changed, that mean the same as before, and why."""


class Change(NamedTuple):
    """A token of a file, and what stands there instead."""

    path: str
    row: int
    column: int
    before: str
    after: str


def changes(top: Path) -> Iterator[Change]:
    """Every change that can be drawn, in an order of its own."""
    for folder in PLACES:
        for path in sorted((top / "cureplan" / folder).rglob("*.py")):
            name = path.relative_to(top).as_posix()
            for found in sorted(set(_in_text(path.read_text("utf-8")))):
                yield Change(name, *found)


def _in_text(text: str) -> Iterator[tuple[int, int, str, str]]:
    for token in tokenize.generate_tokens(io.StringIO(text).readline):
        if token.string in SWAPS and token.type in (tokenize.OP, tokenize.NAME):
            yield (*token.start, token.string, SWAPS[token.string])
    for node in ast.walk(ast.parse(text)):
        edges: list[ast.expr | None] = []
        if isinstance(node, ast.Slice):
            edges = [node.lower, node.upper]
        elif isinstance(node, ast.Call) and ast.unparse(node.func) == "range":
            edges = [*node.args]
        for edge in edges:
            if isinstance(edge, ast.Constant) and isinstance(edge.value, int):
                # Columns of the tree count bytes; code here is plain ASCII up to its edges.
                yield edge.lineno, edge.col_offset, str(edge.value), str(edge.value + 1)


class Record:
    """Which test runs which line, and what it costs."""

    def __init__(self, folder: Path) -> None:
        import coverage

        self.tests: dict[str, Any] = {}
        self.fixture_s: dict[str, float] = {}
        self.runs = []
        self.by_file: dict[str, dict[int, set[str]]] = {}
        for told in sorted(folder.glob("*/tests.json")):
            seen = json.loads(told.read_text("utf-8"))
            self.tests |= {name: test for name, test in seen["tests"].items() if test["passed"]}
            self.fixture_s |= seen["fixtures"]
            data = coverage.CoverageData(str(told.parent / "coverage"))
            data.read()
            self.runs.append((data, seen["tests"]))

    def lines(self, path: str) -> dict[int, set[str]]:
        """Tests by line of a file; a line that only an import runs has none."""
        if path not in self.by_file:
            self.by_file[path] = by_line = {}
            for data, tests in self.runs:
                for name in (each for each in data.measured_files() if each.endswith(path)):
                    for line, contexts in data.contexts_by_lineno(name).items():
                        by_line.setdefault(line, set()).update(_tests_of(set(contexts), tests))
        return self.by_file[path]

    def who(self, change: Change) -> set[str] | None:
        """Tests that run a change's statement; None where nothing at all does."""
        lines = self.lines(change.path)
        text = (TOP / change.path).read_text("utf-8")
        span = [line for line in _statement(text, change.row) if line in lines]
        if not span and _function(text, change.path, change.row) is not None:
            return None
        found = set().union(*(lines[line] for line in span))
        # What an import runs shows in whatever else of the file is run.
        return (found or set().union(*lines.values())) & self.tests.keys()

    def quickest(self, names: Iterable[str], most_s: float) -> list[str]:
        """Some of these tests, quickest first, `most_s` of them at most."""
        paid: set[str] = set()
        chosen, took_s = [], 0.0
        cost = {name: self._cost_s(name, set()) for name in names}
        for name in sorted(cost, key=lambda each: (cost[each], each)):
            own_s = self._cost_s(name, paid)
            if took_s + own_s <= most_s:
                chosen.append(name)
                took_s += own_s
                paid.update(self.tests[name]["fixtures"])
        return chosen

    def _cost_s(self, name: str, paid: set[str]) -> float:
        test = self.tests[name]
        wide = set(test["fixtures"]) - paid
        return float(test["s"] + 0.002 + sum(self.fixture_s.get(each, 0.0) for each in wide))


def _tests_of(contexts: set[str], tests: dict[str, Any]) -> set[str]:
    wide = {name for name in contexts if name.startswith("fixture ")}
    users = (
        {n for n, t in tests.items() if not wide.isdisjoint(t["fixtures"])} if wide else set()
    )
    return (contexts & tests.keys()) | users


def _statement(text: str, row: int) -> range:
    """Lines of the statement around a row; of one that holds others, of its head."""
    found = range(row, row + 1)
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.stmt) and node.lineno <= row <= (node.end_lineno or 0):
            body = getattr(node, "body", None)
            end = body[0].lineno if body else (node.end_lineno or row) + 1
            if row < end:
                found = range(node.lineno, end)
    return found


def recorded(copy: Path, folder: Path) -> Record:
    """The record, made where the folder has none."""
    for number, words in enumerate(RECORDED):
        place = folder / str(number)
        if not (place / "tests.json").exists():
            place.mkdir(parents=True, exist_ok=True)
            run = _pytest(copy, words.split(), RECORD=str(place))
            print(f"{words}: {run.stdout.strip().splitlines()[-1]}", flush=True)
            if run.returncode:
                raise SystemExit(f"they fail before anything is changed\n{run.stdout[-3000:]}")
    return Record(folder)


def _pytest(
    copy: Path, words: Iterable[str], **environ: str
) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "pytest", *USUAL, "-p", "who_runs", *words],
        cwd=copy, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(copy), *sys.path]), **environ},
    )  # fmt: skip


class Sampler:
    """A plugin of pytest that shows each change to collected tests, each in a child."""

    def __init__(self, copy: Path, drawn: list[Change], record: Record, kept: Path) -> None:
        self.copy, self.drawn, self.record, self.kept = copy, drawn, record, kept
        self.seen: dict[str, str | None] = {}
        self.sound: dict[str, bool] = {}
        if kept.exists():
            self.seen = json.loads(kept.read_text("utf-8"))

    @pytest.hookimpl(tryfirst=True)
    def pytest_runtestloop(self, session: pytest.Session) -> bool:
        """In place of running all of them."""
        items = {item.nodeid: item for item in session.items}
        for number, change in enumerate(self.drawn, 1):
            name = " ".join(map(str, change))
            if name in self.seen:
                continue
            self.seen[name] = self.noticed_by(session, items, change)
            self.kept.write_text(json.dumps(self.seen, indent=1), "utf-8")
            with self.shown(session):
                print(number, self.row(change), flush=True)
        return True

    def row(self, change: Change) -> str:
        """A change, and who noticed it."""
        line = _line(change)
        equal = EQUAL.get(_line(change, changed=True))
        told = self.seen[" ".join(map(str, change))] or (
            "NO TEST" if equal is None else f"equal: {equal}"
        )
        where = f"{change.path}:{change.row}:{change.column}"
        return f"{where} {change.before} -> {change.after} | {line} | {told}"

    @staticmethod
    def shown(session: pytest.Session) -> Any:
        """What is printed meanwhile is not caught by pytest."""
        manager = session.config.pluginmanager.getplugin("capturemanager")
        return manager.global_and_fixture_disabled() if manager else nullcontext()

    def noticed_by(
        self, session: pytest.Session, items: Mapping[str, pytest.Item], change: Change
    ) -> str | None:
        """Name of a test that fails with the change; None if all pass."""
        who = self.record.who(change)
        if not who:
            return None
        first = self.record.quickest(who & items.keys(), FIRST_S)
        files = {name.partition("::")[0] for name in who}
        others = {name for name in self.record.tests if name.partition("::")[0] in files}
        then = self.record.quickest((others & items.keys()) - set(first), THEN_S)
        whole = {name for name in who if name.startswith("tests/pinned")} - {*first, *then}
        last = self.record.quickest(whole & items.keys(), LAST_S)
        names = [name for name in (*first, *then, *last) if self.sound.get(name, True)]
        while names:
            found = self.failing(session, items, change, names)
            if found not in items or (
                self.by_itself(session, items[found])
                and self.failing(session, items, change, [found])
            ):
                return found
            names.remove(found)
        return None

    def by_itself(self, session: pytest.Session, item: pytest.Item) -> bool:
        """Whether a test passes alone, nothing changed."""
        name = item.nodeid
        if name not in self.sound:
            self.sound[name] = _in_child(self.copy, session, [item], None, []) is None
        return self.sound[name]

    def failing(
        self,
        session: pytest.Session,
        items: Mapping[str, pytest.Item],
        change: Change,
        names: list[str],
    ) -> str | None:
        """The first of these tests that fails with the change; None if all pass."""
        path = self.copy / change.path
        sound = path.read_text("utf-8")
        changed = _changed(sound, change)
        path.write_text(changed, "utf-8")
        try:
            code = _function(changed, str(path), change.row)
            live = [] if code is None else _alike(code)
            if code is None or not live:
                return _afresh(self.copy, names)
            tests = [items[name] for name in names]
            return _in_child(self.copy, session, tests, code, live)
        finally:
            path.write_text(sound, "utf-8")


def _line(change: Change, *, changed: bool = False) -> str:
    text = (TOP / change.path).read_text("utf-8")
    text = _changed(text, change) if changed else text
    return text.splitlines()[change.row - 1].strip()


def _changed(sound: str, change: Change) -> str:
    lines = sound.splitlines(keepends=True)
    line, end = lines[change.row - 1], change.column + len(change.before)
    if line[change.column : end] != change.before:
        raise SystemExit(f"{change} does not stand in the copy")
    lines[change.row - 1] = line[: change.column] + change.after + line[end:]
    return "".join(lines)


def _function(text: str, path: str, row: int) -> CodeType | None:
    """Code of the outermost function whose body holds a row; None where an import runs it."""
    codes = [compile(text, path, "exec")]
    for code in codes:
        codes += [each for each in code.co_consts if isinstance(each, CodeType)]
    nodes: list[ast.AST] = [ast.parse(text)]
    for node in nodes:
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            if node.body[0].lineno <= row <= (node.end_lineno or 0):
                begins = min([node.lineno, *(each.lineno for each in node.decorator_list)])
                found = (
                    c for c in codes if (c.co_name, c.co_firstlineno) == (node.name, begins)
                )
                return next(found, None)
        else:
            nodes += ast.iter_child_nodes(node)
    return None


def _alike(code: CodeType) -> list[FunctionType]:
    """The functions at hand that are to run this code."""
    what = (code.co_filename, code.co_qualname, code.co_firstlineno)
    return [
        each
        for each in gc.get_objects()
        if type(each) is FunctionType
        and (each.__code__.co_filename, each.__code__.co_qualname, each.__code__.co_firstlineno)
        == what
    ]


def _in_child(
    copy: Path,
    session: pytest.Session,
    tests: list[pytest.Item],
    code: CodeType | None,
    live: list[FunctionType],
) -> str | None:
    """The first of these tests that fails with the new code, in a child of this process."""
    told = copy / "told.txt"
    told.write_text("", "utf-8")
    child = os.fork()
    if child == 0:
        ended = 3
        try:
            os.setsid()
            resource.setrlimit(resource.RLIMIT_CPU, (MOST_CPU_S, MOST_CPU_S))
            if code is not None:
                for each in live:
                    each.__code__ = code
            reporter = session.config.pluginmanager.getplugin("terminalreporter")
            reporter._tw._file = io.StringIO()  # type: ignore[union-attr]
            for test, after in zip(tests, [*tests[1:], None], strict=True):
                told.write_text(test.nodeid, "utf-8")
                test.config.hook.pytest_runtest_protocol(item=test, nextitem=after)
                if session.testsfailed:
                    break
            ended = min(session.testsfailed, 1)
        finally:
            os._exit(ended)
    until = time.monotonic() + PATIENCE_S
    done, status = 0, 0
    while not done:
        done, status = os.waitpid(child, os.WNOHANG)
        if time.monotonic() > until:
            os.killpg(child, signal.SIGKILL)
            done, status = os.waitpid(child, 0)
        time.sleep(0.02)
    return None if status == 0 else told.read_text("utf-8")


def _afresh(copy: Path, tests: list[str]) -> str | None:
    """The same in a process that imports what was changed."""
    chosen = copy / "chosen.txt"
    chosen.write_text("\n".join(tests), "utf-8")
    files = dict.fromkeys(name.partition("::")[0] for name in tests)
    run = _pytest(copy, ["-x", "-rfE", *files], CHOSEN=str(chosen))
    if run.returncode == 0:
        return None
    found = re.search(r"^(?:FAILED|ERROR) (\S+)", run.stdout, re.MULTILINE)
    return found[1] if found else "it cannot be imported"


def interval(noticed: int, count: int) -> tuple[float, float]:
    """Shares between which the true one lies, 95 % (Clopper and Pearson 1934)."""
    from scipy.stats import beta

    low = beta.ppf(0.025, noticed, count - noticed + 1) if noticed else 0.0
    high = beta.ppf(0.975, noticed + 1, count - noticed) if noticed < count else 1.0
    return float(low), float(high)


def main(count: int = 40, seed: int = 1, folder: str = "") -> None:
    """Draw, try and tell."""
    places = list(changes(TOP))
    drawn = random.Random(seed).sample(places, count)
    print(f"{count} of {len(places)} places, seed {seed}", flush=True)
    with tempfile.TemporaryDirectory() as name:
        copy = copied(Path(name))
        kept = Path(folder or name)
        record = recorded(copy, kept / "record")
        sampler = Sampler(copy, drawn, record, kept / f"seen-{seed}.json")
        os.chdir(copy)
        sys.path.insert(0, str(copy))
        files = {name.partition("::")[0] for name in record.tests}
        pytest.main([*USUAL, "--basetemp", str(copy / "made"), *sorted(files)], [sampler])
    seen = [change for change in drawn if " ".join(map(str, change)) in sampler.seen]
    missed = [each for each in seen if sampler.seen[" ".join(map(str, each))] is None]
    equal = sum(_line(each, changed=True) in EQUAL for each in missed)
    low, high = interval(len(seen) - len(missed), len(seen))
    print(
        f"noticed: {len(seen) - len(missed)} of {len(seen)} ({low:.0%} to {high:.0%}), ", end=""
    )
    print(f"{equal} of the others mean the same")


if __name__ == "__main__":
    main(*map(int, sys.argv[1:3]), *sys.argv[3:4])
