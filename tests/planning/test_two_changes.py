"""Two limits moved at once: which two are found, and how far, where it is known what does."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from math import inf
from pathlib import Path

import pytest

from cureplan.api import get_weather, read_job
from cureplan.inputs.job.model import Job
from cureplan.planning.schedule.changes import MOST_HANDS, OPENING, POURING, Change
from cureplan.planning.schedule.construct import prepare_pours
from cureplan.planning.schedule.floor_model import Tables
from cureplan.planning.schedule.outcome import never
from cureplan.planning.schedule.pairs import two_changes
from cureplan.planning.schedule.trials import COARSER, Trials
from tests.commands.steady import write_job, write_weather

NOON = datetime(2013, 7, 17, 16, tzinfo=UTC)
POURING_STEP_MIN, OPENING_STEP_MIN = COARSER * POURING.step_min, COARSER * OPENING.step_min


class _Decided(Trials):
    """Trials of which it is known beforehand what does."""

    does: Callable[[Job], bool]

    def works(self, change: Change) -> bool:
        self.opened_s = change.job.access.open_by.timestamp()
        return self.does(change.job)


@pytest.fixture(scope="module")
def kitchen(tmp_path_factory: pytest.TempPathFactory) -> tuple[Job, Tables]:
    folder: Path = tmp_path_factory.mktemp("two")
    write_weather(folder / "weather.csv")
    job = read_job(write_job(folder))
    return job, Tables(pours=prepare_pours(job, get_weather(job, now=NOON)))


def pairs(
    kitchen: tuple[Job, Tables], does: Callable[[Job], bool], *alone: str
) -> list[Change]:
    job, tables = kitchen
    trials = _Decided(job=job, tables=tables, goal="windows", stop=never, budget_s=inf)
    trials.does = does
    return list(two_changes(trials, alone=alone, opening=None))


def pours_longer_min(job: Job, was: Job) -> float:
    ends = [j.crew.pour_shifts[0].ends for j in (was, job)]
    first, now = (60 * at.hour + at.minute for at in ends)
    return (now - first) % 1440


def codes(change: Change) -> tuple[str, str]:
    assert change.also is not None
    return change.say.code, change.also.code


@pytest.mark.parametrize("need_min", [1, 61])
def test_hours_and_a_hand_that_do_only_together_are_found_with_no_more_hours_than_a_step(
    kitchen, need_min
):
    job = kitchen[0]

    def does(changed: Job) -> bool:
        enough = pours_longer_min(changed, job) >= need_min
        return enough and changed.crew.stations > job.crew.stations

    (both,) = pairs(kitchen, does)
    assert set(codes(both)) == {"relax.pour_longer", "relax.more_mixing"}
    assert does(both.job)
    assert need_min <= pours_longer_min(both.job, job) < need_min + POURING_STEP_MIN
    assert both.job.access == job.access


@pytest.mark.parametrize("need_min", [41, 400])
def test_a_later_opening_goes_with_a_hand_and_is_no_later_than_it_need_be(kitchen, need_min):
    job = kitchen[0]

    def later_min(changed: Job) -> float:
        return (changed.access.open_by - job.access.open_by) / timedelta(minutes=1)

    def does(changed: Job) -> bool:
        return later_min(changed) >= need_min and changed.crew.stations > job.crew.stations

    found = [pair for pair in pairs(kitchen, does) if "relax.open_later" in codes(pair)]
    assert codes(found[0]) == ("relax.more_mixing", "relax.open_later")
    assert does(found[0].job)
    assert need_min <= later_min(found[0].job) < need_min + OPENING_STEP_MIN
    # Taken further it asks for more of the same.
    assert found[0].further is not None
    assert later_min(found[0].further.job) > later_min(found[0].job)


def test_no_pair_is_found_where_nothing_or_only_three_together_do_nor_of_what_does_alone(
    kitchen,
):
    job = kitchen[0]

    def two(changed: Job) -> bool:
        more = changed.crew.stations > job.crew.stations
        return more and pours_longer_min(changed, job) >= 60

    def three(changed: Job) -> bool:
        return two(changed) and changed.access.open_by > job.access.open_by

    assert pairs(kitchen, lambda _: False) == []
    assert pairs(kitchen, three) == []
    assert len(pairs(kitchen, two)) == 1
    assert pairs(kitchen, two, "relax.more_mixing") == []


@pytest.mark.parametrize(("need", "code"), [(1, "more_mixing"), (2, "more_hands")])
def test_as_few_hands_as_do_are_found_beside_a_later_opening(kitchen, need, code):
    job = kitchen[0]

    def does(changed: Job) -> bool:
        more = changed.crew.stations - job.crew.stations
        return more >= need and changed.access.open_by > job.access.open_by

    both = next(pair for pair in pairs(kitchen, does) if "relax.open_later" in codes(pair))
    assert codes(both) == (f"relax.{code}", "relax.open_later")
    assert both.job.crew.stations - job.crew.stations == need
    if need > 1:
        assert both.say.values["hands"] == f"mixing.{need}"


def test_no_pair_is_told_of_more_hands_than_are_thought_of(kitchen):
    job = kitchen[0]

    def does(changed: Job) -> bool:
        more = changed.crew.stations - job.crew.stations
        return more > MOST_HANDS and changed.access.open_by > job.access.open_by

    assert pairs(kitchen, does) == []
