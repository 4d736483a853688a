"""A process that works for the desk: one task at a time, its progress seen, stopped by hand."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any

from cureplan.core.errors import CurePlanError, InputError

__all__ = ["UP", "Task", "Worker"]

SOON_S = 3.0
UP = {"up": True}
"""First word of the process: from now on a Ctrl-C ends its task, not itself."""
PATIENCE_S = 20.0
"""How long a search that was asked to stop may take to give its best so far."""


@dataclass(slots=True)
class Task:
    """One thing the worker does, and what is known of it so far."""

    number: int
    name: str
    """The job it is for."""
    what: str
    gives_way: bool = False
    """Whether it is ended as soon as something else is to be done."""
    after: Callable[[Mapping[str, Any]], None] | None = None
    """Called with what it ended with, before anybody is told that it has."""
    words: str = "beginning"
    shown: bool = False
    """Whether there is something to be seen already."""
    stopped: bool = False
    """Whether somebody asked for its end."""
    ended: Mapping[str, Any] | None = None
    done: threading.Event = field(default_factory=threading.Event)


class Worker:
    """Starts its process when first asked, and anew after it was stopped."""

    def __init__(self) -> None:
        self._lock, self._turn = threading.Lock(), threading.Lock()
        self._process: subprocess.Popen[str] | None = None
        self._hears: subprocess.Popen[str] | None = None
        self._count = 0
        self.task: Task | None = None

    def begin(
        self,
        name: str,
        what: Mapping[str, Any],
        *,
        gives_way: bool = False,
        after: Callable[[Mapping[str, Any]], None] | None = None,
    ) -> Task:
        """Begin a task; refused while another is being done that does not give way."""
        with self._lock:
            before = self.task
            if before is not None and not before.done.is_set():
                if not before.gives_way:
                    raise InputError(
                        f"a plan of {before.name} is being made",
                        cure="wait for it, or stop it",
                    )
                self.stop(SOON_S)
                before.done.wait(SOON_S + 1.0)
            self._count += 1
            task = self.task = Task(
                number=self._count,
                name=name,
                what=str(what["do"]),
                gives_way=gives_way,
                after=after,
            )
            process = self._running()
            threading.Thread(target=self._follow, args=(process, task), daemon=True).start()
            if process.stdin is not None:
                with suppress(OSError):
                    process.stdin.write(json.dumps({**what, "number": task.number}) + "\n")
                    process.stdin.flush()
            return task

    def stop(self, within_s: float = PATIENCE_S) -> None:
        """End the task with the best so far, and if that takes too long, without."""
        task, process = self.task, self._process
        if task is None or process is None or task.done.is_set():
            return
        task.words, task.stopped = "stopping with the best so far", True
        # A process that only comes up would die of it with a traceback.
        if os.name == "nt" or self._hears is not process:
            process.kill()
            return
        process.send_signal(signal.SIGINT)
        late = (task, process, within_s)
        threading.Thread(target=self._kill_later, args=late, daemon=True).start()

    def close(self) -> None:
        """End the process, whatever it does."""
        process, self._process = self._process, None
        if process is not None:
            process.kill()
            process.wait()
            if self.task is not None:
                # Whoever follows it reads the end of its answers.
                self.task.done.wait(1.0)
            _hang_up(process)

    def _kill_later(self, task: Task, process: subprocess.Popen[str], within_s: float) -> None:
        if not task.done.wait(within_s):
            process.kill()
            process.wait()

    def _running(self) -> subprocess.Popen[str]:
        if self._process is None or self._process.poll() is not None:
            if self._process is not None:
                # Whoever follows it has read its last word.
                _hang_up(self._process)
            # Ctrl-C at the desk's own window is the desk's to hear.
            # -P: no file of the folder it was started in is ever taken for a module.
            self._process = subprocess.Popen(
                [sys.executable, "-P", "-m", "cureplan.desk.work"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
                encoding="utf-8",
                start_new_session=True,
            )
        return self._process

    def _follow(self, process: subprocess.Popen[str], task: Task) -> None:
        for line in process.stdout or ():
            try:
                found = json.loads(line)
            except ValueError:
                # What its end cut short, or a library's own word.
                continue
            if found == UP:
                self._hears = process
                continue
            if not isinstance(found, dict) or found.get("number") != task.number:
                # The last word of a task that was over when it was asked to stop.
                continue
            task.words = found.get("words", task.words)
            task.shown = task.shown or bool(found.get("shown"))
            if found.get("ended"):
                task.ended = found
                break
        else:
            # It was ended, or ended by itself without a word: nobody asks it for more.
            process.kill()
            process.wait()
            task.ended = {"ended": True, "stopped": True}
        if task.after is not None and task.ended is not None:
            try:
                task.after(task.ended)
            except CurePlanError as error:
                task.ended = {"ended": True, "fault": str(error)}
        task.done.set()

    def run(self, name: str, what: Mapping[str, Any], *, within_s: float) -> Task:
        """Do a task and wait for it, and for those asked for before."""
        with self._turn:
            task = self.begin(name, what)
            task.done.wait(within_s)
            return task


def _hang_up(process: subprocess.Popen[str]) -> None:
    for stream in (process.stdin, process.stdout):
        if stream is not None:
            with suppress(OSError):
                stream.close()
