"""Slabs of several rooms marched together, lit and read, with a slab made up by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.floor import conditions
from cureplan.planning.floor.conditions import RoomConditions
from cureplan.science.heat import AIR_FACE_W_M2K

START_S = datetime(2013, 6, 17, tzinfo=UTC).timestamp()
H = 3600.0


class Thin:
    """A slab as warm as its air and a tenth of a kelvin warmer for each watt of sun."""

    def __init__(self) -> None:
        self.given: dict[str, np.ndarray] = {}

    def run(self, air_c, *, absorbed_w_m2, lower_c, start_c, keep_profile):
        self.given |= {"lower_c": lower_c, "start_c": start_c, "keeps": keep_profile}
        return Made(surface_c=air_c + absorbed_w_m2 / 10.0)

    def steady_profile_c(self, *, air_c, absorbed_w_m2, lower_c):
        self.given |= {"air_c": air_c, "sun_w_m2": absorbed_w_m2, "settled_c": lower_c}
        return "settled"


def marched(monkeypatch, *, readings=(None, None), below="ground", begins_h=30.0):
    """Two rooms over two days, air that warms by a kelvin an hour, 60 W of sun on one."""
    slab, read = Thin(), {}

    def corrected(_, read_c, **given):
        read.update(given, read_c=read_c)
        return read_c + 2.0

    fine_s = 600.0 * np.arange(6 * 48 + 1)
    sun = np.zeros((fine_s.size, 2))
    sun[:, 1] = 60.0
    monkeypatch.setattr(conditions, "floor_slab", lambda *_: slab)
    monkeypatch.setattr(conditions, "patch_sun_w_m2", lambda *_: sun)
    monkeypatch.setattr(conditions, "kept", lambda made, *_: made())
    monkeypatch.setattr(conditions, "corrected_surface_c", corrected)
    monkeypatch.setattr(conditions, "_fade", lambda *_: None)
    rooms = [
        Made(sun_patch=patch, slab_reading=reading, slab_thickness_m=0.15, insulation_m=0.0)
        for patch, reading in zip((None, Made()), readings, strict=True)
    ]
    begins = datetime.fromtimestamp(START_S + begins_h * H, UTC)
    job = Made(building=Made(below=below, ground_c=12.0), access=Made(begins=begins))
    series = Made(epoch_s=START_S + H * np.arange(49))
    air_c = np.stack([fine_s / H] * 2, axis=1)
    outdoor_c = np.full(fine_s.size, 7.0)
    found = conditions._surface(job, rooms, series, fine_s, outdoor_c, None, air_c)
    return found, slab.given, read


HOURS = np.arange(49.0)


def test_a_lit_floor_is_marched_with_its_shade(monkeypatch):
    (lit_c, sun_k, in_shade), given, _ = marched(monkeypatch)
    assert lit_c[:, 0] == pytest.approx(HOURS)
    assert lit_c[:, 1] == pytest.approx(HOURS + 6.0)
    assert sun_k[:, 0].tolist() == [0.0] * 49
    assert sun_k[:, 1] == pytest.approx(np.full(49, 6.0))
    assert in_shade == [False, False]
    # Two rooms and a shade, each with the sun of its own.
    assert given["sun_w_m2"].tolist() == [0.0, 60.0, 0.0]
    assert given["start_c"] == "settled"


@pytest.mark.parametrize(
    ("begins_h", "mean_c"),
    # From 0 °C on by a kelvin an hour, up to the access and for a day at least.
    [(30.0, 15.0), (12.0, 12.0), (24.0, 12.0), (48.0, 24.0)],
)
def test_a_slab_settles_at_the_mean_of_all_before_the_access(monkeypatch, begins_h, mean_c):
    _, given, _ = marched(monkeypatch, begins_h=begins_h)
    assert given["air_c"] == pytest.approx([mean_c] * 3)


@pytest.mark.parametrize(("below", "lower_c"), [("ground", 12.0), ("air", 7.0)])
def test_under_a_slab_lies_the_ground_or_the_air_outside(monkeypatch, below, lower_c):
    _, given, _ = marched(monkeypatch, below=below)
    assert given["settled_c"] == pytest.approx([lower_c] * 3)
    assert np.unique(given["lower_c"]).tolist() == [lower_c]


def reading(surface_c: float) -> Made:
    """Of 20 hours past the first, when the shade has 20 °C."""
    return Made(surface_c=surface_c, read_at=datetime.fromtimestamp(START_S + 20 * H, UTC))


@pytest.mark.parametrize(("surface_c", "in_shade"), [(21.0, True), (25.0, False)])
def test_a_reading_moves_the_lit_floor_and_its_shade_alike(monkeypatch, surface_c, in_shade):
    # Read at 21 °C the shade was, at 25 the patch that is lit: either is 2 K warmer then.
    (lit_c, sun_k, read_of), _, read = marched(monkeypatch, readings=(None, reading(surface_c)))
    assert read_of == [False, in_shade]
    assert read["read_c"][:, 1] == pytest.approx(HOURS + (0.0 if in_shade else 6.0))
    assert lit_c[:, 1] == pytest.approx(HOURS + 8.0)
    assert sun_k[:, 1] == pytest.approx(np.full(49, 6.0))
    assert np.isnan(read["reading_s"][0])
    assert read["reading_s"][1] == START_S + 20 * H


@pytest.mark.parametrize(
    ("below", "lower_w_m2k", "layers"),
    [("ground", None, "on ground"), ("air", AIR_FACE_W_M2K, "over air")],
)
def test_a_slab_gives_heat_to_the_air_under_it(monkeypatch, below, lower_w_m2k, layers):
    monkeypatch.setattr(conditions, "Slab", lambda **given: Made(**given))
    monkeypatch.setattr(conditions, "slab_over_air", lambda **_: "over air")
    monkeypatch.setattr(conditions, "slab_on_ground", lambda **_: "on ground")
    made = conditions._slab(0.15, 0.0, below)
    assert (made.layers, made.lower_w_m2k) == (layers, lower_w_m2k)
    assert made.top_w_m2k == AIR_FACE_W_M2K


def room_of(slab_c=(20.0, 20.0, 20.0), **more) -> RoomConditions:
    size = len(slab_c)
    given = {"reading_s": None, **more}
    return RoomConditions(
        room="Bar", epoch_s=START_S + H * np.arange(size), slab_c=np.array(slab_c),
        air_c=np.full(size, 20.0), dew_c=np.full(size, np.nan), **given,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("reading_s", "night", "read"),
    [
        (None, None, None), (5.0, None, (5.0, conditions.READING_SD_K)),
        (None, (9.0, 0.3), (9.0, 0.3)), (5.0, (9.0, 0.3), (9.0, 0.3)),
    ],
)  # fmt: skip
def test_a_nights_own_readings_count_before_the_first(reading_s, night, read):
    assert room_of(reading_s=reading_s, night_slab=night).read == read


@pytest.mark.parametrize(
    ("slab_c", "falls"),
    [((20.0, 20.25), True), ((20.0, 20.5), False), ((20.0, 12.0), True), ((-9.0, -8.0), False)],
)
def test_a_slab_falls_or_is_level_by_what_it_changes(slab_c, falls):
    assert room_of(slab_c).slab_falls(START_S, START_S + H) == falls
