"""Write a file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from cureplan.errors import OutputError

__all__ = ["write_atomically"]


def write_atomically(path: Path, text: str) -> None:
    """Replace a file by new UTF-8 text in one step, safe against a crash at any moment.

    Not for appending: the last of several writers wins, whole.

    Parameters
    ----------
    path : Path
        Target; its folder must exist.
    text : str
        New content; line ends are written as they are.

    Raises
    ------
    OutputError
        It could not be written; what stood at `path` before still stands.
    """
    part: Path | None = None
    try:
        handle, name = tempfile.mkstemp(
            prefix=f".{path.name}.", suffix=".part", dir=path.parent
        )
        part = Path(name)
        with os.fdopen(handle, "w", encoding="utf-8", newline="") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        part.chmod(0o644)
        part.replace(path)
    except OSError as error:
        if part is not None:
            part.unlink(missing_ok=True)
        reason = error.strerror or str(error)
        raise OutputError(f"{path}: could not be written ({reason})") from error
