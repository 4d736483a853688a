"""Crews that come and go, shifts, and ways out, a little on either side of each limit."""

from __future__ import annotations

from datetime import UTC, time
from types import SimpleNamespace as Made

import pytest
from made_floors import NIGHT_S, at

from cureplan.inputs.job.model import Shift
from cureplan.judge import arrival_rules, people_rules
from cureplan.judge.people_rules import Task

# People


def arrival(who="Ana", call=0.0, leaves=480.0, people=1, first=45.0, **more):
    stops = more.pop("stops", (Made(stage="pour", room="Bar", first_task=at(first)),))
    return Made(
        who=who, call=at(call), leaves=at(leaves), people=people, stops=stops,
        roles=more.pop("roles", ("rake",)),
    )  # fmt: skip


def at_night(*arrivals, calls=(), ice=(), **crew):
    crew = {
        "setup_s": 2700.0, "changeover_s": 900.0, "rest_s": 36_000.0, "people": (),
        "most_s": lambda _: 10 * 3600.0, **crew,
    }  # fmt: skip
    return Made(
        plan=Made(
            arrivals=arrivals, calls=calls, chill=Made(rooms=ice),
            job=Made(crew=Made(**crew), site=Made(zone=UTC), access=Made(begins=at(-120.0))),
            night=None, warnings=(),
        )
    )  # fmt: skip


@pytest.mark.parametrize(
    ("came", "said"),
    [
        (arrival(), None), (arrival(call=-5.0), None), (arrival(call=-10.0), "before"),
        (arrival(call=2.0), "odd minute"), (arrival(call=-0.05), "odd minute"),
        (arrival(call=50.0), "before"), (arrival(call=45.0), None),
        (arrival(leaves=600.0), None), (arrival(leaves=600.02), None),
        (arrival(leaves=600.03), "longer than 10 h"), (arrival(stops=()), None),
        (arrival(call=-5.0, first=45.02), None),
        (arrival(call=-5.0, first=45.025), None), (arrival(call=-5.0, first=45.04), "before"),
    ],
)  # fmt: skip
def test_a_stay_begins_a_set_up_early_and_ends_within_the_longest_shift(came, said):
    told = [f.what for f in arrival_rules._check_stays(at_night(came), "Ana", [came])]
    assert [said in what for what in told] == ([] if said is None else [True])


@pytest.mark.parametrize(
    ("second_call", "roles", "count"),
    [(1080.0, ("rake",), 0), (1075.0, ("rake",), 1), (1075.0, ("ice",), 0)],
)
def test_between_two_stays_lies_a_rest_but_for_an_errand_with_ice(second_call, roles, count):
    stays = [
        arrival(),
        arrival(call=second_call, leaves=1500.0, first=second_call + 45.0, roles=roles),
    ]
    told = list(arrival_rules._check_stays(at_night(*stays), "Ana", stays))
    assert len(told) == count
    tight = [arrival(), arrival(call=1080.0, leaves=1500.0, first=1125.0)]
    for rest_s, found in ((36_001.5, 0), (36_002.0, 1)):
        judged = at_night(*tight, rest_s=rest_s)
        assert len(list(arrival_rules._check_stays(judged, "Ana", tight))) == found
    judged = at_night(*tight, rest_s=None, most_s=lambda _: None)
    assert list(arrival_rules._check_stays(judged, "Ana", tight)) == []


@pytest.mark.parametrize(
    ("came", "count"),
    [
        ((arrival(),), 0), ((arrival(call=45.0, first=45.0),), 0),
        ((arrival(call=45.01, first=46.0),), 1), ((arrival(leaves=300.0),), 0),
        ((arrival(leaves=299.98),), 0), ((arrival(leaves=299.975),), 0),
        ((arrival(leaves=299.96),), 1),
        ((arrival(who="Bo"),), 1), ((arrival(), arrival()), 1),
    ],
)  # fmt: skip
def test_who_is_called_by_name_is_there_from_first_to_last_task_once(came, count):
    call = Made(
        role="rake", names=("Ana",), people=1, room="Bar", stage="pour", first_task=at(45.0),
        last_task=at(300.0),
    )  # fmt: skip
    assert len(list(arrival_rules._check_call(at_night(*came), call))) == count


@pytest.mark.parametrize(("people", "count"), [(2, 0), (3, 0), (1, 1)])
def test_of_a_role_that_is_counted_as_many_come_as_are_called(people, count):
    call = Made(
        role="vacuum", names=(), people=2, room="Bar", stage="vacuum", first_task=at(45.0),
        last_task=at(300.0),
    )  # fmt: skip
    judged = at_night(arrival(who="topcoat", people=people))
    assert len(list(arrival_rules._check_call(judged, call))) == count


def pails(begins=-45.0, ends=-30.0, room="Bar"):
    return Made(stage="ice", room=room, first_task=at(begins), last_task=at(ends))


