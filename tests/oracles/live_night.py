"""What a night that runs late does to the plan's hours, from plan.json alone.

A second reading of the table `rules`, apart from the page's: nothing here is taken from it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any


def seconds(text: str, *, up: bool = False) -> int:
    at_s = datetime.fromisoformat(text).timestamp()
    return math.ceil(at_s) if up else math.floor(at_s)


class LiveNight:
    """One night: what was said and ticked so far, and every hour that follows."""

    def __init__(self, plan: Mapping[str, Any]) -> None:
        self.rules = plan["rules"]
        self.tasks = {rule["task"]: rule for rule in self.rules["tasks"]}
        self.rooms = sorted(plan["rooms"], key=lambda room: room["order"])
        self.way = {room["name"]: room["way_out"] for room in plan["job"]["rooms"]}
        self.changeover_s = plan["job"]["crew"]["changeover_s"]
        self.coats = sorted(plan["coats"], key=lambda c: datetime.fromisoformat(c["start"]))
        self.primers = sorted(plan["primers"], key=lambda p: datetime.fromisoformat(p["start"]))
        self.calls = sorted(plan["calls"], key=lambda c: datetime.fromisoformat(c["call"]))
        self.coves = sorted(
            (call for call in plan["calls"] if call["stage"] == "cove"),
            key=lambda call: datetime.fromisoformat(call["first_task"]),
        )
        self.buckets = plan["buckets"]
        ends = [rule["ends"] for rule in self.rules["clocks"]]
        self.at_s = [
            {key: None if b[key] is None else seconds(b[key]) for key in (*self.tasks, *ends)}
            for b in self.buckets
        ]
        self.met = [self._met_by(index) for index in range(len(self.buckets))]
        self.now_s = 0.0
        self.late_s = 0.0
        self.kept: dict[tuple[int, str], float] = {}
        self.poured: dict[int, float] = {}
        self.done: dict[tuple[str, str, int], float] = {}
        self.kept_of: dict[tuple[str, str], float] = {}

    def _met_by(self, index: int) -> int | None:
        own = self.buckets[index]
        if own["tied_in"] is None:
            return None
        tied = datetime.fromisoformat(own["tied_in"])
        over = [
            (b["number"], i)
            for i, b in enumerate(self.buckets)
            if b["room"] == own["room"]
            and b["number"] > own["number"]
            and datetime.fromisoformat(b["pour"]) <= tied
        ]
        return max(over)[1] if over else None

    # What is said and ticked.

    def begun(self, index: int, task: str) -> bool:
        return self.at_s[index][task] + self.shift(index, task) <= self.now_s

    def shift(self, index: int, task: str) -> float:
        return self.kept.get((index, task), self.late_s)

    def say_late(self, late_s: float) -> None:
        for index in range(len(self.buckets)):
            for task, rule in self.tasks.items():
                if rule["moves"] == "late" and self.begun(index, rule["fixed_by"]):
                    self.kept.setdefault((index, task), self.late_s)
        for kind, of, starts in (
            *(("primer", row["room"], row["start"]) for row in self.primers),
            *(("cove", row["room"], row["first_task"]) for row in self.coves),
        ):
            late = self.kept_of.get((kind, of), self.late_s)
            if seconds(starts, up=True) + late <= self.now_s:
                self.kept_of.setdefault((kind, of), late)
        self.late_s = late_s

    def tick(self, index: int) -> None:
        own = self.buckets[index]
        beside = {
            self.buckets[i]["number"]: i
            for i in self.poured
            if i != index and self.buckets[i]["room"] == own["room"]
        }
        before = max((n for n in beside if n < own["number"]), default=None)
        after = min((n for n in beside if n > own["number"]), default=None)

        def late(number: int) -> float:
            return self.poured[beside[number]] - self.at_s[beside[number]]["pour"]

        if after is not None:
            # A forgotten tick lies between its neighbours in step with the plan.
            low = 0.0 if before is None else late(before)
            part = 1.0 if before is None else (own["number"] - before) / (after - before)
            at_s = self.at_s[index]["pour"] + low + part * (late(after) - low)
        else:
            at_s = self.now_s
            if before is not None:
                apart_s = self.rules["apart_s"] * (own["number"] - before)
                at_s = max(round(at_s), self.poured[beside[before]] + apart_s)
        self.poured[index] = math.floor(at_s + 0.5)
        for task, rule in self.tasks.items():
            if rule["moves"] == "late":
                self.kept.setdefault((index, task), self.late_s)

    # What follows.

    def move(self, index: int) -> float:
        pour_s = self.at_s[index]["pour"]
        if index in self.poured:
            return self.poured[index] - pour_s
        said_s = self.shift(index, "pour")
        last = self.rules["clocks"][-1]
        if self.begun(index, "filler_in") and self.now_s < self.clock_end(index, last):
            return max(said_s, self.now_s - pour_s)
        return said_s

    def clock_end(self, index: int, rule: Mapping[str, str]) -> float:
        return self.at_s[index][rule["ends"]] + self.shift(index, rule["starts"])

    def task_at(self, index: int, task: str) -> float | None:
        at_s = self.at_s[index][task]
        if at_s is None:
            return None
        if task == "pour" and index in self.poured:
            return self.poured[index]
        own = self.move(index)
        met = self.met[index]
        by = own if met is None else self.move(met)
        moves = {
            "late": self.shift(index, task) if task in self.tasks else 0.0,
            "own": own,
            "next": by,
            "later": max(own, by),
        }
        return at_s + moves[self.tasks[task]["moves"]]

    def in_hand(self, index: int) -> float:
        """Least time left on any clock when its task is done [s]."""
        left = [
            self.clock_end(index, rule) - at_s
            for rule in self.rules["clocks"]
            if (at_s := self.task_at(index, rule["kept_by"])) is not None
        ]
        return min(left)

    def moved(self, room: str) -> dict[str, float]:
        moves = [self.move(i) for i, b in enumerate(self.buckets) if b["room"] == room]
        return {"first": min(moves), "last": max(moves)}

    def coats_at(self) -> list[dict[str, float]]:
        walk = {room["room"]: seconds(room["walkable"], up=True) for room in self.rooms}
        below = {room["room"]: self.moved(room["room"]) for room in self.rooms}
        floors = dict(below)
        told = any(what in ("begun", "laid", "mixed", "vacuumed") for what, _, _ in self.done)
        found: list[dict[str, float]] = []
        for coat in self.coats:
            name, number = coat["room"], coat["coat"]
            opens = seconds(coat["opens"], up=True) + floors[name][self.rules["coat_opens"]]
            closes = seconds(coat["closes"]) + floors[name][self.rules["coat_closes"]]
            start, end = self._planned(coat)
            soonest = [start, opens]
            soonest += [math.ceil(self.now_s)] if told else []
            soonest += [
                walk[floor] + below[floor]["last"]
                for floor in self.way[name]
                if floor in walk and walk[floor] <= start
            ]
            if found and found[-1]["planned_end"] <= start:
                rest = min(start - found[-1]["planned_end"], self.changeover_s)
                soonest.append(found[-1]["end"] + rest)
            starts, ends = self._told(
                (start, end),
                self.done.get(("begun", name, number)),
                self.done.get(("laid", name, number)),
                max(soonest),
            )
            floors[name] = {"first": starts - start, "last": ends - end}
            found.append(
                {"opens": opens, "closes": closes, "start": starts, "end": ends,
                 "planned_end": end}
            )  # fmt: skip
        return found

    def _told(
        self,
        planned: tuple[int, int],
        begun: float | None,
        laid: float | None,
        soonest: float,
    ) -> tuple[float, float]:
        """When a layer begins and ends, as `replan` reads the log."""
        lasts = planned[1] - planned[0]
        starts = begun if begun is not None else soonest if laid is None else laid - lasts
        if laid is not None:
            return starts, laid
        now = -math.inf if begun is None else math.ceil(self.now_s)
        return starts, max(starts + lasts, now)

    def _once(
        self, room: str, planned: tuple[int, int], names: tuple[str, str], soonest: list[float]
    ) -> tuple[float, float]:
        """What is begun and done once in a room."""
        if any(what in names for what, _, _ in self.done):
            soonest = [*soonest, math.ceil(self.now_s)]
        begun, done = (self.done.get((name, room, 1)) for name in names)
        return self._told(planned, begun, done, max(soonest))

    def coves_at(self) -> list[dict[str, float]]:
        found = []
        moved = {
            coat["room"]: at["start"] - self._planned(coat)[0]
            for coat, at in zip(self.coats, self.coats_at(), strict=True)
            if coat["coat"] == 1
        }
        for cove in self.coves:
            room = cove["room"]
            start, end = (seconds(cove[key], up=True) for key in ("first_task", "last_task"))
            late = self.kept_of.get(("cove", room), self.late_s)
            if cove["role"] == "topcoat":
                late = max(0.0, moved.get(room, 0.0))
            starts, ends = self._once(room, (start, end), ("coving", "coved"), [start + late])
            found.append({"start": starts, "end": ends, "moved": starts - start})
        return found

    def primers_at(self) -> list[dict[str, float]]:
        found: list[dict[str, float]] = []
        coves = list(zip(self.coves, self.coves_at(), strict=True))
        for primer in self.primers:
            room = primer["room"]
            start, end = seconds(primer["start"], up=True), seconds(primer["end"], up=True)
            soonest = [start + self.kept_of.get(("primer", room), self.late_s)]
            if found and found[-1]["planned_end"] <= start:
                rest = min(start - found[-1]["planned_end"], self.changeover_s)
                soonest.append(found[-1]["end"] + rest)
            soonest += [
                at["end"]
                for cove, at in coves
                if cove["room"] == room and seconds(cove["last_task"], up=True) <= start
            ]
            starts, ends = self._once(room, (start, end), ("priming", "primed"), soonest)
            late = {"begun": starts - start, "laid": ends - end}
            opens = seconds(primer["slurry_opens"], up=True)
            closes = seconds(primer["slurry_closes"])
            found.append(
                {"opens": opens + late[self.rules["primer_opens"]],
                 "closes": closes + late[self.rules["primer_closes"]],
                 "start": starts, "end": ends, "planned_end": end, "moved": starts - start}
            )  # fmt: skip
        return found

    def calls_at(self) -> list[float]:
        """Calls to come move with the work they are for, and never forward."""
        late = {
            (coat["room"], f"coat {coat['coat']}"): at["start"] - self._planned(coat)[0]
            for coat, at in zip(self.coats, self.coats_at(), strict=True)
        }
        for kind, rows, at in (
            ("primer", self.primers, self.primers_at()),
            ("cove", self.coves, self.coves_at()),
        ):
            late |= {
                (row["room"], kind): one["moved"] for row, one in zip(rows, at, strict=True)
            }
        first = {b["room"]: i for i, b in reversed([*enumerate(self.buckets)])}
        late |= {(room, "pour"): self.move(index) for room, index in first.items()}
        found: list[float] = []
        for call in self.calls:
            stage = "coat 1" if call["stage"] == "vacuum" else call["stage"]
            at_s = seconds(call["call"])
            moved = max(0.0, late.get((call["room"], stage), 0.0))
            found.append(at_s if at_s <= self.now_s else at_s + moved)
        return found

    @staticmethod
    def _planned(coat: Mapping[str, Any]) -> tuple[int, int]:
        """As a clock without seconds shows it: never before its window opens."""
        start_s = datetime.fromisoformat(coat["start"]).timestamp()
        minute_s = math.floor(start_s / 60) * 60
        if minute_s < datetime.fromisoformat(coat["opens"]).timestamp():
            minute_s = math.ceil(start_s / 60) * 60
        return minute_s, seconds(coat["end"], up=True)

    def openings(self) -> list[float]:
        late = {room["room"]: self.moved(room["room"])["last"] for room in self.rooms}
        for coat, at in zip(self.coats, self.coats_at(), strict=True):
            late[coat["room"]] = at["end"] - at["planned_end"]
        return [
            seconds(room["opens"], up=True) + max(0.0, late[room["room"]])
            for room in self.rooms
        ]
