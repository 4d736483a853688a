"""A night's log as several phones write it: one file, each entry with its author.

The file is the CSV that `replan` and `record` read. What does not count stands in it as a
comment: struck entries, doubles, contradictions, and how late the crew says it is.
"""

from __future__ import annotations

import csv
import io
import re
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import takewhile
from pathlib import Path
from typing import Any, Literal, NamedTuple

from cureplan.core.errors import CurePlanError, InputError
from cureplan.core.writing import write_atomically
from cureplan.inputs.files import Wanted, read_text
from cureplan.inputs.tables.night_log import (
    COLUMNS,
    EVENTS,
    KEPT_COLUMNS,
    NightEvent,
    NightSite,
    as_said,
    contradiction,
    firsts,
    read_night_log_text,
)
from cureplan.output.sheet.write import defused

__all__ = ["LATE", "MOST_ENTRIES", "MOST_SENT", "Entry", "NightLog", "clean_name"]

LATE = "late"
"""No event of the log: by how many seconds the crew says it is late, a phone to the others."""
MOST_ENTRIES = 4_000
"""Fewer than a reader of the log takes, so that the file can always be read."""
MOST_SENT = 500
MOST_LATE_S = 86_400
LONGEST_NOTE = 200
_ID = re.compile(r"[A-Za-z0-9-]{6,64}")
_HEADER = ",".join(KEPT_COLUMNS)
_OF_BUCKETS_ON_FLOORS = tuple(event for event in EVENTS if event != "lost")
_STRUCK, _DOUBLE, _AGAINST, _LOOSE, _LATE = (
    "# struck by ", "# said before: ", "# contradicts the log: ", "# not poured: ", "# late: ",
)  # fmt: skip

