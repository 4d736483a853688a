"""Small ordering problems drawn at random, and their best answer by trying everything.

Rules and score are written here a second time, from their wording, on plain integers.
"""

from __future__ import annotations

from random import Random

from cureplan.schedule.problem import Choice, Problem, Stage, stage_of

__all__ = ["best_by_trying", "drawn_problem"]

FIELDS = ("begins", "ends", "frees", "shuts", "walks", "opens", "closes")
FIELDS += ("short", "cost", "span")


def drawn_problem(seed: int, *, rooms: int) -> Problem:
    """Two crews, two shifts each, two ways to pour, lags that change with the hour."""
    random = Random(f"{seed}/{rooms}")
    length = 4 * rooms if rooms < 4 else 2 * rooms + 4
    stages = [
        (_pour(random, length), *(_coat(random, length) for _ in range(coats)))
        for coats in (random.choice((1, 1, 2)) if rooms < 4 else 1 for _ in range(rooms))
    ]
    crosses: list[tuple[int, ...]] = [() for _ in range(rooms)]
    if random.random() < 0.6:
        crosses[random.randrange(1, rooms)] = (0,)
    return Problem(
        rooms=tuple(stages),
        crosses=tuple(crosses),
        groups=((0, 1),) if random.random() < 0.3 else (),
        shift_begins=(0, 2 * length),
        may_wait=random.random() < 0.7,
        wait_price=random.choice((0, 1, 3)),
    )


def _pour(random: Random, length: int) -> Stage:
    """A dear way that keeps the margin, and a cheap one that does so only late."""
    takes, tight = random.randint(1, 3), random.randint(0, length)
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
    rows = {
        (r, n): [
            {name: int(getattr(stage, name)[k]) for name in FIELDS} for k in range(stage.size)
        ]
        for r, stages in enumerate(problem.rooms)
        for n, stage in enumerate(stages)
    }
    crew = {(r, n): stage.crew for r, stages in enumerate(problem.rooms)
            for n, stage in enumerate(stages)}  # fmt: skip
    tasks = sorted(rows, key=lambda task: (task[1], task[0]))
    chosen: dict[tuple[int, int], int] = {}
    best: list[tuple[tuple[int, ...], Choice]] = []

    def allowed(task: tuple[int, int], state: dict[str, int]) -> bool:
        room, number = task
        if number:
            before = rows[room, number - 1][chosen[room, number - 1]]
            if not before["opens"] <= state["begins"] <= before["closes"]:
                return False
        for other, k in chosen.items():
            there = rows[other][k]
            if crew[other] == crew[task] and not (
                there["frees"] <= state["begins"] or state["frees"] <= there["begins"]
            ):
                return False
            if other[0] in problem.crosses[room] and not (
                state["ends"] <= there["shuts"] or there["walks"] <= state["begins"]
            ):
                return False
            if room in problem.crosses[other[0]] and not (
                there["ends"] <= state["shuts"] or state["walks"] <= there["begins"]
            ):
                return False
        return True

    def spent() -> tuple[int, ...]:
        states = [rows[task][k] for task, k in chosen.items()]
        return (
            max(s["short"] for s in states),
            sum(s["short"] for s in states),
            max(rows[t][k]["span"] for t, k in chosen.items() if t[1] == 0),
            sum(s["cost"] for s in states),
        )

    def visit(depth: int) -> None:
        if depth == len(tasks):
            if _groups_kept(problem, rows, chosen):
                found = _worth(problem, rows, crew, chosen)
                if not best or found < best[0][0]:
                    choice = tuple(
                        tuple(chosen[r, n] for n in range(len(stages)))
                        for r, stages in enumerate(problem.rooms)
                    )
                    best[:] = [(found, choice)]
            return
        task = tasks[depth]
        for k, state in enumerate(rows[task]):
            if allowed(task, state):
                chosen[task] = k
                if not best or best[0][0][0] > 0 or spent() <= best[0][0][1:5]:
                    visit(depth + 1)
                del chosen[task]

    visit(0)
    return best[0] if best else None


Rows = dict[tuple[int, int], list[dict[str, int]]]


def _groups_kept(problem: Problem, rows: Rows, chosen: dict[tuple[int, int], int]) -> bool:
    for group in problem.groups:
        pours = [rows[room, 0][chosen[room, 0]] for room in group]
        first = min(pour["begins"] for pour in pours)
        last = max(pour["frees"] for pour in pours)
        if last - first != sum(pour["frees"] - pour["begins"] for pour in pours):
            return False
    return True


def _worth(
    problem: Problem,
    rows: Rows,
    crew: dict[tuple[int, int], int],
    chosen: dict[tuple[int, int], int],
) -> tuple[int, ...]:
    states = {task: rows[task][k] for task, k in chosen.items()}
    shifts: dict[tuple[int, int], list[dict[str, int]]] = {}
    for task, state in states.items():
        shifts.setdefault((crew[task], state["span"]), []).append(state)
    stays = {
        shift: (min(s["begins"] for s in there), max(s["frees"] for s in there))
        for shift, there in shifts.items()
    }
    idle = waited = 0
    for (who, span), (first, last) in stays.items():
        if who == 0:
            work = sum(s["frees"] - s["begins"] for s in shifts[who, span])
            idle += last - first - work
            waited += last - problem.shift_begins[span] - work
    return (
        0 if problem.may_wait else waited,
        max(s["short"] for s in states.values()),
        sum(s["short"] for s in states.values()),
        max(s["span"] for (_, n), s in states.items() if n == 0),
        sum(s["cost"] for s in states.values()) + problem.wait_price * idle,
        max(states[r, len(row) - 1]["opens"] for r, row in enumerate(problem.rooms)),
        len(stays),
        sum(last - first for first, last in stays.values()),
    )
