"""Jobs planned whole as a foreman would write them, held against figures worked by hand.

At 21 °C throughout (see `steady`): two stations, a bucket each 3.5 min, 9.5 L a kit at 3 mm.
"""

from __future__ import annotations

from datetime import datetime

import pytest
from steady import write_job, write_weather

from cureplan.api import make_plan, read_job
from cureplan.judge import judge

NOW = datetime.fromisoformat("2013-07-17T12:00:00+00:00")
# 24 ft by 18 ft and 10 ft by 12 ft, a column of 4 ft by 3 ft, a drain across at 15 ft.
KITCHEN = """
[[rooms]]
name = "Kitchen"
use = "food preparation"
way_out = []
outline = [["0 ft", "0 ft"], ["24 ft", "0 ft"], ["24 ft", "30 ft"], ["14 ft", "30 ft"],
           ["14 ft", "18 ft"], ["0 ft", "18 ft"]]
islands = [[["8 ft", "6 ft"], ["12 ft", "6 ft"], ["12 ft", "9 ft"], ["8 ft", "9 ft"]]]
stop_lines = [[["0 ft", "15 ft"], ["22 ft", "15 ft"]]]
"""


def job_of(folder, rooms: str, *swaps: tuple[str, str]):
    write_weather(folder / "weather.csv")
    path = write_job(folder, *swaps)
    text = path.read_text(encoding="utf-8").partition("[[rooms]]")[0]
    path.write_text(text + rooms, encoding="utf-8")
    return read_job(path)


def test_an_l_shaped_kitchen_with_an_island_and_a_drain(tmp_path):
    plan = make_plan(job_of(tmp_path, KITCHEN), now=NOW, what_helps=False)
    (room,), (need,) = plan.rooms, plan.takeoff.rooms
    # 24 x 18 + 10 x 12 - 4 x 3 = 540 sq ft = 50.17 m²; x 3 mm = 150.5 L; / 9.5 L = 15.8.
    assert room.area_m2 == pytest.approx(540 * 0.3048**2)
    assert room.kits == 16
    # Walls of 24 + 30 + 10 + 12 + 14 + 18 ft, and 14 ft round the column.
    assert plan.job.rooms[0].edge_m == pytest.approx(122 * 0.3048)
    # A pound a square foot in bags of 50 lb; 6 gal and 3.6 gal in batches of 2 gal.
    assert need.aggregate_bags == 11
    assert need.coat_batches == (3, 2)
    # A bucket covers 33.75 sq ft: two make a row of 24 ft deep enough for 60 cm.
    assert room.buckets_per_row == 2
    # Rows beside the column are cut across elsewhere than those before them: a patch then
    # meets both of the next row, the last of them two buckets later than one straight ahead.
    # Of 390 s in hand 420 s go, and 5 s that 3.135 m² take the rake longer than 3 m² do.
    assert room.margin_min * 60 == pytest.approx(390 - 420 - 5, abs=3)
    # Nobody is on the column, and every bucket of the bay lies on the floor once.
    assert len(room.patches) == 16
    # 16 buckets at 3.5 min and the last one's 12 min or so: mix, haul, rake, smooth, grains.
    lasts = (room.pour_end - room.pour_start).total_seconds() / 60
    assert 15 * 3.5 + 10 < lasts < 15 * 3.5 + 16
    assert judge(plan) == ()
