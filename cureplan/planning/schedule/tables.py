"""Tables over start slots: what a pour or a coat takes and allows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cache, partial
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.job.model import Remedy
from cureplan.planning.floor.layers import (
    CREWS,
    Landed,
    Layer,
    Work,
    factor_of,
    landed_when_s,
    starts_over,
    window_over,
)
from cureplan.planning.floor.limits import LayerLimits
from cureplan.planning.floor.pour import AS_IS, BucketClocks, PourOption, RoomPours
from cureplan.planning.schedule.placing import (
    PlacedCoat,
    PlacedPour,
    Span,
    place_layer,
    place_pour,
)
from cureplan.planning.schedule.problem import NEVER, Hands, Stage, stage_of
from cureplan.planning.schedule.remedies import option_cost, option_ladder
from cureplan.planning.schedule.slots import Slots, between_rows, nodes_of, straight
from cureplan.planning.schedule.tabled import Tabled

__all__ = [
    "BAND_S",
    "GUARD_S",
    "OptionTable",
    "PourTables",
    "Sureness",
    "begun_s",
    "begun_stage",
    "layer_stage",
    "one_after_the_other",
]

ROW_S = 1800.0
BAND_S = 30.0
"""Margins that differ by less are alike: no floor waits hours for ten seconds."""
MOST_WINDOWS = 32
GUARD_S = 5.0
"""Kept from every window: what straight lines between half-hours may be off by."""
Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sureness:
    """How far every single limit is kept from where it breaks."""

    windows: float
    """Confidence of each window between layers; 0.5 is the expected night."""
    margins: float
    """Confidence of each bucket's margin."""
    limits: float | None = None
    """Confidence of each limit of slab and air; None for that of the windows."""
    late_s: float = 0.0
    """How late a crew may come and still keep its shift and the windows' ends."""
    drag_frac: float = 0.0
    """How much longer than planned it may have taken since its shift began."""
    times_sd: float = 0.0
    """By how much all times of the wet slurry may be off together, as far as its margins
    are to bear that as well."""

    def limits_of(self, pours: RoomPours, layer: Layer) -> LayerLimits:
        """When a layer may be laid, so surely."""
        if self.limits is None:
            return pours.limits(layer, confidence=self.windows)
        return pours.limits(layer, confidence=self.limits, ahead=True)

    def behind_s(self, worked_s: Array) -> Array:
        """How far behind its plan a crew may be that has worked so long."""
        return np.asarray(np.hypot(self.late_s, self.drag_frac * worked_s))


@dataclass(frozen=True, slots=True, kw_only=True)
class OptionTable:
    """One option at S starts, shape (S,) unless said otherwise."""

    margin_s: Array
    lasts_s: Array
    walkable_s: Array
    mixed_spare_k: Array
    """What is spare of the limits of the coldest and the hottest mix; below 0, none."""
    opens_s: Array
    """First start of the first coat, vacuum over."""
    closes_s: Array


@dataclass(frozen=True, slots=True)
class _Rows:
    """What was run at full half-hours."""

    at_s: Array
    central_s: Array
    """Least margin on the expected night."""
    lasts_s: Array
    coldest_c: Array
    hottest_c: Array
    """Of all mixes of a floor."""
    pour_age_s: Array
    """Shape (rows, N)."""
    film_age_s: NDArray[np.float32]
    """Shape (rows, N, nodes); of many rooms this is the most there is to keep, and good
    to a thousandth of a second as it is."""


