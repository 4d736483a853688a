"""What a weather file says beside its rows, and a file written so that it reads back the same.

A file we wrote carries one line per origin, gap, note and warning:

    # origin 0: {"label": "...", "kind": "observed", ...}
    # gap: {"what": "temperature", ...}
    # note: ...
    # warning: ...

A foreman may say what a table leaves open:

    # time zone: UTC            (or -04:00, EDT, America/New_York, site)
    # dates: day first          (or month first, year first)
    # issued: 2013-07-17T06:00Z (when a forecast was made; free words are read too)
    # accept: stuck, jump       (readings that were asked about, and are right)
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, get_args

from cureplan.core.errors import InputError
from cureplan.core.messages import Message
from cureplan.core.writing import write_atomically
from cureplan.weather.hours.csv_dates import DATE_ORDERS, DateOrder
from cureplan.weather.hours.csv_issued import issue_words, zone_said
from cureplan.weather.hours.plausible import ACCEPTED_NAMES
from cureplan.weather.hours.remarks import remark_from_text, remark_text
from cureplan.weather.hours.series import Gap, HourlySeries, OriginKind, WeatherOrigin, utc_of

__all__ = [
    "FileNotes",
    "comment_lines",
    "csv_text",
    "is_comment",
    "read_comments",
    "split_comments",
    "write_csv",
]

_ORIGIN = re.compile(r"origin (\d+): *(\{.*\})")
_LABELLED = re.compile(
    r"(source|attribution|licen[cs]e|gap|note|warning|time ?zone|dates|accept|issued): *(.*)",
    re.IGNORECASE,
)
_INSTANTS = ("issued_at", "written_at", "fetched_at", "starts", "ends")
# Fields that files saved by an earlier version do not have.
_LATER_FIELDS = frozenset({"written_at"})


@dataclass(frozen=True, slots=True, kw_only=True)
class FileNotes:
    """What the comment lines say; `origins` is empty unless we wrote the file.

    `zone` is a clock's name or offset, "" where none is told.
    """

    licence: str
    attribution: str
    origins: tuple[WeatherOrigin, ...]
    gaps: tuple[Gap, ...]
    notes: tuple[Message, ...]
    warnings: tuple[Message, ...]
    zone: str = ""
    date_order: DateOrder | None = None
    accepted: frozenset[str] = frozenset()
    issued: tuple[str, int] | None = None
    """What a line of the foreman's says of when the forecast was made, and its number."""
    made: tuple[tuple[str, int], ...] = ()
    """Words of making in other remarks, which may mean something else."""
    zone_said: str = ""
    """A clock that other remarks name for the times; a column's own name counts before it."""


def comment_lines(series: HourlySeries) -> list[str]:
    """Comment lines that let `read_comments` restore origins, gaps and notes."""
    lines = ["# hourly weather written by cureplan; times are UTC"]
    lines += [f"# origin {n}: {_as_json(one)}" for n, one in enumerate(series.origins)]
    lines += [f"# gap: {_as_json(gap)}" for gap in series.gaps]
    lines += [f"# note: {remark_text(note)}" for note in series.notes]
    lines += [f"# warning: {remark_text(text)}" for text in series.warnings]
    return lines


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


def read_comments(comments: Iterable[tuple[int, str]], *, source: str) -> FileNotes:
    """Read numbered comment lines.

    Examples
    --------
    >>> read_comments([(1, "source: yard gauge"), (2, "licence: CC0")], source="w.csv").licence
    'CC0'
    """
    origins: list[WeatherOrigin] = []
    found: dict[str, list[str]] = {label: [] for label in ("plain", "attribution", "licence")}
    remarks: dict[str, list[Message]] = {"note": [], "warning": []}
    gaps: list[Gap] = []
    answers: dict[str, Any] = {}
    made: list[tuple[str, int]] = []
    for line, text in comments:
        origin, labelled = _ORIGIN.fullmatch(text), _LABELLED.fullmatch(text)
        if origin:
            origins.append(_origin(origin, source=source, line=line, expected=len(origins)))
        elif labelled and labelled[1].lower() == "gap":
            gaps.append(Gap(**_from_json(labelled[2], Gap, source=source, line=line)))
        elif labelled and labelled[1].lower() in remarks:
            remarks[labelled[1].lower()].append(_remark(labelled[2], source=source, line=line))
        elif labelled and (name := labelled[1].lower().replace(" ", "")) in _ANSWERS:
            answers |= _ANSWERS[name](labelled[2].strip(), source, line)
        elif labelled:
            label = {"source": "attribution", "license": "licence"}.get(
                labelled[1].lower(), labelled[1].lower()
            )
            found[label].append(labelled[2])
            made.append((text, line))
        elif text:
            found["plain"].append(text)
            made.append((text, line))
    return FileNotes(
        licence="; ".join(found["licence"]),
        attribution="; ".join(found["attribution"] or found["plain"]),
        origins=tuple(origins),
        gaps=tuple(gaps),
        notes=tuple(remarks["note"]),
        warnings=tuple(remarks["warning"]),
        made=issue_words(made),
        zone_said=zone_said(made),
        **answers,
    )


