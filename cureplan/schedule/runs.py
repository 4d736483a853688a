"""States that differ only in when they begin, gathered: a few runs instead of thousands.

Over an hour the time until a floor bears feet changes by some minutes; between two such
changes everything about a state moves along with its begin. A solver then needs one
switch per run and one number for the begin.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cureplan.schedule.problem import NEVER, Stage

__all__ = ["FAR", "OFFSETS", "Runs", "gather_runs"]

IntArray = NDArray[np.int64]
OFFSETS = ("ends", "frees", "shuts", "walks", "opens", "closes")
LABELS = ("short", "cost", "span", "option")
FAR = 100_000
"""Offset of what never comes: beyond every begin, and small enough to add up."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Runs:
    """R runs of one stage's states."""

    first: IntArray
    """Begin of the first state of each run, shape (R,)."""
    last: IntArray
    state: IntArray
    """Which state of the stage is the first of each run."""
    order: IntArray
    """States in the order the runs take them, shape (K,)."""
    offset: dict[str, IntArray]
    """By name of `OFFSETS`: what to add to the begin, shape (R,)."""
    label: dict[str, IntArray]
    """By name of `LABELS`, shape (R,)."""

    def run_of(self, k: int) -> int:
        """The run that holds a state."""
        place = int(np.flatnonzero(self.order == k)[0])
        return int(np.searchsorted(self.state, place, side="right")) - 1

    def state_at(self, run: int, begin: int) -> int:
        """The state of a run that begins at a slot."""
        return int(self.order[self.state[run] + begin - self.first[run]])


def gather_runs(stage: Stage) -> Runs:
    """Gather a stage's states into runs.

    Parameters
    ----------
    stage : Stage
        With at least one state.

    Returns
    -------
    Runs
    """
    order = np.lexsort((stage.begins, stage.option))
    begins = stage.begins[order]
    offset = {name: getattr(stage, name)[order] - begins for name in OFFSETS}
    for name in OFFSETS:
        offset[name] = np.where(getattr(stage, name)[order] >= NEVER, FAR, offset[name])
    label = {name: getattr(stage, name)[order] for name in LABELS}
    breaks = np.diff(begins) != 1
    for values in (*offset.values(), *label.values()):
        breaks |= np.diff(values) != 0
    state = np.concatenate([[0], np.flatnonzero(breaks) + 1]).astype(np.int64)
    final = np.concatenate([state[1:] - 1, [begins.size - 1]]).astype(np.int64)
    return Runs(
        first=begins[state],
        last=begins[final],
        state=state,
        order=order,
        offset={name: values[state] for name, values in offset.items()},
        label={name: values[state] for name, values in label.items()},
    )
