"""Three cold jobs planned whole: what a foreman is told, by figures worked apart."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from cureplan.api import _in_words, cannot_alone, get_weather, make_plan, read_job
from cureplan.core.errors import NoFeasiblePlanError
from cureplan.inputs.job.model import Heat
from cureplan.judge import judge
from cureplan.output.view.sources import arrival_views
from cureplan.output.view.view import voice_of
from cureplan.planning.floor.limits import _crossing
from cureplan.planning.schedule.conflict import _breach_says
from cureplan.planning.schedule.construct import prepare_pours
from tests.commands import steady

JOBS = Path(__file__).parents[1] / "pinned" / "jobs"


def weather(folder: Path, first: str, temp_c: str | float, swing_k: float, dew_c: float):
    """Hourly rows for 20 days; the swing is greatest at 19:00 UTC."""
    at, rows = datetime.fromisoformat(first), ["time,temp_c,dew_c"]
    for hour in range(20 * 24):
        wave = swing_k * math.cos(2 * math.pi * (hour % 24 - 19) / 24)
        now = at + timedelta(hours=hour)
        rows.append(f"{now:%Y-%m-%dT%H:%MZ},{temp_c + wave:.2f},{dew_c}")
    (folder / "mild.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    (folder / "hot.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


def job_of(folder: Path, name: str = "one-room", **swaps: str):
    """A pinned job with some of its lines changed, by the key that begins them."""
    lines = (JOBS / f"{name}.toml").read_text(encoding="utf-8").splitlines()
    for n, line in enumerate(lines):
        key = line.partition(" =")[0]
        if key in swaps:
            lines[n] = f"{key} = {swaps.pop(key)}"
    assert not swaps
    path = folder / "job.toml"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_job(path)


COLD = {
    "ground": '"46 F"',
    "gain": '"0 F"',
    "lag": '"5 h"',
    "storage": '"65 F"',
    "pour_shifts": '[{ from = "07:00", to = "17:00" }]',
}
HEATED = '\nheat = { to = "65 F", from = %s }'
REMEDIES = '["hour", "chill", "bays", "heat"]'


@pytest.fixture(scope="module")
def shell(tmp_path_factory):
    """A shell at freezing point, with or without heaters at hand."""
    folder = tmp_path_factory.mktemp("shell")
    weather(folder, "2026-01-05T00:00", 0.0, 4.0, -6.0)
    access = {"from": "2026-01-15T06:00:00", "open_by": "2026-01-21T06:00:00"}
    bare = job_of(folder, **COLD, **access)
    warmed = {**COLD, "ground": '"46 F"' + HEATED % access["from"]}
    return bare, job_of(folder, **warmed, **access, remedies=REMEDIES)


def why_not(job) -> str:
    with pytest.raises(NoFeasiblePlanError) as refused:
        make_plan(job, now=job.access.begins - timedelta(hours=18), what_helps=False)
    return str(refused.value)


@pytest.mark.thorough
def test_a_shell_at_freezing_point_is_never_green(shell):
    bare, _ = shell
    told = why_not(bare)
    # By hand: a wave of 4 K that a lag of 5 h makes 4 / sqrt(1 + (10 pi / 24)^2)
    # = 2.43 K and 3.5 h late stands at -2.2 °C = 28 °F at 07:00 in New York (12:00 UTC).
    assert "air 28 °F at Thu 07:00 is below the 45 °F of its card" in told
    assert "Heat may do" in told
    series = get_weather(bare, now=bare.access.begins)
    assert "28 °F" in _in_words(bare, cannot_alone(bare, series))


@pytest.mark.thorough
def test_heaters_are_named_as_a_way_and_do_what_was_said(shell):
    bare, _ = shell
    now = bare.access.begins - timedelta(hours=18)
    with pytest.raises(NoFeasiblePlanError) as refused:
        make_plan(bare, now=now)
    told = re.search(
        r"with heaters that keep (.*) at 70 °F from (\w+ [\d:]+).* on (\d+)%",
        str(refused.value),
    )
    assert told is not None, str(refused.value)
    assert told[1] == bare.rooms[0].name
    # By hand: the same job with those heaters, as a foreman would write them down.
    heat = Heat(to_c=(70 - 32) / 1.8, from_at=bare.access.begins, runs=True)
    rooms = tuple(replace(room, heat=heat) for room in bare.rooms)
    plan = make_plan(replace(bare, rooms=rooms), now=now, what_helps=False)
    # Chances are told rounded down.
    assert int(100 * plan.risk.all_keep_frac + 1e-9) == int(told[3])


@pytest.mark.thorough
def test_heaters_a_job_allows_make_it_go_once_the_slab_is_warm(shell):
    _, heated = shell
    plan = make_plan(heated, now=heated.access.begins - timedelta(hours=18), what_helps=False)
    (room,) = plan.rooms
    assert "heat" in room.remedies
    assert judge(plan) == ()
    # The air is at 65 °F = 18.3 °C; the slab must come up from about 3 °C to the card's 45 °F.
    assert room.air_c == pytest.approx(18.33, abs=0.01)
    assert room.slab_c >= 7.22
    codes = {warning.code for warning in plan.warnings}
    assert {"warn.heat", "warn.window_from"} <= codes
    window = next(w for w in plan.warnings if w.code == "warn.window_from")
    lifts = datetime.fromisoformat(str(window.values["from_at"]))
    assert heated.access.begins < lifts <= room.pour_start
    # Clear of the limit by what the slab errs, 1 K, and one half of it against the rest, 1 K:
    # sqrt(2) K at one in ten, 1.28 SD. The slab reaches 45 °F + 3.26 °F.
    assert room.slab_c >= 7.22 + 1.2816 * math.sqrt(2.0) - 0.01
    # So a half that is the colder one holds 8 times in 10, one that is not 19 times in 20.
    assert plan.risk.limits_keep_frac >= 0.89
    assert plan.risk.all_keep_frac <= plan.risk.limits_keep_frac
    series = get_weather(heated, now=heated.access.begins)
    assert cannot_alone(heated, series) == ()


@pytest.mark.thorough
def test_a_plan_bent_into_the_cold_is_refused(shell):
    _, heated = shell
    plan = make_plan(heated, now=heated.access.begins - timedelta(hours=18), what_helps=False)
    hours = tuple(
        replace(row, rooms=tuple(replace(r, slab_c=r.slab_c - 6.0) for r in row.rooms))
        for row in plan.hours
    )
    assert "limits" in {finding.rule for finding in judge(replace(plan, hours=hours))}


def vestibule(folder: Path, **more: str):
    """Air at 50 °F, ground at 46 °F, a slab read at 40 °F, dew point 45 °F."""
    weather(folder, "2026-03-01T00:00", 10.0, 0.0, 7.22)
    access = {"from": "2026-03-10T06:00:00", "open_by": "2026-03-16T06:00:00"}
    use = '"passage"\nslab_reading = { temp = "40 F", at = 2026-03-10T06:00:00 }'
    return job_of(folder, **{**COLD, **access, "use": use, **more})


@pytest.mark.thorough
def test_a_vestibule_below_its_dew_point_is_told_so(tmp_path):
    told = why_not(vestibule(tmp_path))
    # By hand: the slab lies between ground at 46 °F and air at 50 °F once the cold that was
    # read has gone, and never 5 °F above a dew point of 45 °F.
    assert "below dew point 45 °F + 5 °F, and stays so in all of the weather given" in told
    assert "slab 4" in told


def test_a_wet_slab_is_told_where_the_weather_ends_too_soon_as_well(tmp_path):
    # A floor at 47 °F takes some six days to bear wash-down; the hours given are four.
    job = vestibule(tmp_path, open_by="2026-03-13T06:00:00")
    for name in ("mild.csv", "hot.csv"):
        rows = (tmp_path / name).read_text(encoding="utf-8").splitlines()
        kept = [row for row in rows if not row.startswith("2026-03-1") or row < "2026-03-14"]
        (tmp_path / name).write_text("\n".join(kept) + "\n", encoding="utf-8")
    series = get_weather(job, now=job.access.begins)
    told = _in_words(job, cannot_alone(job, series))
    assert "and stays so in all of the weather given: no topcoat 1 goes on it" in told
    assert "below the 45 °F of its card" in told


@pytest.mark.thorough
def test_a_heated_vestibule_waits_for_its_slab(tmp_path):
    job = vestibule(
        tmp_path, ground='"46 F"' + HEATED % "2026-03-10T06:00:00", remedies=REMEDIES
    )
    plan = make_plan(job, now=job.access.begins - timedelta(hours=18), what_helps=False)
    (room,) = plan.rooms
    hour = next(row for row in plan.hours if row.at == job.access.begins)
    # Read at 40 °F = 4.4 °C, 5 °F below the card's lowest: not poured when the crew may be in.
    assert hour.rooms[0].slab_c == pytest.approx(4.4, abs=0.2)
    # By hand, for a half-space at 4.4 °C under air at 65 °F and 7 W/m²K (Incropera eq. 5.60):
    # 45 °F after 45 min; the plan wants 1 K more, and set-up.
    assert room.pour_start > job.access.begins + timedelta(minutes=45)
    assert room.slab_c > 7.22
    (coat,) = plan.coats
    assert coat.slab_c - coat.dew_c >= 2.77


def spain(folder: Path, day: str):
    """Three rooms, a pour shift of 01:00 to 04:00 by the clock."""
    nights = {"2026-10-24": "2026-10-29", "2026-10-31": "2026-11-05"}
    weather(folder, f"2026-10-{'12' if day == '2026-10-24' else '19'}T00:00", 18.0, 3.0, 8.0)
    return job_of(
        folder,
        "metric-spanish",
        **{
            "from": f"{day}T22:00:00",
            "open_by": f"{nights[day]}T08:00:00",
            "setup": '"30 min"',
            "pour_shifts": '[{ from = "01:00", to = "04:00" }]',
            "slab_reading": f'{{ temp = "22 C", at = {day}T16:00:00 }}',
        },
    )


@pytest.mark.thorough
def test_the_night_clocks_go_back_has_an_hour_more(tmp_path):
    job = spain(tmp_path, "2026-10-24")
    plan = make_plan(job, now=job.access.begins - timedelta(hours=8), what_helps=False)
    assert judge(plan) == ()
    # By hand: 31.5, 17.5 and 14.4 m², 3.175 + 0.4 mm and 8 % waste from 9.5 L a kit.
    assert {r.room: r.kits for r in plan.takeoff.rooms} == {
        "Cocina": 13,
        "Almacén": 8,
        "Pasillo": 6,
    }
    # 63.4 m² at 1 lb/sq ft = 4.882 kg/m² in bags of 50 lb.
    assert plan.takeoff.aggregate_bags == math.ceil(63.4 * 4.88243 / 22.67962)
    # By hand, a kit every 210 s and about 10 min after the last: 54, 36 and 29 min of pouring
    # and twice 20 min between are 159 min, which 3 h less 30 min of set-up do not hold.
    # 01:00 CEST to 04:00 CET are 4 h: enough for all three.
    begins = min(room.pour_start for room in plan.rooms)
    ends = max(room.pour_end for room in plan.rooms)
    worked = ends.timestamp() - begins.timestamp()
    assert 2.5 * 3600 < worked <= 3.5 * 3600
    # Who works while the hour comes twice is paid for it: from coming to going as time runs.
    stays_h = [
        (one.leaves.timestamp() - one.call.timestamp()) / 3600 * one.people
        for one in plan.arrivals
    ]
    assert plan.labour is not None
    # The total is the sum of what is shown, each stay in begun minutes.
    shown_h = [
        math.ceil(h / a.people * 60 - 1e-6) * a.people / 60
        for h, a in zip(stays_h, plan.arrivals, strict=True)
    ]
    assert plan.labour.person_hours == pytest.approx(sum(shown_h), abs=1e-4)
    told = [view.hours for view in arrival_views(plan, voice_of(plan, "en"))]
    assert told == [
        f"{math.ceil(hours / one.people * 60 - 1e-6) // 60} h "
        f"{math.ceil(hours / one.people * 60 - 1e-6) % 60} min".replace(
            " 0 min", ""
        ).removeprefix("0 h ")
        for hours, one in zip(stays_h, plan.arrivals, strict=True)
    ]


@pytest.mark.thorough
def test_a_week_later_the_same_shift_needs_two_nights(tmp_path):
    job = spain(tmp_path, "2026-10-31")
    plan = make_plan(job, now=job.access.begins - timedelta(hours=8), what_helps=False)
    assert len({room.pour_start.date() for room in plan.rooms}) == 2


def test_a_floor_that_cures_longer_than_the_weather_known_is_told_so(tmp_path):
    # By hand: 5 h until the coat and 48 h until wash-down at the cards' 21 °C; at 6 °C and
    # 50 kJ/mol, exp(50,000 / 8.314 x (1/279.15 - 1/294.15)) = 3.00 times as long: 159 h, of
    # the six days that the weather still reaches.
    steady.write_weather(tmp_path / "weather.csv", 6.0, days=17)
    job = read_job(steady.write_job(tmp_path, ('ground = "21 C"', 'ground = "6 C"')))
    told = cannot_alone(job, get_weather(job, now=job.access.begins))
    said = next(say for say in told if say.code == "limit.slow")
    assert said.values["takes_s"] == pytest.approx(159 * 3600.0, rel=0.02)
    assert said.values["slab_c"] == pytest.approx(6.0, abs=0.1)


def test_nights_beyond_the_weather_given_are_not_taken_for_warm(tmp_path):
    # Inside, a swing of 5 K is 5 / sqrt(1 + (10 pi / 24)^2) = 3.04 K: from 5.0 to 11.0 °C about
    # a card's 45 °F = 7.2 °C, coldest at 07:00 UTC + 3.5 h; the last hours known are warm.
    weather(tmp_path, "2026-03-01T00:00", 8.0, 5.0, 0.0)
    access = {"from": "2026-03-10T06:00:00", "open_by": "2026-03-16T06:00:00"}
    job = job_of(tmp_path, **{**COLD, **access})
    room = prepare_pours(job, get_weather(job, now=job.access.begins))["Bakery"]
    limits = room.limits(room.tasks[room.pour_task][-1])
    start_s, hour_s = job.access.begins.timestamp(), 3600.0
    laid_s = limits.next_s(start_s, hour_s, start_s)
    assert start_s < laid_s < start_s + 12 * hour_s
    assert limits.next_s(start_s, hour_s, start_s + 18 * hour_s) == math.inf
    breach = limits.breach(start_s, start_s + hour_s)
    then = limits.breach(laid_s, laid_s + 18 * hour_s, cures=True)
    assert then.temp_c == pytest.approx(8.0 - 3.04, abs=0.1)
    said = _breach_says(job, "Bakery", limits.layer, breach, math.inf, laid_s, then)
    for language, words in (("en", "before it bears feet"), ("es", "antes de que")):
        assert words in _in_words(replace(job, languages=(language,)), [said])
    assert "could be laid from Tue" in _in_words(job, [said])


def test_what_is_spare_crosses_nothing_on_the_line_between_two_hours():
    hours_s, spare_k = np.array([0.0, 3600.0, 7200.0]), np.array([2.0, 1.0, -3.0])
    # By hand: from 1 to -3 in an hour, so a quarter of it after the first.
    assert _crossing(hours_s, spare_k, 1) == 4500.0
