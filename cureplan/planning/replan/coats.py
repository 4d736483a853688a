"""What the log of the night says of coves, primers and coats: begun, mixed, done, vacuumed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from cureplan.inputs.tables.night_log import OF_COATS, OF_COVES, OF_PRIMERS, NightEvent
from cureplan.planning.plan.model import CoatPlan, Plan

__all__ = ["CoatState", "coat_lines", "coat_states", "cove_states", "primer_states"]

_OF_TOP = ("vacuumed", *OF_COATS)


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatState:
    """A coat or primer that is begun: since when, until when if that was said [epoch s]."""

    begun_s: float
    laid_s: float | None = None
    ticked: bool = False
    """Whether the log says so; otherwise it is taken as begun in step with the plan."""


def coat_lines(
    plan: Plan, events: Sequence[NightEvent], kinds: Sequence[str] = _OF_TOP
) -> list[NightEvent]:
    """All lines of the coat phase, or of the primers; those used before as well."""
    used = () if plan.night is None else plan.night.log
    lines = [
        NightEvent(
            source="plan.json",
            line=0,
            at=line.at,
            event=line.event,
            room=line.room,
            coat=int(line.value) if line.event in OF_COATS else None,
        )
        for line in used
        if line.event in kinds
    ]
    lines += [event for event in events if event.event in kinds]
    found: dict[tuple[object, ...], NightEvent] = {}
    for line in sorted(lines, key=lambda line: line.at):
        found.setdefault((line.event, line.room, line.coat, line.at), line)
    return list(found.values())


def coat_states(
    plan: Plan, lines: Sequence[NightEvent], *, now_s: float
) -> dict[tuple[str, int], CoatState]:
    """Every coat that is begun, by room and number.

    Without any line of the coat phase a coat is begun when the plan says so. From the first
    line on, what nobody ticked is not begun, but for a coat that lies under one that is.
    """
    coats: dict[str, list[CoatPlan]] = {}
    for coat in sorted(plan.coats, key=lambda coat: coat.coat):
        coats.setdefault(coat.room, []).append(coat)
    _refuse_unknown(lines, coats)
    return {
        (room, number): state
        for room, own in coats.items()
        for number, state in _of_room(
            own, [line for line in lines if line.room == room], not lines, now_s
        )
    }


def primer_states(
    plan: Plan, events: Sequence[NightEvent], *, now_s: float
) -> dict[str, CoatState]:
    """Every primer that is begun, by room.

    Without any line of a primer one is begun when the plan says so. From the first line
    on, what nobody ticked is not begun.
    """
    spans = {primer.room: (primer.start, primer.end) for primer in plan.primers}
    return _room_states(plan, events, spans, OF_PRIMERS, now_s=now_s)


def cove_states(
    plan: Plan, events: Sequence[NightEvent], *, now_s: float
) -> dict[str, CoatState]:
    """Every cove that is begun, by room, told as primers are; one that a plan made again
    has no call for is up."""
    spans = {
        call.room: (call.first_task, call.last_task)
        for call in plan.calls
        if call.stage == "cove"
    }
    if plan.job.cove is not None and plan.night is not None:
        at = (plan.decisions.made_at, plan.decisions.made_at)
        has = [room.name for room in plan.job.rooms if plan.job.cove_m(room) > 0]
        spans = {room: spans.get(room, at) for room in has}
    return _room_states(plan, events, spans, OF_COVES, now_s=now_s)


def _room_states(
    plan: Plan,
    events: Sequence[NightEvent],
    spans: Mapping[str, tuple[datetime, datetime]],
    kinds: tuple[str, str],
    *,
    now_s: float,
) -> dict[str, CoatState]:
    """What is begun once in a room, by its first and last planned instant."""
    lines, what = coat_lines(plan, events, kinds), kinds[0].split()[0]
    for line in lines:
        if line.room not in spans:
            raise line.fault(
                "room",
                f"the plan has no {what} there",
                f"the rooms with {what} are {', '.join(spans) or 'none'}",
                line.room,
            )
    found = {}
    for room, span in spans.items():
        own = {line.event: line for line in reversed(lines) if line.room == room}
        begun, done = (own.get(event) for event in kinds)
        if begun is not None and done is not None and done.at <= begun.at:
            raise done.fault(
                "at",
                f"the {what} of {room} was begun after that",
                "check the times",
                done.at.isoformat(),
            )
        state = _begun_once(begun, done, span, untold=not lines, now_s=now_s)
        if state is not None:
            found[room] = state
    return found


def _begun_once(
    begun: NightEvent | None,
    done: NightEvent | None,
    span: tuple[datetime, datetime],
    *,
    untold: bool,
    now_s: float,
) -> CoatState | None:
    done_s = None if done is None else done.at.timestamp()
    if begun is not None:
        return CoatState(begun_s=begun.at.timestamp(), laid_s=done_s, ticked=True)
    if done_s is not None:
        lasts_s = (span[1] - span[0]).total_seconds()
        return CoatState(begun_s=done_s - lasts_s, laid_s=done_s, ticked=True)
    planned_s = span[0].timestamp()
    return CoatState(begun_s=planned_s) if untold and planned_s <= now_s else None


def _refuse_unknown(
    lines: Sequence[NightEvent], coats: Mapping[str, Sequence[CoatPlan]]
) -> None:
    for line in lines:
        own = coats.get(str(line.room), ())
        if line.coat is not None and line.coat not in [coat.coat for coat in own]:
            raise line.fault(
                "value",
                f"the plan lays no such coat on {line.room}",
                "write the coat's number",
                line.coat,
            )


def _of_room(
    coats: Sequence[CoatPlan], lines: Sequence[NightEvent], untold: bool, now_s: float
) -> Iterator[tuple[int, CoatState]]:
    """From the last coat down: one that lies under another was begun before it."""
    above: NightEvent | None = None
    over_s: float | None = None
    for coat in reversed(coats):
        own = {line.event: line for line in reversed(lines) if line.coat == coat.coat}
        state = _state(coat, own, over_s=over_s, untold=untold, now_s=now_s)
        last = max(own.values(), key=lambda line: line.at, default=None)
        if last is not None and above is not None and last.at >= above.at:
            raise last.fault(
                "at",
                f"line {above.line} says that coat {above.coat} was begun before it",
                "check the numbers and times",
                last.at.isoformat(),
            )
        if state is None:
            continue
        over_s = state.begun_s
        above = min(own.values(), key=lambda line: line.at, default=above)
        yield coat.coat, state


def _state(
    coat: CoatPlan,
    own: Mapping[str, NightEvent],
    *,
    over_s: float | None,
    untold: bool,
    now_s: float,
) -> CoatState | None:
    lasts_s = (coat.end - coat.start).total_seconds()
    laid = own.get("coat laid")
    laid_s = None if laid is None else laid.at.timestamp()
    first = [own[event].at for event in ("coat begun", "batch mixed") if event in own]
    if first:
        begun_s = min(first).timestamp()
        if laid is not None and laid_s is not None and laid_s <= begun_s:
            raise laid.fault(
                "at",
                f"coat {coat.coat} of {coat.room} was begun after that",
                "check the times",
                laid.at.isoformat(),
            )
        return CoatState(begun_s=begun_s, laid_s=laid_s, ticked=True)
    if laid_s is not None:
        return CoatState(begun_s=laid_s - lasts_s, laid_s=laid_s, ticked=True)
    planned_s = coat.start.timestamp()
    if over_s is not None:
        return CoatState(begun_s=min(planned_s, over_s - lasts_s))
    return CoatState(begun_s=planned_s) if untold and planned_s <= now_s else None
