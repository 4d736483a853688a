"""Rooms of one group: the way between them, and how their floors meet.

By hand (see `steady`): at 21 °C the last bucket of a pour is smooth 450 s after its filler
went in; the strip of the row before takes 37 s of grains, its own patch 90 s: 577 s. With no
changeover the next room's liquids follow at the next whole minute; stirred, hauled and raked
take 510 s, and the edge, wet for 960 s, is dead for 2.1 to 3.2 minutes. At 13 °C it lives
1.77 times as long (E = 50 kJ/mol: exp(6014 K x (1/286.15 - 1/294.15))): 9 to 10.2 are left.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

import pytest
from steady import write_job, write_weather

from cureplan.api import make_plan, read_job
from cureplan.judge import judge

NOW = datetime.fromisoformat("2013-07-17T12:00:00+00:00")
ROOM = """
[[rooms]]
name = "{name}"
length = "{length} m"
width = "4 m"
use = "storage"
open_for = "feet"
topcoats = 1
way_out = []
{group}
"""
WING = 'group = "wing"'


def wing(folder, temp_c: float, *swaps: tuple[str, str]):
    write_weather(folder / "weather.csv", temp_c)
    ground = ('ground = "21 C"', f'ground = "{temp_c} C"')
    way = ('changeover = "15 min"', 'changeover = "15 min"\ngroup_changeover = "0 min"')
    path = write_job(folder, ground, way, *swaps)
    rooms = [("Hall", 6, WING), ("Bay", 3, WING), ("Store", 3, "")]
    text = path.read_text(encoding="utf-8").partition("[[rooms]]")[0]
    text += "".join(ROOM.format(name=n, length=m, group=g) for n, m, g in rooms)
    path.write_text(text, encoding="utf-8")
    return read_job(path)


@pytest.mark.parametrize(("temp_c", "wet"), [(21.0, False), (13.0, True)])
def test_a_group_meets_wet_or_at_a_stop_line(tmp_path, temp_c, wet):
    plan = make_plan(wing(tmp_path, temp_c), now=NOW, what_helps=False)
    rooms = sorted(plan.rooms, key=lambda room: room.order)
    gaps = {(a.room, b.room): b.pour_start - a.pour_end for a, b in pairwise(rooms)}
    for (one, other), gap in gaps.items():
        inside = {one, other} == {"Hall", "Bay"}
        assert gap >= timedelta(0) if inside else gap >= timedelta(minutes=15)
        assert not inside or gap <= timedelta(minutes=2)
    assert any({"Hall", "Bay"} == set(pair) for pair in gaps)
    (seam,) = (r for room in rooms for r in room.reasons if r.code.startswith("pour.seam"))
    assert seam.code == ("pour.seam_wet" if wet else "pour.seam_stop")
    if wet:
        # What is left of 2 min beyond it: a kit in the cold warms itself less.
        assert 9.0 < seam.values["spare_min"] < 12.5
    else:
        assert -3.2 < seam.values["spare_min"] < -2.1
    assert judge(plan) == ()
    # The judge asks for the way between other rooms, and for one go inside the group.
    slow = replace(plan.job.crew, group_changeover_s=None)
    late = replace(plan, job=replace(plan.job, crew=slow))
    assert any(f.rule == "pours" for f in judge(late))
