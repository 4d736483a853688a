"""The night's log: buckets ticked, readings, and what happened."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from difflib import get_close_matches
from pathlib import Path
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

from cureplan.core.clock import local_instant, on_site
from cureplan.core.errors import InputError, QuantityError
from cureplan.core.quantities import (
    parse_duration_s,
    parse_length_m,
    parse_temperature_c,
    split_refusal,
)
from cureplan.inputs.job.schema import ROOM_USES
from cureplan.inputs.tables.lines import Line, read_lines, read_table_text

__all__ = [
    "COLUMNS",
    "DROPPED",
    "ENDS",
    "EVENTS",
    "KEPT_COLUMNS",
    "LATER",
    "OF_COATS",
    "OF_COVES",
    "OF_PRIMERS",
    "OF_SHIFTS",
    "OPENS",
    "READINGS",
    "ROLES",
    "STAYS",
    "WAITS",
    "AddedRoom",
    "LineUsed",
    "NightEvent",
    "NightSite",
    "as_said",
    "contradiction",
    "firsts",
    "parsed_value",
    "read_added_room",
    "read_night_log",
    "read_night_log_text",
    "read_night_logs",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class AddedRoom:
    """A floor that was added on the night."""

    name: str
    length_m: float
    width_m: float
    use: str
    way_out: tuple[str, ...]


def parsed_value(line: Line, text: str, parse: Callable[[str], float]) -> float:
    """A quantity in the column `value`, or a refusal of that cell."""
    try:
        return parse(text)
    except QuantityError as error:
        raise line.fault("value", *split_refusal(error, text)) from None


def read_added_room(line: Line, *, known: Sequence[str]) -> AddedRoom:
    """The room a line adds: its name, "12 ft x 10 ft, storage", and maybe its way out."""
    name = line.text("room")
    if not name or name.casefold() in (other.casefold() for other in known):
        raise line.fault(
            "room",
            "the plan has a room of that name" if name else "it is empty",
            "give the new room a name of its own",
        )
    parts = [part.strip() for part in line.text("value").split(",")]
    size = [part.strip() for part in parts[0].lower().replace("×", "x").split(" x ")]
    if len(size) != 2 or len(parts) not in (2, 3) or parts[1].lower() not in ROOM_USES:
        raise line.fault(
            "value",
            "not a size and a use",
            'write it as "12 ft x 10 ft, storage"; uses are ' + ", ".join(ROOM_USES),
        )
    length_m, width_m = (parsed_value(line, part, parse_length_m) for part in size)
    if not (0.3 <= length_m <= 200.0 and 0.3 <= width_m <= 200.0):
        raise line.fault("value", "a side lies outside 0.3..200 m", "check the size")
    return AddedRoom(
        name=name,
        length_m=length_m,
        width_m=width_m,
        use=parts[1].lower(),
        way_out=_way_out(line, parts[2], known) if len(parts) == 3 else (),
    )


def _way_out(line: Line, text: str, known: Sequence[str]) -> tuple[str, ...]:
    by_lower = {name.casefold(): name for name in known}
    names = [n.strip() for n in text.removeprefix("through").split("+")]
    if not text.startswith("through ") or not all(n.casefold() in by_lower for n in names):
        raise line.fault(
            "value",
            "its way out names no floor of the plan",
            'write it as "through Corridor", or "through Servery + Corridor"',
        )
    return tuple(by_lower[n.casefold()] for n in names)


COLUMNS = ("at", "event", "room", "bucket", "value", "note")
KEPT_COLUMNS = (*COLUMNS, "author", "number", "id")
"""As a desk keeps the log of several phones: who wrote each line, in which turn."""
ENDS: Mapping[str, str] = {
    "wet edge ended": "wet_edge",
    "working time ended": "working_time",
    "surface closed": "broadcast_closes",
}
"""Events that end a clock, and the milestone each is."""
READINGS = (*ENDS, "slab reads", "bucket reads")
"""Events from which a night's batch and slabs are learned."""
OF_BUCKETS = ("poured", *ENDS, "ran short", "lost", "bucket reads")
OF_COATS = ("coat begun", "batch mixed", "coat laid")
OF_PRIMERS = ("primer begun", "primer laid")
OF_COVES = ("cove begun", "cove done")
OF_ROOMS = ("pails in ice", *OF_COVES, *OF_PRIMERS, "vacuumed")
OF_SHIFTS = ("pour shift until", "topcoat shift from", "topcoat shift until")
OPENS, STAYS = "opens by", "stay longer"
DROPPED, WAITS = "room dropped", "wait until"
OF_HOURS = (*OF_SHIFTS, OPENS, STAYS)
OF_ROOM_LISTS = (DROPPED, "room added")
OF_LEFT = ("drill down", "short of", *OF_ROOM_LISTS)
EVENTS = (
    *OF_BUCKETS[:-1],
    *OF_ROOMS,
    *OF_COATS,
    "slab reads",
    "bucket reads",
    *OF_LEFT,
    WAITS,
    *OF_HOURS,
)
ROLES = ("mixer", "runner", "rake", "smoother", "broadcaster", "topcoat")
# Wider than any slab or batch that is still worked with; beyond is a slip of unit.
_SLAB_C = (-10.0, 75.0)
_BATCH_C = (0.0, 60.0)
MOST_LINES = 5_000
"""Some hundreds of buckets with three clocks each."""
EARLIEST = timedelta(days=1)
"""Slabs may be read this long before access begins."""
LATER = timedelta(days=3)
"""So much later than planned a kitchen may be said to open: so far hours are known."""


