"""What a search for a schedule comes back with."""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from types import FrameType
from typing import Literal

from cureplan.core.messages import Message
from cureplan.inputs.job.model import Job
from cureplan.planning.schedule.placing import PlacedCoat, PlacedPour

__all__ = [
    "Ended",
    "Failure",
    "HandStop",
    "Known",
    "Relaxation",
    "Schedule",
    "Stop",
    "never",
    "stopped_by_hand",
    "unless_stopped",
]

Known = Literal["proven", "found", "unknown", "impossible"]
"""What a search can say of its answer."""
Ended = Literal["settled", "stopped by hand", "out of work", "out of time", "gave up"]
"""Why a search went no further: out of time is the emergency alone, and gave up is a
solver that came back before any of its limits."""
Stop = Callable[[], bool]
"""Whether somebody asked the search to stop."""


def never() -> bool:
    """For a search that nobody stops."""
    return False


@dataclass(slots=True)
class HandStop:
    """Whether Ctrl-C was pressed."""

    asked: bool = False
    _on_news: Callable[[], None] | None = field(default=None)

    def __call__(self) -> bool:
        return self.asked

    def press(self, number: int, frame: FrameType | None) -> None:
        """Take the first Ctrl-C for a wish to have the best so far, a second as ever."""
        if self.asked:
            signal.default_int_handler(number, frame)
        self.asked = True
        if self._on_news is not None:
            self._on_news()


@contextmanager
def stopped_by_hand(on_news: Callable[[], None] | None = None) -> Iterator[HandStop]:
    """Take Ctrl-C for a wish to stop searching, and give Python its own handling back.

    Where Ctrl-C is not Python's to handle, or not this thread's, it stays as it is; where
    somebody listens already, it is he who is asked.
    """
    stop = HandStop(_on_news=on_news)
    here = threading.current_thread() is threading.main_thread()
    handler = signal.getsignal(signal.SIGINT)
    listens = getattr(handler, "__self__", None)
    if here and isinstance(listens, HandStop):
        yield listens
        return
    if not here or handler is not signal.default_int_handler:
        yield stop
        return
    signal.signal(signal.SIGINT, stop.press)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@dataclass(frozen=True, slots=True, kw_only=True)
class Failure:
    """Limits that cannot hold together, in which rooms, and the figures."""

    limits: tuple[str, ...]
    rooms: tuple[str, ...]
    says: tuple[Message, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Relaxation:
    """What could give way, and by how much: for the sheets and for an error."""

    job: Job
    """With the limit moved."""
    say: Message
    also: Message | None
    """The second limit, where one will not do."""
    effort_min: float
    chance_frac: float | None = None
    """How often all of the changed job's plan holds; None where it was not planned."""
    opens_s: float | None = None
    """When its last room opens [epoch s]."""
    further: Relaxation | None = None
    """The same taken further, should this not hold often enough."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Schedule:
    """Pours and coats in time, how good that is, and the hard limits that would not fit."""

    pours: tuple[PlacedPour, ...]
    coats: tuple[PlacedCoat, ...]
    failures: tuple[Failure, ...]
    required_s: float
    primers: tuple[PlacedCoat, ...] = ()
    """What is laid under the pours."""
    solver: str = "constructive"
    known: Known = "found"
    """Proven where no schedule is better, by the objectives in their order."""
    ended: Ended = "settled"
    worked: float = 0.0
    """What the search has cost, in the solver's units of about a second."""
    sure_known: Known | None = None
    """Where windows are kept as expected: whether keeping them surely is impossible, found
    and holds less often, or unknown because the search for it ended first."""
    gap_frac: float | None = None
    """How much sooner, at most, the job could open: share of the time from access to
    opening; None where nobody looked."""
    held_frac: float | None = None
    """The confidence at which each window is kept, where that is less than was asked."""
    relaxed: tuple[Relaxation, ...] | None = None
    """What would mend it where it falls short, cheapest first; None where nobody looked."""

    @property
    def proven(self) -> bool:
        """Whether no schedule is better, by the objectives in their order."""
        return self.known == "proven"

    @property
    def stopped(self) -> bool:
        """Whether somebody stopped the search."""
        return self.ended == "stopped by hand"

    @property
    def least_margin_s(self) -> float:
        """Least margin of any bucket [s]."""
        return min((pour.margin_s for pour in self.pours), default=float("-inf"))

    @property
    def opens_s(self) -> float:
        """When the last room may open [epoch s]."""
        last = {coat.room: coat.after.opens_s for coat in self.coats}
        return max(last.values(), default=float("inf"))

    @property
    def keeps_margins(self) -> bool:
        """Whether every pour keeps the margin to plan on."""
        return self._all_keep(pour.planning_margin_s for pour in self.pours)

    @property
    def keeps_margins_as_expected(self) -> bool:
        """Whether every pour keeps the margin asked on the expected night."""
        return self._all_keep(pour.margin_s for pour in self.pours)

    def _all_keep(self, margins_s: Iterator[float]) -> bool:
        # Half a second: the policy is stated in minutes.
        return bool(self.pours) and all(m >= self.required_s - 0.5 for m in margins_s)

    @property
    def keeps_limits(self) -> bool:
        """Whether each margin and window by itself holds as surely as the job asks."""
        return not self.failures and self.held_frac is None and self.keeps_margins


def unless_stopped(look: Callable[[], Schedule]) -> Schedule:
    """What a look for help found; one stopped before it found any knows not of none."""
    with stopped_by_hand() as stop:
        looked = look()
    return looked if looked.relaxed or not stop() else replace(looked, relaxed=None)