@pytest.mark.parametrize(
    ("came", "due", "count"),
    [
        # A quarter of an hour each, done when they are due or sooner, a second and a half off.
        (arrival(call=-60.0, leaves=-30.0), -30.0, 0),
        (arrival(call=-45.0, leaves=0.0), -30.0, 0),
        (arrival(call=-44.0, leaves=0.0), -30.0, 1),
        (arrival(call=-60.0, leaves=-30.02), -30.0, 0),
        (arrival(call=-60.0, leaves=-30.025), -30.0, 0),
        (arrival(call=-60.0, leaves=-30.04), -30.0, 1),
        (arrival(call=-60.0, leaves=0.0), 300.0, 0),
        (arrival(call=-60.0, leaves=0.0), -30.02, 0),
        (arrival(call=-60.0, leaves=0.0), -30.04, 1),
    ],
)  # fmt: skip
def test_somebody_is_there_when_pails_go_into_ice(came, due, count):
    came.stops, came.roles = (pails(),), ("ice",)
    judged = at_night(came, ice=(Made(room="Bar", in_ice_by=at(due)),))

    def told():
        return [f for f in arrival_rules.check_arrivals(judged) if "pails" in f.what]

    assert len(told()) == count
    came.stops = (pails(room="Hall"),)
    assert len(told()) == 1


@pytest.mark.parametrize(("lasts", "count"), [(15.0, 0), (14.98, 0), (14.975, 1), (14.96, 1)])
def test_pails_of_a_floor_take_a_quarter_of_an_hour(lasts, count):
    came = arrival(call=-60.0, leaves=0.0, roles=("ice",), stops=(pails(-30.0 - lasts),))
    judged = at_night(came, ice=(Made(room="Bar", in_ice_by=at(-30.0)),))
    assert len(list(arrival_rules.check_arrivals(judged))) == count


@pytest.mark.parametrize(
    ("begins", "ends", "count"),
    [
        (0.0, 30.0, 0), (0.0, 30.02, 0), (0.0, 30.025, 0), (0.0, 30.03, 1),
        (45.0, 60.0, 0), (44.97, 60.0, 1),
        (0.0, 300.0, 1), (33.0, 40.0, 1),
    ],
)  # fmt: skip
def test_nobody_puts_pails_in_ice_and_is_elsewhere(begins, ends, count):
    work = Made(stage="primer", room="Hall", first_task=at(begins), last_task=at(ends))
    one = arrival(call=-60.0, leaves=300.0, stops=(pails(30.0, 45.0), work))
    judged = at_night(one, ice=(Made(room="Bar", in_ice_by=at(45.0)),), rest_s=None)
    told = [f for f in arrival_rules.check_arrivals(judged) if "while at primer" in f.what]
    assert len(told) == count
    if count:
        assert told[0].off_by == pytest.approx(min(ends, 45.0) - max(begins, 30.0))
    # Nor on an errand of his own while he stays for other work; others may.
    for who, found in (("Ana", count), ("Bo", 0)):
        errand = arrival(who=who, call=30.0, leaves=45.0, stops=(pails(30.0, 45.0),),
                         roles=("ice",))  # fmt: skip
        other = arrival(call=-60.0, leaves=300.0, stops=(work,))
        judged = at_night(
            errand, other, ice=(Made(room="Bar", in_ice_by=at(45.0)),), rest_s=None
        )
        told = [f for f in arrival_rules.check_arrivals(judged) if "while at" in f.what]
        assert len(told) == found


def outside(rooms="Bar", ice=-30.0, access=0.0):
    values = {
        "rooms": rooms, "in_ice_at": at(ice).isoformat(), "access_at": at(access).isoformat()
    }  # fmt: skip
    return Made(code="warn.ice_outside", values=values)


@pytest.mark.parametrize(
    ("stop", "warnings", "count"),
    [
        # Pails alone are seen to before the access, and the plan says which and since when.
        (pails(), (outside(),), 0), (pails(), (), 1), (pails(), (outside("Hall"),), 2),
        (pails(), (outside("Bar; Hall"),), 1), (pails(0.0, 15.0), (), 0),
        (pails(-0.02, 15.0), (), 0), (pails(-0.025, 15.0), (), 0), (pails(-0.03, 15.0), (), 1),
        (pails(0.0, 15.0), (outside(),), 1), (pails(), (outside(ice=-30.02),), 0),
        (pails(), (outside(ice=-30.025),), 0),
        (pails(), (outside(ice=-30.03),), 1), (pails(), (outside(access=0.03),), 1),
        (Made(stage="pour", room="Bar", first_task=at(-45.0), last_task=at(-30.0)), (), 1),
        (Made(stage="pour", room="Bar", first_task=at(-0.02), last_task=at(30.0)), (), 0),
    ],
)  # fmt: skip
def test_what_is_done_before_the_access_are_pails_outside_and_said(stop, warnings, count):
    judged = at_night(arrival(stops=(stop,)))
    judged.plan.warnings, judged.plan.job.access.begins = warnings, at(0.0)
    assert len(list(arrival_rules._check_outside(judged))) == count
    # On the night the access has begun long since.
    judged.plan.night = Made()
    assert list(arrival_rules._check_outside(judged)) == []


# Crews, shifts and ways


