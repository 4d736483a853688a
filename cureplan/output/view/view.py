"""What every sheet shows, as ready texts: one place for units, rounding and order.

The terminal and the page render these views; neither looks into the plan by itself, so
both say the same. Nothing is computed here that the plan does not hold.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Literal

from cureplan.output.language import Voice
from cureplan.output.language.clean import one_line
from cureplan.planning.plan.model import Answer, Plan, RemedyTry, RoomPlan, StartHour

__all__ = [
    "AnswerView",
    "RoomView",
    "StartView",
    "State",
    "TryView",
    "answers",
    "buys_text",
    "generic_notice",
    "margin_state",
    "margin_text",
    "rooms",
    "short_of_margin",
    "status_key",
    "status_state",
    "verdict_state",
    "voice_of",
]

# A sheet has no room for every hour of the job.
STARTS_SHOWN = timedelta(hours=2)
# Less than this nobody would notice.
SEEN_MIN = 0.1
State = Literal["kept", "tight", "short"]


def voice_of(plan: Plan, language: str | None = None, *, on_sheet: bool = False) -> Voice:
    """The voice a plan's sheets speak with; its first language unless told otherwise."""
    job = plan.job
    read_at = plan.decisions.made_at
    language = language or job.languages[0]
    return Voice.of_job(job, language, read_at=read_at, on_sheet=on_sheet)


def kept_as_expected(plan: Plan) -> bool:
    """Whether a plan short of policy is so by its chance alone: no limit breaks as expected."""
    states = {margin_state(plan, room.margin_min) for room in plan.rooms}
    return plan.status == "short of policy" and states == {"kept"} and not _late(plan)


def short_of_margin(plan: Plan) -> bool:
    """Whether a plan holds as often as asked and is short of policy by a margin alone: some
    time is in hand on the expected night, less than the job asks."""
    often = plan.risk.all_keep_frac >= plan.job.policy.confidence
    return often and plan.status == "short of policy" and status_state(plan) == "tight"


def _late(plan: Plan) -> bool:
    """Whether a layer or an opening comes too late on the expected night."""
    poured = {room.room: room.pour_start for room in plan.rooms}
    layers = [(coat.start, coat.closes) for coat in plan.coats]
    layers += [(poured[p.room], p.slurry_closes) for p in plan.primers if p.room in poured]
    late = any(start > closes for start, closes in layers)
    return late or any(room.opens > room.open_by for room in plan.rooms)


def chance_text(plan: Plan, voice: Voice) -> str:
    """How often all of it holds, against what the job asks."""
    return voice.label(
        "status.chance",
        keeps_frac=plan.risk.all_keep_frac,
        wanted_frac=plan.job.policy.confidence,
        members=plan.risk.members,
    )


def weakest_text(plan: Plan, voice: Voice) -> str:
    """What costs a plan the most of its chance, where it has less than the job asks."""
    if not plan.rooms or plan.risk.all_keep_frac >= plan.job.policy.confidence:
        return ""
    room = min(plan.rooms, key=lambda r: r.keeps_frac)
    bucket = min(plan.buckets_of(room.room), key=lambda b: b.keeps_frac)
    parts: list[tuple[float, str, dict[str, Any]]] = [
        (room.keeps_frac, "buckets", {"room": room.room, "bucket": bucket.number}),
        *((c.keeps_frac, "coat", {"room": c.room, "coat": c.coat}) for c in plan.coats),
        *((p.keeps_frac, "primer", {"room": p.room}) for p in plan.primers),
        (plan.risk.shifts_keep_frac, "shifts", {}),
        (plan.risk.opens_on_time_frac, "opening", {}),
        (plan.risk.limits_keep_frac, "limits", {}),
    ]
    keeps_frac, what, values = min(parts, key=lambda part: part[0])
    return voice.label(f"weakest.{what}", keeps_frac=keeps_frac, **values)


def status_key(plan: Plan) -> str:
    """The status as a label's key: "within", "unsure", "margin", "short" or "none"."""
    if kept_as_expected(plan):
        return "unsure"
    if short_of_margin(plan):
        return "margin"
    return {
        "within policy": "within",
        "short of policy": "short",
        "no feasible plan": "none",
    }[plan.status]


