"""Files a user wrote: bytes to text, text to TOML values or to rows of cells.

Every reader of the package comes through here, so that a fault of a file is refused once
and in one way: file, line, key, value, cure. Of a file that is not what was asked for no
more is shown than its first word.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
import tomllib
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from cureplan.core.errors import InputError
from cureplan.core.writing import whole_file

__all__ = [
    "Decoded",
    "Document",
    "KeyPath",
    "Row",
    "Scan",
    "Wanted",
    "decode",
    "delimiters",
    "first_word",
    "line_of",
    "locate",
    "parse_document",
    "read_bytes",
    "read_document",
    "read_text",
    "sample_rows",
    "split_rows",
    "whole_table",
]

LARGEST_FILE_BYTES = 1_000_000
"""Of what people write by hand; tables of weather and plans may be larger."""

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
    ((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE), "utf-32", "UTF-32"),
    ((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE), "utf-16", "UTF-16"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What a file is meant to be, for its limits and the words of a refusal."""

    name: str
    """As in "there is no such job file"."""
    content: str
    """The cure of an empty one, as in "give a header and readings"."""
    smaller: str = "check that this is the right file"
    """The cure of one too large."""
    largest_bytes: int = LARGEST_FILE_BYTES
    western: bool = False
    """Whether what is no UTF-8 may be guessed at, as `Decoded.encoding` tells."""


@dataclass(frozen=True, slots=True)
class Decoded:
    """Text with plain line feeds, and the encoding it came in."""

    text: str
    encoding: str = "UTF-8"


def read_bytes(source: Path, *, wanted: Wanted) -> bytes:
    """The bytes of an ordinary file that is not too large."""
    try:
        refused = _why_not(source, wanted)
        if refused is None:
            data = whole_file(source, largest_bytes=wanted.largest_bytes)
            if data is None:
                refused = _not_regular(wanted)
            elif len(data) > wanted.largest_bytes:
                refused = _too_large(len(data), wanted)
            else:
                return data
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else str(error)
        raise InputError(
            f"the {wanted.name} cannot be read ({reason})",
            cure="check the path and its permissions",
            source=source,
        ) from error
    raise InputError(refused[0], cure=refused[1], source=source)


def _why_not(source: Path, wanted: Wanted) -> tuple[str, str] | None:
    """Problem and cure of a path that is no file we would read."""
    if source.is_dir():
        return f"this is a folder, not a {wanted.name}", "name a file in it"
    if source.is_symlink() and not source.exists():
        return "this is a link that leads nowhere", "mend it, or name the file itself"
    if not source.exists():
        return f"there is no such {wanted.name}", "check the path and the name"
    if not source.is_file():
        return _not_regular(wanted)
    size = source.stat().st_size
    return _too_large(size, wanted) if size > wanted.largest_bytes else None


def _not_regular(wanted: Wanted) -> tuple[str, str]:
    return "this is not a regular file", f"name a {wanted.name}"


def _too_large(size: int, wanted: Wanted) -> tuple[str, str]:
    cure = f"{wanted.smaller}; the limit is {wanted.largest_bytes / 1e6:g} MB"
    return f"{size / 1e6:.1f} MB is too large for a {wanted.name}", cure


def decode(data: bytes, *, source: Path | str, wanted: Wanted) -> Decoded:
    """Text out of bytes: by their mark, as UTF-8, as UTF-16, or as Western text."""
    cure = "save it again as plain text in UTF-8"
    known = next((name for start, name in _KNOWN_AS if data.startswith(start)), None)
    if known is not None:
        cure = f"give the {wanted.name} itself" if known == "a picture" else cure
        raise InputError(f"this is {known}, not a {wanted.name}", cure=cure, source=source)
    decoded = _decoded(data, western=wanted.western)
    if decoded is None:
        raise _no_utf8(data, source, cure)
    # A NUL is no letter in any encoding, and most files that are no text hold one.
    if "\0" in decoded.text:
        line = decoded.text.count("\n", 0, decoded.text.index("\0")) + 1
        raise InputError("this is not a text file", cure=cure, source=source, line=line)
    if not decoded.text.strip():
        raise InputError("the file is empty", cure=wanted.content, source=source, line=1)
    return decoded


def _decoded(data: bytes, *, western: bool) -> Decoded | None:
    for mark, codec, name in _MARKS:
        if data.startswith(mark):
            return _try(data, codec, name)
    # Digits and commas in UTF-16 have a NUL at every other place.
    if b"\0" in data[:4096]:
        little = data[1:4096:2].count(0) > data[0:4096:2].count(0)
        wide = _try(data, "utf-16-le" if little else "utf-16-be", "UTF-16")
        if wide is not None and "\n" in wide.text:
            return wide
    plain = _try(data, "utf-8", "UTF-8")
    if plain is not None or not western:
        return plain
    for codec, name, words in _BY_WORDS:
        if (named := _try(data, codec, name)) and re.search(words, named.text[:4096].lower()):
            return named
    text = data.decode("cp1252", "replace").replace("\ufffd", "?")
    controls = re.search(r"[\x01-\x08\x0e-\x1f]", text)
    return None if controls else Decoded(_one_line_feed(text), "Windows-1252")


