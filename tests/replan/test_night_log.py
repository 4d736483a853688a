"""Reading the log of a night: what it says, and one clear line for every fault."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import InputError
from cureplan.inputs.tables.night_log import (
    EVENTS,
    LineUsed,
    NightSite,
    read_night_log,
    read_night_log_text,
    read_night_logs,
)

HEADER = "at,event,room,bucket,value,note"
SITE = NightSite(
    zone=ZoneInfo("America/New_York"),
    kits={"Cook line": 26, "Corridor": 8},
    begins=datetime(2013, 7, 17, 23, tzinfo=UTC),
    open_by=datetime(2013, 7, 20, 10, tzinfo=UTC),
)


def read(*lines, header=HEADER, site=SITE):
    return read_night_log_text("\n".join((header, *lines)), source=Path("log.csv"), site=site)


def test_every_event_is_understood():
    events = read(
        "# the night of the seventeenth",
        "2013-07-17T19:45,slab reads,Cook line,,88 F,by the drain",
        "2013-07-17T19:53,poured,cook line,1,,",
        "2013-07-17T23:57-04:00,wet edge ended,Cook line,1,,",
        "2013-07-18T03:58Z,working time ended,Cook line,1,,",
        "2013-07-17T23:59,surface closed,Cook line,1,,",
        "2013-07-17T23:59:30,ran short,Cook line,1,,",
        "2013-07-17T23:59:40,lost,Cook line,2,,dropped",
        "2013-07-17T19:00,pails in ice,Cook line,,,",
        "2013-07-17T12:00,primer begun,Cook line,,,",
        "2013-07-17T12:20,primer laid,Cook line,,,",
        "2013-07-18T05:48,cove begun,Cook line,,,",
        "2013-07-18T05:49,cove done,Cook line,,,",
        "2013-07-18T05:50,vacuumed,Cook line,,,",
        "2013-07-18T06:00,coat begun,Cook line,,1,",
        "2013-07-18T06:02,batch mixed,Cook line,,1,",
        "2013-07-18T06:20,coat laid,Cook line,,1,",
        "2013-07-18T00:00,bucket reads,Cook line,1,25 C,",
        "2013-07-18T00:01,Drill down,,,,",
        "2013-07-18T00:02,short of,,,rake,",
        '2013-07-18T00:03,room added,Pot wash,,"12 ft x 10 ft, storage, through Corridor",',
        "2013-07-18T00:04,room dropped,Pot wash,,,",
        "2013-07-18T00:05,wait until,,,2013-07-18T01:00,rain",
        "2013-07-18T00:06,pour shift until,,,2013-07-18T05:30,",
        "2013-07-18T00:07,topcoat shift from,,,2013-07-18T04:00,",
        "2013-07-18T00:08,topcoat shift until,,,2013-07-18T18:00,",
        "2013-07-18T00:09,opens by,,,2013-07-21T06:00,the owner agreed",
        "2013-07-18T00:10,opens by,corridor,,2013-07-19T06:00,",
        "2013-07-18T00:11,stay longer,,,1 h 15 min,",
    )
    assert {event.event for event in events} == set(EVENTS)
    by_event = {event.event: event for event in events}
    # 88 °F = (88 - 32) / 1.8 °C.
    assert by_event["slab reads"].temp_c == pytest.approx(31.1111, abs=1e-4)
    assert by_event["bucket reads"].temp_c == 25.0
    assert by_event["poured"].room == "Cook line"
    assert by_event["coat laid"].coat == 1
    assert by_event["poured"].at == datetime(2013, 7, 17, 23, 53, tzinfo=UTC)
    assert by_event["wet edge ended"].at == datetime(2013, 7, 18, 3, 57, tzinfo=UTC)
    assert by_event["short of"].role == "rake"
    assert by_event["wait until"].until == datetime(2013, 7, 18, 5, tzinfo=UTC)
    assert by_event["topcoat shift from"].shift_at == datetime(2013, 7, 18, 8, tzinfo=UTC)
    kitchen, corridor = (event for event in events if event.event == "opens by")
    assert (kitchen.room, kitchen.opens_at) == (None, datetime(2013, 7, 21, 10, tzinfo=UTC))
    assert (corridor.room, corridor.opens_at.day) == ("Corridor", 19)
    assert by_event["stay longer"].more_s == 4500.0
    added = by_event["room added"].added
    # 12 ft = 3.6576 m, by the definition of the foot.
    assert (added.length_m, added.width_m) == pytest.approx((3.6576, 3.048))
    assert (added.use, added.way_out) == ("storage", ("Corridor",))


def test_lines_are_put_in_the_order_of_time():
    events = read(
        "2013-07-17T20:00,poured,Corridor,2,,", "2013-07-17T19:55,poured,Corridor,1,,"
    )
    assert [event.bucket for event in events] == [1, 2]


def known(*lines, until="20:30"):
    """A plan made on the night that has used some lines of the log."""
    said = [line.split(",") for line in lines]
    return replace(
        SITE,
        used_until=datetime.fromisoformat(f"2013-07-17T{until}-04:00"),
        known=tuple(
            LineUsed(
                datetime.fromisoformat(f"{at}-04:00"), event, room or None, value,
                int(bucket) if bucket else None,
            )
            for at, event, room, bucket, value in said
        ),
    )  # fmt: skip


def test_a_plan_made_on_the_night_needs_only_pours_and_waits_of_what_it_has_used():
    used = (
        "2013-07-17T20:00,poured,Corridor,1,",
        "2013-07-17T20:10,drill down,,,",
        "2013-07-17T20:11,room dropped,Servery,,",
    )
    events = read(
        *(f"{line}," for line in used),
        "2013-07-17T20:40,drill down,,,,",
        site=known(*used),
    )
    assert [(event.event, event.line) for event in events] == [("poured", 2), ("drill down", 5)]


OTHER_THAN_POURS = (
    "slab reads,Corridor,,88 F",
    "slab reads,Corridor,2,88 F",
    "bucket reads,Corridor,1,25 C",
    "wet edge ended,Corridor,1,",
    "working time ended,Corridor,1,",
    "surface closed,Corridor,1,",
    "ran short,Corridor,1,",
    "lost,Corridor,2,",
    "pails in ice,Corridor,,",
    "drill down,,,",
    "short of,,,rake",
    "room dropped,Corridor,,",
    'room added,Bar,,"9 ft x 9 ft, other"',
)


@pytest.mark.parametrize("said", OTHER_THAN_POURS)
@pytest.mark.parametrize("at", ["20:10:40", "19:40"])
def test_a_line_counts_once_whenever_it_was_written(said, at):
    # Seen fault: written in the minute of a plan, or for an hour before it and brought later,
    # a reading or a tick was taken for used by a plan that had never seen it.
    line = f"2013-07-17T{at},{said}"
    others = [f"2013-07-17T{at},{one}" for one in OTHER_THAN_POURS if "Bar" not in one]
    strangers = known(*(one for one in others if one != line), until="20:10:50")
    assert len(read(f"{line},", site=strangers)) == 1
    (event,) = read(f"{line},")
    used = LineUsed(event.at, event.event, event.room, event.value, event.bucket)
    site = replace(strangers, known=(used,))
    assert read(f"{line},".replace("Corridor", "corridor"), site=site) == ()


def test_what_can_come_only_once_does_so_for_two_phones_and_a_plan_between():
    site = known("2013-07-17T20:10,wet edge ended,Corridor,1,", until="20:11")
    assert read("2013-07-17T20:12,wet edge ended,Corridor,1,,", site=site) == ()
    assert len(read("2013-07-17T20:12,wet edge ended,Corridor,2,,", site=site)) == 1


def test_a_reading_that_is_mended_after_a_plan_used_it_is_refused():
    site = known("2013-07-17T20:10,slab reads,Corridor,,98 F")
    mended = "2013-07-17T20:10,slab reads,Corridor,{},88 F,"
    with pytest.raises(InputError, match="counts this line already, with 98 F"):
        read(mended.format(""), site=site)
    # At another place, it is another one.
    assert len(read(mended.format("3"), site=site)) == 1


STAY, OPEN = "2013-07-17T20:10,stay longer,,,45 min,", "2013-07-17T20:10,opens by,corridor,,{},"


def test_hours_moved_in_the_minute_of_a_plan_count_and_count_once():
    noon = OPEN.format("2013-07-19T12:00")
    # Offered by a plan of 20:10 and logged within that minute, or before it: not known yet.
    for until in ("20:10", "20:30"):
        assert len(read(STAY, noon, site=known(until=until))) == 2
    site = known(STAY[:-1], noon[:-1].replace("corridor", "Corridor"))
    assert read(STAY, noon, site=site) == ()
    # Each later line is new; so is an hour that was mended, but for one that came after it.
    assert [e.more_s for e in read(STAY, STAY.replace("20:10", "20:20"), site=site)] == [2700]
    assert len(read(OPEN.format("2013-07-19T14:00"), site=site)) == 1
    assert read(OPEN.replace("20:10", "20:09").format("2013-07-19T14:00"), site=site) == ()
    with pytest.raises(InputError, match="counts this line already, with 45 min"):
        read(STAY.replace("45", "60"), site=site)


def test_a_stay_that_two_phones_log_within_three_minutes_is_one(tmp_path):
    def stays(*lines):
        files = [tmp_path / f"{number}.csv" for number in range(len(lines))]
        for file, line in zip(files, lines, strict=True):
            file.write_text(f"{HEADER}\n{line}\n")
        return [event.more_s for event in read_night_logs(files, site=SITE)]

    assert stays(STAY, STAY.replace("20:10", "20:13")) == [2700]
    assert stays(STAY, STAY.replace("20:10", "20:14")) == [2700, 2700]
    assert stays(STAY, STAY.replace("45", "30")) == [2700, 1800]


def test_a_stay_that_two_phones_tell_one_file_is_one():
    # Seen fault: of two files it counted once, of the file in which a desk merges them twice.
    header = f"{HEADER},author"
    other = STAY.replace("20:10", "20:12").replace("45 min", "0 h 45 min")
    assert len(read(f"{STAY},Ana", f"{other},Luis", header=header)) == 1
    assert len(read(f"{STAY},Ana", f"{other},Ana", header=header)) == 2
    # So it is where two logs are laid one behind the other.
    assert len(read(STAY, HEADER, other)) == 1
    assert len(read(STAY, other)) == len(read(HEADER, STAY, other)) == 2
    batches = [f"2013-07-18T06:0{n},batch mixed,Cook line,,1,,{who}"
               for n, who in ((0, "Ana"), (2, "Luis"), (4, "Luis"))]  # fmt: skip
    assert [e.at.minute for e in read(*batches, header=header)] == [0, 4]


def test_a_stay_that_another_phone_tells_after_a_plan_used_it_is_the_same():
    site = known(STAY[:-1])
    later = STAY.replace("20:10", "20:12")
    assert read(later, site=site) == ()
    # Of the phone that told the first it is another, as is one of another length or hour.
    assert len(read(STAY, later, site=site)) == 1
    assert len(read(later.replace("45", "30"), site=site)) == 1
    assert len(read(STAY.replace("20:10", "20:14"), site=site)) == 1
    header = f"{HEADER},author"
    assert read(f"{STAY},Ana", f"{later},Luis", header=header, site=site) == ()


def test_a_kitchen_opens_three_days_later_at_most_and_what_is_done_until_then_is_logged():
    # The plan has it open by 06:00 on the 20th.
    laid = "2013-07-21T05:00,coat laid,Corridor,,2,"
    with pytest.raises(InputError, match="the job runs from 2013-07-17 19:00 to 2013-07-20"):
        read(laid)
    for last, laid_too in (("2013-07-23T06:00", True), ("2013-07-21T04:59", False)):
        lines = (laid, f"2013-07-19T08:00,opens by,,,{last},")
        if laid_too:
            assert len(read(*lines)) == 2
        else:
            with pytest.raises(InputError, match="to 2013-07-21 04:59"):
                read(*lines)
    with pytest.raises(InputError, match="to 2013-07-23 06:00"):
        read("2013-07-19T08:00,opens by,,,2013-07-23T06:01,")
    # A room's own hour moves no other.
    room = "2013-07-19T08:00,opens by,Corridor,,2013-07-20T06:01,"
    assert len(read(room)) == 1
    with pytest.raises(InputError, match="to 2013-07-20 06:00"):
        read(room, "2013-07-20T06:01,slab reads,Corridor,,88 F,")


FAULTS = {
    "open in the past": ("2013-07-18T20:00,opens by,,,2013-07-18T20:00,", "value", "own time"),
    "stays in a room": ("2013-07-17T20:00,stay longer,Corridor,,45 min,", "room", "all rooms"),
    "shift of a room": (
        "2013-07-17T20:00,pour shift until,Bar,,2013-07-18T05:30,", "room", "takes no room"
    ),
    "rain in a room": (
        "2013-07-17T20:00,wait until,Corridor,,2013-07-17T21:00,", "room", "takes no room"
    ),
    "stays for nothing": ("2013-07-18T20:00,stay longer,,,,", "value", "such as"),
    "stays a moment": ("2013-07-18T20:00,stay longer,,,29 s,", "value", "between a minute"),
    "stays for ever": ("2013-07-18T20:00,stay longer,,,721 min,", "value", "and 12 h"),
    "stays a word": ("2013-07-18T20:00,stay longer,,,long,", "value", "min"),
    "no such event": ("2013-07-17T20:00,pourd,Corridor,1,,", "event", 'did you mean "poured"?'),
    "no event": ("2013-07-17T20:00,,Corridor,1,,", "event", "empty"),
    "no such room": ("2013-07-17T20:00,poured,Coridor,1,,", "room", 'mean "Corridor"?'),
    "no room": ("2013-07-17T20:00,slab reads,,,88 F,", "room", "it is empty"),
    "no such bucket": ("2013-07-17T20:00,poured,Corridor,9,,", "bucket", "from 1 to 8"),
    "bucket nought": ("2013-07-17T20:00,poured,Corridor,0,,", "bucket", "from 1 to 8"),
    "bucket in words": ("2013-07-17T20:00,poured,Corridor,two,,", "bucket", "from 1 to 8"),
    "huge bucket": (f"2013-07-17T20:00,poured,Corridor,{'9' * 5000},,", "bucket", "1 to 8"),
    "other digits": ("2013-07-17T20:00,poured,Corridor,²,,", "bucket", "from 1 to 8"),
    "no bucket": ("2013-07-17T20:00,poured,Corridor,,,", "bucket", "it is empty"),
    "time in words": ("eight,poured,Corridor,1,,", "at", "2026-07-17T20:05"),
    "date alone": ("2013-07-18,poured,Corridor,1,,", "at", "not a date and time"),
    "another year": ("2012-07-17T20:00,poured,Corridor,1,,", "at", "check the date"),
    "year nought": ("0000-07-17T20:00,poured,Corridor,1,,", "at", "not a date and time"),
    "first year": ("0001-01-01T00:00,poured,Corridor,1,,", "at", "check the year"),
    "slab in words": ("2013-07-17T20:00,slab reads,Corridor,,hot,", "value", "hot"),
    "no unit": ("2013-07-17T20:00,slab reads,Corridor,,88,", "value", "88"),
    "no reading": ("2013-07-17T20:00,slab reads,Corridor,,,", "value", "it is empty"),
    "boiling": ("2013-07-17T20:00,slab reads,Corridor,,188 F,", "value", "check the digits"),
    "hot batch": ("2013-07-17T20:00,bucket reads,Corridor,1,78 C,", "value", "the unit"),
    "no such role": ("2013-07-17T20:00,short of,,,rakes,", "value", 'did you mean "rake"?'),
    "wait backwards": ("2013-07-17T20:00,wait until,,,2013-07-17T19:59,", "value", "before"),
    "wait a year": ("2013-07-17T20:00,wait until,,,2014-07-17T19:59,", "value", "job runs"),
    "wait, no time": ("2013-07-17T20:00,wait until,,,,rain", "value", "not a date and time"),
    "stray value": ("2013-07-17T20:00,drill down,,,2,", "value", "takes no value"),
    "same room": ('2013-07-17T20:00,room added,Corridor,,"9 ft x 9 ft, other",', "room", "own"),
    "nameless room": ('2013-07-17T20:00,room added,,,"9 ft x 9 ft, other",', "room", "empty"),
    "no size": ("2013-07-17T20:00,room added,Bar,,storage,", "value", "12 ft x 10 ft"),
    "no use": ("2013-07-17T20:00,room added,Bar,,9 ft x 9 ft,", "value", "uses are"),
    "no length": ('2013-07-17T20:00,room added,Bar,,"9 x 9 ft, other",', "value", "9"),
    "a hall": ('2013-07-17T20:00,room added,Bar,,"9 ft x 900 m, other",', "value", "m"),
    "no way": (
        '2013-07-17T20:00,room added,Bar,,"9 ft x 9 ft, other, through Door",', "value", "out"
    ),
    "few cells": ("2013-07-17T20:00,poured,Corridor", "", "cells"),
}  # fmt: skip


@pytest.mark.parametrize(("line", "column", "words"), FAULTS.values(), ids=FAULTS)
def test_every_faulty_line_is_refused_in_one_line(line, column, words):
    with pytest.raises(InputError) as caught:
        read("# a comment", line)
    text = str(caught.value)
    assert text.startswith("log.csv:3: ")
    assert column in text
    assert words in text
    assert "\n" not in text


@pytest.mark.parametrize(
    ("header", "words"),
    [
        ("at,room,bucket", "event: the column is missing"),
        ("event,room", "at: the column is missing"),
        ("at,event,rooms", 'did you mean "room"?'),
        ("at|event;room", "no such column"),
        ("at,event,at", "stands there twice"),
    ],
)
def test_a_faulty_header_is_refused(header, words):
    cells = ",".join(["x"] * len(header.split(",")))
    with pytest.raises(InputError, match=words.replace("?", r"\?")):
        read(cells, header=header)


def test_a_bucket_of_a_room_just_added_is_refused():
    with pytest.raises(InputError, match=r"log\.csv:3: room = 'Bar': .* not planned yet"):
        read(
            '2013-07-17T20:00,room added,Bar,,"9 ft x 9 ft, other",',
            "2013-07-17T20:05,poured,Bar,1,,",
        )


def test_a_night_on_which_clocks_change_wants_the_offset():
    site = NightSite(
        zone=SITE.zone,
        kits=SITE.kits,
        begins=datetime(2013, 11, 2, 23, tzinfo=UTC),
        open_by=datetime(2013, 11, 4, 10, tzinfo=UTC),
    )
    # Published: US clocks went back on 3 November 2013 at 2:00 (Energy Policy Act of 2005).
    with pytest.raises(InputError, match=r"-04:00 or .*-05:00"):
        read("2013-11-03T01:30,poured,Corridor,1,,", site=site)


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"\0", HEADER.encode(), b"\xe9,\n"])
def test_a_file_that_is_no_log_is_refused_by_name(tmp_path, content):
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"log\.csv"):
        read_night_log(path, site=SITE)


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["2013-07-17T20:00", "2013-07-18T01:00-04:00", "x", ""]),
            st.sampled_from([*EVENTS, "", "pour"]),
            st.sampled_from(["Corridor", "cook line", "", "Bar"]),
            st.sampled_from(["1", "8", "99", "", "-1"]),
            st.one_of(
                st.sampled_from(["88 F", "rake", "9 ft x 9 ft", "2013-07-17T21:00", ""]),
                st.text(alphabet=st.characters(exclude_categories=("Cs",)), max_size=12),
            ),
        ),
        min_size=1,
        max_size=4,
    )
)
def test_whatever_is_written_is_read_or_refused_in_one_line(rows):
    lines = [
        ",".join(cell.replace(",", " ").replace('"', " ") for cell in (*r, "")) for r in rows
    ]
    refusals = []
    try:
        events = read(*lines)
    except InputError as error:
        refusals.append(str(error))
        events = ()
    assert len(events) + len(refusals) <= len(rows)
    assert all("\n" not in text for text in refusals)


def test_two_logs_of_one_night_are_one():
    header = "at,event,room,bucket,value,note"
    events = read(
        "2013-07-17T20:05,poured,Corridor,2,,",
        "2013-07-17T20:00:00,poured,Corridor,1,,",
        "2013-07-17T20:30,slab reads,Cook line,,88 F,",
        header,
        "2013-07-17T20:00:40,poured,corridor,1,,other phone",
        "2013-07-17T20:30,slab reads,Cook line,,88 F,",
        "2013-07-17T20:35,slab reads,Cook line,,88 F,",
    )
    assert [(event.event, event.bucket) for event in events] == [
        ("poured", 1), ("poured", 2), ("slab reads", None), ("slab reads", None),
    ]  # fmt: skip


def test_a_second_log_may_have_other_columns():
    events = read(
        "2013-07-17T20:00,poured,Corridor,1,,",
        "event,room,bucket,at",
        "poured,Corridor,2,2013-07-17T20:05",
    )
    assert [event.bucket for event in events] == [1, 2]


def test_a_contradiction_is_named_with_both_lines():
    with pytest.raises(InputError) as caught:
        read(
            "2013-07-17T20:30,poured,Corridor,1,,",
            "2013-07-17T20:05,poured,Corridor,2,,",
            "2013-07-17T20:00,poured,Corridor,1,,",
        )
    shown = str(caught.value)
    assert "log.csv:2: at" in shown
    assert "line 4 says that bucket 1 of Corridor was poured at 20:00:00" in shown


def two_logs(folder, *lines_of):
    paths = []
    for name, lines in zip("ab", lines_of, strict=True):
        paths.append(folder / f"{name}.csv")
        paths[-1].write_text("\n".join((HEADER, *lines)) + "\n", encoding="utf-8")
    return paths


def test_logs_of_two_phones_are_one_night(tmp_path):
    paths = two_logs(
        tmp_path,
        ("2013-07-17T20:00,poured,Corridor,1,,", "2013-07-18T06:00,coat begun,Corridor,,1,"),
        ("2013-07-17T20:04,poured,Corridor,2,,", "2013-07-17T20:01,poured,Corridor,1,,"),
    )
    events = read_night_logs(paths, site=SITE)
    assert [(e.event, e.bucket, e.at.minute) for e in events] == [
        ("poured", 1, 0),
        ("poured", 2, 4),
        ("coat begun", None, 0),
    ]


@pytest.mark.parametrize(
    ("event", "told"),
    [
        ("poured,Corridor,1,,", "bucket 1 of Corridor was poured"),
        ("coat begun,Corridor,,1,", "coat 1 of Corridor was begun"),
        ("vacuumed,Corridor,,,", '"vacuumed" of Corridor was'),
    ],
)
def test_phones_that_contradict_each_other_are_named_with_both_lines(tmp_path, event, told):
    paths = two_logs(tmp_path, (f"2013-07-17T20:00,{event}",), (f"2013-07-17T20:30,{event}",))
    with pytest.raises(InputError) as caught:
        read_night_logs(paths, site=SITE)
    shown = str(caught.value)
    assert f"line 2 of {paths[0]} says that {told} at 20:00:00, this line at 20:30:00" in shown
    assert str(paths[1]) in shown
    assert "keep the one that is true" in shown


@pytest.mark.parametrize("value", ["", "3", "one"])
def test_a_coat_without_its_number_is_refused(value):
    with pytest.raises(InputError, match="write the coat's number, 1 or 2"):
        read(f"2013-07-18T06:00,coat begun,Corridor,,{value},")
