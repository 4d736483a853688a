"""A plain floor to plan by hand: round numbers, and a room whose weather never changes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cureplan.inputs.cards.reader import read_card
from cureplan.planning.floor.conditions import RoomConditions
from cureplan.science.clocks import slurry_clocks, topcoat_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY

EPOCH_S = 1_374_001_200.0  # a full hour in July 2013


@pytest.fixture(scope="session")
def slurry_card():
    return read_card("fast-slurry")


@pytest.fixture(scope="session")
def topcoat_card():
    return read_card("clear-topcoat")


@pytest.fixture(scope="session")
def plain_job(demo_job):
    """The demonstration job with hands and allowances of round numbers."""
    return replace(
        demo_job,
        materials=replace(
            demo_job.materials, waste=0.1, thickness_m=0.003, profile_allowance_m=0.0005
        ),
        pace=replace(
            demo_job.pace,
            haul_s=60.0,
            rake_m2_s=0.02,
            smooth_m2_s=0.016,
            broadcast_m2_s=0.01,
            topcoat_m2_s=0.03,
            vacuum_m2_s=0.05,
            row_depth_min_m=0.6,
            bay_turn_s=120.0,
        ),
        crew=replace(
            demo_job.crew,
            stations=2, mixer=2, runner=1, rake=1, smoother=1, broadcaster=2, topcoat=3,
        ),
    )  # fmt: skip


@pytest.fixture(scope="session")
def plain_room(demo_job):
    """9 m deep, 5 m wide, for food preparation."""
    return replace(demo_job.room("Cook line"), length_m=9.0, width_m=5.0, slab_reading=None)


@pytest.fixture(scope="session")
def slurry(slurry_card):
    return slurry_clocks(
        slurry_card, film_m=slurry_card.thickness_m, slab_effusivity=SLAB_EFFUSIVITY
    )


@pytest.fixture(scope="session")
def topcoat(topcoat_card):
    return topcoat_clocks(topcoat_card)


@pytest.fixture(scope="session")
def weather_of():
    """Makes conditions from hourly temperatures, or steady ones from single numbers."""

    def make(slab_c, air_c=None, dew_c=np.nan, *, hours=120, reading_s=None):
        air_c = slab_c if air_c is None else air_c
        columns = [
            np.broadcast_to(np.asarray(column, dtype=float), hours)
            for column in (air_c, slab_c, dew_c)
        ]
        return RoomConditions(
            room="Cook line",
            epoch_s=EPOCH_S + 3600.0 * np.arange(hours),
            air_c=columns[0],
            slab_c=columns[1],
            dew_c=columns[2],
            reading_s=reading_s,
        )

    return make


@pytest.fixture(scope="session")
def epoch_s():
    """First hour of `weather_of`."""
    return EPOCH_S
