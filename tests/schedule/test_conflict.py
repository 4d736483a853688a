"""What an infeasible job is told: the fewest limits, and figures that are the job's own."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import combinations
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from cureplan.api import _in_words, cannot_alone, get_weather
from cureplan.core.messages import Message
from cureplan.inputs.job.model import Job
from cureplan.output.language import LANGUAGES
from cureplan.output.text.quick import check_text
from cureplan.planning.schedule import conflict, together
from cureplan.planning.schedule.conflict import LIMITS, NEVER, Some, _Windows, alone
from cureplan.planning.schedule.construct import construct
from cureplan.planning.schedule.floor_model import Tables
from cureplan.planning.schedule.outcome import Failure
from cureplan.planning.schedule.soonest import _in_windows, _over
from tests.schedule.rooms import NOW, demo, due_sooner, few_rooms, pours_of, with_shifts


def conflicts(job: Job) -> tuple[Failure, ...]:
    schedule = construct(job, pours_of(job))
    assert schedule.known == "impossible"
    assert not schedule.pours
    return schedule.failures


@pytest.mark.thorough
def test_an_opening_too_soon_is_named_with_the_hour_it_could_be():
    job = due_sooner(few_rooms("Corridor"), hours=40)
    (found,) = conflicts(job)
    assert found.limits == ("opening",)
    assert found.rooms == ("Corridor",)
    values = found.says[0].values
    assert values["due_at"] == job.access.open_by.isoformat()
    # The hour told is the hour that does: a job due then goes, a minute sooner it does not.
    ready = datetime.fromisoformat(str(values["ready_at"])) + timedelta(seconds=5)
    at = replace(job, access=replace(job.access, open_by=ready))
    sooner = replace(job, access=replace(job.access, open_by=ready - timedelta(minutes=2)))
    assert alone(at, Tables(pours=pours_of(at))) == ()
    assert alone(sooner, Tables(pours=pours_of(sooner))) != ()


@pytest.mark.thorough
def test_a_pour_no_shift_holds_is_named_with_both_times():
    # Whoever mends the shift must not meet only then that it is wanted open too soon as well.
    job = due_sooner(with_shifts(few_rooms("Cook line"), pours=("19:00", "20:30")), hours=40)
    (found,) = conflicts(job)
    assert found.limits == ("pour shift", "opening")
    # 26 kits every 3.5 min: an hour and a half and more, against 90 - 15 = 75 min after set-up.
    told = _in_words(job, found.says)
    assert "pouring Cook line takes 1 h 37 min" in told
    assert "more than 1 h 15 min after set-up" in told


def test_a_shift_shorter_than_its_set_up_is_named_as_one():
    job = with_shifts(few_rooms("Corridor"), pours=("19:00", "19:10"))
    (found,) = alone(job, Tables(pours=pours_of(job)))
    told = _in_words(job, found.says)
    assert "no pour shift (19:00-19:10) has more than 0 min after set-up" in told


@pytest.mark.thorough
def test_a_way_in_is_to_be_open_when_the_room_behind_it_is():
    # A day and two hours are no time for wash-down, neither of the room nor of its only way in.
    job = few_rooms("Cook line", "Corridor")
    due = job.access.begins + timedelta(hours=26)
    rooms = [replace(r, open_by=due if r.name == "Cook line" else None) for r in job.rooms]
    job = replace(job, rooms=tuple(rooms))
    found = {failure.rooms[0]: failure for failure in alone(job, Tables(pours=pours_of(job)))}
    assert found.keys() == {"Cook line", "Corridor"}
    opening, *wash = found["Corridor"].says
    assert opening.values["due_at"] == due.isoformat()
    assert all(str(say.values["ready_at"]) <= due.isoformat() for say in wash)


@pytest.mark.thorough
def test_a_slab_below_the_dew_point_is_named_with_its_figures():
    # A margin of 40 K no slab of that week keeps: the demo's air is never that dry.
    policy = replace(demo().policy, dew_margin_k=40.0)
    job = replace(few_rooms("Dish room"), policy=policy)
    (found,) = conflicts(job)
    assert found.limits == ("dew",)
    (said,) = found.says
    assert said.code == "limit.dew_always"
    room = pours_of(job)["Dish room"].conditions
    at_s = datetime.fromisoformat(str(said.values["from_at"])).timestamp()
    assert said.values["slab_c"] == pytest.approx(float(room.slab_at(at_s)))
    assert float(said.values["slab_c"]) - float(said.values["dew_c"]) < 40.0
    # Of a slab that dries the hour is told, with the same figures.
    until = Message("limit.dew", {**said.values, "until_at": "2013-07-19T06:00:00-04:00"})
    for language in LANGUAGES:
        assert "Dish room" in _in_words(replace(job, languages=(language,)), [until])


Bound = tuple[Job, tuple[Failure, ...], list[Job]]


@pytest.fixture(scope="module")
def bound_together() -> Bound:
    """The topcoat crew comes after the first floor is too old, or before it is dry; with
    the jobs that models were made of to find it."""
    job = with_shifts(few_rooms("Cook line"), coats=("13:00", "15:00"))
    made: list[Job] = []
    real = conflict.floor_model

    def counted(job: Job, *given: Any, **named: Any) -> Any:
        made.append(job)
        return real(job, *given, **named)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(conflict, "floor_model", counted)
        return job, conflicts(job), made


@pytest.mark.thorough
def test_limits_that_only_bind_together_are_named_together(bound_together: Bound):
    # Were floors never too old, the next afternoon would do.
    (found,) = bound_together[1]
    assert set(found.limits) == {"topcoat shift", "too old"}
    assert len(found.says) == 2


def test_a_coat_is_told_with_the_hour_its_shift_lets_it_on(bound_together: Bound):
    (found,) = bound_together[1]
    shift = next(say for say in found.says if say.code == "limit.topcoat_shift")
    first, second = shift.values["coats"]
    could = [datetime.fromisoformat(str(say.values["start_at"])) for say in (first, second)]
    waits = [datetime.fromisoformat(str(say.values["until_at"])) for say in (first, second)]
    # From 13:00, with 15 min of set-up; the second coat after the first, so a day later.
    assert [f"{at:%d %H:%M}" for at in waits] == ["18 13:15", "19 13:15"]
    assert could[0] < waits[0] < could[1] < waits[1]


def test_of_a_coat_its_shift_takes_as_it_comes_nothing_is_told():
    job = with_shifts(few_rooms("Corridor"), coats=("04:00", "14:00"))
    some = Some(job, Tables(pours=pours_of(job)), ("Corridor",), frozenset())
    windows = _Windows(job, some.tables.pours["Corridor"], some, some.begins())
    # Some hours after 04:15 the second goes on, before 14:00.
    (only,) = windows.topcoat_shift().values["coats"]
    assert (only.code, only.values["coat"]) == ("limit.coat_waits", 1)


def test_no_model_is_made_twice_to_find_them(bound_together: Bound):
    # How old a floor may be is no part of a model, and so no reason for another.
    assert len(bound_together[2]) > 2
    assert all(one != other for one, other in combinations(bound_together[2], 2))


def test_lifting_any_limit_named_lets_the_room_be_done():
    job = with_shifts(few_rooms("Cook line"), coats=("13:00", "15:00"))
    later = with_shifts(job, coats=("00:00", "00:00"))
    assert alone(later, Tables(pours=pours_of(later))) == ()
    assert set(LIMITS) > {"topcoat shift", "too old"}


@pytest.mark.thorough
def test_rooms_that_go_alone_but_not_together_are_named_without_the_others():
    rooms = with_shifts(
        few_rooms("Cook line", "Servery", "Dish room"), pours=("19:00", "22:00")
    )
    job = due_sooner(rooms, hours=4)
    tables = Tables(pours=pours_of(job))
    assert alone(job, tables) == ()
    (found,) = conflicts(job)
    assert 2 <= len(found.rooms) <= 3
    assert "pour shift" in found.limits
    assert found.says[0].code == "limit.together"


@pytest.mark.parametrize("language", ["en", "es"])
def test_every_conflict_has_words(language, bound_together):
    job, (found,), _ = bound_together
    told = _in_words(replace(job, languages=(language,)), found.says)
    assert "Cook line" in told
    assert "13:00-15:00" in told


@pytest.mark.thorough
def test_check_names_what_one_room_alone_cannot_do():
    two = few_rooms("Dish room", "Corridor")
    job = due_sooner(two, hours=40)
    weather = get_weather(two, now=NOW)
    told = cannot_alone(job, weather)
    assert {"Corridor"} <= {str(said.values["room"]) for said in told}
    assert cannot_alone(two, weather) == ()
    assert "Cannot be done as it stands:" in check_text(job, weather, told)


def test_a_shift_no_coat_fits_in_is_told_as_too_short_not_at_the_wrong_hour():
    # The demo's set-up takes 15 min: 20 min of shift leave 5, and no hour mends that.
    job = with_shifts(few_rooms("Dish room"), coats=("12:00", "12:20"))
    (found,) = alone(job, Tables(pours=pours_of(job)))
    assert found.limits == ("topcoat shift",)
    (said,) = found.says
    assert (said.code, said.values["longest_s"]) == ("limit.coat_long", 300.0)
    assert float(said.values["lasts_s"]) > 300.0


@pytest.mark.thorough
def test_opening_for_less_is_told_only_where_the_crews_hours_allow_it():
    # Ready for feet 5 h after a coat at its soonest; a crew that comes at 19:00 is too late.
    job = due_sooner(few_rooms("Dish room"), hours=36)
    late = with_shifts(job, coats=("19:00", "22:00"))
    tables = Tables(pours=pours_of(job))
    codes = [
        [say.code for failure in alone(each, tables.of_changed(each, was=job))
         for say in failure.says]
        for each in (job, late)
    ]  # fmt: skip
    assert ["limit.only_wash" in each for each in codes] == [True, False]


def test_the_layer_told_as_too_late_is_the_one_furthest_past_what_it_lies_on():
    # In seconds: the second layer begins 100 after the first closes, the third 300 after the
    # second; the last is in time.
    layers = [
        SimpleNamespace(begins=np.array([0.0, begins]), closes=np.array([0.0, closes]))
        for begins, closes in ((10.0, 400.0), (500.0, 600.0), (900.0, 1500.0), (1200.0, 0.0))
    ]
    model = SimpleNamespace(
        whole=SimpleNamespace(rooms=[layers]), slots=SimpleNamespace(at=float)
    )
    windows = conflict._Windows(
        job=demo(),
        pours=SimpleNamespace(
            room=SimpleNamespace(name="A"),
            tasks=[(SimpleNamespace(stage=stage),) for stage in ("primer", "pour", "1", "2")],
        ),
        some=SimpleNamespace(model=model, problem=model.whole),
        begins=(10.0, 500.0, 900.0, 1200.0),
    )
    values = windows.too_old().values
    assert values["stage"] == "1"
    at_s = [
        datetime.fromisoformat(str(values[key])).timestamp()
        for key in ("closes_at", "start_at")
    ]
    assert at_s == [600.0, 900.0]


def test_a_crews_work_is_told_with_one_move_between_each_two(monkeypatch):
    # Pours of 90 and 100 min with 20 between: 210 min; one coat: its 30 min and no move.
    def pieces(*layers: tuple[int, int]) -> SimpleNamespace:
        stages = [
            SimpleNamespace(crew=crew, begins=np.array([5, 0]), ends=np.array([takes + 5, 999]))
            for crew, takes in layers
        ]
        return SimpleNamespace(problem=SimpleNamespace(rooms=[stages]))

    pour, coat = (together.CREWS.index(crew) for crew in ("pour", "topcoat"))
    rooms = {"A": pieces((pour, 90)), "B": pieces((pour, 100), (coat, 30))}
    monkeypatch.setattr(together, "Some", lambda *given: rooms[given[2][0]])
    job = demo()
    job = replace(job, crew=replace(job.crew, changeover_s=20 * 60.0))
    told = {m.code: m.values["work_s"] for m in together._work_of(job, None, ["A", "B"])}
    assert told == {"limit.work_pour": 210 * 60.0, "limit.work_topcoat": 30 * 60.0}


def test_of_the_states_in_a_window_the_one_that_ends_soonest_is_taken():
    # By hand: from 2 to 4 lie the begins 2, 3 and 4, which end at 9, 7 and 8.
    below = SimpleNamespace(size=2, opens=np.array([2, 6]), closes=np.array([4, 9]))
    above = SimpleNamespace(begins=np.array([5, 4, 1, 3, 2]))
    ready = np.array([6, 8, 5, 7, 9])
    assert _over(below, above, ready).tolist() == [7, NEVER]
    order, first, last = _in_windows(below, above)
    assert above.begins[order[first[0] : last[0]]].tolist() == [2, 3, 4]
