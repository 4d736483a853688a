"""What would help a small job, reckoned by hand in `tests.commands.steady`."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from cureplan.api import demo_job_path, get_weather, read_job
from cureplan.core.messages import Message
from cureplan.inputs.job.crew import Person
from cureplan.inputs.job.model import Job, Shift
from cureplan.planning.floor.pour import AS_IS, RoomPours
from cureplan.planning.plan.choose import Chosen, Glance, choose
from cureplan.planning.plan.ways import FEW, _Looking, look_for_help
from cureplan.planning.plan.worth import (
    DOUBT_FRAC,
    Tried,
    _doubt_frac,
    binds,
    in_vain,
    needless,
)
from cureplan.planning.schedule.changes import (
    IN_SOONER,
    OPENING,
    POURING,
    REMEDY_WORDS,
    STAYING,
    Change,
    _all,
    also,
    left_out,
    more_hands,
    more_remedies,
    open_for_less,
)
from cureplan.planning.schedule.construct import prepare_pours
from cureplan.planning.schedule.floor_model import Tables, floor_model
from cureplan.planning.schedule.outcome import Failure, Relaxation, never
from cureplan.planning.schedule.placing import crew_spans
from cureplan.planning.schedule.relax import _least_remedies, explain
from cureplan.planning.schedule.trials import _worth_leaving
from tests.commands.steady import write_job, write_weather

NOON = datetime(2013, 7, 17, 16, tzinfo=UTC)
PLANNED_S = NOON.timestamp()
OPEN = "open_by = 2013-07-21T06:00:00"


@pytest.fixture(scope="module")
def kitchen(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, RoomPours]]:
    folder = tmp_path_factory.mktemp("steady")
    write_weather(folder / "weather.csv")
    job = read_job(write_job(folder))
    return folder, prepare_pours(job, get_weather(job, now=NOON))


def made(
    kitchen: tuple[Path, dict[str, RoomPours]], *swaps: tuple[str, str]
) -> tuple[Job, Tables, Chosen]:
    folder, pours = kitchen
    was = read_job(write_job(folder))
    job = read_job(write_job(folder, *swaps, name="changed.toml"))
    tables = Tables(pours=pours).of_changed(job, was=was)
    return job, tables, choose(job, tables, issued_s=PLANNED_S)


def helped(job: Job, tables: Tables, found: Chosen) -> tuple[Relaxation, ...]:
    return look_for_help(job, tables, found, issued_s=PLANNED_S).relaxed or ()


def looking(job: Job, tables: Tables, found: Chosen) -> _Looking:
    return _Looking(
        job=job, tables=tables, chosen=found, issued_s=PLANNED_S, progress=None, stop=never,
        budget_s=20.0,
    )  # fmt: skip


@pytest.mark.thorough
def test_no_plan_is_told_of_a_cure_that_holds_and_of_none_in_the_past(kitchen, monkeypatch):
    # Two days of cure after Thursday morning: Saturday, with the cure's own doubt Sunday; for
    # feet, a crew let in hours sooner, but not before noon, when the job is planned.
    job, tables, found = made(kitchen, (OPEN, "open_by = 2013-07-18T06:00:00"))
    full, in_full = [], Glance.in_full
    monkeypatch.setattr(Glance, "in_full", lambda *a, **k: full.append(a) or in_full(*a, **k))
    ways = helped(job, tables, found)
    # What is told was planned in full, and next to nothing else was.
    assert len(full) <= len(ways) + 1
    assert [(way.say.code, way.also and way.also.code) for way in ways] == [
        ("relax.in_sooner", "relax.open_for"),
        ("relax.open_later", None),
    ]
    for way in ways:
        assert way.say.values["keeps"] == "chance"
        assert way.chance_frac is not None
        assert way.chance_frac >= job.policy.confidence
        assert way.job.access.begins >= NOON


@pytest.mark.thorough
def test_ice_is_a_way_where_margins_are_kept_without_it_and_a_hand_beside_it_if_too_little(
    kitchen,
):
    job, tables, found = made(kitchen, ('confidence = "50 %"', 'confidence = "85 %"'))
    assert found.schedule.keeps_margins_as_expected
    look = looking(job, tables, found)
    (iced,) = look._with_more_margin(job, found.schedule)
    assert (iced.say.code, iced.also) == ("relax.remedies", None)
    assert iced.job.policy.remedies == ("chill",)
    # Ice buys some minutes at each bucket, and it is the buckets that are lost most often.
    then = choose(iced.job, tables.of_changed(iced.job, was=job), issued_s=PLANNED_S)
    assert found.chance_frac + 0.05 < then.chance_frac < 0.85
    # A third station buys 70 s more (`THREE_STATIONS_S`), as planned with both.
    way = Relaxation(job=iced.job, say=iced.say, also=None, effort_min=iced.effort_min)
    glance = look._glance(iced.job)
    first = Tried(way, then, glance, reaches=False, full=True)
    pairs = look._pairs([], [first], 0.0)
    both = next(pair for pair in pairs if pair.way.also.code == "relax.more_mixing")
    assert both.way.also == Message("relax.more_mixing", {"keeps": "also"})
    assert both.way.job.crew.stations == job.crew.stations + 1
    assert both.way.job.policy.remedies == ("chill",)
    assert both.reaches
    assert both.way.chance_frac == pytest.approx(both.chosen.chance_frac)
    # The same two the other way round are no other way.
    assert more_remedies(more_hands(job, "mixing").job, ("chill",)).job in look.tried


def test_two_changes_are_no_way_where_one_of_them_does(kitchen):
    job = read_job(write_job(kitchen[0]))
    sooner, feet = POURING.make(job, 60), open_for_less(job)[-1]
    assert sooner is not None

    def told(say: Message, second: Message | None = None) -> Relaxation:
        return Relaxation(job=job, say=say, also=second, effort_min=60.0)

    both = told(sooner.say, also(feet.say))
    assert needless(both, [told(feet.say)])
    assert not needless(both, [both])
    assert not needless(told(feet.say), [told(feet.say)])
    # Where an hour sooner makes a plan, more of it beside another is none to try at once.
    assert needless(told(sooner.say, also(feet.say)), [], [told(POURING.make(job, 240).say)])
    assert not needless(both, [], [told(OPENING.make(job, 240).say)])


def test_a_stay_is_made_longer_for_the_crew_and_for_whoever_has_hours_of_his_own(kitchen):
    job = read_job(write_job(kitchen[0]))
    assert STAYING.make(job, 60) is None
    own = Person(name="A", roles=("mixer",), longest_shift_s=6 * 3600.0)
    any_hours = Person(name="B", roles=("runner",))
    crew = replace(job.crew, people=(own, any_hours), longest_shift_s=8 * 3600.0)
    longer = STAYING.make(replace(job, crew=crew), 60)
    assert longer is not None
    assert longer.say == Message("relax.stay_longer", {"more_s": 3600.0})
    assert longer.job.crew.longest_shift_s == 9 * 3600.0
    assert [p.longest_shift_s for p in longer.job.crew.people] == [7 * 3600.0, None]


def test_a_slab_too_warm_or_cold_on_most_nights_is_helped_by_another_hour(kitchen):
    job, tables, found = made(kitchen)
    assert found.odds is not None
    lost = replace(
        found.odds, limits_frac=0.1, buckets_frac=1.0, coats_frac=1.0, shifts_frac=1.0,
        opening_frac=1.0,
    )  # fmt: skip
    chosen = replace(found, odds=lost)
    changes = looking(job, tables, found)._by_chance(job, chosen)
    codes = {change.say.code for change in changes}
    assert {
        "relax.remedies",
        "relax.in_sooner",
        "relax.pour_longer",
        "relax.open_later",
    } <= codes


def test_kits_from_too_hot_a_store_are_told_to_be_stored_elsewhere(kitchen):
    # 44 °C is above the 100 °F (37.8 °C) of the card, and no hour of the night cools the store.
    job, _, found = made(kitchen, ('storage = "room"', 'storage = "44 C"'))
    codes = [say.code for say in explain(found.schedule, job, known_until=NOON)]
    assert codes[:2] == ["none.impossible", "none.store"]


def test_a_longer_shift_begins_sooner_or_ends_later_over_midnight_too():
    # From seven in the evening to five: an hour and a half sooner, an hour later; a shift
    # of ten hours that begins fourteen sooner is a whole day.
    night = (Shift(begins=time(19), ends=time(5)),)
    assert _all(night, begins=-90) == (Shift(begins=time(17, 30), ends=time(5)),)
    assert _all(night, ends=60) == (Shift(begins=time(19), ends=time(6)),)
    assert _all((Shift(begins=time(0, 30), ends=time(5)),), begins=-60) == (
        Shift(begins=time(23, 30), ends=time(5)),
    )
    assert _all(night, begins=-14 * 60) is None


def tried(
    chance_frac: float, *codes: str, effort_min: float = 0.0, lost: np.ndarray | None = None
) -> Tried:
    say, second = (*(Message(code, {}) for code in codes), None)[:2]
    way = Relaxation(
        job=None, say=say, also=second, effort_min=effort_min, chance_frac=chance_frac
    )
    odds = None if lost is None else SimpleNamespace(lost=lost, members=lost.size)
    found = SimpleNamespace(chance_frac=chance_frac, odds=odds, schedule=None)
    return Tried(way, found, glance=None, reaches=False, full=True)


def test_what_asks_for_more_than_another_cure_is_told_only_where_it_gives_more() -> None:
    planned = SimpleNamespace(odds=SimpleNamespace())
    look = SimpleNamespace(_may_plan=lambda: True, _little=lambda *_: False, chosen=planned)

    def told(*found: Tried) -> list[tuple[str, ...]]:
        ways = [one.way for one in _Looking._best_of(look, found, wanted=2)]
        return [(way.say.code, *([way.also.code] if way.also else ())) for way in ways]

    alone, other = tried(0.60, "a", effort_min=90.0), tried(0.50, "b", effort_min=90.0)
    # By 2 points of a thousand nights two plans differ without meaning it.
    for second in ("a", "b"), ("b", "a"):
        assert told(other, tried(0.62, *second, effort_min=180.0), alone) == [("a",), ("b",)]
    assert told(other, tried(0.72, "a", "b", effort_min=180.0), alone) == [("a", "b"), ("a",)]
    # One of the same kind that asks for more and holds less is none; a cheaper one is.
    dearer, cheaper = (tried(0.57, "a", "c", effort_min=m) for m in (120.0, 60.0))
    assert told(alone, dearer, other) == [("a",), ("b",)]
    assert told(alone, cheaper) == [("a",), ("a", "c")]
    # Of a job without a plan a foreman asks first how much later.
    later = tried(0.41, "relax.open_later", effort_min=1440.0)
    assert told(alone, later, other) == [("a",), ("b",)]
    look.chosen = SimpleNamespace(odds=None)
    assert told(alone, later, other) == [("a",), ("relax.open_later",)]


def test_two_chances_are_compared_on_the_same_nights() -> None:
    # 25 nights of a thousand more: beyond doubt where no other differs, and none where each
    # loses a hundred more that the other keeps: 2 * sqrt(0.225 / 1000) = 0.03.
    lost = np.repeat([0.0, 1.0], [600, 400])
    saved = np.repeat([0.0, 1.0], [625, 375])
    mixed = saved.copy()
    mixed[:100], mixed[-100:] = 1.0, 0.0
    one = tried(0.60, "a", lost=lost)
    assert not in_vain(tried(0.625, "a", "b", lost=saved), one)
    assert in_vain(tried(0.625, "a", "b", lost=mixed), one)
    # A second change that saves ten nights is not worth the asking.
    assert in_vain(tried(0.61, "a", "b", lost=np.repeat([0.0, 1.0], [610, 390])), one)


def test_ice_with_a_station_and_ice_with_a_cool_filler_are_two_cures() -> None:
    def way(chance_frac: float, remedies: str, *second: str) -> Tried:
        say = Message("relax.remedies", {"remedies": remedies})
        both = also(Message(second[0], {})) if second else None
        effort_min = 30.0 * len(remedies.split("; ")) + 90.0 * len(second)
        told = Relaxation(job=None, say=say, also=both, effort_min=effort_min)
        found = SimpleNamespace(chance_frac=chance_frac, odds=None)
        return Tried(told, found, glance=None, reaches=False, full=True)

    cool, station = way(0.61, "chill; cool filler"), way(0.61, "chill", "relax.more_mixing")
    assert not in_vain(station, cool)
    assert in_vain(way(0.61, "chill; cool filler", "relax.more_mixing"), cool)
    assert in_vain(way(0.61, "chill; cool filler; bays"), cool)


def test_a_limit_with_hours_to_spare_is_not_moved_beside_another(kitchen) -> None:
    # Opening on Saturday 20 July at 06:00; coats by day from 07:00 in the steady job.
    job = read_job(write_job(kitchen[0]))
    opens_s, hour_s = job.access.open_by.timestamp(), 3600.0
    span = crew_spans(job, job.crew.topcoat_shifts)[0]

    def planned(*, spare_h: float, coat_after_h: float, opening_frac: float = 1.0) -> Chosen:
        start_s = span.begins_s + coat_after_h * hour_s
        coat = SimpleNamespace(start_s=start_s, end_s=start_s + hour_s)
        schedule = SimpleNamespace(opens_s=opens_s - spare_h * hour_s, coats=(coat,), pours=())
        return SimpleNamespace(
            schedule=schedule, odds=SimpleNamespace(opening_frac=opening_frac)
        )

    loose = planned(spare_h=21.0, coat_after_h=5.0)
    near = planned(spare_h=1.0, coat_after_h=0.5)
    for code in ("relax.open_later", "relax.coat_sooner"):
        assert not binds(code, job, loose)
        assert binds(code, job, near)
    # Cure is in doubt by more than hours: what is often missed binds.
    missed = planned(spare_h=21.0, coat_after_h=5.0, opening_frac=0.8)
    assert binds("relax.open_later", job, missed)
    assert binds("relax.more_mixing", job, loose)


def test_the_remedies_that_do_best_are_looked_at_at_once_and_kept_beside_another(kitchen):
    job = read_job(write_job(kitchen[0]))
    few, every = more_remedies(job, ("chill",)), more_remedies(job, ("hour", "chill", "bays"))
    station = more_hands(job, "mixing")
    first = tried(0.5, "relax.more_mixing")
    first = first._replace(way=replace(first.way, job=station.job))
    best = tried(0.6, "relax.remedies")
    best = best._replace(way=replace(best.way, job=every.job))
    look = SimpleNamespace(
        _by_chance=lambda job, _, **__: [
            more_remedies(job, ("chill",)),
            more_remedies(job, ("bays",)),
        ]
    )
    ((_, beside),) = _Looking._beside(look, first, {"relax.remedies": best})
    assert beside.job.policy.remedies == every.job.policy.remedies
    assert beside.job.crew == station.job.crew
    look = _Looking(
        job=job, tables=Tables(pours={}), chosen=None, issued_s=PLANNED_S, progress=None,
        stop=never, budget_s=1.0,
    )  # fmt: skip
    way = Relaxation(job=few.job, say=few.say, also=None, effort_min=30.0)
    further = [step.job.policy.remedies for step in look._steps(way)]
    assert further == [few.job.policy.remedies, tuple(REMEDY_WORDS)]


def test_open_for_less_is_offered_only_where_a_room_is_to_open_for_more() -> None:
    job = read_job(demo_job_path())

    def offered(*uses: str) -> list[str]:
        rooms = tuple(replace(job.rooms[0], open_for=use) for use in uses)
        return [
            change.say.values["open_for"] for change in open_for_less(replace(job, rooms=rooms))
        ]

    assert offered("feet", "feet") == []
    assert offered("feet", "carts") == ["open_for.feet"]
    assert offered("feet", "wash-down") == ["open_for.carts", "open_for.feet"]


def test_no_pair_is_looked_at_once_a_few_ways_reach_what_is_asked() -> None:
    def tried(code: str) -> Tried:
        way = Relaxation(job=None, say=Message(code, {}), also=None, effort_min=10.0)
        return Tried(way, SimpleNamespace(), glance=None, reaches=True, full=True)

    second = Change(job=object(), say=Message("b", {}), effort_min=5.0)
    look = SimpleNamespace(
        _over=lambda _: False, _beside=lambda first, _: [(first, second)],
        _tried=lambda both, _: both, tried=[], job=None,
        chosen=SimpleNamespace(odds=None, schedule=None),
    )  # fmt: skip

    def pairs(reaching: int) -> list[tuple[str, str, float]]:
        reach = [tried(f"r{number}") for number in range(reaching)]
        found = _Looking._pairs(look, reach, [tried("a")], 0.0)
        return [(way.say.code, way.also.code, way.effort_min) for way in found]

    assert pairs(FEW - 1) == [("a", "b", 15.0)]
    assert pairs(FEW) == []


def test_one_more_at_the_mixing_is_more_trouble_than_one_anywhere_else() -> None:
    job = read_job(demo_job_path())
    efforts_min = {
        task: more_hands(job, task).effort_min
        for task in ("mixing", "rake", "broadcast", "topcoat", "primer")
    }
    assert {t for t, e in efforts_min.items() if e == max(efforts_min.values())} == {"mixing"}


def test_fewest_remedies_are_all_single_ones_where_one_will_do(demo_job):
    job = replace(demo_job, policy=replace(demo_job.policy, remedies=()))
    trials = SimpleNamespace(job=job, works=lambda _: True)
    found = list(_least_remedies(trials, [more_hands(job, "mixing")], wanted=2))
    assert len(found) == len(REMEDY_WORDS)
    assert all(len(change.job.policy.remedies) == 1 for change in found)


def test_chances_of_other_nights_are_not_compared_night_by_night():
    odds = SimpleNamespace(members=400, lost=np.zeros(400))
    one, bare = SimpleNamespace(odds=odds), SimpleNamespace(odds=None)
    fewer = SimpleNamespace(odds=SimpleNamespace(members=200, lost=np.zeros(200)))
    assert _doubt_frac(one, one) == 0.0
    for pair in ((one, bare), (bare, one), (bare, bare), (one, fewer)):
        assert _doubt_frac(*pair) == DOUBT_FRAC


def test_a_limit_is_not_moved_further_for_nothing() -> None:
    def way(minutes: float) -> Relaxation:
        return Relaxation(
            job=None, say=Message("a", {}), also=None, effort_min=minutes, further=None
        )

    def kept(*chances: tuple[float, bool]) -> list[float]:
        steps = [way(60.0 * n) for n in range(len(chances))]
        came = {
            step.effort_min: Tried(
                step,
                SimpleNamespace(chance_frac=frac),
                SimpleNamespace(best=None),
                reaches,
                True,
            )
            for step, (frac, reaches) in zip(steps, chances, strict=True)
        }
        found: list[Tried] = []
        look = SimpleNamespace(
            reach=[], more=[], chosen=SimpleNamespace(odds=object()), step=None,
            _over=lambda _: False, _steps_and_hands=lambda _: steps, _keep=found.append,
            _tried=lambda step: came[step.effort_min],
        )  # fmt: skip
        _Looking._look(look, iter([way(0.0)]), 0.0)
        return [one.chosen.chance_frac for one in found]

    # A day more for a point more is not asked for; what reaches what is asked always is.
    assert kept((0.70, False), (0.71, False)) == [0.70]
    assert kept((0.70, False), (0.75, False)) == [0.70, 0.75]
    assert kept((0.89, False), (0.90, True)) == [0.89, 0.90]


def test_kits_from_too_hot_a_store_are_planned_from_another(kitchen):
    job, tables, found = made(kitchen, ('storage = "room"', 'storage = "44 C"'))
    (way, *_) = (w for w in helped(job, tables, found) if w.say.code == "relax.stored")
    # 70 °F, where the kitchen stands at 21 °C throughout: as the job with its kits there.
    assert way.say.values["temp_c"] == pytest.approx(21.1, abs=0.05)
    assert way.also is None
    *_, by_hand = made(kitchen, ('storage = "room"', 'storage = "70 F"'))
    assert way.chance_frac == pytest.approx(by_hand.chance_frac)
    assert way.opens_s == pytest.approx(by_hand.schedule.opens_s)


def test_a_pour_sooner_asks_for_access_only_where_it_needs_it(kitchen):
    job = read_job(write_job(kitchen[0]))
    late = replace(job.crew, pour_shifts=(Shift(begins=time(21), ends=time(5)),))
    early = replace(job.crew, pour_shifts=(Shift(begins=time(18), ends=time(5)),))

    def told(crew, minutes: int) -> tuple[str, str, time, time]:
        change = IN_SOONER.make(replace(job, crew=crew), minutes)
        assert change is not None
        at = str(change.say.values["from_at"])[11:16]
        (shift,) = change.job.crew.pour_shifts
        let_in = change.job.access.begins.astimezone(job.site.zone).time()
        return change.say.code, at, let_in, shift.begins

    # From 19:00 on the crew is let in: up to two hours sooner is a matter of its shift.
    assert told(late, 120) == ("relax.pour_sooner", "19:00", time(19), time(19))
    assert told(late, 180) == ("relax.in_sooner", "18:00", time(18), time(18))
    # A shift from 18:00 on waits an hour at the door.
    assert told(early, 60) == ("relax.in_sooner", "18:00", time(18), time(18))
    assert told(early, 90) == ("relax.in_sooner", "17:30", time(17, 30), time(17, 30))


def test_floors_for_carts_beside_another_change_are_no_floors_for_feet(kitchen):
    job = read_job(write_job(kitchen[0]))
    carts, feet = (
        Relaxation(job=job, say=change.say, also=None, effort_min=change.effort_min)
        for change in open_for_less(job)
    )
    later = replace(feet, say=OPENING.make(job, 60).say, also=also(carts.say))
    assert not needless(later, [], [feet])
    assert needless(later, [], [carts])


def failed(rooms: str, *limits: str) -> Failure:
    return Failure(limits=limits, rooms=tuple(rooms), says=())


def test_rooms_the_weather_keeps_from_it_are_left_out_before_others(kitchen):
    job = read_job(write_job(kitchen[0]))
    (floor,) = job.rooms
    sizes = {"A": 3.0, "B": 5.0, "C": 4.0, "D": 6.0}
    rooms = tuple(replace(floor, name=name, width_m=m) for name, m in sizes.items())
    job = replace(job, rooms=rooms)
    cold, late = failed("B", "temperature"), failed("A", "opening")
    assert _worth_leaving(job, [late, cold]) == [("B",)]
    assert _worth_leaving(job, [late]) == [("A",)]
    # Of rooms that do not go together any one will do, the smallest first; half of all at most.
    assert _worth_leaving(job, [failed("DCB", "pour shift")]) == [("C",), ("B",), ("D",)]
    assert _worth_leaving(job, [failed(n, "dew") for n in "ABC"]) == []
    way_out = replace(rooms[0], way_out=("B", "D"))
    (change,) = left_out(replace(job, rooms=(way_out, *rooms[1:])), ("B",))
    assert [room.name for room in change.job.rooms] == ["A", "C", "D"]
    assert change.job.rooms[0].way_out == ("D",)
    assert [*left_out(job, tuple(sizes))] == []


def test_what_a_look_takes_is_counted_in_buckets_and_starts_and_none_is_run_again(kitchen):
    folder, pours = kitchen
    job = read_job(write_job(folder))
    tables, again = Tables(pours=pours), Tables(pours=pours)
    floor_model(job, tables)
    once = replace(tables.tabled)
    # Each start of a half-hour runs every bucket of the floor once.
    (room,) = (pours[room.name] for room in job.rooms)
    assert once.buckets > 0
    assert once.buckets % room.plan(AS_IS).times.pour_s.size == 0
    floor_model(job, tables.under(job))
    assert tables.tabled.buckets == once.buckets
    assert tables.tabled.states == 2 * once.states
    # Other hands run them anew, on the same count; what is counted is the same every time.
    other = more_hands(job, "mixing").job
    floor_model(other, tables.of_changed(other, was=job))
    assert tables.tabled.buckets > once.buckets
    floor_model(job, again)
    assert again.tabled == once


def test_the_first_change_is_planned_in_full_whatever_is_left_and_others_if_it_suffices() -> (
    None
):
    def may(**state: float) -> bool:
        return _Looking._may_plan(SimpleNamespace(stop=never, **state))

    assert may(left_s=-5.0, full_s=0.0)
    # Half of a last one may be more than that.
    assert not may(left_s=1.4, full_s=3.0)
    assert may(left_s=1.5, full_s=3.0)
    stopped = SimpleNamespace(stop=lambda: True, left_s=9.0, full_s=0.0)
    assert not _Looking._may_plan(stopped)


@pytest.mark.parametrize(
    ("chance_frac", "kept", "weak"),
    [(0.46, True, False), (0.44, False, True), (0.23, False, True), (0.22, False, False)],
)
def test_a_plan_that_is_hardly_a_cure_is_kept_for_where_there_is_no_other(
    chance_frac, kept, weak
) -> None:
    plan = SimpleNamespace(
        chance_frac=chance_frac, odds=SimpleNamespace(), keeps_policy=lambda _: False,
        schedule=SimpleNamespace(opens_s=0.0),
    )  # fmt: skip
    # Half of 90 nights in 100 asked for is a cure.
    look = SimpleNamespace(
        _planned=lambda _: plan, _cure_frac=lambda: 0.45, weak=[],
        chosen=SimpleNamespace(odds=None, chance_frac=0.0),
    )  # fmt: skip
    way = Relaxation(job=None, say=Message("a", {}), also=None, effort_min=10.0)
    found = _Looking._in_full(look, way, None)
    assert (found is not None) == kept
    assert [one.chosen is plan for one in look.weak] == [True] * weak


@pytest.mark.parametrize(
    ("in_full", "told"),
    [(0.5, [0.5]), (0.3, [0.3]), (0.1, [])],
)
def test_the_likeliest_of_what_is_hardly_a_cure_is_told_as_its_full_plan_holds(in_full, told):
    # A cure holds on 45 nights in 100 here, and half of that is worth telling.
    def tried(chance_frac, *, full=False):
        way = SimpleNamespace(also=None)
        return Tried(way, SimpleNamespace(chance_frac=chance_frac), None, False, full)

    def planned(way, glance):
        made = tried(in_full, full=True)
        look.weak += [made] * (0.225 <= in_full < 0.45)
        return made if in_full >= 0.45 else None

    look = SimpleNamespace(weak=[tried(0.24), tried(0.28)], _in_full=planned)
    assert [one.chosen.chance_frac for one in _Looking._hardly(look)] == told
    look.weak = [tried(0.24), tried(0.28, full=True)]
    assert [one.chosen.chance_frac for one in _Looking._hardly(look)] == [0.28]


def test_a_bar_wanted_later_with_floors_for_carts_asks_not_for_feet_alone():
    def way(chance_frac: float, use: str, *codes: str) -> Tried:
        less = Message("relax.open_for", {"open_for": f"open_for.{use}"})
        one = tried(chance_frac, "a", effort_min=240.0 * (1 + len(codes)))
        says = [*(Message(code, {}) for code in codes), less]
        also_ = also(says[1]) if codes else None
        return one._replace(way=replace(one.way, say=says[0], also=also_))

    feet, later = way(0.63, "feet"), way(0.61, "carts", "relax.rooms_later")
    assert not in_vain(later, feet)
    assert not in_vain(feet, later)
    # For feet is more than for carts, and so is the same with a room later besides.
    assert in_vain(way(0.61, "feet", "relax.rooms_later"), feet)
    assert in_vain(way(0.61, "feet", "relax.rooms_later"), way(0.61, "carts"))


@pytest.mark.parametrize(
    ("kinds", "odds", "had_s", "asked_s"),
    [
        # A sheet of 1.7 s and 0.6 s of odds for the floor, 1.7 times, no more than 45 s.
        ("a", None, 20.0, 20.0 + 1.7 * (1.7 + 0.6)), ("a", None, 44.0, 45.0),
        ("ab", None, 20.0, None), ("a", object(), 20.0, 20.0),
    ],
)  # fmt: skip
def test_pairs_are_looked_at_where_one_cure_is_no_choice(
    monkeypatch, kitchen, kinds, odds, had_s, asked_s
):
    job, budgets_s = read_job(write_job(kitchen[0])), []

    def pairs(self, *_):
        budgets_s.append(self.budget_s)
        return iter(())

    for name, instead in {
        "_look": lambda *_: None, "_pairs": pairs, "_best_of": lambda *_: [],
        "_hardly": lambda _: [],
    }.items():  # fmt: skip
        monkeypatch.setattr(_Looking, name, instead)
    look = _Looking(
        job=job, tables=Tables(pours={}), issued_s=PLANNED_S, progress=None, stop=never,
        chosen=SimpleNamespace(odds=odds, schedule=SimpleNamespace(worked=1.0)),
        budget_s=had_s, more=[tried(0.5, code) for code in kinds],
    )  # fmt: skip
    assert look.run() == ()
    assert budgets_s == ([] if asked_s is None else [pytest.approx(asked_s)])
