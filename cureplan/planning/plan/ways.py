"""What would make a plan hold as often as asked: each change is planned in full.

First the least changes that a quick search finds for limits that break; then what acts on
the parts that cost the most chance. Cheapest first, within a bounded amount of work.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain, islice, zip_longest
from math import inf, sqrt
from typing import NamedTuple

import numpy as np

from cureplan.core.messages import Message
from cureplan.inputs.job.model import Job, Remedy
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
from cureplan.planning.schedule.placing import crew_spans
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
FULL, FULL_WORK, FULL_SHARE = 1.5, 0.6, 0.5
"""Planned in full a change takes so many times the plan's search, or so much a room at least;
for that no more than a share of all work is kept."""
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
DOUBT_FRAC = 0.02
"""What the chances of two plans may differ by without meaning it, where their nights cannot
be compared one by one."""
PAIR_FRAC = 0.05
"""By how much two changes stand behind one, beside the best: invented."""
LOOSE_S = 4 * 3600.0
"""A limit that far from all work is none that a second change need move: invented."""
CURE_FRAC = 0.5
"""Where there is no plan, one that holds less than so much of what is asked is no cure; nor
is one that lifts the chance by less than so much of what another does."""
MORE_MARGIN_S = 120.0
"""So much more time to spare asked for, where remedies are left unused: invented."""
REMEDIES, OPENS = "relax.remedies", "relax.open_later"
SHIFT_ENDS = {
    "relax.in_sooner": "begins",
    "relax.coat_sooner": "begins",
    "relax.pour_longer": "ends",
    "relax.coat_longer": "ends",
}
"""Which end of a shift a change moves."""
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
                made = [found.way for found in more] if self.chosen.odds is None else []
                if _needless(way, [found.way for found in reach], made):
                    continue
                # The least that works holds by minutes: what goes further is tried at once.
                for further in self._steps(way):
                    found = self._tried(further)
                    keep(found)
                    if found is not None and found.reaches:
                        break

        ways = self._candidates()
        full = FEW * FULL * max(FULL_WORK * len(self.job.rooms), self.chosen.schedule.worked)
        full = min(full, FULL_SHARE * self.budget)
        rest = self.budget - full
        # Where there is no plan, its least changes come in pairs.
        look(full + (REST * rest if self.chosen.odds is not None else 0.0))
        for found in self._pairs(reach, sorted(more, key=_weaker), full + REST_PAIRED * rest):
            keep(found)
        look(full)
        told = [*reach, *self._best_of(more, FEW - len(reach), reach)]
        short = "more" if self.chosen.odds is not None else "plan"
        ways_out = [_said(one.way, "chance" if one.reaches else short) for one in told]
        return tuple(sorted(ways_out, key=lambda way: way.effort_min))

    def _best_of(
        self, more: Sequence[_Tried], wanted: int, reach: Sequence[_Tried] = ()
    ) -> list[_Tried]:
        """Of what falls short the best, each planned in full; none that asks for more than
        another and gives no more."""
        best: list[_Tried] = []
        took = 0.0
        others = sorted(more, key=_weaker)
        likely = [others.pop(0)] if others else []
        # Beside the best, what asks for one change is put before a second pair of changes.
        others.sort(key=lambda found: _weaker(found, PAIR_FRAC))
        for found in _each_once([*likely, *others]):
            if len(best) >= wanted or (best and self._over(took / 2.0)):
                break
            if any(_in_vain(found, one) for one in (*reach, *best)) or self._little(
                found, best
            ):
                continue
            before = self.budget
            full = found if found.full else self._in_full(found.way, found.glance)
            took = max(took, before - self.budget)
            if full is None or any(_in_vain(full, one) for one in (*reach, *best)):
                continue
            best = [one for one in best if not _in_vain(one, full)] + [full]
        return best

    def _little(self, found: _Tried, best: Sequence[_Tried]) -> bool:
        """Whether a way lifts the chance by much less than one that is told already."""
        was = self.chosen.chance_frac
        most = max((one.chosen.chance_frac - was for one in best), default=0.0)
        return found.chosen.chance_frac + GLANCE_FRAC - was < CURE_FRAC * most

    def _pairs(
        self, reach: Sequence[_Tried], more: Sequence[_Tried], kept: float
    ) -> Iterator[_Tried]:
        """Ways that help and fall short, each with what acts on the part it still loses,
        where too few reach what is asked."""
        enough = [also(found.way.say) for found in reach]
        # Of each kind of change the best: what two kinds act on is often lost together.
        firsts: dict[str, _Tried] = {}
        for found in more:
            code = found.way.say.code
            if found.way.also is None and _binds(code, self.job, self.chosen):
                firsts.setdefault(code, found)

        seconds = [
            islice(self._beside(one, firsts), MOST_SECOND)
            for one in [*firsts.values()][:MOST_FIRST]
        ]
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

    def _beside(
        self, first: _Tried, firsts: Mapping[str, _Tried]
    ) -> Iterator[tuple[_Tried, Change]]:
        """What may go with a first change: of each other kind one that moves what binds."""
        seen = {first.way.say.code}
        for change in self._by_chance(first.way.job, first.chosen):
            code = change.say.code
            if change.also or code in seen or not _binds(code, first.way.job, first.chosen):
                continue
            seen.add(code)
            if code == REMEDIES and code in firsts:
                # What was the best of them alone is kept.
                change = _with_remedies(first.way.job, firsts[code].way.job) or change
            yield first, change

    def _over(self, kept: float = 0.0) -> bool:
        return self.stop() or self.budget <= kept

    def _steps(self, way: Relaxation) -> list[Relaxation]:
        """How far a limit is moved in turn; letting the crew in an hour ago is none."""
        begins_s = self.job.access.begins.timestamp()
        now_s = self.issued_s if self.issued_s < begins_s else -inf
        if way.say.code == REMEDIES and way.also is None:
            every = more_remedies(self.job, self._missing(self.job))
            all_of_them = replace(
                way, job=every.job, say=every.say, effort_min=every.effort_min
            )
            return [way, *([all_of_them] if every.job not in self.tried else [])]
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
        missing = self._missing(job)
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

    def _missing(self, job: Job) -> list[Remedy]:
        return [name for name in REMEDY_WORDS if name not in job.policy.remedies]

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
            if way.say.code == REMEDIES and way.also is None:
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


def _weaker(found: _Tried, behind_frac: float = DOUBT_FRAC) -> float:
    """For putting the most likely first, two changes behind one that gives as much."""
    return behind_frac * (found.way.also is not None) - found.chosen.chance_frac


def _in_vain(found: _Tried, told: _Tried) -> bool:
    """Whether a way asks for more than another of its kind, or as much, and is not sure to
    hold more often; at a glance, where it is not near to."""
    kinds = [{say.code for say in (w.say, w.also) if say} for w in (found.way, told.way)]
    asked = [(w.effort_min, w.also is not None) for w in (found.way, told.way)]
    if found.reaches or not kinds[0] & kinds[1] or asked[0] < asked[1]:
        return False
    if found.full:
        gain, near = found.chosen.chance_frac - told.chosen.chance_frac, 0.0
    else:
        seen = told.glance.best or told.chosen
        gain, near = found.chosen.chance_frac - seen.chance_frac, GLANCE_FRAC
    return gain <= _doubt_frac(found.chosen, told.chosen) - near + 1e-9


def _doubt_frac(one: Chosen, other: Chosen) -> float:
    """What the chances of two plans may differ by for the nights drawn: twice the error of
    the share of nights that one of them loses and the other does not."""
    if one.odds is None or other.odds is None or one.odds.members != other.odds.members:
        return DOUBT_FRAC
    apart = np.mean((one.odds.lost > 0) != (other.odds.lost > 0))
    return 2.0 * sqrt(float(apart) / one.odds.members)


def _binds(code: str, job: Job, chosen: Chosen) -> bool:
    """Whether a limit stands near enough to a plan's work, or is missed often enough, that
    moving it may change anything."""
    schedule, odds = chosen.schedule, chosen.odds
    if odds is None:
        return True
    if code == OPENS and odds.opening_frac > 1.0 - WORTH_FRAC:
        return job.access.open_by.timestamp() - schedule.opens_s < LOOSE_S
    if code not in SHIFT_ENDS:
        return True
    pours = code in ("relax.in_sooner", "relax.pour_longer")
    works = schedule.pours if pours else schedule.coats
    spans = crew_spans(job, job.crew.pour_shifts if pours else job.crew.topcoat_shifts)
    if SHIFT_ENDS[code] == "begins":
        at = [(work.start_s, span.begins_s) for work in works for span in spans]
        return any(0.0 <= start_s - begins_s < LOOSE_S for start_s, begins_s in at)
    at = [(work.end_s, span.ends_s) for work in works for span in spans]
    return any(0.0 <= ends_s - end_s < LOOSE_S for end_s, ends_s in at)


def _with_remedies(job: Job, other: Job) -> Change | None:
    """The remedies another job allows and this one does not."""
    names = [name for name in other.policy.remedies if name not in job.policy.remedies]
    return more_remedies(job, names) if names else None


def _wanted_later(job: Job) -> Iterator[Change]:
    """Rooms with an hour of their own to open by, each wanted later."""
    for room in job.rooms:
        for minutes in OPENING_MIN:
            if (change := room_later(room.name).make(job, minutes)) is not None:
                yield change


def _needless(
    way: Relaxation, reach: Sequence[Relaxation], made: Sequence[Relaxation] = ()
) -> bool:
    """Whether one of a way's two changes does by itself, or its kind makes a plan: what is
    lost in that tells better what goes with it."""
    if way.also is None:
        return False
    both = way.say, way.also
    alone = [also(one.say) for one in reach if one.also is None]
    makes = {one.say.code for one in made if one.also is None}
    return any(also(say) in alone or say.code in makes for say in both)


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
