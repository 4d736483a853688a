"""A job with a primer: planned, confirmed, and found out when it is bent."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from plan_mutations import minutes, rules, shifted

from cureplan.api import get_weather, make_plan, read_job
from cureplan.desk.moved import Change, PlanInHand
from cureplan.inputs.cards.reader import read_card
from cureplan.judge import judge
from cureplan.judge.verdict import _check_covered
from cureplan.planning.plan.model import plan_from_json, plan_to_json

ONE_ROOM = Path(__file__).parents[1] / "pinned" / "jobs" / "one-room.toml"


@pytest.fixture(scope="module", params=[0.0, 0.3], ids=["plain", "broadcast"])
def primed(request):
    job = read_job(ONE_ROOM)
    primer = replace(read_card("slab-primer"), broadcast_kg_m2=request.param)
    job = replace(job, cards=replace(job.cards, primer=primer))
    return make_plan(job, now=job.access.begins - timedelta(hours=8), what_helps=False)


def test_it_is_planned_and_confirmed(primed):
    assert judge(primed) == ()
    (primer,) = primed.primers
    (room,) = primed.rooms
    assert primer.end < primer.slurry_opens <= room.pour_start <= primer.slurry_closes
    (call,) = [call for call in primed.calls if call.role == "primer"]
    assert call.call == primer.start - timedelta(seconds=primed.job.crew.setup_s)
    assert (call.first_task, call.last_task) == (primer.start, primer.end)
    assert "primer" in primed.decisions.answers[0].headline[0].code
    assert any(source.label == "Rolled slab primer" for source in primed.sources)


def test_it_has_a_spreadsheet_a_bar_and_a_tick(primed):
    from cureplan.output.charts.layout import rooms_chart
    from cureplan.output.sheet.page import sheet_html
    from cureplan.output.sheet.write import render_sheets

    files = render_sheets(primed, pictures=False)
    head, row = files["primers.csv"].decode("utf-8-sig").splitlines()
    assert head.startswith("room,work,start,end,slurry not before,slurry not after")
    assert row.startswith("Bakery,primer,")
    (bar,) = [span for span in rooms_chart(primed).spans if span.kind == "primer"]
    assert (bar.begins, bar.ends) == (primed.primers[0].start, primed.primers[0].end)
    page = sheet_html(primed)
    assert page.count("data-ready=") >= 5
    said = "loose grains off" if primed.primers[0].broadcast else "Profile 4 to 5"
    assert said in page


def test_one_more_primer_hand_is_a_way_out(primed):
    from cureplan.planning.schedule.changes import more_hands

    more = more_hands(primed.job, "primer")
    assert more.job.crew.primer == primed.job.crew.primer + 1
    assert more.say.code == "relax.more_primer"


def test_it_keeps_its_place_in_the_file(primed):
    assert plan_from_json(plan_to_json(primed)) == primed


def with_primer(plan, **changes):
    return replace(plan, primers=tuple(replace(p, **changes) for p in plan.primers))


BENT = {
    "left out": lambda plan: replace(plan, primers=()),
    "twice": lambda plan: replace(plan, primers=plan.primers * 2),
    "an hour later": lambda plan: replace(
        plan, primers=tuple(shifted(p, minutes(60)) for p in plan.primers)
    ),
    "a window opened wider": lambda plan: with_primer(
        plan, slurry_opens=plan.primers[0].slurry_opens - minutes(10)
    ),
    "a window that closes later": lambda plan: with_primer(
        plan, slurry_closes=plan.primers[0].slurry_closes + minutes(10)
    ),
    "walked on sooner": lambda plan: with_primer(
        plan, walkable=plan.primers[0].walkable - minutes(10)
    ),
    "done sooner": lambda plan: with_primer(plan, end=plan.primers[0].end - minutes(5)),
    "one batch less": lambda plan: with_primer(plan, batches=plan.primers[0].batches - 1),
    "grains or none": lambda plan: with_primer(plan, broadcast=not plan.primers[0].broadcast),
    "another slab": lambda plan: with_primer(plan, slab_c=plan.primers[0].slab_c + 1),
    "a quicker batch": lambda plan: with_primer(
        plan, batch_minutes=plan.primers[0].batch_minutes - 1
    ),
    "workable for longer": lambda plan: with_primer(
        plan, batch_working_min=plan.primers[0].batch_working_min + 1
    ),
}


@pytest.mark.parametrize("bend", BENT.values(), ids=BENT)
def test_what_is_bent_is_found(primed, bend):
    assert "primers" in rules(bend(primed))


def test_nobody_primes_uncalled(primed):
    uncalled = tuple(call for call in primed.calls if call.role != "primer")
    assert "calls" in rules(replace(primed, calls=uncalled))


def test_the_pour_crew_is_not_in_two_places(primed):
    (primer,) = primed.primers
    (room,) = primed.rooms
    over = shifted(primer, room.pour_start - primer.start)
    assert "pours" in rules(replace(primed, primers=(over,)))


@pytest.mark.thorough
def test_a_cold_slab_makes_the_slurry_wait_longer():
    job = read_job(ONE_ROOM)
    waits = []
    for set_point_c in (22.0, 30.0):
        cards = replace(job.cards, primer=read_card("slab-primer"))
        rooms = tuple(
            replace(room, climate="held", set_point_c=set_point_c, slab_reading=None)
            for room in job.rooms
        )
        building = replace(job.building, ground_c=set_point_c)
        changed = replace(job, cards=cards, rooms=rooms, building=building)
        plan = make_plan(changed, now=job.access.begins - timedelta(hours=8), what_helps=False)
        waits.append(plan.primers[0].slurry_opens - plan.primers[0].end)
    # 8 K at 50 kJ/mol are a factor exp(50000/8.314 (1/295.15 - 1/303.15)) = 1.71; the slurry's
    # own way to its first
    # and last patch does not stretch with it.
    assert waits[0] > 1.4 * waits[1]


def test_a_primer_outside_the_hours_given_is_found(primed):
    (primer,) = primed.primers
    for late_s, found in ((60.0, [1.0]), (0.0, [])):
        first_s = primer.start.timestamp() + late_s
        told = _check_covered(primed, primer.room, first_s, first_s + 1e6)
        assert [each.off_by for each in told] == found


def test_a_primed_floor_is_seen_in_other_bays_at_the_desk(primed):
    # Another number of bays is another number of kits: the primer is laid anew by patches.
    now = primed.decisions.made_at
    weather = get_weather(read_job(ONE_ROOM), now=now)
    hand = PlanInHand(primed.job, primed, now=now, weather=weather)
    kits = set()
    for bays in (1, 2, 3):
        _, _, seen = hand.moved(Change(bays=bays))
        kits.add(len(seen.pours[0].times.pour_s))
        assert len(seen.primers[0].reached["slurry_opens"]) == len(seen.pours[0].times.pour_s)
    assert len(kits) > 1
