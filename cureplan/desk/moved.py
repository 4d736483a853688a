"""What a plan in hand becomes when one thing is changed and nobody plans anew.

The remedies and the hours of the plan stay; a start, a coat, the ice, bays, hands or the
night are moved, and its clocks, margins and chance are run again. A room that is moved past
another changes places with it. Rooms and coats that would then come too soon wait. What
planning anew would do better is not looked for.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from typing import TYPE_CHECKING, Any

from cureplan.core.clock import shift_windows
from cureplan.core.errors import InputError
from cureplan.inputs.job.crew import POUR_ROLES, Person, Role
from cureplan.inputs.job.edits import with_table
from cureplan.inputs.job.model import PINS
from cureplan.output.language.time_words import clock_text
from cureplan.planning.schedule.remedies import MOST_BAYS, option_ladder
from cureplan.planning.studies.compare import begun_later

if TYPE_CHECKING:
    from cureplan.inputs.job.model import Job, Room
    from cureplan.planning.floor.pour import PourOption, RoomPours
    from cureplan.planning.plan.model import CoatPlan, Plan, RoomPlan
    from cureplan.planning.schedule.outcome import Schedule
    from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour

__all__ = ["Change", "PlanInHand", "change_of", "said_at", "wished"]

QUICK_NIGHTS = 400
"""Drawn for a chance that moves with a slider; its own doubt is 2.5 % of nights at most."""
MOST_LOOKS = 60
"""Chances asked for before what they kept is let go."""
_HANDS: tuple[Role, ...] = (*POUR_ROLES, "topcoat")
MOST_HOURS = 240.0
LONGER = timedelta(hours=6)
"""How much sooner than the job says a shift begins, where a start is moved that far."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What is moved of a plan in hand."""

    later_s: float = 0.0
    """Of everything; a night is 24 h."""
    rooms_later_s: tuple[tuple[str, float], ...] = ()
    """Of single rooms, as dragged on the timeline."""
    coats_later_s: tuple[tuple[tuple[str, int], float], ...] = ()
    """Of single coats, by room and number."""
    ice: bool | None = None
    """Every room or none; None as planned."""
    bays: int | None = None
    hands: tuple[tuple[str, int], ...] = ()


def change_of(sent: Mapping[str, Any]) -> Change:
    """A change as a page sends it; refused in words where it is none."""
    hands = {
        key: _number(sent[key], key, 1, 50)
        for key in ("stations", *_HANDS)
        if sent.get(key) not in (None, "")
    }
    bays = sent.get("bays")
    ice = sent.get("ice")
    return Change(
        later_s=60.0
        * _number(sent.get("minutes", 0), "minutes", -60 * MOST_HOURS, 60 * MOST_HOURS),
        rooms_later_s=tuple(_dragged(sent, "rooms")),
        coats_later_s=tuple(_dragged_coats(sent)),
        ice={"every room": True, "no room": False}.get(str(ice)),
        bays=None if bays in (None, "") else int(_number(bays, "bays", 1, MOST_BAYS)),
        hands=tuple((key, int(value)) for key, value in hands.items()),
    )


def _dragged(sent: Mapping[str, Any], key: str) -> Iterator[tuple[str, float]]:
    """What was dragged, and by how much [s]."""
    moved = sent.get(key)
    for name, minutes in moved.items() if isinstance(moved, dict) else ():
        yield str(name), 60.0 * _number(minutes, key, -60 * MOST_HOURS, 60 * MOST_HOURS)


def _dragged_coats(sent: Mapping[str, Any]) -> Iterator[tuple[tuple[str, int], float]]:
    for name, later_s in _dragged(sent, "coats"):
        room, _, coat = name.rpartition("|")
        yield (room, int(_number(coat, "coats", 1, 12))), later_s


def _number(value: Any, key: str, least: float, most: float) -> float:
    try:
        found = float(value)
    except (TypeError, ValueError):
        found = float("nan")
    if not least <= found <= most:
        raise InputError(
            "this is no such number",
            cure=f"give one from {least:g} to {most:g}",
            key=key,
            value=str(value),
        )
    return found


