"""Planning again from the desk: a run beside it, the new sheet on every phone, the record."""

from __future__ import annotations

import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest

from cureplan.desk import share as sharing
from cureplan.desk.night import Work, _words
from cureplan.planning.plan.model import Plan, plan_id
from desk.conftest import Served, Server
from desk.nights import JOB, Phone, poured, put_plan, share

pytestmark = pytest.mark.usefixtures("hired")
BASE = f"/jobs/{quote(JOB)}/night"
WAITS_S = 120


@pytest.fixture
def night(
    desk_on: Server, tmp_path: Path, room_plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> Iterator[tuple[Served, Phone]]:
    monkeypatch.setattr(sharing, "local_addresses", lambda: {"127.0.0.1": ""})
    put_plan(tmp_path / "jobs", room_plan)
    served = desk_on(tmp_path / "jobs")
    port, code = share(served)
    ana = Phone(port, plan_id(room_plan))
    ana.join(code(), "Ana")
    return served, ana


def waited(served: Served, done: Any) -> str:
    """The night's page once it shows what is waited for."""
    for _ in range(WAITS_S * 10):
        page = served.ask(BASE).text
        if done(page):
            return page
        time.sleep(0.1)
    raise AssertionError(page)


def ended(page: str) -> bool:
    return "night-said" in page


@pytest.mark.thorough
def test_every_phone_gets_the_new_sheet_with_what_changed_and_its_ticks(
    night: tuple[Served, Phone], room_plan: Plan
) -> None:
    served, ana = night
    first = room_plan.buckets_of(room_plan.buckets[0].room)
    said = [poured(room_plan, room_plan.buckets.index(b), late=4) for b in first[:4]]
    end = {**said[0], "event": "wet edge ended"}
    end["at"] = first[0].wet_edge_end.replace(microsecond=0).isoformat()
    assert ana.say(*said, end).json["refused"] == []
    with ana.feed() as following:
        assert following()["plan"]["id"] == plan_id(room_plan)
        assert served.post(f"{BASE}/again", {}).status == 200
        # One run at a time.
        assert served.post(f"{BASE}/again", {}).status == 422
        while (news := following()["plan"])["id"] == plan_id(room_plan):
            pass
    assert news["follows"]
    assert news["changes"]["en"]
    page = waited(served, ended)
    assert "The new plan is on every phone." in page
    # The old sheet remains, and so do its files.
    home = served.folder / f"{JOB}-plan"
    assert (home / "plan.json").is_file()
    assert (served.folder / f"{JOB}-plan-2" / "sheet.html").is_file()
    assert f"/night/sheet/{plan_id(room_plan)}" in page
    assert ana.ask(f"/sheet/{plan_id(room_plan)}").status == 200
    new = ana.ask("/").text
    assert f'"id":"{news["id"]}"' in new
    assert '"follows":"' + plan_id(room_plan) in new
    # A phone that still has the old sheet is heard, and told of the new one.
    late = ana.say(poured(room_plan, room_plan.buckets.index(first[4]), late=4))
    assert late.status == 200
    assert late.json["plan"]["id"] == news["id"]

    # The night's end: sharing is off, the record is there.
    assert served.post(f"{BASE}/end", {}).status == 200
    page = waited(served, lambda text: ended(text) and "every phone" not in text)
    assert "record is written" in page
    assert "night-code" not in page
    assert len(list((served.folder / "records").glob("*.toml"))) == 1


@pytest.mark.thorough
def test_a_run_can_be_stopped_and_what_it_refuses_is_said(
    night: tuple[Served, Phone], room_plan: Plan
) -> None:
    served, ana = night
    assert "nothing is in the log yet" in served.post(f"{BASE}/again", {}).json["fault"]
    ana.say(poured(room_plan, 0))
    assert served.post(f"{BASE}/again", {}).status == 200
    assert served.post(f"{BASE}/stop", {}).status == 200
    assert "Stopped; nothing has changed." in waited(served, ended)
    assert [path.name for path in served.folder.glob("*-plan-*")] == []
    # Buckets in an order that cannot be: the log says so with its line, and no path.
    ana.say(poured(room_plan, 3, late=-30))
    served.post(f"{BASE}/again", {})
    page = waited(served, lambda text: ended(text) and "Stopped" not in text)
    assert "night-log.csv:" in page
    assert str(served.folder) not in page


def test_a_night_of_which_nothing_is_learned_ends_all_the_same() -> None:
    # What `cureplan record` says of a log of ticks alone, as it stands on its standard error.
    said = b"cureplan: /jobs/a-plan/night-log.csv: no clock was seen to end; log when one went"
    words = _words(Work(what="record"), said, 2, Path("/jobs"))
    assert words.startswith("The night is over and its log is kept; no record was written: ")
    assert words.endswith(": a-plan/night-log.csv: no clock was seen to end; log when one went")
