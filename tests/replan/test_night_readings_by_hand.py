"""What readings of a log tell of kits and slabs, line by line, worked out by hand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.replan import estimate
from cureplan.science.learning.tonight import SeenEnd, SeenMix, SeenSlab

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()


class RefusedError(Exception):
    """A line of a log that cannot be."""


def event(kind, after_s=0.0, *, bucket=None, temp_c=None, room="Bar"):
    def fault(key, problem, *_):
        return RefusedError(f"{key}: {problem}")

    return Made(
        event=kind, at=NIGHT + timedelta(seconds=after_s), room=room, bucket=bucket,
        temp_c=temp_c, fault=fault,
    )  # fmt: skip


def seen(*, poured=(0.0, 600.0, 1200.0), assumed=()):
    """Readings of a floor of four buckets; each second bucket lies in a later half."""
    floor = Made(
        poured_s=NIGHT_S + np.array(poured), done=len(poured), assumed=assumed,
        room=Made(room="Bar"), bay=np.zeros(4, int), row=np.arange(4),
    )  # fmt: skip
    card = Made(filler_mix_s=200.0)
    job = Made(cards=Made(slurry=card), pace=Made(haul_s=60.0))
    conditions = {"Bar": Made(slab_under=lambda *_: np.array([18.0, 19.0, 20.0, 21.0]))}
    state = Made(floors={"Bar": floor})
    return estimate.Seen(job, state, conditions, ("Hall", "Bar"), None, frozenset())


@pytest.mark.parametrize(
    ("bucket", "after_s", "along", "excess_k"),
    [(None, 0.0, None, 3.5), (2, 0.0, -0.5, 4.0), (3, 0.0, 0.5, 3.0)],
)
def test_a_slab_is_read_under_a_bucket_or_in_the_mean(bucket, after_s, along, excess_k):
    found = seen()
    found.take(event("slab reads", after_s, bucket=bucket, temp_c=23.0))
    assert found.slabs == [SeenSlab(room=1, excess_k=excess_k, along=along)]
    assert (found.mixes, found.ends, len(found.readings_said)) == ([], [], 1)


def test_buckets_read_more_than_once_are_watched_once(monkeypatch):
    monkeypatch.setattr(estimate.Seen, "_watched", lambda *given: given[-1])
    found = seen(assumed=(3,))
    found.take(event("bucket reads", 100.0, bucket=2, temp_c=25.0))
    found.take(event("wet edge ended", 900.0, bucket=1))
    found.take(event("surface closed", 2000.0, bucket=2))
    assert found.mixes == [SeenMix(bucket=0, temp_c=25.0)]
    # Hauled for 60 s and mixed with its filler for 200 s before it was poured.
    assert found.ends == [
        SeenEnd(bucket=1, milestone="wet_edge", after_s=900.0 + 260.0),
        SeenEnd(bucket=0, milestone="broadcast_closes", after_s=1400.0 + 260.0),
    ]
    assert (found.buckets, found.keys) == ([2, 1], [("Bar", 2), ("Bar", 1)])
    assert [one.event for one in found.end_events] == ["wet edge ended", "surface closed"]
    assert found.slabs == []


@pytest.mark.parametrize(
    ("bucket", "after_s", "refused"),
    [
        (2, 600.0, "at: it lies before"), (2, 601.0, None), (1, 0.0, "at: it lies before"),
        (1, 1.0, None), (3, 1201.0, "bucket: it has no line"),
        (4, 2000.0, "bucket: it has no line"),
    ],
)  # fmt: skip
def test_a_clock_ends_after_a_bucket_that_has_its_line(monkeypatch, bucket, after_s, refused):
    monkeypatch.setattr(estimate.Seen, "_watched", lambda *_: None)
    found = seen(assumed=(3,))
    one = event("wet edge ended", after_s, bucket=bucket)
    if refused is None:
        found.take(one)
        assert len(found.ends) == 1
        return
    with pytest.raises(RefusedError, match=refused):
        found.take(one)
    assert found.ends == []
    last = seen()
    last.take(event("wet edge ended", 1201.0, bucket=3))
    assert [end.after_s for end in last.ends] == [1.0 + 260.0]


@pytest.mark.parametrize(
    ("after_s", "refused"), [(999.0, True), (1000.0, False), (6250.0, False), (6251.0, True)]
)
def test_a_clock_ends_within_two_and_a_half_times_what_its_card_says(after_s, refused):
    # After 2,500 s by its card.
    fit = Made(as_planned_s=lambda bucket, _: 2500.0 if bucket == "the" else None)
    ends = [Made(bucket=1, milestone="wet_edge", after_s=after_s)]
    found = Made(ends=ends, end_events=[event("wet edge ended")], buckets=["a", "the"])
    if refused:
        with pytest.raises(RefusedError):
            estimate.refuse_wild_ends(found, fit)
    else:
        estimate.refuse_wild_ends(found, fit)


@pytest.mark.parametrize(
    ("read", "left", "doubt_k", "found"),
    [
        # Of 5 K, 4 K are what all have in common: 25 less 0.64 times 3.75².
        (None, None, None, (5.0, 4.0)), ((1800.0, 0.7), 0.6, 2.0, (2.0, 3.2)),
        ((1800.0, 0.7), 0.0, 2.0, (2.0, 4.0)), ((1800.0, 0.7), 1.0, 0.0, (0.01, 0.0)),
    ],
)  # fmt: skip
def test_how_far_a_computed_slab_errs_and_what_all_have_in_common(
    monkeypatch, read, left, doubt_k, found
):
    for name, value in (("SLAB_SD_K", 5.0), ("SLAB_SHARED", 0.36), ("SLAB_OWN_SD_K", 3.75)):
        monkeypatch.setattr(estimate, name, value)
    asked = []

    def slab_doubt_k(share, *, reading_doubt_k, march_doubt_k):
        asked.append((share, reading_doubt_k, march_doubt_k))
        return doubt_k

    monkeypatch.setattr(estimate, "slab_doubt_k", slab_doubt_k)
    # Half an hour after it was read.
    here = Made(read=read, reading_left=lambda after_s: left if after_s == 1800.0 else None)
    assert estimate._slab_sd_k(here, 3600.0) == pytest.approx(found)
    assert asked == ([] if read is None else [(left, 0.7, 5.0)])


@dataclass(frozen=True)
class Prior:
    slab_sd_k: tuple
    slab_shared_k: tuple


@pytest.mark.parametrize(
    ("excess_k", "wider"),
    [
        # Believed as from two readings, each of 1 K with the reading's own error: (2 + 9 + 25)
        # / 4 is 9, (2 + 6) / 3 is 2.7; never surer than was believed.
        ((3.0, 5.0), 3.0), ((6.0**0.5,), (8.0 / 3.0) ** 0.5), ((1.0,), 1.0), ((0.1, 0.2), 1.0),
        ((), 1.0),
    ],
)  # fmt: skip
def test_slabs_far_off_leave_the_others_less_sure(monkeypatch, excess_k, wider):
    monkeypatch.setattr(estimate, "READING_SD_K", 0.6)
    monkeypatch.setattr(estimate, "PRIOR_FREEDOM", 2.0)
    slabs = [SeenSlab(room=1, excess_k=each, along=None) for each in excess_k]
    got = estimate._widened(Prior((9.0, 0.8), (7.0, 0.5)), slabs)
    assert got.slab_sd_k == pytest.approx((9.0 * wider, 0.8 * wider))
    assert got.slab_shared_k == pytest.approx((7.0 * wider, 0.5 * wider))


@pytest.mark.parametrize(
    ("ends_h", "read_h", "rest_h"),
    [
        # From 20:00 on pours are left until 22:00: half of it is 21:00.
        ((2.0, 1.0), -1.0, 2.0), ((2.0, 1.0), 1.5, 0.0), ((-3.0,), -1.0, 1.0), ((), -1.0, 0.0),
        ((2.0,), None, 0.0),
    ],
)  # fmt: skip
def test_how_long_after_the_last_bucket_read_what_is_left_is_poured(ends_h, read_h, rest_h):
    floors = {
        str(n): Made(complete=False, room=Made(pour_end=NIGHT + timedelta(hours=h)))
        for n, h in enumerate(ends_h)
    }
    floors["done"] = Made(complete=True, room=Made(pour_end=NIGHT + timedelta(hours=9)))
    fit = Made(now_h=0.0 if read_h is None else NIGHT_S / 3600.0 + read_h)
    found = estimate._rest_h(Made(floors=floors, now_s=NIGHT_S), fit)
    assert found == pytest.approx(rest_h)


@pytest.mark.parametrize(("done", "along"), [(0, 0.0), (1, 1 / 6), (2, 0.5), (4, 0.0)])
def test_in_which_half_lies_what_is_still_to_be_poured(done, along):
    floor = Made(
        bay=np.zeros(4, int), row=np.arange(4), done=done, complete=done == 4
    )  # fmt: skip
    assert estimate._rest_along(floor, False) == pytest.approx(along)
    assert estimate._along(floor, True).tolist() == [-0.5, -0.5, 0.5, 0.5]
