"""A visit to the open-data providers that always ends in time.

The client can hang on a silent server and never gives up on a dripping one, so it runs in
a process of its own, which is ended when the time is over. What it had by then is kept.
"""

from __future__ import annotations

import json
import os
import site
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from tempfile import TemporaryDirectory, TemporaryFile

from cureplan.core.errors import InputError
from cureplan.core.messages import Message, message_from_plain, message_to_plain, once
from cureplan.weather.hours.csv_file import csv_text, weather_from_text
from cureplan.weather.providers.choose import ProviderResult, ask_providers
from cureplan.weather.providers.client_setup import Endpoints
from cureplan.weather.providers.exchange import WeatherQuery

__all__ = ["Fetched", "Fetcher", "fetch_in_worker", "fetch_with_folder", "serve"]

_PACKAGE = Path(__file__).resolve().parents[2]
# Isolated from the folder it is started in: a file beside the job file that bears the name
# of a library must not be run. This package is found by its place, libraries as installed.
_WORKER = """
import importlib.util, json, sys
sys.path.extend(json.loads(sys.argv[2]))
found = importlib.util.spec_from_file_location("cureplan", sys.argv[1])
package = importlib.util.module_from_spec(found)
sys.modules["cureplan"] = package
found.loader.exec_module(package)
from cureplan.weather.providers.fetching import serve
serve()
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Fetched:
    """Answers of all providers in the order they came, and whether time ran out."""

    results: tuple[ProviderResult, ...]
    out_of_time: bool

    def failures(self) -> tuple[str, ...]:
        """Why providers stayed shut, each reason once."""
        stated = [one.failure for one in self.results if one.failure is not None]
        if self.out_of_time:
            stated.append("the network was too slow")
        return tuple(dict.fromkeys(stated))

    def reasons(self) -> tuple[Message, ...]:
        """The same for the sheets."""
        stated = [
            one.reason or Message("provider.unreadable")
            for one in self.results
            if one.failure is not None
        ]
        return once([*stated, Message("provider.slow")] if self.out_of_time else stated)


Fetcher = Callable[[WeatherQuery, float], Fetched]


def fetch_in_worker(query: WeatherQuery, budget_s: float) -> Fetched:
    """Ask the providers in a process of its own, for `budget_s` at most.

    Not for tests of a single provider; `ask_providers` is quicker.
    """
    lines: list[str] = []
    with subprocess.Popen(  # noqa: S603 - our own interpreter and a fixed text
        [
            sys.executable,
            *("-I", "-X", "utf8", "-c", _WORKER),
            str(_PACKAGE / "__init__.py"),
            json.dumps(_library_folders()),
        ],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        env=_worker_environment(budget_s),
        text=True,
        encoding="utf-8",
    ) as worker:
        talk = threading.Thread(target=_talk, args=(worker, query, lines), daemon=True)
        talk.start()
        talk.join(budget_s)
        out_of_time = talk.is_alive()
        worker.kill()
        talk.join()
    # A line cut short by the kill, or a worker that died, must not pass for an answer.
    whole = [line for line in lines if line.endswith("\n")]
    results = [_result(line) for line in whole]
    if not results and not out_of_time:
        broken = "the weather client could not be run"
        results = [
            ProviderResult(
                span_index=0, series=None, failure=broken, reason=Message("provider.client")
            )
        ]
    return Fetched(results=tuple(results), out_of_time=out_of_time)


def fetch_with_folder(query: WeatherQuery, budget_s: float, fetch: Fetcher) -> Fetched:
    """Ask the providers; where the store cannot be written, the station list goes elsewhere."""
    folder = Path(query.folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with TemporaryFile(dir=folder):
            pass
    except OSError:
        with TemporaryDirectory(prefix="cureplan-") as elsewhere:
            return fetch(replace(query, folder=elsewhere), budget_s)
    return fetch(query, budget_s)


def serve() -> None:
    """The worker's side: a query on standard input, one line of JSON per answer."""
    budget_s = float(os.environ.get("CUREPLAN_WORKER_BUDGET_S", "60"))
    # Should the parent die first, nobody else would end a hanging worker.
    last_resort = threading.Timer(budget_s + 5.0, os._exit, args=(1,))
    last_resort.daemon = True
    last_resort.start()
    query = WeatherQuery.from_json(sys.stdin.readline())
    for result in ask_providers(query, endpoints=Endpoints.from_environment()):
        answer = {
            "span_index": result.span_index,
            "csv": None if result.series is None else csv_text(result.series),
            "failure": result.failure,
            "rank": result.rank,
            "reason": None if result.reason is None else message_to_plain(result.reason),
        }
        sys.stdout.write(json.dumps(answer) + "\n")
        sys.stdout.flush()


def _talk(worker: subprocess.Popen[str], query: WeatherQuery, lines: list[str]) -> None:
    if worker.stdin is None or worker.stdout is None:
        return
    # A worker that ends before it has read the query may still have said something; and
    # closing its pipe here keeps the leftover from being flushed at it later.
    with suppress(OSError, ValueError):
        worker.stdin.write(query.to_json() + "\n")
        worker.stdin.flush()
    with suppress(OSError, ValueError):
        worker.stdin.close()
    with suppress(OSError, ValueError):
        lines.extend(worker.stdout)


def _library_folders() -> list[str]:
    """Where this process finds its libraries, less the folder it happens to run in.

    The user's own site folder and what PYTHONPATH names, which isolation leaves out.
    """
    here = Path.cwd()
    named = [Path(text) for text in os.environ.get("PYTHONPATH", "").split(os.pathsep) if text]
    if site.ENABLE_USER_SITE:
        named.append(Path(site.getusersitepackages()))
    return [
        str(folder)
        for folder in named
        if folder.is_absolute() and folder.resolve() not in {here, here.resolve()}
    ]


def _worker_environment(budget_s: float) -> dict[str, str]:
    return {
        **os.environ,
        # The client mixes local time and UTC; here the two are the same.
        "TZ": "UTC",
        "CUREPLAN_WORKER_BUDGET_S": f"{budget_s:g}",
    }


def _result(line: str) -> ProviderResult:
    answer = json.loads(line)
    try:
        series = (
            None
            if answer["csv"] is None
            else weather_from_text(answer["csv"], source=Path("answer"))
        )
    except InputError as error:
        return ProviderResult(span_index=answer["span_index"], series=None, failure=str(error))
    reason = answer.get("reason")
    return ProviderResult(
        span_index=answer["span_index"],
        series=series,
        failure=answer["failure"],
        rank=answer.get("rank", 0),
        reason=None if reason is None else message_from_plain(reason),
    )
