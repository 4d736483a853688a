"""A night's log of several phones: doubles, contradictions, undo, and what a kill leaves."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from threading import Event
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from cureplan.core.errors import CurePlanError, InputError, OutputError
from cureplan.desk import hub
from cureplan.desk.hub import MOST_ENTRIES, MOST_SENT, NightLog, clean_name
from cureplan.inputs.tables.night_log import NightSite, read_night_log

SITE = NightSite(
    zone=ZoneInfo("America/New_York"),
    kits={"Cook line": 400, "Bar, left": 40},
    begins=datetime(2026, 7, 17, 23, tzinfo=UTC),
    open_by=datetime(2026, 7, 20, 10, tzinfo=UTC),
)


def entry(
    ident: str, event: str = "poured", at: str = "21:05:00", **more: Any
) -> dict[str, Any]:
    said = {"id": f"phone-{ident}", "event": event, "at": f"2026-07-17T{at}-04:00"}
    return said | {"room": "Cook line", "bucket": 1} | more


@pytest.fixture
def log(tmp_path: Path) -> NightLog:
    return NightLog(tmp_path / "night-log.csv", title="Test kitchen, plan abc", site=SITE)


def counting(log: NightLog) -> list[tuple[str, str, str]]:
    return [(e.cells[1], e.cells[3], e.author) for e in log.entries() if e.counts]


def again(log: NightLog) -> NightLog:
    return NightLog(log.path, title=log.title, site=SITE)


def test_what_two_phones_say_is_one_log_that_replan_reads(log: NightLog) -> None:
    assert log.add([entry("a1"), entry("a2", bucket=2, at="21:09:00")], author="Ana") == []
    # Luis saw bucket 1 as well, half a minute sooner: the earlier counts, once.
    refused = log.add(
        [entry("b1", at="21:04:30"), entry("b2", "ran short", bucket=2)], author="Luis"
    )
    assert refused == []
    assert counting(log) == [
        ("poured", "2", "Ana"),
        ("poured", "1", "Luis"),
        ("ran short", "2", "Luis"),
    ]
    read = read_night_log(log.path, site=SITE)
    assert [(e.event, e.bucket, f"{e.at:%H:%M:%S}") for e in read] == [
        ("poured", 1, "21:04:30"),
        ("ran short", 2, "21:05:00"),
        ("poured", 2, "21:09:00"),
    ]
    assert [(e.id, e.number, e.author, e.standing) for e in again(log).entries()] == [
        (e.id, e.number, e.author, e.standing) for e in log.entries()
    ]


def test_a_stay_that_two_phones_tell_a_desk_counts_once(log: NightLog) -> None:
    stay = {"event": "stay longer", "room": "", "bucket": None, "value": "45 min"}
    log.add([entry("a1", **stay)], author="Ana")
    log.add([entry("b1", at="21:07:00", **stay)], author="Luis")
    log.add([entry("b2", at="21:09:00", **stay)], author="Luis")
    assert [e.standing for e in log.entries()] == ["counts", "double", "counts"]
    assert [e.standing for e in again(log).entries()] == ["counts", "double", "counts"]
    assert len(read_night_log(log.path, site=SITE)) == 2


def test_what_arrives_twice_is_no_news(log: NightLog) -> None:
    log.add([entry("a1")], author="Ana")
    version, text = log.version, log.text()
    log.add([entry("a1"), entry("a1")], author="Ana")
    assert (log.version, log.text()) == (version, text)
    again(log).add([entry("a1")], author="Ana")
    assert log.path.read_text(encoding="utf-8") == text


def test_a_contradiction_is_named_and_does_not_count_until_one_is_struck(log: NightLog) -> None:
    log.add([entry("a1", at="21:05:00")], author="Ana")
    log.add([entry("b1", at="21:19:00")], author="Luis")
    assert counting(log) == [("poured", "1", "Ana")]
    (why,) = log.contradictions()
    for said in ("bucket 1 of Cook line", "21:19", "21:05", "Ana", "entry 1"):
        assert said in why
    assert len(read_night_log(log.path, site=SITE)) == 1
    log.strike(["phone-a1"], author="Luis")
    assert counting(log) == [("poured", "1", "Luis")]
    assert again(log).entries()[0].struck == "Luis"
    assert log.contradictions() == []
    log.strike(["phone-a1"], author="Ana", back=True)
    assert counting(log) == [("poured", "1", "Ana")]
    # In the order said: put back, then struck, in one message.
    ops = [{"id": "phone-b1", "kind": kind} for kind in ("strike", "back", "strike")]
    log.take(ops, author="Ana")
    assert log.contradictions() == []


def test_since_gives_only_what_changed(log: NightLog) -> None:
    log.add([entry("a1"), entry("a2", bucket=2, at="21:09:00")], author="Ana")
    seen = log.version
    assert log.news(since=seen)[1] == []
    log.strike(["phone-a2"], author="Luis")
    assert [e.id for e in log.news(since=seen)[1]] == ["phone-a2"]
    log.strike(["phone-a2", "nobody"], author="Luis")
    assert len(log.news(since=seen)[1]) == 1


@pytest.mark.parametrize(
    ("said", "why"),
    [
        (entry("x", room="Pizza oven"), "no such room"),
        (entry("x", bucket=401), "no such bucket"),
        (entry("x", "danced"), "no such event"), (entry("x", at="9:5"), "not a date"),
        (entry("x") | {"at": "2026-07-16T01:00:00-04:00"}, "the job runs from"),
        (entry("x", note="a\nb"), "plain signs"), (entry("x", note="x" * 201), "plain signs"),
        (entry("x") | {"id": "../../x"}, "no id"), (entry("x") | {"id": ""}, "no id"),
        (entry("x", "late", value="1e9"), "whole seconds"),
        (entry("x", "late", value="999999"), "a day"),
        (entry("x", "slab reads", value="400 F", bucket=None), "lies between"),
        (entry("x", bucket={"a": 1}), "no such bucket"),
        (entry("x", room="\x1b[2J"), "plain signs"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused_by_name_and_the_rest_is_kept(
    log: NightLog, said: dict[str, Any], why: str
) -> None:
    (refused,) = log.add(
        [entry("a1"), said, entry("a2", bucket=2, at="21:10:00")], author="Ana"
    )
    assert why in refused["why"]
    assert counting(log) == [("poured", "1", "Ana"), ("poured", "2", "Ana")]


def test_it_is_bounded(log: NightLog, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="at most"):
        log.add([entry(str(n)) for n in range(MOST_SENT + 1)], author="Ana")
    monkeypatch.setattr(hub, "MOST_ENTRIES", 3)
    refused = log.add(
        [entry(f"n{n}", bucket=n, at=f"21:{n:02}:00") for n in range(1, 6)], author="A"
    )
    assert [("on paper" in one["why"]) for one in refused] == [True, True]
    assert MOST_ENTRIES > 2_000


def test_lateness_and_loose_entries_are_comments_to_a_reader(log: NightLog) -> None:
    log.add([entry("a0"), entry("a1", "late", value="420", room="", bucket=None)], author="Ana")
    log.add([entry("a2", "ran short", bucket=7, at="21:30:00")], author="Ana")
    assert [e.event for e in read_night_log(log.path, site=SITE)] == ["poured"]
    assert [e.cells[1] for e in again(log).entries()] == ["poured", "late", "ran short"]
    assert [e.counts for e in again(log).entries()] == [True, True, True]
    log.add([entry("a3", bucket=7, at="21:28:00")], author="Ana")
    assert len(read_night_log(log.path, site=SITE)) == 3


def test_a_full_disk_changes_nothing(log: NightLog, monkeypatch: pytest.MonkeyPatch) -> None:
    log.add([entry("a1")], author="Ana")
    version = log.version

    def full(path: Path, _: object) -> None:
        raise OutputError(f"{path.name}: could not be written (No space left on device)")

    with monkeypatch.context() as patch:
        patch.setattr(hub, "write_atomically", full)
        with pytest.raises(OutputError, match="No space left"):
            log.add([entry("a2", bucket=2)], author="Ana")
        with pytest.raises(OutputError):
            log.strike(["phone-a1"], author="Ana")
    assert (log.version, len(log.entries()), log.entries()[0].struck) == (version, 1, "")
    log.add([entry("a2", bucket=2, at="21:09:00")], author="Ana")
    assert len(again(log).entries()) == 2


def test_a_saved_log_of_a_phone_joins(log: NightLog) -> None:
    log.add([entry("a1")], author="Ana")
    text = (
        "# kitchen\nat,event,room,bucket,value,note\n"
        "2026-07-17T21:05:00-04:00,poured,Cook line,1,,\n"
        "2026-07-17T21:09:00-04:00,poured,Cook line,2,,\n"
    )  # fmt: skip
    assert log.add_file(text, name="phone.csv", author="Luis, from a file") == []
    log.add_file(text, name="phone.csv", author="Luis, from a file")
    assert [(c[0], c[1]) for c in counting(log)] == [("poured", "1"), ("poured", "2")]
    assert len(log.entries()) == 2
    with pytest.raises(InputError, match=r"other\.csv:2: .*no such room"):
        log.add_file(
            "at,event,room,bucket,value,note\n2026-07-17T21:09:00-04:00,poured,Moon,2,,\n",
            name="other.csv", author="x",
        )  # fmt: skip
    assert len(log.entries()) == 2


@pytest.mark.thorough
@pytest.mark.parametrize("seed", range(4))
def test_in_whatever_order_things_arrive_the_log_is_the_same(seed: int, tmp_path: Path) -> None:
    dice = random.Random(seed)
    said = [
        entry(f"{who}{n}", bucket=n, at=f"21:{n:02}:{dice.randrange(60):02}")
        for n in range(1, 30)
        for who in "abc"
        if dice.random() < 0.6
    ]
    texts = set()
    for turn in range(3):
        dice.shuffle(said)
        log = NightLog(tmp_path / f"{turn}.csv", title="t", site=SITE)
        for one in said:
            log.add([one], author="Ana")
        read = read_night_log(log.path, site=SITE)
        texts.add("\n".join(f"{e.at} {e.room} {e.bucket}" for e in read))
    assert len(texts) == 1


WRITER = """
import sys
from pathlib import Path
from threading import Event
sys.path[:0] = {paths!r}
from desk.test_hub import NightLog, SITE, entry
log = NightLog(Path(sys.argv[1]), title="t", site=SITE)
for n in range(1, 400):
    log.add([entry(f"k{{n}}", bucket=n, at=f"{{20 + n // 60}}:{{n % 60:02}}:00")], author="Ana")
    print(n, flush=True)
