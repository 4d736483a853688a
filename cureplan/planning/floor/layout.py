"""How a floor is cut into rows, buckets and bays, and how fast they follow each other.

A front as wide as the bay retreats from the back wall to the way out. One bucket covers
`area`; a row takes as many buckets as make it deep enough for the rake. Kits are whole:
the last one of a bay may leave some over.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cureplan.inputs.cards.model import SlurryCard
from cureplan.inputs.job.model import Crew, Job, Outline, Pace, Room
from cureplan.planning.floor.outline import Cut, Patch, cut_outline, rectangle_patches
from cureplan.planning.floor.sharing import Rhythm, Tasks, shared_rhythm

__all__ = [
    "Cadence",
    "PourLayout",
    "PourTimes",
    "broadcast_ends_s",
    "cadence_of",
    "ends_of",
    "lay_out",
    "met_by",
    "patches_of",
    "relative_times",
]

BARE_STRIP_M = 0.3048
"""Strip kept free of aggregate along the open edge until the next row ties in: about a
foot (common practice, no source)."""

# 1e-9 keeps a floor that needs exactly 12 kits from asking for 13 by rounding noise.
_EPS = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class PourLayout:
    """Rows, buckets and bays of one floor."""

    room: str
    bays: int
    bay_width_m: float
    kits_per_bay: int
    buckets_per_row: int
    row_depth_m: float
    area_per_bucket_m2: float
    thickness_m: float
    slurry_needed_m3: float
    edge_m: float = 0.0
    """Of the walls and islands of all of the floor."""
    cut: Cut | None = None
    """Where the floor is no plain rectangle; the figures above then are the largest."""

    @property
    def kits(self) -> int:
        """Whole kits for the floor."""
        return self.kits_per_bay * self.bays if self.cut is None else self.cut.bay.size

    @property
    def bay(self) -> NDArray[np.int64]:
        """Bay of every bucket, from 0."""
        if self.cut is not None:
            return self.cut.bay
        return np.arange(self.kits) // self.kits_per_bay

    @property
    def row(self) -> NDArray[np.int64]:
        """Row of every bucket in its bay, from 0."""
        if self.cut is not None:
            return self.cut.row
        return np.arange(self.kits) % self.kits_per_bay // self.buckets_per_row

    @property
    def strip_row_m(self) -> float:
        """Depth of the row whose open strip is the largest share of it."""
        return self.row_depth_m if self.cut is None else self.cut.strip_row_m

    @property
    def rows_per_bay(self) -> int:
        """Rows in one bay; the last may be short: few buckets drawn over the whole width."""
        return math.ceil(self.kits_per_bay / self.buckets_per_row)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cadence:
    """Seconds between pours, what each task takes, and which task is slowest."""

    interval_s: float
    limit: str
    mixing_s: float
    haul_s: float
    rake_s: float
    smooth_s: float
    broadcast_s: float
    strip_s: float
    edge_s: float = 0.0
    """Along the walls and islands of a bucket's patch; all patches take the mean."""
    shared: Rhythm | None = None
    """Where one pair of hands does several things; who does what then, and when."""

    def stations(self, crew: Crew) -> int:
        """How many mix at once."""
        if self.shared is not None:
            return len(self.shared.hands["mixer"])
        return min(crew.stations, crew.mixer)


@dataclass(frozen=True, slots=True, kw_only=True)
class PourTimes:
    """Times of every bucket of a floor [s], from the first liquids' first stir."""

    bay: NDArray[np.int64]
    row: NDArray[np.int64]
    station: NDArray[np.int64]
    liquids_in_s: NDArray[np.float64]
    filler_in_s: NDArray[np.float64]
    pour_s: NDArray[np.float64]
    raked_s: NDArray[np.float64]
    smoothed_s: NDArray[np.float64]
    tied_in_s: NDArray[np.float64]
    """When the open edge is met all along; NaN where it never is: a bay's last row."""
    broadcast_s: NDArray[np.float64]

    @property
    def last_s(self) -> float:
        """When the last grain has fallen."""
        return float(np.max(self.broadcast_s))


