"""What would make a plan hold as often as asked: each change is planned in full.

First the least changes that a quick search finds for limits that break; then what acts on
the parts that cost the most chance. Cheapest first, within a bounded amount of work.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain, islice, zip_longest
from math import inf

from cureplan.core.kept import keeping_results
from cureplan.inputs.job.model import Job
from cureplan.planning.plan.acting import acting_on, mixing
from cureplan.planning.plan.choose import Chosen, Glance
from cureplan.planning.plan.worth import (
    ACTS_ON,
    GLANCE_FRAC,
    REMEDIES,
    WORTH_FRAC,
    Tried,
    binds,
    each_once,
    in_vain,
    kept_of,
    lost_first,
    needless,
    needs_hands,
    one_hand_more,
    opens_later,
    said,
    weaker,
)
from cureplan.planning.schedule.changes import (
    Change,
    also,
    kind_of,
    missing_remedies,
    more_remedies,
    remedies_of,
)
from cureplan.planning.schedule.construct import Progress, quick_ways
from cureplan.planning.schedule.floor_model import Tables, timeless
from cureplan.planning.schedule.outcome import Relaxation, Schedule, Stop, stopped_by_hand
from cureplan.planning.schedule.relax import relaxations

__all__ = ["look_for_help"]

MOST_HELP = 1.7
"""Looking for what would help may take so many times what the plan itself took, counted, and
half of a last full plan: about twice."""
START_S, SHEET_S, ROOM_S = 1.7, 1.7, 0.6
"""What a plan takes of a processor besides its search [s]: to start, and where there is a
plan, for sheet and pictures, and for a room's odds and judging. Measured."""
MOST_S = 45.0
"""And never more than this, by which a larger job's ways take half a minute."""
KEPT_BYTES = 32_000_000
"""What changed jobs share is tabulated once, up to so much of it."""
QUICK, QUICK_NO_PLAN = 0.6, 0.55
"""Share of what is not kept for other work, for the quick search for limits that break."""
SHORT_OF_FRAC = 0.1
"""What a glance may fall short by and the full plan still reach what is asked."""
FULL, FULL_SHARE, FULL_NO_PLAN = 1.2, 0.7, 0.2
"""Planned in full a change takes so many times the plan's search; for that no more than a
share of all is kept, and so much of it where there is no plan."""
REST, REST_PAIRED = 0.4, 0.15
"""Of what is not, shares kept for pairs of changes, and for what is left to try."""
MOST_FIRST, MOST_SECOND = 2, 5
"""So many changes that help are tried with so many others each."""
ENOUGH = 4
"""So many ways that reach what is asked are a choice."""
FEW = 2
PAIR_FRAC = 0.05
"""By how much two changes stand behind one, beside the best: invented."""
CURE_FRAC = 0.5
"""Where there is no plan, one that holds less than so much of what is asked is no cure; nor
is one that lifts the chance by less than so much of what another does."""
LITTLE_FRAC = 0.35
"""Nor is it told beside another where it lifts the chance by less than so much of that."""
HOPELESS_FRAC = 0.25
"""What holds less often than so much of the best that was seen is not taken further."""
MORE_MARGIN_S = 120.0
"""So much more time to spare asked for, where remedies are left unused: invented."""
MUCH_FRAC = 0.25
"""A part lost more often than that needs more than an hour: invented."""


def look_for_help(
    job: Job,
    tables: Tables,
    chosen: Chosen,
    *,
    issued_s: float,
    progress: Progress | None = None,
) -> Schedule:
    """The schedule with what would mend it; Ctrl-C ends the looking with what was found.

    It may take about twice what the plan took, by counted work, so that the same job and
    seed give the same ways on every machine. A job without a plan may fail in less than half
    of what a plan takes: once the first of its ways is planned in full, a second may take as
    much again, so that two can be told.
    """
    if progress is not None:
        progress("looking for what would help; Ctrl-C ends it")
    with stopped_by_hand() as stop, keeping_results(KEPT_BYTES):
        looking = _Looking(
            job=job,
            tables=tables,
            chosen=chosen,
            issued_s=issued_s,
            progress=progress,
            stop=stop,
            budget_s=_budget_s(job, tables, chosen),
        )
        return replace(chosen.schedule, relaxed=looking.run())


