"""Bytes of a file as text, and text as rows of cells, or one clear refusal.

Nothing here knows what a table is about: the caller says by `Wanted` what kind of file it
asked for, and finds its header among the rows.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from cureplan.core.errors import InputError

__all__ = [
    "LARGEST_BYTES",
    "Decoded",
    "Rows",
    "Wanted",
    "decode",
    "delimiters",
    "is_comment",
    "read_bytes",
    "read_text",
    "sample_rows",
    "split_comments",
    "split_rows",
]

LARGEST_BYTES = 40_000_000
_DELIMITERS = ",;\t|"
_SAMPLE_ROWS = 80
# First bytes of what people rename or attach in place of a text file.
_KNOWN_AS = (
    (b"PK\x03\x04", "a workbook or zip archive"),
    (b"\xd0\xcf\x11\xe0", "an old workbook"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"%PDF", "a PDF"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"SQLite format 3", "a database"),
)
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig", "UTF-8"),
    (codecs.BOM_UTF32_LE, "utf-32", "UTF-32"),
    (codecs.BOM_UTF32_BE, "utf-32", "UTF-32"),
    (codecs.BOM_UTF16_LE, "utf-16", "UTF-16"),
    (codecs.BOM_UTF16_BE, "utf-16", "UTF-16"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What a file is meant to be, for the words of a refusal."""

    name: str
    """As in "name the CSV file inside it"."""
    smaller: str
    """How to make it smaller."""
    content: str
    """What it holds, as in "give a header line and one row per hour"."""


@dataclass(frozen=True, slots=True)
class Decoded:
    """Text, and the encoding it came in."""

    text: str
    encoding: str


@dataclass(frozen=True, slots=True)
class Rows:
    """Rows of cells, blank rows left out, each with the line on which it begins."""

    cells: list[tuple[str, ...]]
    lines: list[int]


def read_bytes(path: Path, *, wanted: Wanted) -> bytes:
    """The bytes of an ordinary file of at most `LARGEST_BYTES`.

    Raises
    ------
    InputError
        Missing, a directory, unreadable or too large.
    """
    try:
        if path.is_dir():
            cure = f"name the {wanted.name} inside it"
            raise InputError("is a directory", cure=cure, source=path)
        if path.exists() and not path.is_file():
            cure = f"name a {wanted.name}"
            raise InputError("is not an ordinary file", cure=cure, source=path)
        size_bytes = path.stat().st_size
        if size_bytes > LARGEST_BYTES:
            raise InputError(
                f"is {size_bytes / 1e6:.0f} MB large; at most {LARGEST_BYTES / 1e6:.0f} MB"
                " are read",
                cure=wanted.smaller,
                source=path,
            )
        return path.read_bytes()
    except FileNotFoundError as error:
        raise InputError(
            "no such file", cure="check the name; a path starts at the job file", source=path
        ) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"cannot be read ({reason})", cure="check the name and its permissions", source=path
        ) from error


def decode(raw: bytes, *, source: Path | str, wanted: Wanted) -> Decoded:
    """Text out of bytes: by its mark, as UTF-8 or UTF-16, or as Western European text.

    The last is a guess, as any byte is a letter there: it is told by `encoding`, and holds
    for digits and the degree sign in every code page of the West.

    Raises
    ------
    InputError
        Not text, or empty.
    """
    save = "save it as CSV text in UTF-8"
    known = next((name for start, name in _KNOWN_AS if raw.startswith(start)), None)
    if known is not None:
        raise InputError(f"is {known}, not a text file", cure=save, source=source)
    decoded = _decoded(raw)
    # A NUL is no letter in any encoding; other control signs are not written by hand.
    if decoded is None or "\0" in decoded.text:
        raise InputError("is not a text file", cure=save, source=source)
    if not decoded.text.strip():
        raise InputError("is empty", cure=wanted.content, source=source)
    return decoded


def _decoded(raw: bytes) -> Decoded | None:
    for mark, codec, name in _MARKS:
        if raw.startswith(mark):
            return _try(raw, codec, name)
    if b"\0" in raw[:4096]:
        # Digits and commas in UTF-16 have a NUL at every other place.
        little = raw[1:4096:2].count(0) > raw[0:4096:2].count(0)
        wide = _try(raw, "utf-16-le" if little else "utf-16-be", "UTF-16")
        return wide if wide is not None and "\n" in wide.text else None
    return _try(raw, "utf-8", "UTF-8") or _western(raw)