def lay_out(room: Room, job: Job, *, bays: int) -> PourLayout:
    """Cut a floor into bays, rows and whole kits."""
    card: SlurryCard = job.cards.slurry
    thickness_m = job.materials.laid_m
    needed_m3 = room.area_m2 * (1.0 + job.materials.waste) * thickness_m
    if room.outline is not None:
        return _cut_to_shape(room, room.outline, job, bays=bays, needed_m3=needed_m3)
    kits_per_bay = max(1, math.ceil(needed_m3 / bays / card.mixed_yield_m3 - _EPS))
    bay_width_m = room.width_m / bays
    # What a bucket really covers once the kits are rounded up and waste is lost.
    area_per_bucket_m2 = room.area_m2 / (kits_per_bay * bays)
    least = math.ceil(job.pace.row_depth_min_m * bay_width_m / area_per_bucket_m2 - _EPS)
    buckets_per_row = min(max(1, least), kits_per_bay)
    return PourLayout(
        room=room.name,
        bays=bays,
        bay_width_m=bay_width_m,
        kits_per_bay=kits_per_bay,
        buckets_per_row=buckets_per_row,
        row_depth_m=buckets_per_row * area_per_bucket_m2 / bay_width_m,
        area_per_bucket_m2=area_per_bucket_m2,
        thickness_m=thickness_m,
        slurry_needed_m3=needed_m3,
        edge_m=room.edge_m,
    )


def _cut_to_shape(
    room: Room, outline: Outline, job: Job, *, bays: int, needed_m3: float
) -> PourLayout:
    kit_m2 = job.cards.slurry.mixed_yield_m3 * room.area_m2 / needed_m3
    cut = cut_outline(
        outline, bays=bays, kit_m2=kit_m2, row_depth_min_m=job.pace.row_depth_min_m
    )
    return PourLayout(
        room=room.name,
        bays=cut.bays,
        bay_width_m=cut.front_m,
        kits_per_bay=int(np.bincount(cut.bay).max()),
        buckets_per_row=cut.buckets_per_row,
        row_depth_m=cut.row_depth_m,
        area_per_bucket_m2=float(cut.area_m2.max()),
        thickness_m=job.materials.laid_m,
        slurry_needed_m3=needed_m3,
        edge_m=room.edge_m,
        cut=cut,
    )


def patches_of(layout: PourLayout, room: Room) -> tuple[Patch, ...]:
    """What each bucket of a floor covers, as it is measured on site [m]."""
    if layout.cut is not None:
        return layout.cut.patches
    return rectangle_patches(
        length_m=room.length_m,
        width_m=room.width_m,
        bays=layout.bays,
        kits_per_bay=layout.kits_per_bay,
        buckets_per_row=layout.buckets_per_row,
    )


