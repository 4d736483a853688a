"""A first answer: rooms placed one after the other, every order tried that may be tried.

Forward timing of an order of rooms, each at its earliest start with the remedies it
needs; coats then follow in the order the floors were laid. Small jobs try every order,
larger ones begin with the farthest room and swap neighbours.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import islice, permutations

from cureplan.job.model import Job
from cureplan.planning.pour import AS_IS, RoomPours
from cureplan.schedule.calendar import Span, crew_spans, earliest_start
from cureplan.schedule.coat_placing import place_coats
from cureplan.schedule.placing import Board, Failure, PlacedCoat, PlacedPour, place_pour
from cureplan.schedule.remedies import HOUR_S, choose

__all__ = ["Schedule", "construct"]

MOST_ORDERS = 150
SLOT_S = 300.0
NEVER_S = 1e12


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """Pours and coats in time, and the hard limits that would not fit."""

    pours: tuple[PlacedPour, ...]
    coats: tuple[PlacedCoat, ...]
    failures: tuple[Failure, ...]
    required_s: float
    orders_tried: int = 0

    @property
    def least_margin_s(self) -> float:
        """Least margin of any bucket [s]."""
        return min((pour.margin_s for pour in self.pours), default=float("-inf"))

    @property
    def opens_s(self) -> float:
        """When the last room may open [epoch s]."""
        last = {coat.room: coat.after.opens_s for coat in self.coats}
        return max(last.values(), default=float("inf"))

    def score(self) -> tuple[float, ...]:
        """Smaller is better: feasible, margin, opening, fewest remedies, least idle."""
        short_s = sum(max(0.0, self.required_s - pour.planning_margin_s) for pour in self.pours)
        remedies = sum(len(pour.option.remedies()) + pour.option.bays for pour in self.pours)
        finished = max((coat.end_s for coat in self.coats), default=0.0)
        return (
            len(self.failures),
            sum(failure.short_s for failure in self.failures),
            round(short_s),
            round(min(self.opens_s, NEVER_S) / SLOT_S),
            remedies,
            finished,
        )


def construct(job: Job, pours: dict[str, RoomPours]) -> Schedule:
    """Place every pour and coat of a job.

    Parameters
    ----------
    job : Job
        The job.
    pours : dict
        `RoomPours` of every room, by name.

    Returns
    -------
    Schedule
        The best found; its `failures` are empty when every hard limit is kept.
    """
    best: Schedule | None = None
    tried = 0
    for order in _orders(job):
        tried += 1
        for crossed_last in (False, True):
            found = _place(job, pours, order, crossed_last=crossed_last)
            if best is None or found.score() < best.score():
                best = found
    if best is None:
        raise AssertionError("a job has at least one room")
    return Schedule(
        pours=best.pours,
        coats=best.coats,
        failures=best.failures,
        required_s=best.required_s,
        orders_tried=tried,
    )


def _orders(job: Job) -> Iterable[tuple[str, ...]]:
    """Orders worth trying: nobody is shut out of a room that is still to be poured."""
    rooms = {room.name: room for room in job.rooms}
    # Farthest in first: most floors to cross, then the largest, as crews do it.
    start = tuple(
        sorted(rooms, key=lambda name: (-len(rooms[name].way_out), -rooms[name].area_m2))
    )

    def keeps_way_out(order: Sequence[str]) -> bool:
        place = {name: i for i, name in enumerate(order)}
        return all(place[name] < place[f] for name in order for f in rooms[name].way_out)

    if len(start) <= 6:
        found = [order for order in permutations(start) if keeps_way_out(order)]
        return found[:MOST_ORDERS] or [start]
    return islice(_swaps(start, keeps_way_out), MOST_ORDERS)


def _swaps(
    start: tuple[str, ...], allowed: Callable[[Sequence[str]], bool]
) -> Iterable[tuple[str, ...]]:
    yield start
    for i in range(len(start) - 1):
        for j in range(i + 1, len(start)):
            order = list(start)
            order[i], order[j] = order[j], order[i]
            if allowed(order):
                yield tuple(order)


def _place(
    job: Job, pours: dict[str, RoomPours], order: Sequence[str], *, crossed_last: bool
) -> Schedule:
    board = Board(
        rooms={room.name: room for room in job.rooms}, changeover_s=job.crew.changeover_s
    )
    failures = [f for name in order if (f := _place_pour(job, pours[name], board)) is not None]
    if not failures:
        failures += place_coats(job, pours, board, order, crossed_last=crossed_last)
    return Schedule(
        pours=tuple(board.pours.values()),
        coats=tuple(board.coats.values()),
        failures=tuple(failures),
        required_s=job.policy.margin_s,
    )


def _place_pour(job: Job, pours: RoomPours, board: Board) -> Failure | None:
    room = pours.room.name
    spans = crew_spans(job, job.crew.pour_shifts)
    busy = [Span(begins_s=p.start_s, ends_s=p.end_s) for p in board.pours.values()]
    length_s = pours.plan(AS_IS).times.last_s
    first = earliest_start(
        from_s=max((span.ends_s + job.crew.changeover_s for span in busy), default=0.0),
        length_s=length_s,
        spans=spans,
        setup_s=job.crew.setup_s,
        clear_of=board.first_clear(
            room,
            length_s=length_s,
            crew_busy=busy,
            closed_until=lambda start: place_pour(pours, AS_IS, start).floor.walkable_s,
        ),
    )
    held = None if first is None else _span_of(spans, first)
    if first is None or held is None:
        longest_s = max((s.ends_s - s.begins_s - job.crew.setup_s for s in spans), default=0.0)
        return Failure(limit="pour shifts", room=room, wanted_s=length_s, found_s=longest_s)
    starts = [first + HOUR_S * i for i in range(int((held.ends_s - first) // HOUR_S) + 1)]
    choice = choose(
        pours,
        starts,
        shift_ends_s=held.ends_s,
        remedies=job.policy.remedies,
        required_s=job.policy.margin_s,
    )
    if choice is None:
        raise AssertionError("the first start was found to hold the floor as it is")
    board.pours[room] = place_pour(pours, choice.option, choice.start_s, delayed=choice.delayed)
    return None


def _span_of(spans: Sequence[Span], start_s: float) -> Span | None:
    return next((s for s in spans if s.begins_s <= start_s < s.ends_s), None)