class LineUsed(NamedTuple):
    """A line that the plan has used."""

    at: datetime
    event: str
    room: str | None
    value: str
    bucket: int | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class NightSite:
    """What a log is read against: the plan's floors with their buckets, clock and hours."""

    zone: ZoneInfo
    kits: Mapping[str, int]
    begins: datetime
    open_by: datetime
    used_until: datetime | None = None
    """When the plan was made, where that was on the night."""
    known: tuple[LineUsed, ...] = ()
    """The lines that the plan has used, of which it only needs what was poured and laid, and
    until when the crew waits; any other counts, whenever it was written."""
    whole_night: bool = False
    """Whether the log may go on after plans made on the night: what it says of buckets of
    rooms that were added then is passed over."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NightEvent:
    """One line of the log in SI and site time; what it does not speak of is None."""

    source: str
    line: int
    at: datetime
    event: str
    room: str | None = None
    bucket: int | None = None
    coat: int | None = None
    temp_c: float | None = None
    role: str | None = None
    until: datetime | None = None
    shift_at: datetime | None = None
    """When a shift begins or ends instead."""
    opens_at: datetime | None = None
    """When the kitchen, or a room of it, is to open instead."""
    more_s: float | None = None
    """How much longer everybody may stay."""
    added: AddedRoom | None = None
    value: str = ""
    """As it was written."""
    note: str = ""
    author: str = ""
    """Whose phone wrote it, where one file holds the logs of several."""

    def fault(self, column: str, problem: str, cure: str, value: object = None) -> InputError:
        """A refusal of this event."""
        return InputError(
            problem, cure=cure, source=self.source, line=self.line, key=column, value=value
        )


def read_night_log(path: Path, *, site: NightSite) -> tuple[NightEvent, ...]:
    """Read the log of a night."""
    return read_night_log_text(read_table_text(path), source=path, site=site)


def read_night_logs(paths: Sequence[Path], *, site: NightSite) -> tuple[NightEvent, ...]:
    """Read the logs of several phones as one: each event once, a contradiction named."""
    events = [
        event
        for path in paths
        for event in _events_of(read_table_text(path), source=path, site=site)
    ]
    return tuple(sorted(_merged(events, site), key=lambda event: event.at))


def read_night_log_text(text: str, *, source: Path, site: NightSite) -> tuple[NightEvent, ...]:
    """Read a log from a text that is said to stand in `source`.

    Examples
    --------
    >>> from datetime import UTC
    >>> site = NightSite(zone=ZoneInfo("UTC"), kits={"Bar": 4},
    ...     begins=datetime(2026, 7, 17, tzinfo=UTC), open_by=datetime(2026, 7, 19, tzinfo=UTC))
    >>> log = "at,event,room,bucket,value\\n2026-07-17T20:05,poured,bar,1,\\n"
    >>> event, = read_night_log_text(log, source=Path("log.csv"), site=site)
    >>> event.room, event.bucket, event.at.isoformat()
    ('Bar', 1, '2026-07-17T20:05:00+00:00')
    """
    events = _events_of(text, source=source, site=site)
    return tuple(sorted(_merged(events, site), key=lambda event: event.at))


def _events_of(text: str, *, source: Path, site: NightSite) -> list[NightEvent]:
    """The events of one text as they stand there."""
    lines = read_lines(text, source=source, known=KEPT_COLUMNS, most=MOST_LINES)
    for column in ("at", "event"):
        if column not in lines[0].cells:
            raise InputError(
                "the column is missing",
                cure=f"the columns are {', '.join(COLUMNS)}",
                source=source,
                key=column,
            )
    site = _as_opened(lines, site)
    added: dict[str, AddedRoom] = {}
    used = _Used(site, lines)
    counts = [line for line in lines if not used.holds(line)]
    return [_event(line, site, added) for line in counts if not _of_added(line, site, added)]


def _as_opened(lines: Iterable[Line], site: NightSite) -> NightSite:
    """The site with the last hour at which the kitchen is said to open."""
    later = replace(site, open_by=site.open_by + LATER)
    said = [
        _when(line, "value", later)
        for line in lines
        if _words(line.text("event")) == OPENS and not line.text("room")
    ]
    return replace(site, open_by=max([site.open_by, *said]))


TWO_CLOCKS = timedelta(minutes=3)
"""Two phones that saw one thing tick it at most so far apart."""
_ONCE = ("poured", *ENDS, "ran short", *OF_ROOMS, "coat begun", "coat laid")
_KEPT = ("poured", WAITS, "vacuumed", *OF_COVES, *OF_PRIMERS, *OF_COATS)
"""What a plan made on the night needs again of lines that it has used."""


def _merged(events: Sequence[NightEvent], site: NightSite) -> list[NightEvent]:
    """Each event once: what can come only once, and any line that stands there again.

    Of ticks of two phones the earlier counts; ticks that lie further apart cannot both be
    true, and are refused.
    """
    kept: list[NightEvent] = []
    for event, first in firsts(events):
        if event is first:
            kept.append(event)
        elif (refusal := contradiction(first, event, site)) is not None:
            raise refusal
    return kept


def firsts(events: Iterable[NightEvent]) -> Iterator[tuple[NightEvent, NightEvent]]:
    """Each event in the order of time, and the first that says the same: itself, maybe."""
    first: dict[tuple[object, ...], NightEvent] = {}
    for event in sorted(events, key=lambda event: event.at):
        what = (event.event, event.room, event.bucket, event.coat)
        key = what if event.event in _ONCE else (*what, event.at, event.value.casefold())
        twin = None
        if event.event in ("batch mixed", STAYS):
            twin = _seen_by_another(event, first.values())
        yield event, twin or first.setdefault(key, event)


def _seen_by_another(event: NightEvent, known: Iterable[NightEvent]) -> NightEvent | None:
    """The same batch, or the same stay, as another phone saw it."""
    what = event.event, event.room, event.coat, event.more_s
    phone = event.source, event.author
    for other in known:
        same = (other.event, other.room, other.coat, other.more_s) == what
        others = (other.source, other.author) != phone
        if same and others and event.at - other.at <= TWO_CLOCKS:
            return other
    return None


def contradiction(first: NightEvent, event: NightEvent, site: NightSite) -> InputError | None:
    """The refusal of an event that cannot be true beside the first that says the same."""
    if event.at - first.at <= TWO_CLOCKS:
        return None
    times = [f"{e.at.astimezone(site.zone):%H:%M:%S}" for e in (first, event)]
    where = f"line {first.line}"
    if first.source != event.source:
        where += f" of {first.source}"
    return event.fault(
        "at",
        f"{where} says that {as_said(event)} at {times[0]}, this line at {times[1]}",
        "keep the one that is true",
        event.at.astimezone(site.zone).isoformat(timespec="minutes"),
    )


def as_said(event: NightEvent) -> str:
    """What an event says, without its time."""
    if event.bucket is not None:
        done = "was poured" if event.event == "poured" else event.event
        return f"bucket {event.bucket} of {event.room} {done}"
    if event.coat is not None:
        done = event.event if event.event == "batch mixed" else f"was {event.event[5:]}"
        return f"coat {event.coat} of {event.room} {done}"
    return f'"{event.event}" of {event.room} was'


class _Used:
    """Which lines of a text the plan has used up."""

    def __init__(self, site: NightSite, lines: Sequence[Line]) -> None:
        self.site = site
        self.said: dict[tuple[str, str, str], list[LineUsed]] = {}
        for one in site.known:
            bucket = "" if one.bucket is None else str(one.bucket)
            what = one.event, (one.room or "").casefold(), bucket
            self.said.setdefault(what, []).append(one)
        self.stays = [
            (_phone(line), _when(line, "at", site))
            for line in lines
            if site.known and _words(line.text("event")) == STAYS
        ]

    def holds(self, line: Line) -> bool:
        """Whether this is one of them."""
        if self.site.used_until is None:
            return False
        kind = _one_of(line, "event", EVENTS, "no such event")
        if kind in _KEPT:
            return False
        at, alike = _when(line, "at", self.site), self.said.get(_what(line, kind), [])
        if kind == STAYS:
            return self._stay(line, at, alike)
        if kind in _ONCE:
            return bool(alike)
        if at > self.site.used_until:
            return False
        value = line.text("value").casefold()
        if kind in (*OF_SHIFTS, OPENS):
            # It knows of a later word on them, or of this one.
            return any(
                said.at > at or (said.at == at and said.value.casefold() == value)
                for said in alike
            )
        if kind in OF_ROOM_LISTS:
            return bool(alike)
        known = [said.value for said in alike if said.at == at]
        if kind in READINGS:
            cure = "leave it as it was, or plan again from the plan before"
            _refuse_mended(line, known, cure)
        return value in [one.casefold() for one in known]

    def _stay(self, line: Line, at: datetime, alike: Sequence[LineUsed]) -> bool:
        """Whether it knows of a stay by this line, or by another phone's."""
        known = [said.value for said in alike if said.at == at]
        if known:
            cure = "leave it as it was, and write what is added as a line of its own"
            _refuse_mended(line, known, cure)
            return True
        return any(
            abs(said.at - at) <= TWO_CLOCKS
            and (_phone(line), said.at) not in self.stays
            and parse_duration_s(said.value) == _stay_s(line)
            for said in alike
        )


