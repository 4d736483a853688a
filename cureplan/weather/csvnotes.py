"""The comment lines above a weather table: its source, and what our own files add.

A file we wrote carries one line per origin, gap, note and warning, so that it reads back whole:

    # origin 0: {"label": "...", "kind": "observed", ...}
    # gap: {"what": "temperature", ...}
    # note: ...
    # warning: ...
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, get_args

from cureplan.errors import InputError
from cureplan.say import Say
from cureplan.weather.remarks import remark_from_text, remark_text
from cureplan.weather.series import Gap, HourlySeries, OriginKind, WeatherOrigin

__all__ = ["FileNotes", "comment_lines", "read_comments"]

_ORIGIN = re.compile(r"origin (\d+): *(\{.*\})")
_LABELLED = re.compile(
    r"(source|attribution|licen[cs]e|gap|note|warning): *(.*)", re.IGNORECASE
)
_INSTANTS = ("issued_at", "fetched_at", "starts", "ends")


@dataclass(frozen=True, slots=True, kw_only=True)
class FileNotes:
    """What the comment lines say; `origins` is empty unless we wrote the file."""

    licence: str
    attribution: str
    origins: tuple[WeatherOrigin, ...]
    gaps: tuple[Gap, ...]
    notes: tuple[Say, ...]
    warnings: tuple[Say, ...]


def comment_lines(series: HourlySeries) -> list[str]:
    """Comment lines that let `read_comments` restore origins, gaps and notes."""
    lines = ["# hourly weather written by cureplan; times are UTC"]
    lines += [f"# origin {n}: {_as_json(one)}" for n, one in enumerate(series.origins)]
    lines += [f"# gap: {_as_json(gap)}" for gap in series.gaps]
    lines += [f"# note: {remark_text(note)}" for note in series.notes]
    lines += [f"# warning: {remark_text(text)}" for text in series.warnings]
    return lines


def read_comments(comments: Iterable[tuple[int, str]], *, source: str) -> FileNotes:
    """Read numbered comment lines.

    Parameters
    ----------
    comments : iterable of (int, str)
        1-based line number and text without the leading ``#``.
    source : str
        File name for error messages.

    Returns
    -------
    FileNotes
        Lines without a label count towards the attribution.

    Raises
    ------
    InputError
        A line that we wrote is damaged.

    Examples
    --------
    >>> read_comments([(1, "source: yard gauge"), (2, "licence: CC0")], source="w.csv").licence
    'CC0'
    """
    origins: list[WeatherOrigin] = []
    found: dict[str, list[str]] = {label: [] for label in ("plain", "attribution", "licence")}
    remarks: dict[str, list[Say]] = {"note": [], "warning": []}
    gaps: list[Gap] = []
    for line, text in comments:
        origin, labelled = _ORIGIN.fullmatch(text), _LABELLED.fullmatch(text)
        if origin:
            origins.append(_origin(origin, source=source, line=line, expected=len(origins)))
        elif labelled and labelled[1].lower() == "gap":
            gaps.append(Gap(**_from_json(labelled[2], Gap, source=source, line=line)))
        elif labelled and labelled[1].lower() in remarks:
            remarks[labelled[1].lower()].append(_remark(labelled[2], source=source, line=line))
        elif labelled:
            label = {"source": "attribution", "license": "licence"}.get(
                labelled[1].lower(), labelled[1].lower()
            )
            found[label].append(labelled[2])
        elif text:
            found["plain"].append(text)
    return FileNotes(
        licence="; ".join(found["licence"]),
        attribution="; ".join(found["attribution"] or found["plain"]),
        origins=tuple(origins),
        gaps=tuple(gaps),
        notes=tuple(remarks["note"]),
        warnings=tuple(remarks["warning"]),
    )


def _remark(text: str, *, source: str, line: int) -> Say:
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
        if set(fields) != set(kind.__dataclass_fields__):  # type: ignore[attr-defined]
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
