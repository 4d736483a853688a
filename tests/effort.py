"""What a run of the tests may cost.

How many drawn examples a property is tried on: few in every run, many in a long one. The
profile of tests/conftest.py in force decides; a count given here is that of a run with a
hundred examples for a property that names none.
"""

from __future__ import annotations

import gc
import os
from math import ceil

from hypothesis import settings

__all__ = ["FAST", "LONG", "drawn", "examples"]

# As the command has it, and here before numpy is loaded: threads that wait for more small
# matrices, and looking for rubbish among all that pytest keeps, cost a tenth.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
gc.set_threshold(20_000, 20, 20)

FAST, LONG = 25, 1000
FEWEST = 2  # the first is always the plainest there is


def drawn(count: int) -> int:
    """How many nights or seeds a statistical test draws, where a fast run draws so many."""
    return ceil(count * _in_force().max_examples / FAST)


def examples(count: int) -> settings:
    """Settings for a property worth so many examples, scaled by the profile in force."""
    return settings(max_examples=max(FEWEST, ceil(count * _in_force().max_examples / 100)))


def _in_force() -> settings:
    profile = settings.default
    if profile is None:
        raise RuntimeError("no hypothesis profile is in force; tests/conftest.py loads one")
    return profile
