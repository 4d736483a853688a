"""The desk's parts put together: who answers what, and what is said of a fault.

A part of the desk is a file with `routes(desk)`; its pages are templates, its scripts stand
in `script/`. Each is named once, below.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import TYPE_CHECKING

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from cureplan.core.errors import CurePlanError, OutputError
from cureplan.desk import job, jobs, nights, plans
from cureplan.desk.folder import NoSuchJobError, said
from cureplan.desk.guard import Guard
from cureplan.desk.pages import HERE, Desk, page, stylesheet

if TYPE_CHECKING:
    from starlette.types import ASGIApp

__all__ = ["make_app"]

SCRIPTS = ("desk.js", "jobs.js", "job.js", "draw.js", "plan.js", "night.js")
"""Every script a page may ask for."""


def make_app(desk: Desk) -> ASGIApp:
    """The whole desk as an ASGI application, guarded."""
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


async def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name == "desk.css":
        return Response(stylesheet(), media_type="text/css")
    if name in SCRIPTS:
        text = (HERE / "script" / name).read_text(encoding="utf-8")
        return Response(text, media_type="text/javascript")
    raise HTTPException(404)


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
        # A page tries again what a full disk refused.
        status = 507 if isinstance(error, OutputError) else 422
        return status, said(error, desk.folder.path)
    if isinstance(error, HTTPException):
        known = {404: "There is no such page here.", 405: "This cannot be asked that way."}
        return error.status_code, known.get(error.status_code, error.detail)
    return 500, (
        f"This is a fault of the desk, not yours ({type(error).__name__}); nothing was "
        "changed. Its own window says more."
    )
