"""What a drawn night does to a plan, followed by hand for one or two nights."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.floor.conditions import RoomConditions
from cureplan.planning.odds import ages, buckets, margins, nights, risk, scatter
from cureplan.planning.odds.nights import Visit
from cureplan.planning.schedule.placing import Span
from cureplan.science.rate import AgeCurve

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
S = NIGHT.timestamp()
H = 3600.0


def visit(late_s=0.0, slow=0.0, begins_s=S):
    late = np.atleast_1d(np.asarray(late_s, float))
    return Visit(begins_s=begins_s, late_s=late, slow_frac=np.full(late.size, slow))


def hourly(values, **more):
    values = np.asarray(values, float)
    return RoomConditions(
        room="Bar", epoch_s=S + H * np.arange(values.size), slab_c=values, air_c=values,
        dew_c=np.full(values.size, np.nan), reading_s=None, **more,
    )  # fmt: skip


# Crews


def test_a_crew_comes_late_and_drags_from_where_it_began():
    got = visit([60.0, 0.0], slow=0.1).at_s(S + np.array([-100.0, 0.0, 1000.0]))
    assert (got - S).tolist() == [[-40.0, 60.0, 1160.0], [-100.0, 0.0, 1100.0]]


@pytest.mark.parametrize(
    ("begins_h", "known_h", "visits"),
    [
        # Away for longer than 4 h it comes anew.
        ([0, 6], -1, [0, 0]), ([0, 6.01], -1, [0, 1]), ([6.01, 0], -1, [1, 0]),
        ([0, 4, 9.9], -1, [0, 0, 0]),
    ],
)  # fmt: skip
def test_a_crew_that_was_away_comes_late_anew(begins_h, known_h, visits):
    tasks = [(S + b * H, S + (b + 2) * H, str(n)) for n, b in enumerate(begins_h)]
    drawn = iter([np.array([[1.0], [2.0]]), np.array([[-3.0], [4.0]])])
    random = Made(normal=lambda *_: next(drawn))
    found = nights._visits(tasks, random, 1, size=1.0, known_s=S + known_h * H, again_s=4 * H)
    late = [found[str(n)].late_s[0] / nights.LATE_SD_S for n in range(len(tasks))]
    slow = [found[str(n)].slow_frac[0] / nights.RHYTHM_SD_FRAC for n in range(len(tasks))]
    assert late == pytest.approx([1.0 + 2.0 * v for v in visits])
    assert slow == pytest.approx([2.0 + 2.0 * v for v in visits])


@pytest.mark.parametrize(("known_h", "late"), [(-1, 1.0), (0, 0.0), (1, 0.0)])
def test_a_crew_that_is_here_is_not_late_any_more(known_h, late):
    random = Made(normal=lambda *_: np.ones((2, 1)))
    tasks = [(S, S + H, "Bar")]
    found = nights._visits(tasks, random, 1, size=1.0, known_s=S + known_h * H, again_s=H)
    assert found["Bar"].late_s[0] == late * nights.LATE_SD_S
    assert found["Bar"].begins_s == S + max(0, known_h) * H
    assert found["Bar"].slow_frac[0] == nights.RHYTHM_SD_FRAC


@pytest.mark.parametrize(("now_h", "known_h"), [(-1, -1), (-30, -30), (0, -12), (5, -12)])
def test_a_job_that_has_begun_counts_as_decided_half_a_day_before(now_h, known_h):
    job = Made(access=Made(begins=NIGHT))
    assert nights.known_until(job, now_s=S + now_h * H) == S + known_h * H


# Weather


def drawn(**more):
    given = {
        "members": 2, "energy": {}, "kit_ln": {}, "iced_k": np.zeros(2), "stop_s": {},
        "slab_marks": {}, "first_s": S, "air_k": {"Bar": np.zeros((2, 4))},
        "slab_k": {"Bar": np.zeros((2, 4))}, "half_k": {"Bar": np.zeros((2, 2))}, "known_s": S,
        "pour_visit": {}, "coat_visit": {}, "primer_visit": {},
    }  # fmt: skip
    return nights.Nights(**{**given, **more})


def test_errors_are_straight_between_their_hours():
    errors_k = np.array([[0.0, 2.0, 4.0, -2.0], [1.0, 1.0, 3.0, 9.0]])
    one = drawn()
    assert one.last_s == S + 3 * H
    at_s = S + H * np.array([[0.0, 0.5, 2.5], [-1.0, 1.25, 1.5]])
    assert one.error_k(errors_k, at_s) == pytest.approx(
        np.array([[0.0, 1.0, 1.0], [1.0, 1.5, 2.0]])
    )
    assert one.error_k(errors_k, np.full((2, 1), S + 9 * H)) == pytest.approx(
        np.array([[-2.0], [9.0]]), abs=0.02
    )
    assert one.error_range_k(errors_k, at_s) == (-2.0, 9.0)
    assert one.error_range_k(errors_k, S + H * np.array([0.0, 0.5])) == (0.0, 2.0)
    assert one.error_range_k(errors_k, S + H * np.array([1.0, 1.5])) == (1.0, 4.0)


@pytest.mark.parametrize(("patches", "halves"), [(4, "aabb"), (5, "aaabb"), (1, "a")])
def test_the_later_half_of_the_patches_lies_in_the_later_half(patches, halves):
    one = drawn(half_k={"Bar": np.array([[1.0, 3.0], [2.0, 5.0]])})
    got = one.patches_k("Bar", patches)
    assert got.tolist() == [
        [{"a": a, "b": b}[half] for half in halves] for a, b in ((1.0, 3.0), (2.0, 5.0))
    ]


def test_one_half_of_a_room_is_off_by_a_draw_and_the_other_is_not():
    random = Made(
        normal=lambda _: np.array([7.0, 8.0, 9.0]),
        random=Made(random=lambda _: np.array([0.4, 0.5, 0.6])),
    )
    assert nights._half(random, 3).tolist() == [[0.0, 7.0], [8.0, 0.0], [9.0, 0.0]]


@pytest.mark.parametrize(
    ("issued_h", "read_h", "first_h", "last_h"),
    [(-2.5, None, -3, 31), (1.0, None, 0, 31), (1.0, -9.2, -10, 31), (1.0, 4, 0, 31)],
)
def test_hours_reach_from_what_is_first_known_to_an_hour_after_the_opening(
    issued_h, read_h, first_h, last_h
):
    job = Made(access=Made(begins=NIGHT, open_by=NIGHT + timedelta(hours=29.5)))
    read = None if read_h is None else (S + read_h * H, 0.5)
    here = {"Bar": Made(read=read, last_s=S + 90 * H), "Hall": Made(read=None)}
    got_h = (nights._hours(job, here, S + issued_h * H) - S) / H
    assert (got_h[0], got_h[-1]) == (first_h, last_h)
    assert np.all(np.diff(got_h) == 1.0)
    here["Bar"].last_s = S + 20 * H
    assert (nights._hours(job, here, S)[-1] - S) / H == 20


def test_a_reading_bends_the_curve_to_itself():
    shares = np.array([0.5, 1.0, 0.5])
    here = Made(read=(S + 1.5 * H, 0.5), reading_share=lambda *_, **__: shares)
    hours_s = S + H * np.arange(3)
    got = nights._as_read(np.array([[1.0, 2.0, 4.0]]), hours_s, here, np.array([2.0]))
    # It saw 3 K and misread by 1: 4 K, of which each hour keeps its share.
    assert got.tolist() == [[-1.0, -2.0, 2.0]]
    bare = np.array([[1.0, 2.0, 4.0]])
    assert nights._as_read(bare, hours_s, Made(read=None), np.zeros(1)) is bare


@pytest.mark.parametrize(
    ("measured", "doubt_k", "sd_k"), [(None, 2.0, 2.0), (4.0, 2.0, 0.5), (4.0, 0.2, 0.2)]
)
def test_a_probe_tells_how_cold_the_liquids_are(measured, doubt_k, sd_k):
    job = Made(materials=Made(liquids_measured_c=measured), doubt=Made(iced_k=doubt_k))
    assert nights._iced_sd_k(job) == sd_k


def test_the_mixing_stops_once_in_so_many_kits_that_are_to_come():
    pours = {"Bar": Made(plan=lambda _: Made(times=Made(pour_s=np.array([0.0, 60.0, 120.0]))))}
    poured = Made(room="Bar", start_s=S, option=None)
    random = Made(
        random=Made(random=lambda _: np.array([[0.0, 0.009, 0.02]])),
        lasting=lambda *_: np.ones((1, 3)),
    )
    job = Made(doubt=Made(stop_every=100, stop_lasts_s=600.0))
    for known_s, stops in ((S - 1, [600, 600, 0]), (S, [0, 600, 0]), (S + 60, [0, 0, 0])):
        got = nights._stops(
            job, pours, Made(pours=[poured]), random, 1, size=1.0, known_s=known_s
        )
        assert got["Bar"].tolist() == [stops]


# Kits


def test_kits_of_a_pallet_err_alike():
    # Of two nights, each kit its own 1, a pallet 10 and 20, the night 100, the card 1000.
    draws = iter([1000.0, 1.0, 100.0, 10.0, 20.0, 1.0, 30.0])

    def normal(*shape):
        return np.full(shape, next(draws))

    one = scatter.Laid(
        key=("Bar", "pour"), begins_s=S, night=7, kit_of=np.array([0, 1, 1, 2]),
        spread_frac=1.0, left_frac=0.5,
    )  # fmt: skip
    two = replace(one, key=("Hall", "pour"), begins_s=S + 1.0, kit_of=np.array([0, 1]))
    found = scatter.Scatter(
        random=Made(normal=normal), members=1, pallet=2, pallet_share=0.36, batch=1.0,
        kit_sd=2.0,
    ).draw([two, one], times_sd=0.1)  # fmt: skip
    # 0.1 of the card, halved; 0.8 of the night and 0.6 of the pallet; twice its own. The
    # third kit is the second pallet's first, and so is the next floor's first.
    first, second = 50.0 + 80.0 + 6.0 + 2.0, 50.0 + 80.0 + 12.0 + 2.0
    assert found["Bar", "pour"] == pytest.approx(np.array([[first, first, first, second]]))
    assert found["Hall", "pour"] == pytest.approx(np.array([[second, second + 6.0]]))


@pytest.mark.parametrize(("patches", "batches"), [(4, 2), (5, 2), (3, 1)])
def test_patches_of_a_coat_share_its_batches_in_turn(patches, batches):
    layer = Made(stage="coat 1")
    placed = Made(
        room="Bar", start_s=S,
        work=Made(offset_s=np.zeros(patches), batches=batches, layer=layer),
    )  # fmt: skip
    room = Made(material=lambda _: (Made(spread_frac=0.1), None))
    got = scatter.coated_kits(room, placed, object()).kit_of.tolist()
    assert got == {4: [0, 0, 1, 1], 5: [0, 0, 0, 1, 1], 3: [0, 0, 0]}[patches]


def test_heavy_tails_by_students_own_table():
    # Of Student's t with four degrees 97.5 % lie below 2.776 (any table); a normal draw there
    # is 1.960. Its spread is the root of 2.
    got = scatter.heavy_normal(np.array([1.959964, -1.959964, 1e-9]))
    assert got == pytest.approx([2.776445 / np.sqrt(2), -2.776445 / np.sqrt(2), 0.0], abs=1e-4)
    random = Made(standard_exponential=lambda _: np.array([0.0, 2.5]))
    heavy = scatter.Tails(random=random, heavy=True).lasting(2)
    # 1.5 (e - 1)
    assert heavy == pytest.approx([0.0, 1.5 * (np.e - 1.0)])


# Ages


def test_ages_are_gathered_hour_by_hour():
    one = ages.DrawnAges(
        curve=None, hours_s=S + H * np.arange(3), expected_s=np.array([0.0, H, 3 * H]),
        pace=np.array([[1.0, 2.0, 2.0]]), gained_s=np.array([[0.0, 1.5 * H, 5.5 * H]]),
    )  # fmt: skip
    at_s = S + H * np.array([[0.0, 0.5, 1.0, 2.0]])
    assert one.pace_at(at_s) == pytest.approx(np.array([[1.0, 1.5, 2.0, 2.0]]), abs=2e-3)
    some = one.of_nights(np.array([True]))
    assert some.gained_s.tolist() == one.gained_s.tolist()


def test_ages_are_kept_around_what_is_laid():
    hours = 200
    whole = ages.DrawnAges(
        curve=None, hours_s=S + H * np.arange(hours), expected_s=H * np.arange(hours),
        pace=np.ones((1, hours)), gained_s=H * np.arange(hours, dtype=float)[None, :],
    )  # fmt: skip
    # Laid from hour 10 to 12, at most a day late; then twice an age of 6 h.
    some = whole.around(S + 10 * H, S + 12 * H, most_s=6 * H)
    got_h = (some.hours_s - S) / H
    assert (got_h[0], got_h[-1]) == (9, 48)
    assert some.pace.shape == (1, 28)
    assert some.gained_s.shape == some.expected_s[None, :].shape
    assert whole.around(S, S + 199 * H, most_s=H) is whole


GAS = 8.314462618  # J/(mol K), exact since 2019


def arrhenius(energy_j_mol, from_c, to_c):
    """How many times as fast at one temperature as at another, as written in any textbook."""
    return np.exp(energy_j_mol / GAS * (1 / (from_c + 273.15) - 1 / (to_c + 273.15)))


def test_ages_of_slabs_that_err_follow_the_law_of_arrhenius():
    fit = Made(activation_energy_j_mol=50e3, reference_c=20.0, energy_sd_j_mol=5e3)
    curve = AgeCurve(
        S + H * np.arange(6), [20.0] * 6, activation_energy_j_mol=50e3, reference_c=20.0,
        piece_s=600.0,
    )  # fmt: skip
    here = hourly([20.0] * 6)
    # Off by nothing, and by 2 K from the second hour on.
    night = drawn(slab_k={"Bar": np.array([[0.0] * 4, [0.0, 2.0, 2.0, 2.0]])})
    for energy in (0.0, 1.5):
        one = ages.DrawnAges.of(
            curve, here, fit=fit, energy=np.array([energy, energy]), nights=night
        )
        # Expected at the reference: an energy that errs moves nothing there.
        fast = arrhenius(50e3, 20.0, 22.0)
        assert one.pace[0] == pytest.approx(np.ones(one.hours_s.size))
        assert one.pace[1, :2] == pytest.approx([1.0, fast], rel=1e-6)
        at_s = S + H * np.array([[0.0, 1.0, 2.0], [0.0, 1.0, 2.0]])
        assert one.age_s(at_s)[0] == pytest.approx([0.0, H, 2 * H], rel=1e-9)
        # Straight from hour to hour: half of both paces in the first.
        first = 0.5 * (1 + fast) * H
        assert one.age_s(at_s)[1] == pytest.approx([0.0, first, first + fast * H], rel=1e-6)
        half = one.age_s(S + H * np.array([[0.5], [0.5]]))
        assert half[:, 0] == pytest.approx([0.5 * H, 0.5 * first], rel=1e-6)
        gone = one.between(S + H * np.array([[1.0], [1.0]]), S + H * np.array([[2.0], [2.0]]))
        assert gone[:, 0] == pytest.approx([H, fast * H], rel=1e-6)
        # What lies beyond its hours is held to their ends.
        assert one.age_s(np.full((2, 1), S - H))[:, 0].tolist() == [0.0, 0.0]
        assert one.age_s(np.full((2, 1), S + 99 * H))[0, 0] == pytest.approx(5 * H)
    assert one.hours_s.tolist() == (S + H * np.arange(6)).tolist()


def test_a_warm_slab_that_errs_and_an_energy_that_errs_both_count():
    fit = Made(activation_energy_j_mol=50e3, reference_c=20.0, energy_sd_j_mol=5e3)
    curve = AgeCurve(
        S + H * np.arange(4), [30.0] * 4, activation_energy_j_mol=50e3, reference_c=20.0,
        piece_s=600.0,
    )  # fmt: skip
    night = drawn(slab_k={"Bar": np.array([[0.0] * 4, [2.0] * 4])})
    one = ages.DrawnAges.of(
        curve, hourly([30.0] * 4), fit=fit, energy=np.array([1.0, 1.0]), nights=night
    )
    surer = arrhenius(5e3, 20.0, 30.0)
    fast = [surer, surer * arrhenius(50e3, 30.0, 32.0)]
    assert one.pace[:, 0] == pytest.approx(fast, rel=1e-6)


def test_an_energy_that_errs_moves_what_is_off_its_reference():
    fit = Made(activation_energy_j_mol=50e3, reference_c=20.0, energy_sd_j_mol=5e3)
    got = ages.ln_pace(np.array([0.0, 2.0, -1.0]), fit=fit, temp_c=np.array([20.0, 30.0]))
    warmer = np.log(arrhenius(5e3, 20.0, 30.0))
    assert got == pytest.approx(np.array([[0, 0], [0, 2 * warmer], [0, -warmer]]))


@pytest.mark.parametrize(("curve_h", "last_h"), [(200.0, 51.0), (40.0, 40.0)])
def test_ages_are_followed_for_two_days_after_the_opening_where_the_weather_is_known(
    curve_h, last_h
):
    rows_s = S + H * np.array([0.0, curve_h])
    curve = AgeCurve(
        rows_s, [20.0] * 2, activation_energy_j_mol=50e3, reference_c=20.0, piece_s=H
    )
    fit = Made(activation_energy_j_mol=50e3, reference_c=20.0, energy_sd_j_mol=0.0)
    here = hourly([20.0] * 201)
    one = ages.DrawnAges.of(curve, here, fit=fit, energy=np.zeros(2), nights=drawn())
    # Its hours are four.
    assert (one.hours_s[0], one.hours_s[-1]) == (S, S + last_h * H)
    assert np.all(np.diff(one.hours_s) <= H)


def test_a_kit_ages_by_its_own_pace_and_its_half_of_the_slab():
    fit = Made(activation_energy_j_mol=50e3)
    room = Made(
        room=Made(name="Bar"), material=lambda _: (Made(fit=fit), None),
        conditions=hourly([20.0, 20.0]),
    )  # fmt: skip
    night = drawn(
        kit_ln={("Bar", "pour"): np.array([[0.0, 0.1], [0.0, 0.0]])},
        half_k={"Bar": np.array([[0.0, 0.0], [0.0, 0.5]])},
    )
    got = ages.kit_factor(room, Made(stage="pour"), night, S)
    # Half a kelvin is so little that the law is straight to a hundredth of it.
    fast = arrhenius(50e3, 20.0, 20.5)
    assert got == pytest.approx(np.array([[1.0, np.exp(0.1)], [1.0, fast]]), rel=5e-4)


# Margins


def test_margins_are_read_straight_between_their_nodes():
    # 10 for each step of speed, 100 of slab, 1000 of air, 1 for each bucket.
    table = (
        10.0 * np.arange(3)[:, None, None, None] + 100.0 * np.arange(4)[:, None, None]
        + 1000.0 * np.arange(2)[:, None] + np.arange(2)
    )  # fmt: skip
    axis = np.arange(5.0)
    speed, slab, air = (
        margins._nodes(np.array([[at, at + 0.25]]), axis[:size])
        for at, size in ((0.5, 3), (1.25, 4), (0.0, 2))
    )
    got = margins._read(table, speed, slab, air)
    assert got == pytest.approx(np.array([[5 + 125, 7.5 + 150 + 250 + 1]]))
    low, part = margins._nodes(np.array([-9.0, 0.0, 1.0, 2.0, 9.0]), axis[:3])
    assert low.tolist() == [0, 0, 1, 1, 1]
    assert part.tolist() == [0.0, 0.0, 0.0, 1.0, 1.0]


def test_iced_liquids_are_read_between_their_warmths():
    rows = np.stack([np.array([1.0, 2.0]) * n for n in range(margins._ICED_K.size)])
    # Nodes at 0, 2, 5, 10, 20 and 30 K.
    got = margins._between(np.array([0.0, 1.0, 3.5, 25.0]), rows)
    assert got == pytest.approx(np.array([[0, 0], [0.5, 1], [1.5, 3], [4.5, 9]]))
    assert margins._between(np.array([99.0]), rows)[0] == pytest.approx([5.0, 10.0], abs=0.01)


# Crews wait, and go home


def test_the_first_instant_at_which_something_holds():
    low = np.array([0.0, 100.0])
    got = risk._least_s(low, low + 16_384.0, lambda at: at >= 5000.0)
    assert got == pytest.approx([5000.0, 5000.0], abs=1.0)
    assert np.all(got >= 5000.0)


def shifts(monkeypatch, *spans):
    made = [Span(begins_s=S + b, ends_s=S + e) for b, e in spans]
    monkeypatch.setattr(risk, "crew_spans", lambda *_: made)


def stay(begins, *, room="Bar", crew="pour", stage="pour", done=(0.0,), ends=0.0):
    return Made(
        begins_s=S + begins, ends_s=S + ends, room=room, shifts=(),
        done_s=S + np.asarray(done, float),
        layer=Made(crew=crew, stage=stage),
    )  # fmt: skip


def test_tools_go_in_before_the_first_task_of_a_shift(monkeypatch):
    shifts(monkeypatch, (0, 100), (200, 300))
    job = Made(crew=Made(changeover_s=2.0, setup_s=9.0))
    pours = {name: Made(settled=Made(begun_s={"pour": 0} if name == "Yard" else {}))
             for name in ("Bar", "Hall", "Yard")}  # fmt: skip
    stays = [
        stay(0), stay(50, room="Hall"), stay(99, crew="topcoat"), stay(200), stay(210),
        stay(220, room="Yard"), stay(100, room="Hall"), stay(150),
    ]  # fmt: skip
    assert list(risk._ahead_s(job, pours, stays)) == [9.0, 2.0, 9.0, 9.0, 2.0, 0.0, 9.0, 2.0]


@pytest.mark.parametrize(
    ("begins", "done", "kept"),
    [
        (0, [100, 101], [True, False]), (99, [100, 101], [True, False]),
        (100, [100, 999], [True, True]), (200, [300, 301], [True, False]),
        (-1, [999, 0], [True, True]),
    ],
)  # fmt: skip
def test_a_shift_is_kept_by_who_is_done_at_its_end(monkeypatch, begins, done, kept):
    shifts(monkeypatch, (0, 100), (200, 300))
    monkeypatch.setattr(risk, "shared_crews", lambda _: {("pour",): None})
    job = Made(crew=None)
    got = risk._shifts_kept(job, [stay(begins, done=done)], Made(members=2))
    assert got.tolist() == kept
    # And nobody stays longer than he may, of those who are in a crew that does.
    monkeypatch.setattr(risk, "shared_crews", lambda _: {("topcoat",): 50.0})
    job = Made(crew=Made(again_s=9.0, setup_s=0.0))
    got = risk._shifts_kept(job, [stay(begins, done=done)], Made(members=2))
    assert got.tolist() == kept


@pytest.mark.parametrize(
    ("second", "done", "kept"),
    [
        # Called 10 ahead of the first task; home after 100; away for more than 50 anew.
        (60, [90, 91], [True, False]), (70, [90, 91], [True, False]),
        (70.1, [160.1, 160.2], [True, False]),
    ],
)  # fmt: skip
def test_who_is_called_goes_home_in_time(second, done, kept):
    stays = [stay(second, done=done, ends=80), stay(0, done=[20, 20], ends=20)]
    crew = Made(again_s=50.0, setup_s=10.0)
    got = risk._not_too_long(stays, 100.0, crew, 2)
    assert got.tolist() == kept


@pytest.mark.parametrize(
    ("slab_c", "slab_k", "air_k", "kept"),
    [
        # From 10 to 30 °C; one night errs by that, the other not at all.
        (20.0, 0.0, 0.0, True), (20.0, 10.0, 0.0, True), (20.0, 10.1, 0.0, False),
        (20.0, -10.0, 0.0, True), (20.0, -10.1, 0.0, False), (20.0, 0.0, 10.0, True),
        (20.0, 0.0, 10.1, False), (20.0, 0.0, -10.1, False),
        # By less than a millionth of a kelvin beyond them is beyond them.
        (20.0, 10.0 + 5e-7, 0.0, False), (20.0, -10.0 - 5e-7, 0.0, False),
    ],
)  # fmt: skip
def test_slab_and_air_keep_their_limits_night_by_night(
    monkeypatch, slab_c, slab_k, air_k, kept
):
    limits = Made(slab_c=(10.0, 30.0), air_c=(10.0, 30.0))
    monkeypatch.setattr(risk, "limits_of", lambda *_: limits)
    here = hourly([slab_c] * 4)
    night = drawn(
        slab_k={"Bar": np.array([[0.0] * 4, [slab_k] * 4])},
        air_k={"Bar": np.array([[0.0] * 4, [air_k] * 4])},
    )
    laid = Made(room="Bar", layer=None, laid_s=np.full((2, 3), S + 1800.0))
    got = risk._within_limits(Made(job=None, conditions=here), laid, night)
    assert got.tolist() == [True, kept]


@pytest.mark.parametrize(
    ("half_k", "sun_k", "kept"),
    [(10.0, None, True), (10.1, None, False), (-10.1, None, False), (9.0, 1.0, True),
     (-9.0, 1.0, True), (-9.1, 1.0, False)],
)  # fmt: skip
def test_a_half_and_a_shade_keep_their_limits_too(monkeypatch, half_k, sun_k, kept):
    limits = Made(slab_c=(10.0, 30.0), air_c=(0.0, 99.0))
    monkeypatch.setattr(risk, "limits_of", lambda *_: limits)
    here = hourly([20.0] * 4, sun_k=None if sun_k is None else np.full(4, sun_k))
    night = drawn(half_k={"Bar": np.array([[0.0, half_k], [0.0, half_k]])})
    laid = Made(room="Bar", layer=None, laid_s=np.full((2, 4), S + 1800.0))
    got = risk._within_limits(Made(job=None, conditions=here), laid, night)
    assert got.tolist() == [kept, kept]


@pytest.mark.parametrize(("due_h", "opens"), [(10.0, [True, True]), (9.0, [False, True])])
def test_a_room_opens_once_its_last_patch_is_old_enough(due_h, opens):
    # 8 h at twice the pace in the second night; the last patch is laid at hour 2.
    job = Made(
        due=lambda _: NIGHT + timedelta(hours=due_h),
        room=lambda _: Made(open_needs=("foot_traffic", "wheels")),
    )
    last = Made(
        room="Bar", needs_s={"foot_traffic": H, "wheels": 8 * H},
        laid_s=S + H * np.array([[0.0, 1.0, 2.0], [0.0, 1.0, 2.0]]),
        kit_factor=np.array([[9.0, 9.0, 1.0], [9.0, 9.0, 2.0]]),
        ages=Made(between=lambda begins_s, ends_s: ends_s - begins_s),
    )  # fmt: skip
    assert risk._opens(job, last).tolist() == opens


def test_work_is_done_once_the_mixing_went_on_again():
    come = Made(at_s=lambda planned_s: planned_s + np.array([[10.0], [20.0]]))
    one = Made(visit=come, ends_s=100.0, stopped_s=None, patch_s=np.array([5.0, 6.0]))
    assert risk._Stay.done_s.fget(one).tolist() == [110.0, 120.0]
    one.stopped_s = np.array([[0.0, 7.0], [1.0, 1.0]])
    assert risk._Stay.done_s.fget(one).tolist() == [117.0, 121.0]
    assert risk._Stay.laid_s.func(one).tolist() == [[15.0, 23.0], [26.0, 27.0]]
    # By the last of its stops, of however many.
    one.stopped_s = np.array([[0.0, 7.0, 9.0], [1.0, 1.0, 1.0]])
    assert risk._Stay.done_s.fget(one).tolist() == [119.0, 121.0]


def test_below_a_layer_lies_the_one_before():
    one, two = Made(room="Bar", layer="pour"), Made(room="Bar", layer="coat 1")
    laid = {("Bar", "pour"): one}
    assert risk._below(two, ["pour", "coat 1"], laid) is one
    assert risk._below(one, ["pour", "coat 1"], laid) is None
    assert risk._below(two, ["pour", "coat 1"], {}) is None


# Buckets


@pytest.mark.parametrize(
    ("stop_s", "edge_s", "cut"),
    [(59.0, 0.0, False), (60.0, 0.0, False), (61.0, 0.0, True), (300.0, 300.0, False),
     (301.0, 300.0, True)],
)  # fmt: skip
def test_a_stop_between_two_bays_ends_the_pour_there(stop_s, edge_s, cut):
    layout = Made(bay=np.array([0, 0, 1, 1]))
    pours = Made(plan=lambda _: Made(layout=layout))
    poured = Made(room="Bar", option=None)
    edges = {"wet_edge": 0, "broadcast_closes": 2}
    for lowest in edges.values():
        left = np.full((3, 1, 4), 1e6)
        left[lowest, 0, 1] = edge_s
        for bucket, ends in ((2, cut), (1, False), (3, False)):
            stops = np.zeros((1, 4))
            stops[0, bucket] = stop_s
            night = Made(stop_s={"Bar": stops})
            got = buckets._ended_at_a_bay(pours, poured, night, left)
            assert got.tolist() == [ends]
