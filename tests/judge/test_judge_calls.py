"""Pours, ways out and calls of a crew made up by hand, at both sides of each limit."""

from __future__ import annotations

from datetime import UTC, time
from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_floors import NIGHT_S, at

from cureplan.inputs.job.model import Shift
from cureplan.judge import arrival_rules, people_rules
from cureplan.judge.milestones import Step
from cureplan.judge.people_rules import Task

NIGHTLY = (Shift(begins=time(20), ends=time(6)),)
DAILY = (Shift(begins=time(7), ends=time(15)),)


def case_of(*floors: Made, calls=(), **crew: object) -> Made:
    """Set up in 45 min, moved over in 15; the night's crew from 20:00, the day's from 7:00."""
    crew = {
        "setup_s": 2700.0, "changeover_s": 900.0, "group_changeover_s": None, "people": (),
        "pour_shifts": NIGHTLY, "topcoat_shifts": DAILY, "topcoat": 2, "mixer": 1, "runner": 0,
        "rake": 3, "smoother": 1, "broadcaster": 2, "edge": 1, "primer": 1,
        "crews_of": lambda person: person, **crew,
    }  # fmt: skip
    access = Made(begins=at(-120.0), open_by=at(48 * 60.0))
    job = Made(
        crew=Made(**crew), site=Made(zone=UTC), access=access, rooms=(),
        cards=Made(slurry=Made(filler_mix_s=300.0)),
    )  # fmt: skip
    by_name = {floor.name: floor for floor in floors}
    plan = Made(job=job, calls=calls, night=None)
    return Made(plan=plan, floors=floors, floor=by_name.get)


def poured(name: str, begins: float, ends: float, *, order: int = 1, **more: object) -> Made:
    """A floor poured from one minute of the night to another."""
    room = Made(group=more.pop("group", None), not_before=more.pop("held", None), way_out=())
    plan = Made(room=name, pour_start=at(begins), pour_end=at(ends), order=order)
    given = {"primers": (), "coats": (), **more}
    return Made(
        name=name, zone=UTC, plan=plan, room=room, begins_s=NIGHT_S + 60 * begins,
        ends_pour_s=NIGHT_S + 60 * ends, **given,
    )  # fmt: skip


@pytest.fixture
def no_leads(monkeypatch):
    monkeypatch.setattr(people_rules, "lead_s", lambda *_: 0.0)
    monkeypatch.setattr(people_rules, "leading_up", lambda *_: ())


# Pours


@pytest.mark.parametrize(
    ("orders", "off_by"),
    [((1, 2), []), ((2, 1), [1.0, 1.0]), ((4, 2), [3.0]), ((1, 5), [3.0]), ((0, 2), [1.0])],
)
def test_floors_are_numbered_in_the_order_they_are_poured(no_leads, orders, off_by):
    floors = [
        poured("Bar", 60.0, 120.0, order=orders[0]),
        poured("Hall", 135.0, 200.0, order=orders[1]),
    ]
    found = list(people_rules.check_pours(case_of(*floors[::-1])))
    assert [each.off_by for each in found] == off_by


def primer(begins: float, ends: float) -> Made:
    return Made(stage="primer", start=at(begins), end=at(ends))


@pytest.mark.parametrize(
    ("people", "found"),
    [
        # 20:50 to 21:05 and pouring from 21:10 on: 10 min are lacking to move over.
        ((), [10.0]),
        ((("pour", "primer"),), [10.0]),
        ((("pour", "primer", "topcoat"),), [10.0]),
        ((("pour",), ("primer",)), []),
        ((("pour",), ("primer",), ("primer", "pour")), [10.0]),
    ],
)
def test_one_crew_that_primes_and_pours_moves_over(no_leads, people, found):
    floor = poured("Bar", 70.0, 120.0, primers=(primer(50.0, 65.0),))
    said = list(people_rules.check_pours(case_of(floor, people=people)))
    assert [each.off_by for each in said] == found


@pytest.mark.parametrize(
    ("held", "count"), [(None, 0), (60.0, 0), (60.02, 0), (60.03, 1), (90.0, 1)]
)
def test_no_pour_begins_before_the_hour_it_is_held_until(no_leads, held, count):
    floor = poured("Bar", 60.0, 120.0, held=None if held is None else at(held))
    assert len(list(people_rules.check_pours(case_of(floor)))) == count


