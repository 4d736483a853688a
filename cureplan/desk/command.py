"""``cureplan desk``: a page on this computer to draw, plan and change jobs on."""

from __future__ import annotations

import signal
import socket
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cureplan.core.errors import CurePlanError, InputError, harmless

if TYPE_CHECKING:
    from types import FrameType

    from cureplan.desk.pages import Desk

__all__ = ["desk"]

PORT = 8480
"""Where a desk is looked for first, so that its address stays; any free one else."""
CLOSES_WITHIN_S = 2
NEEDS = "the desk needs a few more packages; install them with: pip install 'cureplan[desk]'"


def desk(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", help="Where the jobs lie; made if missing.")
    ] = Path(),
    browser: Annotated[
        bool, typer.Option("--browser/--no-browser", help="Open the page in the browser.")
    ] = True,
    port: Annotated[
        int,
        typer.Option(
            "--port", metavar="NUMBER", min=0, max=65535, help="Port; 0 for any free one."
        ),
    ] = PORT,
) -> None:
    """Open a page on this computer to draw a job, plan it and play with it.

    Nothing leaves this computer. End it with Ctrl-C.
    """
    from cureplan.output.commands.common import note

    _require_packages()
    from cureplan.desk.folder import JobFolder
    from cureplan.desk.pages import Desk

    _require_folder(folder)
    here = Desk(folder=JobFolder(folder))
    listener = _listener(port)
    with listener:
        own = listener.getsockname()[1]
        here.admitted.hosts |= {f"{name}:{own}" for name in ("127.0.0.1", "localhost")}
        address = f"http://127.0.0.1:{own}/"
        with here.folder.held(address):
            note(f"The desk stands at {address} on {harmless(folder)}; Ctrl-C ends it.")
            if browser:
                import webbrowser

                with suppress(webbrowser.Error):
                    webbrowser.open(address)
            _serve(here, listener)
            note("The desk is closed.")


def _require_packages() -> None:
    try:
        import starlette
        import uvicorn
    except ImportError:
        raise CurePlanError(NEEDS) from None
    del starlette, uvicorn


def _require_folder(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"no folder can be made there ({reason})",
            cure="name another",
            key="FOLDER",
            value=str(folder),
        ) from None


def _listener(port: int) -> socket.socket:
    """A socket on this computer alone; where the usual port is taken, on any."""
    from cureplan.desk.share import bound

    try:
        return bound("127.0.0.1", port)
    except OSError as error:
        if port != PORT:
            raise InputError(
                f"this port cannot be had ({error.strerror})",
                cure="name another, or 0 for any free one",
                key="--port",
                value=port,
            ) from None
    return bound("127.0.0.1", 0)


def _serve(here: Desk, listener: socket.socket) -> None:
    """Answer until Ctrl-C or an end asked for by the system."""
    import asyncio

    import uvicorn

    from cureplan.desk.app import make_app

    class Server(uvicorn.Server):
        def handle_exit(self, sig: int, frame: FrameType | None) -> None:
            super().handle_exit(sig, frame)
            for leave in here.leaving:
                leave()

    server = Server(
        uvicorn.Config(
            make_app(here),
            log_level="warning",
            access_log=False,
            server_header=False,
            date_header=False,
            proxy_headers=False,
            timeout_graceful_shutdown=CLOSES_WITHIN_S,
            limit_concurrency=200,
            h11_max_incomplete_event_size=32_768,
            ws="none",
        )
    )

    def ended(_number: int, _frame: FrameType | None) -> None:
        """The server raises what ended it once more when it has closed: heard already."""

    before = {
        number: signal.signal(number, ended) for number in (signal.SIGINT, signal.SIGTERM)
    }
    try:
        asyncio.run(server.serve(sockets=[listener]))
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
