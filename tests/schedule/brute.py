"""Small ordering problems drawn at random, and their best answer by trying everything.

Rules and score are written here a second time, from their wording, on plain integers.
"""

from __future__ import annotations

from math import ceil
from random import Random

import numpy as np

from cureplan.planning.schedule.problem import (
    Choice,
    Clear,
    Hands,
    Problem,
    Stage,
    stage_of,
)

__all__ = ["best_by_trying", "drawn_problem", "keeps_rules"]

MOST_STATES = {2: 30, 3: 13, 4: 9, 5: 7}
FIELDS = ("begins", "ends", "frees", "follows", "shuts", "walks", "opens", "closes")
FIELDS += ("short", "cost", "span")
Task = tuple[int, int]
State = dict[str, int]


def drawn_problem(seed: int, *, rooms: int) -> Problem:
    """Two crews, two shifts each, two ways to pour, lags that change with the hour."""
    random = Random(f"{seed}/{rooms}")
    length = 3 * rooms + 1
    most = random.choice((3, MOST_STATES[rooms], MOST_STATES[rooms]))
    stages = [
        (
            _some(random, _pour(random, length), most),
            *(_some(random, _coat(random, length), most) for _ in range(coats)),
        )
        for coats in (random.choice((1, 1, 2)) if rooms < 4 else 1 for _ in range(rooms))
    ]
    crosses: list[tuple[int, ...]] = [() for _ in range(rooms)]
    if random.random() < 0.6:
        crosses[random.randrange(1, rooms)] = (0,)
    return Problem(
        rooms=tuple(stages),
        crosses=tuple(crosses),
        groups=((0, 1),) if random.random() < 0.3 else (),
        hands=_hands(Random(f"hands {seed}/{rooms}"), length),
        shift_begins=(0, 2 * length),
        may_wait=random.random() < 0.7,
        setup=random.choice((0, 2)),
        moving=1,
        wait_price=random.choice((0, 1, 3)),
        clear=Clear(
            band=random.choice((1, 2)),
            opening=random.choice((0, 1, 3)),
            closing=random.choice((0, 2, length)),
            ample=random.choice((0, length)),
        ),
    )


