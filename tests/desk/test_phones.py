"""Phones on a night: who gets in, what they say and hear, and what a stranger gets."""

from __future__ import annotations

import http.client
import json
import re
import socket
import sys
import threading
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pytest
from output import sheet_sample

from cureplan.core.errors import CurePlanError
from cureplan.desk import guard
from cureplan.desk import phones as phones_side
from cureplan.desk import share as sharing
from cureplan.desk.night import HERE
from cureplan.desk.share import LETTERS, WINDOW_S, Gate, TooManyWrongError, WrongCodeError
from cureplan.inputs.tables.night_log import read_night_log
from cureplan.output.sheet.page import SCRIPTS, TEMPLATES
from cureplan.planning.plan.model import Plan, plan_id
from cureplan.planning.replan.replan import night_site
from desk.conftest import Served, Server
from desk.nights import JOB, Phone, poured, put_plan, share

BASE = f"/jobs/{quote(JOB)}/night"


@pytest.fixture(scope="module", autouse=True)
def sample_words():
    with sheet_sample.words_of_sample():
        yield


@pytest.fixture
def plan() -> Plan:
    return sheet_sample.sample_plan()


@pytest.fixture
def night(
    desk_on: Server, tmp_path: Path, plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> Served:
    """A desk with one planned job, whose local network is this machine alone."""
    monkeypatch.setattr(sharing, "local_addresses", lambda: {"127.0.0.1": ""})
    put_plan(tmp_path / "jobs", plan)
    return desk_on(tmp_path / "jobs")


def joined(night: Served, plan: Plan, *names: str) -> list[Phone]:
    port, code = share(night)
    phones = [Phone(port, plan_id(plan)) for _ in names]
    for phone, name in zip(phones, names, strict=True):
        assert phone.join(code(), name).status == 200
    return phones


def test_phones_share_one_log_as_soon_as_it_is_told(night: Served, plan: Plan) -> None:
    ana, luis = joined(night, plan, "Ana", "Luis")
    with luis.feed() as following:
        assert following()["you"] == "Luis"
        assert ana.say(poured(plan, 0)).json["refused"] == []
        # The feed's next message: it is told, not looked for. Two seconds are asked.
        (entry,) = following()["entries"]
    assert phones_side.TOGETHER_S < 2.0
    assert (entry["author"], entry["event"], entry["bucket"]) == ("Ana", "poured", "1")
    # Luis takes Ana's entry back; Ana hears of it with her own next word.
    luis.say({"kind": "strike", "id": entry["id"]})
    ana.say(poured(plan, 1, late=1))
    assert ana.heard[entry["id"]]["struck"] == "Luis"
    log = night.folder / f"{JOB}-plan" / "night-log.csv"
    assert [e.bucket for e in read_night_log(log, site=night_site(plan))] == [2]


def test_what_the_desk_shows_is_the_same_log(night: Served, plan: Plan) -> None:
    ana, luis = joined(night, plan, "Ana", "Luis")
    ana.say(poured(plan, 0), {"kind": "add", **poured(plan, 1, late=1)})
    luis.say(poured(plan, 0, late=9))
    page = night.ask(BASE).text
    assert "The log (2)" in page
    assert "delete the wrong one" in page
    (own,) = [e for e in luis.heard.values() if e["author"] == "Luis"]
    assert night.post(f"{BASE}/strike", {"id": own["id"]}).status == 200
    assert "delete the wrong one" not in night.ask(BASE).text
    assert "deleted by Desk" in night.ask(f"{BASE}/part").text
    saved = night.ask(f"{BASE}/log.csv")
    assert "poured" in saved.text
    assert "attachment" in saved.headers["content-disposition"]


def test_a_stranger_on_the_network_gets_nothing(night: Served, plan: Plan) -> None:
    (ana,) = joined(night, plan, "Ana")
    stranger = Phone(ana.port, plan_id(plan))
    secrets_ = (plan.job.site.name, plan_id(plan), "Cook line", str(night.folder), "Ana")
    sent: list[tuple[str, str, Any]] = [
        ("GET", path, None)
        for path in (
            "/", "/feed", "/sheet/" + plan_id(plan), "/log", "/jobs", "/static/desk.js",
            "/static/../app.py", "/static/%2e%2e%2fapp.py", "/../../etc/passwd", BASE,
            "/.cureplan-desk", "/plan.json", "//", "/%00", "/static/night.js",
        )
    ]  # fmt: skip
    sent += [
        ("POST", "/log", {"plan": plan_id(plan), "ops": []}),
        ("POST", "/join", {"code": ""}),
    ]
    sent += [("POST", f"{BASE}/share", {"on": True}), ("PUT", "/log", {}), ("DELETE", "/", {})]
    for method, path, body in sent:
        data = None if body is None else json.dumps(body).encode()
        answer = stranger.ask(path, method=method, body=data)
        assert (answer.status, path) in [(200, "/")] or answer.status >= 400, (method, path)
        whole = answer.text + str(answer.headers)
        assert not [secret for secret in secrets_ if secret in whole], (method, path)
    for cookie in ("cureplan-phone=", "cureplan-phone=x", "cureplan-phone=" + "A" * 4000):
        stranger.cookie = cookie
        assert stranger.ask("/feed").status in (401, 431)


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "evil.example"}, {"Host": "localhost:1"}, {"Host": ""},
        {"Origin": "http://evil.example"}, {"Origin": "null"}, {"Origin": ""},
        {"Sec-Fetch-Site": "cross-site", "Origin": "http://evil.example"},
    ],
)  # fmt: skip
def test_other_hosts_and_origins_are_refused(
    night: Served, plan: Plan, headers: dict[str, str]
) -> None:
    (ana,) = joined(night, plan, "Ana")
    answer = ana.post("/log", {"plan": plan_id(plan), "ops": []}, **headers)
    assert answer.status in (403, 421)


