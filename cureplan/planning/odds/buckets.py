"""What becomes of a pour's buckets, night by night: kept, cut at a stop line, or lost."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from cureplan.planning.floor.layout import met_by
from cureplan.planning.floor.pour import BINDINGS, RoomPours
from cureplan.planning.odds.margins import Margins
from cureplan.planning.odds.nights import Nights, Visit
from cureplan.planning.schedule.placing import OPEN_EDGE, PlacedPour

__all__ = ["UNNOTICED_S", "PourKept", "kept_buckets"]

UNNOTICED_S = 60.0
"""A wait that nobody would note down: invented."""

_OPEN = tuple(BINDINGS.index(clock) for clock in OPEN_EDGE)

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


class PourKept(NamedTuple):
    """What becomes of a pour, night by night."""

    kept: Flags
    """Which buckets keep all three clocks, shape (nights, buckets)."""
    cut: Flags
    """The mixing stopped for long, and the pour could be ended at a stop line there."""
    stop_lost: Flags
    """The mixing stopped for long where none is: an edge was lost for that alone."""
    begun_kept: Flags
    """Every bucket that was poured before the odds were asked for keeps its clocks."""


def kept_buckets(
    pours: RoomPours,
    poured: PlacedPour,
    nights: Nights,
    visit: Visit,
    table: Margins,
    *,
    next_visit: Visit | None = None,
) -> PourKept:
    """The stay in the next room counts where its buckets melt into these."""
    stopped_s = nights.stop_s[poured.room].cumsum(axis=1)
    planned_s = poured.start_s + pours.plan(poured.option).times.pour_s
    at_s = np.minimum(visit.at_s(planned_s) + stopped_s, pours.conditions.last_s)
    # A late crew finds the slab and the air of a later hour.
    here, layout = pours.conditions, pours.plan(poured.option).layout
    slab_k = here.slab_under(at_s, layout.bay, layout.row)
    slab_k = slab_k - here.slab_under(planned_s, layout.bay, layout.row)
    air_k = here.air_at(at_s) - here.air_at(planned_s)
    margins_s = table.at(
        nights.kit_ln[poured.room, poured.own.layer.stage],
        energy=nights.energy["slurry"],
        iced_k=nights.iced_k,
        slab_k=slab_k
        + nights.error_k(nights.slab_k[poured.room], at_s)
        + nights.patches_k(poured.room, at_s.shape[1]),
        air_k=air_k + nights.error_k(nights.air_k[poured.room], at_s),
    )
    expected = poured.clocks
    due_s = expected.ends_s[:, 0] - np.where(
        np.isfinite(expected.margins_s[:, 0]), expected.margins_s[:, 0], np.nan
    )
    dragged_s = np.stack([visit.dragged_s(due) for due in np.nan_to_num(due_s, nan=-np.inf)])
    dragged_s = np.maximum(dragged_s - visit.dragged_s(planned_s), 0.0)
    seam = poured.seam if poured.seam is not None and poured.seam.wet else None
    if seam is not None and next_visit is not None:
        behind_s = visit.at_s(planned_s[seam.patches]) - planned_s[seam.patches]
        for clock in _OPEN:
            # Whoever came late to the next room, or waited for it, or stopped before.
            due = due_s[clock, seam.patches]
            late_s = next_visit.at_s(due) - due - behind_s - stopped_s[:, -1:]
            dragged_s[clock][:, seam.patches] = np.maximum(late_s, 0.0)
    without = margins_s - dragged_s >= 0.0
    # The open edge, and the strip of grains along it, wait for the bucket that meets them.
    met = met_by(layout)
    later_s = np.where(met < 0, 0.0, stopped_s[:, met] - stopped_s)
    if seam is not None:
        next_s = nights.stop_s[seam.next_room][:, : seam.closed_by + 1].sum(axis=1)
        to_end_s = stopped_s[:, -1:] - stopped_s[:, seam.patches]
        later_s[:, seam.patches] = to_end_s + next_s[:, None]
    with_stop = without.copy()
    for clock in _OPEN:
        with_stop[clock] = margins_s[clock] - dragged_s[clock] - later_s >= 0.0
    ended = np.zeros(nights.members, dtype=bool)
    if seam is not None:
        # A floor may end at its seam, as at a stop line.
        there = with_stop[:, :, seam.patches]
        ended = np.any(without[:, :, seam.patches] & ~there, axis=(0, 2))
        with_stop[:, :, seam.patches] = without[:, :, seam.patches]
    kept: Flags = np.asarray(with_stop.all(axis=0))
    unstopped: Flags = np.asarray(without.all(axis=0))
    lost = np.any(unstopped & ~kept, axis=1)
    cut = ended | _ended_at_a_bay(pours, poured, nights, margins_s - dragged_s)
    if pours.job.policy.cut_at == "row":
        kept, cut, lost = unstopped, cut | lost, np.zeros_like(lost)
    begun = kept[:, planned_s <= nights.known_s]
    return PourKept(
        kept=kept, cut=cut, stop_lost=lost, begun_kept=np.asarray(begun.all(axis=1))
    )


def _ended_at_a_bay(
    pours: RoomPours, poured: PlacedPour, nights: Nights, margins_s: Array
) -> Flags:
    """Nights in which the mixing stops between two bays for longer than an edge would wait."""
    bay = pours.plan(poured.option).layout.bay
    between = np.concatenate([[False], np.diff(bay) != 0])
    edge_s = np.minimum(
        margins_s[BINDINGS.index("wet_edge")], margins_s[BINDINGS.index("broadcast_closes")]
    ).min(axis=1)
    stops_s = nights.stop_s[poured.room][:, between]
    return np.asarray(np.any(stops_s > np.maximum(edge_s, UNNOTICED_S)[:, None], axis=1))
