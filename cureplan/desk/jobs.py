"""The jobs of the folder: a list with state, date and chance; new, copy, open."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import BaseRoute, Route

from cureplan.core.errors import CurePlanError, InputError
from cureplan.desk.edits import values_of
from cureplan.desk.folder import JobFolder, said
from cureplan.desk.news import kept_news
from cureplan.desk.pages import asked, page, percent
from cureplan.inputs.job.interview import job_text, last_answers, next_weekend
from cureplan.inputs.job.reader import read_own_job

if TYPE_CHECKING:
    from cureplan.desk.pages import Desk

__all__ = ["JobLine", "job_line", "routes"]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLine:
    """One job of the list."""

    name: str
    site: str = ""
    date: str = ""
    state: str
    """In a word or two."""
    mood: str = "soft"
    """The sheet's colour for it."""
    chance: str = ""
    news: str = ""
    """What has come to be known since it was planned."""
    fault: str = ""


def routes(desk: Desk) -> list[BaseRoute]:
    """The list of jobs and what can be done with it."""

    async def listed(_: Request) -> Response:
        lines = await run_in_threadpool(_lines, desk)
        left_off = await run_in_threadpool(desk.folder.left_off)
        return page("jobs.html.j2", jobs=lines, left_off=left_off)

    def new(_: Mapping[str, str], sent: dict[str, Any]) -> dict[str, Any]:
        name = str(sent.get("name", "")).strip()
        return _put(desk, name, _first_text(desk, name))

    def copied(parts: Mapping[str, str], sent: dict[str, Any]) -> dict[str, Any]:
        text = desk.folder.read(parts["name"])
        return _put(desk, str(sent.get("name", "")).strip(), text)

    return [
        Route("/", listed),
        asked("/jobs", new),
        asked("/jobs/{name}/copy", copied),
    ]


def _put(desk: Desk, name: str, text: str) -> dict[str, Any]:
    with desk.folder.lock:
        place = desk.folder.place_for(name)
        if place.exists() or place.is_symlink():
            raise InputError(
                "a job of this name stands here already",
                cure="choose another name",
                key="name",
                value=name,
            )
        desk.folder.write(name, text, before=None)
    return {"go": f"/jobs/{quote(name)}"}


def _first_text(desk: Desk, name: str) -> str:
    """A whole job to begin with: as the last one said, in a night to come."""
    answers = {}
    known = desk.folder.names()
    if known:
        latest = max(known, key=lambda name: desk.folder.job_path(name).stat().st_mtime)
        try:
            answers = last_answers(desk.folder.job_path(latest))
        except CurePlanError:
            answers = {}
    answers |= next_weekend(desk.now())
    if name:
        answers["site.name"] = name
    return job_text(answers)


def _lines(desk: Desk) -> list[JobLine]:
    return [job_line(desk.folder, name) for name in desk.folder.names()]


def job_line(folder: JobFolder, name: str) -> JobLine:
    """What the list says of a job."""
    try:
        job = read_own_job(folder.job_path(name))
    except CurePlanError as error:
        line = getattr(error, "line", None)
        state = "to be finished" if _is_toml(folder, name) else "cannot be read"
        where = f", line {line}" if line else ""
        return JobLine(
            name=name, state=f"{state}{where}", mood="short", fault=said(error, folder.path)
        )
    begins = job.access.begins.astimezone(job.site.zone)
    known = {"name": name, "site": job.site.name, "date": f"{begins:%a %d %b %Y, %H:%M}"}
    return JobLine(**known, **_planned(folder, name, job))


def _is_toml(folder: JobFolder, name: str) -> bool:
    try:
        values_of(folder.read(name), name=name)
    except CurePlanError:
        return False
    return True


def _planned(folder: JobFolder, name: str, job: Any) -> dict[str, str]:
    from cureplan.inputs.job.edits import portable
    from cureplan.output.view.view import status_state
    from cureplan.planning.plan.read import read_plan

    try:
        place = folder.plan_path(name)
        if not (place / "plan.json").is_file():
            return {"state": "not planned yet"}
        plan = read_plan(place)
    except CurePlanError as error:
        return {"state": "its plan cannot be read", "fault": said(error, folder.path)}
    if plan.job != portable(job):
        return {"state": "changed since it was planned", "mood": "tight"}
    news = kept_news(folder, name)
    changed = news is not None and news["changes"]
    return {
        "state": plan.status,
        "mood": status_state(plan),
        "chance": percent(plan.risk.all_keep_frac),
        "news": "The weather has changed since this was planned." if changed else "",
    }
