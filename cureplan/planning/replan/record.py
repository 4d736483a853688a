"""A finished job's record, from its plan and the log of its night.

What the plan expected of each clock that was seen to end, at the hour the bucket was
really mixed, with the interval the plan stated; what was watched; and the coats as ticked.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from statistics import NormalDist

from cureplan.core.errors import InputError
from cureplan.inputs.tables.night_log import ENDS, NightEvent
from cureplan.inputs.tables.record import ClockOutcome, CoatOutcome, FinishedJob
from cureplan.planning.plan.hours import instant
from cureplan.planning.plan.model import Plan
from cureplan.planning.replan.coats import coat_lines
from cureplan.planning.replan.estimate import Seen, night_prior, refuse_wild_ends, seen_in
from cureplan.planning.replan.job import plan_conditions, plan_rate
from cureplan.planning.replan.state import NightState, night_state
from cureplan.science.learning.setup import EYE_SD, watched_sd
from cureplan.science.learning.tonight import NightFit, SeenEnd, fit_night

__all__ = ["HOLDS_FRAC", "night_record"]

HOLDS_FRAC = 0.9
"""Share of cases an interval is meant to hold."""
_REACH = NormalDist().inv_cdf(0.5 + HOLDS_FRAC / 2.0)


def night_record(plan: Plan, events: Sequence[NightEvent]) -> FinishedJob:
    """What a plan expected and what the log saw.

    Not for a plan made on the night beside the one before it: it has learned from the
    night already, so give the plan the crew began with, and the whole log.
    """
    if not any(event.event in ENDS for event in events):
        raise InputError(
            "no clock was seen to end",
            cure=f'log when one went: "{", ".join(ENDS)}"',
            source=events[-1].source if events else None,
        )
    job = plan.job
    state = night_state(plan, events, now=events[-1].at)
    rate, conditions = plan_rate(plan), plan_conditions(plan)
    clocks = rate.of(job)
    seen = seen_in(job, events, state, conditions, clocks)
    prior = night_prior(
        job,
        clocks,
        conditions,
        seen.rooms,
        at_s=state.now_s,
        doubt_left=rate.card_doubt_frac,
    )
    # What thermometers alone say of slabs and kits; no clock that was seen to end.
    measured = fit_night(
        clocks=clocks,
        haul_s=job.pace.haul_s,
        prior=prior,
        buckets=seen.buckets,
        ends=(),
        slabs=seen.slabs,
        mixes=seen.mixes,
    )
    refuse_wild_ends(seen, measured)
    sd_frac = {(b.room, b.number): b.clocks_sd_frac for b in plan.buckets}
    outcomes = [
        _outcome(
            end,
            seen,
            poured_s=clocks.kit.filler_mix_s + job.pace.haul_s,
            measured=measured,
            sd_frac=sd_frac[seen.keys[end.bucket]],
        )
        for end in seen.ends
    ]
    return FinishedJob(
        job=job.site.name,
        card=job.cards.slurry.product or job.cards.slurry.key,
        finished=events[-1].at.astimezone(job.site.zone).replace(microsecond=0),
        holds_frac=HOLDS_FRAC,
        clocks=tuple(outcomes),
        coats=_coats(plan, state, events),
    )


def _coats(
    plan: Plan, state: NightState, events: Sequence[NightEvent]
) -> tuple[CoatOutcome, ...]:
    """Every coat that was ticked, in the plan's order."""
    batches = Counter(
        (line.room, line.coat)
        for line in coat_lines(plan, events)
        if line.event == "batch mixed"
    )
    return tuple(
        CoatOutcome(
            place=coat.room,
            coat=coat.coat,
            begun=instant(known.begun_s, plan.job.site.zone),
            expected_s=round((coat.end - coat.start).total_seconds(), 1),
            took_s=math.nan if known.laid_s is None else known.laid_s - known.begun_s,
            batches=batches[coat.room, coat.coat],
        )
        for coat in plan.coats
        if (known := state.coats.get((coat.room, coat.coat))) is not None and known.ticked
    )


def _outcome(
    end: SeenEnd,
    seen: Seen,
    *,
    poured_s: float,
    measured: NightFit,
    sd_frac: float,
) -> ClockOutcome:
    bucket = seen.buckets[end.bucket]
    room, number = seen.keys[end.bucket]
    expected_s = measured.as_planned_s(bucket, end.milestone)
    # The watch and the eye err as well; both are doubts of the logarithm.
    watched = watched_sd(EYE_SD, batch=-1, after_s=expected_s)
    spread = math.exp(_REACH * math.hypot(sd_frac, watched))
    kit_k, slab_k = measured.kit_k, measured.slab(bucket.room, along=bucket.along)[0]
    return ClockOutcome(
        milestone=end.milestone,
        place=room,
        batch=number,
        expected_s=round(expected_s, 1),
        soonest_s=round(expected_s / spread, 1),
        latest_s=round(expected_s * spread, 1),
        watched_s=round(end.after_s, 1),
        at_c=math.nan,
        liquids_c=round(bucket.liquids_c + kit_k, 2),
        filler_c=round(bucket.filler_c + kit_k, 2),
        air_c=round(bucket.air_c, 2),
        slab_c=round(bucket.slab_c + slab_k, 2),
        poured_s=poured_s,
        # Nobody read it: what outdoor air makes of a room is no reading to learn from.
        humidity_frac=math.nan,
    )