def _budget_s(job: Job, tables: Tables, chosen: Chosen) -> float:
    """What all of the looking may take, by what the command takes without it."""
    rest_s = 0.0 if chosen.odds is None else SHEET_S + ROOM_S * len(job.rooms)
    search_s = tables.tabled.with_search_s(chosen.schedule.worked)
    return min(MOST_S, MOST_HELP * (START_S + search_s + rest_s))


@dataclass(slots=True, kw_only=True)
class _Looking:
    job: Job
    tables: Tables
    chosen: Chosen
    issued_s: float
    progress: Progress | None
    stop: Stop
    budget_s: float
    """What all of it may take of a processor, as it is counted [s]."""
    worked: float = 0.0
    tabled_s: float = field(init=False)
    """What tables had taken before."""
    kept_s: float = 0.0
    """What is kept for what comes after [s]."""
    weak: list[Tried] = field(default_factory=list)
    """Plans that are hardly a cure: told where there is no other."""
    full_s: float = 0.0
    """The most that a full plan took."""
    tried: list[Job] = field(default_factory=list)
    """Changed jobs, two changes in whichever order."""
    reach: list[Tried] = field(default_factory=list)
    """Ways whose plan is within policy."""
    more: list[Tried] = field(default_factory=list)
    """Ways that help, and fall short."""
    as_is: Glance | None = None
    """The job itself, looked at as its changes are."""
    step: Glance | None = None
    """The step before, of a limit that is moved further and further."""
    best_frac: float = 0.0
    """How often the best of all looked at holds."""

    def __post_init__(self) -> None:
        self.tabled_s = self.tables.tabled.processor_s

    @property
    def left_s(self) -> float:
        """What may still be taken [s]."""
        return self.budget_s + self.tabled_s - self.tables.tabled.with_search_s(self.worked)

    @property
    def _rest_s(self) -> float:
        """What a plan takes besides its search and to start [s]."""
        return SHEET_S + ROOM_S * len(self.job.rooms)

    def run(self) -> tuple[Relaxation, ...]:
        ways = self._candidates()
        planned = self.chosen.odds is not None
        if planned:
            full = FEW * FULL * self.tables.tabled.with_search_s(self.chosen.schedule.worked)
            full = min(full, FULL_SHARE * self.budget_s)
        else:
            full = FULL_NO_PLAN * self.budget_s
        rest = self.budget_s - full
        # Where there is no plan, its least changes come in pairs.
        self._look(ways, full + (REST * rest if planned else 0.0))
        if planned or len(each_once([*self.reach, *self.more])) < FEW:
            if not planned:
                # Whatever is told in the end takes a sheet as well, and all its odds.
                more_s = MOST_HELP * self._rest_s
                self.budget_s = min(MOST_S, self.budget_s + more_s)
            best, full_s = sorted(self.more, key=weaker), self._still(full)
            for found in self._pairs(self.reach, best, full_s + REST_PAIRED * rest):
                self._keep(found)
            self._look(ways, self._still(full))
        told = [*self.reach, *self._best_of(self.more, FEW - len(self.reach), self.reach)]
        short, told = "more" if planned else "plan", told or self._hardly()
        ways_out = [said(one.way, "chance" if one.reaches else short) for one in told]
        return tuple(sorted(ways_out, key=lambda way: way.effort_min))

    def _still(self, full_s: float) -> float:
        """What is still to be kept for full plans, of what some of them had at first."""
        made = sum(found.full for found in (*self.reach, *self.more))
        return full_s * max(0.0, 1.0 - made / FEW)

    def _hardly(self) -> list[Tried]:
        """Of what is hardly a cure the likeliest, where its full plan is no less."""
        best, self.weak = sorted(self.weak, key=weaker)[:1], []
        if best and not best[0].full:
            better = self._in_full(best[0].way, best[0].glance)
            return self.weak if better is None else [better]
        return best

    def _keep(self, found: Tried) -> None:
        (self.reach if found.reaches else self.more).append(found)

    def _look(self, ways: Iterator[Relaxation], kept: float) -> None:
        """Try one way after the other, until enough reach what is asked or no more work
        is left than what is `kept`."""
        self.kept_s = kept
        reach, enough = self.reach, FEW if self.chosen.odds is None else ENOUGH
        while not self._over(kept if len(reach) < FEW else 0.0) and len(reach) < enough:
            way = next(ways, None)
            if way is None:
                return
            made = [found.way for found in self.more] if self.chosen.odds is None else []
            if needless(way, [found.way for found in reach], made):
                continue
            # The least that works holds by minutes: what goes further is tried at once.
            self.step, least_frac = None, 0.0
            for further in self._steps_and_hands(way):
                found = self._tried(further)
                # Nobody is asked for more that gives no more.
                if found is not None and (found.reaches or found.seen_frac >= least_frac):
                    self._keep(found)
                    least_frac = found.seen_frac + WORTH_FRAC
                    if found.reaches:
                        break

    def _best_of(
        self, more: Sequence[Tried], wanted: int, reach: Sequence[Tried] = ()
    ) -> list[Tried]:
        """Of what falls short the best, each planned in full; none that asks for more than
        another and gives no more."""
        best: list[Tried] = []
        others = sorted(more, key=weaker)
        likely = [others.pop(0)] if others else []
        # Beside the best, what asks for one change is put before a second pair of changes.
        others.sort(key=lambda found: weaker(found, PAIR_FRAC))
        if self.chosen.odds is None and likely and not opens_later(likely[0].way):
            # How much later, a foreman asks first.
            others.sort(key=lambda found: not opens_later(found.way))
        for found in each_once([*likely, *others]):
            if len(best) >= wanted:
                break
            if not (found.full or self._may_plan()):
                continue
            if any(in_vain(found, one) for one in (*reach, *best)) or self._little(found, best):
                continue
            full = found if found.full else self._in_full(found.way, found.glance)
            if full is None or any(in_vain(full, one) for one in (*reach, *best)):
                continue
            best = [one for one in best if not in_vain(one, full)] + [full]
        return best

    def _little(self, found: Tried, best: Sequence[Tried]) -> bool:
        """Whether a way lifts the chance by much less than one that is told already."""
        was = self.chosen.chance_frac
        most = max((one.chosen.chance_frac - was for one in best), default=0.0)
        return found.chosen.chance_frac + GLANCE_FRAC - was < LITTLE_FRAC * most

    def _pairs(
        self, reach: Sequence[Tried], more: Sequence[Tried], kept: float
    ) -> Iterator[Tried]:
        """Ways that help and fall short, each with what acts on the part it still loses,
        where too few reach what is asked."""
        enough = [also(found.way.say) for found in reach]
        # Of each kind of change the best: what two kinds act on is often lost together.
        firsts: dict[str, Tried] = {}
        for found in more:
            code = found.way.say.code
            if found.way.also is None and binds(code, self.job, self.chosen):
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
        self, first: Tried, firsts: Mapping[str, Tried]
    ) -> Iterator[tuple[Tried, Change]]:
        """What may go with a first change: of each other kind one that moves what binds, by
        hours where much is lost of it."""
        seen = {kind_of(first.way.say)}
        for change in self._by_chance(first.way.job, first.chosen, far=True):
            code, kind = change.say.code, kind_of(change.say)
            if change.also or kind in seen or not binds(code, first.way.job, first.chosen):
                continue
            seen.add(kind)
            if code == REMEDIES and code in firsts:
                # What was the best of them alone is kept.
                change = remedies_of(first.way.job, firsts[code].way.job) or change
            yield first, change

    def _over(self, kept: float = 0.0) -> bool:
        return self.stop() or self.left_s <= kept

    def _steps(self, way: Relaxation) -> list[Relaxation]:
        """How far a limit is moved in turn; letting the crew in an hour ago is none."""
        begins_s = self.job.access.begins.timestamp()
        now_s = self.issued_s if self.issued_s < begins_s else -inf
        if way.say.code == REMEDIES and way.also is None:
            every = more_remedies(self.job, missing_remedies(self.job))
            all_of_them = replace(
                way, job=every.job, say=every.say, effort_min=every.effort_min
            )
            return [way, *([all_of_them] if every.job not in self.tried else [])]
        step = further = way.further
        steps: list[Relaxation] = []
        while step is not None:
            if step.job not in [other.job for other in (way, *steps)]:
                steps.append(step)
            step = step.further
        if way.also is None and further is not None and further.also is not None:
            # What goes further asks for something else as well.
            return [way, *steps]
        ahead = [s for s in steps if s.job.access.begins.timestamp() >= now_s]
        return ahead or [way] * (way.job.access.begins.timestamp() >= now_s)

    def _steps_and_hands(self, way: Relaxation) -> Iterator[Relaxation]:
        """The same, each as soon as the one before was tried; then, where hands are asked for
        and buckets or the end of a shift are lost most, one more at a time while it gains."""
        best, least_frac = None, 0.0
        far_frac = self.job.policy.confidence - SHORT_OF_FRAC
        steps = self._steps(way)
        while steps:
            yield (step := steps.pop(0))
            seen = self._seen()
            if seen and seen.chance_frac < HOPELESS_FRAC * self.best_frac:
                return
            if seen and seen.chance_frac < far_frac and len(steps) > 1:
                # So far from what is asked, a little further will not do either.
                del steps[0]
            if seen and seen.chance_frac > least_frac:
                best, least_frac = step, seen.chance_frac + WORTH_FRAC
        while (seen := self._seen()) and best is not None and not self._over(self.kept_s):
            more = one_hand_more(self.job, best)
            if more is None or not needs_hands(seen):
                return
            yield more
            best = more if (seen := self._seen()) and seen.chance_frac > least_frac else None
            least_frac = seen.chance_frac + WORTH_FRAC if seen else 1.0

    def _seen(self) -> Chosen | None:
        """What was tried last, at a glance."""
        return None if self.step is None else self.step.best

    def _tried(self, way: Relaxation, first: Tried | None = None) -> Tried | None:
        """The way with the chance of its full plan, or of a glance where that is far from
        what is asked; None where it is no better, or not than the first of two changes."""
        self.tried.append(way.job)
        above = 0.0 if first is None else first.chosen.chance_frac + WORTH_FRAC
        beside = first.glance if first is not None else self.step or self._as_is()
        self.step = glance = self._glance(way.job, beside)
        quick = glance.best
        if self.stop():
            return None
        self.best_frac = max(self.best_frac, quick.chance_frac if quick else 0.0)
        if quick is None:
            return None
        # Where there is no plan, whatever is told is planned in full in the end.
        short_of = GLANCE_FRAC if self.chosen.odds is None else SHORT_OF_FRAC
        near = quick.chance_frac >= self.job.policy.confidence - short_of
        if near and self._gains(quick) and self._may_plan():
            return self._in_full(way, glance)
        least = max(above, self._cure_frac(), self.chosen.chance_frac + WORTH_FRAC / 2)
        tried = Tried(way, quick, glance, reaches=False, full=False)
        if quick.chance_frac >= least - SHORT_OF_FRAC * (self.chosen.odds is None):
            return tried
        self.weak += [tried] * (quick.chance_frac >= self._cure_frac() / 2.0 > 0.0)
        return None

    def _gains(self, quick: Chosen) -> bool:
        """Whether a change holds more often at a glance than the job as it is does."""
        as_is = None if self.as_is is None else self.as_is.best
        return as_is is None or quick.chance_frac > as_is.chance_frac

    def _cure_frac(self) -> float:
        """What a cure holds at least, where there is no plan."""
        return self.job.policy.confidence * CURE_FRAC if self.chosen.odds is None else 0.0

    def _in_full(self, way: Relaxation, glance: Glance, above: float = 0.0) -> Tried | None:
        """The way as its full plan holds; None where that is no better."""
        found = self._planned(glance)
        if found is None or found.odds is None:
            return None
        way = replace(way, chance_frac=found.chance_frac, opens_s=found.schedule.opens_s)
        reaches = found.keeps_policy(way.job)
        tried = Tried(way, found, glance, reaches=reaches, full=True)
        least = max(above, self._cure_frac(), self.chosen.chance_frac + WORTH_FRAC)
        if reaches or found.chance_frac >= least:
            return tried
        self.weak += [tried] * (found.chance_frac >= self._cure_frac() / 2.0 > 0.0)
        return None

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
        glance = Glance.at(
            job,
            tables,
            issued_s=self.issued_s,
            stop=self.stop,
            beside=beside,
            # Where there is no plan, its cures are planned in full at once.
            enough_frac=self._cure_frac() if self.chosen.odds is None else None,
        )
        self.worked += glance.worked
        return glance

    def _planned(self, glance: Glance) -> Chosen | None:
        """A changed job planned in full, as it would be by itself."""
        before_s = self.left_s
        found = glance.in_full(issued_s=self.issued_s, stop=self.stop)
        self.worked += found.schedule.worked
        took_s = before_s - self.left_s
        if self.chosen.odds is None and not self.full_s:
            plan_s = START_S + self._rest_s + took_s
            self.budget_s = max(self.budget_s, min(MOST_S, MOST_HELP * plan_s))
            # What the first of them takes, a second may take again.
            self.budget_s += max(0.0, min(MOST_S, took_s) - self.left_s)
        self.full_s = max(self.full_s, took_s)
        return None if self.stop() else found

    def _may_plan(self) -> bool:
        """Whether another full plan is within what may be taken; the first always is."""
        return not self.stop() and (not self.full_s or self.left_s >= self.full_s / 2.0)

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
            return turn[::-1] if lost_first(odds) == "buckets" else turn
        return turn

    def _mending(self) -> Iterator[Relaxation]:
        """The least changes a quick search finds for limits that break; those first that
        act on what is lost most often."""
        schedule, odds = self.chosen.schedule, self.chosen.odds
        if schedule.keeps_limits:
            return
        # No window mended is worth much where nearly every night some bucket is lost.
        buckets = odds is not None and lost_first(odds) == "buckets"
        buckets = buckets and not schedule.keeps_margins
        quick, worked = quick_ways(
            self.job,
            self.tables,
            schedule,
            self.stop,
            (QUICK if odds is not None else QUICK_NO_PLAN) * (self.left_s - self.kept_s),
            margins_alone=buckets,
        )
        self.worked += worked
        kept = {} if odds is None else kept_of(odds)

        def lost(way: Relaxation) -> tuple[float, float]:
            codes = [say.code for say in (way.say, way.also) if say is not None]
            parts = chain(*(ACTS_ON.get(code, tuple(kept)) for code in codes))
            return min(
                (kept[part] for part in parts if part in kept), default=0.0
            ), way.effort_min

        ways = sorted(quick, key=lost)
        later = next((way for way in ways if odds is None and opens_later(way)), None)
        yield from chain(ways[:1], [later] if later else (), ways[1:])

    def _by_chance(self, job: Job, chosen: Chosen, *, far: bool = False) -> Iterator[Change]:
        """What acts on the part that is lost most often, cheapest first; then on the next."""
        odds = chosen.odds
        if odds is None:
            return
        kept = kept_of(odds)
        # No more can be won at a part than is lost there, nor than the others leave.
        least = max(0.001, min(WORTH_FRAC, job.policy.confidence - odds.all_frac))
        for part in sorted(kept, key=kept.__getitem__):
            others = min(frac for other, frac in kept.items() if other != part)
            most = min(1.0 - kept[part], others - odds.all_frac)
            # Nor is what gives much less than another that was found.
            little = CURE_FRAC * (self.best_frac - odds.all_frac)
            if most >= max(least, little):
                much = far and 1.0 - kept[part] > MUCH_FRAC
                changes = self._acting_on(part, job, chosen.schedule, much=much)
                # Where much is lost, hours of work given first are likelier than one more hand.
                yield from changes if much else sorted(changes, key=lambda c: c.effort_min)

    def _acting_on(
        self, part: str, job: Job, schedule: Schedule, *, much: bool
    ) -> list[Change]:
        if part == "buckets" and schedule.keeps_margins_as_expected:
            # Margins are kept without remedies: those that would give more than is kept.
            return [*self._with_more_margin(job, schedule), *mixing(job, self.tables.pours)]
        return acting_on(part, job, self.tables.pours, much=much)

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
            budget_s=QUICK * (self.left_s - self.kept_s),
        )
        self.worked += worked
        for way in ways:
            if way.say.code == REMEDIES and way.also is None:
                policy = replace(way.job.policy, margin_s=job.policy.margin_s)
                changed = replace(way.job, policy=policy)
                yield Change(job=changed, say=way.say, effort_min=way.effort_min)
