"""The worker that asks the services: what it is told, what it says, and what counts of it."""

from __future__ import annotations

import io
import json
import os
from pathlib import Path
from types import SimpleNamespace as Made

import pytest
from scenes import ENDS, NOW, SITE, STARTS

from cureplan.core.messages import Message
from cureplan.weather.providers import fetching
from cureplan.weather.providers.choose import ProviderResult
from cureplan.weather.providers.client_setup import Endpoints, bounded_client
from cureplan.weather.providers.exchange import Span, WeatherQuery
from cureplan.weather.providers.fetching import Fetched


def query(folder: Path) -> WeatherQuery:
    return WeatherQuery(
        **SITE, provider="station", now=NOW, contact=None, timeout_s=5.0, folder=str(folder),
        spans=(Span(wanted_from=STARTS, starts=STARTS, ends=ENDS),),
    )  # fmt: skip


def shut(said: str, reason: Message | None = None) -> ProviderResult:
    return ProviderResult(span_index=0, series=None, failure=said, reason=reason, rank=1)


FAR = Message("provider.far")
GIVEN = ProviderResult(span_index=0, series=None, failure=None)


@pytest.mark.parametrize(
    ("results", "late", "codes", "said"),
    [
        ((shut("far", FAR), GIVEN), False, ["provider.far"], ("far",)),
        ((shut("far", FAR), shut("far", FAR)), False, ["provider.far"], ("far",)),
        ((shut("what"),), False, ["provider.unreadable"], ("what",)),
        ((shut("far", FAR),), True, ["provider.far", "provider.slow"],
         ("far", "the network was too slow")),
        ((), False, [], ()),
    ],
)  # fmt: skip
def test_why_services_stayed_shut_is_told_once(results, late, codes, said):
    found = Fetched(results=results, out_of_time=late)
    assert [reason.code for reason in found.reasons()] == codes
    assert found.failures() == said


class Worker:
    """A process that says some lines, or never ends until it is killed."""

    def __init__(self, lines=(), *, hangs=False):
        self.lines, self.hangs, self.killed = lines, hangs, False

    def __enter__(self):
        return self

    def __exit__(self, *_):
        return None

    def kill(self):
        self.killed = True


LINE = json.dumps(
    {"span_index": 0, "csv": None, "failure": "far", "rank": 1, "reason": None}
)  # fmt: skip


@pytest.mark.parametrize(
    ("lines", "hangs", "said"),
    [
        ((LINE + "\n",), False, ("far",)),
        ((LINE + "\n", LINE[:9]), False, ("far",)),
        ((LINE,), False, ("the weather client could not be run",)),
        ((), False, ("the weather client could not be run",)),
        ((), True, ("the network was too slow",)),
        ((LINE + "\n",), True, ("far", "the network was too slow")),
    ],
)
def test_whole_lines_of_a_worker_count_and_silence_is_told(
    monkeypatch, tmp_path, lines, hangs, said
):
    worker = Worker(lines, hangs=hangs)

    def talk(_, __, heard):
        heard.extend(worker.lines)

    class Thread:
        def __init__(self, *, target, args, **_):
            target(*args)

        def start(self):
            return None

        def join(self, _=None):
            return None

        def is_alive(self):
            return worker.hangs

    monkeypatch.setattr(fetching, "_talk", talk)
    monkeypatch.setattr(fetching, "threading", Made(Thread=Thread))
    monkeypatch.setattr(
        fetching, "subprocess", Made(Popen=lambda *_, **__: worker, PIPE=1, DEVNULL=2)
    )
    found = fetching.fetch_in_worker(query(tmp_path), 9.0)
    assert found.failures() == said
    assert found.out_of_time == hangs
    assert worker.killed


def test_a_worker_is_told_the_query_in_a_line_and_heard_to_its_end(tmp_path):
    class Pipe(io.StringIO):
        def close(self):
            self.said = self.getvalue()

    worker = Made(stdin=Pipe(), stdout=io.StringIO("one\ntwo\n"))
    lines: list[str] = []
    fetching._talk(worker, query(tmp_path), lines)
    assert lines == ["one\n", "two\n"]
    assert worker.stdin.said.endswith("}\n")
    assert WeatherQuery.from_json(worker.stdin.said) == query(tmp_path)


def test_a_worker_answers_line_by_line_and_ends_with_its_time(monkeypatch, tmp_path, capsys):
    clocks = []

    def timer(seconds, ends, args):
        clocks.append((seconds, ends, args))
        return Made(start=lambda: None)

    asked = []
    monkeypatch.setenv("CUREPLAN_WORKER_BUDGET_S", "20")
    monkeypatch.setattr(fetching, "threading", Made(Timer=timer))
    monkeypatch.setattr(
        fetching, "ask_providers",
        lambda query, **_: asked.append(query) or [shut("far", FAR), GIVEN],
    )  # fmt: skip
    monkeypatch.setattr("sys.stdin", io.StringIO(query(tmp_path).to_json() + "\n"))
    fetching.serve()
    lines = capsys.readouterr().out.splitlines(keepends=True)
    assert [fetching._result(line) for line in lines] == [shut("far", FAR), GIVEN]
    assert all(line.endswith("}\n") for line in lines)
    assert asked == [query(tmp_path)]
    # Five seconds after its parent would have ended it.
    assert clocks == [(25.0, os._exit, (1,))]


def test_libraries_are_looked_for_where_this_process_has_them_but_not_beside_the_job(
    monkeypatch, tmp_path
):
    here, other = tmp_path / "here", tmp_path / "other"
    here.mkdir()
    other.mkdir()
    monkeypatch.chdir(here)
    named = [str(here), "nearby", str(other), str(other / ".." / "here"), ""]
    monkeypatch.setenv("PYTHONPATH", os.pathsep.join(named))
    monkeypatch.setattr(fetching, "site", Made(ENABLE_USER_SITE=False))
    assert fetching._library_folders() == [str(other)]
    user = Made(ENABLE_USER_SITE=True, getusersitepackages=lambda: str(tmp_path / "user"))
    monkeypatch.setattr(fetching, "site", user)
    assert fetching._library_folders() == [str(other), str(tmp_path / "user")]


@pytest.mark.parametrize("hourly", [None, "https://x.org/{station}"])
def test_the_client_asks_where_it_is_told_or_where_it_always_does(tmp_path, hourly):
    import meteostat
    from meteostat.providers.meteostat import hourly as files

    before = files.ENDPOINT
    endpoints = Endpoints(hourly=hourly)
    with bounded_client(endpoints=endpoints, folder=tmp_path, timeout_s=1.0, contact=None):
        assert (hourly or meteostat.config.hourly_endpoint) == files.ENDPOINT
    assert before == files.ENDPOINT