GROUP_S = {"changeover_s": 900.0, "group_changeover_s": 300.0}


@pytest.mark.parametrize(
    ("rooms", "off_by"),
    [
        # Ends and the way over of 5 min: each begins when it is due, the last 4 min late.
        ([("a", 0, 60), ("a", 65, 90), ("a", 95, 120)], []),
        ([("a", 0, 60), ("a", 65, 90), ("a", 99, 120)], [4.0]),
        ([("a", 0, 60), ("a", 68, 90), ("a", 99, 120)], [3.0, 4.0]),
        # A stranger in between: 15 min of changeover before and after it.
        ([("a", 0, 60), (None, 75, 90), ("a", 105, 120)], []),
        ([("a", 0, 60), (None, 85, 90), ("a", 105, 120)], [10.0]),
        # Before the first and after the last of a group anything may lie.
        ([("b", 0, 10), ("a", 100, 110), ("a", 115, 120), (None, 300, 330)], []),
        ([(None, 0, 10), (None, 100, 110)], []),
    ],
)  # fmt: skip
def test_rooms_of_a_group_are_poured_in_one_go(rooms, off_by):
    tasks = [
        Task(
            floor=poured(f"{n}", begins, ends, group=group), label="pour",
            begins_s=NIGHT_S + 60 * begins, ends_s=NIGHT_S + 60 * ends,
        )
        for n, (group, begins, ends) in enumerate(rooms)
    ]  # fmt: skip
    found = people_rules._check_groups(case_of(**GROUP_S), tasks[::-1])
    assert [each.off_by for each in found] == off_by


def test_work_outside_every_shift_is_off_by_all_of_it():
    floor = poured("Bar", 700.0, 730.0)
    task = Task(
        floor=floor, label="pour", begins_s=NIGHT_S + 60 * 700, ends_s=NIGHT_S + 60 * 730
    )
    (found,) = people_rules._check_shift(case_of(), "pours", task, NIGHTLY)
    assert found.off_by == 30.0


# Ways


def test_tools_are_carried_in_a_set_up_ahead_of_a_shift_and_a_changeover_later(no_leads):
    # Two pours in one night; two coats on one day, one on the next.
    bar = poured(
        "Bar", 60.0, 120.0, primers=(primer(50.0, 55.0),),
        coats=(Made(stage="coat 1", start=at(720.0), end=at(730.0)),
               Made(stage="coat 2", start=at(2160.0), end=at(2170.0))),
    )  # fmt: skip
    hall = poured(
        "Hall", 200.0, 230.0, coats=(Made(stage="coat 1", start=at(800.0), end=at(810.0)),)
    )
    ahead = {
        (task.floor.name, task.label): (task.begins_s - NIGHT_S) / 60
        for task in people_rules._with_tools(case_of(hall, bar))
    }
    assert ahead == {
        ("Bar", "primer"): 5.0, ("Bar", "pour"): 15.0, ("Hall", "pour"): 185.0,
        ("Bar", "coat 1"): 675.0, ("Hall", "coat 1"): 785.0, ("Bar", "coat 2"): 2115.0,
    }  # fmt: skip


def test_a_floor_is_closed_from_each_layer_until_it_bears_feet():
    floor = poured(
        "Bar", 60.0, 120.0, primers=(primer(50.0, 55.0),),
        coats=(Made(stage="coat 1", start=at(720.0)),),
    )  # fmt: skip
    cured = Made(walkable_by_stage_s={"pour": 9.0, "primer": 8.0, "coat 1": 7.0})
    closed = {
        task.label: ((task.begins_s - NIGHT_S) / 60, task.ends_s)
        for task in people_rules._closed(floor, cured)
    }
    assert closed == {"pour": (60.0, 9.0), "primer": (50.0, 8.0), "coat 1": (720.0, 7.0)}


