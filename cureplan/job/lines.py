"""Where in a TOML text each key stands.

The standard reader keeps values and forgets lines. This one keeps lines and forgets
values; it is run only on texts the standard reader has accepted, and only once a
fault is to be shown.
"""

from __future__ import annotations

import re

__all__ = ["KeyPath", "line_of", "locate"]

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
    return _Scan(text).run()


class _Scan:
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
