"""The ordering problem as a constraint model: one begin and one switch per run and task."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from cureplan.planning.schedule.problem import (
    FAR,
    NEAREST,
    Choice,
    Hands,
    Intervals,
    Problem,
    Score,
    gather_intervals,
)

if TYPE_CHECKING:
    from ortools.sat.python import cp_model

__all__ = ["CpTask", "OrderingModel", "cp_sat"]

MOST_VISITS = 16
"""Of one person in a job; two weeks with a call a day."""

Linear = Any
"""A linear expression of the solver's; it has no type of its own worth naming."""


@cache
def cp_sat() -> ModuleType:
    """The solver, without the pandas it imports for tables of variables, unused here.

    Whoever in this process does use those gets the real pandas when they are asked for.
    """
    name = "ortools.sat.python.cp_model"
    if name in sys.modules or "pandas" in sys.modules:
        return import_module(name)
    absent = ModuleType("pandas")
    absent.__dict__.update(
        Index=type("Index", (), {}),
        Series=type("Series", (), {}),
    )
    sys.modules["pandas"] = absent
    try:
        found = import_module(name)
    finally:
        del sys.modules["pandas"]
    vars(found)["pd"] = _PandasAtLast()
    return found


class _PandasAtLast:
    def __getattr__(self, name: str) -> Any:
        return getattr(import_module("pandas"), name)


@dataclass(slots=True, kw_only=True)
class CpTask:
    """The variables of one task."""

    intervals: Intervals
    begin: Any
    switches: list[Any]
    frees: Any
    length: Any

    def offset(self, name: str) -> Linear:
        """Begin plus an offset that depends on the run."""
        return self.begin + self.label_of(self.intervals.offset[name])

    def label(self, name: str) -> Linear:
        """A label that depends on the run."""
        return self.label_of(self.intervals.label[name])

    def ends_in(self, span: int | None) -> NDArray[np.int64]:
        """When the crew is free again after the last state of each run, in one shift or any."""
        ends = self.intervals.last + self.intervals.offset["frees"]
        return ends if span is None else ends[self.intervals.label["span"] == span]

    def label_of(self, values: Iterable[Any]) -> Linear:
        """Any value given per run."""
        numbers = [int(value) for value in values]
        if len(set(numbers)) == 1:
            return numbers[0]
        least = min(numbers)
        return least + sum(
            (number - least) * switch
            for number, switch in zip(numbers, self.switches, strict=True)
            if number != least
        )


