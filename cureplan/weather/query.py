"""What is asked of the open-data doors; crosses into the worker process as JSON."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any, Literal

__all__ = ["Span", "WeatherQuery"]

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
