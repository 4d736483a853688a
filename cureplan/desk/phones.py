"""The phones' side of a night: a server of its own on the local network, while it is shared.

It knows a code's page, the sheet, its feed and its log, and nothing else of the desk.
"""

from __future__ import annotations

import asyncio
import json
import re
import socket
from collections.abc import AsyncIterator, Awaitable, Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import uvicorn
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response, StreamingResponse
from starlette.routing import Route
from uvicorn.protocols.http.h11_impl import H11Protocol

from cureplan.core.errors import CurePlanError, InputError
from cureplan.desk import share
from cureplan.desk.folder import said
from cureplan.desk.guard import Admitted, Guard
from cureplan.desk.pages import object_in, page, stylesheet
from cureplan.desk.share import TooManyWrongError, WrongCodeError, bound

if TYPE_CHECKING:
    from starlette.types import ASGIApp

    from cureplan.desk.night import Night

__all__ = ["Sharing", "feed", "qr_svg", "sheet_answer", "take"]

COOKIE = "cureplan-phone"
HEARTBEAT_S = 5.0
TOGETHER_S = 0.2
LOOKS_UP_S = 0.5
"""A feed sees so soon that the desk is closing."""
FEEDS_EACH = 4
"""Of one phone at a time, as pages side by side; the newest stay."""
MOST_FEEDS = FEEDS_EACH * share.MOST_PHONES + 10
MOST_IDLE = 60
"""Connections of one address that ask for nothing: phones may stand behind one of them."""
ASKS_WITHIN_S = 20.0
"""A connection that by then has asked for nothing is ended."""
LARGEST_LOG = 200_000
KEPT_S = 12 * 3600
"""A phone may open the sheet so long without asking: a night."""
_POLICY = re.compile(r'http-equiv="Content-Security-Policy" content="([^"]+)"')
HERE = Path(__file__).parent


@dataclass(slots=True)
class Sharing:
    """The server that phones reach; runs in the desk's own loop, until it is stopped."""

    night: Night
    address: str = ""
    port: int = 0
    _server: uvicorn.Server | None = None
    _task: asyncio.Task[None] | None = None

    @property
    def on(self) -> bool:
        """Whether phones are let in now."""
        return self._task is not None and not self._task.done()

    @property
    def url(self) -> str:
        """What a phone types."""
        return f"http://{self.address}:{self.port}/"

    @staticmethod
    def networks() -> dict[str, str]:
        """Where phones could be let in: this computer's addresses, each with its network."""
        return share.local_addresses()

    def at(self) -> str:
        """Where phones are let in: as chosen, if this computer still is there."""
        known = self.networks()
        if not known:
            raise CurePlanError(
                "this computer is on no network; join the one the phones are on"
            )
        chosen = self.night.gate.address
        return chosen if chosen in known else next(iter(known))

    async def choose(self, address: str) -> None:
        """Let phones in on another of this computer's networks from now on."""
        known = self.networks()
        if address not in known:
            raise InputError(
                "this computer is on no such network now",
                cure=f"choose among {', '.join(known) or 'none; join the one of the phones'}",
                value=address,
            )
        self.night.gate.address = address
        if self.on and address != self.address:
            await self.stop()
            await self.start()
        else:
            await run_in_threadpool(self.night.gate.keep)

    async def start(self) -> None:
        """Open the door; where phones were before, if that port is still free."""
        if self.on:
            return
        gate = self.night.gate
        self.address = self.at()
        listener = _listener(self.address, gate.port)
        self.port = gate.port = listener.getsockname()[1]
        admitted = Admitted(hosts={f"{self.address}:{self.port}"})
        admitted.bodies |= {"/join": 2_000, "/log": LARGEST_LOG}
        self._server = _Beside(
            uvicorn.Config(
                _app(self.night, admitted),
                log_level="error",
                access_log=False,
                server_header=False,
                date_header=False,
                proxy_headers=False,
                timeout_graceful_shutdown=1,
                timeout_keep_alive=20,
                limit_concurrency=MOST_FEEDS + 2 * MOST_IDLE,
                http=_Connection,
                h11_max_incomplete_event_size=16_384,
                ws="none",
                lifespan="off",
            )
        )
        gate.on = True
        try:
            await run_in_threadpool(gate.keep)
        except CurePlanError:
            gate.on = False
            listener.close()
            raise
        self._task = asyncio.create_task(self._server.serve(sockets=[listener]))
        while not self._server.started and not self._task.done():
            await asyncio.sleep(0.01)

    async def stop(self) -> None:
        """Close the door; who was let in need not type a code again."""
        if self._server is None or self._task is None:
            return
        self.night.gate.on = False
        self._server.should_exit = True
        self.night.tell()
        with suppress(asyncio.CancelledError):
            await self._task
        self._task = None
        with suppress(CurePlanError):
            await run_in_threadpool(self.night.gate.keep)


