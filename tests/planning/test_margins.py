"""Three clocks and their margins: worked by hand at 21 °C, where the card speaks itself."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
from effort import examples
from hypothesis import given
from hypothesis import strategies as st

from cureplan.inputs.cards.model import Milestone, MilestonePoint
from cureplan.planning.floor.layout import PourTimes
from cureplan.planning.floor.pour import (
    BINDINGS,
    KitTemperatures,
    PourOption,
    bucket_clocks,
    kit_temperatures,
)
from cureplan.planning.schedule.tried import _unlisted
from cureplan.science.clocks import slurry_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY

HAUL_S = 60.0  # as in the trials behind the shipped card's points
MILD = KitTemperatures(liquids_c=21.0, filler_c=21.0)

# Five buckets, two a row, by hand: liquids every 200 s, filler 150 s later, poured 240 s
# after that, raked in 100 s, smoothed in 120 s, the strip broadcast 30 s after the next
# row is smoothed. The same numbers as in the layout's own test.
FIVE = PourTimes(
    bay=np.zeros(5, dtype=np.int64),
    row=np.array([0, 0, 1, 1, 2]),
    station=np.array([0, 1, 0, 1, 0]),
    liquids_in_s=np.array([0.0, 200, 400, 600, 800]),
    filler_in_s=np.array([150.0, 350, 550, 750, 950]),
    pour_s=np.array([390.0, 590, 790, 990, 1190]),
    raked_s=np.array([490.0, 690, 890, 1090, 1290]),
    smoothed_s=np.array([610.0, 810, 1010, 1210, 1410]),
    tied_in_s=np.array([890.0, 1090, 1290, 1290, np.nan]),
    broadcast_s=np.array([1040.0, 1240, 1440, 1470, 1560]),
)


@pytest.fixture(scope="module")
def clocks_at(slurry, weather_of, epoch_s):
    def run(times=FIVE, *, slab_c=21.0, start_s=None, temperatures=MILD, **changed):
        asked = {
            "clocks": slurry,
            "conditions": weather_of(slab_c),
            "temperatures": temperatures,
            "haul_s": HAUL_S,
            "speed": 1.0,
            "slab_shift_k": 0.0,
            "air_shift_k": 0.0,
            **changed,
        }
        start_s = epoch_s + 7200.0 if start_s is None else start_s
        return bucket_clocks(start_s, times, **asked)

    return run


def test_margins_of_five_buckets_by_hand(clocks_at, epoch_s):
    # At 21 °C the card's own minutes hold from filler-in: 16, 20 and 26. Bucket 1: filler
    # at 150 s, so its edge is wet until 1110 s and bucket 3 ties in at 890: 220 s left.
    # Worked until 1350, smoothed at 610: 740. Broadcast until 1710, done at 1040: 670.
    # Bucket 4 is met as soon as bucket 3, 200 s younger. The last is met by nothing, and
    # has only the other two clocks; broadcast ends at 2310 and 2510 for these two.
    clocks = clocks_at()
    edge, worked, broadcast = clocks.margins_s[:, 0]
    assert edge[:4] == pytest.approx([220, 220, 220, 420], abs=0.01)
    assert np.isinf(edge[4])
    assert worked == pytest.approx([740] * 5, abs=0.01)
    assert broadcast == pytest.approx([670, 670, 670, 840, 950], abs=0.01)
    assert [BINDINGS[i] for i in clocks.binding[0]] == ["wet_edge"] * 4 + ["working_time"]
    assert clocks.margin_s[0] == pytest.approx([220, 220, 220, 420, 740], abs=0.01)
    assert clocks.least_s == pytest.approx([220], abs=0.01)
    # Ends are instants on the same zero as the start.
    ends = clocks.ends_s[:, 0, 0] - (epoch_s + 7200)
    assert ends == pytest.approx([1110, 1350, 1710], abs=0.01)


@pytest.mark.parametrize(
    ("column", "later_s", "binding", "margin_s"),
    [
        ("tied_in_s", 300.0, "wet_edge", -80.0),
        ("smoothed_s", 800.0, "working_time", -60.0),
        ("broadcast_s", 700.0, "broadcast_closes", -30.0),
    ],
)
def test_what_comes_too_late_binds_and_counts_below_zero(
    clocks_at, column, later_s, binding, margin_s
):
    late = replace(FIVE, **{column: getattr(FIVE, column) + later_s})
    clocks = clocks_at(late)
    assert BINDINGS[clocks.binding[0, 0]] == binding
    assert clocks.margin_s[0, 0] == pytest.approx(margin_s, abs=0.01)


def test_each_start_sees_the_slab_of_its_own_hour(clocks_at, weather_of, epoch_s):
    # A slab that warms by 1 K an hour: the later the start, the shorter the margin; and
    # two starts at once are what two runs would give.
    warming = weather_of(20.0 + np.arange(120) / 10, air_c=24.0)
    starts = epoch_s + np.array([3600.0, 36_000.0, 90_000.0])
    together = clocks_at(conditions=warming, start_s=starts)
    assert np.all(np.diff(together.least_s) < 0)
    for row, start in enumerate(starts):
        alone = clocks_at(conditions=warming, start_s=start)
        assert together.margins_s[:, row] == pytest.approx(alone.margins_s[:, 0])
    pour_s = starts[:, None] + FIVE.pour_s
    expected = np.interp(pour_s, warming.epoch_s, warming.slab_c)
    assert together.slab_c == pytest.approx(expected)


def test_errors_shift_slab_and_air_of_their_own_draw_only(clocks_at, weather_of, epoch_s):
    starts = np.full(3, epoch_s + 7200)
    shifted = clocks_at(start_s=starts, slab_shift_k=[0.0, 3.0, 0.0], speed=[1.0, 1.0, 1.2])
    plain = clocks_at()
    assert shifted.margins_s[:, 0] == pytest.approx(plain.margins_s[:, 0])
    assert shifted.slab_c[1] == pytest.approx(plain.slab_c[0] + 3.0)
    assert np.all(shifted.least_s[1:] < shifted.least_s[0])
    # 21 + 3 °C of slab is what a slab of 24 °C gives.
    other = clocks_at(conditions=weather_of(24.0, air_c=21.0), start_s=starts[:1])
    assert shifted.margins_s[:, 1] == pytest.approx(other.margins_s[:, 0], abs=0.01)


def test_kits_without_a_storage_temperature_take_the_rooms(clocks_at, weather_of):
    room = weather_of(21.0, air_c=29.0)
    by_air = clocks_at(
        conditions=room, temperatures=KitTemperatures(liquids_c=None, filler_c=None)
    )
    by_hand = clocks_at(
        conditions=room, temperatures=KitTemperatures(liquids_c=29.0, filler_c=29.0)
    )
    assert by_air.mixed_c == pytest.approx(by_hand.mixed_c)
    assert np.all(by_air.least_s < clocks_at(conditions=room).least_s)


def test_broadcast_waits_for_a_card_that_says_from_when(slurry_card, clocks_at):
    # By hand: may be broadcast from 12 min after filler-in, which is 870 s for bucket 1;
    # it is smooth at 610, so everything after waits 260 s: margin 670 - 260 = 410. The
    # others keep.
    opens = Milestone(
        name="broadcast_opens", clock_starts="filler_in", spread_frac=0.1,
        points=(MilestonePoint(at_c=21.0, humidity_frac=None, after_s=720.0,
                               after_late_s=720.0, provenance="invented"),),
    )  # fmt: skip
    card = replace(slurry_card, milestones={**slurry_card.milestones, "broadcast_opens": opens})
    clocks = slurry_clocks(card, film_m=card.thickness_m, slab_effusivity=SLAB_EFFUSIVITY)
    found = clocks_at(clocks=clocks)
    assert found.margins_s[2, 0, :3] == pytest.approx([410] * 3, abs=0.01)
    assert found.margins_s[:2] == pytest.approx(clocks_at().margins_s[:2], abs=0.01)
    assert found.broadcast_by_s[0] - clocks_at().broadcast_by_s[0] == pytest.approx(
        [260] * 5, abs=0.01
    )


@pytest.mark.parametrize(
    ("chilled", "measured_c", "liquids_c"),
    [(False, None, 28.0), (True, None, 4.0), (True, 7.5, 7.5), (False, 7.5, 28.0)],
)
def test_a_measured_liquid_beats_the_estimate_where_there_is_ice(
    plain_job, chilled, measured_c, liquids_c
):
    materials = replace(
        plain_job.materials, storage_c=28.0, iced_c=4.0, liquids_measured_c=measured_c
    )
    found = kit_temperatures(materials, chilled=chilled, cool_filler=False)
    assert found == KitTemperatures(liquids_c=liquids_c, filler_c=28.0)


def test_cool_filler_and_kits_kept_in_the_room(plain_job):
    materials = replace(plain_job.materials, storage_c=None, cool_filler_c=20.0)
    assert kit_temperatures(materials, chilled=False, cool_filler=True) == KitTemperatures(
        liquids_c=None, filler_c=20.0
    )


@examples(40)
@given(
    slab_c=st.floats(15, 40),
    liquids_c=st.floats(4, 35),
    filler_c=st.floats(15, 35),
    colder_k=st.floats(0, 15),
    faster=st.floats(1, 1.4),
)
def test_colder_liquids_never_cost_margin_and_faster_batches_never_gain(
    clocks_at, slab_c, liquids_c, filler_c, colder_k, faster
):
    at = KitTemperatures(liquids_c=liquids_c, filler_c=filler_c)
    colder = replace(at, liquids_c=max(liquids_c - colder_k, 2.0))
    as_is = clocks_at(slab_c=slab_c, temperatures=at)
    assert np.all(
        clocks_at(slab_c=slab_c, temperatures=colder).margins_s >= as_is.margins_s - 0.01
    )
    hasty = clocks_at(slab_c=slab_c, temperatures=at, speed=faster)
    assert np.all(hasty.margins_s <= as_is.margins_s + 0.01)
    warmer = clocks_at(slab_c=slab_c, temperatures=at, slab_shift_k=2.0)
    assert np.all(warmer.margins_s <= as_is.margins_s + 0.01)


@pytest.mark.parametrize(
    ("listed", "tried"),
    [
        ((), ["chill", "cool_filler"]),
        (("cool filler",), ["chill"]),
        (("chill", "cool filler"), []),
    ],
)
def test_only_remedies_that_are_not_listed_and_change_the_pour_are_tried(listed, tried):
    job = SimpleNamespace(policy=SimpleNamespace(remedies=(*listed, "bays")))
    room = SimpleNamespace(run=lambda *_: SimpleNamespace(least_s=[0.0]))
    plain = PourOption(chilled=False, cool_filler=False, bays=1)
    poured = SimpleNamespace(option=plain, start_s=0.0)
    assert [name for name, _ in _unlisted(job, room, poured)] == tried
    # What is done already cannot be done again.
    iced = SimpleNamespace(option=replace(plain, chilled=True), start_s=0.0)
    assert "chill" not in [name for name, _ in _unlisted(job, room, iced)]
