"""Buckets: their clocks and their margins."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from cureplan.core.clock import epoch_s
from cureplan.judge import outlines
from cureplan.judge.case import READ_SLAB_SD_K, Case, Floor
from cureplan.judge.compare import too_late, too_soon, unlike
from cureplan.judge.finding import MARGIN_TOL_S, Finding
from cureplan.judge.seams import check_seams, seams_of
from cureplan.judge.shared_hands import check_shared_hands, hands_at

__all__ = [
    "check_buckets",
    "check_kits",
    "check_margins",
    "check_tie_in",
]

THICKNESS_TOL_M = 1e-6
VOLUME_TOL_FRAC = 1e-9
BARE_STRIP_M = 0.3048  # a foot along the open edge: common practice, no source
DEPTH_TOL_M = 0.001  # plans are written to a tenth of a millimetre

Floats = NDArray[np.float64]
ROUNDED_M = 0.001
"""Corners are written to the millimetre."""


def check_buckets(case: Case) -> Iterator[Finding]:
    """Every bucket is made, hauled and worked as fast as card and pace say, no faster."""
    for floor in case.floors:
        yield from _check_mixing(case, floor)
        yield from _check_stations(case, floor)
        yield from _check_hands(case, floor)
        yield from _check_broadcast(case, floor)
        yield from check_shared_hands(case, floor)


def _check_mixing(case: Case, floor: Floor) -> Iterator[Finding]:
    card, pace = case.plan.job.cards.slurry, case.plan.job.pace
    at = floor.planned
    stirred_s = at.liquids_s + card.liquids_mix_s
    yield from unlike(floor, "buckets", "filler", at.filler_s, stirred_s)
    poured_s = at.filler_s + card.filler_mix_s + pace.haul_s
    yield from unlike(floor, "buckets", "pour", at.pour_s, poured_s)
    earlier = np.maximum.accumulate(at.liquids_s)
    yield from too_soon(floor, "buckets", "liquids, in order", at.liquids_s, earlier)


def _check_stations(case: Case, floor: Floor) -> Iterator[Finding]:
    job, at = case.plan.job, floor.planned
    card = job.cards.slurry
    cycle_s = card.liquids_mix_s + card.filler_mix_s + card.turnaround_s
    station = np.array([bucket.station for bucket in floor.buckets])
    for number in sorted(set(station)):
        if not 1 <= number <= job.crew.stations:
            yield Finding(
                rule="buckets",
                room=floor.name,
                what=f"{floor.name}: station {number} is used, there are {job.crew.stations}",
                off_by=float(abs(number - job.crew.stations)),
                unit="count",
            )
        mine = at.liquids_s[station == number]
        free_s = np.concatenate([[-np.inf], mine[:-1] + cycle_s])
        picked = np.flatnonzero(station == number)
        yield from too_soon(floor, "buckets", f"station {number}", mine, free_s, picked)
    mixed_s = at.filler_s + card.filler_mix_s
    for people, begins_s, free_s, who in (
        (job.crew.mixer, at.liquids_s, mixed_s, "liquids, for want of a mixer"),
        (job.crew.runner, mixed_s, at.pour_s + job.pace.haul_s, "haul, for want of a runner"),
    ):
        if 0 < people < begins_s.size:
            waits_s = np.concatenate([np.full(people, -np.inf), free_s[:-people]])
            yield from too_soon(floor, "buckets", who, begins_s, waits_s)


def _check_hands(case: Case, floor: Floor) -> Iterator[Finding]:
    pace, at = case.plan.job.pace, floor.planned
    rake_s = floor.bucket_area_m2 / (pace.rake_m2_s * hands_at(case, floor, "rake"))
    raked_s = np.maximum(at.pour_s, _before(at.raked_s)) + rake_s
    # What lies on the floor may wait for hands that do something else as well.
    timely = too_soon if case.plan.job.crew.shares else unlike
    yield from timely(floor, "buckets", "raked", at.raked_s, raked_s)
    smooth_s = floor.bucket_area_m2 / (pace.smooth_m2_s * hands_at(case, floor, "smoother"))
    smoothed_s = np.maximum(at.raked_s, _before(at.smoothed_s)) + smooth_s
    yield from timely(floor, "buckets", "smoothed", at.smoothed_s, smoothed_s)


def _check_broadcast(case: Case, floor: Floor) -> Iterator[Finding]:
    """The last grain falls once the next row is smoothed, and arms keep up."""
    pace, at = case.plan.job.pace, floor.planned
    hands = hands_at(case, floor, "broadcaster")
    throw_s = floor.bucket_area_m2 / (pace.broadcast_m2_s * hands)
    met_s = np.array(
        [at.smoothed_s[i if p is None else p] for i, p in enumerate(floor.partner)]
    )
    held_s = floor.held_back_s(floor.ends_s)
    soonest_s = np.maximum(at.smoothed_s + held_s + throw_s, met_s)
    yield from too_soon(floor, "buckets", "broadcast", at.broadcast_s, soonest_s)
    yield from _check_strips(floor, throw_s)
    ready_s, ends_s, work_s = _with_strips(case, floor, at.smoothed_s, throw_s)
    own_s = np.concatenate([met_s, ready_s[met_s.size :]])
    # Latest: hands that leave every patch bare until its neighbour is smooth.
    latest_s, free_s = np.empty_like(own_s), -np.inf
    for i in np.argsort(own_s, kind="stable"):
        free_s = latest_s[i] = max(free_s, own_s[i]) + work_s[i]
    own = np.flatnonzero(~floor.met_elsewhere)
    if not case.plan.job.crew.shares:
        yield from too_late(
            floor,
            "buckets",
            "broadcast",
            at.broadcast_s[own],
            (latest_s[: held_s.size] + held_s)[own],
            own,
        )
    for from_s in ready_s:
        due = np.argsort(ends_s, kind="stable")
        due = due[ready_s[due] >= from_s]
        soonest_s = from_s + np.cumsum(work_s[due])
        soon = due < at.smoothed_s.size
        if np.any(soonest_s[soon] > ends_s[due[soon]] + MARGIN_TOL_S):
            label = "broadcast, with all that is smoothed before it"
            due, soonest_s = due[soon], soonest_s[soon]
            yield from too_soon(floor, "buckets", label, ends_s[due], soonest_s, due)
            return


def _with_strips(
    case: Case, floor: Floor, smoothed_s: Floats, throw_s: Floats
) -> tuple[Floats, Floats, Floats]:
    """When each patch is ready for its grains, when it has them, and what they take: its
    own, and strips of the room before that wait for its first row."""
    ready_s, ends_s, work_s = smoothed_s, floor.planned.broadcast_s, throw_s
    for seam in seams_of(case):
        if seam.after is floor and seam.wet:
            before, edge = seam.before, seam.edge
            hands = hands_at(case, before, "broadcaster")
            strip_s = before.bucket_area_m2[edge] / (case.plan.job.pace.broadcast_m2_s * hands)
            strip_s = strip_s * _strip_share(before)
            ready_s = np.concatenate([ready_s, np.full(edge.size, seam.ready_s)])
            ends_s = np.concatenate([ends_s, before.planned.broadcast_s[edge]])
            work_s = np.concatenate([work_s, strip_s])
    return ready_s, ends_s, work_s


def _strip_share(floor: Floor) -> float:
    row_m = floor.plan.row_depth_m
    return min(1.0, BARE_STRIP_M / row_m) if row_m > 0 else 1.0


def _check_strips(floor: Floor, throw_s: Floats) -> Iterator[Finding]:
    """Strips kept bare for the same patch are broadcast one after the other."""
    at, strip_s = floor.planned, throw_s * _strip_share(floor)
    for met in sorted({p for p in floor.partner if p is not None}):
        waiting = np.array([i for i, p in enumerate(floor.partner) if p == met])
        waiting = waiting[np.argsort(at.broadcast_s[waiting], kind="stable")]
        soonest_s = at.smoothed_s[met] + np.cumsum(strip_s[waiting])
        label = "broadcast of its open edge"
        yield from too_soon(
            floor, "buckets", label, at.broadcast_s[waiting], soonest_s, waiting
        )


def check_kits(case: Case) -> Iterator[Finding]:
    """Kits are whole, numbered without a hole, and enough for every bay."""
    for floor in case.floors:
        numbers = [bucket.number for bucket in floor.buckets]
        if numbers != list(range(1, floor.plan.kits + 1)):
            yield Finding(
                rule="kits",
                room=floor.name,
                what=f"{floor.name}: {len(numbers)} buckets do not number 1 to "
                f"{floor.plan.kits} without a hole",
                off_by=float(max(1, abs(len(numbers) - floor.plan.kits))),
                unit="count",
            )
        yield from _check_bays(case, floor)
        yield from _check_shape(case, floor)


def _check_bays(case: Case, floor: Floor) -> Iterator[Finding]:
    materials, card = case.plan.job.materials, case.plan.job.cards.slurry
    thickness_m = materials.thickness_m + materials.profile_allowance_m
    bays = [bucket.bay for bucket in floor.buckets]
    if sorted(set(bays)) != list(range(1, floor.plan.bays + 1)) or bays != sorted(bays):
        yield Finding(
            rule="kits",
            room=floor.name,
            what=f"{floor.name}: buckets fill bays {sorted(set(bays))}, not one after the "
            f"other 1 to {floor.plan.bays}",
            off_by=float(max(1, abs(len(set(bays)) - floor.plan.bays))),
            unit="count",
        )
    share_m2 = {bay: floor.room.area_m2 / len(set(bays)) for bay in bays}
    if floor.room.outline is not None:
        share_m2 = outlines.bay_areas_m2(floor.plan.patches, bays)
    for bay in sorted(set(bays)):
        needed_m3 = share_m2[bay] * (1 + materials.waste) * thickness_m
        brought_m3 = bays.count(bay) * card.mixed_yield_m3
        if brought_m3 < needed_m3 * (1 - VOLUME_TOL_FRAC):
            yield Finding(
                rule="kits",
                room=floor.name,
                what=f"{floor.name}, bay {bay}: {bays.count(bay)} kits give "
                f"{brought_m3 * 1000:.1f} L and {needed_m3 * 1000:.1f} L are needed",
                off_by=needed_m3 - brought_m3,
                unit="m3",
            )


def _check_shape(case: Case, floor: Floor) -> Iterator[Finding]:
    """Area, thickness and row depth are those of the job and its buckets."""
    materials, plan = case.plan.job.materials, floor.plan
    thickness_m = materials.thickness_m + materials.profile_allowance_m
    if floor.room.outline is not None:
        yield from _check_patches(floor)
        return
    yield from _check_rectangle(floor)
    bay_m = floor.room.width_m / max(1, plan.bays)
    depth_m = float(floor.bucket_area_m2[0]) * plan.buckets_per_row / bay_m
    for what, got_m, want_m, within_m in (
        ("thickness", plan.thickness_m, thickness_m, THICKNESS_TOL_M),
        ("row depth", plan.row_depth_m, depth_m, DEPTH_TOL_M),
        ("area over width", plan.area_m2 / floor.room.width_m, floor.room.length_m, 0.001),
    ):
        if not abs(got_m - want_m) <= within_m:
            yield Finding(
                rule="kits",
                room=floor.name,
                what=f"{floor.name}: {what} is {got_m:.4f} m, it should be {want_m:.4f} m",
                off_by=abs(got_m - want_m),
                unit="m",
            )


def _check_rectangle(floor: Floor) -> Iterator[Finding]:
    """The patches of a plain rectangle are rows of equal shares, bay after bay."""
    rows = Counter((bucket.bay, bucket.row) for bucket in floor.buckets)
    bays = sorted({bay for bay, _ in rows})
    off_m = outlines.rectangle_off_m(
        floor.plan.patches,
        length_m=floor.room.length_m,
        width_m=floor.room.width_m,
        counts=[[rows[key] for key in sorted(rows) if key[0] == bay] for bay in bays],
    )
    if off_m > 2 * ROUNDED_M:
        yield Finding(
            rule="kits",
            room=floor.name,
            what=f"{floor.name}: a corner of a bucket's patch is off by {off_m:.3f} m",
            off_by=off_m,
            unit="m",
        )


def _check_patches(floor: Floor) -> Iterator[Finding]:
    """The patches cover the outline once, an equal share of their bay each."""
    for what, off_m2 in outlines.misfits_m2(
        floor.room.outline, floor.plan.patches, [bucket.bay for bucket in floor.buckets]
    ):
        yield Finding(
            rule="kits",
            room=floor.name,
            what=f"{floor.name}: {what}, off by {off_m2:.3f} m2",
            off_by=off_m2,
            unit="m2",
        )


def check_tie_in(case: Case) -> Iterator[Finding]:
    """A bucket is tied into when all that lies before its edge in the next row is raked."""
    for floor in case.floors:
        at = floor.planned
        none = np.array([partner is None for partner in floor.partner])
        met_s = np.array(
            [at.raked_s[i if p is None else p] for i, p in enumerate(floor.partner)]
        )
        # What nothing in its own room meets, a room of its group may meet.
        for i in np.flatnonzero(~none & np.isnan(at.tied_s)):
            yield Finding(
                rule="tie-in",
                room=floor.name,
                what=f"{floor.name} bucket {floor.buckets[i].number}: a row meets it, yet it "
                "has no tie-in",
                off_by=1.0,
                unit="count",
            )
        both = np.flatnonzero(~none & ~np.isnan(at.tied_s))
        if both.size:
            yield from unlike(floor, "tie-in", "tied in", at.tied_s[both], met_s[both], both)
        yield from _check_rows(floor)
    yield from check_seams(case)


def _check_rows(floor: Floor) -> Iterator[Finding]:
    """Rows are filled one after the other, from one on in every bay."""
    if floor.room.outline is not None:
        return
    laid: Counter[int] = Counter()
    for bucket in floor.buckets:
        row = laid[bucket.bay] // max(1, floor.plan.buckets_per_row) + 1
        laid[bucket.bay] += 1
        if bucket.row != row:
            yield Finding(
                rule="tie-in",
                room=floor.name,
                what=f"{floor.name} bucket {bucket.number}: in row {bucket.row}, by "
                f"{floor.plan.buckets_per_row} a row it lies in row {row}",
                off_by=float(abs(bucket.row - row)),
                unit="count",
            )
            return


def _before(times_s: Floats) -> Floats:
    return np.concatenate([[-np.inf], times_s[:-1]])


DOUBT_TOL = 0.001  # instants and hours are rounded in the plan
TEMP_TOL_K = 0.1  # hourly slab values are written to a thousandth; the rest is stepping
ENDS = {
    "wet_edge": "wet_edge_end",
    "working_time": "working_time_end",
    "broadcast_closes": "broadcast_end",
}


def check_margins(case: Case) -> Iterator[Finding]:
    """Ends, margins and binding clocks are as re-derived; the status follows from them."""
    for floor in case.floors:
        for clock, field in ENDS.items():
            ends_s = np.array([epoch_s(getattr(b, field)) for b in floor.buckets])
            yield from unlike(floor, "margins", f"{clock} ends", ends_s, floor.ends_s[clock])
        yield from _check_temperatures(floor)
        yield from _check_doubt(case, floor)
        yield from _check_least(floor)
        yield from _check_room(floor)
        yield from _check_status(case, floor)
    stated_k = case.plan.risk.slab_sd_k
    if not stated_k >= READ_SLAB_SD_K:
        yield Finding(
            rule="margins",
            room=None,
            what=f"slabs are said to be known to {stated_k:.1f} K, an infrared reading "
            f"itself is known to {READ_SLAB_SD_K:.1f} K",
            off_by=READ_SLAB_SD_K - stated_k,
            unit="K",
        )


def _check_temperatures(floor: Floor) -> Iterator[Finding]:
    for label, got_c, want_c in (
        ("mixed", [b.mixed_c for b in floor.buckets], floor.runs.mixed_c),
        ("poured", [b.pour_c for b in floor.buckets], floor.runs.pour_c),
        ("slab", [b.slab_c for b in floor.buckets], floor.under_c),
    ):
        off_k = np.abs(np.array(got_c) - want_c)
        for i in np.flatnonzero(~(off_k <= TEMP_TOL_K))[:1]:
            yield Finding(
                rule="margins",
                room=floor.name,
                what=f"{floor.name} bucket {floor.buckets[i].number}: {label} at "
                f"{got_c[i]:.1f} °C, re-derived as {want_c[i]:.1f} °C",
                off_by=float(off_k[i]),
                unit="K",
            )


def _check_doubt(case: Case, floor: Floor) -> Iterator[Finding]:
    """How surely the clocks are said to be known is what card and slab allow."""
    low, high = sorted(
        case.doubt_frac(case.slurry, floor, floor.begins_s, bound)
        for bound in ("lenient", "strict")
    )
    for bucket in floor.buckets:
        stated = bucket.clocks_sd_frac
        if not low - DOUBT_TOL <= stated <= high + DOUBT_TOL:
            near = low if stated < low else high
            yield Finding(
                rule="margins",
                room=floor.name,
                what=f"{floor.name} bucket {bucket.number}: its clocks are said to be known to "
                f"{stated:.1%}, re-derived as {near:.1%}",
                off_by=abs(stated - near),
                unit="share",
            )
            return


def _check_least(floor: Floor) -> Iterator[Finding]:
    """Each bucket's printed margin and the clock it is said to hang on."""
    margins_s = floor.margins_s(floor.ends_s)
    least_s = _least(margins_s)
    for i, bucket in enumerate(floor.buckets):
        off_s = abs(bucket.margin_min * 60 - float(least_s[i]))
        if not off_s <= MARGIN_TOL_S:
            yield _margin(floor, f"bucket {bucket.number}", bucket.margin_min, least_s[i])
        bound_s = float(margins_s[bucket.binding][i]) - float(least_s[i])
        if not bound_s <= MARGIN_TOL_S:
            binding = min(margins_s, key=lambda clock: margins_s[clock][i])
            yield Finding(
                rule="margins",
                room=floor.name,
                what=f"{floor.name} bucket {bucket.number}: {binding} binds, not "
                f"{bucket.binding}, which has {bound_s / 60:.1f} min more",
                off_by=bound_s / 60,
                unit="min",
            )


