"""Broken job files: each gives one clear line with file, line, key, value and cure."""

from __future__ import annotations

import pytest
from broken_jobs import CASES
from command_line import run_here

from cureplan.core.errors import InputError
from cureplan.inputs.job.reader import job_faults, read_job

BAD_INPUT = 2


def line_of(text, mark):
    """1-based line, in `text`, of the last character of `mark`; counted here by hand."""
    if not mark:
        return 1
    at = text.index(mark) + len(mark.rstrip("\n")) - 1
    return text.count("\n", 0, at) + 1


@pytest.mark.parametrize("case", CASES)
def test_a_broken_job_says_where_what_and_how_to_mend_it(case, demo_text, folder):
    old, new, mark, key, fragments = CASES[case]
    assert old in demo_text, "the demonstration job no longer holds what this case breaks"
    text = demo_text.replace(old, new)
    job = folder / "job.toml"
    job.write_text(text, encoding="utf-8")

    with pytest.raises(InputError) as caught:
        read_job(job)

    shown = str(caught.value)
    assert caught.value.exit_code == BAD_INPUT
    assert "\n" not in shown
    assert len(shown) < 600
    assert key in shown
    for fragment in fragments:
        assert fragment in shown
    assert caught.value.cure
    if case == "card of another kind":
        assert "quartz.toml:" in shown
    elif case == "number of a thousand digits":
        assert shown.startswith(f"{job}")
    else:
        assert shown.startswith(f"{job}:{line_of(text, mark)}: {key}")
    assert str(job_faults(job)[0]).split("; ")[0] == shown.split("; ")[0]


def test_there_are_plenty_of_cases():
    assert len(CASES) >= 40


def test_every_fault_is_found_and_the_first_is_told(folder, demo_text):
    text = demo_text.replace('lag = "5 h"', "lag = 5").replace("rake = 1", "rake = 0")
    text = text.replace('width = "16 ft"', 'widht = "16 ft"')
    job = folder / "job.toml"
    job.write_text(text)
    faults = job_faults(job)
    assert [fault.key for fault in faults] == ["building.lag", "crew.rake", "rooms[4].widht"]
    assert [fault.line for fault in faults] == sorted(fault.line for fault in faults)
    with pytest.raises(InputError, match=r"building\.lag = 5: .* \(and 2 more to mend"):
        read_job(job)
    # `check` is asked what is wrong, and tells all of it; `plan` the first.
    checked = run_here("check", "job.toml", folder=folder)
    assert (checked.returncode, checked.stdout) == (2, "")
    told = checked.stderr.splitlines()
    assert [line.split(": ")[2].split(" ")[0] for line in told] == [each.key for each in faults]
    planned = run_here("plan", "job.toml", folder=folder)
    assert planned.stderr.splitlines() == told[:1]


def test_faults_are_told_in_the_order_of_the_file(folder, demo_text):
    text = demo_text.replace('length = "40 ft"\nwidth = "16 ft"', "width = 16\nlength = 40")
    job = folder / "job.toml"
    job.write_text(text)
    assert [fault.key for fault in job_faults(job)] == ["rooms[4].width", "rooms[4].length"]


def test_a_fault_in_the_only_room_is_told_once(folder, demo_text):
    first, room, *_ = demo_text.replace('"30 ft"', '"30"').split("[[rooms]]")
    job = folder / "job.toml"
    job.write_text(f"{first}[[rooms]]{room}")
    assert [fault.key for fault in job_faults(job)] == ["rooms[1].length"]


def test_a_sound_job_has_no_faults(folder, demo_text):
    job = folder / "job.toml"
    job.write_text(demo_text)
    assert job_faults(job) == ()


def test_lines_are_right_in_files_from_other_systems(folder, demo_text):
    job = folder / "job.toml"
    text = demo_text.replace('width = "16 ft"', 'width = "16"')
    job.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode())
    line = text[: text.index('"16"')].count("\n") + 1
    with pytest.raises(InputError) as caught:
        read_job(job)
    assert (caught.value.line, caught.value.key) == (line, "rooms[4].width")


def test_too_many_rooms_are_refused_in_one_line(folder, demo_text):
    job = folder / "job.toml"
    room = demo_text[demo_text.index("[[rooms]]") :].split("[[rooms]]")[1]
    name = room.split('name = "')[1].split('"')[0]
    rooms = "".join(f"[[rooms]]{room.replace(name, f'Room {n}')}" for n in range(200))
    job.write_text(demo_text[: demo_text.index("[[rooms]]")] + rooms, encoding="utf-8")
    shown = [str(fault) for fault in job_faults(job)]
    assert len(shown) == 1
    assert "200 rooms are more than the 48 of one plan; write a job file for each" in shown[0]


