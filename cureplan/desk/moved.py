"""What a plan in hand becomes when one thing is changed and nobody plans anew.

The order, the remedies and the hours of the plan stay; a start, the ice, bays, hands or the
night are moved, and its clocks, margins and chance are run again. Rooms and coats that would
then come too soon wait. What planning anew would do better is not looked for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from typing import TYPE_CHECKING, Any

from cureplan.core.errors import InputError
from cureplan.inputs.job.edits import with_table

if TYPE_CHECKING:
    from cureplan.inputs.job.model import Job
    from cureplan.planning.floor.pour import PourOption, RoomPours
    from cureplan.planning.plan.model import Plan, RoomPlan
    from cureplan.planning.schedule.outcome import Schedule
    from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour

__all__ = ["Change", "PlanInHand", "change_of"]

QUICK_NIGHTS = 400
"""Drawn for a chance that moves with a slider; its own doubt is 2.5 % of nights at most."""
_HANDS = ("mixer", "runner", "rake", "smoother", "broadcaster", "edge", "topcoat")
MOST_HOURS = 240.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What is moved of a plan in hand."""

    later_s: float = 0.0
    """Of everything; a night is 24 h."""
    rooms_later_s: tuple[tuple[str, float], ...] = ()
    """Of single rooms, as dragged on the timeline."""
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
    rooms = sent.get("rooms")
    moved = {
        str(name): 60.0 * _number(minutes, "rooms", -60 * MOST_HOURS, 60 * MOST_HOURS)
        for name, minutes in (rooms.items() if isinstance(rooms, dict) else ())
    }
    bays = sent.get("bays")
    ice = sent.get("ice")
    return Change(
        later_s=60.0
        * _number(sent.get("minutes", 0), "minutes", -60 * MOST_HOURS, 60 * MOST_HOURS),
        rooms_later_s=tuple(moved.items()),
        ice={"every room": True, "no room": False}.get(str(ice)),
        bays=None if bays in (None, "") else int(_number(bays, "bays", 1, 12)),
        hands=tuple((key, int(value)) for key, value in hands.items()),
    )


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


class PlanInHand:
    """A plan with its rooms' conditions and clocks kept ready."""

    def __init__(self, job: Job, plan: Plan, *, now: datetime, weather: Any) -> None:
        from cureplan.planning.odds.risk import known_until
        from cureplan.planning.schedule.construct import prepare_pours

        self.job, self.plan = job, plan
        self.pours = prepare_pours(job, weather)
        self.issued_s = known_until(job, now_s=now.timestamp())
        self.hours_s = (weather.starts.timestamp(), weather.ends.timestamp())

    def moved(self, change: Change) -> tuple[Job, dict[str, RoomPours], Schedule]:
        """The plan's schedule with one thing changed."""
        from cureplan.planning.schedule.outcome import Schedule

        job = self.job
        if change.hands:
            job = with_table(job, "crew", dict(change.hands))
        pours = {
            name: room if job is self.job else room.under(room.room, job)
            for name, room in self.pours.items()
        }
        placed, coats, primers = [], [], []
        free_s = float("-inf")
        for room in sorted(self.plan.rooms, key=lambda room: room.order):
            poured, own = self._room(pours[room.room], room, change, free_s)
            placed.append(poured)
            coats += own
            if poured.under is not None:
                primers.append(poured.under)
            free_s = poured.end_s + job.crew.changeover_s
        schedule = Schedule(
            pours=tuple(placed),
            coats=tuple(sorted(coats, key=lambda coat: coat.start_s)),
            primers=tuple(primers),
            failures=(),
            required_s=job.policy.margin_s,
        )
        return job, pours, schedule

    def _room(
        self, pours: RoomPours, room: RoomPlan, change: Change, free_s: float
    ) -> tuple[PlacedPour, list[PlacedCoat]]:
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
            below = self._primer(pours, room.room, later_s)
        poured = place_pour(pours, _option(room, change), start_s, below=below)
        return poured, [*self._coats(pours, poured, room.room, later_s)]

    def _primer(self, pours: RoomPours, name: str, later_s: float) -> PlacedCoat | None:
        from cureplan.planning.schedule.placing import place_layer

        mine = next((p for p in self.plan.primers if p.room == name), None)
        if mine is None:
            return None
        option = _as_planned(next(r for r in self.plan.rooms if r.room == name))
        work = pours.works(option)[pours.pour_task - 1]
        return place_layer(pours, work, None, mine.start.timestamp() + later_s - work.lead_s)

    def _coats(
        self, pours: RoomPours, poured: PlacedPour, name: str, later_s: float
    ) -> Iterator[PlacedCoat]:
        from cureplan.planning.floor.layers import window_over
        from cureplan.planning.schedule.placing import place_layer

        planned = sorted((c for c in self.plan.coats if c.room == name), key=lambda c: c.coat)
        below: PlacedPour | PlacedCoat = poured
        for work, coat in zip(poured.over, planned, strict=True):
            opens_s = window_over(below.reached, work).opens_s
            begins_s = max(opens_s, coat.start.timestamp() + later_s) - work.lead_s
            below = place_layer(pours, work, below, begins_s)
            yield below

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
            "first": _at(datetime.fromtimestamp(first_s, job.site.zone)),
            # Up, as every time of waiting.
            "opens": _at(opens + timedelta(seconds=59)),
            "in_time": spare >= timedelta(0),
            "keeps": tightest.margin_s >= job.policy.margin_s - 0.5,
            "rooms": [
                {
                    "name": pour.room,
                    "start_s": pour.start_s,
                    "end_s": pour.end_s,
                    "margin_min": round(pour.margin_s / 60.0, 1),
                    "wall": _wall(pour.start_s, job.site.zone),
                }
                for pour in schedule.pours
            ],
        }

    def chance(self, change: Change) -> float:
        """In what share of nights all of it holds, over fewer nights than a plan draws."""
        from cureplan.planning.odds.risk import assess

        job, pours, schedule = self.moved(change)
        odds = assess(job, pours, schedule, issued_s=self.issued_s, members=QUICK_NIGHTS)
        return odds.all_frac


def _wall(start_s: float, zone: tzinfo) -> str:
    """The site's clock as the job file writes it, to the full minute before."""
    return f"{datetime.fromtimestamp(start_s, zone):%Y-%m-%dT%H:%M}"


def _at(at: datetime) -> str:
    return f"{at:%a %H:%M}"


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
