"""A room that the sun falls on: the patch closes first, the shade opens last."""

from __future__ import annotations

from dataclasses import replace
from datetime import time, timedelta
from pathlib import Path

import numpy as np
import pytest

from cureplan.api import make_plan, read_job
from cureplan.inputs.job.model import SlabReading, SunPatch
from cureplan.judge import judge
from cureplan.output.view.view import voice_of
from cureplan.planning.floor.conditions import room_conditions
from cureplan.planning.floor.layers import Landed, landed_reached
from cureplan.planning.floor.pour import RoomPours
from cureplan.planning.replan.job import plan_conditions
from cureplan.science.kit import FLOOR_ROOT_S05

ONE_ROOM = Path(__file__).parents[1] / "pinned" / "jobs" / "one-room.toml"
MORNING = SunPatch(starts=time(7), ends=time(12), share=0.3)


def sunny_job(**reading):
    job = read_job(ONE_ROOM)
    room = replace(job.rooms[0], sun_patch=MORNING, **reading)
    return replace(job, rooms=(room,))


@pytest.fixture(scope="module")
def plan():
    job = sunny_job()
    return make_plan(job, now=job.access.begins - timedelta(hours=8), what_helps=False)


def test_the_shade_is_waited_for_and_the_patch_closes(
    plain_job, plain_room, slurry, topcoat, weather_of
):
    # By hand: at 21 °C and at 31 °C, 10 K warmer runs 1.9585 times as fast at
    # 50 kJ/mol (exp(50000/8.314462 (1/294.15 - 1/304.15))). A film at its slab's temperature.
    lit = weather_of(31.0)
    here = replace(lit, sun_k=np.full(lit.slab_c.shape, 10.0))
    floor = RoomPours(plain_room, plain_job, slurry, topcoat, here)
    landed = Landed(
        pour_s=np.array([here.first_s]),
        pour_age_s=np.zeros(1),
        film_age_s=np.zeros((1, FLOOR_ROOT_S05.size)),
    )
    found = landed_reached(
        landed, age_s=slurry.age_s, curve=floor.slurry_curve, wait=1.0, close=1.0
    )
    energy_j_mol = slurry.fit.activation_energy_j_mol
    faster = np.exp(energy_j_mol / 8.314462 * (1 / 294.15 - 1 / 304.15))
    assert faster == pytest.approx(1.96, abs=0.05)
    after_s = {name: float(at[0] - here.first_s) for name, at in found.items()}
    for name in ("foot_traffic", "topcoat_opens"):
        assert after_s[name] == pytest.approx(slurry.age_s[name], rel=1e-4)
    assert after_s["topcoat_closes"] == pytest.approx(
        slurry.age_s["topcoat_closes"] / faster, rel=1e-4
    )


def test_the_dew_point_is_asked_of_the_shade(weather_of):
    # 25 °C in the sun, 19 °C beside it, dew point 17 °C: 3 K are asked, the shade has 2.
    lit = weather_of(25.0, dew_c=17.0)
    here = replace(lit, sun_k=np.full(lit.slab_c.shape, 6.0))
    assert lit.next_dry_s(lit.first_s, 3600.0, margin_k=3.0) == lit.first_s
    assert here.next_dry_s(here.first_s, 3600.0, margin_k=3.0) == float("inf")


def test_a_sunny_room_is_planned_judged_and_says_its_patch(plan):
    assert judge(plan) == ()
    sunny = [(row.at, row.rooms[0].slab_c, row.rooms[0].shade_c) for row in plan.hours]
    assert all(shade <= slab for _, slab, shade in sunny)
    assert max(slab - shade for _, slab, shade in sunny) > 5.0
    told = " ".join(voice_of(plan).say(reason) for reason in plan.rooms[0].reasons)
    assert "07:00-12:00, 30% of the floor" in told.replace("30 %", "30%")
    # A plan of the night goes on with both slabs.
    (again,) = plan_conditions(plan).values()
    assert again.shade.slab_c[: len(sunny)] == pytest.approx([shade for *_, shade in sunny])


def test_a_coat_by_the_patch_alone_would_be_too_soon(plan):
    # The judge has a slab of its own for the shade: without it the same plan is sound.
    cold = [
        replace(row, rooms=tuple(replace(r, shade_c=r.shade_c - 6.0) for r in row.rooms))
        for row in plan.hours
    ]
    assert "opening" in {found.rule for found in judge(replace(plan, hours=tuple(cold)))}
    warm = [
        replace(row, rooms=tuple(replace(r, shade_c=r.slab_c + 1.0) for r in row.rooms))
        for row in plan.hours
    ]
    assert "hours" in {found.rule for found in judge(replace(plan, hours=tuple(warm)))}


@pytest.mark.parametrize(("off_k", "in_shade"), [(0.5, False), (-0.5, True)])
def test_a_reading_counts_for_the_part_it_is_nearer_to(off_k, in_shade):
    # A reading of the shade at noon must not cool the shade by all that the sun gives.
    from cureplan.api import get_weather

    job = sunny_job()
    series = get_weather(job, now=job.access.begins)
    (bare,) = room_conditions(job, series).values()
    at = job.access.begins.replace(hour=11)
    surface = bare.shade if in_shade else bare
    shown_c = float(surface.slab_at(at.timestamp())) + off_k
    reading = SlabReading(surface_c=shown_c, read_at=at)
    (found,) = room_conditions(sunny_job(slab_reading=reading), series).values()
    assert found.read_in_shade is in_shade
    moved_k = found.slab_at(at.timestamp()) - bare.slab_at(at.timestamp())
    assert moved_k == pytest.approx(off_k, abs=1e-6)
    assert found.shade.slab_at(at.timestamp()) - bare.shade.slab_at(
        at.timestamp()
    ) == pytest.approx(off_k, abs=1e-6)
