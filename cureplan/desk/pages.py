"""What the parts of a desk share: the desk itself, its pages, and how they are asked."""

from __future__ import annotations

import json
import math
from collections.abc import Awaitable, Callable, Coroutine, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from cureplan.desk.folder import JobFolder
from cureplan.desk.guard import Admitted
from cureplan.output.charts.palette import DARK, LIGHT

if TYPE_CHECKING:
    from jinja2 import Environment

    from cureplan.inputs.job.model import Job

__all__ = ["HERE", "Desk", "asked", "object_in", "page", "part", "percent", "stylesheet"]

HERE = Path(__file__).parent
EVENING_BEFORE = timedelta(hours=23)


@dataclass(slots=True)
class Desk:
    """What the parts of a desk share."""

    folder: JobFolder
    admitted: Admitted = field(default_factory=Admitted)
    now: Callable[[], datetime] = lambda: datetime.now(UTC)
    beginnings: list[Callable[[], Awaitable[None]]] = field(default_factory=list)
    """Called when the desk's loop runs."""
    endings: list[Callable[[], Awaitable[None]]] = field(default_factory=list)
    """Called when the last page has been answered."""
    beside: list[Callable[[], Coroutine[Any, Any, None]]] = field(default_factory=list)
    """What runs beside the pages as long as the desk is open."""
    leaving: list[Callable[[], None]] = field(default_factory=list)
    """Called at Ctrl-C, before it: whatever keeps an answer waiting is ended at once."""

    def planning_time(self, job: Job) -> datetime:
        """When a job is planned: now, or for a past job on the evening before."""
        now = self.now()
        return now if now < job.access.open_by else job.access.begins - EVENING_BEFORE


def page(template: str, *, status: int = 200, **data: Any) -> HTMLResponse:
    """A whole page out of a template."""
    return HTMLResponse(_environment().get_template(template).render(**data), status)


def part(template: str, **data: Any) -> str:
    """A piece of a page, to be put in the place of an older one."""
    return _environment().get_template(template).render(**data)


def percent(chance: float) -> str:
    """A chance as the sheet says it: down, and nothing is sure."""
    return f"{min(99, math.floor(100 * chance + 1e-9))} %"


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["percent"] = percent
    return environment


def stylesheet() -> str:
    """The look of every page of the desk."""
    from cureplan.output.charts import svg

    return part("desk.css.j2", light=LIGHT, dark=DARK, kinds=svg.css_rules())


def asked(
    path: str, answer: Callable[[Mapping[str, str], dict[str, Any]], Mapping[str, Any]]
) -> Route:
    """A route that takes JSON and gives JSON; `answer` runs beside the others, on a thread.

    `answer` gets the parts of the path and the JSON object that was sent.
    """

    async def endpoint(request: Request) -> Response:
        sent = object_in(await request.body())
        found = await run_in_threadpool(answer, request.path_params, sent)
        status = int(found.get("status", 200)) if "status" in found else 200
        return JSONResponse({k: v for k, v in found.items() if k != "status"}, status)

    return Route(path, endpoint, methods=["POST"])


def object_in(body: bytes) -> dict[str, Any]:
    """The JSON object a page sent."""
    try:
        found = json.loads(body or b"{}")
        # Half a letter, and what is no number, are in no answer and in no file.
        json.dumps(found, ensure_ascii=False, allow_nan=False).encode()
    except (ValueError, RecursionError):
        raise HTTPException(400, "what was sent is not JSON") from None
    if not isinstance(found, dict):
        raise HTTPException(400, "what was sent is not a JSON object")
    return found