def status_state(plan: Plan) -> State:
    """The status as a shape: short as soon as one floor is."""
    least_min = min((room.margin_min for room in plan.rooms), default=0.0)
    return verdict_state(plan.status, least_min, late=_late(plan))


def verdict_state(status: str, least_margin_min: float, *, late: bool = False) -> State:
    """A plan's verdict as a shape: short where it loses a bucket, a layer or its opening on the
    expected night, tight where it only holds less often, or keeps less, than the job asks."""
    if status == "within policy":
        return "kept"
    lost = late or least_margin_min < 0
    return "short" if lost or status == "no feasible plan" else "tight"


def margin_state(plan: Plan, margin_min: float) -> State:
    """Kept, tight (less than the policy asks), or short (less than nothing)."""
    if margin_min < 0:
        return "short"
    # A plan made to keep exactly the policy must not read as tight by a rounding error.
    return "kept" if margin_min * 60 >= plan.job.policy.margin_s - 1e-6 else "tight"


def margin_text(voice: Voice, margin_min: float) -> str:
    """Such as "2 min in hand" or "3 min short"."""
    key = "margin.short" if margin_min < 0 else "margin.kept"
    return voice.label(key, margin_min=margin_min)


def buys_text(voice: Voice, buys_min: float) -> str:
    """What something buys in whole minutes, or in words where that would be none."""
    if buys_min >= 1.0:
        return voice.label("try.buys", buys_min=buys_min)
    if buys_min >= SEEN_MIN:
        return voice.label("try.little")
    if buys_min > -SEEN_MIN:
        return voice.label("try.nothing")
    return voice.label("try.costs", buys_min=buys_min)


@dataclass(frozen=True, slots=True, kw_only=True)
class AnswerView:
    """One of the three answers in words."""

    number: int
    key: str
    title: str
    headline: tuple[str, ...]
    rooms: tuple[str, ...]
    """Floors whose own lines stand in the headline; a narrow sheet shows them as rows."""
    reasons: tuple[str, ...]
    doubt: str

    @property
    def lines(self) -> tuple[str, ...]:
        """The headline without the floors' own lines."""
        return self.headline[: len(self.headline) - len(self.rooms)]


_ANSWER_KEYS = {"order and start": "order", "ice": "ice", "way back": "back"}


def answers(plan: Plan, voice: Voice) -> tuple[AnswerView, ...]:
    """The three answers, in their order."""
    return tuple(
        _answer(voice, answer, number)
        for number, answer in enumerate(plan.decisions.answers, start=1)
    )


def _answer(voice: Voice, answer: Answer, number: int) -> AnswerView:
    of_rooms = [line for line in answer.headline if {"order", "room"} <= line.values.keys()]
    others = [line for line in answer.headline if line not in of_rooms]
    key = _ANSWER_KEYS[answer.question]
    return AnswerView(
        number=number,
        key=key,
        title=voice.label(f"answer.{key}"),
        headline=tuple(voice.say(line) for line in (*others, *of_rooms)),
        rooms=tuple(str(line.values["room"]) for line in of_rooms),
        reasons=tuple(voice.say(line) for line in answer.reasons),
        doubt=voice.say(answer.doubt),
    )


def generic_notice(plan: Plan) -> bool:
    """Whether the sheet must say that materials are generic; not twice, if a warning does."""
    warned = any(warning.code == "warn.generic" for warning in plan.warnings)
    return not warned and any(source.generic for source in plan.sources)


@dataclass(frozen=True, slots=True, kw_only=True)
class TryView:
    """What some remedies would do for one floor."""

    what: str
    buys: str
    margin: str
    state: State
    adopted: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class StartView:
    """A floor's margin were its first bucket mixed at another hour."""

    at: str
    as_is: str
    as_is_state: State
    iced: str
    iced_state: State
    in_shift: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class RoomView:
    """One floor in words; `room` is its key in the plan, `name` what is shown."""

    index: int
    room: str
    order: str
    name: str
    pour: str
    area: str
    kits: str
    start: str
    end: str
    margin: str
    margin_line: str
    margin_short: str
    state: State
    keeps: str
    limit: str
    remedies: tuple[str, ...]
    as_is: str
    tries: tuple[TryView, ...]
    starts: tuple[StartView, ...]
    details: tuple[str, ...]
    reasons: tuple[str, ...]
    ladder: tuple[tuple[str, str], ...]
    walk: str
    opens: str
    needed: str
    late: bool


