"""Buckets and coats as ready texts: what is mixed, poured and laid when."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from cureplan.output.language import Voice
from cureplan.output.language.clean import one_line
from cureplan.output.view.view import State, margin_state
from cureplan.planning.plan.model import BucketPlan, CoatPlan, Plan, PrimerPlan

__all__ = [
    "BucketView",
    "CoatView",
    "PrimerView",
    "buckets",
    "coats",
    "met_by",
    "primers",
    "readiness",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class BucketView:
    """One bucket in words; its index is its place in the whole job."""

    index: int
    number: str
    bay: str
    row: str
    station: str
    liquids: str
    filler: str
    pour: str
    rake: str
    smooth: str
    tie: str
    broadcast: str
    margin: str
    state: State
    binding: str
    keeps: str
    iced: bool


def buckets(plan: Plan, voice: Voice, room: str) -> tuple[BucketView, ...]:
    """The buckets of one floor in the order they are mixed."""
    return tuple(
        _bucket(plan, voice, bucket, index)
        for index, bucket in enumerate(plan.buckets)
        if bucket.room == room
    )


def _bucket(plan: Plan, voice: Voice, bucket: BucketPlan, index: int) -> BucketView:
    tied = bucket.tied_in
    return BucketView(
        index=index,
        number=str(bucket.number),
        bay=str(bucket.bay),
        row=str(bucket.row),
        station=str(bucket.station),
        liquids=voice.at(bucket.liquids_in, "time"),
        filler=voice.at(bucket.filler_in, "time"),
        pour=voice.at(bucket.pour, "time"),
        rake=voice.at(bucket.raked_by, "time"),
        smooth=voice.at(bucket.smoothed_by, "time"),
        tie=voice.label("task.tie.none") if tied is None else voice.at(tied, "time"),
        broadcast=voice.at(bucket.broadcast_by, "time"),
        margin=voice.label("margin.cell", margin_min=bucket.margin_min),
        state=margin_state(plan, bucket.margin_min),
        binding=voice.word(bucket.binding),
        keeps=voice.show("keeps_frac", bucket.keeps_frac, "percent"),
        iced=bucket.chilled,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class CoatView:
    """One topcoat on one floor in words."""

    room: str
    number: int
    title: str
    opens: str
    closes: str
    start: str
    end: str
    window: str
    lay: str
    batches: str
    dew: str | None
    reason: str
    keeps: str


def coats(plan: Plan, voice: Voice) -> tuple[CoatView, ...]:
    """The coats in the order they are laid."""
    ordered: Sequence[CoatPlan] = sorted(plan.coats, key=lambda coat: coat.start)
    return tuple(_coat(voice, coat) for coat in ordered)


def _coat(voice: Voice, coat: CoatPlan) -> CoatView:
    dew = None
    if coat.dew_c is not None:
        dew = voice.label("coat.dew", slab_c=coat.slab_c, dew_c=coat.dew_c)
    return CoatView(
        room=one_line(coat.room),
        number=coat.coat,
        title=voice.label("coat.n", number=coat.coat),
        opens=voice.at(coat.opens, "up"),
        closes=voice.at(coat.closes),
        start=voice.at(coat.lay_at, "up"),
        end=_end_after(voice, coat.lay_at, coat.end),
        window=voice.label(
            "coat.window", opens_at=coat.opens.isoformat(), closes_at=coat.closes.isoformat()
        ),
        lay=voice.label(
            "coat.lay", start_at=coat.lay_at.isoformat(), end_at=coat.end.isoformat()
        ),
        batches=voice.label(
            "coat.batches",
            batches=coat.batches,
            volume_m3=coat.volume_m3,
            batch_s=coat.batch_minutes * 60,
            working_s=coat.batch_working_min * 60,
        ),
        dew=dew,
        reason=voice.say(coat.reason),
        keeps=voice.show("keeps_frac", coat.keeps_frac, "nights"),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class PrimerView:
    """One primer under one floor in words."""

    room: str
    start: str
    end: str
    roll: str
    opens: str
    closes: str
    window: str
    batches: str
    dew: str | None
    reason: str
    keeps: str


def primers(plan: Plan, voice: Voice) -> tuple[PrimerView, ...]:
    """The primers in the order they are rolled."""
    ordered = sorted(plan.primers, key=lambda primer: primer.start)
    return tuple(_primer(voice, primer) for primer in ordered)


def _primer(voice: Voice, primer: PrimerPlan) -> PrimerView:
    dew = None
    if primer.dew_c is not None:
        dew = voice.label("coat.dew", slab_c=primer.slab_c, dew_c=primer.dew_c)
    start_at, end_at = primer.start.isoformat(), primer.end.isoformat()
    roll = "primer.broadcast" if primer.broadcast else "primer.roll"
    return PrimerView(
        room=one_line(primer.room),
        start=voice.at(primer.start, "up"),
        end=_end_after(voice, primer.start, primer.end),
        roll=voice.label(roll, start_at=start_at, end_at=end_at),
        opens=voice.at(primer.slurry_opens, "up"),
        closes=voice.at(primer.slurry_closes),
        window=voice.label(
            "primer.window",
            opens_at=primer.slurry_opens.isoformat(),
            closes_at=primer.slurry_closes.isoformat(),
        ),
        batches=voice.label(
            "coat.batches",
            batches=primer.batches,
            volume_m3=primer.volume_m3,
            batch_s=primer.batch_minutes * 60,
            working_s=primer.batch_working_min * 60,
        ),
        dew=dew,
        reason=voice.say(primer.reason),
        keeps=voice.show("keeps_frac", primer.keeps_frac, "nights"),
    )


def readiness(plan: Plan, voice: Voice) -> tuple[str, ...]:
    """What must stand on every floor before anything is laid on it, to be ticked off."""
    primer, slurry = plan.job.cards.primer, plan.job.cards.slurry
    keyed = primer is not None and primer.broadcast_kg_m2 > 0
    lowest = slurry if primer is None else primer
    return (
        voice.label("ready.keyed" if keyed else "ready.profile"),
        voice.label("ready.moisture"),
        voice.label("ready.coatings"),
        voice.label("ready.drains"),
        voice.label(
            "ready.slab",
            limit_c=lowest.limits.slab_c[0],
            margin_k=plan.job.policy.dew_margin_k,
        ),
    )


def _end_after(voice: Voice, start: datetime, end: datetime) -> str:
    """The end, with its day only where that is not the day of the start."""
    same_day = start.astimezone(voice.zone).date() == end.astimezone(voice.zone).date()
    return voice.at(end, "time_up" if same_day else "up")


def met_by(plan: Plan, place: int) -> int | None:
    """Which bucket ties into this one: of its room the last that is poured by then; at a
    seam, of the room of its group that is poured next."""
    bucket = plan.buckets[place]
    tied = bucket.tied_in
    if tied is None:
        return None
    group = plan.job.room(bucket.room).group
    later = [
        (other.room == bucket.room, other.pour, after)
        for after, other in enumerate(plan.buckets)
        if other.pour > bucket.pour and other.pour <= tied
    ]
    own = [found for found in later if found[0]]
    if not own and group is not None:
        own = [f for f in later if plan.job.room(plan.buckets[f[2]].room).group == group]
    return max(own)[2] if own else None