def ends_of(layout: PourLayout, room: Room) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Buckets of the first rows along the back wall, and of the last along the way out."""
    bay, row = layout.bay, layout.row
    tops = np.array([row[bay == b].max() for b in range(layout.bays)])
    first, last = row == 0, row == tops[bay]
    if layout.cut is not None and room.outline is not None:
        # A leg may end at a wall half-way, and a bay begin at a stop line.
        turn_rad = room.outline.turn_rad
        along = [
            [y * math.cos(turn_rad) - x * math.sin(turn_rad) for ring in patch for x, y in ring]
            for patch in layout.cut.patches
        ]
        low_m, high_m = np.array([min(at) for at in along]), np.array([max(at) for at in along])
        near_m = 0.5 * layout.row_depth_m
        begins = np.array([low_m[bay == b].min() for b in range(layout.bays)])
        reaches = np.array([high_m[bay == b].max() for b in range(layout.bays)])
        first &= begins[bay] <= low_m.min() + near_m
        last &= reaches[bay] >= high_m.max() - near_m
    return np.flatnonzero(first), np.flatnonzero(last)


def cadence_of(layout: PourLayout, card: SlurryCard, *, crew: Crew, pace: Pace) -> Cadence:
    """Interval between pours: the slowest of mixing, haul, rake, smooth, broadcast, edge.

    The edge hand may lag behind a bucket that lies along much of a wall, and catches up.
    """
    if crew.shares:
        return _shared_cadence(layout, card, crew=crew, pace=pace)
    area_m2 = layout.area_per_bucket_m2
    cycle_s = card.liquids_mix_s + card.filler_mix_s + card.turnaround_s
    stations = min(crew.stations, crew.mixer)
    broadcast_s = area_m2 / (pace.broadcast_m2_s * crew.broadcaster)
    tasks = {
        "mixing": cycle_s / stations,
        "haul": 2.0 * pace.haul_s / crew.runner,
        "rake": area_m2 / (pace.rake_m2_s * crew.rake),
        "smooth": area_m2 / (pace.smooth_m2_s * crew.smoother),
        "broadcast": broadcast_s,
        "edge": layout.edge_m / layout.kits / (pace.edge_m_s * max(1, crew.edge)),
    }
    limit = max(tasks, key=lambda task: tasks[task])
    return Cadence(
        interval_s=tasks[limit],
        limit=limit,
        mixing_s=tasks["mixing"],
        haul_s=pace.haul_s,
        rake_s=tasks["rake"],
        smooth_s=tasks["smooth"],
        broadcast_s=broadcast_s,
        edge_s=tasks["edge"],
        strip_s=broadcast_s * min(1.0, BARE_STRIP_M / layout.strip_row_m),
    )


def _shared_cadence(layout: PourLayout, card: SlurryCard, *, crew: Crew, pace: Pace) -> Cadence:
    """The same where what one pair of hands does for a bucket adds up."""
    area_m2 = layout.area_per_bucket_m2
    tasks = Tasks(
        mix_s=card.liquids_mix_s + card.filler_mix_s,
        turnaround_s=card.turnaround_s,
        haul_s=pace.haul_s,
        rake_s=area_m2 / pace.rake_m2_s,
        smooth_s=area_m2 / pace.smooth_m2_s,
        broadcast_s=area_m2 / pace.broadcast_m2_s,
        edge_s=layout.edge_m / layout.kits / pace.edge_m_s,
    )
    shared = shared_rhythm(crew, tasks)
    broadcast_s = shared.share_s("broadcaster", tasks)
    return Cadence(
        interval_s=shared.interval_s,
        limit=shared.limit,
        mixing_s=shared.share_s("mixer", tasks),
        haul_s=pace.haul_s,
        rake_s=shared.share_s("rake", tasks),
        smooth_s=shared.share_s("smoother", tasks),
        broadcast_s=broadcast_s,
        edge_s=shared.share_s("edge", tasks),
        strip_s=broadcast_s * min(1.0, BARE_STRIP_M / layout.strip_row_m),
        shared=shared,
    )


def relative_times(
    layout: PourLayout, card: SlurryCard, cadence: Cadence, *, stations: int, bay_turn_s: float
) -> PourTimes:
    """When each thing is done to each bucket, counted from the first stir.

    In the steady rhythm nothing queues, because no task is slower than the interval;
    only the last row's grains do, which fall after the strips that waited for it.
    """
    kits, bay = layout.kits, layout.bay
    number = np.arange(kits)
    shared = cadence.shared
    if shared is not None:
        # Hands that go from one thing to the next in a fixed round lose whole rounds.
        bay_turn_s = math.ceil(bay_turn_s / cadence.interval_s - _EPS) * cadence.interval_s
    liquids_in = number * cadence.interval_s + bay * bay_turn_s
    filler_in = liquids_in + card.liquids_mix_s
    pour = filler_in + card.filler_mix_s + cadence.haul_s
    raked = (pour if shared is None else liquids_in + shared.rake_at_s) + cadence.rake_s
    smoothed = raked if shared is None else liquids_in + shared.smooth_at_s
    smoothed = smoothed + cadence.smooth_s
    met = met_by(layout)
    return PourTimes(
        bay=bay,
        row=layout.row,
        station=number % stations,
        liquids_in_s=liquids_in,
        filler_in_s=filler_in,
        pour_s=pour,
        raked_s=raked,
        smoothed_s=smoothed,
        tied_in_s=np.where(met < 0, np.nan, raked[met]),
        broadcast_s=broadcast_ends_s(
            smoothed,
            met,
            strip_s=np.full(kits, cadence.strip_s),
            broadcast_s=np.full(kits, cadence.broadcast_s),
            turns_s=None if shared is None else liquids_in + shared.broadcast_at_s,
        ),
    )


def met_by(layout: PourLayout) -> NDArray[np.int64]:
    """Which bucket closes each bucket's open edge, once raked; -1 where nothing comes after.

    Bucket j + n, straight ahead, n buckets a row. A last row of fewer is as wide as the
    bay all the same, each of its patches wider and less deep: an edge is closed when the
    last of the patches before it is raked.

    Examples
    --------
    >>> five = PourLayout(room="A", bays=1, bay_width_m=4.0, kits_per_bay=5,
    ...     buckets_per_row=3, row_depth_m=0.9, area_per_bucket_m2=1.2,
    ...     thickness_m=0.004, slurry_needed_m3=0.02)
    >>> met_by(five).tolist()  # two halves before three thirds
    [3, 4, 4, -1, -1]
    """
    if layout.cut is not None:
        return layout.cut.met
    per_bay, per_row = layout.kits_per_bay, layout.buckets_per_row
    bay_first, within = np.divmod(np.arange(layout.kits), per_bay)
    row, place = np.divmod(within, per_row)
    # Of the next row's `across` equal patches, the last that reaches into this one's share.
    across = np.minimum(per_row, per_bay - (row + 1) * per_row)
    reaches = ((place + 1) * across + per_row - 1) // per_row - 1
    ahead = bay_first * per_bay + (row + 1) * per_row + reaches
    return np.where(row + 1 < layout.rows_per_bay, ahead, -1)


def broadcast_ends_s(
    smoothed_s: NDArray[np.float64],
    met: NDArray[np.int64],
    *,
    strip_s: NDArray[np.float64],
    broadcast_s: NDArray[np.float64],
    turns_s: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """When the last grain has fallen on each patch, by hands that do one thing at a time.

    As a patch is smooth, first the strips that waited for it, oldest first, then itself,
    but for its own strip. Hands that do other things as well come at their turns, as long
    as a patch takes; after the last bucket they have nothing else to do.
    """
    ends_s = np.empty_like(smoothed_s)
    free_s, over_s = -np.inf, np.inf
    waiting: list[tuple[int, float, bool]] = []
    for patch, smooth_s in enumerate(smoothed_s):
        strips = np.flatnonzero(met == patch).tolist()
        waiting += [(strip, float(strip_s[strip]), True) for strip in strips]
        bare_s = 0.0 if met[patch] < 0 else strip_s[patch]
        waiting.append((patch, float(broadcast_s[patch] - bare_s), bool(met[patch] < 0)))
        free_s = max(free_s, float(smooth_s))
        if turns_s is not None:
            free_s = max(free_s, float(turns_s[patch]))
            last = patch + 1 == smoothed_s.size
            over_s = np.inf if last else float(turns_s[patch] + broadcast_s[patch])
        while waiting and free_s < over_s - _EPS:
            strip, left_s, final = waiting.pop(0)
            done_s = min(left_s, over_s - free_s)
            free_s += done_s
            if done_s < left_s - _EPS:
                waiting.insert(0, (strip, left_s - done_s, final))
            elif final:
                ends_s[strip] = free_s
    return ends_s