def _phone(line: Line) -> str:
    """Whose phone wrote a line: by a desk's log, or by which of several logs in a file."""
    return line.text("author") or (f"log {line.part + 1}" if line.part else "")


def _what(line: Line, kind: str) -> tuple[str, str, str]:
    """What a line speaks of: its event with the room and the bucket that such a one has."""
    of_bucket = kind in OF_BUCKETS or kind == "slab reads"
    of_room = of_bucket or kind in (*OF_ROOMS, *OF_COATS, *OF_ROOM_LISTS, OPENS)
    room = line.text("room").casefold() if of_room else ""
    return kind, room, line.text("bucket").lstrip("0") if of_bucket else ""


def _refuse_mended(line: Line, known: Sequence[str], cure: str) -> None:
    """Refuse a line of an instant at which the plan knows of none but other values."""
    if known and line.text("value").casefold() not in [one.casefold() for one in known]:
        raise line.fault("value", f"the plan counts this line already, with {known[0]}", cure)


def _of_added(line: Line, site: NightSite, added: Mapping[str, AddedRoom]) -> bool:
    """Whether the line is of a room that only a later plan of the night has."""
    if not site.whole_night or line.text("event").lower() == "room added":
        return False
    return line.text("room").casefold() in {name.casefold() for name in added}


