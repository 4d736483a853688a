"""Odds of what people do: a shift that ends, and a floor on the way that is still wet."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, time

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from cureplan.inputs.job.model import Shift
from cureplan.planning.floor.pour import AS_IS
from cureplan.planning.odds.nights import LATE_SD_S, RHYTHM_SD_FRAC
from cureplan.planning.odds.risk import assess
from cureplan.planning.schedule.outcome import Schedule
from cureplan.planning.schedule.placing import place_layer, place_pour
from tests.schedule.rooms import EXACT, few_rooms, pours_of

HOUR_S = 3600.0
MEMBERS = 4000


def _one_room(slack_s: float):
    """The corridor poured and coated once; the topcoat shift ends so long after the coat."""
    job = replace(few_rooms("Corridor"), doubt=EXACT)
    pours = pours_of(job)
    room = pours["Corridor"]
    poured = place_pour(room, AS_IS, job.access.begins.timestamp() + HOUR_S, confidence=0.5)
    work = poured.over[0]
    begins_s = float(np.max(poured.reached["topcoat_opens"])) + 2 * HOUR_S
    coat = place_layer(room, work, poured, begins_s, confidence=0.5)
    ends = datetime.fromtimestamp(coat.end_s + slack_s, job.site.zone)
    shift = Shift(begins=time(0, 0), ends=ends.time())
    asked = replace(job, crew=replace(job.crew, topcoat_shifts=(shift,)))
    schedule = Schedule(pours=(poured,), coats=(coat,), failures=(), required_s=120.0)
    return asked, pours, schedule, coat


@pytest.mark.parametrize("slack_min", [2.0, 13.0, 30.0])
def test_a_shift_is_kept_as_often_as_lateness_and_rhythm_allow(slack_min: float):
    # By quadrature: late |N| x 10 min and dragging |N| x 5 % of the stay, both half-normal,
    # integrated over the one for the other. The coat's end is a whole second for the shift.
    job, pours, schedule, coat = _one_room(60.0 * slack_min)
    issued_s = job.access.begins.timestamp() - 11 * HOUR_S
    odds = assess(job, pours, schedule, issued_s=issued_s, members=MEMBERS)
    drag_sd_s = RHYTHM_SD_FRAC * (coat.end_s - coat.begins_s)

    def inside(late: float) -> float:
        left_s = 60.0 * slack_min - LATE_SD_S * late
        return 2 * norm.pdf(late) * (2 * norm.cdf(left_s / drag_sd_s) - 1)

    expected, _ = quad(inside, 0.0, 60.0 * slack_min / LATE_SD_S)
    sampling = np.sqrt(expected * (1 - expected) / MEMBERS)
    assert odds.shifts_frac == pytest.approx(expected, abs=4 * sampling + 0.002)
    assert odds.all_frac <= odds.shifts_frac


def _behind(late_h: float):
    """A coat in the cook line begun so many hours after the corridor bears feet and the
    tools, which take the set-up, are carried in over it."""
    job = replace(few_rooms("Cook line", "Corridor"), doubt=EXACT)
    pours = pours_of(job)
    start_s = job.access.begins.timestamp() + HOUR_S
    first = place_pour(pours["Cook line"], AS_IS, start_s, confidence=0.5)
    way = place_pour(pours["Corridor"], AS_IS, first.end_s + 900.0, confidence=0.5)
    borne_s = max(way.walkable_s, first.walkable_s)
    begins_s = borne_s + job.crew.setup_s + late_h * HOUR_S
    coat = place_layer(pours["Cook line"], first.over[0], first, begins_s, confidence=0.5)
    schedule = Schedule(pours=(first, way), coats=(coat,), failures=(), required_s=120.0)
    issued_s = job.access.begins.timestamp() - 11 * HOUR_S
    return assess(job, pours, schedule, issued_s=issued_s)


def test_a_crew_waits_where_the_way_in_is_wet_and_not_where_it_is_long_dry():
    soon, even, long_after = (_behind(hours) for hours in (-1.5, 0.0, 3.0))
    assert soon.no_wait_frac < 0.1
    # Come when the corridor is just due: the crew's own lateness helps more than half.
    assert 0.4 < even.no_wait_frac < 0.95
    assert long_after.no_wait_frac > 0.99
    assert soon.no_wait_frac < even.no_wait_frac < long_after.no_wait_frac


def test_a_wait_costs_what_it_pushes_out_of_its_window():
    # The coat of a floor long ready loses nothing by a short wait.
    soon = _behind(-0.5)
    assert soon.no_wait_frac < 0.5
    assert soon.coat_frac["Cook line", 1] > 0.9
