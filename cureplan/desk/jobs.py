"""The jobs of the folder: a list with state, date and chance; new, copy, open."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from cureplan.core.errors import InputError
from cureplan.desk.app import asked, page
from cureplan.inputs.job.interview import job_text

if TYPE_CHECKING:
    from cureplan.desk.app import Desk

__all__ = ["routes"]


def routes(desk: Desk) -> list[BaseRoute]:
    """The list of jobs and what can be done with it."""

    async def listed(_: Request) -> Response:
        names = await run_in_threadpool(desk.folder.names)
        return page("jobs.html.j2", names=names)

    def new(_: Mapping[str, str], sent: dict[str, Any]) -> dict[str, Any]:
        name = str(sent.get("name", ""))
        with desk.folder.lock:
            place = desk.folder.place_for(name)
            if place.exists() or place.is_symlink():
                raise InputError(
                    "a job of this name stands here already",
                    cure="choose another name",
                    key="name",
                    value=name,
                )
            desk.folder.write(name, job_text({}), before=None)
        return {"go": f"/jobs/{quote(name)}"}

    return [Route("/", listed), asked("/jobs", new)]
