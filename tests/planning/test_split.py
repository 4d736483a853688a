"""A room that no shift holds is poured in parts, parted at a stop line; or said to be too long.

By hand, at 21 °C: a hall of 20 m x 10 m at 3 mm takes 600 L, 64 kits of 9.5 L. Two stations
mix one each 3.5 min: 3.7 h and more, where a shift of 4 h leaves 3.25 h after the set-up.
Half of it takes 32 kits, 1.9 h.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time

import pytest
from steady import write_job, write_weather

from cureplan.api import get_weather, make_plan, read_job
from cureplan.core.errors import NoFeasiblePlanError
from cureplan.inputs.job.model import Shift
from cureplan.judge import judge
from cureplan.planning.floor.outline import parts_at
from cureplan.planning.plan.choose import Chosen
from cureplan.planning.plan.parts import in_parts
from cureplan.planning.schedule.construct import Schedule, prepare_pours
from cureplan.planning.schedule.floor_model import Tables

NOW = datetime.fromisoformat("2013-07-17T12:00:00+00:00")
HALL = """
[[rooms]]
name = "Hall"
length = "20 m"
width = "10 m"
use = "storage"
topcoats = 1
way_out = ["Corridor"]
{lines}

[[rooms]]
name = "Corridor"
length = "4 m"
width = "3 m"
use = "storage"
topcoats = 1
way_out = []

[[rooms]]
name = "Store"
length = "4 m"
width = "3 m"
use = "storage"
topcoats = 1
way_out = ["Hall"]
"""
DRAIN = 'stop_lines = [[["0 m", "10 m"], ["10 m", "10 m"]]]'
SHORT = ('from = "19:00", to = "05:00"', 'from = "19:00", to = "23:00"')


def hall(folder, lines: str):
    write_weather(folder / "weather.csv")
    path = write_job(folder, SHORT)
    text = path.read_text(encoding="utf-8").partition("[[rooms]]")[0]
    path.write_text(text + HALL.format(lines=lines), encoding="utf-8")
    return read_job(path)


@pytest.mark.thorough
def test_a_hall_too_large_for_a_shift_is_split_at_its_drain(tmp_path):
    plan = make_plan(hall(tmp_path, DRAIN), now=NOW, what_helps=False)
    parts = {room.room: room for room in plan.rooms if room.room.startswith("Hall")}
    assert list(parts) == ["Hall (1 of 2)", "Hall (2 of 2)"]
    assert [room.kits for room in parts.values()] == [32, 32]
    assert len({room.pour_start.date() for room in parts.values()}) == 2
    # Who leaves the part at the back crosses the other; who leaves Store crosses both.
    ways = {room.name: room.way_out for room in plan.job.rooms}
    assert ways["Hall (1 of 2)"] == ("Hall (2 of 2)", "Corridor")
    assert ways["Store"] == ("Hall (1 of 2)", "Hall (2 of 2)")
    said = {reason.code: reason.values for reason in plan.decisions.answers[0].reasons}
    assert said["order.split"] == {"room": "Hall", "rooms": "; ".join(parts)}
    assert judge(plan) == ()


@pytest.mark.thorough
def test_a_hall_that_only_just_fits_its_shift_is_split_too(tmp_path):
    # By hand: 3.88 h of pouring in the 3.92 h that a shift to 23:40 leaves after the set-up.
    # A crew that begins a normal draw of 10 min late is done in time on few nights.
    job = hall(tmp_path, DRAIN)
    longer = (Shift(begins=time(19), ends=time(23, 40)),)
    job = replace(
        job,
        rooms=(replace(job.room("Hall"), way_out=()),),
        crew=replace(job.crew, pour_shifts=longer),
    )
    tables = Tables(pours=prepare_pours(job, get_weather(job, now=NOW)))
    nothing = Schedule(pours=(), coats=(), failures=(), required_s=0.0)
    none_yet = Chosen(schedule=nothing, odds=None)
    issued_s = NOW.timestamp()
    split, _, chosen = in_parts(job, tables, none_yet, issued_s=issued_s)
    assert [room.name for room in split.rooms] == ["Hall (1 of 2)", "Hall (2 of 2)"]
    assert chosen.odds is not None
    assert chosen.odds.shifts_frac >= job.policy.confidence
    # A shift to 05:00 holds it whole, whatever the crew does.
    night = (Shift(begins=time(19), ends=time(5)),)
    whole = replace(job, crew=replace(job.crew, pour_shifts=night))
    assert in_parts(whole, tables, none_yet, issued_s=issued_s)[0] is whole


@pytest.mark.thorough
def test_a_hall_without_a_stop_line_is_said_to_be_too_long(tmp_path):
    with pytest.raises(NoFeasiblePlanError, match="Hall") as refused:
        make_plan(hall(tmp_path, ""), now=NOW, what_helps=False)
    assert "3 h 15 min" in str(refused.value)


@pytest.mark.parametrize("turned", [False, True])
def test_parts_have_the_area_of_the_whole(tmp_path, turned):
    """Also of an L-shape with an island on the line, its back wall at either end."""
    room = hall(tmp_path, DRAIN).rooms[0]
    outline = replace(
        room.outline,
        corners_m=((0, 0), (10, 0), (10, 12), (6, 12), (6, 20), (0, 20)),
        islands_m=(((2, 9), (4, 9), (4, 11), (2, 11)),),
        stop_lines_m=(((0, 10), (1, 10)), ((0, 15), (6, 15))),
        back_wall=(4, 5) if turned else (0, 1),
    )
    parts = parts_at(outline, outline.stop_lines_m[:1])
    # By hand: 10 x 12 + 6 x 8 less an island of 2 x 2, cut at 10 m and at the island: the
    # drain is drawn out to the island alone, which leaves the floor in one piece.
    assert [round(part.area_m2, 2) for part in parts] == [164.0]
    parts = parts_at(outline, [((0, 10), (10, 10))])
    areas = [98.0, 66.0]
    assert [round(part.area_m2, 2) for part in parts] == (areas[::-1] if turned else areas)
    assert all(part.turn_rad == pytest.approx(outline.turn_rad) for part in parts)
    back = parts[0 if turned else 1]
    assert list(back.stop_lines_m) == [((0.0, 15.0), (6.0, 15.0))]