def wished(job: Job, plan: Plan, change: Change) -> tuple[Job, tuple[PourOption, ...] | None]:
    """The job as a change would have it, to be planned anew, and how its floors are poured.

    What is moved begins no sooner than where it was moved to; for a start before the job's
    own hours the crew is let in so early.
    """
    job = _with_hands(job, change.hands)
    remedies, options = list(job.policy.remedies), None
    if change.ice is not None and change.ice != ("chill" in remedies):
        remedies = [*remedies, "chill"] if change.ice else [r for r in remedies if r != "chill"]
    if (change.bays or 1) > 1 and "bays" not in remedies:
        remedies.append("bays")
    if change.ice is not None or change.bays is not None:
        options = tuple(
            option
            for option in option_ladder(remedies)
            if change.ice in (None, option.chilled) and change.bays in (None, option.bays)
        )
    rooms = tuple(_pinned(room, plan, change) for room in job.rooms)
    policy = replace(job.policy, remedies=tuple(remedies))
    job = replace(job, rooms=rooms, policy=policy)
    return (_let_in(job, plan, change) if change.later_s < 0 else job), options


def _with_hands(job: Job, hands: tuple[tuple[str, int], ...]) -> Job:
    """The job with so many at each task, of a crew by name too."""
    people = job.crew.people
    for role in _HANDS if people else ():
        if role in dict(hands):
            people = tuple(_held_by(people, role, dict(hands)[role]))
    job = replace(job, crew=replace(job.crew, people=people))
    return with_table(job, "crew", dict(hands)) if hands else job


def _held_by(people: Iterable[Person], role: Role, count: int) -> Iterator[Person]:
    """The last who can do it leave it to others, and go where they can do nothing else; who
    is missing comes for it alone."""
    for one in people:
        if role not in one.roles or count > 0:
            count -= role in one.roles
            yield one
        elif len(one.roles) > 1:
            yield replace(one, roles=tuple(held for held in one.roles if held != role))
    for number in range(count):
        yield Person(name=f"one more {role} {number + 1}", roles=(role,))


def _pinned(room: Room, plan: Plan, change: Change) -> Room:
    """A room with what is moved of it held until where it was moved to."""
    starts = {one.room: one.pour_start for one in plan.rooms}
    coats = {(one.room, one.coat): one.start for one in plan.coats}
    rooms, dragged = dict(change.rooms_later_s), dict(change.coats_later_s)
    found: dict[str, datetime] = {}
    if change.later_s:
        found["pour"] = min(starts.values())
    if room.name in rooms and room.name in starts:
        found["pour"] = starts[room.name] + timedelta(seconds=rooms[room.name])
    for (name, number), later_s in dragged.items():
        if name == room.name and (name, number) in coats:
            found[f"coat {number}"] = coats[name, number] + timedelta(seconds=later_s)
    later = timedelta(seconds=change.later_s)
    held = {stage: (at + later).replace(second=0) for stage, at in found.items()}
    kept = {stage: max(at, held[stage]) for stage, at in room.pins.items() if stage in held}
    pins: dict[str, Any] = {PINS[stage]: at for stage, at in {**held, **kept}.items()}
    return replace(room, **pins)


def _let_in(job: Job, plan: Plan, change: Change) -> Job:
    """The job with access, and its pour shifts where need be, as early as a start asks for."""
    first = min(room.pour_start for room in plan.rooms)
    begins = first + timedelta(seconds=change.later_s - job.crew.setup_s)
    access = replace(job.access, begins=min(job.access.begins, begins))
    shifts = job.crew.pour_shifts
    windows = shift_windows(
        shifts, zone=job.site.zone, begins=access.begins, ends=access.open_by
    )
    if not any(window.begins <= begins < window.ends for window in windows):
        lack = min((w.begins - begins for w in windows if w.begins > begins), default=LONGER)
        if lack < LONGER:
            shifts = tuple(begun_later(shift, -lack) or shift for shift in shifts)
    return replace(job, access=access, crew=replace(job.crew, pour_shifts=shifts))


