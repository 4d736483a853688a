"""Coats after pours: each at its earliest start inside window, shift, dew point and way out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from cureplan.job.model import Job
from cureplan.planning.coats import (
    CoatWindow,
    CoatWork,
    FinishedFloor,
    finished_floor,
    first_coat_window,
    next_coat_window,
)
from cureplan.planning.pour import RoomPours
from cureplan.schedule.calendar import Span, crew_spans, earliest_start
from cureplan.schedule.placing import Board, Failure, PlacedCoat

__all__ = ["place_coats"]


def place_coats(
    job: Job,
    pours: dict[str, RoomPours],
    board: Board,
    order: Sequence[str],
    *,
    crossed_last: bool,
) -> list[Failure]:
    """Place every coat of every room on the board, in a given order of rooms.

    Parameters
    ----------
    job, pours, board
        The job, its rooms, and the board on which the pours stand already.
    order : sequence of str
        Rooms in the order their floors were laid.
    crossed_last : bool
        Whether floors that others cross get their coats after all of those others'.

    Returns
    -------
    list of Failure
        Hard limits that could not be kept; empty when all is well.
    """
    failures: list[Failure] = []
    for name, coat in _sequence(job, order, crossed_last=crossed_last):
        failure = _place(job, pours[name], board, coat)
        if failure is not None:
            return [failure]
    for room in job.rooms:
        last = board.coats[room.name, room.topcoats]
        wanted_s = (room.open_by or job.access.open_by).timestamp()
        if last.after.opens_s > wanted_s:
            failures.append(
                Failure(
                    limit="open by",
                    room=room.name,
                    wanted_s=wanted_s,
                    found_s=last.after.opens_s,
                )
            )
    return failures


def _sequence(
    job: Job, order: Sequence[str], *, crossed_last: bool
) -> Iterable[tuple[str, int]]:
    crossed = {floor for room in job.rooms for floor in room.way_out}
    coats = [
        (name, coat) for coat in (1, 2) for name in order if coat <= job.room(name).topcoats
    ]
    if crossed_last:
        coats.sort(key=lambda item: item[0] in crossed)
    return coats


def _place(job: Job, pours: RoomPours, board: Board, coat: int) -> Failure | None:
    name = pours.room.name
    work = board.pours[name].works[coat - 1]
    window = _window(pours, board, coat)
    busy = [Span(begins_s=c.begins_s, ends_s=c.end_s) for c in board.coats.values()]
    length_s = work.vacuum_s + work.duration_s
    crossing_clear = board.first_clear(
        name,
        length_s=length_s,
        crew_busy=busy,
        closed_until=lambda begins: _after(pours, begins + work.vacuum_s, work).foot_s,
    )

    def clear(begins_s: float) -> float | None:
        later = crossing_clear(begins_s)
        if later is not None:
            return later
        start_s = begins_s + work.vacuum_s
        dry_s = pours.conditions.next_dry_s(
            start_s, work.duration_s, margin_k=job.policy.dew_margin_k
        )
        return None if dry_s <= start_s else dry_s - work.vacuum_s

    spans = crew_spans(job, job.crew.topcoat_shifts)
    begins_s = earliest_start(
        from_s=window.opens_s - work.vacuum_s,
        length_s=length_s,
        spans=spans,
        setup_s=job.crew.setup_s,
        clear_of=clear,
    )
    if begins_s is None:
        return Failure(
            limit="topcoat shifts", room=name, wanted_s=window.opens_s, found_s=float("inf")
        )
    start_s = begins_s + work.vacuum_s
    if start_s > window.closes_s:
        return Failure(
            limit=f"coat {coat} window", room=name, wanted_s=window.closes_s, found_s=start_s
        )
    board.coats[name, coat] = PlacedCoat(
        room=name,
        coat=coat,
        window=window,
        begins_s=begins_s,
        start_s=start_s,
        end_s=start_s + work.duration_s,
        work=work,
        after=_after(pours, start_s, work),
    )
    return None


def _window(pours: RoomPours, board: Board, coat: int) -> CoatWindow:
    poured = board.pours[pours.room.name]
    if coat == 1:
        return first_coat_window(poured.floor, poured.works[0])
    below = board.coats[pours.room.name, coat - 1]
    wait, close = pours.topcoat_factors(below.start_s)
    return next_coat_window(
        below.start_s,
        below.work,
        poured.works[coat - 1],
        clocks=pours.topcoat,
        curve=pours.topcoat_curve,
        wait=wait,
        close=close,
    )


def _after(pours: RoomPours, start_s: float, work: CoatWork) -> FinishedFloor:
    return finished_floor(
        start_s,
        work,
        clocks=pours.topcoat,
        curve=pours.topcoat_curve,
        wait=pours.topcoat_factors(start_s)[0],
    )
