"""What the sheet shows of loads and of what the plan rests on."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from cureplan.core.messages import Value
from cureplan.output.language import Voice
from cureplan.output.language.clean import one_line
from cureplan.output.view.view import State, buys_text, margin_state
from cureplan.planning.plan.arrivals import (
    arrivals_of,
    labour_of,
    sooner_than_needed_s,
    stays_min,
)
from cureplan.planning.plan.model import (
    Alternative,
    Arrival,
    ChillRoom,
    HourRow,
    Plan,
    Source,
    Stop,
    TakeoffRoom,
)

__all__ = [
    "AlternativeView",
    "ArrivalView",
    "HourView",
    "IceView",
    "LoadView",
    "SourceView",
    "alternatives",
    "arrival_views",
    "best_measure",
    "doubt_rows",
    "hours",
    "ice",
    "ice_lines",
    "labour_line",
    "load",
    "load_total",
    "order_lines",
    "risk_lines",
    "sources",
    "who_comes",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class ArrivalView:
    """Who comes when, what for, and until when."""

    role_keys: tuple[str, ...]
    who: str
    roles: str
    people: str
    at: str
    leaves: str
    hours: str
    stops: tuple[tuple[str, str], ...]
    """A room and what is done there from when to when."""
    rooms: str
    breaks: str


def arrival_views(plan: Plan, voice: Voice) -> tuple[ArrivalView, ...]:
    """Everybody's arrivals, in the order of the clock."""
    iced = {room.room: room for room in plan.chill.rooms}
    return tuple(_arrival(voice, arrival, iced) for arrival in arrivals_of(plan))


def _arrival(voice: Voice, arrival: Arrival, iced: Mapping[str, ChillRoom]) -> ArrivalView:
    # The crew that lays the coats vacuums as well.
    vacuums = ("vacuum",) if "topcoat" in arrival.roles else ()
    coves = any(stop.stage == "cove" for stop in arrival.stops)
    breaks = (
        voice.label("calls.break", from_at=b.begins.isoformat(), to_at=b.ends.isoformat())
        for b in arrival.breaks
    )
    return ArrivalView(
        role_keys=(*arrival.roles, *vacuums),
        who=who_comes(voice, arrival),
        # A doubt of the plan has the plain word.
        roles=", ".join(
            voice.word("stage.ice" if what == "ice" else what)
            for what in (*arrival.roles, *(("stage.cove",) if coves else ()))
        ),
        people=str(arrival.people),
        at=voice.at(arrival.call),
        leaves=voice.at(arrival.leaves, "time_up"),
        hours=voice.show("stays_s", 60.0 * stays_min(arrival), "up"),
        stops=tuple((one_line(s.room), _stop(voice, arrival, s, iced)) for s in arrival.stops),
        rooms=", ".join(dict.fromkeys(one_line(stop.room) for stop in arrival.stops)),
        breaks=", ".join(breaks),
    )


def who_comes(voice: Voice, arrival: Arrival) -> str:
    """A person's name; or a role, and how many of it."""
    if arrival.named:
        return one_line(arrival.who)
    return f"{voice.word(arrival.who)} × {arrival.people}"


def _stop(voice: Voice, arrival: Arrival, stop: Stop, iced: Mapping[str, ChillRoom]) -> str:
    if stop.stage == "ice":
        return _pails(voice, stop, iced.get(stop.room))
    code = "calls.pour" if stop.stage == "pour" else "calls.stop"
    text = voice.label(
        code,
        stage=f"stage.{stop.stage}",
        first=voice.at(stop.first_task, "time"),
        last=voice.at(stop.last_task, "time_up"),
    )
    poured = arrival.named and stop.stage == "pour"
    return f"{voice.word(stop.role)} {text}" if poured else text


def _pails(voice: Voice, stop: Stop, room: ChillRoom | None) -> str:
    """By when pails go in ice, and whether they are stirred there."""
    by = stop.last_task
    if room is not None and room.in_ice_by == room.in_ice_by_stirred:
        stir = max(by, room.in_ice_by_stirred)
        return voice.label("calls.ice_stir", by_at=by.isoformat(), stir_at=stir.isoformat())
    soon = by if room is None else room.in_ice_by_stirred
    said: dict[str, Value] = {"by_at": by.isoformat(), "stirred_at": soon.isoformat()}
    if room is not None and (sooner_s := sooner_than_needed_s(stop, room)):
        return voice.label("calls.ice_sooner", sooner_s=sooner_s, **said)
    return voice.label("calls.ice", **said)


