"""One job on the page: its form, its rooms drawn, its weather, and every change of it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute, Route

from cureplan.core.errors import CurePlanError, InputError, QuantityError
from cureplan.core.quantities import parse_length_m, split_refusal
from cureplan.desk.edits import Edits, faults_of, values_of
from cureplan.desk.folder import JobFolder, fingerprint, said
from cureplan.desk.form import parts_of, people_parts, room_parts
from cureplan.desk.pages import asked, page
from cureplan.desk.plans import plan_part
from cureplan.planning.schedule.remedies import MOST_BAYS

if TYPE_CHECKING:
    from cureplan.desk.pages import Desk

__all__ = ["routes"]

LARGEST_WEATHER = 12_000_000
_AROUND = 3
"""Lines shown before and after a broken one."""


def routes(desk: Desk) -> list[BaseRoute]:
    """A job's page and what it asks for."""
    edits = Edits(folder=desk.folder)
    desk.admitted.bodies["/weather"] = LARGEST_WEATHER

    async def shown(request: Request) -> Response:
        name = request.path_params["name"]
        return await run_in_threadpool(_page, desk, edits, name)

    async def mark(request: Request) -> Response:
        text = await run_in_threadpool(desk.folder.read, request.path_params["name"])
        return JSONResponse({"rev": fingerprint(text)})

    async def weather(request: Request) -> Response:
        name = request.path_params["name"]
        file = request.query_params.get("file", "")
        data = await request.body()
        answer = await run_in_threadpool(_dropped, desk, edits, name, file, data)
        return JSONResponse(answer)

    def of(method: Any) -> Any:
        return lambda parts, sent: method(parts["name"], sent)

    return [
        Route("/jobs/{name}", shown),
        Route("/jobs/{name}/rev", mark),
        Route("/jobs/{name}/weather", weather, methods=["POST"]),
        asked("/jobs/{name}/change", of(edits.change)),
        asked("/jobs/{name}/text", of(edits.whole)),
        asked("/jobs/{name}/undo", of(edits.undo)),
        asked("/jobs/{name}/hours", lambda parts, _: _hours(desk, parts["name"])),
        asked("/length", _length),
        asked("/towns", _towns),
    ]


def _page(desk: Desk, edits: Edits, name: str) -> Response:
    folder = desk.folder
    text = folder.read(name)
    rev = edits.show(text)
    try:
        values = values_of(text, name=name)
    except InputError as error:
        return page(
            "broken.html.j2",
            status=422,
            name=name,
            rev=rev,
            words=said(error, folder.path),
            text=text,
            around=_around(text, error.line),
            undo=folder.can_undo(name),
        )
    rooms = [
        {"part": room_parts(values, number), "shape": _shape(room, values)}
        for number, room in enumerate(values.get("rooms", []))
        if isinstance(room, Mapping)
    ]
    return page(
        "job.html.j2",
        name=name,
        rev=rev,
        parts=parts_of(values, _cards(folder)),
        rooms=rooms,
        people=people_parts(values),
        faults=faults_of(text, folder, name),
        undo=folder.can_undo(name),
        display=values.get("display", "us"),
        plan_part=plan_part(desk, name),
        most_bays=MOST_BAYS,
        largest_weather=LARGEST_WEATHER,
        playable=(folder.plan_path(name) / "plan.json").is_file(),
    )


def _around(text: str, line: int | None) -> list[tuple[int, str, bool]]:
    rows = text.split("\n")
    at = line or 1
    return [
        (number, rows[number - 1], number == at)
        for number in range(max(1, at - _AROUND), min(len(rows), at + _AROUND) + 1)
    ]


def _cards(folder: JobFolder) -> dict[str, list[str]]:
    """The cards a job may name, by kind: those shipped, and those of the folder."""
    from cureplan.inputs.cards.reader import read_card, shipped_cards

    found: dict[str, list[str]] = {}
    own = [path.name for path in sorted(folder.path.glob("*.toml")) if not path.is_symlink()]
    for name in (*shipped_cards(), *own):
        try:
            card = read_card(name, folder=folder.path)
        except CurePlanError:
            continue
        found.setdefault(type(card).__name__.removesuffix("Card").lower(), []).append(name)
    return found