@pytest.mark.thorough
def test_a_code_lets_one_phone_in_and_a_thousand_guesses_none(
    night: Served, plan: Plan
) -> None:
    port, code = share(night)
    first = code()
    ana = Phone(port, plan_id(plan))
    assert ana.join(first.lower(), "Ana").status == 200
    again = Phone(port, plan_id(plan)).join(first, "Eve")
    assert again.status == 403
    assert "set-cookie" not in again.headers
    statuses = set()
    eve = Phone(port, plan_id(plan))
    for guess in range(1000):
        text = "".join(LETTERS[(guess // 31**k) % 31] for k in range(8))
        statuses.add(eve.join(text, "Eve").status)
    assert statuses == {403, 429}
    # Not even the right code helps whoever guessed; who is in stays in, and the desk says so.
    assert eve.join(code(), "Eve").status == 429
    assert ana.say(poured(plan, 0)).status == 200
    assert "somebody on this network may be guessing" in night.ask(BASE).text


def test_a_guesser_waits_and_the_others_do_not(tmp_path: Path) -> None:
    now = [1000.0]
    gate = Gate(tmp_path / "share.json", clock=lambda: now[0])
    for _ in range(5):
        with pytest.raises(WrongCodeError):
            gate.join("AAAA", name="Eve", address="10.0.0.66")
    with pytest.raises(TooManyWrongError):
        gate.join(gate.code, name="Eve", address="10.0.0.66")
    token, name = gate.join(
        f" {gate.code[:4]}-{gate.code[4:]} ", name="Ana", address="10.0.0.2"
    )
    assert gate.name_of(token) == name == "Ana"
    now[0] += WINDOW_S + 1
    assert gate.join(gate.code, name="Ana", address="10.0.0.66")[1] == "Ana 2"
    # Another desk on the same folder knows the cookies, and never learned a code.
    assert Gate(tmp_path / "share.json", clock=lambda: now[0]).name_of(token) == "Ana"
    kept = (tmp_path / "share.json").read_text(encoding="utf-8")
    assert token not in kept
    assert gate.code not in kept
    now[0] += 40 * 3600
    assert gate.name_of(token) is None
    gate.forget()
    with pytest.raises(CurePlanError):
        gate.join("", name="", address="")


def test_bodies_are_bounded(night: Served, plan: Plan) -> None:
    (ana,) = joined(night, plan, "Ana")
    assert ana.ask("/log", method="POST", body=b"x" * 300_000).status == 413
    huge = {"Content-Length": str(100_000_000)}
    assert ana.ask("/log", method="POST", body=b"x" * 1000, headers=huge).status == 413
    assert ana.ask("/join", method="POST", body=b"x" * 5000).status == 413
    deep = b'{"ops":' + b"[" * 90_000
    assert ana.ask("/log", method="POST", body=deep).status == 400
    for body in (b"[]", b"null", b"\xff", b"{}", b'{"ops": 7}', b'{"ops": [7]}'):
        assert ana.ask("/log", method="POST", body=body).status in (400, 409)
    answer = ana.say(*[poured(plan, 0) for _ in range(501)])
    assert answer.status == 409
    assert "at most 500" in answer.json["fault"]


def ends(following: Callable[[], object]) -> bool:
    """Whether a feed ends, after what it still says."""
    for _ in range(50):
        try:
            following()
        except EOFError:
            return True
    return False


def test_one_phone_that_opens_feed_after_feed_leaves_room_for_the_others(
    night: Served, plan: Plan
) -> None:
    ana, luis = joined(night, plan, "Ana", "Luis")
    with ExitStack() as feeds:
        following = [feeds.enter_context(ana.feed()) for _ in range(12)]
        for one in following[-phones_side.FEEDS_EACH :]:
            assert one()["plan"]["id"] == plan_id(plan)
        with luis.feed() as other:
            other()
            ana.say(poured(plan, 0))
            # The newest of hers hear on, as do the others; the oldest have ended.
            assert [len(one()["entries"]) for one in (other, following[-1])] == [1, 1]
        assert ends(following[0])


def test_who_comes_in_and_asks_for_nothing_is_not_waited_for(
    night: Served, plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(phones_side, "ASKS_WITHIN_S", 0.1)
    monkeypatch.setattr(guard, "BODY_WITHIN_S", 0.1)
    port, _ = share(night)

    def connected() -> socket.socket:
        return socket.create_connection(("127.0.0.1", port), timeout=5)

    with connected() as silent:
        assert silent.recv(1) == b""
    with connected() as halfway:
        halfway.sendall(b"POST /join HTTP/1.1\r\nHost: 127.0")
        assert halfway.recv(1) == b""
    with connected() as slow:
        here = f"127.0.0.1:{port}"
        head = f"POST /join HTTP/1.1\r\nHost: {here}\r\nOrigin: http://{here}\r\n"
        slow.sendall(f"{head}Content-Length: 90\r\n\r\n{{".encode())
        assert b" 408 " in slow.recv(100)


@pytest.mark.skipif(sys.platform != "linux", reason="needs a second address of this machine")
def test_a_crowd_of_idle_connections_keeps_nobody_out(night: Served, plan: Plan) -> None:
    port, _ = share(night)
    with ExitStack() as crowd:
        some = [
            crowd.enter_context(socket.create_connection(("127.0.0.1", port), timeout=5))
            for _ in range(400)
        ]
        assert some[0].recv(1) == b""
        # Of another address of this machine, as a phone's is another than the crowd's.
        ana = http.client.HTTPConnection(
            "127.0.0.1", port, timeout=5, source_address=("127.0.0.2", 0)
        )
        ana.request("GET", "/")
        assert ana.getresponse().status == 200
        ana.close()


def test_a_sheet_of_yesterday_and_a_log_of_another_job(night: Served, plan: Plan) -> None:
    (ana,) = joined(night, plan, "Ana")
    ana.plan = ana.night = "0123456789abcdef"
    answer = ana.say(poured(plan, 0))
    assert answer.status == 409
    assert "another plan than tonight's" in answer.json["fault"]
    head = "at,event,room,bucket,value,note\n"
    for text, said in [
        (f"# Red kitchen, plan 0123456789abcdef\n{head}", "another plan"),
        (f"{head}2013-07-17T21:06:00-04:00,poured,Moon,1,,\n", "no such room"),
        (f"# A rehearsal: none of this happened.\n{head}", "rehearsal"),
        ("\x89PNG\r\n\x1a\n\x00\x00", "phone.csv"),
        ("", "empty"),
    ]:
        refused = night.post(f"{BASE}/file", {"name": "phone.csv", "text": text})
        assert refused.status == 422, text
        assert said in refused.json["fault"]
        assert str(night.folder) not in refused.json["fault"]
    good = poured(plan, 0)
    line = f"{good['at']},poured,{good['room']},1,,\n"
    text = f"# {plan.job.site.name}, plan {plan_id(plan)}\n{head}{line}"
    assert night.post(f"{BASE}/file", {"name": "phone.csv", "text": text}).status == 200
    assert "file phone.csv" in night.ask(BASE).text


def test_a_plan_made_anew_puts_the_old_log_aside(
    night: Served, plan: Plan, desk_on: Server
) -> None:
    (ana,) = joined(night, plan, "Ana")
    # One was put aside before: it stays as it is.
    before = put_plan(night.folder, plan) / f"night-log-{plan_id(plan)}.csv"
    before.write_text("# of an evening before\n", encoding="utf-8")
    ana.say(poured(plan, 0))
    other = sheet_sample.sample_plan(("Servery", "Corridor"))
    home = put_plan(night.folder, other)
    # While it is shared the crew goes on by its own plan, and nothing is made from another.
    assert ana.say(poured(plan, 1, late=1)).status == 200
    assert "planned anew" in night.post(f"{BASE}/again", {}).json["fault"]
    night.post(f"{BASE}/share", {"on": False})
    assert "The log (0)" in night.ask(BASE).text
    assert (home / f"night-log-{plan_id(plan)}-2.csv").is_file()
    assert before.read_text(encoding="utf-8") == "# of an evening before\n"


def test_sharing_is_off_until_asked_for_and_ends(night: Served, plan: Plan) -> None:
    page = night.ask(BASE).text
    assert "On a kitchen's guest network do not share" in page
    assert "night-code" not in page
    (ana,) = joined(night, plan, "Ana")
    with ana.feed() as following:
        following()
        assert night.post(f"{BASE}/share", {"on": False}).status == 200
        with pytest.raises(EOFError):
            following()
    with pytest.raises(OSError, match=r"refused|reset"):
        ana.ask("/")
    # The same phone, without a code, at the same address.
    port, _ = share(night)
    assert port == ana.port
    assert ana.ask("/").status == 200
    assert plan.job.site.name in ana.ask("/").text
    night.post(f"{BASE}/forget", {})
    assert ana.ask("/feed").status == 401


def test_a_served_sheet_speaks_to_its_own_origin_and_a_saved_one_to_none(
    night: Served, plan: Plan
) -> None:
    (ana,) = joined(night, plan, "Ana")
    served = ana.ask("/")
    for policy in (
        served.headers["content-security-policy"],
        re.findall(r'Policy" content="([^"]+)"', served.text)[0],
    ):
        assert "connect-src 'self';" in policy
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
    saved = (night.folder / f"{JOB}-plan" / "sheet.html").read_text(encoding="utf-8")
    assert "connect-src" not in saved
    assert "EventSource" not in saved
    assert "desk-data" not in saved


def test_a_full_disk_is_said_and_nothing_is_lost(
    night: Served, plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    from cureplan.core.errors import OutputError
    from cureplan.desk import hub

    (ana,) = joined(night, plan, "Ana")
    with monkeypatch.context() as patch:

        def full(path: Path, _: object) -> None:
            raise OutputError(f"{path}: could not be written (No space left on device)")

        patch.setattr(hub, "write_atomically", full)
        answer = ana.say(poured(plan, 0))
        assert answer.status == 507
        assert "No space left" in answer.json["fault"]
        assert str(night.folder) not in answer.json["fault"]
    assert ana.say(poured(plan, 0)).status == 200


def test_the_foreman_chooses_among_several_networks(
    night: Served, plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    share(night)
    assert 'id="night-network"' not in night.ask(BASE).text
    networks = {"127.0.0.1": "office", "127.0.0.2": "hotspot"}
    monkeypatch.setattr(sharing, "local_addresses", lambda: networks)
    page = night.ask(BASE).text
    assert '<option value="127.0.0.2">127.0.0.2 (hotspot)</option>' in page
    answer = night.post(f"{BASE}/share", {"address": "127.0.0.2"})
    assert answer.status == 200, answer.text
    page = night.ask(BASE).text
    found = re.search(r'night-url">http://127\.0\.0\.2:(\d+)/', page)
    assert found is not None
    code = re.search(r'night-code">([^<]+)<', page)
    assert code is not None
    ana = Phone(int(found[1]), plan_id(plan), address="127.0.0.2")
    assert (
        phones_side.qr_svg(f"http://127.0.0.2:{found[1]}/?code={code[1].replace(' ', '')}")
        in page
    )
    assert ana.join(code[1], "Ana").status == 200
    elsewhere = night.post(f"{BASE}/share", {"address": "192.0.2.77"})
    assert elsewhere.status == 422
    assert "choose among 127.0.0.1, 127.0.0.2" in elsewhere.json["fault"]
    # Another desk on this folder shares there too; a network that is gone is said.
    assert Gate(night.folder / ".cureplan-desk" / f"{JOB}.share.json").address == "127.0.0.2"
    networks.pop("127.0.0.2")
    assert "no longer at 127.0.0.2" in night.ask(BASE).text


def test_this_computers_own_addresses_are_found_and_none_that_no_phone_reaches() -> None:
    found = sharing.local_addresses()
    assert not [at for at in found if at.startswith("127.")]
    for address in found:
        with socket.socket() as probe:
            probe.bind((address, 0))


@pytest.mark.thorough
def test_thirty_phones_with_two_thousand_events_end_in_one_log(
    desk_on: Server, tmp_path: Path, room_plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sharing, "local_addresses", lambda: {"127.0.0.1": ""})
    put_plan(tmp_path / "jobs", room_plan)
    night = desk_on(tmp_path / "jobs")
    phones = joined(night, room_plan, *(f"P{n}" for n in range(30)))
    events = ("poured", "ran short", "wet edge ended", "working time ended", "surface closed")
    can_be = [(event, n) for n in range(len(room_plan.buckets)) for event in events]
    faults: list[str] = []

    def work(place: int, phone: Phone) -> None:
        told = (can_be[(place + n) % len(can_be)] for n in range(67))
        late = (place % 5) * 0.4
        said = [poured(room_plan, n, late=late, event=event) for event, n in told]
        for begin in range(0, len(said), 12):
            answer = phone.say(*said[begin : begin + 12])
            if answer.status != 200 or answer.json["refused"]:
                faults.append(answer.text)

    threads = [threading.Thread(target=work, args=pair) for pair in enumerate(phones)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert faults == []
    counts = []
    for phone in phones:
        with phone.feed() as following:
            following()
        counts.append(sorted(i for i, e in phone.heard.items() if e["standing"] == "counts"))
        assert len(phone.heard) == 30 * 67
    assert all(count == counts[0] for count in counts)
    assert len(counts[0]) == len(can_be)
    log = tmp_path / "jobs" / f"{JOB}-plan" / "night-log.csv"
    assert len(read_night_log(log, site=night_site(room_plan))) == len(can_be)


def test_no_name_is_declared_twice_in_the_scripts_of_a_served_sheet() -> None:
    files = [HERE / "script" / "phone.js", *(TEMPLATES / "script" / name for name in SCRIPTS)]
    declared = re.compile(r"^(?:async )?(?:const|let|var|class|function\*?) (\w+)", re.M)
    names = [name for file in files for name in declared.findall(file.read_text("utf-8"))]
    assert len(names) > 100
    assert sorted(names) == sorted(set(names))


def test_where_an_address_can_be_taken_over_it_is_held_alone(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # On Windows a port bound with SO_REUSEADDR may be bound by anybody else.
    held: list[int] = []

    class Socket:
        def setsockopt(self, _: int, option: int, on: int) -> None:
            held.append(option * on)

        def bind(self, _: tuple[str, int]) -> None: ...
        def listen(self, _: int) -> None: ...

    monkeypatch.setattr(socket, "SO_EXCLUSIVEADDRUSE", -5, raising=False)
    monkeypatch.setattr(socket, "socket", lambda *_: Socket())
    sharing.bound("127.0.0.1", 0)
    assert held == [-5]
