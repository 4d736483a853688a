"""What tabling takes: counted, so that it is the same on every machine."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from numpy.typing import ArrayLike, NDArray

from cureplan.planning.floor.pour import Columns, PourOption, RoomPours

__all__ = ["TABLE_WORK", "WORK_S", "Tabled"]

WORK_S = 2.0
"""What a unit of a search's work takes of a processor [s]; measured."""
TABLE_WORK = 5e-6
"""What a state of a model costs a search, in the solver's units of about a second; measured."""
BUCKET_S, STATE_S, FLOOR_S = 1.05e-5, 1.4e-6, 0.015
"""What running a bucket, looking at a start, and putting the layers of a floor one over the
other take of a processor; measured."""


@dataclass(slots=True)
class Tabled:
    """What all tables of a job, and of what it was changed to, have taken so far."""

    buckets: int = 0
    """Buckets run, each at one start."""
    states: int = 0
    """Starts looked at, each under one option."""
    floors: int = 0
    """Floors put together, all layers over one another."""

    def rows(
        self,
        pours: RoomPours,
        option: PourOption,
        at_s: Sequence[float] | NDArray[Any],
        of: Columns,
        speed: ArrayLike = 1.0,
    ) -> tuple[NDArray[Any], ...]:
        """What is made of a floor's buckets at some starts, counted."""
        self.buckets += len(at_s) * pours.plan(option).times.pour_s.size
        return pours.rows(option, at_s, of, speed)

    @property
    def processor_s(self) -> float:
        """About how long one processor works on that [s]."""
        return BUCKET_S * self.buckets + STATE_S * self.states + FLOOR_S * self.floors

    def with_search_s(self, work: float) -> float:
        """The same with a search's work, in the solver's own units [s]."""
        return WORK_S * work + self.processor_s