def _shape(room: Mapping[str, Any], values: Mapping[str, Any]) -> dict[str, Any] | None:
    """A room's shape in metres for the drawing; None where it cannot be read yet."""
    from pydantic import ValidationError

    from cureplan.inputs.job.schema import RoomEntry

    keys = ("length", "width", "outline", "islands", "stop_lines", "back_wall")
    said_of = {key: room[key] for key in keys if key in room}
    try:
        entry = RoomEntry.model_validate(
            {"name": "room", "use": "other", "way_out": [], **said_of}
        )
    except (ValidationError, QuantityError):
        return None
    if not entry.outline_m and not (entry.length_m and entry.width_m):
        return None
    return {
        "corners": [list(corner) for corner in entry.corners_m],
        "islands": [[list(corner) for corner in ring] for ring in entry.islands_m],
        "lines": [[list(end) for end in line] for line in entry.stop_lines_m],
        "wall": [corner - 1 for corner in entry.back_wall or (1, 2)],
        "us": values.get("display", "us") != "metric",
    }


def _length(_: Mapping[str, str], sent: dict[str, Any]) -> dict[str, Any]:
    """A typed side in metres, or the refusal of the command line."""
    text = str(sent.get("text", ""))
    try:
        return {"m": parse_length_m(text)}
    except QuantityError as error:
        problem, cure = split_refusal(error, text)
        return {"status": 422, "fault": f"{problem}; {cure}"}


def _towns(_: Mapping[str, str], sent: dict[str, Any]) -> dict[str, Any]:
    from cureplan.inputs.job.towns import find_towns

    found = find_towns(str(sent.get("text", ""))[:80])
    return {
        "towns": [
            {
                "name": town.label,
                "latitude": f"{town.latitude_deg:g}",
                "longitude": f"{town.longitude_deg:g}",
                "time_zone": town.time_zone,
            }
            for town in found
        ]
    }


# Weather


def _dropped(desk: Desk, edits: Edits, name: str, file: str, data: bytes) -> dict[str, Any]:
    """Keep a dropped file beside the job if weather can be read from it, and name it there."""
    from cureplan.core.writing import write_atomically
    from cureplan.inputs.job.own import own_file
    from cureplan.inputs.job.reader import read_job_text

    folder = desk.folder
    place = folder.beside(file)
    with folder.lock:
        text = folder.read(name)
        after = _with_weather(text, file)
        before = place.read_bytes() if place.is_file() else None
        if before is not None and before != data:
            raise InputError(
                "another file of this name lies beside the job",
                cure="rename the one you drop",
                key="file",
                value=file,
            )
        write_atomically(place, data)
        try:
            job = read_job_text(after, source=folder.job_path(name), defaults=own_file())
            lines = _understood(desk, job)
        except CurePlanError:
            if before is None:
                place.unlink(missing_ok=True)
            raise
        if after != text:
            folder.write(name, after, before=text)
    return {**edits.state(name, after), "understood": lines}


def _with_weather(text: str, file: str) -> str:
    from cureplan.inputs.toml_edit import with_value

    tomllib.loads(text)
    return with_value(
        with_value(text, ("weather", "source"), "file"), ("weather", "file"), file
    )


def _hours(desk: Desk, name: str) -> dict[str, Any]:
    """What is understood of the job's weather now."""
    from cureplan.inputs.job.reader import read_own_job

    return {"understood": _understood(desk, read_own_job(desk.folder.job_path(name)))}


def _understood(desk: Desk, job: Any) -> list[str]:
    from cureplan.api import get_weather
    from cureplan.output.text.quick import understood_weather

    series = get_weather(job, now=desk.planning_time(job))
    folder = Path(desk.folder.path)
    return [
        said(CurePlanError(line.strip()), folder) for line in understood_weather(job, series)
    ]
