"""Work done in a copy of this process while this one goes on."""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import TypeVar

__all__ = ["beside"]

Found = TypeVar("Found")


@contextmanager
def beside(work: Callable[[], Found]) -> Iterator[Callable[[], Found]]:
    """Begin work that only reckons; what is given, called, returns what the work found.

    With one processor, beside other threads, where a process cannot be copied, and where
    the copy comes to grief, the work is done here when it is asked for, and raises here.

    Examples
    --------
    >>> with beside(lambda: sum([1, 2, 3])) as found:
    ...     found()
    6
    """
    copied = _copied(work) if _may_copy() else None
    if copied is None:
        yield work
        return
    copy, read_end = copied
    ended: list[int] = []

    def found() -> Found:
        with open(read_end, "rb", closefd=False) as pipe:
            answer = pipe.read()
        ended.append(os.waitpid(copy, 0)[1])
        if ended[0] != 0:
            return work()
        result: Found = pickle.loads(answer)  # noqa: S301 - its own copy
        return result

    try:
        yield found
    finally:
        os.close(read_end)
        if not ended:
            os.kill(copy, signal.SIGKILL)
            os.waitpid(copy, 0)


def _may_copy() -> bool:
    if not sys.platform.startswith("linux") or threading.active_count() > 1:
        return False
    return len(os.sched_getaffinity(0)) > 1


def _copied(work: Callable[[], object]) -> tuple[int, int] | None:
    """A copy at work and the pipe its answer comes through."""
    for stream in (sys.stdout, sys.stderr):
        with suppress(AttributeError, OSError, ValueError):
            # The copy must not say again what stands in a buffer.
            stream.flush()
    read_end, write_end = os.pipe()
    try:
        with warnings.catch_warnings():
            # Of threads that only reckon, and stand still now.
            warnings.simplefilter("ignore", DeprecationWarning)
            copy = os.fork()
    except OSError:
        os.close(read_end)
        os.close(write_end)
        return None
    if copy == 0:
        _answer(work, read_end, write_end)
    os.close(write_end)
    return copy, read_end


def _answer(work: Callable[[], object], read_end: int, write_end: int) -> None:
    """In the copy: nothing it does, and no end of it, may show outside but the answer."""
    status = 1
    try:
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        os.close(read_end)
        with open(write_end, "wb") as pipe:
            pickle.dump(work(), pipe)
        status = 0
    except BaseException:  # noqa: BLE001, S110
        pass
    finally:
        os._exit(status)