class _Connection(H11Protocol):
    """Holds no place for whoever comes in and asks for nothing."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Let in; of many of one address that stand here idle, the one longest here goes."""
        super().connection_made(transport)
        self.since_s = self.loop.time()
        alike = (other for other in self.connections if isinstance(other, _Connection))
        idle = [other for other in alike if other.idle and other.address == self.address]
        if len(idle) > MOST_IDLE:
            min(idle, key=lambda other: other.since_s).transport.close()
        self.loop.call_later(ASKS_WITHIN_S, self._gone_unless_asked)

    @property
    def address(self) -> str | None:
        """Whose connection it is."""
        return self.client[0] if self.client else None

    @property
    def idle(self) -> bool:
        """Whether it stands open and nothing is being answered."""
        asks = self.cycle is not None and not self.cycle.response_complete
        return not asks and not self.transport.is_closing()

    def _gone_unless_asked(self) -> None:
        if self.cycle is None:
            self.transport.close()


class _Beside(uvicorn.Server):
    """A second server of a process: signals are the first one's."""

    @contextmanager
    def capture_signals(self) -> Iterator[None]:
        """Leave them as they are."""
        yield


def _listener(address: str, port: int) -> socket.socket:
    for wanted in (port, 0):
        try:
            return bound(address, wanted)
        except OSError as error:
            if not wanted:
                raise CurePlanError(
                    f"phones cannot be let in at {address} ({error.strerror})"
                ) from error
    raise CurePlanError("no port is free")


Answer = Callable[[Request, str], Awaitable[Response]]


def _app(night: Night, admitted: Admitted) -> ASGIApp:
    """What the local network sees."""

    def known(answer: Answer) -> Callable[[Request], Awaitable[Response]]:
        """Only for whoever holds a cookie of this night."""

        async def endpoint(request: Request) -> Response:
            name = night.gate.name_of(request.cookies.get(COOKIE, ""))
            if name is None:
                return JSONResponse({"fault": "type the code that the desk shows"}, 401)
            return await answer(request, name)

        return endpoint

    async def home(request: Request) -> Response:
        if night.gate.name_of(request.cookies.get(COOKIE, "")) is None:
            return _join_page(night)
        return await sheet_answer(night, kept=True)

    async def older(request: Request, _: str) -> Response:
        return await sheet_answer(night, request.path_params["ident"])

    routes = [
        Route("/", home),
        Route("/join", _joining(night), methods=["POST"]),
        Route("/static/{name}", _static),
        Route("/sheet/{ident}", known(older)),
        Route("/feed", known(lambda request, name: feed(night, request, name))),
        Route(
            "/log", known(lambda request, name: take(night, request, name)), methods=["POST"]
        ),
    ]

    def fault(_: Request, error: Exception) -> Response:
        if isinstance(error, HTTPException):
            return JSONResponse({"fault": error.detail}, error.status_code)
        if isinstance(error, CurePlanError):
            return JSONResponse({"fault": said(error, night.folder.path)}, 422)
        return JSONResponse({"fault": "a fault of the desk"}, 500)

    handlers: dict[Any, Any] = {HTTPException: fault, CurePlanError: fault, Exception: fault}
    return Guard(Starlette(routes=routes, exception_handlers=handlers), admitted)


def _join_page(night: Night) -> Response:
    """Says nothing of the job to whoever has no code yet."""
    from cureplan.output.view.view import voice_of

    plan = night.current.plan
    words: dict[str, list[str]] = {}
    for language in plan.job.languages:
        for key, text in voice_of(plan, language).labels_under("served.join").items():
            words.setdefault(key.lstrip("_") or "title", []).append(text)
    data: dict[str, Any] = {key: " / ".join(texts) for key, texts in words.items()}
    return page("join.html.j2", language=plan.job.languages[0], **data)


async def _static(request: Request) -> Response:
    name = request.path_params["name"]
    if name == "desk.css":
        return Response(stylesheet(), media_type="text/css")
    if name == "join.js":
        text = (HERE / "script" / name).read_text(encoding="utf-8")
        return Response(text, media_type="text/javascript")
    raise HTTPException(404, "nothing here")


