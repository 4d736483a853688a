"""A small plan made by hand: two floors, four buckets, three coats. All values invented."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from cureplan.core.messages import Message
from cureplan.output.language.catalogue import LANGUAGES, catalogue
from cureplan.planning.plan.model import (
    Alternative,
    Answer,
    BucketPlan,
    Call,
    ChillPlan,
    ChillRoom,
    CoatPlan,
    Decisions,
    HourRow,
    Plan,
    PrimerPlan,
    RemedyTry,
    Risk,
    RoomHour,
    RoomPlan,
    Source,
    StartHour,
    Takeoff,
    TakeoffRoom,
    plan_adapter,
    plan_to_json,
)
from output.sample_job import MADE, NAMES, after, sample_job

ENGLISH = {
    "sample.start": "{room} first, {start_at}",
    "sample.then": "then {room}, {start_at:time}",
    "sample.ice": "Ice {kits:one=kit|other=kits}: in the ice by {by_at}",
    "sample.back": "Topcoat crew back {start_at:up}",
    "sample.binding": "{binding:word} binds, {margin_min} to spare at {air_c}",
    "sample.doubt": "holds {keeps_frac:nights}",
    "sample.station": "a third mixing station in {room}",
    "sample.warn": "{room} is short after {late_at:time}: {gap_min:short}",
    "sample.dew": "dew point {gap_k} below the slab",
    "sample.call": "set-up takes {setup_s:up}",
}
SPANISH = {
    "sample.start": "Primero {room}, {start_at}",
    "sample.then": "luego {room}, {start_at:time}",
    "sample.ice": "Hielo para {kits:one=kit|other=kits}: en hielo antes de {by_at}",
    "sample.back": "La cuadrilla vuelve {start_at:up}",
    "sample.binding": "Manda {binding:word}, {margin_min} de sobra a {air_c}",
    "sample.doubt": "se cumple {keeps_frac:nights}",
    "sample.station": "una tercera estación en {room}",
    "sample.warn": "{room} no alcanza después de {late_at:time}: {gap_min:short}",
    "sample.dew": "punto de rocío {gap_k} abajo de la losa",
    "sample.call": "preparar toma {setup_s:up}",
}


def say(code: str, **values: Any) -> Message:
    return Message(f"sample.{code}", values)


def _bucket(
    room: str, number: int, start: float, *, tied: float | None, margin: float
) -> BucketPlan:
    filler = start + 2.5
    return BucketPlan(
        room=room,
        number=number,
        bay=1,
        row=number,
        station=1 + (number - 1) % 2,
        liquids_in=after(start),
        filler_in=after(filler),
        pour=after(filler + 4),
        raked_by=after(filler + 6.2),
        smoothed_by=after(filler + 8.4),
        tied_in=None if tied is None else after(tied),
        broadcast_by=after(filler + 14.5),
        wet_edge_end=after(filler + 11.5),
        working_time_end=after(filler + 13),
        broadcast_end=after(filler + 14.5 + margin),
        margin_min=margin,
        binding="broadcast_closes",
        mixed_c=24.5,
        pour_c=26.1,
        slab_c=31.2,
        chilled=True,
        clocks_sd_frac=0.12,
        keeps_frac=0.93,
    )


def _buckets(names: tuple[str, str]) -> tuple[BucketPlan, ...]:
    cook, corridor = names
    return (
        _bucket(cook, 1, 0, tied=10, margin=2.6),
        _bucket(cook, 2, 3.5, tied=None, margin=1.4),
        _bucket(corridor, 1, 60, tied=70, margin=3.2),
        _bucket(corridor, 2, 63.5, tied=None, margin=-0.6),
    )


def _room_plan(name: str, order: int, start: float, margin: float) -> RoomPlan:
    hours = tuple(
        StartHour(
            at=after(60 * hour),
            as_is_min=-5.0 + 0.5 * hour,
            chilled_min=margin + 0.4 * hour,
            in_shift=0 <= hour < 8,
        )
        for hour in range(-3, 6)
    )
    return RoomPlan(
        room=name,
        order=order,
        area_m2=6.0,
        thickness_m=0.003175,
        kits=2,
        bays=1,
        buckets_per_row=1,
        row_depth_m=0.9144,
        cadence_min=3.5,
        cadence_limit="mixing",
        pour_start=after(start),
        pour_end=after(start + 21),
        remedies=("hour", "chill"),
        chilled=True,
        margin_min=margin,
        sure_margin_min=margin - 0.5,
        binding="broadcast_closes",
        binding_bucket=2,
        as_is_margin_min=-5.2,
        keeps_frac=0.9,
        air_c=31.6,
        slab_c=31.2,
        slab_falling=True,
        walkable=after(start + 180),
        topcoat_opens=after(start + 185.5),
        topcoat_closes=after(start + 1000),
        foot_traffic=after(start + 900),
        wheels=after(start + 1500),
        wash_down=after(start + 2600),
        opens=after(start + 2600),
        open_by=after(60 * 57),
        reasons=(say("binding", binding="broadcast_closes", margin_min=margin, air_c=31.6),),
        starts=hours,
        tries=(
            RemedyTry(remedies=(), bays=1, margin_min=-5.2, buys_min=0.0, adopted=False),
            RemedyTry(
                remedies=("hour", "chill"),
                bays=1,
                margin_min=margin,
                buys_min=6.6,
                adopted=True,
            ),
        ),
        # Two rows from the back wall; rooms of 4 by 1.5 and 3 by 1.8 m.
        patches=tuple(
            (((0.0, low), (wide, low), (wide, low + deep), (0.0, low + deep)),)
            for wide, deep in [(1.5, 2.0) if order == 1 else (1.8, 1.5)]
            for low in (0.0, deep)
        ),
    )


def _coat(room: str, coat: int, start: float) -> CoatPlan:
    return CoatPlan(
        room=room,
        coat=coat,
        opens=after(start - 20.5),
        closes=after(start + 600.5),
        start=after(start),
        end=after(start + 35),
        reason=say("dew", gap_k=4.5),
        batches=1,
        volume_m3=0.0027,
        batch_minutes=11.0,
        batch_working_min=15.5,
        slab_c=28.0,
        dew_c=23.5,
        keeps_frac=0.96,
    )


def sample_primer(
    room: str,
    start: datetime,
    lasts_min: float,
    *,
    walks: datetime,
    opens: datetime,
    closes: datetime,
) -> PrimerPlan:
    """A primer of one batch; all of it invented."""
    return PrimerPlan(
        room=room,
        stage="primer",
        start=start,
        end=start + timedelta(minutes=lasts_min),
        slurry_opens=opens,
        slurry_closes=closes,
        walkable=walks,
        reason=_coat(room, 1, 0.0).reason,
        batches=1,
        volume_m3=0.004,
        batch_minutes=10.0,
        batch_working_min=25.0,
        broadcast=False,
        slab_c=29.0,
        dew_c=None,
        keeps_frac=0.95,
    )


def _call(role: str, people: int, room: str, stage: Any, first: float, last: float) -> Call:
    return Call(
        role=role,
        people=people,
        room=room,
        stage=stage,
        call=after(first - 45),
        first_task=after(first),
        last_task=after(last),
        busy_frac=0.8,
        reason=say("call", setup_s=2700.0),
    )


def _calls(names: tuple[str, str]) -> tuple[Call, ...]:
    cook, corridor = names
    return (
        _call("mixer", 2, cook, "pour", 0, 9),
        _call("runner", 1, cook, "pour", 5, 13),
        _call("smoother", 1, cook, "pour", 8, 17),
        _call("mixer", 2, corridor, "pour", 60, 69),
        _call("vacuum", 1, cook, "vacuum", 500, 540),
        _call("topcoat", 3, cook, "coat 1", 560, 595),
        _call("topcoat", 3, cook, "coat 2", 800, 835),
        _call("topcoat", 3, corridor, "coat 1", 620, 655),
    )


def _chill(names: tuple[str, str]) -> ChillPlan:
    rooms = tuple(
        ChillRoom(
            room=name,
            kits=2,
            ice_kg=2.3,
            needed_at=after(60 * place),
            in_ice_by=after(60 * place - 330),
            in_ice_by_stirred=after(60 * place - 75),
            from_c=28.9,
            to_c=4.0,
            gained_min=5.4,
            gained_bucket_min=4.6,
            gained_floor_min=0.8,
            sweats=True,
        )
        for place, name in enumerate(names)
    )
    return ChillPlan(
        iced=True,
        rooms=rooms,
        ice_kg=4.6,
        ice_per_kit_kg=1.15,
        in_ice_by=after(-330),
        hours_standing=5.5,
        hours_stirred=1.2,
        liquids_as_is_c=28.9,
        measured=False,
    )


def _takeoff(names: tuple[str, str]) -> Takeoff:
    rooms = tuple(
        TakeoffRoom(
            room=name,
            area_m2=6.0,
            kits=2,
            slurry_needed_m3=0.0171,
            slurry_left_m3=0.0016,
            aggregate_kg=29.3,
            aggregate_bags=2,
            aggregate_swept_kg=14.6,
            primer_batches=1,
            coat_batches=(1, 1)[: 2 - place],
            coat_volume_m3=(0.0027, 0.0014)[: 2 - place],
            ice_kg=2.3,
        )
        for place, name in enumerate(names)
    )
    return Takeoff(
        rooms=rooms,
        kits=4,
        aggregate_bags=4,
        aggregate_kg=58.6,
        primer_batches=2,
        topcoat_batches=3,
        topcoat_m3=0.0068,
        ice_kg=4.6,
    )


def _hours(names: tuple[str, str]) -> tuple[HourRow, ...]:
    return tuple(
        HourRow(
            kind="observed",
            at=after(60 * hour),
            outdoor_c=31.0 - 0.4 * hour,
            dew_c=None if hour == 3 else 22.0,
            origin="file",
            rooms=tuple(
                RoomHour(room=name, air_c=32.0 - 0.2 * hour, slab_c=31.5 - 0.1 * hour)
                for name in names
            ),
        )
        for hour in range(-2, 16)
    )


def _decisions(names: tuple[str, str]) -> Decisions:
    doubt = say("doubt", keeps_frac=0.91)
    reason = say("binding", binding="broadcast_closes", margin_min=1.4, air_c=31.6)
    answers = (
        Answer(
            question="order and start",
            headline=(
                say("start", room=names[0], start_at=after(0).isoformat()),
                say("then", room=names[1], start_at=after(60).isoformat()),
            ),
            reasons=(reason,),
            doubt=doubt,
        ),
        Answer(
            question="ice",
            headline=(say("ice", kits=4, by_at=after(-330).isoformat()),),
            reasons=(reason,),
            doubt=doubt,
        ),
        Answer(
            question="way back",
            headline=(say("back", start_at=after(560).isoformat()),),
            reasons=(say("dew", gap_k=4.5),),
            doubt=doubt,
        ),
    )
    return Decisions(
        status="short of policy",
        held_frac=0.9,
        made_at=MADE,
        answers=answers,
        alternatives=(
            Alternative(
                what=say("station", room=names[1]),
                also=None,
                room=names[1],
                margin_min=2.4,
                buys_min=3.0,
            ),
        ),
        solver="by hand",
        proven=False,
        gap_frac=None,
    )


def sample_plan(
    names: tuple[str, str] = NAMES,
    *,
    site: str = "Example school kitchen",
    languages: Sequence[str] = ("en", "es"),
    display: Any = "us",
) -> Plan:
    """The plan, with floors and site named at will."""
    job = replace(sample_job(names, site=site), languages=tuple(languages), display=display)
    cook, corridor = names
    return Plan(
        job=job,
        decisions=_decisions(names),
        rooms=(_room_plan(cook, 1, 0, 1.4), _room_plan(corridor, 2, 60, -0.6)),
        buckets=_buckets(names),
        coats=(_coat(cook, 1, 560), _coat(cook, 2, 800), _coat(corridor, 1, 620)),
        calls=_calls(names),
        chill=_chill(names),
        hours=_hours(names),
        takeoff=_takeoff(names),
        risk=Risk(
            members=200,
            seed=7,
            forecast_sd_k=1.1,
            slab_sd_k=0.8,
            late_sd_min=10.0,
            batch_sd_frac=0.06,
            opens_on_time_frac=0.99,
            buckets_keep_frac=0.55,
            coats_keep_frac=0.97,
            no_wait_frac=0.9,
            shifts_keep_frac=0.8,
            all_keep_frac=0.04,
        ),
        warnings=(say("warn", room=corridor, late_at=after(63.5).isoformat(), gap_min=-0.6),),
        sources=(
            Source(
                kind="weather", label="heat-wave.csv", licence="CC0", generic=False, detail=None
            ),
            Source(
                kind="card",
                label="Fast slurry",
                licence=None,
                generic=True,
                detail=say("doubt", keeps_frac=0.5),
            ),
        ),
    )


def moved(plan: Plan, by: timedelta) -> Plan:
    """The same plan at another time."""

    def shift(node: Any) -> Any:
        if isinstance(node, dict):
            return {key: shift(value) for key, value in node.items()}
        if isinstance(node, list):
            return [shift(value) for value in node]
        if isinstance(node, str) and re.fullmatch(r"\d{4}-\d\d-\d\dT.*", node):
            return (datetime.fromisoformat(node) + by).isoformat()
        return node

    data = shift(json.loads(plan_to_json(plan)))
    # As a plan made then, not as a text changed by hand.
    made: Plan = plan_adapter().validate_python(
        {key: value for key, value in data.items() if key not in ("format", "digest")}
    )
    return made


HOSTILE = (
    "<script>alert(1)</script>",
    '=HYPERLINK("http://example.invalid","x")',
    "Line one\nline two\r\n\tthree",
    "Grill 🔥👩‍🍳 & fry",
    "مطبخ المدرسة",
    "\u202eesrever\u2066 \u2028split",
    "K" * 200,
    "@cmd|' /C calc'!A0",
    "$\\frac{1}$ {room} %s {{ 7*7 }}",
    "-- </style><b>\"'`",
)


@contextmanager
def words_of_sample() -> Iterator[None]:
    """Words for the sample's sentences, while they are needed."""
    with pytest.MonkeyPatch.context() as patch:
        for language in LANGUAGES:
            words = SPANISH if language[:2] == "es" else ENGLISH
            for code, template in words.items():
                patch.setitem(catalogue(language).sayings, code, template)
        yield
