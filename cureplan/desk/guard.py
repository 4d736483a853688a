"""Who may ask the desk, and how much: Host, Origin, size of a body, and the page's policy.

A stranger on the network or a page from elsewhere gets a bare refusal and nothing of a job.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["LOOPBACK", "POLICY", "Admitted", "Guard"]

LOOPBACK = ("127.0.0.1", "localhost", "[::1]")
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; "
    "img-src 'self' data:; frame-src 'self'; base-uri 'none'; form-action 'self'; "
    "frame-ancestors 'self'"
)
"""Nothing from outside, nothing written into the page; an answer may bring its own."""
SMALL_BODY = 300_000
BODY_WITHIN_S = 30.0
"""Whoever sends a body slower than that is not waited for."""
_SAFE = ("GET", "HEAD")
_HEADERS = {
    "x-content-type-options": "nosniff",
    "referrer-policy": "no-referrer",
    "cross-origin-resource-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "x-frame-options": "SAMEORIGIN",
}

Porter = Callable[[Scope], Awaitable[Response | None]]
"""Lets a request pass with None, or answers it in the desk's place."""


@dataclass(slots=True)
class Admitted:
    """What the guard lets in; changed while the desk runs, as when it is shared."""

    hosts: set[str] = field(default_factory=set)
    """Values of the Host header, with port."""
    bodies: dict[str, int] = field(default_factory=dict)
    """Largest body by the end of the path; `SMALL_BODY` elsewhere."""
    porters: list[Porter] = field(default_factory=list)
    """Asked in turn before anything else sees a request of a sound host."""

    def largest_body(self, path: str) -> int:
        """How many bytes may be sent to a path."""
        return next((n for end, n in self.bodies.items() if path.endswith(end)), SMALL_BODY)


class Guard:
    """The outermost layer of the desk."""

    def __init__(self, app: ASGIApp, admitted: Admitted) -> None:
        self.app = app
        self.admitted = admitted

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse what may not come in; bound and dress what may."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        answer = await self._refused(scope)
        dressed = _dressed(send)
        if answer is not None:
            await answer(scope, receive, dressed)
            return
        most = self.admitted.largest_body(scope["path"])
        await self.app(scope, _bounded(receive, most), dressed)

    async def _refused(self, scope: Scope) -> Response | None:
        headers = Headers(scope=scope)
        host = headers.get("host", "")
        if host not in self.admitted.hosts or len(headers.getlist("host")) != 1:
            return PlainTextResponse("This desk does not answer to that name.\n", 421)
        if not _own_page(scope, headers, host):
            return PlainTextResponse("Only the desk's own pages may ask that.\n", 403)
        most = self.admitted.largest_body(scope["path"])
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > most:
            return _too_large(most)
        for porter in self.admitted.porters:
            answer = await porter(scope)
            if answer is not None:
                return answer
        return None


def _own_page(scope: Scope, headers: Mapping[str, str], host: str) -> bool:
    """Whether one of our own pages, or the user's own address line, sent this."""
    origin = headers.get("origin")
    own = f"{scope.get('scheme', 'http')}://{host}"
    if scope["method"] not in _SAFE:
        return origin == own
    if origin is not None and origin != own:
        return False
    site = headers.get("sec-fetch-site", "none")
    # A link elsewhere may lead here; a picture or script elsewhere may not.
    is_link = headers.get("sec-fetch-mode") == "navigate"
    into_page = headers.get("sec-fetch-dest", "document") == "document"
    return site in ("none", "same-origin") or (is_link and into_page)


def _too_large(most: int) -> Response:
    return PlainTextResponse(_too_much(most), 413, headers={"connection": "close"})


def _too_much(most: int) -> str:
    return f"This is more than the {most // 1000} kB the desk reads here."


def _bounded(receive: Receive, most: int) -> Receive:
    """The body within its bounds; once it is whole, whatever comes, however late."""
    read, whole, until_s = 0, False, asyncio.get_running_loop().time() + BODY_WITHIN_S

    async def bounded() -> Message:
        nonlocal read, whole
        try:
            async with asyncio.timeout_at(None if whole else until_s):
                message = await receive()
        except TimeoutError:
            words = "This came too slowly; send it again."
            raise HTTPException(408, words, headers={"connection": "close"}) from None
        whole = not message.get("more_body", False)
        read += len(message.get("body", b""))
        if read > most:
            raise HTTPException(413, _too_much(most), headers={"connection": "close"})
        return message

    return bounded


def _dressed(send: Send) -> Send:
    async def dressed(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers[name] = value
            headers.setdefault("content-security-policy", POLICY)
            headers.setdefault("cache-control", "no-store")
        await send(message)

    return dressed
