"""What can still be changed on a night: how little does, and what is told of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from types import SimpleNamespace as Made
from zoneinfo import ZoneInfo

import pytest
from log_lines import said

import cureplan.planning.replan.replan as replanning
from cureplan.core.messages import Message
from cureplan.inputs.job.model import Shift
from cureplan.inputs.tables.night_log import DROPPED, OF_SHIFTS, OPENS, STAYS, WAITS
from cureplan.output.language import LANGUAGES, Voice
from cureplan.planning.replan import ways
from cureplan.planning.replan.carry_on import Candidate
from cureplan.planning.replan.replan import replan
from cureplan.planning.schedule.changes import (
    COAT_LONGER,
    COAT_SOONER,
    OPENING,
    POURING,
    STAYING,
    Change,
    room_later,
)

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()
ASKED = 0.9


def candidate(frac, *, left_out=(), late=0):
    """A way to go on that holds so often; as many coats come too late for sure."""
    coat = Made(
        room="Bar", start_s=1.0, window=Made(closes_s=-1.0), after=Made(opens_s=NIGHT_S)
    )
    schedule = Made(coats=[coat] * late, pours=[], opens_s=NIGHT_S, worked=0.0)
    odds = Made(all_frac=frac, members=1000)
    return Candidate(schedule=schedule, odds=odds, left_out=left_out)


def job(*rooms, minutes=0):
    named = [Made(name=name) for name in rooms or ("Bar", "Hall")]
    return Made(
        rooms=named, minutes=minutes, policy=Made(confidence=ASKED), site=Made(zone=UTC),
        access=Made(open_by=NIGHT),
        due=lambda _: NIGHT + timedelta(days=9),
        crossed_from=lambda name: ("Hall",) if name == "Bar" else (),
    )  # fmt: skip


def glance(frac, late=0):
    best = candidate(frac, late=late)
    chosen = Made(schedule=best.schedule, odds=best.odds, chance_frac=frac)
    return Made(best=chosen, worked=1.0, looked=None)


def kind(code, fracs, *, effort=1.0):
    """A limit that may be moved by these minutes, after which the night holds so often; None
    where no schedule is found."""

    def make(one, minutes):
        changed = job(minutes=(code, minutes))
        return Change(
            job=changed,
            say=Message(code, {"by": minutes}),
            effort_min=effort * minutes,
            to=NIGHT,
        )

    return Made(make=make, fracs={(code, minutes): frac for minutes, frac in fracs.items()})


def night(monkeypatch, *kinds, chance=0.5, late=0, left_out=(), full=None, budget=99.0):
    """Ways out of a night; each glance costs 1 s, each full plan 10 s, as they are counted.

    In full a change holds as often as at a glance, unless `full` says otherwise.
    """
    fracs = {key: frac for one in kinds for key, frac in one.fracs.items()}
    planned = []

    def again(changed, _):
        planned.append(changed.minutes)
        frac = {**fracs, **(full or {})}[changed.minutes]
        return (None if frac is None else candidate(frac)), 5.0 - ways.CARRIED_WORK * 2

    def at(one, tables, **_):
        frac = fracs[one.minutes]
        found = Made(best=None, worked=0.5) if frac is None else glance(frac)
        return Made(**{**vars(found), "worked": 0.5})

    tabled = Made(processor_s=0.0, with_search_s=lambda work: 2.0 * work)
    tables = Made(tabled=tabled, pours={}, under=lambda _: None)
    monkeypatch.setattr(ways.Glance, "at", at)
    monkeypatch.setattr(
        ways.Ways, "_kinds", lambda _: [(one, [m for _, m in one.fracs]) for one in kinds]
    )
    monkeypatch.setattr(ways.Ways, "_may", lambda *_: True)
    found = ways.Ways(
        job=job(), tables=tables, chosen=candidate(chance, late=late, left_out=left_out),
        state=Made(still_to_pour=lambda _: [], now_s=NIGHT_S), again=again, worked=0.0,
        carried=lambda _: None,
    )  # fmt: skip
    found.own_s = budget / ways.MOST_WORK
    return found, planned


def told(found):
    parts = [message.values["parts"][0] for message in ways.ways_out(found)]
    return [(say.code, say.values["by"], say.values["keeps"]) for say in parts]


LONGER, SOONER, LATER = "relax.pour_longer", "relax.coat_sooner", "relax.open_later"


@pytest.mark.parametrize(
    ("fracs", "least"),
    [
        # The least that holds as often as asked; or nearly as often as what is moved most.
        ({15: 0.5, 30: 0.7, 45: 0.92, 60: 0.93, 90: 0.99}, 45),
        ({15: 0.9, 30: 0.9, 45: 0.92, 60: 0.93, 90: 0.99}, 15),
        ({15: 0.5, 30: 0.6, 45: 0.69, 60: 0.68, 90: 0.7}, 45),
        ({15: None, 30: None, 45: None, 60: None, 90: 0.95}, 90),
        ({15: 0.5, 30: 0.5, 45: 0.5, 60: 0.5, 90: 0.51}, None), ({15: 0.99, 90: None}, None),
    ],
)  # fmt: skip
def test_a_limit_is_moved_as_little_as_does(monkeypatch, fracs, least):
    found, planned = night(monkeypatch, kind(LONGER, fracs))
    keeps = "chance" if least and fracs[least] >= ASKED else "more"
    assert told(found) == ([(LONGER, least, keeps)] if least else [])
    assert planned == ([(LONGER, least)] if least else [])


@pytest.mark.parametrize(
    ("known", "may", "moved"),
    [((15, 30, 45), (15, 30, 45), 45), ((15, 30), (15, 30, 45), 30), ((15, 30, 45), (15,), 15),
     ((30, 45), (15, 30), 30), ((15,), (45,), None)],
)  # fmt: skip
def test_only_what_is_a_change_and_can_still_be_told_is_looked_at(
    monkeypatch, known, may, moved
):
    # Each step gives 0.1 more, so that the furthest is told.
    steps = kind(LONGER, {15: 0.6, 30: 0.7, 45: 0.8})
    change = steps.make
    steps.make = lambda one, minutes: change(one, minutes) if minutes in known else None
    found, planned = night(monkeypatch, steps)
    monkeypatch.setattr(ways.Ways, "_may", lambda _, one: one.job.minutes[1] in may)
    assert [minutes for _, minutes, _ in told(found)] == ([] if moved is None else [moved])
    assert planned == ([] if moved is None else [(LONGER, moved)])


@pytest.mark.parametrize(
    ("begins", "next_"),
    [
        ((10, 20, 30), [20, 30]),
        ((10, 20), [20]),
        ((25, 30), [25, 30]),
        ((10, 24, 25), [24, 25]),
    ],
)
def test_who_comes_next_is_the_last_before_an_hour_and_all_from_then_on(begins, next_):
    assert ways._next(begins, 25.0) == next_


def test_cheapest_first_until_two_hold_as_often_as_asked(monkeypatch):
    three = [kind(LATER, {600: 0.99}), kind(SOONER, {60: 0.95}), kind(LONGER, {30: 0.6})]
    found, planned = night(monkeypatch, *three)
    assert told(found) == [(LONGER, 30, "more"), (SOONER, 60, "chance"), (LATER, 600, "chance")]
    found, planned = night(monkeypatch, *three, kind("relax.stay_longer", {45: 0.96}))
    assert [minutes for _, minutes, _ in told(found)] == [30, 45, 60]
    assert (LATER, 600) not in planned
    # What in full is no better is not told, what is further then reaches what is asked is.
    found, planned = night(monkeypatch, *three[:2], full={(SOONER, 60): 0.5})
    assert told(found) == [(LATER, 600, "chance")]
    steps = kind(SOONER, {60: 0.91, 120: 0.93})
    for first, second, said_ in (
        (0.88, 0.92, (SOONER, 120, "chance")), (0.88, 0.89, (SOONER, 60, "more")),
        (0.91, 0.93, (SOONER, 60, "chance")),
    ):  # fmt: skip
        full = {(SOONER, 60): first, (SOONER, 120): second}
        found, planned = night(monkeypatch, steps, full=full)
        assert told(found) == [said_]
        assert len(planned) == (1 if first >= ASKED else 2)


def test_looking_ends_by_its_work(monkeypatch):
    four = [kind(code, {60: 0.8}, effort=n) for n, code in enumerate("abcd", start=1)]
    monkeypatch.setattr(ways, "TO_LOG", dict.fromkeys("abcd", "opens by"))
    # Four glances of 1 s, then 10 s for each plan in full: the first in any case.
    for budget, plans in ((7.0, 1), (14.0, 1), (14.1, 2), (24.1, 3), (99.0, 3)):
        found, planned = night(monkeypatch, *four, budget=budget)
        assert (len(told(found)), len(planned)) == (plans, plans)
    # Of a budget glances take a share: after 0.6 of 3 s, which are two, no other is begun.
    found, planned = night(monkeypatch, *four, budget=3.0)
    assert [seen.change.say.code for seen in found.worth_a_plan()] == ["a", "b"]


def test_each_kind_of_change_can_be_logged(demo_job):
    rooms = tuple(replace(room, open_by=demo_job.access.open_by) for room in demo_job.rooms)
    limited = replace(demo_job.crew, longest_shift_s=36_000.0)
    whole = replace(demo_job, rooms=rooms, crew=limited)
    here = Made(
        job=whole, state=Made(now_s=0.0), _acts=lambda *_: True,
        chosen=Made(schedule=Made(pours=[Made(end_s=1.0)])),
    )  # fmt: skip
    made = [kind.make(whole, 15) for kind, _ in ways.Ways._kinds(here)]
    codes = {change.say.code for change in made}
    assert codes == ways.TO_LOG.keys()
    assert {*ways.TO_LOG.values()} == {*OF_SHIFTS, OPENS, STAYS}


@pytest.mark.parametrize(
    ("was", "now", "helps"),
    [
        # Two counts of a thousand nights may differ by 0.04 about one half.
        (candidate(0.5), candidate(0.56), True), (candidate(0.5), candidate(0.52), False),
        (candidate(0.9), candidate(0.99), False),
        (candidate(0.5), candidate(0.9, late=1), False),
        (candidate(0.5, late=2), candidate(0.5, late=1), True),
        (candidate(0.5, late=2), candidate(0.4, late=1), False),
        (candidate(0.5, left_out=("Bar",)), candidate(0.48), True),
    ],
)  # fmt: skip
def test_a_changed_night_loses_less_or_holds_clearly_more_often(monkeypatch, was, now, helps):
    found, _ = night(monkeypatch)
    found.chosen = was
    assert found._helps(job(), now) == helps


@pytest.mark.parametrize(
    ("late", "rooms", "beats", "offered"),
    [
        (0, "ABC", True, []), (1, "ABC", True, ["B", "A", "C"]), (1, "ABC", False, []),
        (1, "ABCDE", True, ["B", "A", "C"]), (1, "A", True, []),
    ],
)  # fmt: skip
def test_floors_that_left_out_would_save_what_is_lost_are_offered(
    monkeypatch, late, rooms, beats, offered
):
    def without(whole, names):
        kept = [room for room in whole.rooms if room.name not in names]
        return Made(**{**vars(whole), "rooms": kept, "minutes": names})

    found, _ = night(monkeypatch, late=late)
    found.job = job(*rooms)
    found.job.crossed_from = lambda name: ("B",) if name == "A" else ()
    found.state.still_to_pour = lambda _: list(rooms)
    found.chosen = candidate(0.5, late=late)
    for coat in found.chosen.schedule.coats:
        coat.room = rooms[0]
    monkeypatch.setattr(ways, "without", without)
    monkeypatch.setattr(ways, "beats", lambda *_: beats)
    monkeypatch.setattr(ways.Glance, "at", lambda *_, **__: glance(0.95))
    found.again = lambda *_: (candidate(0.95), 0.0)
    found.own_s = 1e3
    seen = list(found.worth_a_plan())
    assert [one.change.say.values["rooms"] for one in seen] == offered
    # At most two that hold as often as asked, whoever is first crossed by others.
    names = [message.values["room"] for message in ways.ways_out(found)]
    assert names == offered[:2]


@pytest.mark.parametrize(
    ("kind", "minutes", "now_h", "may"),
    [
        # The topcoat crew, due at 05:00, hears of it an hour ahead.
        (COAT_SOONER, 240, 0.0, True),
        (COAT_SOONER, 240, 0.1, False),
        (COAT_SOONER, 60, 3.0, True),
        (COAT_SOONER, 60, 3.1, False),
        (COAT_LONGER, 120, 3.1, True),
        (POURING, 120, 3.1, True),
        # Weather is known until a day and a half after the opening.
        (OPENING, 36 * 60, 0.0, True),
        (OPENING, 37 * 60, 0.0, False),
    ],
)
def test_whom_it_concerns_is_told_in_time(demo_job, kind, minutes, now_h, may):
    crew = replace(
        demo_job.crew,
        pour_shifts=(Shift(begins=time(19), ends=time(1)),),
        topcoat_shifts=(Shift(begins=time(5), ends=time(17)),),
    )
    one = replace(demo_job, crew=crew)
    midnight = one.access.begins.astimezone(one.site.zone).replace(hour=0) + timedelta(days=1)
    known_s = (one.access.open_by + timedelta(hours=36)).timestamp()
    here = Made(
        job=one, state=Made(now_s=midnight.timestamp() + 3600.0 * now_h),
        tables=Made(pours={"Bar": Made(conditions=Made(last_s=known_s))}),
    )  # fmt: skip
    assert ways.Ways._may(here, kind.make(one, minutes)) == may


def test_a_limit_is_moved_where_what_it_acts_on_is_lost_near_it(demo_job):
    crew = replace(
        demo_job.crew,
        pour_shifts=(Shift(begins=time(19), ends=time(1)),),
        topcoat_shifts=(Shift(begins=time(5), ends=time(17)),),
    )
    one = replace(demo_job, crew=crew)
    evening = one.access.begins.astimezone(one.site.zone).replace(hour=19)

    def acts(kind, *, pour_ends_h=5.5, coat_h=11.0, late=0, **lost):
        shares = {
            f"{part}_frac": 1.0 - lost.get(part, 0.0)
            for part in ("buckets", "coats", "shifts", "opening", "limits")
        }
        at_s = evening.timestamp()
        work = Made(start_s=at_s, end_s=at_s + 3600.0 * pour_ends_h)
        coat = Made(start_s=at_s + 3600.0 * coat_h, end_s=at_s + 3600.0 * (coat_h + 1))
        schedule = Made(pours=[work], coats=[coat], opens_s=one.access.open_by.timestamp())
        chosen = Made(schedule=schedule, odds=Made(**shares), lost=lambda _: (0, late, 0))
        return ways.Ways._acts(Made(job=one, chosen=chosen), kind, (60,))

    assert acts(POURING, shifts=0.1)
    assert not acts(POURING, coats=0.5)
    assert not acts(POURING, shifts=0.019)
    # It ends five hours before its shift does.
    assert not acts(POURING, shifts=0.1, pour_ends_h=1.0)
    assert acts(COAT_SOONER, coats=0.1)
    assert not acts(COAT_SOONER, coats=0.1, coat_h=15.0)
    assert acts(COAT_LONGER, coats=0.1, coat_h=18.5)
    assert not acts(COAT_LONGER, coats=0.1)
    # Where something is lost for sure, the floors may have been moved by any of them.
    assert acts(POURING, late=1, pour_ends_h=1.0)


@pytest.mark.parametrize(("ends_min", "kinds"), [(-1, 4), (0, 4), (1, 5)])
def test_no_pour_shift_runs_longer_once_all_is_poured(monkeypatch, ends_min, kinds):
    monkeypatch.setattr(ways, "rooms_later", lambda _: [])
    poured = Made(end_s=NIGHT_S + 60.0 * ends_min)
    here = Made(
        job=Made(rooms=[]), state=Made(now_s=NIGHT_S), _acts=lambda *_: True,
        chosen=Made(schedule=Made(pours=[Made(end_s=NIGHT_S - 60.0), poured])),
    )  # fmt: skip
    found = [kind for kind, _ in ways.Ways._kinds(here)]
    assert (POURING in found, len(found)) == (kinds == 5, kinds)


@pytest.mark.parametrize(
    ("begins_min", "beaten", "searches"),
    [(1, True, True), (0, True, False), (-1, True, False), (1, False, False)],
)
def test_coats_to_come_are_searched_for_though_all_is_poured(
    monkeypatch, begins_min, beaten, searches
):
    # Seen fault: with every bucket poured, no call of the topcoat crew at another hour was
    # looked for, as coats were held at the hours they were planned at.
    carried, other = candidate(0.5), candidate(0.95)
    carried.schedule.coats = [Made(begins_s=NIGHT_S + 60.0 * begins_min)]
    monkeypatch.setattr(replanning, "_carried", lambda *_: carried)
    monkeypatch.setattr(replanning, "_searched", lambda *_: other)
    monkeypatch.setattr(replanning, "could_be_beaten", lambda *_: beaten)
    monkeypatch.setattr(replanning, "beats", lambda *_: True)
    monkeypatch.setattr(replanning, "without", lambda one, _: one)
    here = Made(now_s=NIGHT_S, still_to_pour=lambda _: [])
    found = replanning._better(job(), None, here, Made(pours={}))
    assert (found.candidate is other) == searches
    assert found.carries_on != searches


@pytest.mark.thorough
def test_a_night_begun_late_is_offered_a_longer_shift_that_does(small_plan, log_of):
    # Seen fault: begun 40 min late, a night whose last floor then fits no more was told to
    # leave a floor out, and not that the pour shift might run 40 min longer.
    rooms = sorted(small_plan.rooms, key=lambda room: room.order)
    last = rooms[-1].pour_end.astimezone(small_plan.job.site.zone)
    ends = (last + timedelta(minutes=10)).time().replace(second=0, microsecond=0)
    begins = small_plan.job.crew.pour_shifts[0].begins
    one_night = replace(
        small_plan.job.access, open_by=small_plan.job.access.begins + timedelta(hours=50)
    )

    def shifted(until):
        crew = replace(small_plan.job.crew, pour_shifts=(Shift(begins=begins, ends=until),))
        return replace(
            small_plan, job=replace(small_plan.job, crew=crew, access=one_night)
        )  # fmt: skip

    plan = shifted(ends)
    buckets = plan.buckets_of(rooms[0].room)[:3]
    lines = [said(b.pour, "poured", b.room, b.number, late_s=2400) for b in buckets]
    now = buckets[-1].pour + timedelta(minutes=41)
    found = replan(plan, log_of(*lines, plan=plan), now=now)
    offered = [c for c in found.changes if c.code == "replan.way"]
    offer = next(c for c in offered if c.values["parts"][0].code == LONGER)
    say, chance = offer.values["parts"]
    # Logged, it does what it said.
    ends = offer.values["to_at"]
    assert f"T{say.values['clock']}:00" in ends
    lines.append(said(now, offer.values["event"], value=ends))
    again = replan(plan, log_of(*lines, plan=plan), now=now)
    keeps = chance.values["keeps_frac"]
    assert keeps > found.plan.risk.all_keep_frac
    assert again.plan.risk.all_keep_frac == pytest.approx(keeps, abs=1e-9)
    assert again.plan.night.left_out == ()
    # Seen fault: logged for the plan that made the offer, which had put the floor off to the
    # next evening, it left it there.
    log = log_of(*lines, plan=found.plan)
    after = replan(found.plan, log, now=now + timedelta(minutes=2)).plan
    assert after.night.left_out == ()
    assert after.risk.all_keep_frac == pytest.approx(keeps, abs=0.05)


@pytest.mark.thorough
def test_a_late_night_is_offered_an_hour_to_open_that_can_be_logged(small_plan, log_of):
    rooms = sorted(small_plan.rooms, key=lambda room: room.order)
    opens = max(room.opens for room in rooms) + timedelta(minutes=20)
    access = replace(small_plan.job.access, open_by=opens)
    plan = replace(small_plan, job=replace(small_plan.job, access=access))
    buckets = plan.buckets_of(rooms[0].room)[:3]
    lines = [said(b.pour, "poured", b.room, b.number, late_s=3600) for b in buckets]
    now = buckets[-1].pour + timedelta(minutes=61)
    found = replan(plan, log_of(*lines, plan=plan), now=now)
    offer = next(
        c for c in found.changes if c.code == "replan.way" and c.values["event"] == OPENS
    )
    say, chance = offer.values["parts"]
    lines.append(said(now, OPENS, value=offer.values["to_at"]))
    again = replan(plan, log_of(*lines, plan=plan), now=now)
    assert again.plan.job.access.open_by == datetime.fromisoformat(say.values["open_at"])
    keeps = chance.values["keeps_frac"]
    assert keeps > found.plan.risk.all_keep_frac
    assert again.plan.risk.all_keep_frac == pytest.approx(keeps, abs=1e-9)


@pytest.mark.parametrize(
    ("carried", "least"),
    [
        # Planned anew it takes an hour, as it is planned less may do about as well.
        ({15: 0.8, 30: 0.8, 45: 0.8}, 15), ({15: 0.77, 30: 0.78, 45: 0.8}, 30),
        ({15: 0.5, 30: 0.5, 45: 0.77}, 60), ({15: None, 30: None, 45: None}, 60),
    ],
)  # fmt: skip
def test_no_more_is_asked_for_than_going_on_as_planned_needs(monkeypatch, carried, least):
    # Seen fault: a crew was asked to stay 3 h longer where a quarter of an hour did.
    steps = {15: 0.5, 30: 0.6, 45: 0.7, 60: 0.8}
    found, planned = night(monkeypatch, kind(LONGER, steps), chance=0.5)
    fracs = {(LONGER, by): frac for by, frac in carried.items()}
    monkeypatch.setattr(
        found, "carried", lambda one: None if fracs[one.minutes] is None
        else candidate(fracs[one.minutes]),
    )  # fmt: skip
    assert told(found) == [(LONGER, least, "more")]
    assert planned == [(LONGER, 60)]


JOB = Made(
    site=Made(zone=ZoneInfo("America/New_York")),
    access=Made(open_by=datetime(2013, 7, 20, 10, tzinfo=UTC)),
)
HALL_AT = datetime(2013, 7, 19, 18, tzinfo=UTC)


@pytest.mark.parametrize(
    ("now", "code", "to", "rooms", "filed", "picked"),
    [
        # How a shift, a stay, the kitchen's hour and a room's are named in a file, and by the
        # list on the sheet; a shift is moved by the clock, so the next such hour is told.
        ("17T23:42", "stay_longer", timedelta(minutes=45), None,
         '"stay longer" with 45 min', '"The crew may stay longer" with 45 min'),
        ("17T23:42", "pour_longer", time(5, 30), None,
         '"pour shift until" with 2013-07-18T05:30',
         '"The pour shift runs until" with Thu 05:30'),
        ("17T23:42", "coat_longer", time(23, 45), None,
         '"topcoat shift until" with 2013-07-17T23:45',
         '"The topcoat shift runs until" with Wed 23:45'),
        ("18T05:30", "coat_sooner", time(5, 30), None,
         '"topcoat shift from" with 2013-07-19T05:30',
         '"The topcoat shift begins" with Fri 05:30'),
        ("17T23:42", "open_later", JOB.access.open_by, None,
         '"opens by" with 2013-07-20T06:00', '"It opens by another hour" with Sat 06:00'),
        ("17T23:42", "rooms_later", HALL_AT, "Hall",
         '"opens by" for Hall with 2013-07-19T14:00',
         '"It opens by another hour" for Hall with Fri 14:00'),
    ],
)  # fmt: skip
def test_an_offer_tells_the_line_as_it_is_named_where_it_is_written(
    now, code, to, rooms, filed, picked
):
    # Seen fault: the sheet quoted the words of a file, which its own list does not have.
    found = Made(schedule=Made(opens_s=0.0), odds=Made(all_frac=0.9))
    now_s = datetime.fromisoformat(f"2013-07-{now}-04:00").timestamp()
    here = Made(reaches=lambda _: True, job=JOB, state=Made(now_s=now_s))
    # The words may say the hour as they like.
    values = {"clock": "9", "open_at": "2000-01-01T00:00:00+00:00", "more_s": 60.0}
    if rooms:
        values["rooms"] = rooms
    change = Change(job=JOB, say=Message(f"relax.{code}", values), effort_min=1.0, to=to)
    got = ways._said(here, change, found)
    on_file, on_sheet = (
        Voice(language="en", display="us", zone=JOB.site.zone, on_sheet=sheet).say(got)
        for sheet in (False, True)
    )
    assert on_file.endswith(f"Log {filed} and plan again.")
    assert on_sheet.endswith(f"Log {picked} and plan again.")


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(
    ("code", "event"),
    [
        ("replan.way_stay", STAYS),
        ("replan.way_room", OPENS),
        *(("replan.way", event) for event in OF_SHIFTS),
        ("replan.leave_out", DROPPED),
        ("replan.halted", WAITS),
    ],
)
def test_what_to_log_is_quoted_as_the_list_on_the_sheet_shows_it(language, code, event):
    at = NIGHT.isoformat()
    said_ = Message(
        code,
        {
            "parts": (), "event": event, "to_at": at, "more_s": 60.0, "room": "Hall",
            "keeps_frac": 0.9, "what": "station", "until_at": at,
        },
    )  # fmt: skip
    voice = Voice(language=language, display="us", zone=UTC, on_sheet=True)
    shown = voice.labels_under("script.event.")[event.replace(" ", "_")]
    assert f'"{shown}"' in voice.say(said_)
    assert f'"{event}"' in replace(voice, on_sheet=False).say(said_)


def test_a_change_carries_the_hour_it_moves_a_limit_to(demo_job):
    half_h = timedelta(minutes=30)
    room = replace(demo_job.rooms[0], open_by=demo_job.access.open_by - 2 * half_h)
    crew = replace(
        demo_job.crew,
        longest_shift_s=6 * 3600.0,
        pour_shifts=(Shift(begins=time(19), ends=time(23, 45)),),
        topcoat_shifts=(Shift(begins=time(5), ends=time(14)),),
    )
    one = replace(demo_job, crew=crew, rooms=(room, *demo_job.rooms[1:]))
    assert POURING.make(one, 30).to == time(0, 15)
    assert COAT_SOONER.make(one, 30).to == time(4, 30)
    assert COAT_LONGER.make(one, 30).to == time(14, 30)
    assert STAYING.make(one, 30).to == half_h
    assert OPENING.make(one, 30).to == one.access.open_by + half_h
    assert room_later(room.name).make(one, 30).to == room.open_by + half_h