@pytest.mark.parametrize(
    ("behind", "begins", "crossed"),
    [
        # The hall is closed from 21:00 until it bears feet at 23:00; two minutes are let pass.
        ("Hall", 240.0, []), ("Hall", 175.0, ["Bar"]), ("Store", 175.0, []), ("Hall", 30.0, []),
    ],
)  # fmt: skip
def test_nobody_carries_tools_over_a_floor_that_is_closed(no_leads, behind, begins, crossed):
    # The bar ends 15 min after it began. Its tools come 15 min ahead, or 45 where it is first.
    bar, hall = poured("Bar", begins, begins + 15.0), poured("Hall", 60.0, 100.0)
    bar.room.way_out = (behind,)
    case = case_of(bar, hall)
    case.plan.job.rooms = (
        Made(name="Bar", way_out=(behind,)), Made(name="Hall", way_out=())
    )  # fmt: skip
    cured = {
        "Hall": Made(walkable_by_stage_s={"pour": NIGHT_S + 3600.0 * 3}),
        "Bar": Made(walkable_by_stage_s={"pour": NIGHT_S + 3600.0 * 9}),
    }
    found = list(people_rules.check_way_out(case, cured))
    assert [each.room for each in found] == crossed
    # From 22:40 on they are on a floor that is closed until 22:58.
    assert [each.off_by for each in found] == [18.0] * len(crossed)


@pytest.mark.parametrize(
    ("made", "label"),
    [(people_rules._primer_tasks, "primer"), (people_rules.coat_tasks, "coat 1")],
)
def test_a_task_begins_with_what_leads_up_to_it(monkeypatch, made, label):
    monkeypatch.setattr(people_rules, "lead_s", lambda _, __, stage: {label: 300.0}[stage])
    layer = Made(stage=label, start=at(60.0), end=at(75.0))
    floor = poured("Bar", 60.0, 120.0, primers=(layer,), coats=(layer,))
    (task,) = made(None, floor)
    assert (task.begins_s - NIGHT_S, task.ends_s - NIGHT_S) == (3300.0, 4500.0)
    monkeypatch.setattr(people_rules, "lead_s", lambda *_: 300.0)
    pour = people_rules._pour_task(None, floor)
    assert (pour.begins_s - NIGHT_S, pour.ends_s - NIGHT_S) == (3300.0, 7200.0)


# Calls


def call_of(**changed: object) -> Made:
    """Three of the rake, called at 20:15 for a pour from 21:00 to 22:00."""
    given = {
        "room": "Bar", "stage": "pour", "role": "rake", "call": at(15.0),
        "first_task": at(60.0), "last_task": at(120.0), "people": 3, "names": (),
        "busy_frac": 0.5, **changed,
    }  # fmt: skip
    return Made(**given)


@pytest.mark.parametrize(
    ("changed", "found"),
    [
        ({}, []),
        ({"people": 5}, [("5 called as rake for pour, the crew has 3", 2.0)]),
        ({"people": 2}, [("2 called", 1.0)]),
        ({"role": "runner", "people": 0}, []),
        ({"busy_frac": 0.0}, []),
        ({"busy_frac": 1.0}, []),
        ({"busy_frac": 1.25}, [("share at work", 0.25)]),
        ({"busy_frac": -0.25}, [("share at work", 0.25)]),
        ({"call": at(61.0)}, [("called at", 1.0)]),
        ({"call": at(60.0)}, []),
        ({"last_task": at(59.0)}, [("last task", 1.0)]),
        ({"last_task": at(60.0)}, []),
        # A call is rounded to five minutes: it may stand as long before its shift.
        ({"call": at(-5.0)}, []),
        ({"call": at(-6.0)}, [("outside access and every shift", 66.0)]),
        ({"call": at(601.0), "first_task": at(630.0), "last_task": at(640.0)},
         [("outside access and every shift", 29.0)]),
    ],
)  # fmt: skip
def test_a_call_comes_in_its_shift_for_as_many_as_there_are(monkeypatch, changed, found):
    monkeypatch.setattr(people_rules, "_check_lead", lambda *_: ())
    said = list(people_rules._check_call(case_of(), call_of(**changed)))
    assert [each.off_by for each in said] == [off_by for _, off_by in found]
    assert [what in each.what for each, (what, _) in zip(said, found, strict=True)] == (
        [True] * len(found)
    )


ANA, BO, CY = (
    Made(name="ana", roles=("foreman", "rake")), Made(name="bo", roles=("topcoat",)),
    Made(name="cy", roles=("rake", "mixer")),
)  # fmt: skip


