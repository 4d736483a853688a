"""Jobs drawn at random for the bench: a wing of kitchens, some nights, one weather."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random

import numpy as np

from cureplan.api import HISTORY_S, demo_job_path
from cureplan.inputs.job.model import Job, Room
from cureplan.inputs.job.reader import read_job
from cureplan.weather.hours.series import HourlySeries, WeatherOrigin

__all__ = ["drawn_job", "drawn_weather"]

USES = {"food preparation": 2, "dish washing": 1, "service": 1, "storage": 1}
MOST_PER_NIGHT = 5
"""Floors a night comfortably holds at the sizes drawn."""
FOOT_M = 0.3048


def drawn_weather(*, begins: datetime, days: float, seed: int) -> HourlySeries:
    """Sine days between about 18 and 30 °C with noise that lingers, history included.

    Invented: only its range is meant to be likely.
    """
    random = np.random.default_rng(seed)
    first_s = begins.timestamp() - HISTORY_S - 3600.0
    hours = int((HISTORY_S + days * 86_400.0) / 3600.0) + 60
    epoch_s = np.floor(first_s / 3600.0) * 3600.0 + 3600.0 * np.arange(hours)
    mean_c, swing_k = random.uniform(19.0, 27.0), random.uniform(3.0, 6.0)
    noise = np.zeros(hours)
    for i in range(1, hours):
        noise[i] = 0.9 * noise[i - 1] + random.normal(0.0, 0.35)
    local_h = (epoch_s / 3600.0 - 4.0) % 24.0
    temp_c = mean_c + swing_k * np.cos((local_h - 15.0) / 24.0 * 2 * np.pi) + noise
    return HourlySeries(
        epoch_s=epoch_s,
        temp_c=temp_c,
        dew_c=np.full(hours, mean_c - 12.0),
        cloud_frac=np.full(hours, np.nan),
        origin=np.zeros(hours, dtype=np.int64),
        origins=(WeatherOrigin(label="drawn", kind="file", licence="CC0", attribution=""),),
    )


def drawn_job(rooms: int, *, seed: int, nights: int | None = None) -> tuple[Job, HourlySeries]:
    """A job of so many rooms, a few of them the way out of others, and its weather.

    Parameters
    ----------
    rooms : int
        How many, >= 2.
    seed : int
        Of everything drawn.
    nights : int, optional
        Nights of access; by default one per five floors, and one to spare.

    Returns
    -------
    Job, HourlySeries
    """
    random = Random(f"{seed}/{rooms}")
    demo = read_job(demo_job_path("school-kitchen"))
    count = nights if nights is not None else -(-rooms // MOST_PER_NIGHT) + 1
    begins = datetime(2026, 6, 1 + random.randrange(20), 23, tzinfo=UTC)
    passages = max(1, rooms // 8)
    names = [f"Passage {i + 1}" for i in range(passages)]
    drawn = [
        _room(demo.rooms[-1], random, name=name, use="passage", coats=1, way_out=())
        for name in names
    ]
    for i in range(rooms - passages):
        use = random.choice(sorted(USES))
        way_out = (random.choice(names),) if random.random() < 0.8 else ()
        drawn.append(
            _room(
                demo.rooms[-1],
                random,
                name=f"Room {i + 1}",
                use=use,
                coats=USES[use],
                way_out=way_out,
            )
        )
    job = replace(
        demo,
        access=replace(
            demo.access,
            begins=begins,
            open_by=begins + timedelta(days=count + 2, hours=-13),
        ),
        crew=replace(demo.crew, stations=random.choice((2, 2, 3)), mixer=3),
        rooms=tuple(drawn),
    )
    return job, drawn_weather(begins=begins, days=count + 3.0, seed=seed)


def _room(
    pattern: Room, random: Random, *, name: str, use: str, coats: int, way_out: tuple[str, ...]
) -> Room:
    passage = use == "passage"
    return replace(
        pattern,
        name=name,
        use=use,
        topcoats=coats,
        way_out=way_out,
        length_m=random.randint(12, 36) * FOOT_M,
        width_m=random.randint(5, 8) * FOOT_M if passage else random.randint(8, 20) * FOOT_M,
        slab_reading=None,
    )
