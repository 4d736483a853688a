"""The same question, "when is this milestone reached?", put to us and to two others.

A slab through ten days of a heat wave, milestones of the shipped cards, random starts.
The others are what a careful engineer would write first: an integrator with an event,
and a loop over minutes. Neither shares code with us.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from cureplan.api import demo_job_path, get_weather, read_job
from cureplan.planning.floor.conditions import room_conditions
from cureplan.planning.floor.layers import slab_age_curve
from cureplan.science.rate import AgeCurve

ENERGY_J_MOL, REFERENCE_K = 50e3, 294.15
GAS_J_MOL_K = 8.314462618
AGES_MIN = (16.0, 20.0, 26.0, 300.0, 1440.0)
"""Milestones of the shipped slurry card, at its reference."""

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """A slab's hours, and clocks started on it."""

    curve: AgeCurve
    hour_s: Array
    slab_c: Array
    start_s: Array
    age_s: Array


def question(count: int) -> Question:
    """`count` clocks on the demo's slab, seeded."""
    job = read_job(demo_job_path("school-kitchen"))
    series = get_weather(job, now=datetime(2013, 7, 17, 12, tzinfo=UTC))
    room = room_conditions(job, series)["Cook line"]
    curve = slab_age_curve(
        room, activation_energy_j_mol=ENERGY_J_MOL, reference_c=REFERENCE_K - 273.15
    )
    random = np.random.default_rng(2013)
    # A day less than the weather: on a hot slab the longest clock takes half of one.
    latest_s = room.last_s - 86_400.0
    return Question(
        curve=curve,
        hour_s=room.epoch_s,
        slab_c=room.slab_c,
        start_s=random.uniform(room.first_s, latest_s, count),
        age_s=60.0 * random.choice(AGES_MIN, count),
    )


def by_us(asked: Question) -> Array:
    """All of them in one call."""
    return asked.curve.when(start_s=asked.start_s, age_s=asked.age_s)


def by_solver(asked: Question, count: int) -> Array:
    """The first `count`, one by one, with scipy's integrator and a terminal event."""
    first_s = asked.hour_s[0]
    hours, slab_c = asked.hour_s - first_s, asked.slab_c

    def rate(time_s: float, _age: Array) -> float:
        kelvin = np.interp(time_s, hours, slab_c) + 273.15
        return math.exp(-ENERGY_J_MOL / GAS_J_MOL_K * (1.0 / kelvin - 1.0 / REFERENCE_K))

    found = np.empty(count)
    for i in range(count):
        age_s = float(asked.age_s[i])

        def reached(_time_s: float, age: Array, age_s: float = age_s) -> float:
            return float(age[0]) - age_s

        reached.terminal = True  # type: ignore[attr-defined]
        # The rate has a corner at every row of weather: with steps of an hour it would
        # be off by more than the hundredth of a minute that is asked for.
        run = solve_ivp(
            rate, (asked.start_s[i] - first_s, hours[-1]), [0.0],
            events=reached, rtol=1e-6, atol=1e-2, max_step=1200.0,
        )  # fmt: skip
        found[i] = run.t_events[0][0] + first_s
    return found


def by_minutes(asked: Question, count: int) -> Array:
    """The first `count`, one by one, a minute at a time; the last minute in part."""
    first_s = float(asked.hour_s[0])
    slab_k = [celsius + 273.15 for celsius in asked.slab_c.tolist()]
    exp, factor = math.exp, ENERGY_J_MOL / GAS_J_MOL_K
    shift = factor / REFERENCE_K
    found = np.empty(count)
    for i in range(count):
        left_s, time_s = float(asked.age_s[i]), float(asked.start_s[i]) - first_s
        while True:
            hour, part_s = divmod(time_s + 30.0, 3600.0)
            low_k = slab_k[int(hour)]
            kelvin = low_k + (slab_k[int(hour) + 1] - low_k) * part_s / 3600.0
            rate = exp(shift - factor / kelvin)
            if left_s <= 60.0 * rate:
                break
            left_s -= 60.0 * rate
            time_s += 60.0
        found[i] = time_s + left_s / rate + first_s
    return found
