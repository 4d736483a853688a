"""Jobs planned whole as a foreman would write them, held against figures worked by hand.

At 21 °C throughout (see `steady`): two stations, a bucket each 3.5 min, 9.5 L a kit at 3 mm.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace

import pytest
from steady import write_job, write_weather

from cureplan.api import make_plan, read_job
from cureplan.core.errors import InputError
from cureplan.inputs.tables.night_log import NightEvent, read_night_log_text
from cureplan.judge import judge
from cureplan.planning.floor.layers import floor_layers, floor_tasks, lead_works
from cureplan.planning.replan.begun import coved_s
from cureplan.planning.replan.coats import cove_states
from cureplan.planning.replan.replan import night_site, replan

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


COVE = """[cove]
height = "4 in"
material = "1.2 lb/ft"
pace = "30 ft/h"
when = "before"
"""


def job_of(folder, rooms: str, *swaps: tuple[str, str]):
    write_weather(folder / "weather.csv")
    path = write_job(folder, *swaps)
    text = path.read_text(encoding="utf-8").partition("[[rooms]]")[0]
    path.write_text(text + rooms, encoding="utf-8")
    return read_job(path)


@pytest.mark.thorough
def test_an_l_shaped_kitchen_with_an_island_a_drain_and_a_cove(tmp_path):
    job = job_of(tmp_path, KITCHEN, ("[policy]", COVE + "[policy]"))
    plan = make_plan(job, now=NOW, what_helps=False)
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
    # 122 ft of cove at 30 ft an hour by the one edge hand, set up by 19:45: 4 h 4 min, and the
    # first liquids follow. 146.4 lb of mortar are 66.4 kg, three packages of 25 kg.
    cove = next(call for call in plan.calls if call.stage == "cove")
    assert (cove.role, cove.people, f"{cove.call:%H:%M}") == ("edge", 1, "19:00")
    assert (f"{cove.first_task:%H:%M}", f"{cove.last_task:%H:%M}") == ("19:45", "23:49")
    assert abs(room.pour_start - cove.last_task) < timedelta(minutes=1)
    (told,) = (r for r in plan.decisions.answers[0].reasons if r.code == "order.cove")
    assert told.values["start_at"] == cove.first_task.isoformat()
    assert need.cove_kg == pytest.approx(146.4 * 0.45359237)
    assert {line.code: line.values["packages"] for line in plan.takeoff.order}["buy.cove"] == 3
    # Who comes for it stays for the pour, and nobody else comes so early.
    edge, *others = sorted(plan.arrivals, key=lambda one: one.call)
    assert [stop.stage for stop in edge.stops] == ["cove", "pour"]
    assert f"{others[0].call:%H:%M}" == "23:00"
    assert judge(plan) == ()
    # On the night, half of it is up half-way through, and only the rest is planned again.
    tasks = floor_tasks(floor_layers(plan.job.rooms[0], primed=False, cove="before"))
    here = SimpleNamespace(tasks=tasks, room=plan.job.rooms[0], job=plan.job)
    lasts = cove.last_task - cove.first_task

    def up_s(share: float, *events: NightEvent) -> float:
        now_s = (cove.first_task + share * lasts).timestamp()
        states = cove_states(plan, events, now_s=now_s)
        return coved_s(here, plan, SimpleNamespace(now_s=now_s, coved=states))

    def ticked(event: str, share: float) -> NightEvent:
        at = cove.first_task + share * lasts
        return NightEvent(source="log", line=2, at=at, event=event, room="Kitchen")

    for share in (-0.5, 0.0, 0.5, 1.0, 2.0):
        done_s = 14640.0 * min(1.0, max(0.0, share))
        assert up_s(share) == pytest.approx(done_s, abs=1.0)
    # Ticked as begun a quarter late, a quarter of it is up by half-time; done is done, and
    # may have been sooner. A tick before a begin, or of a room without cove, is refused.
    begun = ticked("cove begun", 0.25)
    assert up_s(0.5, begun) == pytest.approx(14640.0 / 4, abs=1.0)
    assert up_s(0.5, begun, ticked("cove done", 0.4)) == pytest.approx(14640.0)
    assert up_s(0.5, ticked("cove done", 0.4)) == pytest.approx(14640.0)
    with pytest.raises(InputError, match="the cove of Kitchen was begun after that"):
        up_s(0.5, begun, ticked("cove done", 0.2))
    with pytest.raises(InputError, match="the plan has no cove there"):
        up_s(0.5, replace(begun, room="Bar"))
    night_again(plan, cove)
    late = replace(cove, last_task=cove.last_task + timedelta(minutes=9))
    calls = [late if call.stage == "cove" else call for call in plan.calls]
    assert {found.rule for found in judge(replace(plan, calls=calls))} == {"calls"}


def night_again(plan, cove) -> None:
    """Ticked as done an hour sooner, nobody is called for it any more, and the pour stays;
    begun an hour late, the pour waits for the 4 h 4 min it takes."""
    hour = timedelta(hours=1)
    for event, at, up in (
        ("cove done", cove.last_task - hour, None),
        ("cove begun", cove.first_task + hour, cove.last_task + hour),
    ):
        text = f"at,event,room,bucket,value,note\n{at.isoformat()},{event},Kitchen,,,\n"
        events = read_night_log_text(text, source=Path("log.csv"), site=night_site(plan))
        again = replan(plan, events, now=at + timedelta(seconds=30)).plan
        left = [call.last_task for call in again.calls if call.stage == "cove"]
        due = plan.rooms[0].pour_start if up is None else up
        assert timedelta(0) <= again.rooms[0].pour_start - due < timedelta(minutes=2)
        assert len(left) == (up is not None)
        assert judge(again) == ()


def test_a_cove_after_the_pour_leads_up_to_the_first_topcoat(tmp_path):
    after = COVE.replace("before", "after")
    job = job_of(tmp_path, KITCHEN + 'cove = "90 ft"\n', ("[policy]", after + "[policy]"))
    room = job.rooms[0]
    _, task, _ = floor_tasks(floor_layers(room, primed=False, cove="after"))
    cove, vacuum = lead_works(room, job, task)
    # Three of the topcoat crew put up 30 ft an hour each: 90 ft take an hour; 540 sq ft at
    # 30 sq ft a minute each, 6 min to vacuum.
    assert (cove.layer.bears, cove.lasts_s) == ("foot_traffic", pytest.approx(3600.0))
    assert vacuum.lasts_s == pytest.approx(360.0)


@pytest.mark.parametrize(
    ("rooms", "cove", "key", "problem"),
    [
        ('cove = "90 ft"\n', "", "rooms[1].cove", "no cove base"),
        ('group = "a"\n', COVE, "rooms[1].group", "no cove is put up"),
        ('cove = "900 ft"\n', COVE, "rooms[1].cove", "more cove than the room has edges"),
        ("", COVE.replace("1.2 lb/ft", "1.2 lb"), "cove.material", "a mass along a wall"),
        ("", COVE.replace("before", "later"), "cove.when", "before"),
    ],
)
def test_a_cove_that_cannot_be_is_refused(tmp_path, rooms, cove, key, problem):
    twin = KITCHEN.replace("Kitchen", "Scullery") + 'group = "a"\n'
    with pytest.raises(InputError) as refused:
        job_of(tmp_path, KITCHEN + rooms + twin, ("[policy]", cove + "[policy]"))
    assert (refused.value.key, problem in str(refused.value)) == (key, True)