def test_more_buckets_than_a_plan_holds_are_refused(folder, demo_text):
    job = folder / "job.toml"
    text = demo_text.replace('length = "30 ft"', 'length = "500 ft"')
    job.write_text(text.replace('width = "22 ft"', 'width = "500 ft"'), encoding="utf-8")
    (shown,) = (str(fault) for fault in job_faults(job))
    assert "more than 3000 buckets; check the sizes" in shown


def test_no_control_sign_reaches_the_terminal_and_no_message_is_endless():
    shown = str(
        InputError("a\x1b[2J" + "x" * 5000, cure="b\x07", source="c\x1b]0;", key="d\x9b")
    )
    assert shown.isprintable()
    assert len(shown) < 1500


def ring(*corners_ft):
    return "[" + ", ".join(f'["{x} ft", "{y} ft"]' for x, y in corners_ft) + "]"


KITCHEN = f"outline = {ring((0, 0), (24, 0), (24, 30), (14, 30), (14, 18), (0, 18))}\n"
COLUMN = f"islands = [{ring((8, 6), (12, 6), (12, 9), (8, 9))}]\n"
DRAIN = f"stop_lines = [{ring((0, 15), (22, 15))}]\n"


def outlined(folder, demo_text, shape):
    """The demonstration job with its first room of another shape."""
    start = demo_text.index('length = "30 ft"')
    end = demo_text.index("use =", start)
    job = folder / "job.toml"
    job.write_text(demo_text[:start] + shape + demo_text[end:])
    return job


def test_a_room_of_any_outline_is_read(folder, demo_text):
    job = read_job(outlined(folder, demo_text, KITCHEN + COLUMN))
    # 24 * 18 + 10 * 12 - 4 * 3 = 540 sq ft of 0.09290304 m2.
    assert job.rooms[0].area_m2 == pytest.approx(540 * 0.09290304)
    # Drains in a plain rectangle are an outline too: 30 ft by 22 ft.
    turned = 'length = "30 ft"\nwidth = "22 ft"\nback_wall = [2, 3]\n'
    room = read_job(outlined(folder, demo_text, turned)).rooms[0]
    # Poured from the long wall: 22 ft along the retreat, a front of 30 ft.
    assert (room.length_m, room.width_m) == pytest.approx((22 * 0.3048, 30 * 0.3048))
    # Any wall may be the back: of six corners from the second to the third.
    room = read_job(outlined(folder, demo_text, KITCHEN + "back_wall = [2, 3]\n")).rooms[0]
    assert room.area_m2 == pytest.approx(552 * 0.09290304)
    plain = 'length = "30 ft"\nwidth = "22 ft"\n' + DRAIN
    room = read_job(outlined(folder, demo_text, plain)).rooms[0]
    assert room.area_m2 == pytest.approx(660 * 0.09290304)
    assert (room.length_m, room.width_m) == pytest.approx((30 * 0.3048, 22 * 0.3048))


