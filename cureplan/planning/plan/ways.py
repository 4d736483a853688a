"""What would make a plan hold as often as asked: each change is planned in full.

First the least changes that a quick search finds for limits that break; then what acts on
the parts that cost the most chance. Cheapest first, within a bounded amount of work.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain, islice, zip_longest
from math import inf
from typing import NamedTuple

from cureplan.core.messages import Message
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.crew import bottleneck
from cureplan.planning.floor.pour import AS_IS
from cureplan.planning.plan.choose import Chosen, Glance
from cureplan.planning.schedule.changes import (
    COAT_LONGER,
    COAT_SOONER,
    IN_SOONER,
    OPENING,
    POURING,
    REMEDY_WORDS,
    STAYING,
    Change,
    Graded,
    also,
    more_hands,
    more_remedies,
    open_for_less,
    room_later,
    splits,
)
from cureplan.planning.schedule.construct import REST_WORK, Progress, quick_ways
from cureplan.planning.schedule.floor_model import Tables, timeless
from cureplan.planning.schedule.outcome import Relaxation, Schedule, Stop, stopped_by_hand
from cureplan.planning.schedule.relax import relaxations

__all__ = ["look_for_help"]

MOST_HELP = 2.0
"""Looking for what would help may take so many times the work of the plan itself."""
SHEET_WORK = 2.4
"""What a plan takes besides its rooms and its search: start, sheet, pictures; measured."""
MOST_WORK = 20.0
"""And never more than this, by which a larger job's ways take half a minute."""
TRIAL_WORK = 0.05
"""What a trial costs for a room besides its search; measured."""
QUICK = 0.4
"""Share of that for the quick search for limits that break."""
SHORT_OF_FRAC = 0.1
"""What a glance may fall short by and the full plan still reach what is asked."""
FULL, FULL_WORK, FULL_SHARE = 1.5, 1.0, 0.5
"""Planned in full a change takes so many times the plan's search, or so much at least; for
that no more than a share of all work is kept."""
GLANCE_FRAC = 0.03
"""By how much a full plan mostly betters a glance at most; measured on drawn jobs."""
REST, REST_PAIRED = 0.4, 0.15
"""Of what is not, shares kept for pairs of changes, and for what is left to try."""
MOST_FIRST, MOST_SECOND = 2, 5
"""So many changes that help are tried with so many others each."""
ENOUGH = 4
"""So many ways that reach what is asked are a choice."""
FEW = 2
WORTH_FRAC = 0.02
"""A change that lifts the chance by less is none."""
SECOND_FRAC = 0.05
"""Nor, short of what is asked, a second that lifts what the first gives by less."""
CURE_FRAC = 0.5
"""Where there is no plan, one that holds less than so much of what is asked is no cure."""
MORE_MARGIN_S = 120.0
"""So much more time to spare asked for, where remedies are left unused: invented."""
HOURS_MIN, OPENING_MIN = (60, 180), (120, 1440)
"""How far shifts and the opening are moved, tried in this order."""


def look_for_help(
    job: Job,
    tables: Tables,
    chosen: Chosen,
    *,
    issued_s: float,
    progress: Progress | None = None,
) -> Schedule:
    """The schedule with what would mend it; Ctrl-C ends the looking with what was found."""
    if progress is not None:
        progress("looking for what would help; Ctrl-C ends it")
    with stopped_by_hand() as stop:
        looking = _Looking(
            job=job,
            tables=tables,
            chosen=chosen,
            issued_s=issued_s,
            progress=progress,
            stop=stop,
            budget=min(
                MOST_WORK,
                MOST_HELP * (chosen.schedule.worked + REST_WORK * len(job.rooms) + SHEET_WORK),
            ),
        )
        return replace(chosen.schedule, relaxed=looking.run())