def _event(line: Line, site: NightSite, added: dict[str, AddedRoom]) -> NightEvent:
    kind = _one_of(line, "event", EVENTS, "no such event")
    found: dict[str, Any] = {"at": _when(line, "at", site), "event": kind}
    if kind == "room added":
        new = read_added_room(line, known=[*site.kits, *added])
        added[new.name] = new
        found |= {"room": new.name, "added": new}
    elif kind in (*OF_BUCKETS, *OF_ROOMS, *OF_COATS, "slab reads", DROPPED):
        found["room"] = _room(line, [*site.kits, *added])
    if kind in OF_BUCKETS or (kind == "slab reads" and line.text("bucket")):
        found["bucket"] = _bucket(line, site.kits.get(found["room"]))
    if kind in ("slab reads", "bucket reads"):
        limits = _SLAB_C if kind == "slab reads" else _BATCH_C
        found["temp_c"] = _temperature(line, limits)
    elif kind in OF_COATS:
        found["coat"] = _coat(line)
    elif kind == "short of":
        found["role"] = _one_of(line, "value", ROLES, "no such role")
    elif kind in (WAITS, *OF_HOURS):
        found |= _hours_said(line, kind, found["at"], site)
    elif kind != "room added" and line.text("value"):
        raise line.fault("value", f'"{kind}" takes no value', "leave the cell empty")
    return NightEvent(
        source=str(line.source),
        line=line.number,
        value=line.text("value"),
        note=line.text("note"),
        author=_phone(line),
        **found,
    )


