"""Who is called, what is loaded and what is iced, as ready texts."""

from __future__ import annotations

from dataclasses import dataclass

from cureplan.plan import Call, ChillRoom, Plan, TakeoffRoom
from cureplan.sheets.words import Voice
from cureplan.sheets.words.clean import one_line

__all__ = ["CallView", "IceView", "LoadView", "calls", "ice", "ice_lines", "load", "load_total"]


@dataclass(frozen=True, slots=True, kw_only=True)
class CallView:
    """Who must be there when."""

    role_key: str
    role: str
    people: str
    room: str
    stage: str
    call: str
    first: str
    last: str
    busy: str
    reason: str


def calls(plan: Plan, voice: Voice) -> tuple[CallView, ...]:
    """The calls in the order of the clock."""
    ordered = sorted(plan.calls, key=lambda call: (call.call, call.first_task))
    return tuple(_call(voice, call) for call in ordered)


def _call(voice: Voice, call: Call) -> CallView:
    return CallView(
        role_key=call.role,
        role=voice.word(call.role),
        people=str(call.people),
        room=one_line(call.room),
        stage=voice.word(f"stage.{call.stage}"),
        call=voice.at(call.call),
        first=voice.at(call.first_task, "time"),
        last=voice.at(call.last_task, "time_up"),
        busy=voice.show("busy_frac", call.busy_frac, "percent"),
        reason=voice.say(call.reason),
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


def ice_lines(plan: Plan, voice: Voice) -> tuple[str, ...]:
    """What is to be said of the ice in all."""
    chill = plan.chill
    measured = voice.label("ice.measured") if chill.measured else ""
    if not chill.iced:
        return (voice.label("ice.no", liquids_c=chill.liquids_as_is_c, measured=measured),)
    lines = [
        voice.label("ice.total", ice_kg=chill.ice_kg, per_kit_kg=chill.ice_per_kit_kg),
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


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadView:
    """What one floor needs, or all of them together."""

    room: str
    area: str
    kits: str
    bags: str
    stone: str
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
        stone=voice.show("stone_kg", room.aggregate_kg),
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
        stone=voice.show("stone_kg", total.aggregate_kg),
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
