"""What a bucket is run with, and what of a floor's pour is left of that, worked out by hand."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.floor import pour
from cureplan.planning.floor.layers import Layer
from cureplan.planning.floor.pour import FREE, PourOption

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()


def floor(**more):
    given = {"settled": FREE, "job": None, "room": None, "pour_task": 0}
    return Made(**{**given, **more})


def bucket_run(monkeypatch, **more):
    """What two buckets are run with, begun at 1000 s, and their clocks."""
    seen = {}

    def run_bucket(liquids_c, filler_c, air_c, slab_c, haul_s, **given):
        seen.update(given, liquids_c=liquids_c, filler_c=filler_c, air_c=air_c, slab_c=slab_c)
        two = np.zeros(2)
        return Made(
            when_s=lambda age_s: np.array([age_s, age_s + 1.0]), mixed_c=two, pour_c=two,
            pour_age_s=two, film_age_s=np.zeros((2, 3)), finer=False,
        )  # fmt: skip

    monkeypatch.setattr(pour, "run_bucket", run_bucket)
    times = Made(
        bay=np.zeros(2, int), row=np.arange(2), liquids_in_s=np.array([0.0, 100.0]),
        filler_in_s=np.array([50.0, 150.0]), pour_s=np.array([200.0, 300.0]),
        smoothed_s=np.array([400.0, 500.0]), tied_in_s=np.array([450.0, np.nan]),
        broadcast_s=np.array([600.0, 700.0]),
    )  # fmt: skip
    ages = {"wet_edge": 500.0, "working_time": 600.0, "broadcast_closes": 700.0}
    given = {
        "clocks": Made(
            humidity=None, kit="kit", film_m=0.003, slab_effusivity=1.0,
            age_s={**ages, **more.pop("ages", {})},
        ),
        # A degree of air every 100 s, of slab every 50 s.
        "conditions": Made(
            air_at=lambda at_s: at_s / 100.0, slab_under=lambda at_s, *_: at_s / 50.0,
            humidity_at=lambda at_s: at_s / 1e4,
        ),
        "temperatures": pour.KitTemperatures(liquids_c=5.0, filler_c=None),
        "haul_s": 60.0, "speed": 1.0, "slab_shift_k": 1.0, "air_shift_k": 2.0,
        "liquids_shift_k": 3.0,
    }  # fmt: skip
    return seen, pour.bucket_clocks(1000.0, times, **{**given, **more})


def test_a_bucket_is_in_the_air_of_its_stir_and_on_the_slab_as_it_lands(monkeypatch):
    seen, _ = bucket_run(monkeypatch)
    # 1000 and 1100 s, two degrees more; 1200 and 1300 s, one more.
    assert seen["air_c"] == pytest.approx([12.0, 13.0])
    assert seen["slab_c"] == pytest.approx([25.0, 27.0])
    assert seen["liquids_c"] == pytest.approx([8.0, 8.0])
    assert seen["filler_c"] == pytest.approx([12.0, 13.0])
    as_air = pour.KitTemperatures(liquids_c=None, filler_c=7.0)
    seen, _ = bucket_run(monkeypatch, temperatures=as_air)
    assert seen["liquids_c"] == pytest.approx([12.0, 13.0])
    assert seen["filler_c"] == 7.0


def test_margins_are_what_is_left_of_each_clock(monkeypatch):
    _, got = bucket_run(monkeypatch)
    # Filler in at 1050 and 1150 s; the edge is wet 500 and 501 s from then, the first met
    # at 1450 s; smooth at 1400 and 1500 s, the last grain at 1600 and 1700 s.
    assert got.ends_s[:, 0].tolist() == [[1550, 1651], [1650, 1751], [1750, 1851]]
    assert got.margins_s[:, 0].tolist() == [[100, np.inf], [250, 251], [150, 151]]
    assert got.broadcast_by_s[0].tolist() == [1600, 1700]
    # Grains that may fall only 400 and 401 s from the filler on are held back 50 and 51 s.
    _, got = bucket_run(monkeypatch, ages={"broadcast_opens": 400.0})
    assert got.broadcast_by_s[0].tolist() == [1650, 1751]
    _, got = bucket_run(monkeypatch, ages={"broadcast_opens": 300.0})
    assert got.broadcast_by_s[0].tolist() == [1600, 1700]


@pytest.mark.parametrize(
    ("cove", "cove_m", "put_up"),
    [("before", 9.0, "before"), ("after", 0.0, None), (None, 0.0, None)],
)
def test_a_floor_has_a_cove_where_the_job_has_one_and_it_some_wall(
    monkeypatch, cove, cove_m, put_up
):
    seen = []
    layers = (Layer(kind="primer", crew="primer"), Layer(kind="slurry", crew="pour"))
    monkeypatch.setattr(
        pour, "floor_layers", lambda *_, cove, **__: seen.append(cove) or layers
    )
    job = Made(
        cards=Made(primer=None), crew=Made(spiked_shoes=False), cove_m=lambda _: cove_m,
        cove=None if cove is None else Made(when=cove),
    )  # fmt: skip
    here = floor(job=job, clocks=None, topcoat=None, _curve=lambda _: None)
    pour.RoomPours.__post_init__(here)
    assert seen == [put_up]
    assert (here.pour_task, here.primer) == (1, None)


def test_air_is_the_less_known_the_farther_ahead(monkeypatch):
    monkeypatch.setattr(pour, "LayerLimits", lambda *_, **guards: guards)
    here = floor(
        job=Made(access=Made(begins=NIGHT), building=Made(lag_s=0.0)),
        room=Made(climate="open"),
        conditions=Made(
            epoch_s=NIGHT_S + 3600.0 * np.array([-5.0, 24.0]), half_k=lambda _: 0.75
        ),
    )  # fmt: skip
    # At one standard deviation: a slab and its half err by 1 and 0.75 K, 1.25 together; a
    # forecast by 1.44 K at first and 1.61 a day ahead, with 1 K of the room's own.
    got = pour.RoomPours.limits(here, None, confidence=0.8413447, ahead=True)
    assert got["slab_guard_k"] == pytest.approx(1.25, rel=1e-5)
    own = [math.hypot(1.0, 1.44), math.hypot(1.0, 1.61)]
    assert got["air_guard_k"] == pytest.approx(own, rel=1e-5)
    got = pour.RoomPours.limits(here, None, confidence=0.8413447)
    assert got["air_guard_k"] == pytest.approx(1.0, rel=1e-5)


def test_hours_are_as_sure_as_the_job_asks_where_nobody_says_otherwise(monkeypatch):
    monkeypatch.setattr(pour, "time_factors", lambda _, confidence: confidence)
    here = floor(
        job=Made(policy=Made(confidence=0.9)), _doubt=lambda *_: None,
        material=lambda _: (None, None), wet_doubt=lambda _: pour.Doubt(
            batch=0.0, card=0.03, temperature=0.0
        ),
    )  # fmt: skip
    for asked, sure in ((None, 0.9), (0.6, 0.6)):
        assert pour.RoomPours.long_factors(here, None, 0.0, confidence=asked) == sure
        assert pour.RoomPours.wet_factors(here, 0.0, confidence=asked) == sure
    # Times that may be off together by 0.04 beside a card's 0.03: 0.05.
    monkeypatch.setattr(pour, "time_factors", lambda doubt, **_: doubt.total)
    got = pour.RoomPours.wet_factors(here, 0.0, times_sd=0.04)
    assert got == pytest.approx(0.05)


def test_a_batch_of_more_energy_is_run_as_such(monkeypatch):
    @dataclass
    class Kit:
        activation_energy_j_mol: float

    @dataclass
    class Clocks:
        kit: Kit

    monkeypatch.setattr(pour, "bucket_clocks", lambda _start, its, **asked: (its, asked))
    here = floor(
        clocks=Clocks(Kit(50e3)), conditions=None, job=Made(pace=Made(haul_s=60.0)),
        plan=lambda option, crew: Made(times=(option, crew)), _given=lambda option: option,
    )  # fmt: skip
    iced = PourOption(chilled=True, cool_filler=False, bays=1)
    starts_s = np.array([1.0, 2.0])
    its, asked = pour.RoomPours.run(here, iced, starts_s, crew="crew", energy_shift_j_mol=2e3)
    assert asked["clocks"].kit.activation_energy_j_mol == 52e3
    assert (its, asked["temperatures"], asked["haul_s"]) == ((iced, "crew"), iced, 60.0)
    assert here.clocks.kit.activation_energy_j_mol == 50e3
    its, _ = pour.RoomPours.run(here, iced, starts_s, times="others")
    assert its == "others"
