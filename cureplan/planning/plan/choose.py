"""The schedule that most likely holds: limits kept more surely or less, judged by the odds.

A job asks that all of it holds at a confidence. Kept at that confidence each by itself,
its limits together hold less often; so they are kept more surely, step by step, until all
of it holds as often as asked. Where not even each limit can be had as surely as asked,
the steps lead down instead. The best by the full odds is taken.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import chain
from statistics import NormalDist

from cureplan.inputs.job.model import Job
from cureplan.planning.odds.nights import LATE_SD_S, RHYTHM_SD_FRAC
from cureplan.planning.odds.risk import Looked, Odds, assess
from cureplan.planning.plan.climb import LEAST_FRAC, ODDS_WORK, Judged, Nights, climb, starts_of
from cureplan.planning.schedule.construct import (
    MANY_ROOMS,
    QUICK,
    Progress,
    Promising,
    construct,
    construct_at,
    limits_for,
)
from cureplan.planning.schedule.floor_model import EVEN_ODDS, Tables
from cureplan.planning.schedule.lexicographic import Limits
from cureplan.planning.schedule.near import Near
from cureplan.planning.schedule.outcome import Schedule, Stop, stopped_by_hand
from cureplan.planning.schedule.placing import without_seams
from cureplan.planning.schedule.tables import Sureness

__all__ = ["Chosen", "Glance", "choose"]

SURER = (0.7, 0.5, 0.3, 0.15, 0.07, 0.03, 0.015)
"""Shares of the doubt a job allows that each single limit may have, one after the other."""
CLOSE_FRAC, CLOSE_ROOMS = 0.06, 5
"""By how much a quick schedule may fall short and still be worth the solver's work: what it
finds for the same limits mostly opens sooner and holds about as often. Less of more rooms,
whose work grows with their square."""
LIMITS_SHARES = (0.1, 0.3, 0.6, 1.0)
"""Shares of the doubt a job allows that each limit of temperature may have, where these
fail most."""
OF_MANY = 4.0
"""By how many rooms a job's doubt is shared out to begin with: measured on 24 and 48."""
MOST_IN_VAIN = 2
"""Steps one after the other that find something else and gain nothing, before no surer
one is tried."""
ALIKE, FAR_FRAC = 2, 0.25
"""Steps left out after one that finds the same again, where all of it falls so far short
that none of them will do: nearer, the first that does takes the least remedies."""
AIM = 0.8
"""How much of the failures allowed is aimed at where a step falls far short."""
SOONER = 0.4
"""Share of what is asked above even odds, where more sureness finds nothing better."""
HALVINGS = 3
"""How finely the confidence is looked for at which every window can be had."""
MORE, MORE_WORK = 2.0, 8.0
"""All steps together may take so many times the work of the first schedule's search, and
at most so much: it grows with the square of the rooms."""
NOISE_FRAC = 0.01
"""What two schedules over the same thousand nights may differ by without meaning it."""
NEAR_WORK, NEAR_SHARES = 0.5, {False: 0.8, True: 0.15}
"""What looking near the best may cost, and what share of all the work before it, of few
rooms and of many."""
LUCK_FRAC, MOST_STARTS = 0.02, 3
"""By how much the best seen may be luckier than others, and of how many that is asked."""
GLANCE_WORK = 0.6
"""What the solver may look for a schedule at a glance."""
GLANCES = ((1.0, 0.3), (0.07, None), (None, 0.07), (0.015, None))
"""Shares of a job's doubt for windows and margins at a quick look; mostly best first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """A schedule and how often it holds; no odds where there is no schedule."""

    schedule: Schedule
    odds: Odds | None

    @property
    def stopped(self) -> bool:
        """Whether somebody stopped the search."""
        return self.schedule.stopped

    @property
    def chance_frac(self) -> float:
        """How often all of it holds."""
        return 0.0 if self.odds is None else self.odds.all_frac

    def keeps_policy(self, job: Job) -> bool:
        """Whether margins are kept on the expected night, and all of it as often as asked."""
        return (
            self.schedule.keeps_margins_as_expected
            and self.chance_frac >= job.policy.confidence
        )


def choose(
    job: Job,
    tables: Tables,
    *,
    issued_s: float,
    limits: Limits | None = None,
    progress: Progress | None = None,
    stop: Stop | None = None,
    looked: Looked | None = None,
) -> Chosen:
    """Plan a job so that all of it holds as often as asked, or else as often as may be.

    Ctrl-C ends it with the best so far, unless a caller hears it and says so by `stop`.
    `looked` is what an earlier look at the odds of the same job has run and drawn.
    """
    if stop is None:

        def hear() -> None:
            if progress is not None:
                progress("stopping with the best so far")

        with stopped_by_hand(hear) as asked:
            return choose(
                job, tables, issued_s=issued_s, limits=limits, progress=progress, stop=asked,
            )  # fmt: skip
    choosing = _Choosing(
        job=job,
        tables=tables,
        issued_s=issued_s,
        limits=limits or limits_for(len(job.rooms)),
        progress=progress,
        stop=stop,
        looked=looked or Looked(),
    )
    return choosing.run()


@dataclass(frozen=True, slots=True)
class Glance:
    """How often a job may hold: the best of a few schedules by forward timing alone."""

    job: Job
    tables: Tables
    best: Chosen | None
    """None where forward timing finds no schedule."""
    worked: float
    held: tuple[float | None, ...]
    """How often at each of `GLANCES`; None where nothing was found or looked for."""
    looked: Looked = field(default_factory=Looked)

    @classmethod
    def at(
        cls,
        job: Job,
        tables: Tables,
        *,
        issued_s: float,
        stop: Stop,
        beside: Glance | None = None,
        enough_frac: float | None = None,
    ) -> Glance:
        """Kept as surely as the plans of drawn jobs mostly were that held most often: they
        held 0.03 more at most than the best of these.

        Where a job is looked at `beside` what it was before a change, and holds no more
        often there where that held best, only what was not to be had before is looked at;
        none after one that holds at `enough_frac`, where it is given.
        """
        looking = _Choosing(
            job=job,
            tables=tables,
            issued_s=issued_s,
            limits=limits_for(len(job.rooms)),
            progress=None,
            stop=stop,
        )
        before = beside.held if beside is not None else (None,) * len(GLANCES)
        held: list[float | None] = [None] * len(GLANCES)
        better = True
        for i in sorted(range(len(GLANCES)), key=lambda i: -(before[i] or 0.0)):
            was = before[i]
            if enough_frac is not None and looking.seen_frac >= enough_frac:
                break
            if better or was is None:
                held[i] = now = looking.glance(*GLANCES[i])
                better = better and (was is None or (now or 0.0) > was + NOISE_FRAC / 2)
        if enough_frac is not None and looking.best is None:
            # What forward timing finds no schedule for, the solver may.
            looking.glance(None, None, work=GLANCE_WORK)
        return cls(job, tables, looking.best, looking.worked, tuple(held), looking.looked)

    def in_full(self, *, issued_s: float, stop: Stop) -> Chosen:
        """The job's plan, as it would be by itself."""
        return choose(self.job, self.tables, issued_s=issued_s, stop=stop, looked=self.looked)