def _try(data: bytes, codec: str, name: str) -> Decoded | None:
    try:
        return Decoded(_one_line_feed(data.decode(codec)), name)
    except UnicodeDecodeError:
        return None


def _one_line_feed(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _no_utf8(data: bytes, source: Path | str, cure: str) -> InputError:
    try:
        data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return InputError(
            f"the text is not UTF-8 (byte 0x{data[error.start]:02x})",
            cure=cure,
            source=source,
            line=data.count(b"\n", 0, error.start) + 1,
        )
    return InputError("this is not a text file", cure=cure, source=source, line=1)


def read_text(source: Path, *, wanted: Wanted) -> Decoded:
    """`decode` of `read_bytes`."""
    return decode(read_bytes(source, wanted=wanted), source=source, wanted=wanted)


def first_word(text: str) -> str | None:
    """As much of a line as a message may show of a file that may be somebody else's.

    Examples
    --------
    >>> first_word("  root:x:0:0:root"), first_word("{}")
    ('root', '{}')
    """
    match = re.match(r"\W{0,2}\w{0,20}", text.strip())
    return (match.group() if match else "") or None


# Rows of cells

# Western bytes may pass for signs of another land, but hardly for words of a table's header.
_BY_WORDS = (
    ("cp932", "Shift-JIS", "気温|温度|湿度|日時|日付|時刻"), ("cp949", "CP949", "기온|습도"),
    ("cp1250", "Windows-1250", "wilgotność|hőmérs|čas"), ("cp1254", "Windows-1254", "sıcakl"),
)  # fmt: skip
_DELIMITERS = ",;\t|"
_SAMPLE_LINES = 80


@dataclass(frozen=True, slots=True)
class Row:
    """Cells of one row, and the line on which it begins."""

    line: int
    cells: list[str]


def split_rows(
    text: str,
    *,
    source: Path | str,
    delimiter: str = ",",
    first_line: int = 1,
    comments: bool = True,
) -> Iterator[Row]:
    """Rows of a table, blank ones and comments (#) left out.

    A quoted line break stays in its cell; only line feeds end a line, as in any editor.

    Examples
    --------
    >>> text = 'a,b\\n# why\\n1,"x\\ny"\\n2,z\\n'
    >>> [(row.line, row.cells) for row in split_rows(text, source="t.csv")]
    [(1, ['a', 'b']), (3, ['1', 'x\\ny']), (5, ['2', 'z'])]
    """
    at = first_line
    within = False

    def feed() -> Iterator[str]:
        nonlocal at, within
        for number, line in enumerate(io.StringIO(text, newline=""), start=first_line):
            if not within:
                if comments and line.lstrip(" \t").startswith("#"):
                    continue
                at = number
            within = True
            yield line

    reader = csv.reader(feed(), delimiter=delimiter, strict=True, skipinitialspace=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield Row(at, cells)
            within = False
    except csv.Error as error:
        raise _no_csv(error, source, at) from error


def whole_table(
    text: str, *, source: Path | str, delimiter: str, first_line: int
) -> tuple[list[tuple[str, ...]], list[int]]:
    """Cells of every row and the line on which each begins; `split_rows` for long tables.

    Without a row object each, and with comments left in: a third of the time.
    """
    reader = csv.reader(
        io.StringIO(text, newline=""), delimiter=delimiter, strict=True, skipinitialspace=True
    )
    # Tuples of text leave the garbage collector nothing to walk through.
    rows: list[tuple[str, ...]] = []
    lines: list[int] = []
    before = 0
    try:
        for row in reader:
            if row:
                rows.append(tuple(row))
                lines.append(first_line + before)
            before = reader.line_num
    except csv.Error as error:
        raise _no_csv(error, source, first_line + before) from error
    return rows, lines


def _no_csv(error: csv.Error, source: Path | str, line: int) -> InputError:
    never_closed = "unexpected end" in str(error)
    problem = "a quote is never closed" if never_closed else f"not a line of CSV ({error})"
    return InputError(problem, cure="check its quotes", source=source, line=line)


def delimiters(text: str, *, comments: bool = True) -> list[str]:
    """What may part the cells of a table, the likeliest first.

    Examples
    --------
    >>> delimiters("a;b\\n1,5;2\\n2,5;3\\n")[0]
    ';'
    """
    fits: list[tuple[float, int, str]] = []
    for number, delimiter in enumerate(_DELIMITERS):
        widths = Counter(len(row.cells) for row in sample_rows(text, delimiter, comments))
        if not widths:
            continue
        width, count = max(widths.items(), key=lambda item: (item[0] > 1, item[1]))
        if width > 1:
            fits.append((-count / sum(widths.values()), number, delimiter))
    return [delimiter for _, _, delimiter in sorted(fits)] or [","]


def sample_rows(text: str, delimiter: str, comments: bool) -> Iterator[Row]:
    """The first rows, as far as they can be parted; enough to find a header in."""
    try:
        for row in split_rows(
            text[:100_000], source="", delimiter=delimiter, comments=comments
        ):
            if row.line > _SAMPLE_LINES:
                return
            yield row
    except InputError:
        return


# TOML

KeyPath = tuple[str | int, ...]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_BLANK = re.compile(r"[ \t]*")
_BLANK_OR_COMMENT = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SCALAR = re.compile(r"[^,\]}\n#]*")


def line_of(path: KeyPath, lines: dict[KeyPath, int]) -> int | None:
    """1-based line of `path`, or of the nearest table around it.

    Examples
    --------
    >>> line_of(("site", "missing"), locate('[site]\\nname = "A"\\n'))
    1
    """
    for end in range(len(path), 0, -1):
        if path[:end] in lines:
            return lines[path[:end]]
    return None


def locate(text: str) -> dict[KeyPath, int]:
    """1-based line of every key, table and array entry of a valid TOML text.

    Not a checker: what it gives for a text that is no TOML means nothing.

    Examples
    --------
    >>> lines = locate('[[rooms]]\\nname = "A"\\nsun = { share = "5 %" }\\n')
    >>> lines[("rooms", 0)], lines[("rooms", 0, "sun", "share")]
    (1, 3)
    """
    return Scan(text).run()


class Scan:
    """One walk over a valid TOML text; what is met is noted by `_mark`, `_header`, `_value`."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.lines: dict[KeyPath, int] = {}
        self.counts: dict[KeyPath, int] = {}
        self.counted_to = (0, 1)

    def run(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        self._skip(_BLANK_OR_COMMENT)
        while self.at < len(self.text):
            if self.text[self.at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip(_BLANK_OR_COMMENT)
        return self.lines

    def _skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self.text, self.at)
        found = match.group() if match else ""
        self.at += len(found)
        return found

    def _line(self) -> int:
        seen, line = self.counted_to
        line += self.text.count("\n", seen, self.at)
        self.counted_to = (self.at, line)
        return line

    def _mark(self, path: KeyPath, line: int) -> None:
        for end in range(1, len(path) + 1):
            self.lines.setdefault(path[:end], line)

    def _header(self) -> KeyPath:
        line = self._line()
        is_array = self.text.startswith("[[", self.at)
        self.at += 2 if is_array else 1
        path = self._inside_arrays(self._dotted())
        self.at += 2 if is_array else 1
        if is_array:
            count = self.counts.get(path, 0)
            self.counts[path] = count + 1
            path = (*path, count)
        # A header may follow its own subtable's, so its line replaces an implied one.
        self.lines[path] = line
        self._mark(path, line)
        return path

    def _inside_arrays(self, keys: list[str]) -> KeyPath:
        """``[rooms.sun]`` belongs to the last ``[[rooms]]`` above it."""
        path: KeyPath = ()
        for number, key in enumerate(keys, start=1):
            path = (*path, key)
            if path in self.counts and number < len(keys):
                path = (*path, self.counts[path] - 1)
        return path

    def _dotted(self) -> list[str]:
        keys = [self._key()]
        while self.text.startswith(".", self.at):
            self.at += 1
            keys.append(self._key())
        return keys

    def _key(self) -> str:
        self._skip(_BLANK)
        if self.text.startswith(('"', "'"), self.at):
            key = self._string()
        else:
            key = self._skip(_BARE_KEY) or self._one()
        self._skip(_BLANK)
        return key

    def _one(self) -> str:
        """Step over a character that fits nothing, so that every scan ends."""
        self.at += 1
        return self.text[self.at - 1 : self.at]

    def _pair(self, table: KeyPath) -> None:
        line = self._line()
        path = (*table, *self._dotted())
        self._mark(path, line)
        if self.text.startswith("=", self.at):
            self.at += 1
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        self._skip(_BLANK)
        opening = self.text[self.at : self.at + 1]
        if opening and opening in "\"'":
            self._string()
        elif opening == "[":
            self._array(path)
        elif opening == "{":
            self._inline_table(path)
        else:
            self._skip(_SCALAR) or self._one()

    def _array(self, path: KeyPath) -> None:
        self.at += 1
        count = 0
        while not self._closes("]"):
            self._mark((*path, count), self._line())
            self._value((*path, count))
            count += 1
            self._comma()

    def _inline_table(self, path: KeyPath) -> None:
        self.at += 1
        while not self._closes("}"):
            self._pair(path)
            self._comma()

    def _closes(self, bracket: str) -> bool:
        self._skip(_BLANK_OR_COMMENT)
        if self.at >= len(self.text):
            return True
        if self.text[self.at] != bracket:
            return False
        self.at += 1
        return True

    def _comma(self) -> None:
        self._skip(_BLANK_OR_COMMENT)
        if self.text.startswith(",", self.at):
            self.at += 1

    def _string(self) -> str:
        """Step over a string; returns its raw inside (escapes are left as written)."""
        quote = self.text[self.at]
        is_long = self.text.startswith(quote * 3, self.at)
        mark = quote * 3 if is_long else quote
        start = self.at + len(mark)
        escape = r"\\." if quote == '"' else r"(?!)"
        body = re.compile(rf"(?:{escape}|(?!{mark}).)*", re.DOTALL)
        match = body.match(self.text, start)
        end = match.end() if match else start
        self.at = end + len(mark)
        # A long string may end in up to two more of its quotes.
        while is_long and self.text.startswith(quote, self.at):
            self.at += 1
        return self.text[start:end]


_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)$")
_UNQUOTED = re.compile(r'^\s*([A-Za-z_][\w.]*)\s*=\s*([^"\'\[{\s#][^#\n]*?)\s*(?:#.*)?$')
_LIKE_TOML = re.compile(r"\[|[A-Za-z_][\w.]*\s*=")
_SMART_QUOTES = "“”„‘’"


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A TOML file that could be read; its keys are not yet looked at."""

    source: Path
    text: str = field(repr=False)
    values: Mapping[str, Any] = field(repr=False)

    def line(self, path: KeyPath) -> int:
        """1-based line of a key, or of the nearest table around it, or the first."""
        try:
            return line_of(path, locate(self.text)) or 1
        except RecursionError:
            return 1


def read_document(source: Path, *, what: str) -> Document:
    """Read a TOML file."""
    wanted = Wanted(name=what, content=f"write a {what} into it")
    return _parsed(read_text(source, wanted=wanted).text, source=source, what=what)


def parse_document(text: str, *, source: Path, what: str) -> Document:
    """Read a TOML text that is said to come from `source`."""
    if not text.strip():
        cure = f"write a {what} into it"
        raise InputError("the file is empty", cure=cure, source=source, line=1)
    return _parsed(text, source=source, what=what)


def _parsed(text: str, *, source: Path, what: str) -> Document:
    try:
        values = tomllib.loads(text)
    except RecursionError:
        raise InputError(
            f"no {what} nests its values this deep", cure="mend the brackets", source=source
        ) from None
    except ValueError as error:
        # The reader also lets int() complain of numbers with thousands of digits.
        raise _not_toml(error, text, source) from error
    return Document(source=source, text=text, values=values)


def _not_toml(error: ValueError, text: str, source: Path) -> InputError:
    message = str(error)
    place = _PLACE.search(message)
    rows = text.split("\n")
    line = int(place[1]) if place and place[1] else (len(rows) if place else None)
    row = rows[line - 1].strip() if line is not None and line <= len(rows) else ""
    # A file of another kind may be a secret of the machine's.
    ours = source.suffix.lower() == ".toml" and _LIKE_TOML.match(row)
    shown = row if ours else first_word(row)
    problem, cure = _explained(_PLACE.sub("", message), row if ours else shown or "")
    return InputError(problem, cure=cure, source=source, line=line, value=shown)


def _explained(reason: str, row: str) -> tuple[str, str]:
    unquoted = _UNQUOTED.match(row)
    if "Cannot overwrite" in reason or "Cannot declare" in reason or "Duplicate" in reason:
        several = "; several entries are each headed with [[double brackets]]"
        cure = f"keep one of the two{several if row.startswith('[') else ''}"
        return "this key or table stands in the file twice", cure
    if any(quote in row for quote in _SMART_QUOTES):
        return "these are curly quotes", 'use straight ones (")'
    if "date" in reason.lower():
        return "this is not a date and time", "write it like 2013-07-17T19:00:00"
    if "Exceeds the limit" in reason:
        return "this number has too many digits", "write a quantity with its unit in quotes"
    if unquoted:
        cure = f'put it in straight quotes: {unquoted[1]} = "{unquoted[2]}"'
        return "this value is not TOML", cure
    return f"this is not TOML ({reason})", 'write key = "value" lines under [table] headers'