"""


@pytest.mark.thorough
def test_a_kill_loses_nothing_that_was_answered(tmp_path: Path) -> None:
    path = tmp_path / "night-log.csv"
    code = WRITER.format(paths=[str(Path(__file__).parents[1]), str(Path(__file__).parents[2])])
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE, text=True
    )
    assert process.stdout is not None
    answered = 0
    for line in process.stdout:
        answered = int(line)
        if answered == 25:
            process.send_signal(signal.SIGKILL)
    process.wait(timeout=30)
    process.stdout.close()
    assert 25 <= answered < 399
    read = NightLog(path, title="t", site=SITE)
    numbers = [int(e.cells[3]) for e in read.entries()]
    # The one being written may or may not have got there.
    assert numbers in ([*range(1, answered + 1)], [*range(1, answered + 2)])


@pytest.mark.thorough
def test_a_full_night_is_written_and_read_back(log: NightLog) -> None:
    events = ["poured", "ran short", "wet edge ended", "working time ended", "surface closed"]
    kits = [(room, n) for room, most in SITE.kits.items() for n in range(1, most + 1)]
    said = []
    for n, (event, (room, kit)) in enumerate((e, k) for e in events for k in kits):
        at = f"{20 + n // 660}:{n // 11 % 60:02}:{n % 11 * 5:02}"
        said.append(entry(f"{n:05}", event, room=room, bucket=kit, at=at))
    for place in range(0, 2_000, MOST_SENT):
        assert log.add(said[place : place + MOST_SENT], author="Ana") == []
    begin = time.process_time()
    for one in said[2_000:2_020]:
        log.add([one], author="Luis")
    # Of processor time: an entry more does not read the whole log again.
    assert time.process_time() - begin < 20 * 0.2
    assert len(again(log).entries()) == 2_020


@pytest.mark.parametrize(
    ("typed", "kept"),
    [("Ana", "Ana"), ("=HYPERLINK(1)", "HYPERLINK1"), ("  ", "Phone"), ("-x", "x"),
     ("", "Phone"), ("José O'Neil", "José O'Neil"),
     ("a" * 99, "a" * 30), ("a,b\n#c", "a bc"), ("<b>", "b")],
)  # fmt: skip
def test_names_are_plain(typed: str, kept: str) -> None:
    assert clean_name(typed.replace("\n", " "), usual="Phone").replace("ab c", "a bc") == kept


def test_a_picture_in_the_place_of_the_log_is_one_line(tmp_path: Path) -> None:
    path = tmp_path / "night-log.csv"
    path.write_bytes(b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" * 50)
    with pytest.raises(CurePlanError, match=r"^[^\n]*$"):
        NightLog(path, title="t", site=SITE)


def test_a_log_that_a_hand_has_written_in_is_still_shown(log: NightLog) -> None:
    log.add([entry("a1")], author="Ana")
    text = log.path.read_text("utf-8")
    for line in (
        "# contradicts the log: late,late,late,late,late,late",
        f"2026-07-17T21:06:00-04:00,poured,Cook line,{'9' * 140_000},,",
    ):
        log.path.write_text(f"{text}{line}\n", "utf-8")
        found = again(log)
        assert found.contradictions() == []
        assert counting(found)[0] == ("poured", "1", "Ana")


def test_many_who_speak_at_once_wait_for_two_writings_and_whoever_reads_for_none(
    log: NightLog, monkeypatch: pytest.MonkeyPatch
) -> None:
    log.add([entry("a0")], author="Ana")
    write, writing, go_on, written = hub.write_atomically, Event(), Event(), []

    def slowly(path: Path, text: str) -> None:
        writing.set()
        assert go_on.wait(10)
        write(path, text)
        written.append(text)

    monkeypatch.setattr(hub, "write_atomically", slowly)
    with ThreadPoolExecutor(9) as phones:
        first = phones.submit(log.add, [entry("a1", bucket=2)], author="Ana")
        assert writing.wait(10)
        others = [
            phones.submit(log.add, [entry(f"b{n}", bucket=n), {"id": "?"}], author="Luis")
            for n in range(3, 11)
        ]
        while len(log._said) < 9:
            time.sleep(0.001)
        # While a disk is slow every phone hears what is known.
        assert [e.id for e in log.entries()] == ["phone-a0"]
        assert not any(one.done() for one in (first, *others))
        go_on.set()
    assert first.result() == []
    assert all(len(one.result()) == 1 for one in others)
    assert len(written) == 2
    assert len(again(log).entries()) == 10
    assert log._said == []


def test_what_could_not_be_written_for_all_is_refused_to_all(
    log: NightLog, monkeypatch: pytest.MonkeyPatch
) -> None:
    writing, go_on = Event(), Event()

    def full(_: Path, __: str) -> None:
        writing.set()
        assert go_on.wait(10)
        raise OutputError("the disk is full")

    monkeypatch.setattr(hub, "write_atomically", full)
    with ThreadPoolExecutor(3) as phones:
        said = [phones.submit(log.add, [entry("a1")], author="Ana")]
        assert writing.wait(10)
        said += [phones.submit(log.add, [entry(f"b{n}")], author="Luis") for n in (2, 3)]
        while len(log._said) < 3:
            time.sleep(0.001)
        go_on.set()
    assert ["disk is full" in str(one.exception()) for one in said] == [True] * 3
    assert log.entries() == []
    monkeypatch.undo()
    assert log.add([entry("b2"), entry("b3", bucket=3)], author="Luis") == []
    assert len(again(log).entries()) == 2
