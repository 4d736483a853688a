"""What can still be changed on a night that loses something, and how it would then go.

Hands are not to be had at such an hour; a shift may run longer, the topcoat crew come sooner
or stay, the kitchen open later, a floor be left for another night. Each limit is moved as
little as does, looked at by forward timing; what is told is planned again in full, cheapest
first, within a bounded amount of work.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime, time, timedelta
from typing import NamedTuple

from cureplan.core.kept import keeping_results
from cureplan.core.messages import Message, Value
from cureplan.inputs.job.model import Job
from cureplan.inputs.tables.night_log import DROPPED, OPENS, STAYS
from cureplan.planning.odds.risk import Looked
from cureplan.planning.plan.choose import Chosen, Glance
from cureplan.planning.plan.hours import instant
from cureplan.planning.plan.ways import KEPT_BYTES, ROOM_S, START_S
from cureplan.planning.plan.worth import ACTS_ON, GLANCE_FRAC, WORTH_FRAC, binds, kept_of
from cureplan.planning.replan.carry_on import (
    Candidate,
    beats,
    chance_doubt,
    chance_gain,
    without,
)
from cureplan.planning.replan.state import NightState
from cureplan.planning.schedule.changes import (
    COAT_LONGER,
    COAT_SOONER,
    LEFT_OUT_MIN,
    OPENING,
    POURING,
    STAYING,
    Change,
    Graded,
    rooms_later,
)
from cureplan.planning.schedule.floor_model import Tables
from cureplan.planning.schedule.outcome import never
from cureplan.planning.schedule.placing import crew_spans

__all__ = ["Ways", "ways_out"]

POUR_MIN, COAT_MIN = (15, 30, 45, 60, 90, 120, 180, 240), (30, 60, 90, 120, 180, 240, 360, 480)
OPENING_MIN = (60, 120, 240, 480, 720, 1440)
"""How far shifts, stays and the opening are moved at that hour: invented."""
NOTICE_S = 3600.0
"""How long before they are to work people must be told: invented."""
MOST_LEFT_OUT = 3
"""Floors of which leaving one out is tried."""
MOST_TOLD = 3
ENOUGH = 2
"""So many ways that hold as often as asked are a choice."""
AS_GOOD_FRAC = 0.02
"""By how much a limit moved less may give less than one moved most."""
CARRIED_WORK = 0.1
"""What timing a room as planned and the odds of that cost, in the solver's units; measured."""
MOST_WORK, GLANCES = 2.0, 0.6
"""Looking takes at most so many times what planning the night again took, glances a share."""

TO_LOG = {
    "relax.pour_longer": "pour shift until",
    "relax.coat_sooner": "topcoat shift from",
    "relax.coat_longer": "topcoat shift until",
    "relax.open_later": OPENS,
    "relax.rooms_later": OPENS,
    "relax.stay_longer": STAYS,
}
"""The line of the log by which a change is made."""

Again = Callable[[Job, Looked], tuple[Candidate | None, float]]
"""Plans the night again under a changed job, as the night itself is, and what that took."""


class _Seen(NamedTuple):
    """A change, and how often the night holds under it at a glance."""

    change: Change
    glance: Glance
    further: _Seen | None = None
    """The same limit moved further, should this hold less often planned in full."""
    less: tuple[Change, ...] = ()
    """The same limit moved less, least first: at a glance too little."""


def ways_out(ways: Ways) -> list[Message]:
    """What would save the night or make it surer, cheapest first, each planned in full."""
    with keeping_results(KEPT_BYTES):
        return _cheapest(ways)


def _cheapest(ways: Ways) -> list[Message]:
    told: list[Message] = []
    reached = 0
    for seen in sorted(ways.worth_a_plan(), key=lambda one: one.change.effort_min):
        if len(told) >= MOST_TOLD or reached >= ENOUGH or (told and ways.over()):
            break
        way = ways.in_full(seen)
        if way is not None:
            told.append(_said(ways, *way))
            reached += ways.reaches(way[1])
    return told


def _said(ways: Ways, change: Change, found: Candidate) -> Message:
    keeps_frac = found.odds.all_frac
    if change.say.code == "relax.left_out":
        return Message(
            "replan.leave_out",
            {"room": change.say.values["rooms"], "keeps_frac": keeps_frac, "event": DROPPED},
        )
    keeps = "chance" if ways.reaches(found) else "more"
    say = Message(change.say.code, {**change.say.values, "keeps": keeps})
    opens = instant(found.schedule.opens_s, ways.job.site.zone)
    chance = Message("none.chance", {"keeps_frac": keeps_frac, "open_at": opens.isoformat()})
    return _to_log(change, (say, chance), now_s=ways.state.now_s)