def task(begins, ends, *, name="Bar", label="pour", group=None, **more):
    floor = Made(name=name, zone=UTC, room=Made(group=group), **more)
    return Task(floor=floor, label=label, begins_s=NIGHT_S + begins, ends_s=NIGHT_S + ends)


def with_crew(**crew):
    given = {"changeover_s": 900.0, "group_changeover_s": 300.0, "setup_s": 2700.0, **crew}
    access = Made(begins=at(-120.0), open_by=at(24 * 60.0))
    return Made(
        plan=Made(job=Made(crew=Made(**given), site=Made(zone=UTC), access=access), night=None)
    )


@pytest.mark.parametrize(
    ("closed", "found"),
    [
        # Closed for two minutes less, which is what is let pass of windows.
        (task(600.0, 1320.0), True), (task(600.0, 721.5), False), (task(600.0, 722.0), True),
        (task(1198.5, 9000.0), False), (task(1198.0, 9000.0), True), (task(0.0, 100.0), False),
    ],
)  # fmt: skip
def test_nobody_crosses_a_closed_floor_for_longer_than_two_roundings(closed, found):
    assert bool(list(people_rules._check_crossing(task(600.0, 1200.0), closed))) == found


@pytest.mark.parametrize(
    ("minutes", "inside"),
    [
        (0.0, True),
        (-0.02, True),
        (-0.025, True),
        (-0.03, False),
        (600.0, True),
        (600.02, True),
        (600.025, True),
        (600.03, False),
    ],
)
def test_a_shift_holds_its_ends(minutes, inside):
    shifts = (Shift(begins=time(20), ends=time(6)),)
    found = people_rules.in_shift(with_crew(), shifts, NIGHT_S + 60.0 * minutes)
    assert (found is not None) == inside


@pytest.mark.parametrize(
    ("before", "after", "between_s"),
    [
        (task(0, 60, group="a"), task(99, 999, group="a"), 300.0),
        (task(0, 60, group="a"), task(99, 999, group="b"), 900.0),
        (task(0, 60, group="a"), task(99, 999), 900.0),
        (task(0, 60), task(99, 999), 900.0),
        (task(0, 60, group="a", label="primer"), task(99, 999, group="a"), 900.0),
        (task(0, 60, group="a"), task(99, 999, group="a", label="coat 1"), 900.0),
        (
            task(0, 60, group="a", label="primer"), task(99, 999, group="a", label="primer"),
            900.0,
        ),
    ],
)  # fmt: skip
def test_a_crew_moves_over_inside_a_group_from_pour_to_pour_as_the_job_says(
    before, after, between_s
):
    assert people_rules._between_s(with_crew(), before, after) == between_s
    assert people_rules._between_s(with_crew(group_changeover_s=None), before, after) == 900.0
    for begins_s, count in ((60.0 + between_s - 6.0, 0), (60.0 + between_s - 6.5, 1)):
        moved = task(begins_s, begins_s + 600.0, label=after.label)
        moved.floor.room.group = after.floor.room.group
        told = people_rules._check_one_crew(with_crew(), "pours", [moved, before])
        assert len(list(told)) == count


@pytest.mark.parametrize(
    ("begins_s", "count"), [(60.0 + 300.0 + 150.0, 0), (60.0 + 300.0 + 151.0, 1)]
)
def test_rooms_of_a_group_follow_each_other_within_two_minutes_and_a_half(begins_s, count):
    tasks = [
        task(0.0, 60.0, group="a"),
        task(begins_s, begins_s + 60.0, group="a", name="Hall"),
        task(9000.0, 9060.0, name="Store"),
    ]
    judged = with_crew()
    assert len(list(people_rules._check_groups(judged, tasks))) == count
    judged.plan.night = Made()
    assert list(people_rules._check_groups(judged, tasks)) == []


@pytest.mark.parametrize(
    ("begins", "ends", "rules"),
    [
        (45.0, 600.0, []), (44.9, 600.0, []), (44.89, 600.0, ["starts at"]),
        (45.0, 600.1, []), (45.0, 600.11, ["ends at"]), (-1.0, 60.0, ["starts 17 Jul"]),
    ],
)  # fmt: skip
def test_work_begins_a_set_up_after_its_shift_and_ends_with_it(begins, ends, rules):
    shifts = (Shift(begins=time(20), ends=time(6)),)
    one = task(60.0 * begins, 60.0 * ends)
    told = list(people_rules._check_shift(with_crew(), "pours", one, shifts))
    assert [word in f.what for f, word in zip(told, rules, strict=True)] == [True] * len(rules)


def test_ways_out_lead_over_the_floors_behind_the_next_one():
    rooms = [Made(name="a", way_out=["b"]), Made(name="b", way_out=["c"]),
             Made(name="c", way_out=["a"]), Made(name="d", way_out=[])]  # fmt: skip
    judged = Made(plan=Made(job=Made(rooms=rooms)))
    assert people_rules.on_the_way_out(judged, ["b"]) == {"a", "b", "c"}
    assert people_rules.on_the_way_out(judged, ["street"]) == {"street"}
    assert people_rules.on_the_way_out(judged, []) == set()
