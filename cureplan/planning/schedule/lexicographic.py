"""Objectives one after the other, each proven before the next."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from dataclasses import dataclass, field
from typing import Any

from cureplan.planning.schedule.bounds import (
    BY_WORK,
    Pruned,
    least_cost,
    least_possible,
    lower_bounds,
    prune_dominated,
)
from cureplan.planning.schedule.cp_model import OrderingModel, cp_sat
from cureplan.planning.schedule.outcome import Ended, Known, Stop, never
from cureplan.planning.schedule.problem import Choice, Problem, Score, score

__all__ = ["SHARES", "Limits", "News", "Solved", "solve_in_order"]


def _bound(search: _Search, part: str, simple: Score) -> int:
    """What no choice beats in a part, the parts before it being as good as found."""
    if part != "cost" or search.score is None:
        return int(getattr(simple, part))
    # One room may miss all that is missed beyond the least of each, and so be cheaper.
    missed = search.score.short_sum - simple.short_sum
    return sum(least_cost(stage, missed) for _, _, stage in search.problem.tasks())


SHARES = {
    "waited": 0.4,
    "short_most": 0.4,
    "short_sum": 0.4,
    "last_shift": 0.4,
    "tight": 0.55,
    "cost": 0.65,
    "ready": 0.85,
    "calls": 0.9,
    "on_site": 0.95,
    "hurried": 1.0,
}
"""Up to which share of all work the search may have gone after a part."""
MORE_SHARES = {"calls": 0.3, "on_site": 0.3, "hurried": 0.1}
"""Of all work, the most that goes into one part: what breaks ties is not worth what the
parts before it left over."""
BY_BOUND = {"use_objective_lb_search": True}
TIGHT = {"linearization_level": 0, "use_strong_propagation_in_disjunctive": True}
LINEAR = {"linearization_level": 2}
MANNERS: dict[str, dict[str, Any]] = {
    "ready": TIGHT | BY_BOUND,
    "calls": TIGHT,
    "on_site": TIGHT,
}
"""How the solver goes about a part; measured on drawn jobs of 8 and 12 floors, where this
settles in seconds what the solver's own defaults leave open after a minute. Costs are
sums, for which its linear relaxation is the better guide."""

QUICK, QUICK_WORK = TIGHT | {"cp_model_probing_level": 0}, 0.25
"""Tried first: on a job of five floors every part is settled in less, in a third of the
time of the manners above, whose relaxation and probing only pay on larger ones."""

FEW_ROOMS = 5
"""Up to so many the solver itself mostly settles every part."""
EMERGENCY_S = 1800.0
"""When a search is given up by the clock: only a machine that hangs comes to it."""
POLL_S = 0.05
ALL_WORK = 0.98
"""Share of the work at which a solver counts as having used all of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How much a search may work, in the solver's own units; the clock only in need."""

    work: float
    any_work: float | None = None
    """The same as long as no answer is known at all; None for as much."""
    emergency_s: float = EMERGENCY_S

    @property
    def for_any(self) -> float:
        """How much to work for a first answer."""
        return self.work if self.any_work is None else self.any_work


@dataclass(frozen=True, slots=True, kw_only=True)
class News:
    """A better answer, or a part of the score that is settled."""

    part: str
    found: Score
    bound: int | None
    settled: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Solved:
    """The best choice found and what is known of how good it is."""

    choice: Choice | None
    score: Score | None
    bounds: dict[str, int]
    """By part of the score: what no choice beats, earlier parts being as good as here."""
    ended: Ended
    """Why the search went no further."""
    infeasible: bool = False
    """Whether the solver proved that no choice keeps all rules."""
    asked: bool = True
    """Whether a solver was needed at all."""
    worked: float = 0.0

    @property
    def proven(self) -> bool:
        """Whether every part of the score stands at its bound."""
        return self.score is not None and all(
            self.bounds.get(part) == getattr(self.score, part) for part in Score._fields
        )

    @property
    def known(self) -> Known:
        """What the search can say: no answer yet is not the same as no answer at all."""
        if self.choice is None:
            return "impossible" if self.infeasible else "unknown"
        return "proven" if self.proven else "found"


@dataclass(slots=True, kw_only=True)
class _Search:
    problem: Problem
    limits: Limits
    seed: int
    on_news: Callable[[News], None] | None
    choice: Choice | None
    score: Score | None
    stop: Stop
    began_s: float = field(default_factory=time.monotonic)
    worked: float = 0.0
    bounds: dict[str, int] = field(default_factory=dict)
    asked: bool = False
    infeasible: bool = False
    ended: Ended = "settled"

    def tell(self, part: str, *, settled: bool) -> None:
        if self.on_news is not None and self.score is not None:
            self.on_news(
                News(
                    part=part,
                    found=self.score,
                    bound=self.bounds.get(part),
                    settled=settled,
                )
            )

    def offer(self, choice: Choice) -> None:
        """Keep a choice if it is better by the whole score."""
        found = score(self.problem, choice)
        if self.score is None or found < self.score:
            self.choice, self.score = choice, found


def solve_in_order(
    problem: Problem,
    first: Choice | None,
    *,
    limits: Limits,
    seed: int,
    on_news: Callable[[News], None] | None = None,
    parts: Collection[str] = Score._fields,
    stop: Stop = never,
) -> Solved:
    """Find the best choice, part of the score by part of the score."""
    if problem.empty:
        return Solved(choice=None, score=None, bounds={}, ended="settled", infeasible=True)
    search = _Search(
        problem=problem,
        limits=limits,
        seed=seed,
        on_news=on_news,
        choice=first,
        score=None if first is None else score(problem, first),
        stop=stop,
    )
    simple = lower_bounds(problem)
    for part in Score._fields:
        if part not in parts:
            continue
        _settle(search, part, _bound(search, part, simple))
        if search.choice is None or search.ended in ("stopped by hand", "out of time"):
            break
    return Solved(
        choice=search.choice,
        score=search.score,
        bounds=search.bounds,
        ended=search.ended,
        infeasible=search.infeasible,
        asked=search.asked,
        worked=search.worked,
    )