def _joining(night: Night) -> Callable[[Request], Awaitable[Response]]:
    async def join(request: Request) -> Response:
        sent = object_in(await request.body())
        address = request.client.host if request.client else ""
        code, name = str(sent.get("code", ""))[:64], str(sent.get("name", ""))[:200]
        try:
            token, _ = await run_in_threadpool(
                night.gate.join, code, name=name, address=address
            )
        except TooManyWrongError as error:
            return JSONResponse({"fault": str(error)}, 429)
        except WrongCodeError as error:
            night.tell()
            return JSONResponse({"fault": str(error)}, 403)
        night.tell()
        answer = JSONResponse({"go": "/"})
        answer.set_cookie(
            COOKIE, token, max_age=int(share.LASTS_S), httponly=True, samesite="strict"
        )
        return answer

    return join


async def sheet_answer(night: Night, ident: str = "", *, kept: bool = False) -> Response:
    """A sheet with a policy that lets it speak to its own origin, and to no other.

    A phone's browser keeps its own, and opens it again where the desk is out of reach:
    over plain HTTP it runs no service worker.
    """
    html = await run_in_threadpool(night.sheet, ident)
    policy = _POLICY.search(html)
    own = policy[1] if policy else "default-src 'none'"
    headers = {"content-security-policy": f"{own}; frame-ancestors 'none'"}
    if kept:
        headers["cache-control"] = f"private, max-age={KEPT_S}"
    return HTMLResponse(html, headers=headers)


async def take(night: Night, request: Request, name: str) -> Response:
    """A phone's entries, on disk before the answer; with it what the phone has not heard."""
    sent = object_in(await request.body())
    try:
        refused = await run_in_threadpool(lambda: night.take(sent, author=name))
    except InputError as error:
        return JSONResponse({"fault": said(error, night.folder.path)}, 409)
    except CurePlanError as error:
        return JSONResponse({"fault": said(error, night.folder.path)}, 507)
    night.tell()
    boot, since = str(sent.get("boot", "")), sent.get("since", 0)
    news = night.message(name=name, boot=boot, since=since if isinstance(since, int) else 0)
    return JSONResponse(news | {"refused": refused})


async def feed(night: Night, request: Request, name: str) -> Response:
    """What is new, as it comes, for as long as the phone listens."""
    if len(night.hearing) >= MOST_FEEDS:
        return JSONResponse({"fault": "too many pages listen"}, 503)
    since = request.query_params.get("since", "0")
    boot = request.query_params.get("boot", "")
    from_version = int(since) if since.isascii() and since.isdigit() and len(since) < 10 else 0
    token = request.cookies.get(COOKIE)
    stream = _stream(night, name, boot, from_version, token)
    return StreamingResponse(stream, media_type="text/event-stream")


def _newest_only(night: Night, token: str | None) -> None:
    """End a phone's oldest feeds: one that left may look as if it still listened."""
    own = [woken for woken, other in night.hearing.items() if other == token]
    for woken in own[:-FEEDS_EACH] if token is not None else ():
        del night.hearing[woken]
        woken.set()


def _may_hear(night: Night, token: str | None, name: str) -> bool:
    return token is None or night.lets_in(token, name)


async def _stream(
    night: Night, name: str, boot: str, since: int, token: str | None
) -> AsyncIterator[str]:
    woken = asyncio.Event()
    woken.set()
    night.hearing[woken] = token
    _newest_only(night, token)
    quiet_s = 0.0
    try:
        while woken in night.hearing and not night.closing and _may_hear(night, token, name):
            if woken.is_set():
                woken.clear()
                news = night.message(name=name, boot=boot, since=since)
                boot, since = news["boot"], news["version"]
                yield f"data: {json.dumps(news)}\n\n"
                # Much at once is told at once.
                await asyncio.sleep(TOGETHER_S)
            try:
                await asyncio.wait_for(woken.wait(), LOOKS_UP_S)
            except TimeoutError:
                quiet_s += LOOKS_UP_S
                if quiet_s >= HEARTBEAT_S:
                    quiet_s = 0.0
                    yield "event: beat\ndata: \n\n"
    finally:
        night.hearing.pop(woken, None)


def qr_svg(text: str) -> str:
    """A text as a QR picture."""
    import segno

    svg: str = segno.make(text, error="m", micro=False).svg_inline(
        border=4, dark="#000", light="#fff", omitsize=True
    )
    return svg
