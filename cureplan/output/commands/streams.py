"""Standard streams that may be closed, full, cut off, or too small for our signs.

What a terminal or a pipe cannot take must never cost a plan: what cannot be shown is
replaced by a plain sign, and a reader that has gone away is remembered, not obeyed.
"""

from __future__ import annotations

import codecs
import io
import os
import sys
import unicodedata
from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from _typeshed import ReadableBuffer

__all__ = ["Output", "plain"]

_PLAIN = "cureplan-plain"
# One sign each, so that columns stay in line.
_SIGNS = {
    "●": "*", "○": "o", "°": " ", "–": "-", "—": "-", "−": "-", "→": ">", "←": "<", "≤": "<",
    "≥": ">", "×": "x", "·": ".", "…": ".", "‘": "'", "’": "'", "“": '"', "”": '"', "µ": "u",
    "±": "~", "²": "2", "³": "3", "½": "h", "█": "#", "▇": "#", "▏": "|", "│": "|", "─": "-",
    "¿": "?", "¡": "!", "≈": "~", "√": "v", "✓": "v", "«": '"', "»": '"',
}  # fmt: skip


def plain(text: str) -> str:
    """The signs an old code page or plain ASCII has for a text, one for one.

    Examples
    --------
    >>> plain("● 86 °F, válvula")
    '* 86  F, valvula'
    """
    return "".join(_plain_sign(sign) for sign in text)


def _plain_sign(sign: str) -> str:
    if sign.isascii():
        return sign
    base = _SIGNS.get(sign) or unicodedata.normalize("NFKD", sign)[:1]
    return base if base.isascii() else "?"


def _on_error(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    return plain(error.object[error.start : error.end]), error.end


class _Patient(io.RawIOBase):
    """Bytes to a file number; after the first fault the rest is dropped and the fault kept."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self.number = number
        self.fault: OSError | None = None

    def writable(self) -> bool:
        return True

    def fileno(self) -> int:
        return self.number

    def isatty(self) -> bool:
        return os.isatty(self.number)

    def write(self, data: ReadableBuffer, /) -> int:
        size = memoryview(data).nbytes
        if self.fault is None:
            try:
                return os.write(self.number, data)
            except OSError as error:
                self.fault = error
        return size


class Output:
    """Standard output and error made ready for one run of the command."""

    def __init__(self) -> None:
        codecs.register_error(_PLAIN, _on_error)
        _open_what_is_closed()
        self._raw = _patient("stdout")
        _patient("stderr")
        for stream in (sys.stdout, sys.stderr):
            with suppress(AttributeError, ValueError, io.UnsupportedOperation):
                stream.reconfigure(errors=_PLAIN)  # type: ignore[union-attr]

    def fault(self) -> OSError | None:
        """What kept standard output from being written, once all of it is on its way."""
        try:
            sys.stdout.flush()
        except OSError as error:
            return error
        return None if self._raw is None else self._raw.fault


def _patient(name: str) -> _Patient | None:
    """Replace a standard stream, unless a caller has put something else in its place."""
    old = getattr(sys, name)
    if os.name == "nt" or old is not getattr(sys, f"__{name}__"):
        return None
    try:
        number, encoding = old.fileno(), old.encoding
    except (AttributeError, OSError, ValueError):
        return None
    raw = _Patient(number)
    stream = io.TextIOWrapper(
        io.BufferedWriter(raw),
        encoding=encoding,
        errors=_PLAIN,
        line_buffering=name == "stderr" or raw.isatty(),
    )
    setattr(sys, name, stream)
    return raw


def _open_what_is_closed() -> None:
    """A file opened later must not become standard output by taking its number."""
    for number, name, mode in ((0, "stdin", "r"), (1, "stdout", "w"), (2, "stderr", "w")):
        if getattr(sys, name) is None:
            try:
                handle = os.open(os.devnull, os.O_RDONLY if mode == "r" else os.O_WRONLY)
                if handle != number:
                    os.dup2(handle, number)
                    os.close(handle)
                setattr(sys, name, open(number, mode, closefd=False, encoding="utf-8"))  # noqa: SIM115
            except OSError:
                continue
