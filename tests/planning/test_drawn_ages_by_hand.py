"""Ages, clocks and nights that were drawn, where nothing or next to nothing happens."""

from __future__ import annotations

from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.odds import ages

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
