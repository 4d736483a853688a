"""What a table of margins says of speeds, energies and ice, worked out by hand."""

from __future__ import annotations

from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.floor.pour import BINDINGS
from cureplan.planning.odds import margins
from cureplan.planning.odds.margins import Margins

CLOCKS = len(BINDINGS)


def test_energy_and_warm_liquids_run_the_clocks_as_so_much_speed():
    # A margin that is as much shorter as the clocks run faster, as ln.
    table = (
        np.zeros((CLOCKS, margins._LN_SPEED.size, 5, 3, 2))
        - margins._LN_SPEED[:, None, None, None]
    )
    iced = np.zeros((CLOCKS, margins._ICED_K.size, 2))
    iced[:, :, 1] = 0.01 * margins._ICED_K
    energy = np.array([[0.05, 0.0], [0.0, 0.0], [-0.05, 0.0]])
    one = Margins(margins_s=table, energy_ln=energy, iced_ln=iced)
    none = np.zeros((2, 2))
    got = one.at(
        np.array([[0.1, 0.1], [0.0, 0.0]]), energy=np.array([1.0, -2.0]),
        iced_k=np.array([2.0, 3.5]), slab_k=none, air_k=none,
    )  # fmt: skip
    # By clock, night and bucket: speed, energy and warm liquids added up.
    assert got == pytest.approx(
        -np.array([
            [[0.15, 0.12], [-0.1, 0.035]], [[0.1, 0.12], [0.0, 0.035]],
            [[0.05, 0.12], [0.1, 0.035]],
        ]),
        abs=1e-9,
    )  # fmt: skip


class Pours:
    """Clocks that end after 1000 s, 800 s sooner for each unit of ln speed, 5 s for each kelvin
    of warmer liquids, and a fiftieth of a second for each J/mol of energy."""

    clocks = Made(fit=Made(energy_sd_j_mol=4000.0))

    def __init__(self):
        self.asked = []

    def run(self, _option, _start_s=None, **more):
        self.asked.append(more)
        speed = np.atleast_1d(more.get("speed", 1.0))
        liquids_k = np.broadcast_to(more.get("liquids_shift_k", 0.0), speed.shape)
        ends_s = 1000.0 - 800.0 * np.log(speed) - 5.0 * liquids_k
        ends_s = ends_s - more.get("energy_shift_j_mol", 0.0) / 50.0
        shown = np.broadcast_to(ends_s[None, :, None], (CLOCKS, speed.size, 2))
        left_s = shown - 700.0
        left_s = np.where(np.arange(CLOCKS)[:, None, None] == 1, np.inf, left_s)
        return Made(ends_s=shown, margins_s=left_s)


@pytest.mark.parametrize("chilled", [False, True])
def test_a_table_knows_what_energy_and_ice_do(chilled):
    pours, at_reference = Pours(), np.array([1e-5, 0.0, 0.0])
    poured = Made(option=Made(chilled=chilled), times=None, start_s=0.0)
    got = margins._tabulated(pours, poured, at_reference)
    # A fiftieth of a second of 800: 2.5e-5 for each J/mol, less what is taken off elsewhere.
    assert got.energy_ln == pytest.approx(
        4000.0 * np.array([[1.5e-5] * 2, *[[2.5e-5] * 2] * 2])
    )
    # 5 s of 800 for each kelvin.
    wanted = margins._ICED_K / 160.0 if chilled else 0.0 * margins._ICED_K
    for clock in range(CLOCKS):
        for bucket in range(2):
            assert got.iced_ln[clock, :, bucket] == pytest.approx(wanted)
    # By speed alone here; what nothing asks for is never short.
    assert got.margins_s.shape == (CLOCKS, margins._LN_SPEED.size, 5, 3, 2)
    assert got.margins_s[0, :, 0, 0, 0] == pytest.approx(300.0 - 800.0 * margins._LN_SPEED)
    assert (got.margins_s[1] == 1e7).all()
    grid = pours.asked[0]
    cells = margins._LN_SPEED.size * 15
    assert sorted(set(grid["slab_shift_k"][:cells])) == [-4.5, -2.25, 0.0, 2.25, 4.5]
    assert sorted(set(grid["air_shift_k"][:cells])) == [-5.0, 0.0, 5.0]
    assert grid["speed"].size == cells + (14 if chilled else 2)