def _try(raw: bytes, codec: str, name: str) -> Decoded | None:
    try:
        return Decoded(raw.decode(codec), name)
    except UnicodeDecodeError:
        return None


def _western(raw: bytes) -> Decoded | None:
    text = raw.decode("cp1252", "replace").replace("\ufffd", "?")
    controls = len(re.findall(r"[\x01-\x08\x0e-\x1f]", text))
    return None if controls else Decoded(text, "Windows-1252")


def read_text(path: Path, *, wanted: Wanted) -> Decoded:
    """`decode` of `read_bytes`."""
    return decode(read_bytes(path, wanted=wanted), source=path, wanted=wanted)


def split_comments(text: str) -> tuple[list[tuple[int, str]], str, int]:
    """Numbered comment lines on top without their ``#``, the rest, and its first line.

    A header that begins with a column named ``#`` is not a comment.

    Examples
    --------
    >>> split_comments("# source: a gauge\\n\\ntime,temp_c")
    ([(1, 'source: a gauge')], 'time,temp_c', 3)
    >>> split_comments("#,time\\n1,2013")[2]
    1
    """
    comments: list[tuple[int, str]] = []
    number, at = 1, 0
    # Not splitlines: it also breaks at characters that editors do not count as lines.
    for match in re.finditer(r"([^\r\n]*)(\r\n|\n|\r|$)", text):
        bare = match[1].strip(" \t\ufeff")
        if bare and not is_comment(bare):
            break
        if bare:
            comments.append((number, bare.lstrip("#").strip()))
        number += 1
        at = match.end()
        if at >= len(text):
            break
    return comments, text[at:], number


def is_comment(text: str) -> bool:
    """Whether a line, or the first cell of a row, is a remark and not data.

    Examples
    --------
    >>> is_comment("# kept by the yard"), is_comment("#"), is_comment('"#","Date"')
    (True, True, False)
    """
    return text.startswith("#") and not re.match(r"#\s*[,;\t|]", text)


def delimiters(text: str) -> list[str]:
    """What may part the cells of a table, the likeliest first.

    Examples
    --------
    >>> delimiters("a;b\\n1,5;2\\n2,5;3\\n")[0]
    ';'
    """
    fits: list[tuple[float, int, str]] = []
    for number, delimiter in enumerate(_DELIMITERS):
        widths = Counter(len(row) for row in sample_rows(text, delimiter))
        if not widths:
            continue
        width, count = max(widths.items(), key=lambda item: (item[0] > 1, item[1]))
        if width > 1:
            fits.append((-count / sum(widths.values()), number, delimiter))
    return [delimiter for _, _, delimiter in sorted(fits)] or [","]


def sample_rows(text: str, delimiter: str) -> Iterator[list[str]]:
    """The first rows of a table, as far as they can be parted; enough to find its header."""
    lines = io.StringIO(text[: 2000 * _SAMPLE_ROWS], newline="")
    reader = csv.reader(lines, delimiter=delimiter, skipinitialspace=True)
    try:
        for row in reader:
            if any(row):
                yield row
            if reader.line_num > _SAMPLE_ROWS:
                return
    except csv.Error:
        return


def split_rows(text: str, *, delimiter: str, source: Path | str, first_line: int = 1) -> Rows:
    """Every row of a table, cells as written; a quoted line break stays in its cell.

    Raises
    ------
    InputError
        A quote is never closed, or stands where none may.
    """
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=delimiter, strict=True, skipinitialspace=True
    )
    # Tuples of text leave the garbage collector nothing to walk through.
    cells: list[tuple[str, ...]] = []
    lines: list[int] = []
    before = 0
    try:
        for row in reader:
            if row:
                cells.append(tuple(row))
                lines.append(first_line + before)
            before = reader.line_num
    except csv.Error as error:
        raise InputError(
            f"not a line of CSV ({error})",
            cure="check its quotes",
            source=source,
            line=first_line + before,
        ) from error
    return Rows(cells, lines)