Standing = Literal["counts", "double", "contradicts"]
_HEADS: dict[Standing, str] = {"double": _DOUBLE, "contradicts": _AGAINST}


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One entry as it was written, who wrote it, and whether it counts."""

    id: str
    number: int
    author: str
    cells: tuple[str, ...]
    """As in `COLUMNS`."""
    event: NightEvent | None
    """What it says; None for lateness and for what no plan of this night can read."""
    struck: str = ""
    """Who took it back."""
    standing: Standing = "counts"
    against: int = 0
    """The number of the entry it contradicts."""
    version: int = 0
    """Of the log, when this entry last changed."""

    @property
    def counts(self) -> bool:
        """Whether the log says so: not struck, no double, no contradiction."""
        return not self.struck and self.standing == "counts"

    def shown(self) -> dict[str, Any]:
        """As phones get it."""
        said = dict(zip(COLUMNS, self.cells, strict=True))
        room = said["room"] if self.event is None else (self.event.room or "")
        return said | {
            "id": self.id, "number": self.number, "author": self.author, "room": room,
            "struck": self.struck, "standing": self.standing, "against": self.against,
        }  # fmt: skip


class _Stands(NamedTuple):
    """What stands in a log, never changed but put in another's place: whoever reads it
    need not wait for who writes."""

    version: int
    entries: dict[str, Entry]
    """By their ids, what changed last at the end."""


@dataclass(slots=True, eq=False)
class _Said:
    """What a phone waits to have taken in."""

    ops: Sequence[Mapping[str, Any]]
    author: str
    refused: list[dict[str, str]] = field(default_factory=list)
    fault: CurePlanError | None = None
    done: bool = False


class NightLog:
    """The log of one night on disk; whatever is taken in is on disk before it is answered.

    Of many who speak at once the first writes for all: each waits for one writing of the
    file, or two, however many there are.
    """

    def __init__(self, path: Path, *, title: str, site: NightSite) -> None:
        self.path = path
        self.title = title
        self.site = replace(site, used_until=None)
        self._writing = threading.RLock()
        self._said: list[_Said] = []
        self._stands = _Stands(0, {})
        self._take_in(_entries_in(path, self.site) if path.exists() else ())

    def plan_changed(self, site: NightSite) -> None:
        """New entries are read against another plan of the same night from now on."""
        self.site = replace(site, used_until=None)

    # What stands in it

    @property
    def version(self) -> int:
        """How often it has changed, entry by entry."""
        return self._stands.version

    def news(self, *, since: int) -> tuple[int, list[Entry]]:
        """The version, and what changed after another one, in the order of numbers."""
        version, entries = self._stands
        found = takewhile(lambda entry: entry.version > since, reversed(entries.values()))
        return version, sorted(found, key=lambda entry: entry.number)

    def entries(self) -> list[Entry]:
        """All of them, in the order of numbers."""
        return self.news(since=0)[1]

    def text(self) -> str:
        """The log as it is on disk."""
        return _text(self.title, self._stands.entries.values())

    def contradictions(self) -> list[str]:
        """What cannot be true beside what counts, in words with both hours and authors."""
        numbered = {entry.number: entry for entry in self._stands.entries.values()}
        at = [e for e in numbered.values() if e.standing == "contradicts" and not e.struck]
        # A hand may have written that head before a line of its own.
        known = [entry for entry in at if entry.against in numbered]
        return [self._against(entry, numbered[entry.against]) for entry in known]

    def _against(self, entry: Entry, other: Entry) -> str:
        if entry.event is None or other.event is None:
            return f"entry {entry.number} contradicts entry {other.number}"
        here, there = (
            f"{e.event.at.astimezone(self.site.zone):%H:%M}" for e in (entry, other) if e.event
        )
        return (
            f"{as_said(entry.event)}: {entry.author} says at {here} (entry {entry.number}), "
            f"{other.author} says at {there} (entry {other.number}); delete the wrong one"
        )

    # What changes it

    def take(self, ops: Sequence[Mapping[str, Any]], *, author: str) -> list[dict[str, str]]:
        """Take in what a phone says, in its order, all or none on disk; refusals by id.

        Each op has a `kind`: `add`, `strike` or `back`, which puts back what was struck,
        whoever wrote it. A phone may send again what it does not know to have arrived: an
        id that is known is no news.
        """
        if len(ops) > MOST_SENT:
            raise InputError(
                f"{len(ops):,} entries at once", cure=f"send at most {MOST_SENT} at a time"
            )
        mine = _Said(ops, author)
        self._said.append(mine)
        try:
            with self._writing:
                if not mine.done:
                    self._take([*self._said])
        finally:
            self._said.remove(mine)
        if mine.fault is not None:
            raise mine.fault
        return mine.refused

    def _take(self, said: Sequence[_Said]) -> None:
        """Take in at one go what came while the file was being written."""
        known, number, fault = dict(self._stands.entries), self._last(), None
        for one in said:
            one.refused = []
            for op in one.ops:
                ident, kind = str(op.get("id", "")), op.get("kind", "add")
                entry = known.get(ident)
                if kind == "add" and entry is None:
                    full = len(known) >= MOST_ENTRIES
                    try:
                        entry = self._read(ident, op, one.author, full=full)
                    except CurePlanError as error:
                        one.refused.append({"id": ident[:64], "why": _why(error)})
                        continue
                    number += 1
                    known[ident] = replace(entry, number=number)
                elif entry is not None and kind == ("back" if entry.struck else "strike"):
                    known[ident] = replace(entry, struck="" if entry.struck else one.author)
        try:
            self._put(known)
        except CurePlanError as error:
            fault = error
        for one in said:
            one.fault, one.done = fault, True

    def add(self, sent: Sequence[Mapping[str, Any]], *, author: str) -> list[dict[str, str]]:
        """Take entries in; those refused are named with why."""
        return self.take([{**one, "kind": "add"} for one in sent], author=author)

    def strike(self, ids: Iterable[str], *, author: str, back: bool = False) -> None:
        """Take entries back, or put them back; unknown ids are no news."""
        kind = "back" if back else "strike"
        self.take([{"id": ident, "kind": kind} for ident in ids], author=author)

    def add_file(self, text: str, *, name: str, author: str) -> list[dict[str, str]]:
        """Take in a log that a phone saved as a file; refused whole where it cannot be read."""
        events = read_night_log_text(text, source=Path(name), site=self.site)
        with self._writing:
            known = {entry.cells[:5] for entry in self.entries() if not entry.struck}
            rows = [_cells_of(event) for event in events]
            rows = [cells for cells in rows if cells[:5] not in known]
            start = 1 + self._last()
            sent = [
                dict(zip(COLUMNS, cells, strict=True)) | {"id": f"file-{start + place}-{place}"}
                for place, cells in enumerate(rows)
            ]
            refused: list[dict[str, str]] = []
            for place in range(0, len(sent), MOST_SENT):
                refused += self.add(sent[place : place + MOST_SENT], author=author)
            return refused

    def _last(self) -> int:
        return max((entry.number for entry in self._stands.entries.values()), default=0)

    def _read(self, ident: str, sent: Mapping[str, Any], author: str, *, full: bool) -> Entry:
        if not _ID.fullmatch(ident):
            raise InputError("the entry has no id", cure="open the sheet again from the desk")
        if full:
            raise InputError(
                f"the log of this night has its {MOST_ENTRIES:,} entries",
                cure="write further ones on paper",
            )
        cells = tuple(_cell(name, sent.get(name)) for name in COLUMNS)
        event = _event(cells, self.site, author)
        return Entry(id=ident, number=0, author=author, cells=cells, event=event)

    def _put(self, entries: Mapping[str, Entry]) -> None:
        """Write what is new; where that fails nothing has changed."""
        settled = _settled(entries, self.site)
        before = self._stands.entries
        changed = [entry for entry in settled if before.get(entry.id) != entry]
        if not changed:
            return
        write_atomically(self.path, _text(self.title, settled))
        self._take_in(changed)

    def _take_in(self, changed: Iterable[Entry]) -> None:
        version, before = self._stands
        entries = dict(before)
        for entry in changed:
            version += 1
            entries.pop(entry.id, None)
            entries[entry.id] = replace(entry, version=version)
        self._stands = _Stands(version, entries)


def _cell(name: str, value: Any) -> str:
    text = "" if value is None else str(value)
    if len(text) > LONGEST_NOTE or not text.isprintable():
        raise InputError(
            f"the {name} is no line of {LONGEST_NOTE} plain signs at most", cure="write it anew"
        )
    return defused(text) if name == "note" else text.strip()


def _event(cells: tuple[str, ...], site: NightSite, author: str) -> NightEvent | None:
    """What cells say, read as the line of a log; None for lateness."""
    said = dict(zip(COLUMNS, cells, strict=True))
    if said["event"] == LATE:
        late = said["value"].removeprefix("-")
        if not (late.isascii() and late.isdigit() and int(late[:9]) <= MOST_LATE_S):
            raise InputError("lateness is whole seconds within a day", cure="set it anew")
        return None
    (event,) = read_night_log_text(
        f"{','.join(COLUMNS)}\n{_line(cells)}", source=Path("log"), site=site
    )
    return replace(event, author=author)


def _cells_of(event: NightEvent) -> tuple[str, ...]:
    bucket = "" if event.bucket is None else str(event.bucket)
    at = event.at.isoformat(timespec="seconds")
    return (at, event.event, event.room or "", bucket, event.value, event.note)


def _why(error: CurePlanError) -> str:
    """A refusal without the place in a file that never was."""
    if not isinstance(error, InputError):
        return str(error)
    value = f"{error.key} {error.value!r}: " if error.value is not None else ""
    return f"{value}{error.problem}; {error.cure}"


def _settled(entries: Mapping[str, Entry], site: NightSite) -> list[Entry]:
    """Every entry with its standing among the others."""
    found = dict(entries)
    by_event = {
        id(entry.event): entry for entry in entries.values() if entry.event and not entry.struck
    }
    for event, first in firsts(entry.event for entry in by_event.values() if entry.event):
        entry, other = by_event[id(event)], by_event[id(first)]
        standing = _standing(event, first, site)
        against = other.number if standing == "contradicts" else 0
        if (standing, against) != (entry.standing, entry.against):
            found[entry.id] = replace(entry, standing=standing, against=against)
    return sorted(found.values(), key=lambda entry: entry.number)


def _standing(event: NightEvent, first: NightEvent, site: NightSite) -> Standing:
    if event is first:
        return "counts"
    return "double" if contradiction(first, event, site) is None else "contradicts"


# On disk


def _line(cells: Iterable[str]) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerow(cells)
    return out.getvalue()


def _text(title: str, entries: Iterable[Entry]) -> str:
    """The log in the order of time, as far as it is told."""
    ordered = sorted(entries, key=_in_time)
    poured = {_bucket(entry) for entry in ordered if entry.counts and _is_pour(entry)}
    lines = (_before(e, poured) + _written(e.cells, *_signed(e)) for e in ordered)
    return f"# {title}\n{_HEADER}\n{''.join(lines)}"


def _signed(entry: Entry) -> tuple[str, str, str]:
    return entry.author, str(entry.number), entry.id


@lru_cache(maxsize=2 * MOST_ENTRIES)
def _written(cells: tuple[str, ...], *signed: str) -> str:
    return _line((*cells, *signed))


def _in_time(entry: Entry) -> tuple[float, int]:
    return (0.0 if entry.event is None else entry.event.at.timestamp(), entry.number)


def _bucket(entry: Entry) -> tuple[str | None, int | None]:
    return (None, None) if entry.event is None else (entry.event.room, entry.event.bucket)


def _is_pour(entry: Entry) -> bool:
    return entry.event is not None and entry.event.event == "poured"


def _before(entry: Entry, poured: set[tuple[str | None, int | None]]) -> str:
    """What makes a comment of an entry that says nothing that can be used."""
    if entry.struck:
        return f"{_STRUCK}{entry.struck}: "
    if entry.cells[1] == LATE:
        return _LATE
    if entry.standing != "counts":
        return _HEADS[entry.standing]
    if entry.event is None:
        return ""
    loose = entry.event.bucket is not None and entry.event.event in _OF_BUCKETS_ON_FLOORS
    return _LOOSE if loose and _bucket(entry) not in poured else ""


def _entries_in(path: Path, site: NightSite) -> list[Entry]:
    """The entries of a file that a desk wrote, or that somebody wrote by hand since."""
    wanted = Wanted(name="log", content="delete it")
    found: dict[str, Entry] = {}
    lines = read_text(path, wanted=wanted).text.splitlines()
    for place, line in enumerate(lines, start=1):
        entry = _entry_in(line, place, site)
        if entry is not None:
            number = entry.number if entry.number else place
            found[entry.id] = replace(entry, number=number)
    return _settled(found, site)


def _entry_in(line: str, place: int, site: NightSite) -> Entry | None:
    struck = ""
    standing: Standing = next(
        (s for s, head in _HEADS.items() if line.startswith(head)), "counts"
    )
    for head in (*_HEADS.values(), _LOOSE, _LATE):
        line = line.removeprefix(head)
    if line.startswith(_STRUCK):
        struck, _, line = line.removeprefix(_STRUCK).partition(": ")
    try:
        cells = next(csv.reader([line]), []) if line and not line.startswith("#") else []
    except csv.Error:
        return None
    wide = len(COLUMNS)
    if len(cells) < wide or cells[:2] == list(COLUMNS[:2]):
        return None
    author, number, ident = (*cells[wide:], "", "", "")[:3]
    said, author = tuple(cells[:wide]), author or "by hand"
    try:
        event = _event(said, site, author)
    except CurePlanError:
        # A line of a plan between: it stays where it is, and counts for whoever reads it.
        event = None
    return Entry(
        id=ident if _ID.fullmatch(ident) else f"line-{place:06d}",
        number=int(number) if number.isascii() and number.isdigit() and len(number) < 7 else 0,
        author=author,
        cells=said,
        event=event,
        struck=struck,
        standing=standing,
    )


def clean_name(text: str, *, usual: str) -> str:
    """A person's name as it may stand in a log: short, and no formula of a spreadsheet."""
    kept = "".join(c for c in text if c.isalnum() or c in " .'-")
    return " ".join(kept.split()).lstrip("-'.").strip()[:30].strip() or usual