def labour_line(plan: Plan, voice: Voice) -> str:
    """Heads and person-hours."""
    labour = plan.labour or labour_of(plan.job, arrivals_of(plan))
    return voice.label(
        "calls.total", heads=labour.heads, work_s=round(3600.0 * labour.person_hours)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class IceView:
    """Ice for one floor."""

    room: str
    kits: str
    ice: str
    by: str
    by_stirred: str
    needed: str
    from_to: str
    gain: str
    gain_parts: str
    sweats: bool


def ice(plan: Plan, voice: Voice) -> tuple[IceView, ...]:
    """Floors whose liquids go into ice, the earliest first."""
    ordered = sorted(plan.chill.rooms, key=lambda room: room.in_ice_by)
    return tuple(_ice(voice, room) for room in ordered)


def _ice(voice: Voice, room: ChillRoom) -> IceView:
    return IceView(
        room=one_line(room.room),
        kits=str(room.kits),
        ice=voice.show("ice_kg", room.ice_kg),
        by=voice.at(room.in_ice_by),
        by_stirred=voice.at(room.in_ice_by_stirred),
        needed=voice.at(room.needed_at),
        from_to=voice.label("ice.from_to", from_c=room.from_c, to_c=room.to_c),
        gain=voice.show("gained_min", room.gained_min, "down"),
        gain_parts=voice.label(
            "ice.gain.parts",
            floor_min=room.gained_floor_min,
        ),
        sweats=room.sweats,
    )


def order_lines(plan: Plan, voice: Voice) -> tuple[str, ...]:
    """What to order, one line a material, and how rooms share the bags."""
    lines = [voice.say(line) for line in plan.takeoff.order]
    if len(plan.takeoff.rooms) > 1 and plan.takeoff.aggregate_bags:
        lines.append(voice.label("order.shared"))
    return tuple(lines)


def ice_lines(plan: Plan, voice: Voice) -> tuple[str, ...]:
    """What is to be said of the ice in all."""
    chill = plan.chill
    measured = voice.label("ice.measured") if chill.measured else ""
    if not chill.iced:
        return (voice.label("ice.no", liquids_c=chill.liquids_as_is_c, measured=measured),)
    lines = [
        voice.label("ice.total", ice_kg=chill.ice_kg, per_kit_kg=chill.ice_per_kit_kg),
        *_for_water(plan, voice),
        voice.label(
            "ice.how_long",
            liquids_c=chill.liquids_as_is_c,
            measured=measured,
            standing_h=chill.hours_standing,
            stirred_h=chill.hours_stirred,
        ),
    ]
    if any(room.sweats for room in chill.rooms):
        lines.append(voice.label("ice.sweats"))
    return tuple(lines)


def _for_water(plan: Plan, voice: Voice) -> Iterator[str]:
    """How much of it cools the bath itself, where there is water in it."""
    for_water_kg, materials = plan.chill.ice_for_water_kg, plan.job.materials
    if for_water_kg:
        yield voice.label("ice.water", for_water_kg=for_water_kg, water_c=materials.ice_water_c)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadView:
    """What one floor needs, or all of them together."""

    room: str
    area: str
    kits: str
    bags: str
    aggregate: str
    swept: str
    primer: str
    coats: tuple[str, ...]
    coats_sum: str
    ice: str
    left: str


def load(plan: Plan, voice: Voice) -> tuple[LoadView, ...]:
    """What to load, floor by floor."""
    return tuple(_load(voice, room) for room in plan.takeoff.rooms)


def _load(voice: Voice, room: TakeoffRoom) -> LoadView:
    pairs = zip(room.coat_batches, room.coat_volume_m3, strict=True)
    return LoadView(
        room=one_line(room.room),
        area=voice.show("area_m2", room.area_m2),
        kits=str(room.kits),
        bags=str(room.aggregate_bags),
        aggregate=voice.show("aggregate_kg", room.aggregate_kg),
        swept=voice.show("swept_kg", room.aggregate_swept_kg),
        primer=str(room.primer_batches),
        coats=tuple(
            f"{voice.label('batches', batches=batches)} ({voice.show('volume_m3', volume)})"
            for batches, volume in pairs
        ),
        coats_sum=" + ".join(str(batches) for batches in room.coat_batches) or "0",
        ice=voice.show("ice_kg", room.ice_kg) if room.ice_kg else voice.label("none"),
        left=voice.show("left_m3", room.slurry_left_m3),
    )


def load_total(plan: Plan, voice: Voice) -> LoadView:
    """What to load in all."""
    total = plan.takeoff
    return LoadView(
        room=voice.label("total"),
        area="",
        kits=str(total.kits),
        bags=str(total.aggregate_bags),
        aggregate=voice.show("aggregate_kg", total.aggregate_kg),
        swept="",
        primer=str(total.primer_batches),
        coats=(
            f"{voice.label('batches', batches=total.topcoat_batches)} "
            f"({voice.show('volume_m3', total.topcoat_m3)})",
        ),
        coats_sum=str(total.topcoat_batches),
        ice=voice.show("ice_kg", total.ice_kg) if total.ice_kg else voice.label("none"),
        left="",
    )


WORTH_FRAC = 0.005
"""What saves fewer nights is not worth a word: invented."""
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
    if item.chance_frac is not None and item.opens is not None:
        then = voice.label(
            "alternative.chance", keeps_frac=item.chance_frac, open_at=item.opens.isoformat()
        )
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
    """The hours of the job; rooms in the order in which the first hour names them.

    An origin is told where it changes.
    """
    found: list[HourView] = []
    last = ""
    for row in plan.hours:
        origin = f"{one_line(row.origin)} ({voice.word(row.kind)})"
        found.append(_hour(voice, row, "" if origin == last else origin))
        last = origin
    return tuple(found)


def _hour(voice: Voice, row: HourRow, origin: str) -> HourView:
    def degrees(value_c: float | None) -> str:
        return voice.show("temp_c", value_c).partition(" ")[0]

    return HourView(
        at=voice.at(row.at),
        outdoor=degrees(row.outdoor_c),
        dew=degrees(row.dew_c),
        origin=origin,
        rooms=tuple((degrees(room.air_c), degrees(room.slab_c)) for room in row.rooms),
    )


ALWAYS = 0.9995
"""Of drawn nights: then there is nothing to tell."""


def risk_lines(plan: Plan, voice: Voice) -> tuple[str, ...]:
    """How often the plan would hold, and how that was counted."""
    risk = plan.risk
    shares = (
        ("buckets", risk.buckets_keep_frac),
        ("coats", risk.coats_keep_frac),
        ("no_wait", risk.no_wait_frac),
        ("shifts", risk.shifts_keep_frac),
        *((("limits", risk.limits_keep_frac),) if risk.limits_keep_frac < ALWAYS else ()),
        ("opens", risk.opens_on_time_frac),
        ("all", risk.all_keep_frac),
    )
    lines = [voice.label(f"risk.{key}", keeps_frac=share) for key, share in shares]
    if risk.as_planned_frac is not None:
        lines.append(voice.label("risk.as_planned", keeps_frac=risk.as_planned_frac))
    if risk.cut_frac > 0:
        lines.append(voice.label("risk.cut", keeps_frac=risk.cut_frac))
    if risk.tails_cost_frac >= WORTH_FRAC:
        lines.append(voice.label("risk.tails", costs_frac=risk.tails_cost_frac))
    if risk.stop_lost_frac > 0:
        lines.append(voice.label("risk.stop_lost", keeps_frac=risk.stop_lost_frac))
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
class DoubtView:
    """One row of what the doubt is made of."""

    term: str
    size: str
    costs: str
    measure: str


def doubt_rows(plan: Plan, voice: Voice) -> tuple[DoubtView, ...]:
    """What the doubt is made of, what costs most first."""
    return tuple(
        DoubtView(
            term=voice.word(row.term),
            size=voice.say(row.size),
            costs=voice.show("costs_frac", row.costs_frac, "percent"),
            measure=voice.word(row.measure) if row.measure else "",
        )
        for row in plan.risk.made_of
    )


def best_measure(plan: Plan, voice: Voice) -> str:
    """The measurement that would save most nights; empty where none would save any."""
    for row in plan.risk.made_of:
        if row.measure and row.costs_frac >= WORTH_FRAC:
            return voice.label("made_of.best", measure=row.measure, costs_frac=row.costs_frac)
    return ""


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
