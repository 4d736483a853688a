"""What the foreman must mind, and what the plan rests on."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import datetime
from itertools import pairwise
from typing import Literal

import numpy as np

from cureplan.core.messages import Message, Value
from cureplan.inputs.cards.model import AggregateCard, PrimerCard, SlurryCard, TopcoatCard
from cureplan.inputs.job.model import Job
from cureplan.planning.floor.ice import IceNeed
from cureplan.planning.plan.model import ChillPlan, CoatPlan, PrimerPlan, RoomPlan, Source
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour
from cureplan.weather.hours.series import Gap, HourlySeries

__all__ = ["plan_sources", "plan_warnings", "provenance", "shoe_warnings"]


def plan_warnings(
    job: Job,
    series: HourlySeries,
    *,
    rooms: Sequence[RoomPlan],
    coats: Sequence[CoatPlan],
    primers: Sequence[PrimerPlan],
    chill: ChillPlan,
    need: IceNeed,
    made_at: datetime,
) -> tuple[Message, ...]:
    """Everything worth a warning, gravest first."""
    return (
        *_pour_warnings(job, rooms),
        *_ice_warnings(job, chill, need, made_at),
        *_primer_warnings(primers),
        *_coat_warnings(coats),
        *_weather_warnings(job, series),
        *_card_warnings(job),
    )


def _pour_warnings(job: Job, rooms: Sequence[RoomPlan]) -> list[Message]:
    found = []
    for room in rooms:
        values: dict[str, Value] = {
            "room": room.room,
            "bucket": room.binding_bucket,
            "margin_min": room.margin_min,
        }
        if room.margin_min < 0:
            found.append(Message("warn.negative", values))
        elif room.margin_min * 60.0 < job.policy.margin_s - 0.5:
            # What holds as often as asked may be poured: it is the margin that is short.
            often = room.keeps_frac >= job.policy.confidence
            values["policy_margin_s"] = job.policy.margin_s
            found.append(Message("warn.margin" if often else "warn.short", values))
        elif room.sure_margin_min < 0:
            values = {"room": room.room, "keeps_frac": room.keeps_frac}
            found.append(Message("warn.sure_negative", values))
    reach_m = job.pace.row_depth_max_m
    found += [
        Message(
            "warn.row_deep",
            {"room": room.room, "row_depth_m": room.row_depth_m, "reach_m": reach_m},
        )
        for room in rooms
        if room.row_depth_m > reach_m
    ]
    for room in rooms:
        divided = [str(n) for n, patch in enumerate(room.patches, start=1) if len(patch) > 1]
        if divided:
            found.append(
                Message("warn.divided", {"room": room.room, "buckets": "; ".join(divided)})
            )
    return found


def _ice_warnings(
    job: Job, chill: ChillPlan, need: IceNeed, made_at: datetime
) -> list[Message]:
    if chill.in_ice_by is None or chill.measured:
        return []
    found = []
    at: dict[str, Value] = {"in_ice_at": chill.in_ice_by.isoformat()}
    if chill.in_ice_by < made_at:
        found.append(Message("warn.ice_passed", at))
    if not job.materials.stirred_in_ice:
        found.append(
            Message(
                "warn.ice_early",
                {"standing_h": chill.hours_standing, "stirred_h": chill.hours_stirred},
            )
        )
    elif np.isfinite(need.too_cold_s):
        found.append(
            Message(
                "warn.ice_too_long",
                {
                    "too_cold_s": need.too_cold_s,
                    "minimum_c": job.cards.slurry.coldest_liquids_c,
                },
            )
        )
    return found


def _primer_warnings(primers: Sequence[PrimerPlan]) -> list[Message]:
    return [
        Message(
            "warn.primer_slow",
            {
                "room": primer.room,
                "batch_min": primer.batch_minutes,
                "working_min": primer.batch_working_min,
            },
        )
        for primer in primers
        if primer.batch_minutes > primer.batch_working_min
    ]


def shoe_warnings(job: Job, schedule: Schedule) -> tuple[Message, ...]:
    """Which layers are laid in spiked shoes, on one that does not bear feet yet."""
    if not job.crew.spiked_shoes:
        return ()
    works: dict[str, list[PlacedCoat | PlacedPour]] = {}
    everything: tuple[PlacedCoat | PlacedPour, ...] = (
        *schedule.primers,
        *schedule.pours,
        *schedule.coats,
    )
    for placed in everything:
        works.setdefault(placed.room, []).append(placed)
    rooms: dict[str, list[str]] = {}
    for room, laid in works.items():
        for below, above in pairwise(laid):
            layer = (above.own if isinstance(above, PlacedPour) else above.work).layer
            if above.start_s < below.closed.ends_s:
                rooms.setdefault(layer.stage, []).append(room)
    return tuple(
        Message("warn.spiked", {"stage": stage, "rooms": "; ".join(names)})
        for stage, names in rooms.items()
    )


def _coat_warnings(coats: Sequence[CoatPlan]) -> list[Message]:
    found = [
        Message(
            "warn.batch_slow",
            {
                "room": coat.room,
                "coat": coat.coat,
                "batch_min": coat.batch_minutes,
                "working_min": coat.batch_working_min,
            },
        )
        for coat in coats
        if coat.batch_minutes > coat.batch_working_min
    ]
    if any(coat.dew_c is None for coat in coats):
        found.append(Message("warn.no_dew", {}))
    return found


def _weather_warnings(job: Job, series: HourlySeries) -> list[Message]:
    found = [_gap(job, gap) for gap in series.gaps if gap.mended == "no"]
    found += [Message("warn.weather_note", {"note": note}) for note in series.warnings]
    return found


def _gap(job: Job, gap: Gap) -> Message:
    return Message(
        "warn.gap",
        {
            "what": gap.what,
            "gap_at": gap.starts.astimezone(job.site.zone).isoformat(),
            "hours": gap.hours,
        },
    )


def _card_warnings(job: Job) -> list[Message]:
    generic = [card.title for card in _cards(job) if card.generic]
    return [Message("warn.generic", {"cards": "; ".join(generic)})] if generic else []


def _cards(job: Job) -> tuple[SlurryCard | TopcoatCard | AggregateCard | PrimerCard, ...]:
    """Every card the plan rests on."""
    cards = job.cards
    named = (cards.slurry, cards.topcoat, cards.aggregate, cards.primer)
    return tuple(card for card in named if card is not None)


def plan_sources(job: Job, series: HourlySeries) -> tuple[Source, ...]:
    """Where weather, cards and assumptions came from, with their licences."""
    weather = [
        Source(
            kind="weather",
            label=f"{origin.label}: {origin.attribution}"
            if origin.attribution
            else origin.label,
            licence=origin.licence or None,
            generic=False,
            detail=Message("source.weather", {"kind": origin.kind}),
        )
        for origin in series.origins
    ]
    # A gap that was mended is worth a note, one that was not is worth a warning.
    mended = (_gap(job, gap) for gap in series.gaps if gap.mended != "no")
    notes = [
        _source("note", Message("source.note", {"note": note}))
        for note in (*series.notes, *mended)
    ]
    cards = [
        Source(
            kind="card",
            label=card.title,
            licence=None,
            generic=card.generic,
            detail=Message("source.card", {"provenance": provenance(card.provenance.values())}),
        )
        for card in _cards(job)
    ]
    read = [room.name for room in job.rooms if room.slab_reading is not None]
    history_h = (job.access.begins.timestamp() - float(series.epoch_s[0])) / 3600.0
    known = [
        Message("source.slab", {"history_h": history_h}),
        *([Message("source.slab_read", {"rooms": "; ".join(read)})] if read else []),
        Message("source.indoor_dew", {}),
        Message("source.pace", {}),
        Message("source.ice", {}),
    ]
    assumed = [_source("assumption", say) for say in known]
    taken = tuple(note for note in job.notes if note.code in ("job.default", "job.own"))
    if taken:
        assumed.append(_source("default", Message("source.defaults", {"taken": taken})))
    return (*weather, *notes, *cards, *assumed)


def _source(kind: Literal["note", "assumption", "default"], detail: Message) -> Source:
    """One whose detail says it all."""
    label = detail.code.partition(".")[2]
    return Source(kind=kind, label=label, licence=None, generic=False, detail=detail)


def provenance(values: Iterable[str]) -> tuple[Message, ...]:
    """Where a card's values come from, each origin once; those we wrote, in any language.

    Examples
    --------
    >>> provenance(["invented", "common practice", "invented"])[0].values
    {'text': 'common practice'}
    """
    return tuple(_origin(text) for text in sorted(set(values)))


def _origin(text: str) -> Message:
    fitted = re.fullmatch(r"(.+: fitted \S+) from (\d+) readings?", text)
    if fitted:
        source = fitted[1].replace(": fitted", "").strip()
        return Message("origin.fitted", {"source": source, "readings": int(fitted[2])})
    return Message("origin.stated", {"text": text})
