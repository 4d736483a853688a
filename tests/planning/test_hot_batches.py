"""A batch that runs away hot in the pail: lost at that hour, not the fault of a card."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cureplan.core.errors import InputError, OutOfRangeError
from cureplan.planning.floor.pour import AS_IS
from cureplan.planning.schedule.construct import prepare_pours
from cureplan.science.kit import run_bucket


def run(kit, at_c, **more):
    return run_bucket(
        at_c, at_c, at_c, 30.0, 60.0, kit=kit, speed=1.0, film_m=0.005,
        slab_effusivity=1683.0, **more,
    )  # fmt: skip


@pytest.fixture(scope="module")
def pours(demo_job, demo_weather):
    return prepare_pours(demo_job, demo_weather)["Cook line"]


def test_a_batch_that_runs_away_is_refused_or_lost_beside_others_as_before(pours):
    kit = pours.clocks.kit
    with pytest.raises(OutOfRangeError):
        run(kit, [20.0, 60.0])
    lost = run(kit, [20.0, 60.0], runs_away="lost")
    # 120 C is the hottest at which a rate is known.
    assert lost.pour_c[1] == 120.0
    # It has lived through all of its wet time before it is on the floor.
    ends_s = lost.when_s(pours.clocks.age_s["working_time"])
    assert ends_s[1] < lost.pour_s[1]
    assert ends_s[0] > lost.pour_s[0]
    alone = run(kit, [20.0])
    assert lost.pour_c[0] == pytest.approx(alone.pour_c[0], abs=1e-6)


def at_hours(pours, air_c):
    """The floor with such air, hour by hour."""
    given = replace(pours.conditions, air_c=np.asarray(air_c, float))
    return replace(pours, conditions=given)


def test_a_card_is_refused_where_no_hour_is_cool_enough(pours):
    hours = pours.conditions.air_c.size
    hot = np.full(hours, 80.0)
    job = replace(pours.job, policy=replace(pours.job.policy, remedies=("hour",)))
    job = replace(job, materials=replace(job.materials, storage_c=None))
    given = replace(pours, job=job)
    with pytest.raises(InputError, match="run away hot before it is poured at 80 °C"):
        at_hours(given, hot).require_hours()
    # Kits kept apart from the air are told by their own warmth.
    kept = replace(job, materials=replace(job.materials, storage_c=80.0))
    with pytest.raises(InputError, match="at 80 °C"):
        at_hours(replace(pours, job=kept), np.full(hours, 30.0)).require_hours()
    # One cool hour will do; so does ice, where the job allows it.
    at_hours(given, np.r_[hot[:-1], 20.0]).require_hours()
    iced = replace(job, policy=replace(job.policy, remedies=("chill", "cool filler")))
    at_hours(replace(given, job=iced), hot).require_hours()


def test_a_pour_at_an_hour_at_which_a_batch_runs_away_has_no_margin(pours):
    job = replace(pours.job, materials=replace(pours.job.materials, storage_c=None))
    hot = at_hours(replace(pours, job=job), np.full(pours.conditions.air_c.size, 60.0))
    begins_s = job.access.begins.timestamp() + 3600.0
    assert hot.run(AS_IS, begins_s).least_s[0] < 0.0