@pytest.mark.parametrize(
    ("people", "role", "able"),
    [
        ((ANA, BO, CY), "rake", {"ana", "cy"}), ((ANA, BO, CY), "topcoat", {"bo"}),
        ((ANA, BO, CY), "vacuum", {"bo"}), ((ANA, BO, CY), "foreman", {"ana"}),
        ((BO, ANA, CY), "foreman", {"ana"}), ((BO, CY), "foreman", {"bo"}),
        ((BO, CY), "runner", set()), ((ANA,), "vacuum", set()),
    ],
)  # fmt: skip
def test_who_can_do_a_role(people, role, able):
    case = case_of(people=people)
    assert people_rules._able(case, role) == able
    assert people_rules._people(case, role) == len(able)


@pytest.mark.parametrize(
    ("names", "people", "off_by"),
    [
        (("ana", "cy"), 2, None), (("ana",), 1, None), (("ana",), 2, 1.0),
        (("ana", "ana"), 2, 1.0), (("ana", "bo"), 2, 1.0), (("bo", "dee"), 2, 2.0),
        ((), 0, 1.0), (("ana", "cy"), 1, 1.0),
    ],
)  # fmt: skip
def test_as_many_are_named_as_are_called_and_each_can_do_it(names, people, off_by):
    call = call_of(names=names, people=people)
    found = list(people_rules._check_names(case_of(people=(ANA, BO, CY)), call))
    assert [each.off_by for each in found] == ([] if off_by is None else [off_by])


@pytest.mark.parametrize(
    ("stage", "there", "crew", "group", "called", "told"),
    [
        # Set up 45 min ahead of what leads up to a stage for 10 min, or moved over in 15.
        ("coat 1", True, {}, None, -55.0, False),
        ("coat 1", True, {}, None, -45.0, True),
        ("coat 1", True, {}, None, -25.0, False),
        ("coat 1", False, {}, None, -45.0, False),
        ("coat 1", False, {}, None, -55.0, True),
        ("pour", True, {}, None, -45.0, False),
        ("pour", True, {}, None, -55.0, True),
        # Inside a group in 2 min, where it is one.
        ("pour", True, {"group_changeover_s": 120.0}, "line", -2.0, False),
        ("pour", True, {"group_changeover_s": 120.0}, None, -2.0, True),
        ("pour", True, {}, "line", -2.0, True),
        ("pour", False, {"group_changeover_s": 120.0}, "line", -2.0, True),
    ],
)
def test_a_call_is_a_set_up_or_a_move_ahead(
    monkeypatch, stage, there, crew, group, called, told
):
    monkeypatch.setattr(people_rules, "lead_s", lambda *_: 600.0)
    floors = (poured("Bar", 0.0, 60.0, group=group),) if there else ()
    found = people_rules._check_lead(
        case_of(*floors, **crew), call_of(stage=stage), NIGHT_S + 60 * called, NIGHT_S
    )
    assert bool(list(found)) == told


@pytest.mark.parametrize(
    ("stage", "role", "shifts"),
    [
        ("pour", "rake", NIGHTLY), ("primer", "primer", NIGHTLY), ("cove", "edge", NIGHTLY),
        ("cove", "primer", NIGHTLY), ("cove", "topcoat", DAILY), ("vacuum", "vacuum", DAILY),
        ("coat 1", "topcoat", DAILY),
    ],
)  # fmt: skip
def test_a_call_is_for_the_shift_of_its_crew(stage, role, shifts):
    assert people_rules._shifts(case_of(), call_of(stage=stage, role=role)) is shifts