class PlanInHand:
    """A plan with its rooms' conditions and clocks kept ready."""

    def __init__(self, job: Job, plan: Plan, *, now: datetime, weather: Any) -> None:
        from cureplan.planning.odds.risk import Looked, known_until
        from cureplan.planning.schedule.construct import prepare_pours

        self.job, self.plan = job, plan
        self.pours = prepare_pours(job, weather)
        self.issued_s = known_until(job, now_s=now.timestamp())
        # What was run and drawn for one place of the hand serves the next, within bounds.
        self.looked, self.looks = Looked(), 0
        self.hands: tuple[tuple[str, int], ...] = ()
        self.as_planned: tuple[float, float] | None = None
        """Chance of the plan as it lies there, over all nights and over the quick ones."""
        self.hours_s = (weather.starts.timestamp(), weather.ends.timestamp())

    def moved(self, change: Change) -> tuple[Job, dict[str, RoomPours], Schedule]:
        """The plan's schedule with one thing changed."""
        from cureplan.planning.schedule.outcome import Schedule
        from cureplan.planning.schedule.placing import with_seams

        job = _with_hands(self.job, change.hands)
        pours = {
            name: room if job is self.job else room.under(room.room, job)
            for name, room in self.pours.items()
        }
        placed: dict[str, PlacedPour] = {}
        free_s, before = float("-inf"), None
        for room in self._in_turn(change):
            group = pours[room.room].room.group
            if before is not None:
                alike = group is not None and group == pours[before].room.group
                free_s += job.crew.in_group_s if alike else job.crew.changeover_s
            # Nobody crosses a floor before it bears feet.
            ways = [placed[way] for way in job.crossed_from(room.room) if way in placed]
            free_s = max([free_s, *(way.walkable_s for way in ways)])
            placed[room.room] = self._room(pours[room.room], room, change, free_s)
            free_s, before = placed[room.room].end_s, room.room
        primers = (pour.under for pour in placed.values() if pour.under is not None)
        schedule = Schedule(
            pours=with_seams(pours, tuple(placed.values())),
            coats=tuple(sorted(self._coats(pours, placed, change), key=lambda c: c.start_s)),
            primers=tuple(primers),
            failures=(),
            required_s=job.policy.margin_s,
        )
        return job, pours, schedule

    def _in_turn(self, change: Change) -> list[RoomPlan]:
        """As planned; what is dragged past another room comes after it."""
        rooms = sorted(self.plan.rooms, key=lambda room: room.order)
        dragged = dict(change.rooms_later_s)
        if not dragged:
            return rooms
        return sorted(
            rooms, key=lambda room: room.pour_start.timestamp() + dragged.get(room.room, 0.0)
        )

    def _room(
        self, pours: RoomPours, room: RoomPlan, change: Change, free_s: float
    ) -> PlacedPour:
        from cureplan.planning.schedule.placing import place_pour

        later_s = change.later_s + dict(change.rooms_later_s).get(room.room, 0.0)
        pinned = pours.room.not_before
        held_s = float("-inf") if pinned is None else pinned.timestamp()
        lead_s = pours.works(_option(room, change))[pours.pour_task].lead_s
        start_s = max(free_s + lead_s, held_s, room.pour_start.timestamp() + later_s)
        if not self.hours_s[0] < start_s < self.hours_s[1] - 86_400.0:
            raise InputError(
                "no weather is known for that hour",
                cure="move it less, or give weather that reaches further",
                key=room.room,
            )
        below = None
        if self.plan.primers:
            below = self._primer(pours, _option(room, change), later_s)
        return place_pour(pours, _option(room, change), start_s, below=below)

    def _primer(
        self, pours: RoomPours, option: PourOption, later_s: float
    ) -> PlacedCoat | None:
        from cureplan.planning.schedule.placing import place_under

        mine = next((p for p in self.plan.primers if p.room == pours.room.name), None)
        if mine is None:
            return None
        lead_s = pours.works(option)[pours.pour_task - 1].lead_s
        return place_under(pours, option, mine.start.timestamp() + later_s - lead_s)

    def _coats(
        self, pours: Mapping[str, RoomPours], placed: Mapping[str, PlacedPour], change: Change
    ) -> Iterator[PlacedCoat]:
        """Every coat when it was planned, or where it was dragged; not before it may go on.

        A coat that is dragged goes no further than its window, and waits for the crew, as
        all do then.
        """
        from cureplan.planning.floor.layers import window_over
        from cureplan.planning.schedule.placing import place_layer

        rooms, dragged = dict(change.rooms_later_s), dict(change.coats_later_s)

        def wanted_s(coat: CoatPlan) -> float:
            later_s = change.later_s + rooms.get(coat.room, 0.0)
            return coat.start.timestamp() + later_s + dragged.get((coat.room, coat.coat), 0.0)

        left = {name: list(pour.over) for name, pour in placed.items()}
        below: dict[str, PlacedPour | PlacedCoat] = dict(placed)
        free_s = float("-inf")
        waiting = {
            name: sorted((c for c in self.plan.coats if c.room == name), key=lambda c: c.coat)
            for name in placed
        }
        while any(waiting.values()):
            coat = min((own[0] for own in waiting.values() if own), key=wanted_s)
            waiting[coat.room].pop(0)
            work = left[coat.room].pop(0)
            window = window_over(below[coat.room].reached, work)
            start_s = wanted_s(coat)
            if (coat.room, coat.coat) in dragged:
                start_s = min(start_s, window.closes_s)
            held = pours[coat.room].room.pins.get(work.layer.stage)
            held_s = float("-inf") if held is None else held.timestamp()
            start_s = max(window.opens_s, held_s, start_s)
            if dragged:
                start_s = max(start_s, free_s + work.lead_s)
            layer = place_layer(pours[coat.room], work, below[coat.room], start_s - work.lead_s)
            below[coat.room], free_s = layer, layer.end_s
            yield layer

    def quick(self, change: Change) -> dict[str, Any]:
        """Margin and opening, exact and at once."""
        job, _, schedule = self.moved(change)
        tightest = min(schedule.pours, key=lambda pour: pour.margin_s)
        opens = datetime.fromtimestamp(schedule.opens_s, job.site.zone)
        first_s = min(pour.start_s for pour in schedule.pours)
        spare = job.access.open_by - opens
        return {
            "margin_min": round(tightest.margin_s / 60.0, 1),
            "tightest": tightest.room,
            "first": said_at(datetime.fromtimestamp(first_s, job.site.zone), job.clock),
            # Up, as every time of waiting.
            "opens": said_at(opens + timedelta(seconds=59), job.clock),
            "in_time": spare >= timedelta(0),
            "keeps": tightest.margin_s >= job.policy.margin_s - 0.5,
            "coats": [
                {
                    "name": coat.room,
                    "coat": coat.coat,
                    "start_s": coat.start_s,
                    "end_s": coat.end_s,
                    "late": coat.start_s > coat.window.closes_s,
                    "wall": _wall(coat.start_s, job.site.zone),
                    "at": _at(coat.start_s, job),
                }
                for coat in schedule.coats
            ],
            "rooms": [
                {
                    "name": pour.room,
                    "start_s": pour.start_s,
                    "end_s": pour.end_s,
                    "margin_min": round(pour.margin_s / 60.0, 1),
                    "wall": _wall(pour.start_s, job.site.zone),
                    "at": _at(pour.start_s, job),
                }
                for pour in schedule.pours
            ],
        }

    def chance(self, change: Change) -> float:
        """In what share of nights all of it holds: as planned over as many as a plan draws,
        and what a change does to that over fewer, the same with it and without."""
        if self.as_planned is None:
            self.as_planned = (
                self._held_frac(Change(), self.plan.risk.members),
                self._held_frac(Change(), QUICK_NIGHTS),
            )
        held_frac, quick_frac = self.as_planned
        if change == Change():
            return held_frac
        gained = self._held_frac(change, QUICK_NIGHTS) - quick_frac
        return min(1.0, max(0.0, held_frac + gained))

    def _held_frac(self, change: Change, members: int) -> float:
        from cureplan.planning.odds.risk import assess

        job, pours, schedule = self.moved(change)
        self.looks += 1
        # Other hands have other clocks, under the same sky.
        if change.hands != self.hands or self.looks % MOST_LOOKS == 0:
            self.looked, self.hands = self.looked.with_other_runs(), change.hands
        odds = assess(
            job, pours, schedule,
            issued_s=self.issued_s, members=members, looked=self.looked,
        )  # fmt: skip
        return odds.all_frac


def _wall(start_s: float, zone: tzinfo) -> str:
    """The site's clock as the job file writes it, to the full minute before."""
    return f"{datetime.fromtimestamp(start_s, zone):%Y-%m-%dT%H:%M}"


def _at(start_s: float, job: Job) -> str:
    at = datetime.fromtimestamp(start_s, job.site.zone)
    return clock_text(at.hour, at.minute, job.clock)


def said_at(at: datetime, clock: str) -> str:
    """A day and its hour by the job's own clock."""
    return f"{at:%a} {clock_text(at.hour, at.minute, clock)}"


def _as_planned(room: RoomPlan) -> PourOption:
    from cureplan.planning.floor.pour import PourOption

    cool = "cool filler" in room.remedies
    return PourOption(chilled=room.chilled, cool_filler=cool, bays=room.bays)


def _option(room: RoomPlan, change: Change) -> PourOption:
    option = _as_planned(room)
    if change.ice is not None:
        option = replace(option, chilled=change.ice)
    if change.bays is not None:
        option = replace(option, bays=change.bays)
    return option