def rooms(plan: Plan, voice: Voice) -> tuple[RoomView, ...]:
    """The floors in the order they are poured."""
    ordered = sorted(plan.rooms, key=lambda room: room.order)
    return tuple(_room(plan, voice, room, index) for index, room in enumerate(ordered))


def _room(plan: Plan, voice: Voice, room: RoomPlan, index: int) -> RoomView:
    return RoomView(
        index=index,
        room=room.room,
        order=str(room.order),
        name=one_line(room.room),
        pour=voice.label(
            "room.pour",
            kits=room.kits,
            start_at=room.pour_start.isoformat(),
            end_at=room.pour_end.isoformat(),
        ),
        area=voice.show("area_m2", room.area_m2),
        kits=str(room.kits),
        start=voice.at(room.pour_start),
        end=voice.at(room.pour_end, "time"),
        margin=margin_text(voice, room.margin_min),
        margin_line=voice.label(
            f"room.margin.{margin_state(plan, room.margin_min)}",
            margin_min=room.margin_min,
            limit=room.binding,
        ),
        margin_short=voice.show("margin_min", room.margin_min),
        state=margin_state(plan, room.margin_min),
        keeps=voice.show("keeps_frac", room.keeps_frac, "percent"),
        limit=voice.word(room.binding),
        remedies=tuple(voice.word(remedy) for remedy in room.remedies),
        as_is=margin_text(voice, room.as_is_margin_min),
        starts=tuple(
            _start(plan, voice, start)
            for start in room.starts
            if abs(start.at - room.pour_start) <= STARTS_SHOWN
        ),
        tries=tuple(_try(plan, voice, tried) for tried in room.tries),
        details=_room_details(plan, voice, room),
        reasons=tuple(voice.say(line) for line in room.reasons),
        ladder=_ladder(voice, room),
        walk=voice.at(room.walkable, "up"),
        opens=voice.at(room.opens, "up"),
        needed=voice.at(room.open_by),
        late=room.opens > room.open_by,
    )


def _start(plan: Plan, voice: Voice, start: StartHour) -> StartView:
    return StartView(
        at=voice.at(start.at),
        as_is=margin_text(voice, start.as_is_min),
        as_is_state=margin_state(plan, start.as_is_min),
        iced=margin_text(voice, start.chilled_min),
        iced_state=margin_state(plan, start.chilled_min),
        in_shift=start.in_shift,
    )


def _try(plan: Plan, voice: Voice, tried: RemedyTry) -> TryView:
    words = [voice.word(remedy) for remedy in tried.remedies] or [voice.label("try.none")]
    return TryView(
        what=" + ".join(words),
        buys=buys_text(voice, tried.buys_min) if tried.remedies else "",
        margin=margin_text(voice, tried.margin_min),
        state=margin_state(plan, tried.margin_min),
        adopted=tried.adopted,
    )


def _room_details(plan: Plan, voice: Voice, room: RoomPlan) -> tuple[str, ...]:
    return (
        voice.label(
            "room.sure",
            share_frac=plan.decisions.held_frac,
            sure=margin_text(voice, room.sure_margin_min),
        ),
        voice.label(
            "room.rows",
            bays=room.bays,
            row=room.buckets_per_row,
            depth_m=room.row_depth_m,
        ),
        voice.label(
            "room.temps",
            air_c=room.air_c,
            slab_c=room.slab_c,
            slab="falling" if room.slab_falling else "rising",
        ),
    )


def _ladder(voice: Voice, room: RoomPlan) -> tuple[tuple[str, str], ...]:
    steps = (
        ("walk", room.walkable),
        ("foot", room.foot_traffic),
        ("wheels", room.wheels),
        ("wash", room.wash_down),
        ("opens", room.opens),
    )
    return tuple(
        (
            voice.label(f"ladder.{key}", open_for=f"open_for.{room.open_for}"),
            voice.label("unknown") if at is None else voice.at(at, "up"),
        )
        for key, at in steps
    )