@dataclass(slots=True)
class OrderingModel:
    """A `Problem` in the solver's terms, with an expression for every part of its score."""

    problem: Problem
    model: cp_model.CpModel = field(init=False)
    tasks: dict[tuple[int, int], CpTask] = field(init=False, default_factory=dict)
    goals: dict[str, Linear] = field(init=False, default_factory=dict)
    _horizon: int = field(init=False)
    _others: dict[str, Any] = field(init=False, default_factory=dict)
    _firsts: dict[tuple[int, int], list[Any]] = field(init=False, default_factory=dict)
    """By task: for each of its shifts, whether it is its crew's first there."""

    def __post_init__(self) -> None:
        self.model = cp_sat().CpModel()
        self._horizon = 2 * FAR
        for room, number, stage in self.problem.tasks():
            self.tasks[room, number] = self._task(f"{room}.{number}", gather_intervals(stage))
        self._add_windows()
        self._add_crews()
        self._add_groups()
        self._add_goals()
        self._add_crossings()

    @property
    def pours(self) -> list[CpTask]:
        """The pour of each room."""
        return [self.tasks[r, self.problem.pour(r)] for r in range(len(self.problem.rooms))]

    def _int(self, low: int, high: int, name: str) -> Any:
        found = self.model.new_int_var(int(low), int(high), name)
        self._others[name] = found
        return found

    def _task(self, name: str, intervals: Intervals) -> CpTask:
        cp_model = cp_sat()
        model = self.model
        ranges = [
            [int(a), int(b)] for a, b in zip(intervals.first, intervals.last, strict=True)
        ]
        domain = cp_model.Domain.from_intervals(ranges)
        begin = model.new_int_var_from_domain(domain, f"begin {name}")
        switches = [model.new_bool_var(f"run {name}.{i}") for i in range(len(ranges))]
        model.add_exactly_one(switches)
        for switch, (first, last) in zip(switches, ranges, strict=True):
            if len(switches) > 1:
                model.add_linear_constraint(begin, first, last).only_enforce_if(switch)
        lengths = intervals.offset["frees"]
        length = model.new_int_var_from_domain(
            cp_model.Domain.from_values(sorted({int(x) for x in lengths})), f"length {name}"
        )
        frees = model.new_int_var(
            int((intervals.first + lengths).min()),
            int((intervals.last + lengths).max()),
            f"free {name}",
        )
        task = CpTask(
            intervals=intervals, begin=begin, switches=switches, frees=frees, length=length
        )
        model.add(length == task.label_of(lengths))
        return task

    def _add_windows(self) -> None:
        for (room, number), task in self.tasks.items():
            after = self.tasks.get((room, number + 1))
            if after is not None:
                self.model.add(after.begin >= task.offset("opens"))
                self.model.add(after.begin <= task.offset("closes"))

    def _add_crews(self) -> None:
        busy = {
            at: self.model.new_interval_var(
                task.begin, task.length, task.frees, f"busy {at[0]}.{at[1]}"
            )
            for at, task in self.tasks.items()
        }
        grouped = {(r, self.problem.pour(r)): g for g in self.problem.groups for r in g}
        least = busy | {at: self._least_busy(at) for at in grouped}
        crew_of = {(r, n): stage.crew for r, n, stage in self.problem.tasks()}
        together: set[tuple[int, ...]] = {(crew,) for crew in crew_of.values()}
        together |= {hands.crews for hands in self.problem.hands}
        for crews in sorted(together):
            # Those who are in fewer crews are bound by those who are in more.
            if not any({*crews} < {*others} for others in together):
                of_them = [at for at in busy if crew_of[at] in crews]
                self.model.add_no_overlap(least[at] for at in of_them)
                self._add_ways(busy, grouped, of_them)
        for number, hands in enumerate(self.problem.timed):
            theirs = [task for at, task in self.tasks.items() if crew_of[at] in hands.crews]
            self._add_visits(f"people {number}", hands, theirs)

    def _add_ways(
        self,
        busy: dict[tuple[int, int], Any],
        grouped: dict[tuple[int, int], tuple[int, ...]],
        tasks: list[tuple[int, int]],
    ) -> None:
        """From a grouped pour to what is not of its group the whole way counts."""
        for task in tasks:
            for other in tasks:
                if task in grouped and grouped.get(other) != grouped[task]:
                    self.model.add_no_overlap([busy[task], busy[other]])

    def _least_busy(self, task: tuple[int, int]) -> Any:
        """A grouped pour's work, and the shorter of the ways from it."""
        offset = self.tasks[task].intervals.offset
        sooner = "follows" if (offset["follows"] <= offset["frees"]).all() else "frees"
        return self._interval("least", *task, None, sooner)

    def _add_visits(self, name: str, hands: Hands, tasks: list[CpTask]) -> None:
        """Stays with a rest in between, none longer than it may be, and each task in one."""
        if not tasks or hands.most is None:
            return
        ends = [task.offset("ends") for task in tasks]
        low = min(int(task.intervals.first.min()) for task in tasks)
        high = max(int(task.ends_in(None).max()) for task in tasks)
        many = min(len(tasks), (high - low) // max(1, hands.rest) + 1, MOST_VISITS)
        far = high + many * (hands.rest + 1)
        stays: list[tuple[Any, Any]] = []
        for visit in range(many):
            comes = self._int(low, far, f"{name} comes {visit}")
            goes = self._int(low, far, f"{name} goes {visit}")
            self.model.add(goes >= comes)
            self.model.add(goes - comes <= hands.most)
            if stays:
                self.model.add(comes >= stays[-1][1] + hands.rest)
            stays.append((comes, goes))
        for place, (task, end) in enumerate(zip(tasks, ends, strict=True)):
            within = [self.model.new_bool_var(f"{name} {place} in {v}") for v in range(many)]
            self.model.add_exactly_one(within)
            for there, (comes, goes) in zip(within, stays, strict=True):
                self.model.add(comes <= task.begin).only_enforce_if(there)
                self.model.add(goes >= end).only_enforce_if(there)

    def _add_crossings(self) -> None:
        works: dict[tuple[int, int], Any] = {}
        closed: dict[tuple[int, int], Any] = {}
        for room, floor in self.problem.crossings:
            for n in range(len(self.problem.rooms[room])):
                if (room, n) not in works:
                    works[room, n] = self._work(room, n)
            for m in range(len(self.problem.rooms[floor])):
                if (floor, m) not in closed:
                    closed[floor, m] = self._interval("shut", floor, m, "shuts", "walks")
            for n in range(len(self.problem.rooms[room])):
                for m in range(len(self.problem.rooms[floor])):
                    self.model.add_no_overlap([works[room, n], closed[floor, m]])

    def _work(self, room: int, number: int) -> Any:
        """A task with the time before it in which its tools are carried in."""
        task, problem = self.tasks[room, number], self.problem
        most, least = (problem.ahead(room, number, first=first) for first in (True, False))
        if not most and not least:
            return self._interval("work", room, number, None, "ends")
        name, firsts = f"work {room}.{number}", self._firsts.get((room, number), [])
        ahead = least + (most - least) * sum(firsts)
        lengths = [int(n) for n in task.intervals.offset["ends"]]
        more = max(most, least)
        begin = self._int(
            int(task.intervals.first.min()) - more,
            int(task.intervals.last.max()) - min(most, least),
            f"{name} from",
        )
        size = self._int(min(lengths), max(lengths) + more, f"{name} for")
        end = self._int(-self._horizon, self._horizon, f"{name} to")
        self.model.add(begin == task.begin - ahead)
        self.model.add(size == task.label_of(lengths) + ahead)
        return self.model.new_interval_var(begin, size, end, name)

    def _add_firsts(
        self, name: str, found: dict[tuple[int, int], Any], first: Any, used: Any
    ) -> None:
        """Which task is its crew's first in a shift: `first` is no sooner than any begins."""
        if self.problem.setup == self.problem.moving or not self.problem.crossings:
            return
        switches = []
        for (room, number), there in found.items():
            switch = self.model.new_bool_var(f"{name} first {room}.{number}")
            self._others[f"{name} first {room}.{number}"] = switch
            self.model.add(switch <= there)
            task = self.tasks[room, number]
            self.model.add(first >= task.begin).only_enforce_if(switch)
            self._firsts.setdefault((room, number), []).append(switch)
            switches.append(switch)
        self.model.add(sum(switches) == used)

    def _interval(self, kind: str, room: int, number: int, first: str | None, last: str) -> Any:
        task = self.tasks[room, number]
        intervals, name = task.intervals, f"{kind} {room}.{number}"
        low = intervals.offset[first] if first else 0 * intervals.first
        sizes = intervals.offset[last] - low
        begin = task.begin
        if first and low.any():
            begin = self._int(
                min(intervals.first + low), max(intervals.last + low), f"{name} from"
            )
            self.model.add(begin == task.offset(first))
        size = self._int(sizes.min(), sizes.max(), f"{name} for")
        end = self._int(0, self._horizon, f"{name} to")
        self.model.add(size == task.label_of(sizes))
        return self.model.new_interval_var(begin, size, end, name)

    def _add_groups(self) -> None:
        for i, group in enumerate(self.problem.groups):
            follows = [
                self._interval("next", room, self.problem.pour(room), None, "follows")
                for room in group
            ]
            self.model.add_no_overlap(follows)
            asked = [
                (self.pours[room], after.end_expr(), after.size_expr())
                for room, after in zip(group, follows, strict=True)
                if room not in self.problem.loose
            ]
            if not asked:
                continue
            first = self._int(0, self._horizon, f"group {i} from")
            last = self._int(0, self._horizon, f"group {i} to")
            for pour, end, _ in asked:
                self.model.add(first <= pour.begin)
                self.model.add(last >= end)
            self.model.add(last - first == sum(size for _, _, size in asked))

    def _add_goals(self) -> None:
        lasts = [
            self.tasks[room, len(stages) - 1] for room, stages in enumerate(self.problem.rooms)
        ]
        short = [task.label("short") for task in self.tasks.values()]
        self.goals = {
            "short_most": self._most("short", short),
            "short_sum": sum(short),
            "last_shift": self._most("shift", [p.label("span") for p in self.pours]),
            "cost": sum(task.label("cost") for task in self.tasks.values()),
            "ready": self._most("ready", [task.offset("opens") for task in lasts]),
        }
        self._add_window_goals()
        self._add_shift_goals()

    def _add_window_goals(self) -> None:
        """How near each stage comes to the ends of its window, in bands."""
        clear, missing, hurried = self.problem.clear, [], []
        for (room, number), task in self.tasks.items():
            after = self.tasks.get((room, number + 1))
            if after is None:
                continue
            since, left = (
                after.begin - task.offset("opens"),
                task.offset("closes") - after.begin,
            )
            if clear.most:
                short = self._int(0, clear.most, f"near {room}.{number}")
                self.model.add(clear.band * short >= clear.opening - since)
                self.model.add(clear.band * short >= clear.closing - left)
                missing.append(short)
            if clear.ample:
                far = self._int(0, -(-clear.ample // clear.band), f"hurried {room}.{number}")
                self.model.add(clear.band * far >= clear.ample - left)
                hurried.append(far)
        nearest = self._most("nearest", missing) if missing else 0
        self.goals["tight"] = NEAREST * nearest + sum(missing)
        self.goals["hurried"] = sum(hurried)

    def _most(self, name: str, parts: list[Linear]) -> Any:
        most = self._int(0, self._horizon, name)
        for part in parts:
            self.model.add(most >= part)
        return most

    def _add_shift_goals(self) -> None:
        """Calls, time on site, and waiting: per crew and shift, from its first to its last."""
        members: dict[tuple[int, int], dict[tuple[int, int], Any]] = {}
        for (room, number), task in self.tasks.items():
            crew = self.problem.rooms[room][number].crew
            spans = task.intervals.label["span"]
            for span in sorted({int(s) for s in spans}):
                there = sum(task.switches[i] for i in range(len(spans)) if spans[i] == span)
                members.setdefault((crew, span), {})[room, number] = there
        calls, on_site, idle, waited = [], [], [], []
        for (crew, span), where in sorted(members.items()):
            name = f"shift {crew}.{span}"
            found = [(self.tasks[task], there) for task, there in where.items()]
            low = min(
                int(t.intervals.first[t.intervals.label["span"] == span].min())
                for t, _ in found
            )
            high = max(int(t.ends_in(span).max()) for t, _ in found)
            used = self.model.new_bool_var(f"{name} used")
            self._others[f"{name} used"] = used
            first = self._int(low, high, f"{name} from")
            last = self._int(low, high, f"{name} to")
            stay = self._int(0, high - low, f"{name} stay")
            work = sum(self._work_in(task, span) for task in where)
            self.model.add(stay >= work)
            for task, there in found:
                self.model.add(there <= used)
                before = max(0, high - int(task.intervals.first.min()))
                after = max(0, int(task.ends_in(None).max()) - low)
                self.model.add(first <= task.begin + before * (1 - there))
                self.model.add(last >= task.frees - after * (1 - there))
            self.model.add(stay >= last - first - (high - low) * (1 - used))
            self._add_firsts(name, where, first, used)
            calls.append(used)
            on_site.append(stay)
            if crew == self.problem.pour_list[0].crew:
                ahead = self.problem.shift_begins[span]
                idle.append(stay - work)
                waited.append(stay - work + first - ahead * used - low * (1 - used))
                self.model.add(first == low).only_enforce_if(~used)
        self.goals["calls"] = sum(calls)
        self.goals["on_site"] = sum(on_site)
        self.goals["cost"] += self.problem.wait_price * sum(idle)
        self.goals["waited"] = 0 if self.problem.may_wait else sum(waited)

    def _work_in(self, which: tuple[int, int], span: int) -> Linear:
        """How long a task keeps its crew in a shift: nothing when it falls into another."""
        task, order = self.tasks[which], self.tasks[which].intervals
        busy = self.problem.busy(*which)[order.order[order.state]]
        return task.label_of(busy * (order.label["span"] == span))

    def hint(self, choice: Choice) -> None:
        """Offer a choice that keeps all rules as the point to start from."""
        self.model.clear_hints()  # type: ignore[no-untyped-call]
        for (room, number), task in self.tasks.items():
            k = choice[room][number]
            stage = self.problem.rooms[room][number]
            run = task.intervals.interval_of(k)
            self.model.add_hint(task.begin, int(stage.begins[k]))
            for i, switch in enumerate(task.switches):
                self.model.add_hint(switch, i == run)

    def choice_of(self, value: Any) -> Choice:
        """The choice in a solution; `value` gives a variable's value."""
        found: list[tuple[int, ...]] = []
        for room, stages in enumerate(self.problem.rooms):
            row = []
            for number in range(len(stages)):
                task = self.tasks[room, number]
                run = next(i for i, switch in enumerate(task.switches) if value(switch))
                row.append(task.intervals.state_at(run, int(value(task.begin))))
            found.append(tuple(row))
        return tuple(found)

    def goal(self, name: str) -> Linear:
        """The expression of one part of the score, by its name in `Score`."""
        if name not in Score._fields:
            raise KeyError(name)
        return self.goals[name]
