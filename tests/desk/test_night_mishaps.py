"""A night of thirty mishaps on two phones and a desk: one agreed log, and one record."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from cureplan.desk import share as sharing
from cureplan.inputs.tables.night_log import read_night_log
from cureplan.inputs.tables.record import read_records
from cureplan.planning.plan.model import Plan, plan_id
from cureplan.planning.replan.replan import night_site
from desk.conftest import serve
from desk.nights import JOB, Phone, poured, put_plan, share
from desk.test_plan_again import BASE, ended, waited

MINUTE = timedelta(minutes=1)


class Crew:
    """The desk, two phones, and what has gone wrong so far."""

    def __init__(self, folder: Path, plan: Plan) -> None:
        self.folder, self.plan = folder, plan
        put_plan(folder, plan)
        self.mishaps = 0
        self.start()
        port, code = share(self.served)
        self.ana, self.luis = (Phone(port, plan_id(plan)) for _ in range(2))
        self.ana.join(code(), "Ana")
        self.luis.join(code(), "Luis")

    def start(self) -> None:
        self.served, self.thread = serve(self.folder)

    def stop(self) -> None:
        self.served.server.should_exit = True
        self.thread.join(20)
        assert not self.thread.is_alive()

    def went_wrong(self) -> None:
        self.mishaps += 1

    def at(self, index: int, minutes: float) -> str:
        when: datetime = self.plan.buckets[index].pour + minutes * MINUTE
        return when.replace(microsecond=0).isoformat()

    def log(self) -> list[tuple[str, int | None]]:
        path = self.folder / f"{JOB}-plan" / "night-log.csv"
        events = read_night_log(path, site=night_site(self.plan))
        return [(event.event, event.bucket) for event in events]


@pytest.fixture
def crew(tmp_path: Path, room_plan: Plan, monkeypatch: pytest.MonkeyPatch) -> Iterator[Crew]:
    monkeypatch.setattr(sharing, "local_addresses", lambda: {"127.0.0.1": ""})
    made = Crew(tmp_path / "jobs", room_plan)
    yield made
    made.stop()


def refused(crew: Crew, answer: Any, why: str) -> None:
    """A mishap that the log does not take, with the reason said."""
    said = answer.json["refused"][0]["why"] if answer.status == 200 else answer.json["fault"]
    assert why in said
    crew.went_wrong()


def slips(crew: Crew) -> None:
    """What never gets into the log: slips of a finger, of a unit, of a sheet."""
    ana, plan = crew.ana, crew.plan
    room = plan.buckets[0].room
    for slip, why in [
        ({"bucket": 99}, "no such bucket"), ({"room": "Moon"}, "no such room"),
        ({"event": "danced"}, "no such event"), ({"at": "soon"}, "not a date"),
        ({"at": "2013-07-01T21:00:00-04:00"}, "the job runs from"),
        ({"note": "x" * 300}, "plain signs"), ({"value": "7"}, "takes no value"),
        ({"event": "slab reads", "bucket": "", "value": "88 in"}, "temperature"),
        ({"event": "short of", "value": "cook"}, "no such role"),
        ({"event": "room added", "room": room, "value": "9 ft x 9 ft, bar"}, "of that name"),
    ]:  # fmt: skip
        refused(crew, ana.say({**poured(plan, 0), **slip}), why)
    ana.plan = "0" * 16
    refused(crew, ana.say(poured(plan, 0)), "another plan")
    ana.plan = plan_id(plan)
    crew.served.post(f"{BASE}/forget", {})
    assert ana.say(poured(plan, 0)).status == 401
    crew.went_wrong()
    _, code = share(crew.served)
    for phone, name in ((ana, "Ana"), (crew.luis, "Luis")):
        assert phone.join("WRONGCOD", name).status == 403
        crew.went_wrong()
        assert phone.join(code(), name).status == 200


def first_buckets(crew: Crew) -> None:
    """Late, doubled, struck, put back, contradicted, out of order."""
    ana, luis, plan = crew.ana, crew.luis, crew.plan
    ana.say(poured(plan, 0, late=5))
    luis.say(poured(plan, 0, late=6))  # both saw it
    ana.say({"event": "late", "value": "300", "at": crew.at(0, 5), "room": "", "bucket": ""})
    luis.say(poured(plan, 1, late=5))
    ana.say({"kind": "strike", "id": f"Luis-{luis.count:06}"})  # a wrong undo, taken back
    luis.say({"kind": "back", "id": f"Luis-{luis.count:06}"})
    ana.say(poured(plan, 3, late=5))  # out of reach, hence before the one that came first
    luis.say(poured(plan, 2, late=5))
    ana.say({**poured(plan, 2, late=65)})  # a phone an hour off
    page = crew.served.ask(BASE).text
    assert "delete the wrong one" in page
    luis.say({"kind": "strike", "id": f"Ana-{ana.count:06}"})
    assert "delete the wrong one" not in crew.served.ask(BASE).text
    again = {**poured(plan, 4, late=5), "id": "same-id-twice"}
    for _ in range(2):  # an answer that got lost
        assert ana.say(again).status == 200
    ana.say({**poured(plan, 2, late=5), "event": "ran short"})
    ana.say({**poured(plan, 5, late=5), "event": "lost"})
    luis.say({**poured(plan, 9, late=5), "event": "ran short"})  # never poured
    for _ in range(9):
        crew.went_wrong()


def at_once(crew: Crew) -> None:
    """Both phones come back at the same instant with the same buckets."""
    plan = crew.plan

    def back(phone: Phone, late: float) -> None:
        assert phone.say(*(poured(plan, n, late=late) for n in range(6, 10))).status == 200

    threads = [
        threading.Thread(target=back, args=pair) for pair in ((crew.ana, 7.0), (crew.luis, 7.5))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    crew.went_wrong()


@pytest.mark.thorough
def test_thirty_mishaps_end_in_one_agreed_log_and_one_record(
    crew: Crew, room_plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    slips(crew)
    first_buckets(crew)
    # The desk is ended in mid-night; the phones come back to it without a code.
    crew.stop()
    crew.start()
    share(crew.served)
    crew.went_wrong()
    assert crew.luis.say(poured(room_plan, 5, late=6)).status == 200
    at_once(crew)
    ends = {**poured(room_plan, 0), "event": "wet edge ended"}
    ends["at"] = (room_plan.buckets[0].wet_edge_end + 4 * MINUTE).isoformat()
    crew.luis.say(ends)

    # A full disk: said, and sent again when there is room.
    def full(path: Path, _: object) -> None:
        from cureplan.core.errors import OutputError

        raise OutputError(f"{path}: could not be written (No space left on device)")

    reading = {"event": "slab reads", "value": "91 F", "room": room_plan.buckets[0].room}
    reading["at"] = crew.at(0, -20)
    with monkeypatch.context() as patch:
        patch.setattr("cureplan.desk.hub.write_atomically", full)
        assert crew.ana.say(reading).status == 507
        crew.went_wrong()
    crew.ana.say(reading)
    # A saved file of the same phone holds what is there already, and one line more.
    head = "at,event,room,bucket,value,note\n"
    rows = f"{crew.at(0, 5)},poured,{room_plan.buckets[0].room},1,,\n"
    rows += f"{crew.at(0, -10)},drill down,,,,\n"
    assert (
        crew.served.post(f"{BASE}/file", {"name": "ana.csv", "text": head + rows}).status == 200
    )
    crew.went_wrong()
    other = f"# Red kitchen, plan {'0' * 16}\n{head}{rows}"
    for text, why in (
        ("\x89PNG", "ana.csv"), (head + "x,poured,Moon,1,,\n", "ana.csv:2"),
        (other, "another plan"), (f"# A rehearsal: none of it happened.\n{head}", "rehearsal"),
    ):  # fmt: skip
        refused(crew, crew.served.post(f"{BASE}/file", {"name": "ana.csv", "text": text}), why)

    assert crew.mishaps >= 30
    # By hand: each of the ten buckets once; one short, one lost; an end; a reading; a drill.
    told = crew.log()
    assert sorted(b for e, b in told if e == "poured") == list(range(1, 11))
    rest = sorted(e for e, _ in told if e != "poured")
    assert rest == [
        "drill down",
        "lost",
        "ran short",
        "ran short",
        "slab reads",
        "wet edge ended",
    ]
    for phone in (crew.ana, crew.luis):
        with phone.feed() as following:
            following()
    counting = [
        {i for i, e in phone.heard.items() if e["standing"] == "counts" and not e["struck"]}
        for phone in (crew.ana, crew.luis)
    ]
    assert counting[0] == counting[1]
    # `replan` and `record` take it as it is.
    crew.served.post(f"{BASE}/end", {})
    page = waited(crew.served, ended)
    assert "record is written" in page, page
    assert len(read_records(crew.folder / "records")) == 1
