"""The desk's own pages of a night: sharing, the log with its authors, planning again."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import BaseRoute, Route

from cureplan.core.errors import CurePlanError, InputError
from cureplan.desk.night import Night
from cureplan.desk.pages import object_in, page, part
from cureplan.desk.phones import Sharing, feed, qr_svg, sheet_answer, take

if TYPE_CHECKING:
    from cureplan.desk.hub import Entry
    from cureplan.desk.pages import Desk

__all__ = ["Nights", "routes"]

OWN_NAME = "Desk"
CLOSES_WITHIN_S = 3.0
LARGEST_FILE = 1_000_000
_ENDING = ".share.json"


@dataclass(slots=True)
class Nights:
    """The nights that are open on this desk; at most one is shared with phones."""

    desk: Desk
    sharings: dict[str, Sharing] = field(default_factory=dict)
    tasks: set[asyncio.Task[None]] = field(default_factory=set)
    opening: asyncio.Lock = field(default_factory=asyncio.Lock)

    async def of(self, name: str) -> Sharing:
        """A job's night, read once; anew where its plan was made anew."""
        async with self.opening:
            sharing = self.sharings.get(name)
            if sharing is None or (not sharing.on and await run_in_threadpool(_stale, sharing)):
                night = await run_in_threadpool(Night.of, self.desk.folder, name)
                sharing = self.sharings[name] = Sharing(night)
            return sharing

    async def share(self, name: str) -> None:
        """Let phones in to this night, and to no other."""
        sharing = await self.of(name)
        other = next((n for n, s in self.sharings.items() if s.on and n != name), None)
        if other is not None:
            raise InputError(f"the night of {other!r} is shared", cure="end that sharing first")
        await sharing.start()

    async def resume(self) -> None:
        """What was shared when a desk before this one was killed is shared again."""
        own = self.desk.folder.path / ".cureplan-desk"
        for path in sorted(own.glob(f"*{_ENDING}")):
            with suppress(CurePlanError, OSError):
                sharing = await self.of(path.name.removesuffix(_ENDING))
                if sharing.night.gate.on:
                    await self.share(sharing.night.name)

    def leave(self) -> None:
        """Let every feed end, so that the server need not cut it off."""
        for sharing in self.sharings.values():
            sharing.night.closing = True

    async def close(self) -> None:
        """End every sharing and every run."""
        for sharing in self.sharings.values():
            sharing.night.stop()
            await sharing.stop()
        if self.tasks:
            _, late = await asyncio.wait(self.tasks, timeout=CLOSES_WITHIN_S)
            for task in late:
                task.cancel()

    def beside(self, work: Awaitable[None], night: Night) -> None:
        """Do something long; what it refuses is shown as the night's last word."""

        async def run() -> None:
            try:
                await work
            except CurePlanError as error:
                if night.work is not None:
                    night.work.said = str(error)
                night.tell()

        task = asyncio.create_task(run())
        self.tasks.add(task)
        task.add_done_callback(self.tasks.discard)


def _stale(sharing: Sharing) -> bool:
    """Whether the plan in the folder is not the one this night was opened on."""
    return not sharing.night.plans[0].is_in_place()


Does = Callable[[Sharing, dict[str, Any]], Awaitable[Mapping[str, Any]]]


def routes(desk: Desk) -> list[BaseRoute]:
    """The pages of a night."""
    nights = Nights(desk)
    desk.beginnings.append(nights.resume)
    desk.leaving.append(nights.leave)
    desk.endings.append(nights.close)
    desk.admitted.bodies |= {"/night/file": LARGEST_FILE}

    def got(path: str, answer: Callable[[Sharing, Request], Awaitable[Response]]) -> Route:
        async def endpoint(request: Request) -> Response:
            return await answer(await nights.of(request.path_params["name"]), request)

        return Route(f"/jobs/{{name}}/night{path}", endpoint)

    def posted(path: str, does: Does) -> Route:
        async def endpoint(request: Request) -> Response:
            sharing = await nights.of(request.path_params["name"])
            said = await does(sharing, await _sent(request))
            sharing.night.tell()
            return JSONResponse(said)

        return Route(f"/jobs/{{name}}/night{path}", endpoint, methods=["POST"])

    async def logged(request: Request) -> Response:
        sharing = await nights.of(request.path_params["name"])
        return await take(sharing.night, request, OWN_NAME)

    return [
        got("", _whole),
        got("/part", _live),
        got("/sheet", lambda sharing, _: sheet_answer(sharing.night)),
        got("/sheet/{ident}", lambda s, r: sheet_answer(s.night, r.path_params["ident"])),
        got("/feed", lambda sharing, request: feed(sharing.night, request, OWN_NAME)),
        got("/log.csv", _log_file),
        Route("/jobs/{name}/night/log", logged, methods=["POST"]),
        *_buttons(nights, posted),
    ]


