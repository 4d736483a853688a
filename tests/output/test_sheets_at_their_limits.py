"""What the files of a plan keep, number and take for their own, on both sides of each limit."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import SimpleNamespace as Made
from zoneinfo import ZoneInfo

import pytest

from cureplan.core.errors import InputError
from cureplan.output.sheet import crew_calendar, page, page_data, write
from cureplan.output.sheet.crew_calendar import EventBefore
from cureplan.output.text.terminal import terminal_text
from cureplan.output.view.view import status_key, voice_of
from cureplan.planning.plan import read
from output import sheet_sample

NOON = datetime(2026, 7, 17, 12, tzinfo=UTC)
SECOND = timedelta(seconds=1)


def event(uid="a", *, sequence=0, ends=NOON, **more) -> EventBefore:
    return EventBefore(
        uid=uid, sequence=sequence, begins=ends - SECOND, ends=ends, summary="Mixer",
        location="School", description="", cancelled=False, **more,
    )  # fmt: skip


# Calendars


@pytest.mark.parametrize(
    ("made_s", "old", "is_same", "sequence"),
    [
        (100, None, False, 100), (0, None, False, 0), (-9, None, False, 0),
        (100, 40, False, 100), (100, 99, False, 100), (100, 100, False, 101),
        (100, 300, False, 301), (100, 40, True, 40), (100, 300, True, 300),
    ],
)  # fmt: skip
def test_numbers_count_seconds_and_grow_with_each_change(made_s, old, is_same, sequence):
    # Seconds since the first of January 2020; a change counts one more than before at least.
    made_at = datetime(2020, 1, 1, tzinfo=UTC) + timedelta(seconds=made_s)
    plan = Made(decisions=Made(made_at=made_at))
    before = None if old is None else event(sequence=old, rings=not is_same)
    assert crew_calendar._sequence(plan, event(), before) == sequence


def test_what_is_over_by_now_is_called_off_no_more():
    kept = crew_calendar._still_to_come(
        [
            event("c", ends=NOON + 2 * SECOND),
            event("b", ends=NOON),
            event("a", ends=NOON + SECOND),
        ],
        NOON,
    )
    assert [one.uid for one in kept] == ["a", "c"]


@pytest.mark.parametrize(
    ("numbers", "kept"), [((1, 2), 2), ((2, 1), 1), ((1, 1), 1), ((3, 5), 2)]
)
def test_of_several_versions_the_newest_counts_and_the_first_of_two_alike(
    monkeypatch, numbers, kept
):
    read = {
        bytes([at]): (event(sequence=number, role=str(at)),)
        for at, number in enumerate(numbers, start=1)
    }
    monkeypatch.setattr(crew_calendar, "_events", lambda text, _: read[text])
    assert crew_calendar.events_before(read, mark="m")["a"].role == str(kept)


@pytest.mark.parametrize(
    ("who", "ends_s", "comes"),
    [("Ana", 1, True), ("Ana", 0, False), ("Ana", -1, False), ("", 1, False)],
)
def test_whoever_an_event_has_gone_from_finds_out_while_it_is_still_to_come(
    monkeypatch, who, ends_s, comes
):
    old = event(ends=NOON + ends_s * SECOND, role=who)
    new = event(ends=NOON + SECOND, role="mixer")
    monkeypatch.setattr(crew_calendar, "_shown", lambda *_: [(new, old)])
    monkeypatch.setattr(crew_calendar, "_calendar", lambda *given: given[2].encode())
    files = crew_calendar.role_calendars(Made(decisions=Made(made_at=NOON)))
    assert files == {"crew-mixer.ics": b"mixer"} | ({"crew-Ana.ics": b"Ana"} if comes else {})


def test_names_that_differ_in_signs_alone_have_files_of_their_own(monkeypatch):
    shown = [
        (event(str(n), role=who), None) for n, who in enumerate(["A!", "mixer", "A?", "?"])
    ]
    monkeypatch.setattr(crew_calendar, "_shown", lambda *_: shown)
    monkeypatch.setattr(crew_calendar, "_calendar", lambda *given: given[2].encode())
    files = crew_calendar.role_calendars(Made(decisions=Made(made_at=NOON)))
    # Roles in the order of the work, people behind them.
    assert list(files.items()) == [
        ("crew-mixer.ics", b"mixer"), ("crew-A.ics", b"A!"), ("crew-A-2.ics", b"A?"),
        ("crew-person.ics", b"?"),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("pour_s", "rings"), [(None, True), (1, True), (0, False), (-1, False)]
)
def test_ice_rings_before_the_first_pour_begins(monkeypatch, pour_s, rings):
    stop = Made(room="Bar", stage="ice", last_task=NOON)
    other = Made(room="Bar", stage="pour", last_task=NOON + 9 * SECOND)
    arrival = Made(who="runner", named=False, stops=(stop, other))
    monkeypatch.setattr(crew_calendar, "arrivals_of", lambda _: [arrival])
    rooms = [] if pour_s is None else [Made(pour_start=NOON + pour_s * SECOND)]
    site = Made(name="School", zone=UTC)
    plan = Made(
        rooms=rooms,
        job=Made(site=site, source=Path("job.toml"), display="us"),
        chill=Made(rooms=[Made(room="Bar", kits=2, ice_kg=2.3, in_ice_by_stirred=NOON)]),
    )
    voice = Made(label=lambda key, **_: key, word=str)
    (found,) = crew_calendar._ice_wanted(plan, voice)
    assert (found.begins, found.rings, found.role) == (NOON, rings, "runner")
    assert found.ends == NOON + timedelta(minutes=15)


def test_a_job_is_marked_by_sixteen_signs_of_its_own():
    def mark(site, file):
        return crew_calendar.job_mark(Made(job=Made(site=Made(name=site), source=Path(file))))

    marks = {mark("ab", "c.toml"), mark("a", "bc.toml"), mark("abc", ".toml")}
    assert len(marks) == 3
    assert all(re.fullmatch("[0-9a-f]{16}", each) for each in marks)
    assert mark("ab", "c.toml") == mark("ab", "elsewhere/c.toml")


def test_an_hour_without_a_zone_is_no_hour():
    assert crew_calendar._utc(NOON.astimezone(ZoneInfo("America/New_York"))) == NOON
    for wrong in (NOON.replace(tzinfo=None), NOON.date()):
        with pytest.raises(ValueError, match="has no zone"):
            crew_calendar._utc(wrong)


# Files that lie in a folder


@pytest.mark.parametrize(("left", "is_read"), [(0, True), (-1, False)])
def test_a_plan_as_large_as_is_borne_is_read(tmp_path, monkeypatch, left, is_read):
    content = b'{"task": 1}'
    (tmp_path / "plan.json").write_bytes(content)
    for module in (crew_calendar, write):
        monkeypatch.setattr(module, "LARGEST_PLAN_BYTES", len(content) + left)
    monkeypatch.setattr(crew_calendar, "plan_from_json", lambda text, **_: text)
    found = crew_calendar.earlier_plan(tmp_path)
    assert found == (content.decode() if is_read else None)
    monkeypatch.setattr(read, "LARGEST_PLAN_BYTES", len(content) + left)
    with pytest.raises(InputError) as refusal:
        read.read_plan(tmp_path)
    # It is no plan, but that is seen only where it is read.
    assert ("too large" in str(refusal.value)) != is_read
    # What is too large to be read is none of ours either.
    assert write.foreign_file(tmp_path) == "plan.json"
    (tmp_path / "plan.json").write_bytes(b'{"for": 1}{')
    assert write.foreign_file(tmp_path) == (None if is_read else "plan.json")


@pytest.mark.parametrize(
    ("content", "foreign"),
    [
        (b"{}", False), (b"[]", False), (b"[1]", True), (b'{"a": 1}', True), (b"7", False),
        (b'{"format": 1}', False), (b'{"a": 1, "rooms": 2}', False),
    ],
)  # fmt: skip
def test_a_plan_has_a_key_of_ours_and_another_tools_holds_something(tmp_path, content, foreign):
    (tmp_path / "plan.json").write_bytes(content)
    assert write.foreign_file(tmp_path) == ("plan.json" if foreign else None)


OURS = crew_calendar.PRODID.encode()


@pytest.mark.parametrize(
    ("name", "content", "foreign"),
    [
        ("crew.ics", b"BEGIN:VCALENDAR " + OURS, False), ("crew.ics", b"BEGIN:VCALENDAR", True),
        ("crew.ics", b"BEG", False), ("crew.ics", OURS, False), ("crew.ics", b"", False),
        ("buckets.csv", b"", False), ("buckets.csv", b"a,b", True), ("buckets.csv", OURS, True),
    ],
)  # fmt: skip
def test_a_calendar_is_ours_by_its_name_or_where_it_is_none_any_more(
    tmp_path, name, content, foreign
):
    (tmp_path / name).write_bytes(content)
    assert write.foreign_file(tmp_path) == (name if foreign else None)


def test_calendars_of_people_are_ours_and_of_a_bearable_size(tmp_path, monkeypatch):
    monkeypatch.setattr(write, "LARGEST_BYTES", len(OURS) + 2)
    for name, content in {
        "crew-a.ics": OURS, "crew-b.ics": OURS + b"x", "crew-c.ics": OURS + b"xxx",
        "crew-d.ics": b"x", "crew-e.ics": OURS + b"xx", "other.ics": OURS,
    }.items():  # fmt: skip
        (tmp_path / name).write_bytes(content)
    assert [*write._of_people(tmp_path)] == ["crew-a.ics", "crew-b.ics", "crew-e.ics"]


@pytest.mark.parametrize(
    ("error", "where", "why"),
    [
        (OSError(28, "no space", "/out/plan.json"), "out/plan.json", "no space"),
        (OSError(13, "no right", "/made/x", None, "/out/crew.ics"), "out/crew.ics", "no right"),
        (OSError(13, "no right", "/out/other"), "out", "no right"),
        (RuntimeError("broken"), "out", "broken"),
    ],
)
def test_what_could_not_be_written_is_named_with_its_reason(error, where, why):
    told = str(write._unwritable(Path("out"), error)).replace("\\", "/")
    assert told.startswith(f"{where}: could not be written ({why})")


@pytest.mark.parametrize(
    ("text", "safe"),
    [
        ("=1", "'=1"), ("  =1", "'  =1"), ("\t1", "'\t1"), ("1=1", "1=1"), (" 1", " 1"),
        ("", ""),
    ],
)  # fmt: skip
def test_no_text_runs_as_a_formula_whatever_blanks_stand_before_it(text, safe):
    assert write.defused(text) == safe


# The page


def wall(day, hour, minute=0) -> datetime:
    return datetime(2013, 11, day, hour, minute, tzinfo=UTC)


@pytest.mark.parametrize(
    ("begins", "ends", "found"),
    [
        # In New York on the third of November 2013 clocks show one to two twice: from 05:00 UTC
        # by summer time, from 06:00 UTC by standard time.
        (wall(3, 0), wall(3, 12), [(5, 6, "EDT"), (6, 7, "EST")]),
        (wall(3, 5, 20), wall(3, 5, 50), [(5.25, 6, "EDT"), (6, 6.25, "EST")]),
        (wall(3, 5, 20), wall(3, 5, 40), [(5.25, 6, "EDT")]),
        (wall(3, 8), wall(3, 12), []),
    ],
)
def test_times_that_the_wall_shows_twice_are_told_apart(begins, ends, found):
    site = Made(zone=ZoneInfo("America/New_York"))
    access = Made(begins=begins, open_by=ends)
    plan = Made(job=Made(site=site, access=access), calls=[], rooms=[])
    midnight_s = wall(3, 0).timestamp()
    assert [
        ((one["from"] - midnight_s) / 3600, (one["to"] - midnight_s) / 3600)
        for one in page_data._repeats(plan)
    ] == [(first, last) for first, last, _ in found]
    assert [one["name"] for one in page_data._repeats(plan)] == [name for *_, name in found]


def test_rows_count_instants_from_the_first_and_leave_the_rest_as_it_is():
    items = [
        {"room": 7, "pour": 1000, "tie": None, "number": 2},
        {"room": 7, "pour": 940, "tie": 960, "number": 1},
    ]
    assert page_data._rows_of(items) == {
        "names": ["room", "pour", "tie", "number"],
        "since": 940,
        "instants": ["pour", "tie"],
        "rows": [[7, 60, None, 2], [7, 0, 20, 1]],
    }
    assert page_data._rows_of([]) == {"names": [], "since": 0, "instants": [], "rows": []}


def test_a_plan_of_the_night_tells_what_is_poured_and_the_log_without_it():
    def bucket(room, number):
        return Made(room=room, number=number, pour=NOON + number * SECOND)

    def line(kind, room):
        return Made(at=NOON, event=kind, room=room, bucket=None, value=None, note="")

    night = Made(
        follows="plan",
        until=NOON,
        poured=[Made(room="Bar", buckets=2)],
        log=[line("poured", "Bar"), line("vacuumed", "Bar"), line("delay", None)],
    )
    buckets = [bucket("Bar", 1), bucket("Bar", 2), bucket("Bar", 3), bucket("Hall", 1)]
    told = page_data._night(Made(night=night, buckets=buckets))
    noon_s = int(NOON.timestamp())
    # Of the bar the first two are on the floor, of the hall none.
    assert told["poured"] == {"0": noon_s + 1, "1": noon_s + 2}
    assert [(one["event"], one["room"]) for one in told["log"]] == [
        ("vacuumed", "Bar"), ("delay", ""),
    ]  # fmt: skip
    assert page_data._night(Made(night=None, buckets=[])) is None


def test_a_page_is_of_the_hours_from_the_first_pour_to_the_last_opening():
    access = Made(begins=NOON, open_by=NOON + 9 * SECOND)
    rooms = [
        Made(pour_start=NOON + n * SECOND, open_by=NOON + (8 - n) * SECOND) for n in (2, 1, 3)
    ]
    for some, first_s, last_s in ((rooms, 1, 7), ([], 0, 9)):
        found = page._span(Made(rooms=some, job=Made(access=access)))
        assert found == tuple((NOON + s * SECOND).isoformat() for s in (first_s, last_s))


@pytest.mark.parametrize(
    ("text", "styled"),
    [
        ("a b", "a b"), ("A7", "A7"), ('"', "\\22 "), ("é", "\\e9 "), ("٣", "\\663 "),
        ("-", "\\2d "), ("\n", "\\a "),
    ],
)  # fmt: skip
def test_a_style_has_plain_letters_digits_and_blanks_as_they_are(text, styled):
    assert page._style_text(text) == styled


def test_a_role_sees_its_own_columns_and_no_chance():
    # Number, liquids, filler, pour, rake, smooth, tie, broadcast, two more, then the chance.
    hidden = page._hidden_columns()
    assert hidden["mixer"] == [5, 6, 7, 8, 11]
    assert hidden["rake"] == [2, 3, 6, 8, 11]
    assert hidden["topcoat"] == [2, 3, 4, 5, 6, 7, 8, 11]
    assert [task.key for task in page.TASKS] == [
        "liquids", "filler", "pour", "rake", "smooth", "tie", "broadcast",
    ]  # fmt: skip


def test_a_script_travels_without_its_notes_and_empty_lines():
    lines = page._script("\n\n// a note\n  let here;\n\n").split("\n")
    assert "let here;" in lines
    assert not [line for line in lines if line.startswith("//")]
    # The last line ends.
    assert [place for place, line in enumerate(lines, start=1) if not line] == [len(lines)]


@pytest.fixture(scope="module")
def plan():
    with sheet_sample.words_of_sample():
        yield sheet_sample.sample_plan()


@pytest.mark.parametrize(("display", "batches"), [("us", 0), ("metric", 1), ("metric", 0)])
def test_degrees_are_the_jobs_and_primer_has_a_column_where_there_is_some(
    plan, display, batches
):
    shown = replace(
        plan, job=replace(plan.job, display=display),
        takeoff=replace(plan.takeoff, primer_batches=batches),
    )  # fmt: skip
    sheet = page._sheet(shown, voice_of(shown, "en"), {}, {})
    assert sheet["degrees"] == ("°F" if display == "us" else "°C")
    assert sheet["primed"] == (batches == 1)


def test_a_page_knows_of_coves_and_of_who_sees_to_the_ice(plan):
    cove = replace(plan.calls[0], stage="cove", role="edge")
    coved = replace(plan, calls=(*plan.calls, cove))
    data = json.loads(page_data.page_data(coved))
    first_s, last_s = (at.timestamp() for at in (cove.first_task, cove.last_task))
    assert data["coves"] == [{"room": 0, "who": "edge", "start": first_s, "end": last_s}]
    # Nobody is named for it, so whoever carries the buckets does.
    assert [one["who"] for one in page_data._ice(plan)] == ["runner", "runner"]
    # 4.35 minutes are 261 s, and 260.99999999999994 as a computer multiplies them.
    bucket = replace(plan.buckets[0], margin_min=4.35)
    assert page_data._bucket(bucket, {bucket.room: 0})["margin_s"] == 261


@pytest.mark.parametrize(("pictures", "left"), [("kept", ["plan.png"]), (False, [])])
def test_what_a_plan_has_no_more_is_taken_away_but_for_pictures_that_are_kept(
    tmp_path, monkeypatch, pictures, left
):
    def render(_, *, earlier, pictures):
        return {"plan.json": b"{}"}

    monkeypatch.setattr(write, "render_sheets", render)
    for name in ("plan.json", "plan.png", "primers.csv"):
        (tmp_path / name).write_bytes(b"{}")
    write.write_sheets(None, tmp_path, pictures=pictures)
    assert sorted(p.name for p in tmp_path.iterdir()) == ["plan.json", *left]


def test_pictures_are_drawn_of_the_plan_that_lies_there_at_the_end(tmp_path, monkeypatch):
    file = tmp_path / "plan.json"
    file.write_bytes(b"one")
    drawn, written = [], []

    def draw(plan):
        drawn.append(plan)
        file.write_bytes(b"two")
        return {"plan.png": plan}

    monkeypatch.setattr(write, "read_plan", lambda folder: (folder / "plan.json").read_bytes())
    monkeypatch.setattr(write, "_pictures", draw)
    monkeypatch.setattr(write, "write_together", lambda *given: written.append(given))
    write.write_pictures(tmp_path)
    assert drawn == [b"one", b"two"]
    assert written == [(tmp_path, {"plan.png": b"two"})]


def test_whoever_comes_again_has_a_call_of_its_own_number(plan, monkeypatch):
    [again] = [one for one in crew_calendar.arrivals_of(plan) if one.who == "mixer"]
    monkeypatch.setattr(crew_calendar, "arrivals_of", lambda _: [again] * 3)
    found = [one.uid for one in crew_calendar._arrivals_wanted(plan, voice_of(plan, "en"))]
    # Counted from 0: a calendar made anew finds the same calls.
    assert found == [crew_calendar._id(plan, again.who, "arrival", n) for n in "012"]


def test_a_call_says_first_where_the_plan_falls_short(plan):
    voice = voice_of(plan, "en")
    sure = replace(plan, decisions=replace(plan.decisions, status="within policy"))
    unsure = voice.label(f"status.{status_key(plan)}")
    told = [one.description for one in crew_calendar._wanted(plan, voice)]
    plain = [one.description for one in crew_calendar._wanted(sure, voice)]
    assert told == [f"{unsure}.\n{words}" for words in plain]


@pytest.mark.parametrize(
    ("margin_min", "keeps_frac", "within", "key"),
    [
        # Two minutes and 90 % are asked for. What holds so often and has too little in hand
        # is no floor that may not be poured; what loses an edge as expected is.
        (1.0, 0.9, False, "margin"), (0.0, 0.97, False, "margin"), (-0.1, 0.97, False, "short"),
        (1.0, 0.899, False, "short"), (2.0, 0.5, False, "unsure"), (2.0, 0.97, True, "within"),
    ],
)  # fmt: skip
def test_a_margin_alone_that_is_short_is_told_apart(plan, margin_min, keeps_frac, within, key):
    policy = replace(plan.job.policy, margin_s=120.0, confidence=0.9)
    one = replace(
        plan,
        job=replace(plan.job, policy=policy),
        risk=replace(plan.risk, all_keep_frac=keeps_frac),
        rooms=tuple(
            replace(room, margin_min=margin_min, open_by=max(room.open_by, room.opens))
            for room in plan.rooms
        ),
        decisions=replace(
            plan.decisions, status="within policy" if within else "short of policy"
        ),
    )
    assert status_key(one) == key
    for language in ("en", "es"):
        head = "\n".join(
            terminal_text(one, width=200, colour=False, language=language).splitlines()[:5]
        )
        assert (voice_of(one, language).label(f"status.{key}")) in head
