"""A job's plan beside its form: made in a process of its own, shown, moved, and compared."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import BaseRoute, Route

from cureplan.core.errors import CurePlanError, InputError
from cureplan.desk.folder import JobFolder, file_mark, fingerprint, said
from cureplan.desk.news import ask, kept_news, watch
from cureplan.desk.pages import asked, part
from cureplan.desk.worker import Worker

if TYPE_CHECKING:
    from cureplan.desk.pages import Desk
    from cureplan.inputs.job.model import Job
    from cureplan.planning.plan.model import Plan

__all__ = ["plan_of", "routes"]

MOVE_WITHIN_S = 60.0
_KINDS = {".html": "text/html", ".json": "application/json", ".csv": "text/csv",
          ".ics": "text/calendar", ".png": "image/png", ".pdf": "application/pdf"}  # fmt: skip
SHEET_POLICY = "frame-ancestors 'self'"
"""Beside the sheet's own, stricter one, which stands in the file."""


def routes(desk: Desk) -> list[BaseRoute]:
    """A job's plan, and what makes and moves it."""
    planner, mover = Worker(), Worker()

    desk.leaving += [planner.close, mover.close]
    desk.beside.append(lambda: watch(desk, planner))

    def begin(parts: Mapping[str, str], _: dict[str, Any]) -> dict[str, Any]:
        task = {"do": "plan", **_places(desk, parts["name"])}
        return {"number": planner.begin(parts["name"], task).number}

    def look(parts: Mapping[str, str], _: dict[str, Any]) -> dict[str, Any]:
        if plan_of(desk.folder, parts["name"]) is None:
            raise InputError("this job has no plan yet", cure="plan it first")
        return {"number": ask(desk, planner, parts["name"]).number}

    def what_if(parts: Mapping[str, str], sent: dict[str, Any]) -> dict[str, Any]:
        from cureplan.desk.moved import change_of

        change_of(sent)
        task = {"do": "what if", "change": sent, **_places(desk, parts["name"], planned=True)}
        return {"number": planner.begin(parts["name"], task, gives_way=True).number}

    def stop(_: Mapping[str, str], sent: dict[str, Any]) -> dict[str, Any]:
        # A page that names what it began stops nothing else.
        if planner.task is not None and sent.get("number") in (None, planner.task.number):
            planner.stop()
        return {}

    async def going(_: Request) -> Response:
        return JSONResponse(_progress(planner, desk.folder))

    async def shown(request: Request) -> Response:
        name = request.path_params["name"]
        return HTMLResponse(await run_in_threadpool(plan_part, desk, name))

    async def file(request: Request) -> Response:
        name, file = request.path_params["name"], request.path_params["file"]
        return await run_in_threadpool(_file, desk.folder, mover, name, file)

    return [
        Route("/planning", going),
        Route("/jobs/{name}/plan", shown),
        Route("/jobs/{name}/plan/{file}", file),
        Route("/jobs/{name}/news", partial(_news, desk)),
        asked("/jobs/{name}/plan", begin),
        asked(
            "/jobs/{name}/move", lambda parts, sent: _moved(desk, mover, parts["name"], sent)
        ),
        asked("/jobs/{name}/what-if", what_if),
        asked("/jobs/{name}/news", look),
        asked("/stop", stop),
    ]


async def _news(desk: Desk, request: Request) -> Response:
    """When the weather was last looked at for the plan that lies there."""
    name = request.path_params["name"]
    desk.folder.job_path(name)
    found = await run_in_threadpool(kept_news, desk.folder, name)
    return JSONResponse({"at": found["at"] if found else ""})


def _job(desk: Desk, name: str) -> Job:
    from cureplan.inputs.job.reader import read_own_job

    return read_own_job(desk.folder.job_path(name))


def _places(desk: Desk, name: str, *, planned: bool = False) -> dict[str, str]:
    """Where a job and its plan lie, and when it is planned, for the worker."""
    place = desk.folder.plan_path(name)
    if planned and not (place / "plan.json").is_file():
        raise InputError("this job has no plan yet", cure="plan it first")
    return {
        "job": str(desk.folder.job_path(name).absolute()),
        "out": str(place.absolute()),
        "now": desk.planning_time(_job(desk, name)).isoformat(),
    }


def plan_of(folder: JobFolder, name: str) -> Plan | None:
    """A job's plan as it lies there; None where none does."""
    from cureplan.planning.plan.read import read_plan

    place = folder.plan_path(name)
    return read_plan(place) if (place / "plan.json").is_file() else None


