"""What is asked of a provider, and what an exchange with it left behind."""

from __future__ import annotations

import json
import re
import threading
import time
import urllib.request
import urllib.response
import zipfile
import zlib
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from io import BytesIO
from pathlib import Path
from typing import Any, Literal
from urllib.parse import urlsplit

from cureplan.core.errors import OutputError
from cureplan.core.messages import Message
from cureplan.core.writing import write_atomically

__all__ = [
    "Answer",
    "Exchange",
    "RecordingHandler",
    "Span",
    "WeatherQuery",
    "is_page",
    "metno_issue",
    "mosmix_issue",
]

_INSTANTS = ("wanted_from", "starts", "ends")


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """Hours asked for: history from `wanted_from`, the job from `starts` to `ends`; UTC."""

    wanted_from: datetime
    starts: datetime
    ends: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class WeatherQuery:
    """One visit to open data for one place."""

    provider: Literal["station", "forecast", "history"]
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    spans: tuple[Span, ...]
    now: datetime
    contact: str | None
    timeout_s: float
    folder: str

    def to_json(self) -> str:
        """One line of JSON."""
        return json.dumps(asdict(self), default=datetime.isoformat)

    @classmethod
    def from_json(cls, text: str) -> WeatherQuery:
        """What `to_json` wrote."""
        fields: dict[str, Any] = json.loads(text)
        spans = tuple(
            Span(**{name: datetime.fromisoformat(span[name]) for name in _INSTANTS})
            for span in fields.pop("spans")
        )
        now = datetime.fromisoformat(fields.pop("now"))
        return cls(**fields, spans=spans, now=now)


_ISSUE = re.compile(rb"IssueTime>\s*([^<\s]+)\s*<")
LARGEST_BODY_BYTES = 50_000_000
"""Of an answer, as sent and unpacked: a year of hours has 1 MB, a station forecast 3 MB."""
_PAGE = (b"<!doctype html", b"<html")


@dataclass(slots=True, kw_only=True)
class Answer:
    """One request and what came back; `status` None means that nothing did."""

    url: str
    status: int | None = None
    modified: datetime | None = None
    body: bytes = b""
    trouble: Literal["", "page", "large", "wait", "cut"] = ""
    """What was seen to be wrong: a web page, too large, asked to wait, or cut short."""
    wait_s: float = 0.0

    def summary(self) -> str:
        """Host, and what was wrong with the answer."""
        host = urlsplit(self.url).hostname or self.url
        if self.status is None:
            return f"{host}: no complete answer"
        if self.trouble == "wait":
            return f"{host}: HTTP {self.status}, asks to be left alone for {self.wait_s:.0f} s"
        if self.trouble == "page":
            return f"{host}: answered with a web page (a login?)"
        if self.trouble == "large":
            return f"{host}: the answer is too large to be weather"
        if self.trouble == "cut":
            return f"{host}: the answer came in part only"
        if self.status != 200:
            return f"{host}: HTTP {self.status}"
        return f"{host}: the answer could not be used"

    def remark(self) -> Message:
        """The same for the sheets."""
        host = urlsplit(self.url).hostname or self.url
        if self.status is None:
            return Message("net.silent", {"host": host})
        if self.trouble == "wait":
            return Message("net.wait", {"host": host, "wait_s": self.wait_s})
        if self.trouble:
            return Message(f"net.{self.trouble}", {"host": host})
        if self.status != 200:
            return Message("net.status", {"host": host, "status": self.status})
        return Message("net.unusable", {"host": host})


class Exchange:
    """Answers in the order asked, each thread's apart; grows while the client works."""

    def __init__(self, folder: Path) -> None:
        self._mine = threading.local()
        self._holds = folder / "holds.json"
        self.clock_off_s = 0.0

    @property
    def answers(self) -> list[Answer]:
        """What this thread asked."""
        found: list[Answer] = self._mine.__dict__.setdefault("answers", [])
        return found

    def last(self) -> Answer | None:
        """The newest answer, or None when nothing was asked."""
        return self.answers[-1] if self.answers else None

    def mark(self) -> int:
        """A place in the record, for `since`."""
        return len(self.answers)

    def since(self, mark: int) -> list[Answer]:
        """Answers recorded after a mark."""
        return self.answers[mark:]

    def asks(self, url: str) -> Answer:
        """Note that a request goes out; not to a server that asked to be left alone."""
        answer = Answer(url=url)
        self.answers.append(answer)
        left_s = self._held_until(url) - time.time()
        if left_s > 0:
            answer.status, answer.trouble, answer.wait_s = 429, "wait", left_s
            raise OSError("asked to wait")
        return answer

    def hears(self, answer: Answer, status: int, headers: Mapping[str, str]) -> None:
        """Note what came back, before its body."""
        answer.status = status
        answer.modified = _http_date(headers.get("Last-Modified"))
        if "text/html" in (headers.get("Content-Type") or "").lower():
            answer.trouble = "page"
        dated = _http_date(headers.get("Date"))
        if dated is not None:
            self.clock_off_s = time.time() - dated.timestamp()
        wait_s = _wait_s(headers.get("Retry-After"))
        if status in {429, 503} and wait_s > 0:
            answer.trouble, answer.wait_s = "wait", wait_s
            self._hold(answer.url, time.time() + wait_s)

    def _held_until(self, url: str) -> float:
        try:
            until = json.loads(self._holds.read_text("utf-8"))[_host(url)]
            return float(until)
        except (OSError, ValueError, KeyError, TypeError):
            return 0.0

    def _hold(self, url: str, until: float) -> None:
        try:
            held = dict(json.loads(self._holds.read_text("utf-8")))
        except (OSError, TypeError, ValueError):
            held = {}
        with suppress(OSError, OutputError):
            write_atomically(self._holds, json.dumps({**held, _host(url): until}))

    def recording(self, get: Callable[..., Any]) -> Callable[..., Any]:
        """The client's own `get`, with a record of every call and a bound on every body."""

        def recorded(url: str, *args: Any, **kwargs: Any) -> Any:
            answer = self.asks(url)
            # A streamed body is the station list: large, and read elsewhere.
            streamed = bool(kwargs.pop("stream", False))
            response = get(url, *args, stream=True, **kwargs)
            if not streamed:
                # What a body holds once unpacked is bounded while it is read.
                response._content = _bounded(response, answer)
                response._content_consumed = True
                answer.body = response._content
            self.hears(answer, int(response.status_code), response.headers)
            _judge(answer)
            return response

        return recorded


