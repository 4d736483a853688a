"""Floors that are only slow in a cool room are warmed."""

from __future__ import annotations

from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.core.messages import Message
from cureplan.planning.schedule import trials


def failure(*rooms, codes=()):
    return Made(rooms=rooms, limits=(), says=[Message(code, {}) for code in codes])


def test_rooms_ready_too_late_may_be_heated_where_their_slab_is_cool():
    failures = [
        failure("A", codes=("limit.opening",)), failure("B", codes=("limit.opening_way",)),
        failure("C", codes=("limit.opening",)), failure("D", codes=("limit.pour_long",)),
    ]  # fmt: skip
    # 70 F, what heaters keep usually, is 21.1 C: half of the hours lie below 18.1 C, or not.
    slab_c = {"A": [30, 18, 10], "B": [30, 18, 18], "C": [19, 18.2, 10], "D": [10, 10, 10]}
    pours = {
        name: Made(conditions=Made(slab_c=np.array(its, float))) for name, its in slab_c.items()
    }
    assert trials._slow_rooms(Made(failures=failures, pours=pours)) == ["A", "B"]


def test_a_room_that_would_be_ready_too_late_is_heated_to_75_f(monkeypatch):
    asked = []
    monkeypatch.setattr(trials, "heated", lambda _, names, *, to_c: [asked.append(to_c), names])
    monkeypatch.setattr(trials, "_slow_rooms", lambda _: ["A"])
    monkeypatch.setattr(trials, "_clear_of_dew_c", lambda *_: 20.0)
    for name in ("elsewhere_stored", "in_spiked_shoes", "left_out"):
        monkeypatch.setattr(trials, name, lambda *_: [])
    some = Made(failures=[failure("A", codes=("limit.opening",))])
    assert [*trials.of_failures(some, Made(rooms=[]))] == [None, ["A"]]
    # 75 F by the scale's definition.
    assert asked == [pytest.approx(43 / 1.8)]
    # What is too cold is not warmed for speed, but clear of the dew point.
    some = Made(failures=[failure("A", codes=("limit.opening", "limit.dew"))])
    assert [*trials.of_failures(some, Made(rooms=[]))] == [None, ["A"]]
    assert asked[1:] == [20.0]