def _progress(planner: Worker, folder: JobFolder) -> dict[str, Any]:
    task = planner.task
    if task is None:
        return {"running": False, "number": 0}
    known: dict[str, Any] = {
        "running": not task.done.is_set(),
        "number": task.number,
        "job": task.name,
        "what": task.what,
        "words": task.words,
        "shown": task.shown,
    }
    if task.ended is not None:
        given = ("plan", "what_if", "stopped")
        known |= {key: task.ended[key] for key in given if key in task.ended}
        if "fault" in task.ended and task.stopped:
            # A search that was cut short does not know that there is no plan.
            known["stopped"] = True
        elif "fault" in task.ended:
            known["fault"] = said(CurePlanError(str(task.ended["fault"])), folder.path)
    return known


def _file(folder: JobFolder, mover: Worker, name: str, file: str) -> Response:
    """One of the files a plan consists of, and none other; pictures are drawn now."""
    from cureplan.output.sheet.write import FILES, PICTURES, ROLE_FILES

    folder.job_path(name)
    place = folder.plan_path(name)
    path = place / file
    if file in PICTURES and not path.exists() and (place / "plan.json").is_file():
        task = {"do": "draw", "out": str(place.absolute())}
        ended = mover.run(name, task, within_s=MOVE_WITHIN_S).ended or {}
        if "drawn" not in ended:
            words = ended.get("fault", "this took too long; try again")
            raise CurePlanError(str(words))
    if file not in (*FILES, *ROLE_FILES) or path.is_symlink() or not path.is_file():
        raise HTTPException(404)
    headers = {"content-security-policy": SHEET_POLICY}
    return Response(path.read_bytes(), media_type=_KINDS[Path(file).suffix], headers=headers)


def plan_part(desk: Desk, name: str) -> str:
    """What the page shows of a job's plan."""
    from cureplan.inputs.job.edits import portable

    try:
        plan = plan_of(desk.folder, name)
    except CurePlanError as error:
        return part("plan.html.j2", plan=None, fault=said(error, desk.folder.path))
    if plan is None:
        return part("plan.html.j2", plan=None, fault="")
    try:
        same = plan.job == portable(_job(desk, name))
    except CurePlanError:
        same = False
    news = kept_news(desk.folder, name)
    if news is not None:
        looked = datetime.fromisoformat(news["at"]).astimezone(plan.job.site.zone)
        news["said_at"] = f"{looked:%a %d %b, %H:%M}"
    return part("plan.html.j2", fault="", news=news, **_shown(plan, name, same=same))


def _shown(plan: Plan, name: str, *, same: bool) -> dict[str, Any]:
    from cureplan.output.charts import svg
    from cureplan.output.charts.drawing import job_pictures
    from cureplan.output.charts.floor_map import map_picture
    from cureplan.output.view import view
    from cureplan.output.view.view import voice_of

    voice = voice_of(plan)
    rooms = sorted(plan.rooms, key=lambda room: room.order)
    maps = [(room.room, map_picture(plan, room.room, voice)) for room in rooms]

    def drawn(picture: Any) -> dict[str, Any]:
        drawing = picture.drawing
        return {
            "title": picture.title,
            "width": drawing.width,
            "height": drawing.height,
            "shapes": svg.shapes_of(drawing),
            "texts": drawing.texts,
            "legend": svg.legend_of(picture),
        }

    return {
        "plan": plan,
        "name": name,
        "same": same,
        "state": view.status_state(plan),
        "status": voice.label(f"status.{view.status_key(plan)}"),
        "chance": view.chance_text(plan, voice) if plan.rooms else "",
        "weakest": view.weakest_text(plan, voice),
        "answers": view.answers(plan, voice),
        "warnings": [voice.say(warning) for warning in plan.warnings],
        "helps_title": voice.label("alternatives"),
        "helps": [voice.say(found.what) for found in plan.decisions.alternatives],
        "timeline": [drawn(picture) for picture in job_pictures(plan, voice)][:1],
        "maps": [(room, drawn(picture)) for room, picture in maps if picture is not None],
        "rooms": [
            {
                "name": room.room,
                "start": room.pour_start.astimezone(plan.job.site.zone).strftime("%H:%M"),
            }
            for room in rooms
        ],
        "crew": plan.job.crew,
    }


def _moved(desk: Desk, mover: Worker, name: str, sent: Mapping[str, Any]) -> dict[str, Any]:
    """What one change does to the plan in hand: margin and opening, or if asked the chance."""
    from cureplan.desk.moved import change_of

    change_of(sent)
    folder = desk.folder
    task = mover.run(
        name,
        {
            "do": "move",
            **_places(desk, name, planned=True),
            "job_mark": fingerprint(folder.read(name)),
            "plan_mark": file_mark(folder.plan_path(name) / "plan.json"),
            "change": dict(sent),
            "chance": bool(sent.get("chance")),
        },
        within_s=MOVE_WITHIN_S,
    )
    ended = task.ended or {}
    if "moved" not in ended:
        words = ended.get("fault", "this took too long; try again")
        return {"status": 422, "fault": said(CurePlanError(str(words)), folder.path)}
    return dict(ended["moved"])
