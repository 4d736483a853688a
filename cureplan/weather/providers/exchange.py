"""What is asked of a provider, and what an exchange with it left behind."""

from __future__ import annotations

import json
import re
import urllib.request
import zipfile
from collections.abc import Callable
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from io import BytesIO
from typing import Any, Literal
from urllib.parse import urlsplit

from cureplan.core.messages import Message

__all__ = [
    "Answer",
    "Exchange",
    "RecordingHandler",
    "Span",
    "WeatherQuery",
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
    """One visit to open data for one place.

    Parameters
    ----------
    door : {"station", "forecast", "history"}
        Stations with model rows behind them; a point forecast with stations before it;
        or past observations only.
    latitude_deg, longitude_deg : float
        North and east positive [°].
    elevation_m : float
        Height of the site above the sea [m].
    spans : tuple of Span
        One per answer wanted.
    now : datetime
        Present instant, UTC.
    contact : str or None
        Mail or web address of the user's, which MET Norway asks for.
    timeout_s : float
        How long one silent connection is waited for [s].
    folder : str
        Where the station list is kept.
    """

    door: Literal["station", "forecast", "history"]
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
_LARGEST_KML_BYTES = 50_000_000


@dataclass(slots=True, kw_only=True)
class Answer:
    """One request and what came back; `status` None means that nothing did."""

    url: str
    status: int | None = None
    modified: datetime | None = None
    body: bytes = b""

    def summary(self) -> str:
        """Host, and what was wrong with the answer."""
        host = urlsplit(self.url).hostname or self.url
        if self.status is None:
            return f"{host}: no complete answer"
        if self.status != 200:
            return f"{host}: HTTP {self.status}"
        return f"{host}: the answer could not be used"

    def remark(self) -> Message:
        """The same for the sheets."""
        host = urlsplit(self.url).hostname or self.url
        if self.status is None:
            return Message("net.silent", {"host": host})
        if self.status != 200:
            return Message("net.status", {"host": host, "status": self.status})
        return Message("net.unusable", {"host": host})


class Exchange:
    """Answers in the order asked; grows while the client works."""

    def __init__(self) -> None:
        self.answers: list[Answer] = []

    def last(self) -> Answer | None:
        """The newest answer, or None when nothing was asked."""
        return self.answers[-1] if self.answers else None

    def mark(self) -> int:
        """A place in the record, for `since`."""
        return len(self.answers)

    def since(self, mark: int) -> list[Answer]:
        """Answers recorded after a mark."""
        return self.answers[mark:]

    def recording(self, get: Callable[..., Any]) -> Callable[..., Any]:
        """The client's own `get`, with a record of every call."""

        def recorded(url: str, *args: Any, **kwargs: Any) -> Any:
            answer = Answer(url=url)
            self.answers.append(answer)
            response = get(url, *args, **kwargs)
            answer.status = int(response.status_code)
            answer.modified = _http_date(response.headers.get("Last-Modified"))
            # A streamed body is the station list: large, and read elsewhere.
            if not kwargs.get("stream"):
                answer.body = response.content
            return response

        return recorded


class RecordingHandler(urllib.request.BaseHandler):
    """Records urllib's requests, before its error handlers see the response."""

    handler_order = 100

    def __init__(self, exchange: Exchange) -> None:
        self._exchange = exchange

    def http_request(self, request: urllib.request.Request) -> urllib.request.Request:
        """Note that a request goes out."""
        self._exchange.answers.append(Answer(url=request.full_url))
        return request

    def http_response(self, _request: urllib.request.Request, response: Any) -> Any:
        """Note what came back."""
        answer = self._exchange.answers[-1]
        answer.status = int(response.status)
        answer.modified = _http_date(response.headers.get("Last-Modified"))
        return response

    https_request = http_request
    https_response = http_response


def mosmix_issue(body: bytes) -> datetime | None:
    """Issue time inside a zipped station forecast; None when there is none to read."""
    try:
        with zipfile.ZipFile(BytesIO(body)) as packed:
            member = packed.infolist()[0]
            if member.file_size > _LARGEST_KML_BYTES:
                return None
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
