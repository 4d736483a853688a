"""Fourteen rooms over two nights by nine people, planned whole: figures worked by hand.

At 21 °C throughout (see `steady`): 9.5 L a kit at 3 mm are 3.17 m², two stations mix a bucket
each 3.5 min. Some fifteen seconds of processor time, so not among the others.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from steady import JOB, write_weather

from cureplan.api import make_plan, read_job
from cureplan.judge import judge

NOW = datetime.fromisoformat("2013-07-17T12:00:00+00:00")
HEADS = ("mixer", "runner", "rake", "smoother", "broadcaster", "edge", "topcoat")
PEOPLE = {
    "Ana": ["foreman", "mixer"], "Bo": ["mixer"], "Cy": ["runner", "edge"], "Di": ["rake"],
    "Ed": ["smoother"], "Fay": ["broadcaster"], "Gus": ["broadcaster"], "Hal": ["topcoat"],
    "Ida": ["topcoat"], "Jo": ["topcoat"],
}  # fmt: skip
SIDES_M = (
    (6, 4), (5, 3), (4, 3), (4, 4), (3, 3), (6, 3), (5, 4), (4, 2.5), (3, 2), (5, 3), (4, 3),
    (3, 3), (6, 2), (8, 1.5),
)  # fmt: skip
KITS = (8, 5, 4, 6, 3, 6, 7, 4, 2, 5, 4, 3, 4, 4)


def job_text() -> str:
    head = JOB.partition("[[rooms]]")[0]
    heads = [f"{role} = {count}" for role in HEADS for count in (1, 2, 3)]
    lines = [line for line in head.splitlines() if line not in heads]
    text = "\n".join(lines).replace("remedies = []", 'remedies = ["hour"]') + "\n"
    text = text.replace("open_by = 2013-07-21T06", "open_by = 2013-07-22T06")
    for name, roles in PEOPLE.items():
        text += f'[[people]]\nname = "{name}"\nroles = {roles}\n'.replace("'", '"')
    for number, (length, width) in enumerate(SIDES_M, start=1):
        last = number == len(SIDES_M)
        name, way = ("Corridor", []) if last else (f"Room {number}", ["Corridor"])
        text += f'[[rooms]]\nname = "{name}"\nlength = "{length} m"\nwidth = "{width} m"\n'
        text += f'use = "service"\nway_out = {way}\n'.replace("'", '"')
        text += 'group = "line"\n' if number < 3 else ""
        text += "open_by = 2013-07-21T12:00:00\n" if number == 3 else ""
    return text


@pytest.mark.timeout(1200)
def test_fourteen_rooms_two_nights_one_group_and_a_deadline_of_its_own(tmp_path):
    write_weather(tmp_path / "weather.csv", days=18)
    (tmp_path / "job.toml").write_text(job_text(), encoding="utf-8")
    plan = make_plan(read_job(tmp_path / "job.toml"), now=NOW, what_helps=False)
    rooms = {room.room: room for room in plan.rooms}
    need = {room.room: room for room in plan.takeoff.rooms}
    assert tuple(need[room.name].kits for room in plan.job.rooms) == KITS
    # 190 m² at a pound a square foot, 4.882 kg/m², in bags of 50 lb: 40.9.
    assert plan.takeoff.aggregate_bags == 41
    # Whoever carries trims as well: 120 s there and back, and in the smallest room 10 m of
    # edge to two buckets at 3.048 m a minute, 98 s.
    assert rooms["Room 9"].cadence_limit == "haul"
    assert rooms["Room 9"].cadence_min * 60 == pytest.approx(120 + 5 / 3.048 * 60, abs=1)
    assert rooms["Room 1"].cadence_min * 60 == pytest.approx(210, abs=1)
    # A night of 10 h less set-up holds no 14 rooms: 65 buckets 3.5 min apart and more, and
    # fourteen times some 10 min for the last of a room and a quarter of an hour to the next.
    nights = {room.room: (room.pour_start - timedelta(hours=12)).date() for room in plan.rooms}
    assert len({*nights.values()}) == 2
    # The group goes in one go: its second room a quarter of an hour after the first.
    first, second = sorted((rooms["Room 1"], rooms["Room 2"]), key=lambda r: r.pour_start)
    between_s = (second.pour_start - first.pour_end).total_seconds()
    assert 15 * 60 - 1 <= between_s <= 15 * 60 + 120
    assert rooms["Room 3"].opens <= datetime.fromisoformat("2013-07-21T12:00:00-04:00")
    # The corridor is everybody's way out, and its crew's last floor of its night.
    same = [room for room in plan.rooms if nights[room.room] == nights["Corridor"]]
    assert rooms["Corridor"].order == max(room.order for room in same)
    assert plan.labour is not None
    assert plan.labour.heads == len(PEOPLE)
    assert judge(plan) == ()
