"""What the plan rests on and how sure it is, as ready texts."""

from __future__ import annotations

from dataclasses import dataclass

from cureplan.plan import Alternative, HourRow, Plan, Source
from cureplan.sheets.view import State, buys_text, margin_state
from cureplan.sheets.words import Voice
from cureplan.sheets.words.clean import one_line

__all__ = [
    "AlternativeView",
    "HourView",
    "SourceView",
    "alternatives",
    "hours",
    "risk_lines",
    "sources",
]


_ALL_SAID = ("note", "assumption", "default", "record")


@dataclass(frozen=True, slots=True, kw_only=True)
class AlternativeView:
    """Something the job does not allow by itself, and what it would buy."""

    what: str
    buys: str
    then: str
    state: State | None


def alternatives(plan: Plan, voice: Voice) -> tuple[AlternativeView, ...]:
    """What else would help."""
    return tuple(_alternative(plan, voice, item) for item in plan.decisions.alternatives)


def _alternative(plan: Plan, voice: Voice, item: Alternative) -> AlternativeView:
    buys = then = ""
    state = None
    if item.buys_min is not None:
        buys = buys_text(voice, item.buys_min)
    if item.margin_min is not None:
        short = ".short" if item.margin_min < 0 else ""
        then = voice.label(f"alternative.margin{short}", margin_min=item.margin_min)
        state = margin_state(plan, item.margin_min)
    what = voice.say(item.what)
    if item.room is not None and one_line(item.room) not in what:
        what = f"{one_line(item.room)}: {what}"
    if item.also is not None:
        what = f"{what}, {voice.say(item.also)}"
    return AlternativeView(what=what, buys=buys, then=then, state=state)


@dataclass(frozen=True, slots=True, kw_only=True)
class HourView:
    """One full hour: outdoors and in each room."""

    at: str
    outdoor: str
    dew: str
    origin: str
    rooms: tuple[tuple[str, str], ...]


def hours(plan: Plan, voice: Voice) -> tuple[HourView, ...]:
    """The hours of the job; rooms in the order in which the first hour names them."""
    return tuple(_hour(voice, row) for row in plan.hours)


def _hour(voice: Voice, row: HourRow) -> HourView:
    return HourView(
        at=voice.at(row.at),
        outdoor=voice.show("outdoor_c", row.outdoor_c),
        dew=voice.show("dew_c", row.dew_c),
        origin=f"{one_line(row.origin)} ({voice.word(row.kind)})",
        rooms=tuple(
            (voice.show("air_c", room.air_c), voice.show("slab_c", room.slab_c))
            for room in row.rooms
        ),
    )


def risk_lines(plan: Plan, voice: Voice) -> tuple[str, ...]:
    """How often the plan would hold, and how that was counted."""
    risk = plan.risk
    shares = (
        ("buckets", risk.buckets_keep_frac),
        ("coats", risk.coats_keep_frac),
        ("opens", risk.opens_on_time_frac),
        ("all", risk.all_keep_frac),
    )
    lines = [voice.label(f"risk.{key}", keeps_frac=share) for key, share in shares]
    lines.append(
        voice.label(
            "risk.how",
            members=risk.members,
            forecast_k=risk.forecast_sd_k,
            slab_k=risk.slab_sd_k,
            late_min=risk.late_sd_min,
            seed=risk.seed,
        )
    )
    return tuple(lines)


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceView:
    """Where something the plan rests on came from; an assumption's detail says it all."""

    kind: str
    label: str
    licence: str
    generic: bool
    detail: str


def sources(plan: Plan, voice: Voice) -> tuple[SourceView, ...]:
    """What the plan rests on."""
    return tuple(_source(voice, source) for source in plan.sources)


def _source_label(voice: Voice, source: Source) -> str:
    if source.kind in _ALL_SAID and source.detail is not None:
        return ""
    return voice.word_or_text(source.label)


def _source(voice: Voice, source: Source) -> SourceView:
    licence = ""
    if source.licence is not None:
        licence = voice.label("licence", licence=source.licence)
    return SourceView(
        kind=voice.label(f"source.{source.kind}"),
        label=_source_label(voice, source),
        licence=licence,
        generic=source.generic,
        detail="" if source.detail is None else voice.say(source.detail),
    )