@dataclass(slots=True)
class PourTables:
    """Tables of one floor, each option run at most once per half-hour."""

    pours: RoomPours
    tabled: Tabled = field(default_factory=Tabled)
    _rows: dict[PourOption, _Rows] = field(init=False, default_factory=dict)
    _sure_s: dict[tuple[PourOption, float, float], dict[float, float]] = field(
        init=False, default_factory=dict
    )
    """Least margin at a confidence and a doubt of the card, by start."""
    _windows: dict[object, tuple[Array, Array, Array]] = field(init=False, default_factory=dict)
    """When a floor bears feet and its next layer may begin, of the latest few tables."""

    def under(self, pours: RoomPours) -> PourTables:
        """The same runs for a job with other shifts, hours or dew margin, not other hands."""
        twin = PourTables(pours, self.tabled)
        twin._rows, twin._sure_s, twin._windows = self._rows, self._sure_s, self._windows
        return twin

    @property
    def layer(self) -> Layer:
        """The layer that is poured."""
        return self.pours.tasks[self.pours.pour_task][-1]

    def table(self, option: PourOption, start_s: Array, *, sure: Sureness) -> OptionTable:
        """Tabulate one option at given starts [epoch s], ascending, within the weather."""
        rows, key = self._run_rows(option, start_s), (option, sure.windows, start_s.tobytes())
        if key not in self._windows:
            if len(self._windows) >= MOST_WINDOWS:
                self._windows.clear()
            self._windows[key] = self._opens_after(option, rows, start_s, sure.windows)
        walkable_s, opens_s, closes_s = self._windows[key]
        low_c, high_c = self.pours.job.cards.slurry.limits.mixed_c
        return OptionTable(
            margin_s=np.interp(start_s, rows.at_s, self._margins(option, rows, start_s, sure)),
            lasts_s=np.interp(start_s, rows.at_s, rows.lasts_s),
            walkable_s=walkable_s,
            mixed_spare_k=np.minimum(
                np.interp(start_s, rows.at_s, rows.coldest_c) - low_c,
                high_c - np.interp(start_s, rows.at_s, rows.hottest_c),
            ),
            opens_s=opens_s,
            closes_s=closes_s,
        )

    def _opens_after(
        self, option: PourOption, rows: _Rows, start_s: Array, confidence: float
    ) -> tuple[Array, Array, Array]:
        pours = self.pours
        factors = pours.long_factors_at(self.layer, start_s, confidence=confidence)
        wait, close = factors[:, :1], factors[:, 1:]
        landed = Landed(
            pour_s=start_s[:, None] + pours.plan(option).times.pour_s,
            pour_age_s=between_rows(start_s, rows.at_s, rows.pour_age_s),
            film_age_s=between_rows(start_s, rows.at_s, rows.film_age_s),
        )

        @cache
        def reached(name: str) -> Array:
            age_s = pours.clocks.age_s[name] * factor_of(name, wait=wait, close=close)
            return landed_when_s(landed, age_s, curve=pours.slurry_curve.of(name))

        return reached("foot_traffic").max(axis=1), *starts_over(reached, self._next(option))

    @property
    def own(self) -> Work:
        """The pour among the works, as far as all options share it."""
        return self.pours.works(AS_IS)[self.pours.pour_task]

    def _next(self, option: PourOption) -> Work:
        """What is done to the floor after its pour."""
        return self.pours.works(option)[self.pours.pour_task + 1]

    def _margins(
        self, option: PourOption, rows: _Rows, start_s: Array, sure: Sureness
    ) -> Array:
        """Margin to plan on at every row around the starts: some minutes as expected, and
        at the confidence none lost."""
        confidence, times_sd = sure.margins, sure.times_sd
        known = self._sure_s.setdefault((option, confidence, times_sd), {})
        near = (rows.at_s >= start_s[0] - ROW_S) & (rows.at_s <= start_s[-1] + ROW_S)
        missing = [at for at in rows.at_s[near].tolist() if at not in known]
        if missing:
            wet = partial(self.pours.wet_factors, confidence=confidence, times_sd=times_sd)
            wait = [wet(at)[0] for at in missing]
            (least_s,) = self.tabled.rows(self.pours, option, missing, _least, speed=wait)
            known.update(zip(missing, least_s.tolist(), strict=True))
        # Rows far from the starts carry no weight between them.
        sure_s = np.array([known.get(at, 0.0) for at in rows.at_s.tolist()])
        return np.minimum(rows.central_s, sure_s + self.pours.job.policy.margin_s)

    def least_s(self, option: PourOption, start_s: Array) -> Array:
        """Least margins on the expected night, run only at starts that no table holds."""
        rows = self._rows.get(option)
        known: dict[float, float] = {}
        if rows is not None:
            known.update(zip(rows.at_s.tolist(), rows.central_s.tolist(), strict=True))
        missing = [at for at in start_s.tolist() if at not in known]
        if missing:
            (least_s,) = self.tabled.rows(self.pours, option, missing, _least)
            known.update(zip(missing, least_s.tolist(), strict=True))
        return np.array([known[at] for at in start_s.tolist()])

    def _run_rows(self, option: PourOption, start_s: Array) -> _Rows:
        first, last = np.floor(start_s[0] / ROW_S), np.ceil(start_s[-1] / ROW_S)
        wanted = ROW_S * np.arange(first, last + 1)
        beyond = np.searchsorted(start_s, wanted)
        after = start_s[np.minimum(beyond, start_s.size - 1)]
        near = np.minimum(abs(wanted - start_s[beyond - 1]), abs(after - wanted)) < ROW_S
        # The last row may lie beyond the weather; the last start itself does not.
        wanted = np.unique(np.clip(wanted[near], start_s[0], start_s[-1]))
        known = self._rows.get(option)
        missing = wanted if known is None else np.setdiff1d(wanted, known.at_s)
        if missing.size:
            fresh = self._run(option, missing)
            known = fresh if known is None else _merged(known, fresh)
            self._rows[option] = known
        if known is None:
            raise AssertionError("a table has at least one start")
        return known

    def _run(self, option: PourOption, at_s: Array) -> _Rows:
        least_s, by_s, *others = self.tabled.rows(self.pours, option, at_s, _columns)
        lasts_s = np.maximum(self.pours.plan(option).times.last_s, by_s - at_s)
        return _Rows(at_s, least_s, lasts_s, *others)

    def stage(
        self,
        spans: Sequence[Span],
        slots: Slots,
        *,
        remedies: Sequence[Remedy],
        sure: Sureness,
    ) -> Stage:
        """All states of this floor's pour."""
        self.tabled.floors += 1
        begin, span = self._possible_begins(spans, slots)
        left = np.ones(begin.size, dtype=np.bool_)
        kept: list[Stage] = []
        for number, option in enumerate(option_ladder(remedies)):
            if not left.any():
                break
            if not self._is_open(option) or self._buys_nothing(option):
                continue
            stage = self._states(option, begin, span, spans, slots, sure)
            stage = stage.labelled(cost=option_cost(option, remedies), option=number)
            enough = stage.short == 0
            kept.append(stage.keep(~enough | np.isin(stage.begins, begin[left])))
            left &= ~np.isin(begin, stage.begins[enough])
        return _undominated(kept)

    def _possible_begins(
        self, spans: Sequence[Span], slots: Slots
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        setup_s, last_s = self.pours.job.crew.setup_s, self.pours.conditions.last_s
        soonest_s = self.pours.begins_from_s(self.own)
        runs = [
            np.arange(
                int(slots.first_from(max(span.begins_s + setup_s, soonest_s))),
                int(slots.last_until(min(span.ends_s, last_s))) + 1,
            )
            for span in spans
        ]
        numbers = [np.full(run.size, i) for i, run in enumerate(runs)]
        empty = np.zeros(0, dtype=np.int64)
        return np.concatenate([empty, *runs]), np.concatenate([empty, *numbers])

    def _is_open(self, option: PourOption) -> bool:
        """Whether a night leaves it open to pour the floor so."""
        options = self.pours.settled.options
        return options is None or option in options

    def _buys_nothing(self, option: PourOption) -> bool:
        """Whether one bay less, where that is open, lays rows of as few buckets: then this
        is only more work."""
        if option.bays == 1:
            return False
        fewer = replace(option, bays=option.bays - 1)
        if not self._is_open(fewer):
            return False
        rows = [self.pours.plan(o).layout.buckets_per_row for o in (fewer, option)]
        return rows[0] == rows[1]

    def _states(
        self,
        option: PourOption,
        begin: NDArray[np.int64],
        span: NDArray[np.int64],
        spans: Sequence[Span],
        slots: Slots,
        sure: Sureness,
    ) -> Stage:
        pours, job = self.pours, self.pours.job
        self.tabled.states += begin.size
        start_s = slots.at(begin) + self.own.lead_s
        ends_s = np.array([spans[i].ends_s for i in span])
        known = start_s + pours.plan(option).times.last_s
        held = (known <= ends_s) & (known <= pours.conditions.last_s)
        if not held.any():
            return _no_states()
        start_s, begin, span, ends_s = start_s[held], begin[held], span[held], ends_s[held]
        nodes_s = nodes_of(start_s)
        table = self.table(option, nodes_s, sure=sure)

        def at_starts(values: Array) -> Array:
            return straight(start_s, nodes_s, values)

        lead_s = self._next(option).lead_s
        opens_s, closes_s = at_starts(table.opens_s), at_starts(table.closes_s)
        done_s = start_s + at_starts(table.lasts_s)
        missing_s = job.policy.margin_s - at_starts(table.margin_s)
        stage = stage_of(
            crew=CREWS.index(self.layer.crew),
            begins=begin,
            lasts=slots.first_from(done_s) - begin,
            frees=slots.first_from(done_s + job.crew.changeover_s),
            follows=slots.first_from(done_s + job.crew.in_group_s),
            shuts=slots.last_until(start_s),
            walks=slots.first_from(at_starts(table.walkable_s) + GUARD_S),
            opens=slots.first_from(opens_s + GUARD_S - lead_s),
            closes=slots.last_until(closes_s - GUARD_S - lead_s - sure.late_s),
            short=np.ceil(np.maximum(0.0, missing_s) / BAND_S).astype(np.int64),
            span=span,
        )
        limits = sure.limits_of(pours, self.layer)
        kept = limits.kept(start_s, done_s - start_s, at_starts(table.walkable_s))
        kept &= at_starts(table.mixed_spare_k) >= 0
        kept &= _in_shift(spans, span, done_s, sure)
        return stage.keep(kept & (stage.opens <= stage.closes))


def _least(run: BucketClocks) -> tuple[Array]:
    return (run.least_s,)


def _columns(run: BucketClocks) -> tuple[NDArray[Any], ...]:
    """As `_Rows` has them, but when the last grain may fall in place of how long it takes."""
    found = run.broadcast_by_s.max(axis=1), run.mixed_c.min(axis=1), run.mixed_c.max(axis=1)
    return run.least_s, *found, run.pour_age_s, run.film_age_s.astype(np.float32)


def _no_states() -> Stage:
    return stage_of(crew=0, begins=[], lasts=0, opens=0, closes=0)


def _merged(one: _Rows, two: _Rows) -> _Rows:
    order = np.argsort(np.concatenate([one.at_s, two.at_s]))

    def both(name: str) -> Any:
        return np.concatenate([getattr(one, name), getattr(two, name)])[order]

    return _Rows(**{item.name: both(item.name) for item in fields(_Rows)})


def _undominated(stages: Sequence[Stage]) -> Stage:
    """Per slot, states that no other beats in margin missing, length and cost at once."""
    if not stages:
        return _no_states()
    names = [item.name for item in fields(Stage) if item.name != "crew"]
    arrays = {name: np.concatenate([getattr(s, name) for s in stages]) for name in names}
    order = np.lexsort((arrays["cost"], arrays["frees"], arrays["short"], arrays["begins"]))
    arrays = {name: array[order] for name, array in arrays.items()}
    kept = np.zeros(order.size, dtype=np.bool_)
    here, soonest = None, 0
    for i, (begin, free) in enumerate(zip(arrays["begins"], arrays["frees"], strict=True)):
        # In order of margin missing: one that is no sooner over than its betters is idle.
        if begin != here or free < soonest:
            kept[i] = True
            here, soonest = begin, free
    return Stage(crew=0, **arrays).keep(kept)


def layer_stage(
    pours: RoomPours,
    task: int,
    spans: Sequence[Span],
    slots: Slots,
    *,
    options: Iterable[PourOption],
    sure: Sureness,
    due_s: float,
) -> Stage:
    """All states of one task of a floor that lays a thin layer."""
    variants = _distinct_works(pours, task, options)
    work = variants[0][task]
    begin, span = _possible_begins(
        pours,
        spans,
        slots,
        work.lead_s + work.duration_s,
        soonest_s=pours.begins_from_s(work),
    )
    start_s = slots.at(begin) + work.lead_s
    limits = sure.limits_of(pours, work.layer)
    laid = limits.kept(start_s, work.duration_s, start_s)
    laid &= _in_shift(spans, span, start_s + work.duration_s, sure)
    begin, span, start_s = begin[laid], span[laid], start_s[laid]
    if begin.size == 0:
        return stage_of(crew=work.crew, begins=[], lasts=0, opens=0, closes=0)
    nodes_s = nodes_of(start_s)
    foot_s, opens_s, closes_s = (
        straight(start_s, nodes_s, values)
        for values in _windows_after(pours, task, variants, nodes_s, sure.windows)
    )
    cures = limits.kept(start_s, work.duration_s, foot_s)
    last = task + 1 == len(pours.tasks)
    ahead_s = 0.0 if last else variants[0][task + 1].lead_s
    done_s = start_s + work.duration_s
    stage = stage_of(
        crew=work.crew,
        begins=begin,
        lasts=slots.first_from(done_s) - begin,
        frees=slots.first_from(done_s + pours.job.crew.changeover_s),
        shuts=slots.last_until(start_s),
        walks=slots.first_from(foot_s + GUARD_S),
        opens=slots.first_from(opens_s + GUARD_S - ahead_s),
        closes=slots.last_until(closes_s - GUARD_S - ahead_s - sure.late_s),
        span=span,
    )
    cures &= stage.opens < NEVER
    return stage.keep(cures & ((not last) | (opens_s + GUARD_S + sure.late_s <= due_s)))


def _in_shift(
    spans: Sequence[Span], span: NDArray[np.int64], done_s: Array, sure: Sureness
) -> NDArray[np.bool_]:
    """Which works end in their shift, however far behind the crew may be."""
    edges_s = np.array([(s.begins_s, s.ends_s) for s in spans]).reshape(-1, 2)[span]
    return np.asarray(done_s + sure.behind_s(done_s - edges_s[:, 0]) <= edges_s[:, 1])


def _windows_after(
    pours: RoomPours,
    task: int,
    variants: Sequence[tuple[Work, ...]],
    start_s: Array,
    confidence: float,
) -> tuple[Array, Array, Array]:
    """When a layer begun at each start bears feet, and from when until when the next may
    start; after the last one, when the room is ready. The worst of all variants."""
    layer = variants[0][task].layer
    clocks, curve = pours.material(layer)
    factors = pours.long_factors_at(layer, start_s, confidence=confidence)
    wait, close = factors[:, :1], factors[:, 1:]
    foot_s, opens_s, closes_s = [], [], []
    for works in variants:
        laid_s = start_s[:, None] + works[task].offset_s

        def reached(name: str, laid_s: Array = laid_s) -> Array:
            age_s = clocks.age_s[name] * factor_of(name, wait=wait, close=close)
            return curve.of(name).when(start_s=laid_s, age_s=age_s)

        foot_s.append(reached("foot_traffic").max(axis=1))
        if task + 1 == len(works):
            ladder = [reached(name).max(axis=1) for name in pours.room.open_needs]
            opens_s.append(np.max(ladder, axis=0))
            closes_s.append(np.full(start_s.size, np.inf))
        else:
            opens, closes = starts_over(reached, works[task + 1])
            opens_s.append(opens)
            closes_s.append(closes)
    return np.max(foot_s, axis=0), np.max(opens_s, axis=0), np.min(closes_s, axis=0)


def _distinct_works(
    pours: RoomPours, task: int, options: Iterable[PourOption]
) -> list[tuple[Work, ...]]:
    """The floor's works for each way its patches may follow one another, here and next."""
    found = {
        tuple(work.offset_s.tobytes() for work in works[task : task + 2]): works
        for works in map(pours.works, options)
    }
    return list(found.values())


def _possible_begins(
    pours: RoomPours,
    spans: Sequence[Span],
    slots: Slots,
    length_s: float,
    *,
    soonest_s: float,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    setup_s, last_s = pours.job.crew.setup_s, pours.conditions.last_s
    begins, numbers = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for i, span in enumerate(spans):
        first = int(slots.first_from(max(span.begins_s + setup_s, soonest_s)))
        last = int(slots.last_until(min(span.ends_s, last_s) - length_s))
        run = np.arange(first, last + 1)
        begins.append(run)
        numbers.append(np.full(run.size, i))
    return np.concatenate(begins), np.concatenate(numbers)


ROUNDED_S = 2.0
"""Begun work is known to the second; that must not cost those after it a minute."""


def begun_s(pours: RoomPours, number: int) -> float:
    """When the crew began a task, what leads up to its layer counted in [epoch s]."""
    work = pours.works(_option_begun(pours))[number]
    return pours.settled.begun_s[work.layer.stage] - work.lead_s


def begun_stage(
    pours: RoomPours, number: int, spans: Sequence[Span], slots: Slots, *, sure: Sureness
) -> Stage:
    """The only state of a task that is begun, at the second it really began."""
    option = _option_begun(pours)
    works, begins_s = pours.works(option), begun_s(pours, number)
    confidence = min(sure.windows, pours.job.policy.confidence)
    placed: PlacedPour | PlacedCoat
    if number == pours.pour_task:
        placed = place_pour(pours, option, begins_s, confidence=confidence)
    else:
        placed = place_layer(pours, works[number], None, begins_s, confidence=confidence)
    if isinstance(placed, PlacedCoat) and number + 1 == len(works):
        opens_s, closes_s = placed.after.opens_s, np.inf
    else:
        window, lead_s = (
            window_over(placed.reached, works[number + 1]),
            works[number + 1].lead_s,
        )
        opens_s, closes_s = window.opens_s - lead_s, window.closes_s - lead_s
    begin, end_s = int(slots.last_until(begins_s)), placed.end_s - ROUNDED_S
    return stage_of(
        crew=works[number].crew,
        begins=[begin],
        lasts=slots.first_from(end_s) - begin,
        frees=slots.first_from(end_s + pours.job.crew.changeover_s),
        follows=slots.first_from(end_s + pours.job.crew.in_group_s),
        shuts=slots.last_until(placed.closed.begins_s),
        walks=slots.first_from(placed.closed.ends_s + GUARD_S),
        opens=slots.first_from(opens_s + GUARD_S),
        closes=slots.last_until(closes_s - GUARD_S - sure.late_s),
        span=next((i for i, span in enumerate(spans) if begins_s < span.ends_s), 0),
    )


def _option_begun(pours: RoomPours) -> PourOption:
    settled = pours.settled
    if settled.poured is not None:
        return settled.poured.option
    return settled.options[0] if settled.options else AS_IS


def one_after_the_other(
    rooms: Sequence[tuple[Stage, ...]],
    begun: Sequence[tuple[int, int]],
    crosses: Sequence[Sequence[int]],
    hands: Sequence[Hands],
) -> tuple[tuple[Stage, ...], ...]:
    """Begun tasks of the same hands end where the next began: it did, whatever was planned."""
    found = [list(stages) for stages in rooms]
    for room, number in set(begun) & {(r, n - 1) for r, n in begun}:
        # The next layer lies on it already, whatever its window has become since.
        stage, next_ = found[room][number], found[room][number + 1].begins
        found[room][number] = replace(
            stage, opens=np.minimum(stage.opens, next_), closes=np.maximum(stage.closes, next_)
        )
    for room, number in begun:
        # A crew that has gone over a floor shows that it bore it.
        went = found[room][number].begins
        for floor, over in begun:
            stage = found[floor][over]
            if floor in crosses[room] and int(stage.shuts[0]) < int(went[0]):
                found[floor][over] = replace(stage, walks=np.minimum(stage.walks, went))
    for crews in sorted({one.crews for one in hands}):
        own = [(r, n) for r, n in begun if found[r][n].crew in crews]
        own.sort(key=lambda task: int(found[task[0]][task[1]].begins[0]))
        for (room, number), (after, later) in pairwise(own):
            stage, next_ = found[room][number], found[after][later].begins
            found[room][number] = replace(
                stage,
                ends=np.minimum(stage.ends, next_),
                frees=np.minimum(stage.frees, next_),
                follows=np.minimum(stage.follows, next_),
            )
    return tuple(tuple(stages) for stages in found)