@dataclass(slots=True, kw_only=True)
class _Looking:
    job: Job
    tables: Tables
    chosen: Chosen
    issued_s: float
    progress: Progress | None
    stop: Stop
    budget: float
    tried: list[Job] = field(default_factory=list)
    """Changed jobs, two changes in whichever order."""
    as_is: Glance | None = None
    """The job itself, looked at as its changes are."""

    def run(self) -> tuple[Relaxation, ...]:
        reach: list[_Tried] = []
        more: list[_Tried] = []

        def keep(found: _Tried | None) -> None:
            if found is not None:
                (reach if found.reaches else more).append(found)

        def look(kept: float) -> None:
            while not self._over(kept if len(reach) < FEW else 0.0) and len(reach) < ENOUGH:
                way = next(ways, None)
                if way is None:
                    return
                if _needless(way, [found.way for found in reach]):
                    continue
                # The least that works holds by minutes: what goes further is tried at once.
                found = None
                for further in self._steps(way):
                    found = self._tried(further) or found
                    if found is not None and found.reaches:
                        break
                keep(found)

        ways = self._candidates()
        full = FEW * FULL * max(FULL_WORK, self.chosen.schedule.worked)
        full = min(full, FULL_SHARE * self.budget)
        rest = self.budget - full
        # Where there is no plan, its least changes come in pairs.
        look(full + (REST * rest if self.chosen.odds is not None else 0.0))
        for found in self._pairs(reach, sorted(more, key=_weaker), full + REST_PAIRED * rest):
            keep(found)
        look(full)
        ways_out = [_said(found.way, "chance") for found in reach]
        ways_out += self._best_of(more, FEW - len(ways_out))
        return tuple(sorted(ways_out, key=lambda way: way.effort_min))

    def _best_of(self, more: Sequence[_Tried], wanted: int) -> list[Relaxation]:
        """Of what falls short the best, each planned in full."""
        short = "more" if self.chosen.odds is not None else "plan"
        best: list[Relaxation] = []
        took = 0.0
        for found in _each_once(sorted(more, key=_weaker)):
            if len(best) >= wanted or (best and self._over(took / 2.0)):
                break
            # Two changes are told only where they give more than the first of them.
            first = [w for w in best if w.also is None and also(w.say) == also(found.way.say)]
            least = max((w.chance_frac or 0.0 for w in first), default=-1.0) + SECOND_FRAC
            if found.chosen.chance_frac < least - GLANCE_FRAC:
                continue
            before = self.budget
            full = found if found.full else self._in_full(found.way, found.glance)
            took = max(took, before - self.budget)
            if full is None or full.way.chance_frac is None:
                continue
            if full.way.chance_frac >= least:
                best.append(_said(full.way, "chance" if full.reaches else short))
        return best

    def _pairs(
        self, reach: Sequence[_Tried], more: Sequence[_Tried], kept: float
    ) -> Iterator[_Tried]:
        """Ways that help and fall short, each with what acts on the part it still loses,
        where too few reach what is asked."""
        enough = [also(found.way.say) for found in reach]
        # Of each kind of change the best: what two kinds act on is often lost together.
        firsts: dict[str, _Tried] = {}
        for found in more:
            if found.way.also is None:
                firsts.setdefault(found.way.say.code, found)

        def beside(first: _Tried) -> Iterator[tuple[_Tried, Change]]:
            for change in self._by_chance(first.way.job, first.chosen):
                if change.also is None and change.say.code != first.way.say.code:
                    yield first, change

        seconds = [islice(beside(one), MOST_SECOND) for one in [*firsts.values()][:MOST_FIRST]]
        for pair in chain(*zip_longest(*seconds)):
            if self._over(kept) or len(reach) >= FEW:
                return
            if pair is None or also(pair[1].say) in enough or pair[1].job in self.tried:
                continue
            first, change = pair
            both = replace(
                first.way,
                job=change.job,
                also=also(change.say),
                effort_min=first.way.effort_min + change.effort_min,
                further=None,
            )
            together = self._tried(both, first)
            if together is not None:
                yield together

    def _over(self, kept: float = 0.0) -> bool:
        return self.stop() or self.budget <= kept

    def _steps(self, way: Relaxation) -> list[Relaxation]:
        """How far a limit is moved in turn; letting the crew in an hour ago is none."""
        begins_s = self.job.access.begins.timestamp()
        now_s = self.issued_s if self.issued_s < begins_s else -inf
        further = way.further
        steps: list[Relaxation] = []
        for step in (further, further and further.further):
            if step is not None and step.job not in [other.job for other in (way, *steps)]:
                steps.append(step)
        ahead = [s for s in steps if s.job.access.begins.timestamp() >= now_s]
        return ahead or [way] * (way.job.access.begins.timestamp() >= now_s)

    def _tried(self, way: Relaxation, first: _Tried | None = None) -> _Tried | None:
        """The way with the chance of its full plan, or of a glance where that is far from
        what is asked; None where it is no better, or not than the first of two changes."""
        self.tried.append(way.job)
        above = 0.0 if first is None else first.chosen.chance_frac + WORTH_FRAC
        glance = self._glance(way.job, self._as_is() if first is None else first.glance)
        quick = glance.best
        if self.stop():
            return None
        if quick is None:
            # What forward timing finds no schedule for, the solver may.
            return self._in_full(way, glance, above) if self.chosen.odds is None else None
        if quick.chance_frac >= self.job.policy.confidence - SHORT_OF_FRAC:
            return self._in_full(way, glance)
        least = max(above, self._cure_frac(), self.chosen.chance_frac + WORTH_FRAC / 2)
        if quick.chance_frac < least - SHORT_OF_FRAC * (self.chosen.odds is None):
            return None
        return _Tried(way, quick, glance, reaches=False, full=False)

    def _cure_frac(self) -> float:
        """What a cure holds at least, where there is no plan."""
        return self.job.policy.confidence * CURE_FRAC if self.chosen.odds is None else 0.0

    def _in_full(self, way: Relaxation, glance: Glance, above: float = 0.0) -> _Tried | None:
        """The way as its full plan holds; None where that is no better."""
        found = self._planned(glance)
        if found is None or found.odds is None:
            return None
        way = replace(way, chance_frac=found.chance_frac, opens_s=found.schedule.opens_s)
        if found.keeps_policy(way.job):
            return _Tried(way, found, glance, reaches=True, full=True)
        least = max(above, self._cure_frac(), self.chosen.chance_frac + WORTH_FRAC)
        if found.chance_frac < least:
            return None
        return _Tried(way, found, glance, reaches=False, full=True)

    def _as_is(self) -> Glance | None:
        if self.as_is is None and self.chosen.odds is not None:
            self.as_is = self._glance(self.job)
        return self.as_is

    def _glance(self, job: Job, beside: Glance | None = None) -> Glance:
        """How often a changed job may hold, on the tables of this one as far as they go."""
        if self.progress is not None:
            self.progress("trying what would help; Ctrl-C ends it")
        tables = self.tables.of_changed(job, was=self.job)
        if beside is not None and (
            job.policy != beside.job.policy or timeless(job) != timeless(beside.job)
        ):
            # Other hands or remedies may do best where the job as it is does not.
            beside = None
        glance = Glance.at(job, tables, issued_s=self.issued_s, stop=self.stop, beside=beside)
        self.budget -= glance.worked + TRIAL_WORK * len(job.rooms)
        return glance

    def _planned(self, glance: Glance) -> Chosen | None:
        """A changed job planned in full, as it would be by itself."""
        found = glance.in_full(issued_s=self.issued_s, stop=self.stop)
        self.budget -= found.schedule.worked
        return None if self.stop() else found

    def _candidates(self) -> Iterator[Relaxation]:
        """Changes to try: what mends a limit that breaks, then what acts on the chance."""
        for way in chain(*self._in_turn()):
            if way.job not in self.tried:
                self.tried.append(way.job)
                yield way

    def _in_turn(self) -> list[Iterator[Relaxation]]:
        """Limits that break come first, unless it is buckets that are lost, margins kept."""
        odds, schedule = self.chosen.odds, self.chosen.schedule
        by_chance = (
            Relaxation(
                job=change.job, say=change.say, also=change.also, effort_min=change.effort_min
            )
            for change in self._by_chance(self.job, self.chosen)
        )
        turn = [self._mending(), by_chance]
        if odds is not None and schedule.keeps_margins_as_expected:
            lost = odds.buckets_frac < min(
                odds.coats_frac, odds.shifts_frac, odds.opening_frac, odds.limits_frac
            )
            return turn[::-1] if lost else turn
        return turn

    def _mending(self) -> Iterator[Relaxation]:
        """The least changes a quick search finds for limits that break."""
        if self.chosen.schedule.keeps_limits:
            return
        quick, worked = quick_ways(
            self.job, self.tables, self.chosen.schedule, self.stop, QUICK * self.budget
        )
        self.budget -= worked
        yield from quick

    def _by_chance(self, job: Job, chosen: Chosen) -> Iterator[Change]:
        """What acts on the part that is lost most often, cheapest first; then on the next."""
        odds = chosen.odds
        if odds is None:
            return
        kept = {
            "buckets": odds.buckets_frac,
            "coats": odds.coats_frac,
            "shifts": odds.shifts_frac,
            "opening": odds.opening_frac,
            "limits": odds.limits_frac,
        }
        # No more can be won at a part than is lost there, nor than the others leave.
        least = max(0.001, min(WORTH_FRAC, job.policy.confidence - odds.all_frac))
        for part in sorted(kept, key=kept.__getitem__):
            others = min(frac for other, frac in kept.items() if other != part)
            if min(1.0 - kept[part], others - odds.all_frac) >= least:
                changes = self._acting_on(part, job, chosen.schedule)
                yield from sorted(changes, key=lambda change: change.effort_min)

    def _acting_on(self, part: str, job: Job, schedule: Schedule) -> list[Change]:
        plans = [room.plan(AS_IS) for room in self.tables.pours.values()]
        mixing = [
            more_hands(job, task) for task in dict.fromkeys(("mixing", bottleneck(plans)))
        ]
        missing = [name for name in REMEDY_WORDS if name not in job.policy.remedies]
        some = [more_remedies(job, (name,)) for name in missing]
        if part == "buckets":
            if schedule.keeps_margins_as_expected:
                # Margins are kept without them: those that would give more than is kept.
                return [*self._with_more_margin(job, schedule), *mixing]
            # The fewest that mend margins are looked for already; so are all of them.
            every = [more_remedies(job, missing)] if missing else []
            return [*every, *mixing]
        if part == "limits" and any(room.heat for room in job.rooms):
            some += [more_remedies(job, ("heat",))] * ("heat" not in job.policy.remedies)
        graded: dict[str, tuple[Graded, ...]] = {
            "coats": (COAT_SOONER, COAT_LONGER, IN_SOONER, OPENING),
            "shifts": (POURING, COAT_LONGER, STAYING, IN_SOONER),
            "opening": (OPENING, IN_SOONER, COAT_SOONER),
            "limits": (IN_SOONER, POURING, COAT_SOONER, COAT_LONGER, OPENING),
        }
        moved = self._moved(job, *graded[part])
        if part == "opening":
            moved += [*_wanted_later(job), *open_for_less(job)]
        if part == "limits":
            return [*some, *moved]
        return [*moved, *splits(job), *mixing, more_hands(job, "topcoat")]

    def _moved(self, job: Job, *kinds: Graded) -> list[Change]:
        """Hours moved by some steps, as far as the weather is known."""
        return [
            change
            for kind in kinds
            for minutes in (OPENING_MIN if kind is OPENING else HOURS_MIN)
            if (change := kind.make(job, minutes)) is not None and self._known(change.job)
        ]

    def _with_more_margin(self, job: Job, schedule: Schedule) -> Iterator[Change]:
        """The fewest remedies that give every bucket more time than the plan leaves it."""
        least_s = min(pour.margin_s for pour in schedule.pours) + MORE_MARGIN_S
        asked = replace(job, policy=replace(job.policy, margin_s=60.0 * (least_s // 60.0)))
        ways, worked = relaxations(
            asked,
            self.tables.of_changed(asked, was=self.job),
            goal="margin alone",
            keeps="chance",
            stop=self.stop,
            budget=QUICK * self.budget,
        )
        self.budget -= worked
        for way in ways:
            if way.say.code == "relax.remedies" and way.also is None:
                policy = replace(way.job.policy, margin_s=job.policy.margin_s)
                changed = replace(way.job, policy=policy)
                yield Change(job=changed, say=way.say, effort_min=way.effort_min)

    def _known(self, job: Job) -> bool:
        """Whether the weather reaches as far as a changed job."""
        reach_s = max(room.conditions.last_s for room in self.tables.pours.values())
        first_s = max(room.conditions.first_s for room in self.tables.pours.values())
        begins_s, ends_s = job.access.begins.timestamp(), job.access.open_by.timestamp()
        return first_s <= begins_s and ends_s <= reach_s


class _Tried(NamedTuple):
    way: Relaxation
    chosen: Chosen
    glance: Glance
    reaches: bool
    """Whether its plan is within policy."""
    full: bool
    """Whether it was planned in full, not at a glance."""


def _weaker(found: _Tried) -> float:
    """For putting the most likely first, two changes behind one that gives as much."""
    return SECOND_FRAC * (found.way.also is not None) - found.chosen.chance_frac


def _wanted_later(job: Job) -> Iterator[Change]:
    """Rooms with an hour of their own to open by, each wanted later."""
    for room in job.rooms:
        for minutes in OPENING_MIN:
            if (change := room_later(room.name).make(job, minutes)) is not None:
                yield change


def _needless(way: Relaxation, reach: Sequence[Relaxation]) -> bool:
    """Whether one of a way's two changes does by itself."""
    both = [] if way.also is None else [also(way.say), also(way.also)]
    return any(also(one.say) in both for one in reach if one.also is None)


def _each_once(ways: Sequence[_Tried]) -> list[_Tried]:
    """The first of each kind of change."""
    kinds: dict[tuple[str, str, str], _Tried] = {}
    for found in ways:
        say, second = found.way.say, found.way.also
        named = say.code, second.code if second else "", str(say.values.get("rooms"))
        kinds.setdefault(named, found)
    return list(kinds.values())


def _said(way: Relaxation, keeps: str) -> Relaxation:
    """The way with what it would do: reach the chance that is asked, or raise it."""
    return replace(way, say=Message(way.say.code, {**way.say.values, "keeps": keeps}))