def _check_room(floor: Floor) -> Iterator[Finding]:
    plan, margins_s = floor.plan, floor.margins_s(floor.ends_s)
    least_s = _least(margins_s)
    if not abs(plan.margin_min * 60 - least_s.min()) <= MARGIN_TOL_S:
        yield _margin(floor, "the least margin", plan.margin_min, least_s.min())
    at = [i for i, bucket in enumerate(floor.buckets) if bucket.number == plan.binding_bucket]
    over_s = float(margins_s[plan.binding][at[0]] - least_s.min()) if at else np.inf
    if not over_s <= MARGIN_TOL_S:
        yield Finding(
            rule="margins",
            room=floor.name,
            what=f"{floor.name}: bucket {plan.binding_bucket} by {plan.binding} is said to "
            f"bind, yet another is {over_s / 60:.1f} min shorter",
            off_by=over_s / 60,
            unit="min",
        )
    low_s, high_s = sorted(float(_sure(floor, bound)) for bound in ("lenient", "strict"))
    sure_s = plan.sure_margin_min * 60
    if not low_s - MARGIN_TOL_S <= sure_s <= high_s + MARGIN_TOL_S:
        near_s = low_s if sure_s < low_s else high_s
        yield _margin(floor, "the sure margin", plan.sure_margin_min, near_s)