def _settle(search: _Search, part: str, simple: int) -> None:
    """Bring one part of the score to its best, or as near as the limits allow."""
    search.bounds[part] = simple
    if len(search.problem.rooms) > FEW_ROOMS:
        _bound_by_work(search, part)
    if search.score is None or getattr(search.score, part) > search.bounds[part]:
        _solve(search, part)
    if search.score is None:
        return
    _bound_by_work(search, part)
    best = getattr(search.score, part)
    search.tell(part, settled=search.bounds[part] == best)


def _bound_by_work(search: _Search, part: str) -> None:
    """Raise a bound that the search has not reached to what the crews can work off."""
    if part in BY_WORK and search.score is not None:
        low = search.bounds[part]
        search.bounds[part] = least_possible(search.problem, search.score, part, low)


def _solve(search: _Search, part: str) -> None:
    """Ask the solver for one part of the score; in another manner where it gives up."""
    held = Score._fields[: Score._fields.index(part) + 1]
    for manner in _manners(part):
        if search.stop():
            search.ended = "stopped by hand"
            return
        work = min(
            SHARES[part] * search.limits.work - search.worked,
            MORE_SHARES.get(part, 1.0) * search.limits.work,
        )
        if work <= 0.0:
            search.ended = "out of work"
            return
        if manner is QUICK:
            work = min(work, QUICK_WORK)
        small = prune_dominated(search.problem, search.score, held)
        if small.problem.empty:
            search.infeasible = search.choice is None
            return
        ended = _ask(search, part, small, manner, work=work)
        if ended != "gave up" and not (manner is QUICK and ended == "out of work"):
            search.ended = search.ended if ended == "settled" else ended
            return
    search.ended = "gave up"


def _manners(part: str) -> tuple[dict[str, Any], ...]:
    first = MANNERS.get(part, LINEAR)
    return (QUICK, first, TIGHT if first is LINEAR else LINEAR)


def _ask(
    search: _Search, part: str, small: Pruned, manner: dict[str, Any], *, work: float
) -> Ended:
    """One call of the solver, and why it came back."""
    cp_model = cp_sat()

    search.asked = True
    model = OrderingModel(small.problem)
    if search.score is not None and search.choice is not None:
        for settled in Score._fields[: Score._fields.index(part) + 1]:
            model.model.add(model.goal(settled) <= getattr(search.score, settled))
        model.hint(small.inner(search.choice))
    model.model.add(model.goal(part) >= search.bounds[part])
    model.model.minimize(model.goal(part))
    left_s = search.limits.emergency_s - (time.monotonic() - search.began_s)
    solver = _solver(search.seed, manner, work=work, emergency_s=max(0.0, left_s))

    def take(value: Callable[[Any], int], bound: float) -> None:
        before = search.score
        search.offer(small.outer(model.choice_of(value)))
        search.bounds[part] = max(search.bounds[part], _up(bound))
        if search.score != before:
            search.tell(part, settled=False)

    status = _run(solver, model.model, _listener(take), search.stop)
    worked = float(solver.response_proto.deterministic_time)
    search.worked += worked
    if status == cp_model.INFEASIBLE:
        search.infeasible = search.choice is None
        return "settled"
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        take(solver.value, solver.best_objective_bound)
    if status == cp_model.OPTIMAL:
        return "settled"
    return _why(search, worked=worked, work=work)


def _why(search: _Search, *, worked: float, work: float) -> Ended:
    """Why a solver came back without a proof; it may do so before all of its limits."""
    if search.stop():
        return "stopped by hand"
    if worked >= ALL_WORK * work:
        return "out of work"
    if time.monotonic() - search.began_s >= search.limits.emergency_s:
        return "out of time"
    return "gave up"


def _run(solver: Any, model: Any, listener: Any, stop: Stop) -> Any:
    """Solve in a thread of its own, so that whoever asks for a stop is heard at once."""
    with ThreadPoolExecutor(max_workers=1) as pool:
        solving = pool.submit(solver.solve, model, listener)
        while True:
            try:
                return solving.result(timeout=POLL_S)
            except NotYet:
                # Again and again: a solver not yet under way does not hear the first.
                if stop():
                    solver.stop_search()
            except BaseException:
                solver.stop_search()
                raise


def _solver(seed: int, manner: dict[str, Any], *, work: float, emergency_s: float) -> Any:
    cp_model = cp_sat()

    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    for name, value in manner.items():
        setattr(solver.parameters, name, value)
    solver.parameters.random_seed = seed % (2**31)
    solver.parameters.max_deterministic_time = work
    solver.parameters.max_time_in_seconds = emergency_s
    solver.parameters.catch_sigint_signal = False
    return solver


def _up(bound: float) -> int:
    return int(-(-(bound - 1e-6) // 1))


def _listener(take: Callable[[Callable[[Any], int], float], None]) -> Any:
    """Keeps every answer the solver comes upon, so that none is lost to Ctrl-C."""
    callback: Any = cp_sat().CpSolverSolutionCallback

    class Listener(callback):  # type: ignore[misc]
        def on_solution_callback(self) -> None:
            take(self.value, self.best_objective_bound)

    return Listener()