def _buttons(nights: Nights, posted: Callable[[str, Does], Route]) -> list[BaseRoute]:
    async def share(sharing: Sharing, sent: dict[str, Any]) -> Mapping[str, Any]:
        if sent.get("address"):
            await sharing.choose(str(sent["address"])[:60])
        elif sent.get("on") is True:
            await nights.share(sharing.night.name)
        else:
            await sharing.stop()
        return {}

    async def forget(sharing: Sharing, _: dict[str, Any]) -> Mapping[str, Any]:
        await run_in_threadpool(sharing.night.gate.forget)
        return {}

    async def strike(sharing: Sharing, sent: dict[str, Any]) -> Mapping[str, Any]:
        ids, back = [str(sent.get("id", ""))], sent.get("back") is True
        await run_in_threadpool(
            lambda: sharing.night.log.strike(ids, author=OWN_NAME, back=back)
        )
        return {}

    async def file(sharing: Sharing, sent: dict[str, Any]) -> Mapping[str, Any]:
        name, text = str(sent.get("name", "log"))[:60], str(sent.get("text", ""))
        refused = await run_in_threadpool(lambda: sharing.night.add_file(text, name=name))
        return {"refused": refused}

    async def again(sharing: Sharing, _: dict[str, Any]) -> Mapping[str, Any]:
        _refuse_work(sharing.night)
        nights.beside(sharing.night.plan_again(), sharing.night)
        return {}

    async def stop(sharing: Sharing, _: dict[str, Any]) -> Mapping[str, Any]:
        sharing.night.stop()
        return {}

    async def end(sharing: Sharing, _: dict[str, Any]) -> Mapping[str, Any]:
        _refuse_work(sharing.night)
        await sharing.stop()
        nights.beside(sharing.night.write_record(), sharing.night)
        return {}

    does = {
        "/share": share, "/forget": forget, "/strike": strike, "/file": file,
        "/again": again, "/stop": stop, "/end": end,
    }  # fmt: skip
    return [posted(path, act) for path, act in does.items()]


def _refuse_work(night: Night) -> None:
    night.require_entries()
    if night.work is not None and night.work.running:
        raise InputError("the desk is at work on this night already", cure="wait, or stop it")


async def _sent(request: Request) -> dict[str, Any]:
    return object_in(await request.body())


async def _whole(sharing: Sharing, _: Request) -> Response:
    data = await run_in_threadpool(_shown, sharing)
    return page("night.html.j2", **data)


async def _live(sharing: Sharing, _: Request) -> Response:
    data = await run_in_threadpool(_shown, sharing)
    return HTMLResponse(part("night-live.html.j2", **data))


async def _log_file(sharing: Sharing, _: Request) -> Response:
    name = f"log-{sharing.night.ident}.csv"
    headers = {"content-disposition": f'attachment; filename="{name}"'}
    return PlainTextResponse(sharing.night.log.text(), media_type="text/csv", headers=headers)


def _shown(sharing: Sharing) -> dict[str, Any]:
    """All that the page of a night shows."""
    from cureplan.output.view.view import voice_of

    night = sharing.night
    plan = night.current.plan
    entries = night.log.entries()
    networks = sharing.networks()
    chosen = night.gate.address if night.gate.address in networks else ""
    return {
        "name": night.name,
        "site": plan.job.site.name,
        "on": sharing.on,
        "url": sharing.url,
        "networks": networks,
        "at": sharing.address if sharing.on else chosen,
        "code": f"{night.gate.code[:4]} {night.gate.code[4:]}",
        "qr": qr_svg(f"{sharing.url}?code={night.gate.code}") if sharing.on else "",
        "phones": night.gate.names(),
        "guessed": night.gate.guessed_at,
        "work": night.work,
        "plans": [(each.ident, each.folder.name) for each in reversed(night.plans)],
        "changes": [voice_of(plan, "en", on_sheet=True).say(c) for c in plan.night.changes]
        if plan.night is not None
        else [],
        "contradictions": night.log.contradictions(),
        "rows": [_row(entry, night) for entry in reversed(entries)],
        "count": sum(entry.counts for entry in entries),
    }


def _row(entry: Entry, night: Night) -> dict[str, Any]:
    at, event, room, bucket, value, _ = entry.cells
    zone = night.log.site.zone
    when = (
        f"{entry.event.at.astimezone(zone):%a %H:%M}" if entry.event is not None else at[11:16]
    )
    late = event == "late" and value.isascii() and value.removeprefix("-").isdigit()
    what = f"late by {int(value[:9]) // 60} min" if late else event
    return {
        "id": entry.id, "number": entry.number, "author": entry.author, "when": when,
        "what": what, "where": f"{room} {bucket}".strip(),
        "value": "" if late else value, "struck": entry.struck,
        "standing": entry.standing,
    }  # fmt: skip