def _hands(random: Random, length: int) -> tuple[Hands, ...]:
    """Often the same people pour and coat, and may not stay longer than some time."""
    if random.random() < 0.5:
        return ()
    most = random.choice((None, length, 2 * length))
    return (Hands(crews=(0, 1), most=most, rest=random.choice((2, length // 2))),)


def _some(random: Random, stage: Stage, most: int) -> Stage:
    """So few of a stage's states that all choices can be tried."""
    kept = np.zeros(stage.size, dtype=np.bool_)
    kept[random.sample(range(stage.size), min(most, stage.size))] = True
    return stage.keep(kept)


def _pour(random: Random, length: int) -> Stage:
    """A dear way that keeps the margin, and a cheap one that does so only late."""
    takes, tight = random.randint(1, 3), random.randint(0, length)
    between = random.choice((0, 1, 2))
    columns: dict[str, list[int]] = {name: [] for name in (*FIELDS, "option")}
    for span in (0, 1):
        for at in range(length):
            begin = 2 * length * span + at
            for option in (0, 1):
                lasts = takes + option
                if at + lasts > length:
                    continue
                lag = 2 + at // 4 + option
                row = {
                    "begins": begin,
                    "ends": begin + lasts,
                    "frees": begin + lasts + 1,
                    "follows": begin + lasts + between,
                    "shuts": begin,
                    "walks": begin + lasts + lag,
                    "opens": begin + lasts + lag,
                    "closes": begin + lasts + lag + length,
                    "short": 0 if option == 1 else max(0, tight - at) // 2,
                    "cost": 5 * option,
                    "span": span,
                    "option": option,
                }
                for name, value in row.items():
                    columns[name].append(value)
    lasts_each = [e - b for b, e in zip(columns["begins"], columns["ends"], strict=True)]
    rest = {k: v for k, v in columns.items() if k not in {"begins", "opens", "closes"}}
    return stage_of(
        crew=0,
        begins=columns["begins"],
        lasts=lasts_each,
        opens=columns["opens"],
        closes=columns["closes"],
        **rest,
    )


def _coat(random: Random, length: int) -> Stage:
    takes, cures = random.randint(1, 2), random.randint(2, 5)
    begins = [
        2 * length * span + length + at for span in (0, 1) for at in range(length - takes + 1)
    ]
    return stage_of(
        crew=1,
        begins=begins,
        lasts=takes,
        opens=[b + takes + cures for b in begins],
        closes=[b + takes + cures + length for b in begins],
        frees=[b + takes + 1 for b in begins],
        walks=[b + takes + cures for b in begins],
        span=[b // (2 * length) for b in begins],
    )


def best_by_trying(problem: Problem) -> tuple[tuple[int, ...], Choice] | None:
    """The best score and a choice that has it; None when no choice keeps all rules.

    Tasks are chosen one after the other; a branch is left when it breaks a rule or when
    what is missing and spent so far is already more than the best.
    """
    search = _Trying(problem)
    search.visit(0)
    return search.best


def keeps_rules(problem: Problem, choice: Choice) -> bool:
    """Whether a choice keeps every rule, by the rules as written here."""
    search = _Trying(problem)
    for task in search.tasks:
        k = choice[task[0]][task[1]]
        if not search.allowed(task, search.rows[task][k]):
            return False
        search.chosen[task] = k
    return search.groups_kept() and search.tools_kept() and search.stays_kept()


class _Trying:
    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        stages = {(r, n): s for r, row in enumerate(problem.rooms) for n, s in enumerate(row)}
        self.crew = {task: stage.crew for task, stage in stages.items()}
        self.rows = {
            task: [
                {name: int(getattr(stage, name)[k]) for name in FIELDS}
                for k in range(stage.size)
            ]
            for task, stage in stages.items()
        }
        self.tasks = sorted(stages, key=lambda task: (task[1], task[0]))
        self.chosen: dict[Task, int] = {}
        self.best: tuple[tuple[int, ...], Choice] | None = None

    def visit(self, depth: int) -> None:
        if depth == len(self.tasks):
            if self.groups_kept() and self.tools_kept() and self.stays_kept():
                found = self.worth()
                if self.best is None or found < self.best[0]:
                    self.best = (found, self.choice())
            return
        task = self.tasks[depth]
        for k, state in enumerate(self.rows[task]):
            if self.allowed(task, state):
                self.chosen[task] = k
                if (
                    self.best is None
                    or self.best[0][0] > 0
                    or self.spent() <= self.best[0][1:6]
                ):
                    self.visit(depth + 1)
                del self.chosen[task]

    def choice(self) -> Choice:
        return tuple(
            tuple(self.chosen[r, n] for n in range(len(row)))
            for r, row in enumerate(self.problem.rooms)
        )

    def allowed(self, task: Task, state: State) -> bool:
        room, number = task
        if number:
            before = self.rows[room, number - 1][self.chosen[room, number - 1]]
            if not before["opens"] <= state["begins"] <= before["closes"]:
                return False
        return all(self.side_by_side(task, state, other) for other in self.chosen)

    def side_by_side(self, task: Task, state: State, other: Task) -> bool:
        there = self.rows[other][self.chosen[other]]
        free = "follows" if self.grouped(task, other) else "frees"
        if self.same_people(task, other) and not (
            there[free] <= state["begins"] or state[free] <= there["begins"]
        ):
            return False
        if other[0] in self.problem.crosses[task[0]] and not (
            state["ends"] <= there["shuts"] or there["walks"] <= state["begins"]
        ):
            return False
        return not (
            task[0] in self.problem.crosses[other[0]]
            and there["ends"] > state["shuts"]
            and state["walks"] > there["begins"]
        )

    def same_people(self, task: Task, other: Task) -> bool:
        """Whether somebody is needed at both."""
        crews = {self.crew[task], self.crew[other]}
        return len(crews) == 1 or any(crews <= {*one.crews} for one in self.problem.hands)

    def stays_kept(self) -> bool:
        """Whether nobody stays longer than he may, from coming to going to rest."""
        for one in self.problem.hands:
            states = [
                self.rows[task][k]
                for task, k in self.chosen.items()
                if self.crew[task] in one.crews
            ]
            came = went = -(10**9)
            for state in sorted(states, key=lambda state: state["begins"]):
                if state["begins"] - went >= one.rest:
                    came = state["begins"]
                went = state["ends"]
                if one.most is not None and went - came > one.most:
                    return False
        return True

    def grouped(self, task: Task, other: Task) -> bool:
        """Whether both are pours of one group."""
        return task[1] == other[1] == 0 and any(
            {task[0], other[0]} <= set(group) for group in self.problem.groups
        )

    def too_near(self) -> list[tuple[int, int]]:
        """Whole bands missing at the nearer end of each window, and to ample time."""
        clear, found = self.problem.clear, []
        for room, number in self.chosen:
            if number:
                begins = self.rows[room, number][self.chosen[room, number]]["begins"]
                below = self.rows[room, number - 1][self.chosen[room, number - 1]]
                since, left = begins - below["opens"], below["closes"] - begins
                near = max(clear.opening - since, clear.closing - left)
                found.append(
                    tuple(max(0, ceil(m / clear.band)) for m in (near, clear.ample - left))
                )
        return found

    def spent(self) -> tuple[int, ...]:
        states = {task: self.rows[task][k] for task, k in self.chosen.items()}
        near = [bands for bands, _ in self.too_near()]
        return (
            max(s["short"] for s in states.values()),
            sum(s["short"] for s in states.values()),
            max(s["span"] for task, s in states.items() if task[1] == 0),
            1000 * max(near, default=0) + sum(near),
            sum(s["cost"] for s in states.values()),
        )

    def groups_kept(self) -> bool:
        for group in self.problem.groups:
            pours = [self.rows[room, 0][self.chosen[room, 0]] for room in group]
            first = min(pour["begins"] for pour in pours)
            last = max(pour["follows"] for pour in pours)
            if last - first != sum(pour["follows"] - pour["begins"] for pour in pours):
                return False
        return True

    def tools_kept(self) -> bool:
        """Whether tools are carried in over open floors: sooner for the first of a shift."""
        states = {task: self.rows[task][k] for task, k in self.chosen.items()}
        firsts: dict[tuple[int, int], int] = {}
        for task, state in states.items():
            shift = (self.crew[task], state["span"])
            firsts[shift] = min(firsts.get(shift, state["begins"]), state["begins"])
        for task, state in states.items():
            first = firsts[self.crew[task], state["span"]] == state["begins"]
            enters = state["begins"] - (self.problem.setup if first else self.problem.moving)
            for floor, there in states.items():
                if floor[0] in self.problem.crosses[task[0]] and (
                    there["shuts"] < state["ends"] and enters < there["walks"]
                ):
                    return False
        return True

    def worth(self) -> tuple[int, ...]:
        problem = self.problem
        states = {task: self.rows[task][k] for task, k in self.chosen.items()}
        shifts: dict[tuple[int, int], list[State]] = {}
        for task, state in states.items():
            shifts.setdefault((self.crew[task], state["span"]), []).append(state)
        stays = {
            shift: (min(s["begins"] for s in there), max(s["frees"] for s in there))
            for shift, there in shifts.items()
        }
        idle = waited = 0
        for (who, span), (first, last) in stays.items():
            if who == 0:
                work = 0
                for task, s in states.items():
                    if (self.crew[task], s["span"]) == (who, span):
                        left = [
                            s["frees"],
                            *([s["follows"]] if self.grouped(task, task) else []),
                        ]
                        work += min(left) - s["begins"]
                idle += last - first - work
                waited += last - problem.shift_begins[span] - work
        most, total, night, tight, cost = self.spent()
        return (
            0 if problem.may_wait else waited,
            most,
            total,
            night,
            tight,
            cost + problem.wait_price * idle,
            max(states[r, len(row) - 1]["opens"] for r, row in enumerate(problem.rooms)),
            len(stays),
            sum(last - first for first, last in stays.values()),
            sum(bands for _, bands in self.too_near()),
        )
