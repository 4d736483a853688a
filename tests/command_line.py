"""`python -m cureplan`, as a process of its own or, much cheaper, in this one."""

from __future__ import annotations

import contextlib
import io
import os
import runpy
import subprocess
import sys
from pathlib import Path
from unittest.mock import patch

__all__ = ["run_here", "run_process"]

Done = subprocess.CompletedProcess[str]
WIDTH = {"COLUMNS": "100"}


def run_process(
    *words: object, folder: Path, env: dict[str, str] | None = None, typed: str = ""
) -> Done:
    """One run as users have it, its own interpreter and imports included."""
    return subprocess.run(
        [sys.executable, "-m", "cureplan", *map(str, words)],
        cwd=folder,
        env={**os.environ, **WIDTH, **(env or {})},
        capture_output=True,
        text=True,
        input=typed or None,
        timeout=600,
    )


def run_here(
    *words: object, folder: Path, env: dict[str, str] | None = None, typed: str = ""
) -> Done:
    """The same words through the same entry, in this process, with `typed` to be read."""
    out, err = io.StringIO(), io.StringIO()
    said = [str(word) for word in words]
    code: object = 0
    with (
        contextlib.chdir(folder),
        patch.object(sys, "argv", ["cureplan", *said]),
        patch.object(sys, "stdin", io.TextIOWrapper(io.BytesIO(typed.encode()))),
        patch.dict(os.environ, {**WIDTH, **(env or {})}),
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(err),
    ):
        try:
            runpy.run_module("cureplan", run_name="__main__")
        except SystemExit as end:
            code = end.code
    assert isinstance(code, int), f"ended with {code!r}"
    return subprocess.CompletedProcess(said, code, out.getvalue(), err.getvalue())
