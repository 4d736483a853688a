"""Who may set foot where, and when: fresh coats, tools carried in, ways behind ways.

At 21 °C throughout, every layer keeps just the times of its card (fast-slurry and
clear-topcoat, invented): both bear feet after 5 h, a coat may be laid on another after
3.5 to 4 h.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import pytest
from steady import write_job, write_weather

from cureplan.api import get_weather, make_plan, read_job
from cureplan.judge import judge
from cureplan.planning.odds.risk import assess
from cureplan.planning.plan.model import Plan
from cureplan.planning.schedule.construct import construct, prepare_pours

FEET = timedelta(hours=5)
NOW = datetime.fromisoformat("2013-07-17T12:00:00+00:00")
ROOMS = """
[[rooms]]
name = "{name}"
length = "{length} m"
width = "3 m"
use = "storage"
topcoats = 1
way_out = [{ways}]
"""
DOUBT = """
[doubt]
slurry_times = "6 %"
topcoat_times = "6 %"
"""
BEHIND = {"Store": ("Passage", "Corridor"), "Passage": ("Corridor",), "Corridor": ()}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with weather that never changes."""
    made = tmp_path_factory.mktemp("ways")
    write_weather(made / "weather.csv")
    return made


def job_of(folder, *swaps, rooms: str = "", name: str = "job.toml"):
    """The job that can be reckoned by hand, with other rooms where some are given."""
    path = write_job(folder, *swaps, name=name)
    if rooms:
        text = path.read_text(encoding="utf-8").partition("[[rooms]]")[0]
        path.write_text(text + rooms, encoding="utf-8")
    return read_job(path)


def chained(folder, **first_ways: str):
    """Store over Passage, Passage over Corridor."""
    ways = {"Store": '"Passage"', "Passage": '"Corridor"', "Corridor": ""} | first_ways
    lengths = {"Store": 4, "Passage": 5, "Corridor": 6}
    rooms = "".join(
        ROOMS.format(name=name, length=lengths[name], ways=ways[name]) for name in ways
    )
    return job_of(folder, rooms=rooms + DOUBT, name="chained.toml")


def planned(job) -> Plan:
    return make_plan(job, now=NOW, what_helps=False)


@pytest.mark.parametrize("spiked", [False, True])
def test_a_second_coat_waits_until_the_first_bears_feet(folder, spiked):
    shoes = (
        "topcoat = 3\n",
        "topcoat = 3\nspiked_shoes = true\n" if spiked else "topcoat = 3\n",
    )
    plan = planned(job_of(folder, ('use = "service"', 'use = "food preparation"'), shoes))
    first, second = plan.coats
    waits = second.opens - first.start
    # By hand: 24 m² at 3 x 25 sq ft/min are 3.44 min after 2 min of mixing; the last of
    # 8 patches lies 2 + 3.44 x 7/8 = 5.01 min after the start, and bears feet 5 h later.
    by_hand = FEET + timedelta(minutes=5.01)
    if spiked:
        assert timedelta(hours=3.5) <= waits <= timedelta(hours=4)
        assert second.start - first.start < FEET
    else:
        assert waits.total_seconds() == pytest.approx(by_hand.total_seconds(), abs=5)
    told = {w.values["stage"] for w in plan.warnings if w.code == "warn.spiked"}
    assert told == ({"coat 2"} if spiked else set())
    assert judge(plan) == ()
    # The judge holds the same by itself.
    boots = replace(plan.job, crew=replace(plan.job.crew, spiked_shoes=False))
    found = {finding.rule for finding in judge(replace(plan, job=boots))}
    assert ("coats" in found) == spiked


def crossings(plan: Plan) -> list[str]:
    """Tasks whose ways are not open from when tools go in until the work is done."""
    tasks = {
        "pour": [(r.room, r.pour_start, r.pour_end, r.walkable) for r in plan.rooms],
        "coat": [(c.room, c.start, c.end, c.end + FEET) for c in plan.coats],
    }
    lead = {"pour": timedelta(0), "coat": timedelta(0)}
    closed = [(room, since, until) for rows in tasks.values() for room, since, _, until in rows]
    found = []
    for kind, rows in tasks.items():
        came = None
        for room, begins, ends, _ in sorted(rows, key=lambda row: row[1]):
            # Vacuumed before it is coated, at 3 x 30 sq ft/min.
            area = plan.job.room(room).area_m2
            lead["coat"] = timedelta(minutes=area / (3 * 30 * 0.09290304))
            same = came is not None and begins - came < timedelta(hours=4)
            ahead = timedelta(minutes=15 if same else 45)
            came = ends
            enters = begins - lead[kind] - ahead
            found += [
                f"{room} {kind} over {floor}"
                for floor, since, until in closed
                if floor in BEHIND[room]
                and enters < until - timedelta(minutes=1)
                and since < ends
            ]
    return found


@pytest.mark.thorough
def test_tools_come_in_over_floors_that_bear_feet(folder):
    job = chained(folder)
    plan = planned(job)
    assert crossings(plan) == []
    assert judge(plan) == ()
    # Without set-up and moves the crew comes sooner: the judge minds the tools as well.
    bare = replace(job, crew=replace(job.crew, setup_s=0.0, changeover_s=0.0))
    sooner = planned(bare)
    assert judge(sooner) == ()
    told = judge(replace(sooner, job=plan.job))
    assert any(finding.rule == "way out" for finding in told)
    assert min(c.start for c in sooner.coats) < min(c.start for c in plan.coats)


@pytest.mark.thorough
def test_a_way_behind_a_way_stays_open(folder):
    """Corridor stays dry while Store is poured, and Store while nobody can leave it."""
    job = chained(folder)
    plan = planned(job)
    order = [room.room for room in sorted(plan.rooms, key=lambda room: room.order)]
    assert order == ["Store", "Passage", "Corridor"]
    # Free to go in any order, the largest comes first: the judge finds who crosses it wet.
    loose = planned(chained(folder, Store="", Passage=""))
    assert min(loose.rooms, key=lambda room: room.order).room == "Corridor"
    told = {f.room for f in judge(replace(loose, job=job)) if f.rule == "way out"}
    assert {"Store", "Passage"} <= told


def test_a_room_is_due_when_its_way_in_is(folder):
    job = chained(folder)
    due = datetime.fromisoformat("2013-07-20T18:00:00-04:00")
    rooms = tuple(replace(r, open_by=due if r.name == "Store" else None) for r in job.rooms)
    plan = planned(replace(job, rooms=rooms))
    assert {room.open_by for room in plan.rooms} == {due}
    assert all(room.opens <= due for room in plan.rooms)
    assert judge(plan) == ()


def test_the_odds_count_a_crew_that_waits_with_its_tools(folder):
    job = chained(folder)
    bare = replace(job, crew=replace(job.crew, setup_s=0.0, changeover_s=0.0))
    pours = prepare_pours(bare, get_weather(bare, now=NOW))
    schedule = construct(bare, pours)
    issued_s = NOW.timestamp()
    light, heavy = (
        assess(
            one,
            {name: replace(room, job=one) for name, room in pours.items()},
            schedule,
            issued_s=issued_s,
            members=400,
        ).no_wait_frac
        for one in (bare, job)
    )
    # Planned for even odds without tools: with them in 45 min sooner few nights are left.
    assert heavy < 0.5 * light