def _zone(text: str, _source: str, _line: int) -> dict[str, Any]:
    return {"zone": text}


def _dates(text: str, source: str, line: int) -> dict[str, Any]:
    order = DATE_ORDERS.get(text.lower())
    if order is None:
        raise _refused("dates", text, f"write one of {', '.join(DATE_ORDERS)}", source, line)
    return {"date_order": order}


def _accept(text: str, source: str, line: int) -> dict[str, Any]:
    names = frozenset(name.strip().lower() for name in text.split(",") if name.strip())
    if not names or not names <= set(ACCEPTED_NAMES):
        cure = f"write some of {', '.join(ACCEPTED_NAMES)}"
        raise _refused("accept", text, cure, source, line)
    return {"accepted": names}


def _issued(text: str, _source: str, line: int) -> dict[str, Any]:
    return {"issued": (text, line)}


_ANSWERS: dict[str, Callable[[str, str, int], dict[str, Any]]] = {
    "timezone": _zone,
    "dates": _dates,
    "accept": _accept,
    "issued": _issued,
}


def _refused(key: str, text: str, cure: str, source: str, line: int) -> InputError:
    return InputError(
        "not understood", cure=cure, source=source, line=line, key=f"# {key}", value=text
    )


def _remark(text: str, *, source: str, line: int) -> Message:
    try:
        return remark_from_text(text)
    except ValueError as error:
        raise _damaged(source, line, text) from error


def _origin(match: re.Match[str], *, source: str, line: int, expected: int) -> WeatherOrigin:
    if int(match[1]) != expected:
        raise _damaged(source, line, match[0])
    fields = _from_json(match[2], WeatherOrigin, source=source, line=line)
    if fields["kind"] not in get_args(OriginKind):
        raise _damaged(source, line, match[0])
    return WeatherOrigin(**fields)


def _as_json(record: WeatherOrigin | Gap) -> str:
    plain = {
        key: value.isoformat() if isinstance(value, datetime) else value
        for key, value in asdict(record).items()
    }
    return json.dumps(plain, ensure_ascii=False)


def _from_json(text: str, kind: type, *, source: str, line: int) -> dict[str, Any]:
    try:
        fields = json.loads(text)
        wanted = set(kind.__dataclass_fields__)  # type: ignore[attr-defined]
        if not wanted - _LATER_FIELDS <= set(fields) <= wanted:
            raise _damaged(source, line, text)
        for key in _INSTANTS:
            if fields.get(key) is not None:
                fields[key] = datetime.fromisoformat(fields[key])
    except (ValueError, TypeError) as error:
        raise _damaged(source, line, text) from error
    return dict(fields)


def _damaged(source: str, line: int, text: str) -> InputError:
    return InputError(
        "this line of a saved weather file is damaged",
        cure="save the weather again, or delete all its comment lines and the origin column",
        source=source,
        line=line,
        value=text,
    )


def csv_text(series: HourlySeries) -> str:
    """The series as CSV text, with its origins, gaps and notes as comment lines.

    Not for a sheet: values carry all their digits and times are UTC.
    """
    lines = [*comment_lines(series), "time,temp_c,dew_c,cloud_frac,origin"]
    columns = zip(
        series.epoch_s.tolist(),
        series.temp_c.tolist(),
        series.dew_c.tolist(),
        series.cloud_frac.tolist(),
        series.origin.tolist(),
        strict=True,
    )
    for epoch_s, temp_c, dew_c, cloud_frac, origin in columns:
        cells = (_cell(temp_c), _cell(dew_c), _cell(cloud_frac), str(origin))
        lines.append(",".join((utc_of(epoch_s).isoformat(), *cells)))
    return "\n".join(lines) + "\n"


def write_csv(series: HourlySeries, path: Path) -> None:
    """Write the series so that `read_weather_csv` returns the same again."""
    write_atomically(path, csv_text(series))


def _cell(value: float) -> str:
    # repr is the shortest text that gives the same float back.
    return "" if math.isnan(value) else repr(value)
