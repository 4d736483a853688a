"""Who comes when and why, on both sides of each rest, break and stay."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

import pytest

from cureplan.core.messages import Message
from cureplan.inputs.job.crew import Person
from cureplan.output.language import Voice
from cureplan.output.view import sources
from cureplan.planning.floor.layers import Layer, Lead, Work
from cureplan.planning.plan import arrivals, calls
from cureplan.planning.plan.model import Arrival, Call, Stop

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()
WHY = Message("call.set_up", {})


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


def crew(*people: Person, **more):
    """Tasks 4 h apart are two stays; a break is half an hour, after 4.5 h of work."""
    names = {person.name: person for person in people}
    given = {
        "people": people, "again_s": 4 * 3600.0, "rest_s": None, "break_for_s": 1800.0,
        "break_after_s": 4.5 * 3600.0,
        "most_s": lambda person: more.get("longest_s", {}).get(person and person.name),
        "holding": lambda role: [p for p in names.values() if role in p.roles],
    }  # fmt: skip
    return Made(**{**given, **{k: v for k, v in more.items() if k != "longest_s"}})


def person(name, *roles):
    return Person(name=name, roles=roles, longest_shift_s=None)


def call(first, last, *, role="rake", called=None, names=(), people=1, room="Bar"):
    return Call(
        role=role, people=people, names=names, room=room, stage="pour",
        call=at(first - 15 if called is None else called), first_task=at(first),
        last_task=at(last), busy_frac=1.0, reason=WHY,
    )  # fmt: skip


def arrival(comes, leaves, *, who="rake", roles=("rake",), people=1, stops=None):
    stops = stops or ((comes + 15, leaves),)
    return Arrival(
        who=who, named=False, people=people, call=at(comes), leaves=at(leaves), roles=roles,
        stops=tuple(
            Stop(role=roles[0], room="Bar", stage="pour", first_task=at(a), last_task=at(b))
            for a, b in stops
        ),
        reason=WHY,
    )  # fmt: skip


# Stays


@pytest.mark.parametrize(
    ("tasks", "stays"),
    [
        (((0, 60), (300, 360)), 1), (((0, 60), (301, 360)), 2),
        (((0, 400), (10, 20), (600, 601)), 1),
        (((0, 60), (200, 260), (500, 600)), 1),
    ],
)  # fmt: skip
def test_what_follows_without_a_rest_belongs_to_the_stay(tasks, stays):
    found = list(arrivals._visits(crew(), [call(a, b) for a, b in tasks]))
    assert len(found) == stays
    assert sum(map(len, found)) == len(tasks)


def test_an_arrival_reaches_from_the_first_call_to_the_last_task():
    theirs = [call(30, 200, people=2), call(20, 90, called=4, people=3, role="vacuum")]
    got = arrivals._arrival(crew(), "rake", theirs)
    # To five minutes, on the early side.
    assert (got.call, got.leaves, got.people) == (at(0), at(200), 3)
    assert [stop.first_task for stop in got.stops] == [at(20), at(30)]
    assert got.roles == ("rake", "topcoat")
    assert arrivals._arrival(crew(person("Ana", "rake")), "Ana", theirs).people == 1


@pytest.mark.parametrize(
    ("comes", "leaves", "longest", "fits"),
    [
        # A stay of 12 h at most: from 0 to 480 it is 8.
        (0, 720, None, True), (0, 721, None, False),
        (-238, 480, None, True), (-241, 480, None, False), (0, 500, 500, True),
        (0, 501, 500, False),
    ],
)  # fmt: skip
def test_a_stay_may_take_in_another_time_up_to_the_longest(comes, leaves, longest, fits):
    who = crew(person("Ana", "rake"), longest_s={"Ana": longest and 60.0 * longest})
    one = arrival(0, 480, who="Ana")
    assert arrivals._short_enough(who, one, at(comes), at(leaves)) == fits


@pytest.mark.parametrize(
    ("first", "second", "roles", "stays"),
    [
        ((0, 60), (150, 200), ("ice",), 1), ((0, 60), (151, 200), ("ice",), 2),
        ((0, 60), (100, 200), ("rake",), 2), ((0, 60), (150, 721), ("ice",), 2),
        ((0, 60), (150, 720), ("ice",), 1),
    ],
)  # fmt: skip
def test_nobody_goes_home_for_an_hour_and_a_half_around_the_ice(first, second, roles, stays):
    found = arrivals._stays(crew(), [arrival(*second, roles=roles), arrival(*first)])
    assert len(found) == stays
    assert found[0].call == at(0)
    if stays == 1:
        assert found[0].leaves == at(second[1])
        assert found[0].roles == ("rake", "ice")
    # Two of another number are not one who stays.
    other = [arrival(*first), arrival(*second, roles=("ice",), people=2)]
    assert len(arrivals._stays(crew(), other)) == 2
    # The ice at 160 is by itself where a stay from there would follow too soon on the first.
    ice = arrival(160, 170, roles=("ice",))
    for rest, stays in ((100, 2), (101, 3)):
        three = [arrival(0, 60), ice, arrival(200, 300)]
        assert len(arrivals._stays(crew(rest_s=60.0 * rest), three)) == stays


@pytest.mark.parametrize(
    ("begins", "ends", "apart"),
    [(70, 80, 10), (60, 70, 0), (30, 40, 0), (-30, -20, 20), (-30, 0, 0)],
)
def test_how_long_lies_between_a_stay_and_another_time(begins, ends, apart):
    got = arrivals._time_between(arrival(0, 60), at(begins), at(ends))
    assert got == timedelta(minutes=apart)


@pytest.mark.parametrize(
    ("begins", "ends", "rested"),
    [
        # 2 h of rest around a stay from 0 to 60.
        (-150, -120, True), (-150, -119, False), (180, 200, True), (179, 200, False),
    ],
)  # fmt: skip
def test_who_comes_in_between_rests_before_and_after(begins, ends, rested):
    who = crew(rest_s=7200.0)
    assert arrivals._rested(who, [arrival(0, 60)], "rake", at(begins), at(ends)) == rested
    assert arrivals._rested(who, [arrival(0, 60)], "runner", at(begins), at(ends))


def busy(who, comes, leaves, *spans, people=1):
    """Somebody on site who is at something else from and until these minutes."""
    return arrival(comes, leaves, who=who, roles=(who,), stops=spans, people=people)


@pytest.mark.parametrize(
    ("stays", "by", "who", "comes", "leaves"),
    [
        # The pails of a floor take 15 min, and the runner sees to them.
        ([("runner", 0, 60)], 60, "runner", 0, 60), ([("runner", 0, 60)], 15, "runner", 0, 60),
        ([("runner", 0, 60), ("rake", 0, 60)], 30, "runner", 0, 60),
        ([("rake", 0, 60), ("runner", 300, 400)], 30, "rake", 0, 60),
        ([("runner", 0, 60)], 14, "runner", -5, 60),
        # Within an hour and a half the runner comes sooner, or stays.
        ([("runner", 0, 60)], -90, "runner", -105, 60),
        ([("runner", 0, 60)], 165, "runner", 0, 165),
        ([("runner", 0, 60)], 166, "runner", 150, 166),
        ([("runner", 0, 60)], -91, "runner", -110, -91),
    ],
)  # fmt: skip
def test_pails_are_seen_to_by_who_is_there_or_comes_soon(stays, by, who, comes, leaves):
    found = [busy(name, a, b, (a + 30, a + 30)) for name, a, b in stays]
    arrivals._ice(crew(), found, "Bar", at(by))
    (got,) = [one for one in found if "ice" in one.roles]
    assert (got.who, got.call, got.leaves) == (who, at(comes), at(leaves))
    stop = next(stop for stop in got.stops if stop.role == "ice")
    assert (stop.first_task, stop.last_task) == (at(by - 15), at(by))


@pytest.mark.parametrize(
    ("stays", "by", "who", "done", "comes"),
    [
        # Free hands until 30, from 60 on, for a second less than a quarter of an hour.
        ([("runner", 0, 99, (30, 60))], 60, "runner", 30, 0),
        ([("runner", 0, 99, (30, 60))], 75, "runner", 75, 0),
        ([("runner", 0, 99, (30, 60))], 74.98, "runner", 30, 0),
        ([("runner", 0, 99, (15, 30), (44.98, 60))], 60, "runner", 15, 0),
        ([("runner", 0, 99, (15, 30), (45, 60))], 60, "runner", 45, 0),
        # The one on site with both hands free comes before a runner who has not.
        ([("runner", 0, 99, (30, 99)), ("rake", 0, 99, (80, 99))], 60, "rake", 60, 0),
        ([("runner", 0, 99, (30, 99)), ("rake", 0, 99, (40, 99))], 60, "runner", 30, 0),
        # That holds to the minute he comes, and to the minute he leaves.
        ([("runner", 0, 99, (30, 99)), ("rake", 45, 99, (80, 99))], 60, "rake", 60, 45),
        ([("runner", 0, 99, (30, 99)), ("rake", 46, 99, (80, 99))], 60, "runner", 30, 0),
        ([("runner", 0, 99, (30, 99)), ("rake", 0, 60, (10, 20))], 60, "rake", 60, 0),
        ([("runner", 0, 99, (30, 99)), ("rake", 0, 59, (10, 20))], 60, "runner", 30, 0),
        # A runner hours away comes for it, unless a rake has a quarter of an hour in his stay.
        ([("runner", 300, 400), ("rake", 45, 99, (80, 99))], 60, "rake", 60, 45),
        ([("runner", 300, 400), ("rake", 46, 99, (80, 99))], 60, "runner", 60, 45),
        ([("runner", 300, 400), ("rake", 0, 99, (15, 99))], 60, "rake", 15, 0),
        ([("runner", 300, 400), ("rake", 0, 99, (14, 99))], 60, "runner", 60, 45),
        # With no time in his stay others on site do it; where they have none, he comes sooner.
        ([("runner", 0, 99, (10, 99)), ("rake", 0, 99, (40, 99))], 60, "rake", 40, 0),
        ([("runner", 0, 99, (10, 99)), ("rake", 0, 99, (14, 99))], 60, "runner", 10, -5),
        # Nor does he come for 50 when a rake on site is free until 45.
        ([("runner", 90, 99, (95, 99)), ("rake", 0, 99, (45, 99))], 50, "rake", 45, 0),
        # Who has gone home is not kept for it, nor called back within his own work.
        ([("rake", 0, 60, (20, 60)), ("runner", 65, 99, (70, 99))], 80, "runner", 70, 55),
    ],
)  # fmt: skip
def test_pails_go_in_ice_by_hands_that_are_free(stays, by, who, done, comes):
    found = [busy(name, a, b, *spans) for name, a, b, *spans in stays]
    arrivals._ice(crew(), found, "Bar", at(by))
    (got,) = [one for one in found if "ice" in one.roles]
    stop = next(stop for stop in got.stops if stop.role == "ice")
    assert (got.who, stop.last_task, got.call) == (who, at(done), at(comes))
    assert stop.last_task - stop.first_task == timedelta(minutes=15)


def test_where_all_hands_are_busy_for_long_somebody_comes_for_the_ice():
    # Due at 200 in the midst of a pour from 20 on: Bo, who is not in it, comes for it.
    by_name = crew(person("Ana", "runner"), person("Bo", "runner"))
    found = [busy("Ana", 0, 300, (20, 300))]
    arrivals._ice(by_name, found, "Bar", at(200))
    assert [(a.who, a.call) for a in found] == [("Ana", at(0)), ("Bo", at(185))]
    # Without him Ana does it before the pour, long before it is due.
    alone = [busy("Ana", 0, 300, (20, 300))]
    arrivals._ice(crew(person("Ana", "runner")), alone, "Bar", at(200))
    assert [stop.last_task for stop in alone[0].stops if stop.role == "ice"] == [at(20)]
    # Two lots of one floor after the other, never at once.
    arrivals._ice(crew(person("Ana", "runner")), alone, "Hall", at(210))
    assert sorted(s.last_task for s in alone[0].stops if s.role == "ice") == [at(5), at(20)]
    assert alone[0].call == at(-10)
    # Where the job names who sees to the ice, it is called for it rather than kept waiting.
    named = crew(person("Ana", "runner"), person("Cy", "ice", "topcoat"))
    found = [busy("Ana", 0, 300, (20, 300)), busy("Cy", 600, 700, (620, 700))]
    arrivals._ice(named, found, "Bar", at(200))
    assert [(a.who, a.call) for a in found if "ice" in a.roles] == [("Cy", at(185))]


@pytest.mark.parametrize(
    ("comes", "leaves", "who", "done"),
    [
        # Bo's hands are free as the pails are due, ten minutes after he leaves; Ana's until 30,
        # where she is there a quarter of an hour before that, and still as they are due.
        (15, 99, "Ana", 30), (16, 99, "Bo", 60), (0, 60, "Ana", 30), (0, 59, "Bo", 60),
    ],
)  # fmt: skip
def test_nobody_stays_for_the_ice_where_somebody_there_has_the_time(comes, leaves, who, done):
    by_name = crew(person("Ana", "runner"), person("Bo", "runner"))
    found = [busy("Ana", comes, leaves, (30, leaves)), busy("Bo", 0, 50, (20, 30))]
    arrivals._ice(by_name, found, "Bar", at(60))
    assert len(found) == 2
    (got,) = [one for one in found if "ice" in one.roles]
    assert (got.who, [s.last_task for s in got.stops if s.role == "ice"]) == (who, [at(done)])


def test_pails_are_done_an_hour_and_a_half_too_soon_rather_than_by_who_comes_for_them():
    by_name = crew(person("Ana", "runner"), person("Bo", "runner"))
    for until, who in ((110, "Ana"), (109, "Bo")):
        found = [busy("Ana", 0, 300, (until, 300))]
        arrivals._ice(by_name, found, "Bar", at(200))
        assert [one.who for one in found if "ice" in one.roles] == [who]


def test_of_two_who_could_come_for_the_ice_the_one_who_has_rested_does():
    # Ana leaves at 60 and rests for two hours: from 180 on she may put pails in ice.
    by_name = crew(person("Ana", "runner"), person("Bo", "runner"), rest_s=7200.0)
    for by, who in ((195, "Ana"), (194, "Bo")):
        found = [busy("Ana", 0, 60, (20, 30))]
        arrivals._ice(by_name, found, "Bar", at(by))
        assert (found[1].who, found[1].leaves) == (who, at(by))


def test_pails_in_ice_before_the_access_stand_outside():
    job = Made(access=Made(begins=at(0)), site=Made(zone=UTC))

    def iced(*stops):
        one = arrival(-60, 300, roles=("ice",))
        one = replace(one, stops=tuple(arrivals._pails(room, at(by)) for room, by in stops))
        return arrivals.ice_outside(job, [one])

    assert iced(("Bar", 15), ("Hall", 40)) == ()
    (said,) = iced(("Bar", 14), ("Hall", 40), ("Hut", -30))
    assert said.values == {
        "rooms": "Hut; Bar", "in_ice_at": at(-30).isoformat(), "access_at": NIGHT.isoformat()
    }  # fmt: skip
    # A primer begun before the access is another thing.
    assert arrivals.ice_outside(job, [arrival(-60, 30)]) == ()


@pytest.mark.parametrize(
    ("due", "stirred", "measured", "mixed", "told"),
    [
        # In ice by 40; needed there by then, or within five minutes after.
        (44, True, False, 100, []), (45, True, False, 100, ["ice_sooner_stir"]),
        (130, True, False, 100, ["ice_sooner_stir"]), (130, False, False, 100, []),
        # Left standing, pails are too cold an hour and a half after that.
        (40, False, False, 130, []), (40, False, False, 131, ["ice_too_cold"]),
        (45, False, False, 131, ["ice_too_cold"]), (40, True, False, 131, []),
        # Measured, they are as cold as they are.
        (130, False, True, 131, []),
    ],
)  # fmt: skip
def test_pails_in_ice_sooner_than_they_need_are_told_of(due, stirred, measured, mixed, told):
    # Seen fault: with all hands busy pails went in up to an hour and a half too soon, and
    # nothing said so, nor who was to stir them, nor that they got too cold.
    job = Made(
        materials=Made(stirred_in_ice=stirred),
        cards=Made(slurry=Made(coldest_liquids_c=2.0)),
    )
    one = replace(
        arrival(0, 300, roles=("ice",)), stops=(arrivals._pails("Bar", at(40)),)
    )  # fmt: skip
    room = Made(room="Bar", in_ice_by=at(due), in_ice_by_stirred=at(160))
    found = [*arrivals.ice_cautions(
        job, [one, arrival(0, 60)], Made(measured=measured, rooms=[room]),
        need=Made(too_cold_standing_s=5400.0), mixed={"Bar": at(mixed)},
    )]  # fmt: skip
    assert [say.code.removeprefix("warn.") for say in found] == told
    for say in found:
        assert say.values["in_ice_at"] == at(40).isoformat()
    if found and "sooner" in told[0]:
        assert found[0].values["sooner_s"] == 60.0 * (due - 40)
    if told and told[-1] == "ice_too_cold":
        assert found[-1].values["cold_at"] == at(130).isoformat()


@pytest.mark.parametrize(
    ("due", "stirred", "told"),
    [
        (40, 160, "pails in the ice by Fri 20:40, if stirred by 22:40"),
        (44, 160, "pails in the ice by Fri 20:40, if stirred by 22:40"),
        (96, 160, "pails in the ice by Fri 20:40, 56 min sooner than they need to, "
                  "if stirred by 22:40"),
        (40, 40, "pails in the ice by Fri 20:40, stirred every few minutes from 20:40 on"),
        (160, 160, "pails in the ice by Fri 20:40, stirred every few minutes from 22:40 on"),
    ],
)  # fmt: skip
def test_who_sees_to_the_ice_is_told_how_long_and_whether_to_stir(due, stirred, told):
    voice = Voice(language="en", display="us", zone=UTC)
    room = Made(in_ice_by=at(due), in_ice_by_stirred=at(stirred))
    assert sources._pails(voice, arrivals._pails("Bar", at(40)), room) == told


def test_who_could_not_rest_in_between_stays():
    found = [arrival(0, 60, who="runner", roles=("runner",))]
    arrivals._ice(crew(rest_s=8 * 3600.0), found, "Bar", at(300))
    (got,) = found
    assert (got.call, got.leaves) == (at(0), at(300))
    # Nor does a stay grow into the rest after the one before it: eight hours after 60.
    for by, comings in ((555, [0, 540]), (554, [0, 535, 780])):
        two = [arrival(a, a + 60, who="runner", roles=("runner",)) for a in (0, 780)]
        arrivals._ice(crew(rest_s=8 * 3600.0), two, "Bar", at(by))
        assert sorted(one.call for one in two) == [at(comes) for comes in comings]
    named = crew(person("Ana", "ice"), person("Bo", "runner"))
    here = [busy("Bo", 0, 60, (20, 30))]
    arrivals._ice(named, here, "Bar", at(50))
    assert [(one.who, one.call) for one in here] == [("Bo", at(0)), ("Ana", at(35))]


@pytest.mark.parametrize(
    ("stops", "breaks"),
    [
        (((0, 60), (90, 120)), [(60, 90)]), (((0, 60), (89, 120)), []),
        (((0, 100), (10, 20), (131, 140)), [(100, 131)]),
        (((0, 60), (90, 120), (150, 200)), [(60, 90), (120, 150)]),
    ],
)  # fmt: skip
def test_half_an_hour_without_a_task_is_a_break(stops, breaks):
    found = arrivals._breaks(crew(), arrival(0, 300, stops=stops))
    assert [(one.begins, one.ends) for one in found] == [(at(a), at(b)) for a, b in breaks]


def test_the_longest_work_lies_between_coming_breaks_and_going():
    one = Made(call=at(0), leaves=at(500), breaks=())
    assert arrivals._longest_work(one) == timedelta(minutes=500)
    one.breaks = (Made(begins=at(100), ends=at(130)), Made(begins=at(400), ends=at(450)))
    assert arrivals._longest_work(one) == timedelta(minutes=270)


@pytest.mark.parametrize(
    ("seconds", "minutes"), [(3600.0, 60), (3600.00001, 60), (3601.0, 61), (1.0, 1)]
)
def test_stays_count_in_begun_minutes(seconds, minutes):
    one = Made(call=NIGHT, leaves=NIGHT + timedelta(seconds=seconds))
    assert arrivals.stays_min(one) == minutes


def test_heads_and_hours_of_a_plan():
    heads = {
        "mixer": 2, "runner": 1, "rake": 1, "smoother": 1, "broadcaster": 2, "edge": 1,
        "primer": 9, "topcoat": 3,
    }  # fmt: skip
    theirs = [arrival(0, 90, people=2), arrival(0, 60, who="runner")]
    job = Made(crew=crew(**heads), cards=Made(primer=None))
    got = arrivals.labour_of(job, theirs)
    # The foreman, eight who pour and three who coat; 2 times 1.5 h and 1 h.
    assert (got.heads, got.person_hours) == (12, 4.0)
    primed = arrivals.labour_of(Made(crew=job.crew, cards=Made(primer=1)), theirs)
    assert primed.heads == 13
    named = Made(crew=crew(person("Ana", "rake")), cards=Made(primer=None))
    assert arrivals.labour_of(named, theirs).heads == 2


def warned(who, *theirs):
    found = arrivals.people_warnings(Made(crew=who), theirs)
    return {message.code.removeprefix("warn."): message.values for message in found}


def test_people_are_warned_of():
    assert warned(crew(), arrival(0, 270)) == {}
    assert warned(crew(), arrival(0, 271))["no_break"]["works_s"] == 271 * 60
    assert "long_stay" not in warned(crew(), arrival(0, 720))
    assert warned(crew(), arrival(0, 721))["long_stay"]["stays_s"] == 721 * 60
    ana = crew(person("Ana", "rake"), longest_s={"Ana": 300 * 60.0})
    assert "over_stay" not in warned(ana, arrival(0, 300, who="Ana"))
    over = warned(ana, arrival(0, 301, who="Ana"))
    assert (over["over_stay"]["stays_s"], "long_stay" in over) == (301 * 60, False)
    # Two hours to rest; a second less nobody counts.
    rests = crew(rest_s=7200.0)
    for apart, short in ((120, False), (119 + 59 / 60, False), (119.98, True), (-10, True)):
        found = warned(rests, arrival(0, 60), arrival(60 + apart, 200))
        assert ("short_rest" in found) == short
        assert not short or found["short_rest"]["rests_s"] == pytest.approx(max(0, apart) * 60)
    other = warned(rests, arrival(0, 60), arrival(70, 200, who="runner"))
    assert "short_rest" not in other
    assert "ice_call" in warned(crew(), arrival(0, 15, roles=("ice",)))
    assert "ice_call" not in warned(crew(), arrival(0, 15, roles=("ice", "rake")))


# Calls


@pytest.mark.parametrize(("gap_min", "fresh"), [(240, False), (241, True), (-10, False)])
def test_a_crew_that_was_away_for_long_is_called_anew(gap_min, fresh):
    comes = calls._Comes(crew(crews_of=None))

    def work(a, b):
        return Made(begins_s=at(a).timestamp(), end_s=at(b).timestamp())

    assert comes.fresh("pour", work(0, 60))
    assert comes.fresh("topcoat", work(30, 60))
    assert comes.fresh("pour", work(60 + gap_min, 400)) == fresh
    named = crew(person("Ana", "rake"), person("Bo", "rake"))
    named.crews_of = lambda one: ("pour", "topcoat") if one.name == "Ana" else ("pour",)
    comes = calls._Comes(named)
    assert comes.fresh("topcoat", work(0, 60))
    # Bo comes for the pour that Ana goes on to.
    assert comes.fresh("pour", work(70, 90))
    assert not comes.fresh("topcoat", work(100, 120))


@pytest.mark.parametrize(
    ("before", "room", "way_s"),
    [
        ("A", "B", 300.0),
        ("B", "A", 300.0),
        ("A", "C", 900.0),
        ("C", "D", 900.0),
        ("", "A", 900.0),
    ],
)
def test_inside_a_group_the_way_is_the_shorter_one(before, room, way_s):
    rooms = [
        Made(name=n, group=g) for n, g in (("A", "g"), ("B", "g"), ("C", None), ("D", None))
    ]
    job = Made(rooms=rooms, crew=Made(in_group_s=300.0, changeover_s=900.0))
    assert calls._between_s(job, before, room) == way_s


def test_an_hour_is_told_to_five_minutes_early_or_to_the_minute_on_the_way():
    job = Made(site=Made(zone=UTC))
    for code, told in (("call.set_up", 5), ("call.moves_on", 8)):
        got = calls._called(job, at(8.5).timestamp(), Message(code, {}))
        assert got == at(told)


def test_what_leads_up_to_a_layer_is_called_for_in_turn():
    job = Made(
        site=Made(zone=UTC), crew=Made(edge=2, topcoat=3, primer=1, holding=lambda _: ()),
    )  # fmt: skip

    def work(*leads):
        layers = [
            Lead(layer=Layer(kind=kind, crew=crew_, leads=True), lasts_s=60.0 * lasts)
            for kind, crew_, lasts in leads
        ]
        return Work(
            layer=Layer(kind="topcoat", crew="topcoat"), leads=tuple(layers), duration_s=1.0,
            offset_s=None, batches=1, volume_m3=1.0, batch_s=1.0,
        )  # fmt: skip

    found = list(
        calls._lead_calls(
            job, work(("cove", "pour", 30), ("vacuum", "topcoat", 0), ("cove", "topcoat", 10)),
            "Bar", at(60).timestamp(), 900.0, WHY,
        )
    )  # fmt: skip
    assert [(c.role, c.people, c.call, c.first_task, c.last_task) for c in found] == [
        ("edge", 2, at(45), at(60), at(90)), ("topcoat", 3, at(45), at(90), at(100)),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("start", "pin", "code"),
    [
        (100, None, "coat.when_ready"), (100.9, None, "coat.when_ready"),
        (101, None, "coat.after_others"), (120, 100, "coat.after_others"),
        (120, 101, "coat.pinned"), (100, 100, "coat.when_ready"),
    ],
)  # fmt: skip
def test_why_a_coat_begins_then(start, pin, code):
    placed = Made(
        room="Bar", start_s=at(start).timestamp(), window=Made(opens_s=at(100).timestamp()),
        work=Made(layer=Made(stage="coat 1")),
    )  # fmt: skip
    pins = {} if pin is None else {"coat 1": at(pin)}
    job = Made(room=lambda _: Made(pins=pins), site=Made(zone=UTC))
    got = calls._why_then(job, placed, at(200).timestamp())
    assert got.code == code
    assert got.values["spare_s"] == round(60.0 * (200 - start))


def test_a_crew_is_one_of_the_people_or_of_the_roles():
    assert arrivals._rank(crew(), "foreman") == 0
    assert arrivals._rank(crew(person("Ana"), person("Bo")), "Bo") == 1
