"""Ages, clocks and nights that were drawn, where nothing or next to nothing happens."""

from __future__ import annotations

from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.odds import ages, buckets, margins

H = 3600.0


def test_in_an_hour_without_ageing_a_floor_stays_as_old_as_it_is():
    # Too cold to cure in the first hour; in the second it ages as expected, half as much again.
    expected_s, hours_s = np.array([0.0, 0.0, H]), H * np.arange(3)
    one = ages.DrawnAges(
        curve=Made(age_s=lambda at_s: np.interp(at_s, hours_s, expected_s)), hours_s=hours_s,
        expected_s=expected_s, pace=np.full((1, 3), 1.5),
        gained_s=np.array([[0.0, 0.0, 1.5 * H]]),
    )  # fmt: skip
    got = one.age_s(H * np.array([[0.0, 0.5, 1.5, 2.0]]))
    assert got == pytest.approx(np.array([[0.0, 0.0, 0.75 * H, 1.5 * H]]))


@pytest.mark.parametrize(
    ("margin_s", "kept", "cut"), [(66.0, True, False), (64.0, True, True), (59.0, False, False)]
)
def test_who_comes_late_to_the_next_room_eats_into_a_seam(monkeypatch, margin_s, kept, cut):
    # The mixing stops for 100 s after the first of four buckets. The next room is begun
    # 160 s behind, so the last bucket's edge waits 60 s for the crew alone; 5 s more where
    # the mixing stops there too, and then the floor may end at its seam.
    monkeypatch.setattr(buckets, "met_by", lambda _: np.array([1, 2, 3, -1]))
    margins_s = np.full((3, 1, 4), 999.0)
    margins_s[:, :, 3] = margin_s
    plan = Made(
        times=Made(pour_s=100.0 * np.arange(4)), layout=Made(bay=np.zeros(4), row=np.arange(4))
    )
    still = Made(
        last_s=1e9, slab_under=lambda at_s, *_: 0.0 * at_s, air_at=lambda at_s: 0.0 * at_s
    )
    nights = Made(
        members=1, known_s=-1.0, energy={"slurry": None}, iced_k=None,
        kit_ln={("Bar", 0): None},
        stop_s={"Bar": np.array([[100.0, 0, 0, 0]]), "Hall": np.array([[5.0, 9.0]])},
        slab_k={"Bar": None}, air_k={"Bar": None}, error_k=lambda *_: 0.0,
        patches_k=lambda *_: 0.0,
    )  # fmt: skip
    poured = Made(
        room="Bar", start_s=0.0, option=None, own=Made(layer=Made(stage=0)),
        clocks=Made(ends_s=np.full((3, 1, 4), 2000.0), margins_s=np.full((3, 1, 4), 200.0)),
        seam=Made(wet=True, patches=np.array([3]), next_room="Hall", closed_by=0),
    )  # fmt: skip
    on_time = Made(at_s=lambda s: s[None, :], dragged_s=lambda s: 0.0 * s[None, :])
    pours = Made(
        plan=lambda _: plan, conditions=still, job=Made(policy=Made(cut_at="bay"))
    )  # fmt: skip
    found = buckets.kept_buckets(
        pours, poured, nights, on_time, Made(at=lambda *_, **__: margins_s),
        next_visit=Made(at_s=lambda s: s[None, :] + 160.0),
    )  # fmt: skip
    assert found.kept.tolist() == [[True, True, True, kept]]
    assert found.cut.tolist() == [cut]
    assert found.stop_lost.tolist() == [False]


def test_an_energy_and_warm_liquids_hasten_a_bucket_together():
    # A table that reads 100 s for each 1 of the logarithm of speed, everywhere else alike.
    shape = margins._LN_SPEED.size, margins._SLAB_K.size, margins._AIR_K.size, 1
    table = np.broadcast_to(100.0 * margins._LN_SPEED[:, None, None, None], shape)
    warmths = np.zeros((3, margins._ICED_K.size, 1))
    # Of liquids 2 K warmer, the second of the table.
    warmths[:, 1] = 0.15
    one = margins.Margins(
        margins_s=np.stack([table] * 3), energy_ln=np.full((3, 1), 0.05), iced_ln=warmths
    )
    nothing = np.zeros((2, 1))
    got = one.at(
        np.array([[0.1], [0.1]]), energy=np.array([2.0, -1.0]), iced_k=np.array([2.0, 0.0]),
        slab_k=nothing, air_k=nothing,
    )  # fmt: skip
    # 0.1 + 2 x 0.05 + 0.15, and 0.1 - 0.05.
    assert got[:, :, 0] == pytest.approx(np.array([[35.0, 5.0]] * 3))