def _bounded(response: Any, answer: Answer) -> bytes:
    parts, size = [], 0
    for part in response.iter_content(65_536):
        parts.append(part)
        size += len(part)
        if size > LARGEST_BODY_BYTES:
            answer.status, answer.trouble = int(response.status_code), "large"
            response.close()
            raise OSError("too large")
    return b"".join(parts)


def is_page(body: bytes) -> bool:
    """Whether a body begins as a web page does."""
    return body.lstrip()[:15].lower().startswith(_PAGE)


def _judge(answer: Answer) -> None:
    """A page in place of data, and an archive that would unpack to no end."""
    if answer.status == 200 and is_page(answer.body):
        answer.trouble = "page"
    if answer.body.startswith(b"PK") and _unpacked_bytes(answer.body) > LARGEST_BODY_BYTES:
        answer.trouble = "large"
        raise OSError("too large")


def _unpacked_bytes(body: bytes) -> int:
    try:
        with zipfile.ZipFile(BytesIO(body)) as packed:
            return sum(member.file_size for member in packed.infolist())
    except (zipfile.BadZipFile, OSError, ValueError):
        return 0


def _host(url: str) -> str:
    return urlsplit(url).netloc or url


def _wait_s(text: str | None) -> float:
    """Seconds of a Retry-After header, which may also name an instant; at most a day."""
    if not text:
        return 0.0
    if text.strip().isdigit():
        return min(float(text), 86_400.0)
    until = _http_date(text)
    return 0.0 if until is None else min(until.timestamp() - time.time(), 86_400.0)


class RecordingHandler(urllib.request.BaseHandler):
    """Records urllib's requests, before its error handlers see the response."""

    handler_order = 100

    def __init__(self, exchange: Exchange) -> None:
        self._exchange = exchange

    def http_request(self, request: urllib.request.Request) -> urllib.request.Request:
        """Note that a request goes out."""
        self._exchange.asks(request.full_url)
        return request

    def http_response(self, request: urllib.request.Request, response: Any) -> Any:
        """Note what came back, and hand on its body when it is of a bearable size."""
        answer = self._exchange.answers[-1]
        self._exchange.hears(answer, int(response.status), response.headers)
        if answer.status != 200:
            return response
        answer.body = response.read(LARGEST_BODY_BYTES + 1)
        packed = request.full_url.endswith(".gz") and answer.body.startswith(b"\x1f\x8b")
        unpacked = _gzip_state(answer.body) if packed else "whole"
        if len(answer.body) > LARGEST_BODY_BYTES or unpacked == "large":
            answer.trouble = "large"
            raise OSError("too large")
        length = response.headers.get("Content-Length") or ""
        if unpacked == "cut" or (length.isdigit() and len(answer.body) < int(length)):
            answer.trouble = "cut"
            raise OSError("cut short")
        _judge(answer)
        whole = urllib.response.addinfourl(
            BytesIO(answer.body), response.headers, response.url, answer.status
        )
        whole.msg = response.msg  # type: ignore[attr-defined]
        return whole

    https_request = http_request
    https_response = http_response


def _gzip_state(body: bytes) -> Literal["whole", "cut", "large"]:
    """Whether a gzip body is whole, and of a size that a year of hours may have.

    Such a body may hold many parts, each small: all of them count.
    """
    left, size = body, 0
    while left.startswith(b"\x1f\x8b"):
        unpacking = zlib.decompressobj(31)
        try:
            size += len(unpacking.decompress(left, LARGEST_BODY_BYTES - size + 1))
        except zlib.error:
            return "whole"
        if size > LARGEST_BODY_BYTES:
            return "large"
        if not unpacking.eof:
            return "cut"
        left = unpacking.unused_data
    return "whole"


def mosmix_issue(body: bytes) -> datetime | None:
    """Issue time inside a zipped station forecast; None when there is none to read."""
    try:
        with zipfile.ZipFile(BytesIO(body)) as packed:
            member = packed.infolist()[0]
            found = _ISSUE.search(packed.read(member))
    except (zipfile.BadZipFile, IndexError, OSError, ValueError, EOFError):
        return None
    return _aware(found[1].decode("ascii", "replace")) if found else None


def metno_issue(body: bytes) -> datetime | None:
    """Time of the last model update in a point forecast; None when it is not given."""
    try:
        return _aware(json.loads(body)["properties"]["meta"]["updated_at"])
    except (ValueError, KeyError, TypeError):
        return None


def _aware(text: str) -> datetime | None:
    try:
        when = datetime.fromisoformat(text)
    except ValueError:
        return None
    return when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)


def _http_date(text: str | None) -> datetime | None:
    if text is None:
        return None
    try:
        when = parsedate_to_datetime(text)
    except ValueError:
        return None
    return when.replace(tzinfo=UTC) if when.tzinfo is None else when.astimezone(UTC)
