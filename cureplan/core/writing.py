"""Write a file whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from cureplan.core.errors import OutputError

__all__ = ["write_atomically"]


def write_atomically(path: Path, content: str | bytes) -> None:
    """Replace a file by new content in one step, safe against a crash at any moment.

    Not for appending: the last of several writers wins, whole.
    """
    part: Path | None = None
    try:
        handle, name = tempfile.mkstemp(
            prefix=f".{path.name}.", suffix=".part", dir=path.parent
        )
        part = Path(name)
        with os.fdopen(handle, "wb") as out:
            out.write(content.encode("utf-8") if isinstance(content, str) else content)
            out.flush()
            os.fsync(out.fileno())
        part.chmod(0o644)
        part.replace(path)
    except OSError as error:
        if part is not None:
            part.unlink(missing_ok=True)
        reason = error.strerror or str(error)
        raise OutputError(f"{path}: could not be written ({reason})") from error