def test_each_role_is_needed_from_its_first_bucket_to_its_last(monkeypatch):
    # The coat is led up to by 10 min of vacuuming.
    lead = Step(stage="vacuum", role="vacuum", material=None)
    leads = {"coat 1": ((lead, 600.0),)}
    monkeypatch.setattr(
        people_rules,
        "leading_up",
        lambda _, __, stage: tuple(s for s, _ in leads.get(stage, ())),
    )
    monkeypatch.setattr(people_rules, "step_s", lambda *_: 600.0)
    monkeypatch.setattr(
        people_rules, "lead_s", lambda _, __, stage: sum(s for _, s in leads.get(stage, ()))
    )

    def minutes(*given: float) -> np.ndarray:
        return NIGHT_S + 60 * np.array(given)

    planned = Made(
        liquids_s=minutes(0, 10), filler_s=minutes(3, 13), pour_s=minutes(9, 19),
        raked_s=minutes(11, 21), smoothed_s=minutes(14, 24), broadcast_s=minutes(20, 30),
    )  # fmt: skip
    floor = poured(
        "Bar", 0.0, 30.0, planned=planned, primers=(primer(-60.0, -40.0),),
        coats=(Made(stage="coat 1", start=at(720.0), end=at(740.0)),),
    )  # fmt: skip
    work = {
        (stage, role): ((begins_s - NIGHT_S) / 60, (ends_s - NIGHT_S) / 60)
        for stage, role, begins_s, ends_s in people_rules._work(case_of(floor), floor)
    }
    # Filler is mixed in for 5 min.
    assert work == {
        ("pour", "foreman"): (0.0, 30.0), ("pour", "mixer"): (0.0, 18.0),
        ("pour", "runner"): (8.0, 19.0), ("pour", "rake"): (9.0, 21.0),
        ("pour", "edge"): (9.0, 24.0), ("pour", "smoother"): (11.0, 24.0),
        ("pour", "broadcaster"): (14.0, 30.0), ("primer", "primer"): (-60.0, -40.0),
        ("vacuum", "vacuum"): (710.0, 720.0), ("coat 1", "topcoat"): (720.0, 740.0),
    }  # fmt: skip


@pytest.mark.parametrize(
    ("calls", "off_by"),
    [
        ([call_of()], []), ([], [1.0]), ([call_of()] * 2, [1.0]), ([call_of()] * 3, [2.0]),
        ([call_of(room="Hall")], [1.0]), ([call_of(stage="cove")], [1.0]),
        ([call_of(role="edge")], [1.0]), ([call_of(), call_of(role="edge")], []),
        ([call_of(first_task=at(61.0))], [1.0]), ([call_of(last_task=at(118.0))], [2.0]),
        ([call_of(first_task=at(60.1), last_task=at(119.9))], []),
    ],
)  # fmt: skip
def test_each_role_is_called_once_for_all_of_its_work(calls, off_by):
    floor = poured("Bar", 60.0, 120.0)
    found = people_rules._check_cover(
        case_of(floor, calls=calls), floor, "pour", "rake", NIGHT_S + 3600, NIGHT_S + 7200
    )
    assert [each.off_by for each in found] == pytest.approx(off_by)


def test_nobody_is_called_for_a_role_that_the_crew_has_not(monkeypatch):
    work = [("pour", "rake", NIGHT_S, NIGHT_S), ("pour", "runner", NIGHT_S, NIGHT_S)]
    monkeypatch.setattr(people_rules, "_work", lambda *_: work)
    floor = poured("Bar", 60.0, 120.0)
    (found,) = people_rules.check_calls(case_of(floor))
    assert "rake is called 0 times" in found.what


def test_each_stays_as_long_as_his_own_shift_allows():
    # Ana may stay 10 h, whoever has no name of his own 8: nine hours are one too many.
    ana = Made(name="ana")
    crew = Made(
        people=(Made(name="bo"), ana), setup_s=0.0, changeover_s=0.0, rest_s=None,
        most_s=lambda person: 36_000.0 if person is ana else 28_800.0,
    )  # fmt: skip
    case = Made(plan=Made(job=Made(crew=crew)))
    for who, found in (("ana", []), ("bo", [60.0]), ("topcoat", [60.0])):
        stay = Made(who=who, call=at(0.0), leaves=at(540.0), stops=(), roles=("rake",))
        said = list(arrival_rules._check_stays(case, who, [stay]))
        assert [each.off_by for each in said] == found


def test_what_leads_up_to_a_task_is_done_one_after_the_other(monkeypatch):
    takes_s = {"cove": 600.0, "vacuum": 300.0}
    leads = tuple(Step(stage=stage, role="topcoat", material=None) for stage in takes_s)
    monkeypatch.setattr(people_rules, "leading_up", lambda *_: leads)
    monkeypatch.setattr(people_rules, "step_s", lambda _, __, step: takes_s[step.stage])
    task = Task(floor=None, label="coat 1", begins_s=1000.0, ends_s=5000.0)
    work = people_rules._leads(None, None, task)
    assert [(stage, begins_s, ends_s) for stage, _, begins_s, ends_s in work] == [
        ("cove", 1000.0, 1600.0), ("vacuum", 1600.0, 1900.0)
    ]  # fmt: skip
