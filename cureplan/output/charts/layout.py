"""What the pictures show: rows, spans and marks in time, before anything is drawn.

One source of geometry for the drawn files and for the pictures inside the sheet, so that
both show the same. Nothing here needs a drawing library.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from cureplan.core.clock import ceil_to, floor_to
from cureplan.output.language import Voice
from cureplan.output.language.clean import one_line
from cureplan.planning.plan.model import BucketPlan, Plan, RoomPlan

__all__ = [
    "Chart",
    "ClockChart",
    "ClockMark",
    "ClockSpan",
    "Line",
    "Mark",
    "Span",
    "TemperatureChart",
    "Tick",
    "buckets_chart",
    "rooms_chart",
    "temperature_chart",
    "ticks",
    "windows_chart",
]

SpanKind = Literal["primer", "pour", "setting", "walk", "coat", "open", "window", "laid"]
ClockKind = Literal["wet", "work", "surface"]
TaskKind = Literal["tie", "smooth", "broadcast"]

HOUR_STEPS = (1, 2, 3, 6, 12, 24)
MINUTE_STEPS = (5, 10, 15, 30)


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A stretch of time in one row."""

    row: int
    kind: SpanKind
    begins: datetime
    ends: datetime
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A moment in one row."""

    row: int
    kind: Literal["needed"]
    at: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """Rows from top to bottom, with what happens in them."""

    rows: tuple[str, ...]
    spans: tuple[Span, ...]
    marks: tuple[Mark, ...]
    begins: datetime
    ends: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockSpan:
    """One clock of one bucket, running from its filler."""

    row: int
    kind: ClockKind
    ends_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockMark:
    """What must happen to a bucket before one of its clocks ends."""

    row: int
    kind: TaskKind
    at_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ClockChart:
    """Buckets from top to bottom, all from the minute their filler goes in."""

    numbers: tuple[str, ...]
    starts: tuple[str, ...]
    spans: tuple[ClockSpan, ...]
    marks: tuple[ClockMark, ...]
    last_min: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One temperature through time, in the unit shown; None where not known."""

    kind: Literal["outdoor", "dew", "air", "slab"]
    points: tuple[tuple[datetime, float | None], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TemperatureChart:
    """Temperatures, and the spans in which floors are poured and coated."""

    lines: tuple[Line, ...]
    spans: tuple[Span, ...]
    begins: datetime
    ends: datetime
    unit: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Tick:
    """A place on the time axis; `day` is set where a day begins."""

    at: datetime
    clock: str
    day: str


def rooms_chart(plan: Plan) -> Chart:
    """Each floor from its first bucket until the kitchen must open."""
    ordered = sorted(plan.rooms, key=lambda room: room.order)
    ends = max([plan.job.access.open_by, *(room.opens for room in ordered)])
    ends += timedelta(hours=1)
    spans = [
        span for row, room in enumerate(ordered) for span in _room_spans(plan, room, row, ends)
    ]
    marks = tuple(
        Mark(row=row, kind="needed", at=room.open_by) for row, room in enumerate(ordered)
    )
    works = [*(room.pour_start for room in ordered), *(p.start for p in plan.primers)]
    begins = min([plan.job.access.begins, *works])
    return Chart(
        rows=tuple(one_line(room.room) for room in ordered),
        spans=tuple(spans),
        marks=marks,
        begins=begins,
        ends=ends,
    )


def _room_spans(plan: Plan, room: RoomPlan, row: int, ends: datetime) -> Iterable[Span]:
    laid = sorted(
        (coat for coat in plan.coats if coat.room == room.room), key=lambda coat: coat.start
    )
    for primer in (p for p in plan.primers if p.room == room.room):
        yield Span(row=row, kind="primer", begins=primer.start, ends=primer.end)
        bears = min(primer.walkable, room.pour_start)
        yield Span(row=row, kind="setting", begins=primer.end, ends=bears)
        if bears < room.pour_start:
            yield Span(row=row, kind="walk", begins=bears, ends=room.pour_start)
    yield Span(row=row, kind="pour", begins=room.pour_start, ends=room.pour_end)
    free = room.walkable
    yield Span(row=row, kind="setting", begins=room.pour_end, ends=free)
    for place, coat in enumerate(laid):
        if place == 0 and free < coat.start:
            yield Span(row=row, kind="walk", begins=free, ends=coat.start)
        yield Span(row=row, kind="coat", begins=coat.start, ends=coat.end, text=str(coat.coat))
        until = laid[place + 1].start if place + 1 < len(laid) else room.foot_traffic
        if until > coat.end:
            yield Span(row=row, kind="setting", begins=coat.end, ends=until)
    foot = max(room.foot_traffic, free)
    if room.opens > foot:
        yield Span(row=row, kind="walk", begins=foot, ends=room.opens)
    if ends > room.opens:
        yield Span(row=row, kind="open", begins=room.opens, ends=ends)


def buckets_chart(plan: Plan, room: str, voice: Voice) -> ClockChart:
    """Every bucket of a room from its filler on: its three clocks, and what must beat them."""
    buckets = plan.buckets_of(room)
    spans: list[ClockSpan] = []
    marks: list[ClockMark] = []
    for row, bucket in enumerate(buckets):
        spans += _clock_spans(bucket, row)
        marks += _clock_marks(bucket, row)
    last_min = max([span.ends_min for span in spans] + [mark.at_min for mark in marks] + [1.0])
    return ClockChart(
        numbers=tuple(str(bucket.number) for bucket in buckets),
        starts=tuple(voice.at(bucket.filler_in, "time") for bucket in buckets),
        spans=tuple(spans),
        marks=tuple(marks),
        last_min=last_min,
    )


def _since_filler_min(bucket: BucketPlan, instant: datetime) -> float:
    return (instant - bucket.filler_in) / timedelta(minutes=1)


def _clock_spans(bucket: BucketPlan, row: int) -> list[ClockSpan]:
    ends: tuple[tuple[ClockKind, datetime], ...] = (
        ("wet", bucket.wet_edge_end),
        ("work", bucket.working_time_end),
        ("surface", bucket.broadcast_end),
    )
    return [
        ClockSpan(row=row, kind=kind, ends_min=_since_filler_min(bucket, end))
        for kind, end in ends
    ]


def _clock_marks(bucket: BucketPlan, row: int) -> list[ClockMark]:
    due: tuple[tuple[TaskKind, datetime | None], ...] = (
        ("tie", bucket.tied_in),
        ("smooth", bucket.smoothed_by),
        ("broadcast", bucket.broadcast_by),
    )
    return [
        ClockMark(row=row, kind=kind, at_min=_since_filler_min(bucket, at))
        for kind, at in due
        if at is not None
    ]


def windows_chart(plan: Plan, voice: Voice) -> Chart:
    """When each coat may go on, and when it does."""
    coats = sorted(plan.coats, key=lambda coat: (coat.start, coat.room))
    spans: list[Span] = []
    for row, coat in enumerate(coats):
        spans.append(Span(row=row, kind="window", begins=coat.opens, ends=coat.closes))
        spans.append(Span(row=row, kind="laid", begins=coat.start, ends=coat.end))
    fallback = plan.job.access.begins
    return Chart(
        rows=tuple(
            f"{one_line(coat.room)}: {voice.label('coat.n', number=coat.coat)}"
            for coat in coats
        ),
        spans=tuple(spans),
        marks=(),
        begins=min((span.begins for span in spans), default=fallback),
        ends=max((span.ends for span in spans), default=fallback + timedelta(hours=1)),
    )


def temperature_chart(plan: Plan) -> TemperatureChart:
    """Outdoor air, dew point, and every room's air and slab."""
    us = plan.job.display == "us"

    def shown(temp_c: float | None) -> float | None:
        return None if temp_c is None else temp_c * 1.8 + 32 if us else temp_c

    rows = plan.hours
    lines = [
        Line(kind="outdoor", points=tuple((row.at, shown(row.outdoor_c)) for row in rows)),
        Line(kind="dew", points=tuple((row.at, shown(row.dew_c)) for row in rows)),
    ]
    for place in range(min((len(row.rooms) for row in rows), default=0)):
        air = tuple((row.at, shown(row.rooms[place].air_c)) for row in rows)
        slab = tuple((row.at, shown(row.rooms[place].slab_c)) for row in rows)
        lines += [Line(kind="air", points=air), Line(kind="slab", points=slab)]
    fallback = plan.job.access.begins
    return TemperatureChart(
        lines=tuple(lines),
        spans=tuple(_work_spans(plan)),
        begins=min((row.at for row in rows), default=fallback),
        ends=max((row.at for row in rows), default=fallback + timedelta(hours=1)),
        unit="°F" if us else "°C",
    )


def _work_spans(plan: Plan) -> Iterable[Span]:
    for room in plan.rooms:
        yield Span(row=0, kind="pour", begins=room.pour_start, ends=room.pour_end)
    for coat in plan.coats:
        yield Span(row=0, kind="coat", begins=coat.start, ends=coat.end)


def ticks(begins: datetime, ends: datetime, voice: Voice, *, most: int) -> tuple[Tick, ...]:
    """Places on the time axis, at most so many, on round times of the site's clock."""
    span_min = (ends - begins) / timedelta(minutes=1)
    steps = [*MINUTE_STEPS, *(60 * hours for hours in HOUR_STEPS)]
    step = next((step for step in steps if span_min / step <= most), steps[-1])
    at = ceil_to(begins.astimezone(voice.zone), minutes=step)
    found: list[Tick] = []
    while at <= ends:
        local = at.astimezone(voice.zone)
        midnight = local.hour == 0 and local.minute == 0
        new_day = not found or midnight
        found.append(
            Tick(
                at=at,
                clock=voice.at(at, "axis"),
                day=voice.at(at, "day") if new_day else "",
            )
        )
        # A step on the wall clock, also over the night on which clocks change.
        at = (
            floor_to(
                (at + timedelta(minutes=step, hours=1)).astimezone(voice.zone), minutes=step
            )
            if step >= 120
            else at + timedelta(minutes=step)
        )
    return tuple(found)
