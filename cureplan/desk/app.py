"""The desk's pages and who answers them.

A part of the desk is a file with `routes(desk)`; its pages are templates, its scripts stand
in `script/`. Each is named once, below.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Awaitable, Callable, Coroutine, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Route

from cureplan.core.errors import CurePlanError
from cureplan.desk.folder import JobFolder, NoSuchJobError, said
from cureplan.desk.guard import Admitted, Guard
from cureplan.output.charts.palette import DARK, LIGHT

if TYPE_CHECKING:
    from jinja2 import Environment
    from starlette.types import ASGIApp

    from cureplan.inputs.job.model import Job

__all__ = ["Desk", "asked", "make_app", "object_in", "page", "part", "stylesheet"]

HERE = Path(__file__).parent
EVENING_BEFORE = timedelta(hours=23)
SCRIPTS = ("desk.js", "jobs.js", "job.js", "draw.js", "plan.js", "night.js")
"""Every script a page may ask for."""


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


def make_app(desk: Desk) -> ASGIApp:
    """The whole desk as an ASGI application, guarded."""
    from cureplan.desk import job, jobs, nights, plans

    routes: list[BaseRoute] = [
        Route("/static/{name}", _static),
        *jobs.routes(desk),
        *job.routes(desk),
        *plans.routes(desk),
        *nights.routes(desk),
    ]

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        for begin in desk.beginnings:
            await begin()
        beside = [asyncio.create_task(run()) for run in desk.beside]
        yield
        for task in beside:
            task.cancel()
        for end in desk.endings:
            await end()

    app = Starlette(
        routes=routes,
        lifespan=lifespan,
        exception_handlers={
            CurePlanError: _handler(desk),
            HTTPException: _handler(desk),
            Exception: _handler(desk),
        },
    )
    return Guard(app, desk.admitted)


# Answers


def page(template: str, *, status: int = 200, **data: Any) -> HTMLResponse:
    """A whole page out of a template."""
    return HTMLResponse(_environment().get_template(template).render(**data), status)


def part(template: str, **data: Any) -> str:
    """A piece of a page, to be put in the place of an older one."""
    return _environment().get_template(template).render(**data)


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    return Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


async def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name == "desk.css":
        return Response(stylesheet(), media_type="text/css")
    if name in SCRIPTS:
        text = (HERE / "script" / name).read_text(encoding="utf-8")
        return Response(text, media_type="text/javascript")
    raise HTTPException(404)


def stylesheet() -> str:
    """The look of every page of the desk."""
    from cureplan.output.charts import svg

    return part("desk.css.j2", light=LIGHT, dark=DARK, kinds=svg.css_rules())


Answering = Callable[..., Any]


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
    except (ValueError, RecursionError):
        raise HTTPException(400, "what was sent is not JSON") from None
    if not isinstance(found, dict):
        raise HTTPException(400, "what was sent is not a JSON object")
    return found


def _handler(desk: Desk) -> Callable[[Request, Exception], Response]:
    def handle(request: Request, error: Exception) -> Response:
        status, words = _words(error, desk)
        if request.method == "POST":
            return JSONResponse({"fault": words}, status)
        return page("fault.html.j2", status=status, words=words)

    return handle


def _words(error: Exception, desk: Desk) -> tuple[int, str]:
    """Status and words of a refusal, with no path of the machine in them."""
    if isinstance(error, NoSuchJobError):
        return 404, str(error)
    if isinstance(error, CurePlanError):
        return 422, said(error, desk.folder.path)
    if isinstance(error, HTTPException):
        known = {404: "There is no such page here.", 405: "This cannot be asked that way."}
        return error.status_code, known.get(error.status_code, error.detail)
    return 500, (
        f"This is a fault of the desk, not yours ({type(error).__name__}); nothing was "
        "changed. Its own window says more."
    )