def _hours_said(line: Line, kind: str, at: datetime, site: NightSite) -> dict[str, Any]:
    """Until when the crew waits or how much longer it stays; when a shift begins or ends
    instead; when the kitchen, or a room, opens."""
    if kind != OPENS and line.text("room"):
        cure = "it is for all rooms: leave the cell empty"
        raise line.fault("room", f'"{kind}" takes no room', cure)
    if kind == STAYS:
        return {"more_s": _stay_s(line)}
    room = _room(line, [*site.kits]) if line.text("room") else None
    # A room may be told an hour before the kitchen is: that it is the later is seen there.
    said = _when(line, "value", replace(site, open_by=site.open_by + LATER) if room else site)
    if kind in OF_SHIFTS:
        return {"shift_at": said}
    if said <= at:
        raise line.fault("value", "it lies before the line's own time", "check the times")
    if kind == WAITS:
        return {"until": said}
    return {"opens_at": said, "room": room}


def _stay_s(line: Line) -> float:
    """How much longer everybody may stay, to the minute [s]."""
    text = line.text("value")
    if not text:
        raise line.fault("value", "it is empty", 'write how much longer, such as "45 min"')
    more_s = 60.0 * round(parsed_value(line, text, parse_duration_s) / 60.0)
    if not 0.0 < more_s <= 12 * 3600.0:
        raise line.fault("value", "not between a minute and 12 h", "check the time")
    return more_s


def _words(text: str) -> str:
    return " ".join(text.lower().replace("_", " ").split())


def _one_of(line: Line, column: str, known: tuple[str, ...], problem: str) -> str:
    text = _words(line.text(column))
    if text in known:
        return text
    if not text:
        raise line.fault(column, "it is empty", f"write one of {', '.join(known)}")
    near = get_close_matches(text, known, n=1)
    meant = f'did you mean "{near[0]}"? ' if near else ""
    raise line.fault(column, problem, f"{meant}write one of {', '.join(known)}")


def _when(line: Line, column: str, site: NightSite) -> datetime:
    text = line.text(column)
    written: datetime | None = None
    # A date alone would count as its midnight.
    if len(text) >= len("2026-07-17T20:05"):
        with suppress(ValueError):
            written = datetime.fromisoformat(text)
    if written is None:
        raise line.fault(column, "not a date and time", "write it as 2026-07-17T20:05")
    try:
        at = on_site(local_instant(written, site.zone), site.zone)
    except QuantityError as error:
        raise line.fault(column, *split_refusal(error, written.isoformat())) from None
    if not site.begins - EARLIEST <= at <= site.open_by:
        begins, ends = (t.astimezone(site.zone) for t in (site.begins, site.open_by))
        raise line.fault(
            column,
            f"the job runs from {begins:%Y-%m-%d %H:%M} to {ends:%Y-%m-%d %H:%M}",
            "check the date",
        )
    return at


def _room(line: Line, known: list[str]) -> str:
    text = line.text("room")
    by_lower = {name.casefold(): name for name in known}
    if text.casefold() in by_lower:
        return by_lower[text.casefold()]
    near = get_close_matches(text.casefold(), by_lower, n=1)
    meant = f'did you mean "{by_lower[near[0]]}"? ' if near else ""
    raise line.fault(
        "room",
        "the plan has no such room" if text else "it is empty",
        f"{meant}the rooms are {', '.join(known)}",
    )


def _bucket(line: Line, kits: int | None) -> int:
    text = line.text("bucket")
    if kits is None:
        raise line.fault(
            "room", "its buckets are not planned yet", "log them against the plan that has it"
        )
    if text.isascii() and text.isdigit() and len(text) < 6 and 1 <= int(text) <= kits:
        return int(text)
    raise line.fault(
        "bucket",
        "the room has no such bucket" if text else "it is empty",
        f"write a whole number from 1 to {kits}",
    )


def _coat(line: Line) -> int:
    text = line.text("value")
    if text in ("1", "2"):
        return int(text)
    raise line.fault(
        "value", "no such coat" if text else "it is empty", "write the coat's number, 1 or 2"
    )


def _temperature(line: Line, limits_c: tuple[float, float]) -> float:
    text = line.text("value")
    if not text:
        raise line.fault("value", "it is empty", 'write what was read, such as "88 F"')
    temp_c = parsed_value(line, text, parse_temperature_c)
    low_c, high_c = limits_c
    if not low_c <= temp_c <= high_c:
        raise line.fault(
            "value",
            f"{temp_c:.4g} °C lies outside {low_c:g}..{high_c:g} °C",
            "check the digits and the unit",
        )
    return temp_c