@pytest.mark.parametrize(
    ("shape", "key", "said"),
    [
        (
            f"outline = {ring((0, 0), (9, 9), (9, 0), (0, 9))}\n",
            "rooms[1].outline",
            "crosses itself near 4 ft 6 in/4 ft 6 in; name the corners one after the other",
        ),
        (
            f"outline = {ring((0, 0), (9, 9))}\n",
            "rooms[1].outline",
            "at least three corners",
        ),
        (
            KITCHEN + COLUMN.replace('"12 ft"', '"34 ft"'),
            "rooms[1].islands[1]",
            "this island is not inside the room; check its corners",
        ),
        (
            KITCHEN + COLUMN[:-2] + "," + COLUMN.partition("[")[2],
            "rooms[1].islands[2]",
            "this island lies over another",
        ),
        (
            KITCHEN + f"stop_lines = [{ring((30, 0), (30, 9))}]\n",
            "rooms[1].stop_lines[1]",
            "does not run over the floor",
        ),
        (
            'outline = [["0 ft", "-1 ft"], ["9 ft", "0 ft"], ["9 ft", "9 ft"]]\n',
            "rooms[1].outline[1]",
            "a corner lies below 0; measure from where no corner lies below 0",
        ),
        (  # A counter from wall to wall: the crew could not go round it.
            KITCHEN + f"islands = [{ring((0, 6), (24, 6), (24, 9), (0, 9))}]\n",
            "rooms[1].islands[1]",
            "this leaves the floor in 2 pieces, with no way between them",
        ),
        (  # Two that meet, and 1 in is no passage.
            KITCHEN
            + f"islands = [{ring((0, 6), (12, 6), (12, 9), (0, 9))},"
            + f" {ring((12.1, 6), (24, 6), (24, 9), (12.1, 9))}]\n",
            "rooms[1].islands[2]",
            "write each piece as a room of its own",
        ),
        (
            KITCHEN + DRAIN[:-2] + f", {ring((22, 15), (0, 15))}]\n",
            "rooms[1].stop_lines[2]",
            "this line stands twice",
        ),
        (
            f"outline = {ring((0, 0), (9, 9), (4, 4))}\n",
            "rooms[1].outline",
            "the corners of this outline lie in one line",
        ),
        (  # Along a wall, and over an island, nothing is coated on either side.
            KITCHEN + f"stop_lines = [{ring((0, 18), (14, 18))}]\n",
            "rooms[1].stop_lines[1]",
            "= '0 ft/18 ft, 14 ft/18 ft': this line does not run over the floor",
        ),
        (
            KITCHEN + COLUMN + f"stop_lines = [{ring((9, 7), (11, 7))}]\n",
            "rooms[1].stop_lines[1]",
            "does not run over the floor",
        ),
        (
            KITCHEN + "back_wall = [1, 3]\n",
            "rooms[1].back_wall",
            "no wall runs between these two corners; give two neighbours of the 6 corners",
        ),
        (KITCHEN + 'group = "wet"\n', "rooms[1].group", "no other room is in this group"),
        (KITCHEN + 'length = "30 ft"\n', "rooms[1].length", "an outline says the size already"),
        ('width = "30 ft"\n', "rooms[1].length", "or give the room an outline"),
        (
            'outline = [["0 ft", "0 ft"], ["9 ft"], ["9 ft", "0 ft"]]\n',
            "rooms[1].outline[2]",
            'write two lengths from one corner of the room, like ["12 ft 6 in", "0 ft"]',
        ),
        (
            'outline = [["0 ft", "0 ft"], ["9", "9 ft"], ["9 ft", "0 ft"]]\n',
            "rooms[1].outline[2]",
            "bare number",
        ),
    ],
)
def test_an_outline_that_cannot_be_is_one_line(folder, demo_text, shape, key, said):
    (shown, *_) = job_faults(outlined(folder, demo_text, shape))
    assert shown.key == key
    assert said in str(shown)
    assert shown.line is not None


def test_weather_that_is_a_folder_is_called_one(folder, demo_text):
    (folder / "heat").mkdir()
    job = folder / "job.toml"
    job.write_text(demo_text.replace('"heat-wave.csv"', '"heat"'), encoding="utf-8")
    (shown, *_) = job_faults(job)
    assert shown.key == "weather.file"
    assert "this is a folder" in str(shown)


@pytest.mark.parametrize(
    ("zone", "north", "east", "key", "said"),
    [
        ("America/New_York", 40.78, 73.88, "longitude", "did you mean -73.88?"),
        ("America/New_York", -40.78, -73.88, "latitude", "did you mean 40.78?"),
        ("America/New_York", -73.88, 40.78, "longitude", "seem to have changed places"),
        ("Europe/Madrid", -3.7, 40.42, "longitude", "seem to have changed places"),
        ("Australia/Sydney", 33.87, 151.21, "latitude", "did you mean -33.87?"),
        ("America/New_York", 48.14, 11.58, "longitude", "check it, or the time zone"),
        # Philadelphia on the clock of Los Angeles, three hours off.
        ("America/Los_Angeles", 39.95, -75.17, "longitude", "check it, or the time zone"),
        ("UTC", 40.78, -73.88, "longitude", "check it, or the time zone"),
    ],
)
def test_coordinates_that_do_not_lie_in_the_time_zone_are_caught(
    folder, demo_text, zone, north, east, key, said
):
    job = folder / "job.toml"
    text = demo_text.replace("= -73.88", f"= {east}").replace("= 40.78\n", f"= {north}\n")
    job.write_text(text.replace("America/New_York", zone))
    (shown, *_) = job_faults(job)
    assert shown.key == f"site.{key}"
    assert f"this {key} does not lie in {zone}" in str(shown)
    assert said in str(shown)


@pytest.mark.parametrize(
    # Towns at the far ends of their zones.
    ("zone", "north", "east"),
    [
        ("Asia/Shanghai", 39.47, 75.99),
        ("America/Anchorage", 71.29, -156.79),
        ("America/Sao_Paulo", -31.8, -52.3),
        ("Europe/Madrid", 42.2, -8.7),
        ("US/Eastern", 25.76, -80.19),
        ("Pacific/Auckland", -46.4, 168.4),
    ],
)
def test_the_ends_of_a_zone_are_taken(folder, demo_text, zone, north, east):
    job = folder / "job.toml"
    text = demo_text.replace("= -73.88", f"= {east}").replace("= 40.78\n", f"= {north}\n")
    job.write_text(text.replace("America/New_York", zone))
    assert [f for f in job_faults(job) if f.key and f.key.startswith("site")] == []
