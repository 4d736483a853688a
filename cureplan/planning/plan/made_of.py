"""What the doubt of a plan is made of: the odds were one thing after the other known."""

from __future__ import annotations

from collections.abc import Mapping
from typing import NamedTuple

from cureplan.core.clock import DAY_S
from cureplan.core.messages import Message
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.doubt import SLAB_SD_K, forecast_sd_k
from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.odds.nights import LATE_SD_S, TERMS
from cureplan.planning.odds.risk import Odds, assess
from cureplan.planning.plan.model import DoubtTerm
from cureplan.planning.schedule.outcome import Schedule, Stop, never

__all__ = ["MEASURES", "MadeOf", "made_of"]

MEASURES: Mapping[str, str] = {
    "slurry times": "time a bucket",
    "batch": "time a bucket",
    "coat times": "time a coat",
    "ice": "probe a pail",
    "slab": "read the slab",
    "half a room": "read both halves",
    "weather": "plan again",
    "stops": "spare drill",
}
"""What takes a term away, or most of it."""
AGE_TERMS = ("energy", "weather", "slab")
FEWEST, ROOM_NIGHTS = 100, 2000


class MadeOf(NamedTuple):
    """What the doubt is made of, and what it would cost were its tails heavier than taken."""

    terms: tuple[DoubtTerm, ...]
    tails_cost_frac: float


def made_of(
    job: Job,
    pours: Mapping[str, RoomPours],
    schedule: Schedule,
    odds: Odds,
    *,
    stop: Stop = never,
) -> MadeOf:
    """Every term that has a size, the one that costs most nights first; nothing true of
    them once somebody stops it.

    The nights are drawn as for `odds`. Terms do not add up: where two of them each lose
    the same night, taking one away saves nothing.
    """
    # Night by night against the same nights, so that fewer of them tell the difference.
    members = max(FEWEST, min(odds.members, ROOM_NIGHTS // len(pours)))

    def held_frac(*silent: str, heavy_tails: bool = False) -> float:
        if stop():
            return 0.0
        looked = assess(
            job, pours, schedule, issued_s=odds.issued_s, members=members, silent=silent,
            heavy_tails=heavy_tails, looked=odds.looked,
        )  # fmt: skip
        return looked.all_frac

    base_frac = held_frac()
    found = []
    # Ages last as long as weather, slabs and energies do: those come last.
    for term in sorted(TERMS, key=AGE_TERMS.count):
        size = _size(term, job, pours, schedule)
        if size is None:
            continue
        found.append(
            DoubtTerm(
                term=term,
                size=size,
                costs_frac=max(0.0, held_frac(term) - base_frac),
                measure=MEASURES.get(term),
            )
        )
    found.sort(key=lambda one: (-one.costs_frac, TERMS.index(one.term)))
    return MadeOf(
        terms=tuple(found),
        tails_cost_frac=max(0.0, base_frac - held_frac(heavy_tails=True)),
    )


def _size(
    term: str, job: Job, pours: Mapping[str, RoomPours], schedule: Schedule
) -> Message | None:
    """How large a term is; None where the plan has none of it."""
    doubt, some = job.doubt, next(iter(pours.values()))
    shares = {
        "slurry times": job.times_sd("slurry") * some.clocks.doubt_left_frac,
        "coat times": job.times_sd("topcoat"),
        "batch": some.clocks.spread_frac,
        "kit": doubt.kit,
    }
    if term in shares:
        return Message("made_of.share", {"off_frac": shares[term]}) if shares[term] else None
    if term == "ice" and not any(poured.option.chilled for poured in schedule.pours):
        return None
    read = [room.conditions.read is not None for room in pours.values()]
    return {
        "energy": Message("made_of.energy", {"off_frac": _energy_frac(some)}),
        "ice": Message("made_of.warmer", {"off_k": doubt.iced_k}),
        "stops": Message(
            "made_of.stops", {"every_n": doubt.stop_every, "lasts_s": doubt.stop_lasts_s}
        ),
        "weather": Message("made_of.day", {"off_k": float(forecast_sd_k(DAY_S))}),
        "slab": Message("made_of.slab", {"off_k": SLAB_SD_K, "read_n": sum(read)}),
        "half a room": Message("made_of.either", {"off_k": doubt.half_k}),
        "crew": Message("made_of.late", {"late_s": LATE_SD_S}),
    }[term]


def _energy_frac(some: RoomPours) -> float:
    """How far the card's energy may be off, as a share of it."""
    fit = some.clocks.fit
    return fit.energy_sd_j_mol / fit.activation_energy_j_mol
