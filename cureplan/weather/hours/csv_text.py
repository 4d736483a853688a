"""A text file as numbered lines, or one clear refusal."""

from __future__ import annotations

from pathlib import Path

from cureplan.core.errors import InputError

__all__ = ["LARGEST_BYTES", "read_text", "split_comments"]

LARGEST_BYTES = 20_000_000
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")


def read_text(path: Path) -> str:
    """The whole of a UTF-8 text file, with or without a byte-order mark.

    Parameters
    ----------
    path : Path
        An ordinary file of at most 20 MB.

    Returns
    -------
    str
        Not empty.

    Raises
    ------
    InputError
        Missing, a directory, unreadable, too large, empty, not text or not UTF-8.
    """
    try:
        if path.is_dir():
            raise InputError("is a directory", cure="name the CSV file inside it", source=path)
        if path.exists() and not path.is_file():
            raise InputError("is not an ordinary file", cure="name a CSV file", source=path)
        size_bytes = path.stat().st_size
        if size_bytes > LARGEST_BYTES:
            raise InputError(
                f"is {size_bytes / 1e6:.0f} MB large; at most 20 MB are read",
                cure="cut the file to the weeks around the job",
                source=path,
            )
        raw = path.read_bytes()
    except FileNotFoundError as error:
        raise InputError(
            "no such file", cure="check the name; a path starts at the job file", source=path
        ) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"cannot be read ({reason})", cure="check the name and its permissions", source=path
        ) from error
    return _decode(raw, path)


def _decode(raw: bytes, path: Path) -> str:
    save = "save it as CSV text in UTF-8"
    if raw.startswith(_UTF16_MARKS):
        raise InputError("is encoded as UTF-16", cure=save, source=path)
    if b"\0" in raw:
        raise InputError("is not a text file", cure=save, source=path)
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        raise InputError(
            f"byte {raw[error.start]:#04x} is not UTF-8", cure=save, source=path, line=line
        ) from error
    if not text.strip():
        raise InputError(
            "is empty", cure="give a header line and one row per hour", source=path
        )
    return text


def split_comments(text: str) -> tuple[list[tuple[int, str]], list[tuple[int, str]]]:
    """Numbered comment lines on top, without their ``#``, and the numbered rest.

    Examples
    --------
    >>> split_comments("# source: a gauge\\n\\ntime,temp_c")
    ([(1, 'source: a gauge')], [(3, 'time,temp_c')])
    """
    comments: list[tuple[int, str]] = []
    body: list[tuple[int, str]] = []
    # Not splitlines: it also breaks at characters that editors do not count as lines.
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for number, line in enumerate(lines, start=1):
        bare = line.strip()
        if bare.startswith("#") and not body:
            comments.append((number, bare.lstrip("#").strip()))
        elif bare:
            body.append((number, line))
    return comments, body