def _to_log(change: Change, parts: tuple[Message, Message], *, now_s: float) -> Message:
    """A change, and the line of the log by which it is made."""
    values: dict[str, Value] = {"parts": parts, "event": TO_LOG[change.say.code]}
    if isinstance(change.to, timedelta):
        return Message("replan.way_stay", {**values, "more_s": change.to.total_seconds()})
    if change.to is None:
        raise AssertionError("moved to somewhere")
    zone = change.job.site.zone
    at = change.to
    if isinstance(at, time):
        # A shift is moved by the clock: the next such hour.
        now = instant(now_s, zone)
        clock, at = at, datetime.combine(now.date(), at, zone)
        if at <= now:
            at = datetime.combine(now.date() + timedelta(days=1), clock, zone)
    values["to_at"] = at.astimezone(zone).isoformat()
    if "rooms" in change.say.values:
        return Message("replan.way_room", {**values, "room": change.say.values["rooms"]})
    return Message("replan.way", values)


@dataclass(slots=True, kw_only=True)
class Ways:
    """A night planned again, and what may be changed about it."""

    job: Job
    tables: Tables
    """Of the night as it is planned."""
    chosen: Candidate
    state: NightState
    again: Again
    carried: Callable[[Job], Candidate | None]
    """The night carried on under a changed job."""
    worked: float
    """What the search for it took, in the solver's own units."""
    looking: float = 0.0
    """What looking took so far, in the same."""
    vain: Glance | None = None
    """At a change that helps nothing: beside it the next is seen with less work."""
    own_s: float = field(init=False)
    """What planning it again takes of a processor, as it is counted [s]."""
    tabled_s: float = field(init=False)

    def __post_init__(self) -> None:
        self.tabled_s = self.tables.tabled.processor_s
        search_s = self.tables.tabled.with_search_s(self.worked)
        self.own_s = START_S + ROOM_S * len(self.job.rooms) + search_s

    def over(self, share: float = 1.0) -> bool:
        """Whether as much was looked as may be, or a share of it."""
        took_s = self.tables.tabled.with_search_s(self.looking) - self.tabled_s
        return took_s >= share * MOST_WORK * self.own_s

    def worth_a_plan(self) -> Iterator[_Seen]:
        """Of each kind of change the least that does, and floors left out, at a glance."""
        for kind, steps_min in self._kinds():
            if self.over(GLANCES):
                return
            seen = self._least(kind, steps_min)
            if seen is not None:
                yield seen
        if any(self.chosen.lost(self.job)[1:]):
            yield from self._left_out()

    def _kinds(self) -> list[tuple[Graded, Sequence[int]]]:
        """What may be moved, but what acts on nothing that is lost."""
        pours = self.chosen.schedule.pours
        to_pour = any(pour.end_s > self.state.now_s for pour in pours)
        kinds = [
            *([(POURING, POUR_MIN)] if to_pour else []),
            (STAYING, POUR_MIN),
            (COAT_SOONER, COAT_MIN),
            (COAT_LONGER, COAT_MIN),
            *((kind, OPENING_MIN) for kind in (*rooms_later(self.job), OPENING)),
        ]
        return [(kind, steps) for kind, steps in kinds if self._acts(kind, steps)]

    def _acts(self, kind: Graded, steps_min: Sequence[int]) -> bool:
        """Whether what a change acts on is lost now and then, near the limit that it moves;
        where something is lost for sure, it may have moved everything."""
        change = kind.make(self.job, steps_min[0])
        if change is None:
            return False
        if any(self.chosen.lost(self.job)):
            return True
        kept = kept_of(self.chosen.odds)
        lost_frac = max(1.0 - kept[part] for part in ACTS_ON[change.say.code])
        chosen = Chosen(schedule=self.chosen.schedule, odds=self.chosen.odds)
        return lost_frac > WORTH_FRAC and binds(change.say.code, self.job, chosen)

    def _least(self, kind: Graded, steps_min: Sequence[int]) -> _Seen | None:
        """A limit moved as little as gives about what moving it most gives."""
        changes = [c for m in steps_min if (c := kind.make(self.job, m)) and self._may(c)]
        best = self._glance(changes[-1], self.vain) if changes else None
        if best is None or not self._helps(best.change.job, _as_candidate(best.glance)):
            self.vain = best.glance if best is not None else self.vain
            return None
        asked = self.job.policy.confidence
        enough = min(asked, _frac(best.glance) - AS_GOOD_FRAC)
        lost = _as_candidate(best.glance).lost(best.change.job)
        low, high = -1, len(changes) - 1
        while high - low > 1 and not self.over(GLANCES):
            middle = (low + high) // 2
            seen = self._glance(changes[middle], best.glance)
            if (
                seen is not None
                and _frac(seen.glance) >= enough
                and _as_candidate(seen.glance).lost(seen.change.job) <= lost
            ):
                best, high = seen._replace(further=best), middle
            else:
                low = middle
        return best and best._replace(less=tuple(changes[:high]))

    def _may(self, change: Change) -> bool:
        """Whether there is time to tell whom it concerns, and hours are known so far."""
        known_s = min(pours.conditions.last_s for pours in self.tables.pours.values())
        was, now = (
            {span.begins_s for span in crew_spans(job, job.crew.topcoat_shifts)}
            for job in (self.job, change.job)
        )
        soon_s = self.state.now_s + NOTICE_S
        told = all(begins_s >= soon_s or begins_s in was for begins_s in _next(now, soon_s))
        return told and change.job.access.open_by.timestamp() <= known_s

    def _left_out(self) -> Iterator[_Seen]:
        """Floors that, left for another night, would save what is lost."""
        rooms = self.state.still_to_pour(self.job)
        crossed = {
            floor for room in self.job.rooms for floor in self.job.crossed_from(room.name)
        }
        for name in sorted(rooms, key=lambda name: name not in crossed)[:MOST_LEFT_OUT]:
            if len(self.job.rooms) == 1 or self.over(GLANCES):
                return
            change = Change(
                job=without(self.job, (name,)),
                say=Message("relax.left_out", {"rooms": name}),
                effort_min=LEFT_OUT_MIN,
            )
            seen = self._glance(change)
            if seen is not None and self._helps(change.job, _as_candidate(seen.glance)):
                yield seen

    def _glance(self, change: Change, beside: Glance | None = None) -> _Seen | None:
        glance = Glance.at(
            change.job,
            self.tables.under(change.job),
            issued_s=self.state.now_s,
            stop=never,
            beside=beside,
            enough_frac=self.job.policy.confidence,
        )
        self.looking += glance.worked
        return (
            None if glance.best is None or glance.best.odds is None else _Seen(change, glance)
        )

    def in_full(self, seen: _Seen) -> tuple[Change, Candidate] | None:
        """A change, moved one step further where that alone reaches what is asked, and the
        night planned again under it; None where that is no better."""
        best: tuple[Change, Candidate] | None = None
        near_frac = self.job.policy.confidence - GLANCE_FRAC
        further = (
            seen.further if seen.further and _frac(seen.further.glance) >= near_frac else None
        )
        for step in filter(None, (seen, further)):
            if best and (self.over() or self.reaches(best[1])):
                break
            found, worked = self.again(step.change.job, step.glance.looked)
            self.looking += worked + CARRIED_WORK * len(self.job.rooms)
            helps = found is not None and self._helps(step.change.job, found)
            if found is not None and helps and (best is None or self.reaches(found)):
                best = step.change, found
        return best and self._as_little_as_does(*best, seen.less)

    def _as_little_as_does(
        self, change: Change, found: Candidate, less: Sequence[Change]
    ) -> tuple[Change, Candidate]:
        """The least of some smaller changes by which going on as planned does about as well:
        a glance plans anew, which may need more."""
        best, lost = (change, found), found.lost(change.job)
        enough = min(self.job.policy.confidence, found.odds.all_frac - AS_GOOD_FRAC)
        low, high = -1, len(less)
        while high - low > 1:
            middle = (low + high) // 2
            tried = self.carried(less[middle].job)
            self.looking += CARRIED_WORK * len(self.job.rooms)
            if (
                tried is not None
                and tried.odds.all_frac >= enough
                and tried.lost(less[middle].job) <= lost
            ):
                best, high = (less[middle], tried), middle
            else:
                low = middle
        return best

    def reaches(self, found: Candidate) -> bool:
        """Whether a night holds as often as asked."""
        return found.odds.all_frac >= self.job.policy.confidence

    def _helps(self, job: Job, found: Candidate) -> bool:
        """Whether a changed night loses less for sure, or holds clearly more often."""
        if len(job.rooms) < len(self.job.rooms):
            return beats(job, found, self.chosen)
        lost, was = found.lost(job), self.chosen.lost(self.job)
        ours, theirs = self.chosen.odds, found.odds.all_frac
        gain, doubt = chance_gain(self.job, ours, theirs), chance_doubt(ours, theirs)
        return gain > -doubt if lost < was else lost == was and gain > doubt


def _next(begins: Iterable[float], soon_s: float) -> list[float]:
    """Of the hours at which a crew comes, the last before some instant, and those after."""
    before = [at_s for at_s in begins if at_s < soon_s]
    return [*([max(before)] if before else []), *(at_s for at_s in begins if at_s >= soon_s)]


def _as_candidate(glance: Glance) -> Candidate:
    if glance.best is None or glance.best.odds is None:
        raise AssertionError("looked at with odds")
    return Candidate(schedule=glance.best.schedule, odds=glance.best.odds)


def _frac(glance: Glance) -> float:
    return 0.0 if glance.best is None else glance.best.chance_frac