@dataclass(slots=True, kw_only=True)
class _Choosing:
    job: Job
    tables: Tables
    issued_s: float
    limits: Limits
    progress: Progress | None
    stop: Stop
    best: Chosen | None = None
    worked: float = 0.0
    surest: float | None = None
    """How surely every window can be had, where that is less than asked."""
    seen: dict[object, Chosen] = field(default_factory=dict)
    looked: Looked = field(default_factory=Looked)
    sure: Sureness | None = None
    """How surely the best keeps every single limit; None for as asked."""
    begun: int = -1
    """Of `SURER`, what was planned to begin with."""
    cool: float | None = None
    """How surely limits of temperature are kept by themselves, once that has helped."""
    quick: dict[object, float | None] = field(default_factory=dict)
    """Schedules no solver has seen yet, and the confidence they keep; None: as asked."""

    @property
    def seen_frac(self) -> float:
        """How often the best so far holds."""
        return 0.0 if self.best is None else self.best.chance_frac

    def run(self) -> Chosen:
        first = self._of_many() or self._first(self._promising)
        if first.failures:
            return self._ended(Chosen(schedule=first, odds=None))
        self._weigh(first)
        steps = self._between if first.held_frac is not None else self._surer
        others = (
            self._temperatures_surer(),
            self._buckets_surer(),
            self._settled(),
            self._walked_sooner(),
        )
        for _ in chain(steps(), *others):
            if self.best is None or self.best.keeps_policy(self.job):
                break
        if self.best is None:
            raise AssertionError("a first schedule was weighed")
        if not self._ends():
            self._looked_near()
        # Where the first keeps windows as surely as asked, it is known that this can be.
        known = "found" if first.held_frac is None else first.sure_known
        schedule = replace(self.best.schedule, worked=self.worked, sure_known=known)
        return self._ended(replace(self.best, schedule=schedule))

    def _ended(self, found: Chosen) -> Chosen:
        if not self.stop():
            return found
        return replace(found, schedule=replace(found.schedule, ended="stopped by hand"))

    def _ends(self) -> bool:
        """Whether somebody waits for the best so far, and there is one."""
        return self.best is not None and self.stop()

    def _of_many(self) -> Schedule | None:
        """Of many rooms, each limit kept as surely as all together ask for, to begin with:
        as sure as asked each by itself, next to none of its nights would hold."""
        if len(self.job.rooms) < MANY_ROOMS:
            return None
        doubt, most = 1.0 - self.job.policy.confidence, OF_MANY / len(self.job.rooms)
        step = next((i for i, share in enumerate(SURER) if share <= most), len(SURER) - 1)
        found = self._step(1.0 - SURER[step] * doubt)
        if found is None:
            return None
        self.begun = step
        return found.schedule

    def _first(self, promising: Promising | None) -> Schedule:
        """A schedule with every limit as sure as asked, in whatever time the crew takes."""
        found = construct(
            self.job,
            self.tables.pours,
            progress=self.progress,
            limits=self.limits,
            tables=self.tables,
            stop=self.stop,
            promising=promising,
        )
        self.worked += found.worked
        return found

    def _promising(self, quick: Schedule, confidence: float | None = None) -> bool:
        """Whether a schedule is near enough to what was asked for the solver to go on."""
        if self._ends():
            return False
        chosen = self._assessed(quick)
        self.quick[starts_of(quick)] = confidence
        asked = self.job.policy.confidence
        close = CLOSE_FRAC * min(1.0, CLOSE_ROOMS / len(self.job.rooms)) ** 2
        return not self.stop() and chosen.chance_frac >= asked - close

    def _weigh(self, schedule: Schedule) -> Chosen:
        """Assess a schedule, unless one like it was; the best is kept."""
        found = self._assessed(schedule)
        if self.best is None or self._beats(found, self.best):
            self.best = found
        return found

    def _assessed(self, schedule: Schedule) -> Chosen:
        key = starts_of(schedule)
        if key not in self.seen:
            odds = assess(
                self.job,
                self.tables.pours,
                schedule,
                issued_s=self.issued_s,
                looked=self.looked,
            )
            self.worked += ODDS_WORK * len(self.job.rooms)
            self.seen[key] = self._stopped(Chosen(schedule=schedule, odds=odds))
            if self.progress is not None:
                self.progress(f"holds on {self.seen[key].chance_frac:.0%} of nights")
        seen = self.seen[key]
        wet = any(pour.seam and pour.seam.wet for pour in seen.schedule.pours)
        return replace(seen, schedule=schedule if wet else self._square(schedule))

    def _stopped(self, met: Chosen) -> Chosen:
        """The same with stop lines at its seams, where it holds as often as asked by that
        alone."""
        square = replace(met, schedule=self._square(met.schedule))
        if square.schedule is met.schedule or met.keeps_policy(self.job):
            return met
        odds = assess(
            self.job,
            self.tables.pours,
            square.schedule,
            issued_s=self.issued_s,
            looked=self.looked,
        )
        square = replace(square, odds=odds)
        return square if self._beats(square, met) else met

    def _square(self, schedule: Schedule) -> Schedule:
        """A schedule with a stop line at every seam."""
        if not any(pour.seam and pour.seam.wet for pour in schedule.pours):
            return schedule
        pours = without_seams(self.tables.pours, schedule.pours, confidence=schedule.held_frac)
        return replace(schedule, pours=pours)

    def _beats(self, one: Chosen, other: Chosen) -> bool:
        """Whether a schedule holds more often than another, beyond the drawing's own doubt."""
        kept = one.keeps_policy(self.job), other.keeps_policy(self.job)
        if kept[0] != kept[1]:
            return kept[0]
        return not kept[0] and one.chance_frac > other.chance_frac + NOISE_FRAC

    def _surer(self) -> Iterator[None]:
        """Every limit kept more surely, as far as a schedule is found; where all of it
        falls far short, as many steps at once as that asks for."""
        doubt = 1.0 - self.job.policy.confidence
        done, left = self.begun, len(SURER)
        step, best_frac, in_vain = 0, 0.0, 0
        while done + 1 < left:
            yield
            step, seen = min(max(step, done + 1), left - 1), len(self.seen)
            found = self._step(1.0 - SURER[step] * doubt)
            if self.stop() or self._work_left() <= 0.0:
                return
            if found is None:
                left, step = step, (done + step) // 2
                continue
            yield from self._temperatures_surer()
            # A little surer often asks for nothing else; what asks for more and gains
            # nothing is given up.
            worse = found.chance_frac < best_frac - NOISE_FRAC
            gained = found.chance_frac > best_frac + NOISE_FRAC
            in_vain = 0 if gained else in_vain + (len(self.seen) > seen)
            if worse or in_vain > MOST_IN_VAIN:
                return
            done, best_frac = step, max(best_frac, found.chance_frac)
            if found.chance_frac < self.job.policy.confidence - CLOSE_FRAC / 2:
                needed = AIM * SURER[step] * doubt / (1.0 - found.chance_frac)
                step = next((i for i, share in enumerate(SURER) if share <= needed), left)

    def _settled(self) -> Iterator[None]:
        """The best schedule by the solver as well, where it was found too weak for it.

        Of many rooms, what it makes of limits surer than asked opens sooner and holds less.
        """
        if self.best is not None and (key := starts_of(self.best.schedule)) in self.quick:
            confidence = self.quick[key]
            if len(self.job.rooms) > (CLOSE_ROOMS if confidence is not None else MANY_ROOMS):
                return
            yield
            if confidence is not None:
                self._step(confidence, quickly=False)
            elif not self.stop():
                self._weigh(self._first(None))

    def _between(self) -> Iterator[None]:
        """Windows kept as surely as can be, between even odds and what was asked."""
        low, high = EVEN_ODDS, self.job.policy.confidence
        for _ in range(HALVINGS):
            yield
            middle = 0.5 * (low + high)
            if self._step(middle):
                low = self.surest = middle
            else:
                high = middle

    def _temperatures_surer(self) -> Iterator[None]:
        """Limits of slab and air kept by themselves, the forecast's errors counted in, where
        they are what fails most: as surely as a schedule is found for."""
        for share in LIMITS_SHARES:
            if self.best is None or self.best.odds is None or self.sure is None:
                return
            odds, limits = self.best.odds, 1.0 - share * (1.0 - self.job.policy.confidence)
            if odds.limits_frac >= min(odds.buckets_frac, odds.coats_frac, odds.shifts_frac):
                return
            if self.cool is not None and self.cool >= limits:
                return
            yield
            found = self._planned_at(replace(self.sure, limits=limits))
            if found is not None and found.odds is not None:
                if found.odds.limits_frac > odds.limits_frac:
                    self.cool = limits
                return

    def _buckets_surer(self) -> Iterator[None]:
        """Buckets alone kept more surely, whatever all times of the slurry's card are off by,
        where buckets are what fails: first with windows as sure as can be had, so that it is
        not a later hour but a remedy that makes them so; then with windows as expected."""
        held = None if self.best is None else self.best.schedule.held_frac
        asked = self.surest or held or self.job.policy.confidence
        for windows in sorted({asked, EVEN_ODDS}, reverse=True):
            yield from self._margins_surer(windows)

    def _margins_surer(self, windows: float) -> Iterator[None]:
        doubt, in_vain, skipped = 1.0 - self.job.policy.confidence, 0, 0
        for share in (1.0, *SURER):
            if self.best is None or self.best.odds is None or in_vain > MOST_IN_VAIN:
                return
            if skipped:
                skipped -= 1
                continue
            before_frac, seen = self.best.chance_frac, len(self.seen)
            if self.best.odds.buckets_frac > 1.0 - share * doubt:
                continue
            yield
            if self._step(windows, margins=1.0 - share * doubt) is None:
                return
            gained, changed = self.best.chance_frac > before_frac, len(self.seen) > seen
            in_vain = 0 if gained else in_vain + changed
            far = self.best.chance_frac < self.job.policy.confidence - FAR_FRAC
            skipped = ALIKE if far and not changed else 0

    def _walked_sooner(self) -> Iterator[None]:
        """Floors crossed and coats begun sooner, by a crew that waits where it must."""
        asked = self.job.policy.confidence
        if self.best is not None and self.best.chance_frac < asked - CLOSE_FRAC:
            yield
            self._step(EVEN_ODDS + SOONER * (asked - EVEN_ODDS))

    def _looked_near(self) -> None:
        """Where all of it holds less often than asked: what held most often of all seen,
        and the best near it, by other nights than the chance is stated by.

        Not of a night that is begun: there it is carried on unless much is gained."""
        begun = any(pours.settled.begun_s for pours in self.tables.pours.values())
        if begun or self.best is None or self.best.keeps_policy(self.job):
            return
        nights = Nights(self.job, self.tables.pours, self.issued_s, self.looked)
        seen = [self._assessed(one.schedule) for one in self.seen.values()]
        ranked = sorted(seen, key=self._worth, reverse=True)
        least_frac = ranked[0].chance_frac - LUCK_FRAC
        found = {
            self._agreed(one, start := nights.judged(one.schedule)): (one, start)
            for one in ranked[:MOST_STARTS]
            if one.chance_frac >= least_frac
        }
        self.best, start = found[max(found)]
        best, asked = self.best.schedule, self.job.policy.confidence
        sure = Sureness(windows=best.held_frac or asked, margins=asked, limits=self.cool)
        near = Near(job=self.job, tables=self.tables, sure=sure, schedule=best)
        share = NEAR_SHARES[len(self.job.rooms) >= MANY_ROOMS]
        work = NEAR_WORK + share * self.worked
        end = climb(near, start, nights, work=work, stop=self.stop, enough=self._enough)
        self.worked += near.worked + nights.worked
        if end is not start:
            last = self._assessed(replace(end.schedule, solver=QUICK))
            kept, frac = max(found)
            if self._agreed(last, end) > (kept, frac + LEAST_FRAC):
                self.best = last

    def _enough(self, schedule: Schedule) -> bool:
        return self._assessed(replace(schedule, solver=QUICK)).keeps_policy(self.job)

    def _agreed(self, one: Chosen, judged: Judged) -> tuple[bool, float]:
        """What a schedule is worth by the nights its chance is stated by and by others."""
        frac = (one.chance_frac + judged.weight * judged.frac) / (1.0 + judged.weight)
        return one.keeps_policy(self.job), frac

    def _worth(self, one: Chosen) -> tuple[bool, float]:
        return one.keeps_policy(self.job), one.chance_frac

    def _order(self) -> tuple[int, ...] | None:
        """That of the best schedule's pours, to begin with."""
        if self.best is None:
            return None
        place = {room.name: i for i, room in enumerate(self.job.rooms)}
        return tuple(place[pour.room] for pour in self.best.schedule.pours)

    def _work_left(self) -> float:
        first = self.limits.work
        return first + min(MORE * first, MORE_WORK) - self.worked

    def _step(
        self, confidence: float, *, quickly: bool = True, margins: float | None = None
    ) -> Chosen | None:
        """Plan with every limit kept at a confidence, and margins at one of their own where
        it is given; None where that did not go."""
        return self._planned_at(self._sureness(confidence, margins), quickly=quickly)

    def _sureness(self, confidence: float, margins: float | None) -> Sureness:
        behind = NormalDist().inv_cdf(0.5 + 0.5 * confidence)
        return Sureness(
            windows=confidence,
            margins=margins or max(confidence, self.job.policy.confidence),
            times_sd=self.job.times_sd("slurry") if margins else 0.0,
            late_s=behind * LATE_SD_S,
            drag_frac=behind * RHYTHM_SD_FRAC,
            limits=self.cool,
        )

    def glance(
        self, windows: float | None, margins: float | None, *, work: float = 0.0
    ) -> float | None:
        """How often a schedule holds that forward timing finds with shares of the doubt for
        windows and margins, or the solver by some work; windows as expected where none is
        given."""
        doubt = 1.0 - self.job.policy.confidence
        sure = self._sureness(
            EVEN_ODDS if windows is None else 1.0 - windows * doubt,
            None if margins is None else 1.0 - margins * doubt,
        )
        if self.stop():
            return None
        found, worked = construct_at(
            self.job,
            self.tables,
            sure,
            limits=replace(self.limits, work=work or self.limits.work),
            stop=self.stop,
            promising=lambda _: False,
            order=self._order(),
            alone=not work,
        )
        self.worked += worked
        return None if found is None else self._weigh(found).chance_frac

    def _planned_at(self, sure: Sureness, *, quickly: bool = True) -> Chosen | None:
        """The same with every kind of limit as sure as said."""
        left = self._work_left()
        if self.stop() or left <= 0.0:
            return None
        tried: list[Schedule] = []
        before = self.best

        def promising(quick: Schedule) -> bool:
            tried.append(quick)
            return self._promising(quick, sure.windows)

        found, worked = construct_at(
            self.job,
            self.tables,
            sure,
            limits=replace(self.limits, work=min(left, self.limits.work)),
            stop=self.stop,
            promising=promising if quickly else None,
            order=self._order(),
            alone=quickly and self.best is not None and len(self.job.rooms) > CLOSE_ROOMS,
            ends=self._ends,
        )
        self.worked += worked
        if found is None or self._ends():
            return None
        # Best for limits kept more surely than asked, which is not to say best of all.
        known = "found" if found.known == "proven" else found.known
        weighed = self._weigh(replace(found, known=known))
        for quick in tried:
            weighed = max(weighed, self._weigh(quick), key=lambda one: one.chance_frac)
        if self.best is not before:
            self.sure = sure
        return weighed
