"""Who is called when: every role of every floor, staggered, and the topcoat crew's return."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

import numpy as np

from cureplan.core.clock import floor_to
from cureplan.core.messages import Message, Value
from cureplan.inputs.job.crew import Crew
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.crew import RoleSpan, pour_roles
from cureplan.planning.floor.layers import Layer, Work
from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.plan.arrivals import EARLY_MIN
from cureplan.planning.plan.hours import coat_closes_s, instant, pour_closes_s
from cureplan.planning.plan.model import Call, CoatPlan, PrimerPlan
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour

__all__ = ["call_plans", "coat_plans", "primer_plans"]


def call_plans(
    job: Job, pours: Mapping[str, RoomPours], schedule: Schedule
) -> tuple[Call, ...]:
    """Calls of all roles, in the order the rooms are worked."""
    calls: list[Call] = []
    comes = _Comes(job.crew)
    fresh: dict[int, bool] = {}
    # In the order of work: whoever has just rolled a primer is there for the pour.
    everything: list[PlacedPour | PlacedCoat]
    everything = [*schedule.pours, *schedule.primers, *schedule.coats]
    for placed in sorted(everything, key=lambda placed: placed.begins_s):
        own = placed.work if isinstance(placed, PlacedCoat) else placed.own
        fresh[id(placed)] = comes.fresh(own.layer.crew, placed)
    before = ""
    for poured in sorted(schedule.pours, key=lambda placed: placed.start_s):
        way_s = _between_s(job, before, poured.room)
        calls += _pour_calls(job, pours[poured.room], poured, fresh[id(poured)], way_s)
        before = poured.room
    return (
        *_film_calls(job, schedule.primers, "primer", fresh),
        *calls,
        *_film_calls(job, schedule.coats, "topcoat", fresh),
    )


def _between_s(job: Job, before: str, room: str) -> float:
    """How long the pour crew takes from one room to the next."""
    groups = {one.name: one.group for one in job.rooms}
    grouped = groups[room] is not None and groups.get(before) == groups[room]
    return job.crew.in_group_s if grouped else job.crew.changeover_s


def _pour_calls(
    job: Job, pours: RoomPours, poured: PlacedPour, fresh: bool, way_s: float
) -> Iterator[Call]:
    ahead_s = job.crew.setup_s if fresh else way_s
    spans = pour_roles(pours.plan(poured.option), job.cards.slurry, crew=job.crew)
    # Where a card holds the grains back, they fall after the regular rhythm's end.
    last_s = poured.end_s - poured.start_s
    why = _why_called(fresh, ahead_s)
    yield from _lead_calls(job, poured.own, poured.room, poured.begins_s, ahead_s, why)
    leads = RoleSpan(
        role="foreman",
        people=1,
        first_s=0.0,
        last_s=last_s,
        busy_frac=1.0,
        names=(job.crew.foreman,) if job.crew.people else (),
    )
    for span in (leads, *spans):
        ends_s = last_s if span.role == "broadcaster" else span.last_s
        yield Call(
            role=span.role,
            people=span.people,
            names=span.names,
            room=poured.room,
            stage="pour",
            call=_called(job, poured.start_s + span.first_s - ahead_s, why),
            first_task=instant(poured.start_s + span.first_s, job.site.zone),
            last_task=instant(poured.start_s + ends_s, job.site.zone),
            busy_frac=round(span.busy_frac, 3),
            reason=why,
        )


class _Comes:
    """Who has last worked until when: heads by their crew, people by their names."""

    def __init__(self, crew: Crew) -> None:
        self.crew = crew
        self.until_s: dict[str, float] = {}

    def fresh(self, crew: str, placed: PlacedPour | PlacedCoat) -> bool:
        """Whether somebody comes for this work; it then counts as done."""
        of_it = [p.name for p in self.crew.people if crew in self.crew.crews_of(p)] or [crew]
        free_s = min(self.until_s.get(who, -np.inf) for who in of_it)
        for who in of_it:
            self.until_s[who] = max(self.until_s.get(who, -np.inf), placed.end_s)
        return placed.begins_s - free_s > self.crew.again_s


def _why_called(fresh: bool, ahead_s: float) -> Message:
    code = "call.set_up" if fresh else "call.moves_on"
    return Message(code, {"ahead_s": ahead_s})


def _called(job: Job, at_s: float, why: Message) -> datetime:
    """The hour somebody is told: early to five minutes, to the minute from room to room."""
    step_min = EARLY_MIN if why.code == "call.set_up" else 1
    return floor_to(instant(at_s, job.site.zone), minutes=step_min)


def _film_calls(
    job: Job, placed: Sequence[PlacedCoat], of: str, fresh: Mapping[int, bool]
) -> list[Call]:
    calls: list[Call] = []
    for coat in sorted(placed, key=lambda film: film.begins_s):
        comes = fresh[id(coat)]
        ahead_s = job.crew.setup_s if comes else job.crew.changeover_s
        why = _why_called(comes, ahead_s)
        calls += _lead_calls(job, coat.work, coat.room, coat.begins_s, ahead_s, why)
        spans_s = (coat.begins_s - ahead_s, coat.start_s, coat.end_s)
        calls.append(_hands_call(job, of, of, coat.work.layer, coat.room, spans_s, why))
    return calls


def _lead_calls(
    job: Job, work: Work, room: str, begins_s: float, ahead_s: float, why: Message
) -> Iterator[Call]:
    """Whoever vacuums or puts up cove before the layer it leads up to."""
    called_s = begins_s - ahead_s
    for lead in work.leads:
        hands = "edge" if lead.layer.crew == "pour" else lead.layer.crew
        role = hands if lead.layer.kind == "cove" else lead.layer.kind
        spans_s = (called_s, begins_s, begins_s + lead.lasts_s)
        if lead.lasts_s > 0:
            yield _hands_call(job, role, hands, lead.layer, room, spans_s, why)
        begins_s += lead.lasts_s


def _hands_call(
    job: Job,
    role: str,
    hands: str,
    layer: Layer,
    room: str,
    spans_s: tuple[float, float, float],
    why: Message,
) -> Call:
    """A call of all hands of one kind: when they come, begin and end."""
    called_s, first_s, last_s = spans_s
    people: int = getattr(job.crew, hands)
    return Call(
        role=role,
        people=people,
        names=tuple(person.name for person in job.crew.holding(hands)),
        room=room,
        stage=layer.stage,
        call=_called(job, called_s, why),
        first_task=instant(first_s, job.site.zone),
        last_task=instant(last_s, job.site.zone),
        busy_frac=1.0,
        reason=why,
    )


def coat_plans(
    job: Job,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    keeps_frac: Mapping[tuple[str, int], float],
) -> tuple[CoatPlan, ...]:
    """Every coat with its window, in the order they are laid."""
    return tuple(
        _coat_plan(job, pours[coat.room], coat, keeps_frac[coat.room, coat.coat])
        for coat in sorted(schedule.coats, key=lambda placed: placed.start_s)
    )


def _coat_plan(job: Job, pours: RoomPours, coat: PlacedCoat, keeps: float) -> CoatPlan:
    zone = job.site.zone
    slab_c = float(pours.conditions.slab_at(coat.start_s))
    dew_c = float(pours.conditions.dew_at(coat.start_s))
    closes_s = coat_closes_s(pours, coat)
    return CoatPlan(
        room=coat.room,
        coat=coat.coat,
        opens=instant(coat.window.opens_s, zone),
        closes=instant(closes_s, zone),
        start=instant(coat.start_s, zone),
        end=instant(coat.end_s, zone),
        reason=_why_then(job, coat, closes_s),
        batches=coat.work.batches,
        volume_m3=coat.work.volume_m3,
        batch_minutes=round(coat.work.batch_s / 60.0, 2),
        batch_working_min=_working_min(pours, coat),
        slab_c=round(slab_c, 2),
        dew_c=None if dew_c != dew_c else round(dew_c, 2),
        keeps_frac=round(keeps, 4),
    )


def _working_min(pours: RoomPours, film: PlacedCoat) -> float:
    """How long a batch stays workable on the slab and in the air it is mixed in."""
    clocks, _ = pours.material(film.work.layer)
    order = list(clocks.age_s).index("working_time")
    slab_c = float(pours.conditions.slab_at(film.start_s))
    working_s = float(clocks.fit.time_s(slab_c, order))
    if clocks.humidity is not None:
        working_s /= float(clocks.humidity.at(pours.conditions.humidity_at(film.start_s)))
    return round(working_s / 60.0, 2)


def primer_plans(
    job: Job,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    keeps_frac: Mapping[str, float],
) -> tuple[PrimerPlan, ...]:
    """Every primer with the window of the slurry over it, in the order they are rolled."""
    poured = {placed.room: placed for placed in schedule.pours}
    return tuple(
        _primer_plan(job, pours[p.room], p, poured[p.room], keeps_frac[p.room])
        for p in sorted(schedule.primers, key=lambda placed: placed.start_s)
    )


def _primer_plan(
    job: Job, pours: RoomPours, primer: PlacedCoat, poured: PlacedPour, keeps: float
) -> PrimerPlan:
    zone, work = job.site.zone, primer.work
    slab_c = float(pours.conditions.slab_at(primer.start_s))
    dew_c = float(pours.conditions.dew_at(primer.start_s))
    opens = instant(poured.window.opens_s, zone)
    closes = instant(pour_closes_s(pours, poured), zone)
    return PrimerPlan(
        room=primer.room,
        stage=work.layer.stage,
        start=instant(primer.start_s, zone),
        end=instant(primer.end_s, zone),
        slurry_opens=opens,
        slurry_closes=closes,
        walkable=instant(primer.closed.ends_s, zone),
        reason=Message(
            "primer.then", {"opens_at": opens.isoformat(), "closes_at": closes.isoformat()}
        ),
        batches=work.batches,
        volume_m3=work.volume_m3,
        batch_minutes=round(work.batch_s / 60.0, 2),
        batch_working_min=_working_min(pours, primer),
        broadcast=job.cards.primer is not None and job.cards.primer.broadcast_kg_m2 > 0,
        slab_c=round(slab_c, 2),
        dew_c=None if dew_c != dew_c else round(dew_c, 2),
        keeps_frac=round(keeps, 4),
    )


def _why_then(job: Job, coat: PlacedCoat, closes_s: float) -> Message:
    waited_s = coat.start_s - coat.window.opens_s
    pinned = job.room(coat.room).pins.get(coat.work.layer.stage)
    values: dict[str, Value] = {
        "opens_at": _iso(coat.window.opens_s, job),
        "closes_at": _iso(closes_s, job),
        "spare_s": round(closes_s - coat.start_s),
    }
    if pinned is not None and pinned.timestamp() > coat.window.opens_s:
        return Message("coat.pinned", {**values, "from_at": _iso(pinned.timestamp(), job)})
    if waited_s < 60.0:
        return Message("coat.when_ready", values)
    return Message("coat.after_others", values)


def _iso(epoch_s: float, job: Job) -> str:
    at: datetime = instant(epoch_s, job.site.zone)
    return at.isoformat()