def _check_status(case: Case, floor: Floor) -> Iterator[Finding]:
    if case.plan.status != "within policy":
        return
    left_s, needed_s = _least(floor.margins_s(floor.ends_s)).min(), _asked_s(case)
    short_s = needed_s - float(left_s)
    if not short_s <= MARGIN_TOL_S:
        yield Finding(
            rule="margins",
            room=floor.name,
            what=f"{floor.name}: the plan is said to be within policy, but the least margin "
            f"is {left_s / 60:.1f} min and {needed_s / 60:.1f} min are asked",
            off_by=short_s / 60,
            unit="min",
        )


def _asked_s(case: Case) -> float:
    return case.plan.job.policy.margin_s


def _least(margins_s: dict[str, Floats]) -> Floats:
    return np.asarray(np.min(list(margins_s.values()), axis=0))


def _sure(floor: Floor, bound: str) -> float:
    """Least margin when everything ages faster by the job's confidence [s]."""
    ends_s = floor.fast_ends_s["lenient" if bound == "lenient" else "strict"]
    return float(_least(floor.margins_s(ends_s)).min())


def _margin(floor: Floor, what: str, got_min: float, want_s: float) -> Finding:
    return Finding(
        rule="margins",
        room=floor.name,
        what=f"{floor.name}: {what} is given as {got_min:.2f} min, re-derived as "
        f"{want_s / 60:.2f} min",
        off_by=abs(got_min - float(want_s) / 60),
        unit="min",
    )
