"""Weather looked at again before the night: what it does to the plan, which it never replaces.

A job with a plan is looked at on the evening before and two hours before its first mix, while
the desk is open, and whenever somebody asks.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import Iterator, Mapping
from contextlib import suppress
from datetime import datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cureplan.core.errors import CurePlanError
from cureplan.core.writing import write_atomically
from cureplan.desk.folder import JobFolder, file_mark, said

if TYPE_CHECKING:
    from cureplan.desk.pages import Desk
    from cureplan.desk.worker import Task, Worker
    from cureplan.planning.plan.model import Plan

__all__ = ["ask", "due", "kept_news", "watch"]

EVENING = time(20)
BEFORE_MIX = timedelta(hours=2)
LOOK_EVERY_S = 60.0
# Below these a difference is not worth a foreman's evening: invented.
SEEN_CHANCE, SEEN_MARGIN_MIN, SEEN_START_S = 0.03, 0.5, 600.0


def looks(plan: Plan) -> tuple[datetime, ...]:
    """When the weather of a plan is looked at again, before its first mix."""
    if not plan.rooms:
        return ()
    zone = plan.job.site.zone
    first = min(room.pour_start for room in plan.rooms).astimezone(zone)
    evening = datetime.combine(first.date() - timedelta(days=1), EVENING, tzinfo=zone)
    return evening, first - BEFORE_MIX


def due(plan: Plan, *, now: datetime, looked: datetime | None) -> bool:
    """Whether a look has come due that was not taken yet."""
    times = looks(plan)
    if not times or now >= times[-1] + BEFORE_MIX:
        return False
    past = [at for at in times if at <= now]
    made = max(plan.decisions.made_at, looked or plan.decisions.made_at)
    return bool(past) and made < past[-1]


def ask(desk: Desk, worker: Worker, name: str) -> Task:
    """Begin a look; what it finds is kept beside the job when it ends."""
    from cureplan.inputs.job.reader import read_own_job

    folder = desk.folder
    place = folder.plan_path(name)
    job = read_own_job(folder.job_path(name))
    mark, now = _mark(place), desk.planning_time(job)
    what = {
        "do": "news",
        "job": str(folder.job_path(name).absolute()),
        "out": str(place.absolute()),
        "now": now.isoformat(),
    }

    def keep(found: Mapping[str, Any]) -> None:
        news = found.get("news")
        if news is None and "fault" in found:
            news = {"fault": said(CurePlanError(str(found["fault"])), folder.path)}
        if news is not None:
            kept = {"plan": mark, "at": now.isoformat(), **news}
            write_atomically(_file(folder, name), json.dumps(kept))

    return worker.begin(name, what, after=keep)


def kept_news(folder: JobFolder, name: str) -> dict[str, Any] | None:
    """What the last look found of the plan that lies there now."""
    # A file changed by hand is no news.
    with suppress(OSError, ValueError, LookupError, TypeError, RecursionError, CurePlanError):
        found = json.loads(_file(folder, name).read_text("utf-8"))
        if found["plan"] == _mark(folder.plan_path(name)):
            datetime.fromisoformat(found["at"])
            return {**found, "changes": _changes(found)}
    return None


def _changes(news: Mapping[str, Any]) -> bool:
    """Whether the weather changes what the crew would do, or how sure it is."""
    if "fault" in news:
        return True
    before, same, anew = news["before"], news["same"], news["anew"]
    return (
        abs(same["chance"] - before["chance"]) >= SEEN_CHANCE
        or abs(same["margin_min"] - before["margin_min"]) >= SEEN_MARGIN_MIN
        or "fault" in anew
        or anew["status"] != before["status"]
        or abs(anew["first_s"] - before["first_s"]) >= SEEN_START_S
        or anew["iced"] != before["iced"]
    )


def _file(folder: JobFolder, name: str) -> Path:
    return folder.own() / f"{name}.news.json"


def _mark(place: Path) -> str:
    return file_mark(place / "plan.json")


async def watch(desk: Desk, worker: Worker) -> None:
    """Look when it is time, as long as the desk is open."""
    while True:
        with suppress(CurePlanError, OSError):
            for name in await asyncio.to_thread(lambda: [*_waiting(desk)]):
                # Busy with another plan: the next round comes in a minute.
                task = await asyncio.to_thread(ask, desk, worker, name)
                await asyncio.to_thread(task.done.wait)
        await asyncio.sleep(LOOK_EVERY_S)


def _waiting(desk: Desk) -> Iterator[str]:
    """Jobs whose weather is to be looked at now; a file of weather does not change itself."""
    from cureplan.planning.plan.read import read_plan

    for name in desk.folder.names():
        place = desk.folder.plan_path(name)
        with suppress(CurePlanError, OSError):
            plan = read_plan(place)
            news = kept_news(desk.folder, name)
            looked = datetime.fromisoformat(news["at"]) if news else None
            if plan.job.weather.source != "file" and due(plan, now=desk.now(), looked=looked):
                yield name
