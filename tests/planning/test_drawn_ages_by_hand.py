"""Ages, clocks and nights that were drawn, where nothing or next to nothing happens."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.odds import ages, buckets, margins, nights

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


@pytest.mark.parametrize("chilled", [True, False])
def test_a_table_is_made_of_one_run_and_another_with_more_energy(chilled):
    # Clocks end after 1,000 s, 400 s sooner for each 1 of the logarithm of speed, 30 s for
    # each kelvin that liquids are warmer, and 20 s for 1,000 J/mol more.
    def run(_option, start_s, *, times, speed=None, energy_shift_j_mol=0.0, **shifts):
        if speed is None:
            return Made(ends_s=np.full((3, 1, 1), 1000.0 - 0.02 * energy_shift_j_mol))
        ln, warmer_k = np.log(speed), shifts["liquids_shift_k"]
        margin_s = 10.0 * ln + shifts["slab_shift_k"] + 0.1 * shifts["air_shift_k"]
        return Made(
            ends_s=np.stack([1000.0 - 400.0 * ln[:, None] - 30.0 * warmer_k[:, None]] * 3),
            margins_s=np.stack([margin_s[:, None]] * 2 + [np.full((ln.size, 1), np.inf)]),
        )

    pours = Made(run=run, clocks=Made(fit=Made(energy_sd_j_mol=2000.0)))
    poured = Made(option=Made(chilled=chilled), times=None, start_s=0.0)
    got = margins._tabulated(pours, poured, np.full(3, 2e-5))
    # 0.02 s for each J/mol are 5e-5 of the logarithm; 2e-5 of it the card's points have
    # known: 3e-5, by 2,000 J/mol.
    assert got.energy_ln == pytest.approx(np.full((3, 1), 0.06))
    # 30 s are 0.075 of the logarithm, which is followed to 0.75.
    warmths = 0.075 * np.minimum(margins._ICED_K, 10.0) * chilled
    assert got.iced_ln == pytest.approx(np.stack([warmths[:, None]] * 3))
    grid = (
        10.0 * margins._LN_SPEED[:, None, None]
        + margins._SLAB_K[:, None]
        + 0.1 * margins._AIR_K
    )
    assert got.margins_s[:2] == pytest.approx(np.stack([grid[..., None]] * 2))
    assert (got.margins_s[2] == margins._NEVER_S).all()


@dataclass(frozen=True)
class Kit:
    activation_energy_j_mol: float = 40_000.0
    reference_c: float = 23.0


def test_what_an_energy_does_where_the_card_was_timed(monkeypatch):
    # 200 s sooner for each 1 of the logarithm of speed, 0.01 s for each J/mol more.
    def run_bucket(*_, kit, speed, **__):
        more_j_mol = kit.activation_energy_j_mol - 40_000.0
        ends_s = 500.0 - 200.0 * np.log(speed) - 0.01 * more_j_mol
        return Made(when_s=lambda _: np.array(ends_s))

    monkeypatch.setattr(margins, "run_bucket", run_bucket)
    names = dict.fromkeys(margins.BINDINGS, 1.0)
    clocks = Made(kit=Kit(), film_m=0.003, slab_effusivity=1000.0, age_s=names)
    job = Made(cards=Made(slurry=Made(reference_haul_s=60.0)))
    got = margins._energy_at_reference(Made(clocks=clocks, job=job))
    assert got == pytest.approx([5e-5] * 3)


def test_the_forecast_errs_from_the_hour_after_it_was_issued(monkeypatch):
    heard = []

    def answered(_, job, outdoor_k, indoor_k, drawn):
        heard.append(outdoor_k)
        return {}

    monkeypatch.setattr(nights.Draws, "_answered", answered)
    job = Made(seed=1, building="as it is", rooms=[])
    nights.Draws()._drawn(job, {}, 5, H, H * np.arange(4), ())
    assert (heard[0][:, :2] == 0.0).all()
    assert (heard[0][:, 2:] != 0.0).all()


def test_only_a_sky_as_unsure_as_can_be_serves_again(monkeypatch):
    asked = []

    def drawn(_self, _job, _conditions, *_, silent=None):
        asked.append(silent)
        return nights._Sky(
            columns=None, first_s=0.0, air_k={}, slab_k={"Bar": np.ones(2)}, after={},
            marks={"Bar": ("mark",)},
        )  # fmt: skip

    monkeypatch.setattr(
        nights.Draws, "_drawn", lambda *given: drawn(*given[:-1], silent=given[-1])
    )
    monkeypatch.setattr(nights, "_hours", lambda *_: np.arange(2.0))
    monkeypatch.setattr(nights, "kept", lambda make, *_: make())
    monkeypatch.setattr(nights, "mark_of", lambda *given: given)
    one, job = nights.Draws(), Made(seed=1, building=None, rooms=[])

    def sky(*silent):
        return one.sky(job, {}, members=2, issued_s=0.0, silent=silent).slab_k["Bar"].tolist()

    assert sky("slab") == [1.0, 1.0]
    assert [sky(), sky()] == [[1.0, 1.0]] * 2
    # Of a sky that is known, slabs that are known too are made without a draw.
    assert sky("slab") == [0.0, 0.0]
    assert sky("weather") == [1.0, 1.0]
    assert asked == [("slab",), (), ("weather",)]


def test_air_errs_by_the_outdoors_and_by_itself():
    answer = Made(after=lambda k, share: share * k, air=0.5, slab=0.25)
    air_k, slab_k = nights._answer_k(answer, np.array([4.0]), np.array([1.0]))
    assert (air_k.tolist(), slab_k.tolist()) == ([3.0], [1.0])


def test_a_slab_errs_with_all_rooms_and_by_itself(monkeypatch):
    # Their share of the variance, and the rest of it.
    monkeypatch.setattr(nights, "fading", lambda off, *_: off)
    monkeypatch.setattr(nights, "_as_read", lambda off_k, *_: off_k)
    shared, own = np.array([[2.0]]), np.array([[0.5]])
    here = Made(reading_left=lambda after_s: after_s)
    got = nights._slab_off_k(3.0, np.array([[0.7]]), shared, own, None, np.zeros(1), here)
    by_itself_k = nights.SLAB_OWN_SD_K * (nights.SLAB_SHARED**0.5 * 2.0 + 0.5)
    assert got == pytest.approx(np.array([[3.0 * (0.7 + by_itself_k)]]))


def test_what_rooms_share_and_what_each_has_make_one(monkeypatch):
    drawn = []
    monkeypatch.setattr(nights, "_slab_off_k", lambda *given: drawn.append(given[2:4]))
    monkeypatch.setattr(nights, "mark_of", lambda *given: given)
    monkeypatch.setattr(nights, "kept", lambda make, *_: make())
    rooms = {"Bar": (np.zeros(1), ("mark",), np.zeros(1))}
    monkeypatch.setattr(nights.Draws, "_answered", lambda *_: rooms)
    job = Made(seed=3, building=None, rooms=[Made(name="Bar")])
    nights.Draws()._drawn(job, {"Bar": None}, 400, 0.0, H * np.arange(50), ())
    shared, own = drawn[0]
    both = np.sqrt(nights.SLAB_SHARED) * shared + own
    # Of 20,000 draws the spread is 1 to within some three hundredths.
    assert float(both.std()) == pytest.approx(1.0, abs=0.03)


def test_each_night_is_read_in_its_own_row():
    before, after = nights.around_of(
        np.arange(12.0).reshape(3, 4), np.array([[0, 2], [1, 1], [2, 0]])
    )
    assert before.tolist() == [[0, 2], [5, 5], [10, 8]]
    assert after.tolist() == [[1, 3], [6, 6], [11, 9]]


def test_a_reading_after_the_last_hour_saw_what_that_hour_is():
    here = Made(read=(9 * H, 0.5), reading_share=lambda *_, **__: np.array([0.5, 1.0, 0.5]))
    got = nights._as_read(np.array([[1.0, 2.0, 4.0]]), H * np.arange(3), here, np.zeros(1))
    assert got == pytest.approx(np.array([[-1.0, -2.0, 2.0]]), abs=0.01)
