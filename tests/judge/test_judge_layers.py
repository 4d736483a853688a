"""Layers of a floor made up by hand: what each waits for, how long it takes, when it bears."""

from __future__ import annotations

import math
from datetime import timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_floors import NIGHT, NIGHT_S, at, floor_of

from cureplan.judge import milestones
from cureplan.judge.ageing import CardRate, RoomHours
from cureplan.judge.milestones import Step, Window

PRIMED = Made(broadcast_kg_m2=0.0, mix_s=180.0)


def job_of(*, primer: object = None, cove: object = None, spiked: bool = False) -> Made:
    """A pour crew of one primer hand and three for edges, a topcoat crew of two."""
    return Made(
        cards=Made(primer=primer, topcoat=Made(mix_s=120.0)), cove=cove,
        crew=Made(spiked_shoes=spiked, edge=3, primer=1, topcoat=2),
        pace=Made(vacuum_m2_s=0.1, topcoat_m2_s=0.1, primer_m2_s=0.1, broadcast_m2_s=0.05),
    )  # fmt: skip


def room_of(*, topcoats: int = 2, cove_m: float | None = None) -> Made:
    return Made(topcoats=topcoats, cove_m=cove_m, area_m2=60.0)


def case_of(*log: tuple[str, str, str, float], calls=(), again: bool = False, **job: object):
    lines = [
        Made(event=event, room=room, value=value, at=at(m)) for event, room, value, m in log
    ]
    night = Made(log=lines) if log or again else None
    return Made(plan=Made(job=job_of(**job), night=night, calls=calls))


# What a floor's work is


@pytest.mark.parametrize(
    ("job", "room", "stages"),
    [
        ({}, {"topcoats": 1}, "pour vacuum coat1"),
        ({}, {"topcoats": 3}, "pour vacuum coat1 coat2 coat3"),
        ({"primer": PRIMED}, {}, "primer pour vacuum coat1 coat2"),
        ({"cove": Made(when="before")}, {}, "cove pour vacuum coat1 coat2"),
        ({"cove": Made(when="after")}, {}, "pour cove vacuum coat1 coat2"),
        ({"cove": Made(when="after")}, {"cove_m": 0.0}, "pour vacuum coat1 coat2"),
        ({"cove": Made(when="before")}, {"cove_m": 0.0}, "pour vacuum coat1 coat2"),
        ({"cove": Made(when="before")}, {"cove_m": 9.0}, "cove pour vacuum coat1 coat2"),
        ({"primer": PRIMED, "cove": Made(when="before")}, {"topcoats": 1},
         "cove primer pour vacuum coat1"),
    ],
)  # fmt: skip
def test_a_floor_is_worked_from_the_slab_up(job, room, stages):
    steps = milestones.floor_steps(job_of(**job), room_of(**room))
    assert " ".join(step.stage.replace(" ", "") for step in steps) == stages
    assert [step.coat for step in steps if step.coat] == list(
        range(1, room.get("topcoats", 2) + 1)
    )


def test_each_layer_waits_for_the_one_below():
    primed = {s.stage: s for s in milestones.floor_steps(job_of(primer=PRIMED), room_of())}
    waits = {stage: (s.opens, s.closes, s.bears) for stage, s in primed.items()}
    assert waits == {
        "primer": (None, None, None),
        "pour": ("slurry_opens", "slurry_closes", "foot_traffic"),
        "vacuum": (None, None, "foot_traffic"),
        "coat 1": ("topcoat_opens", "topcoat_closes", "foot_traffic"),
        "coat 2": ("recoat_opens", "recoat_closes", "foot_traffic"),
    }
    bare = {s.stage: s for s in milestones.floor_steps(job_of(spiked=True), room_of())}
    assert (bare["pour"].opens, bare["pour"].closes, bare["pour"].bears) == (None, None, None)
    assert bare["coat 1"].bears is None


# What leads up to it


@pytest.mark.parametrize(
    ("log", "coat", "minute"),
    [
        ([("coat laid", "Bar", "1", 5.0)], 1, 5.0),
        ([("coat laid", "Bar", "1", 5.0)], 2, None),
        ([("coat laid", "Bar", "1", 5.0)], None, None),
        ([("coat laid", "Hall", "1", 5.0)], 1, None),
        ([("vacuumed", "Bar", "1", 5.0)], 1, None),
        ([("coat laid", "Hall", "1", 5.0), ("coat laid", "Bar", "1", 7.0)], 1, 7.0),
        ([("coat laid", "Bar", "", 5.0)], None, 5.0),
        ([], 1, None),
    ],
)
def test_a_log_says_when_something_was_done_to_a_floor(log, coat, minute):
    found = milestones.said_s(case_of(*log), floor_of(), "coat laid", coat)
    assert found == (None if minute is None else NIGHT_S + 60 * minute)


COVE = {"cove": Made(when="before", pace_m_s=0.1)}
AFTER = {"cove": Made(when="after", pace_m_s=0.1)}


@pytest.mark.parametrize(
    ("log", "job", "stage", "leads"),
    [
        ([], COVE, "pour", ["cove"]),
        ([], COVE, "coat 1", ["vacuum"]),
        ([], COVE, "coat 2", []),
        ([], {}, "pour", []),
        ([], AFTER, "coat 1", ["cove", "vacuum"]),
        ([], {**COVE, "primer": PRIMED}, "primer", ["cove"]),
        ([], {**COVE, "primer": PRIMED}, "pour", []),
        # What the log has done leads up to nothing any more; a cove takes no time then.
        ([("vacuumed", "Bar", "", 5.0)], COVE, "coat 1", []),
        ([("vacuumed", "Hall", "", 5.0)], AFTER, "coat 1", ["vacuum"]),
        ([("cove done", "Bar", "", 5.0)], COVE, "pour", []),
    ],
)
def test_work_without_material_leads_up_to_the_next_layer(log, job, stage, leads):
    floor = floor_of(room=room_of(), edge_m=20.0)
    found = milestones.leading_up(case_of(*log, **job), floor, stage)
    assert [step.stage for step in found] == leads


def test_a_pour_is_led_up_to_by_its_cove_though_its_floor_was_vacuumed():
    calls = (Made(room="Bar", stage="cove", first_task=NIGHT, last_task=at(1)),)
    case = case_of(("vacuumed", "Bar", "", 5.0), calls=calls, **COVE)
    floor = floor_of(room=room_of(), edge_m=20.0)
    assert [step.stage for step in milestones.leading_up(case, floor, "pour")] == ["cove"]


@pytest.mark.parametrize(
    ("role", "cove_m", "seconds"),
    # 24 m of walls, or what the job says, at 0.1 m/s a hand.
    [("edge", None, 80.0), ("primer", None, 240.0), ("topcoat", None, 120.0),
     ("edge", 9.0, 30.0)],
)  # fmt: skip
def test_a_cove_takes_its_length_over_its_hands(role, cove_m, seconds):
    floor = floor_of(room=room_of(cove_m=cove_m), edge_m=24.0)
    step = Step(stage="cove", role=role, material=None)
    assert milestones.step_s(case_of(**COVE), floor, step) == pytest.approx(seconds)


def test_a_floor_is_vacuumed_by_all_of_the_topcoat_crew():
    # 60 m² by two hands of 0.1 m²/s, with a cove in the job or without.
    floor = floor_of(room=room_of(), edge_m=24.0)
    vacuum = Step(stage="vacuum", role="vacuum", material=None)
    for job in ({}, COVE):
        assert milestones.step_s(case_of(**job), floor, vacuum) == pytest.approx(300.0)
    cove = Step(stage="cove", role="edge", material=None)
    assert milestones.step_s(case_of(), floor, cove) == pytest.approx(300.0)


@pytest.mark.parametrize(
    ("calls", "seconds"),
    [
        ((), 0.0),
        ((("Bar", "cove", 0.5),), 30.0),
        ((("Bar", "cove", 9.0),), 80.0),
        ((("Hall", "cove", 0.5),), 0.0),
        ((("Bar", "pour", 0.5),), 0.0),
        ((("Bar", "cove", 0.5), ("Bar", "cove", 1.0), ("Hall", "cove", 2.0)), 60.0),
    ],
)
def test_of_a_cove_in_a_night_that_is_left_which_its_calls_say(calls, seconds):
    made = [
        Made(room=room, stage=stage, first_task=NIGHT, last_task=at(minutes))
        for room, stage, minutes in calls
    ]
    floor = floor_of(room=room_of(), edge_m=24.0)
    step = Step(stage="cove", role="edge", material=None)
    case = case_of(calls=made, again=True, **COVE)
    assert milestones.step_s(case, floor, step) == pytest.approx(seconds)
    done = case_of(("cove done", "Bar", "", 1.0), calls=made, **COVE)
    assert milestones.step_s(done, floor, step) == 0.0


# When a coat comes to a patch, and when it may


def coated(log=(), count: int = 3) -> tuple[Made, Made]:
    """60 m² by two hands: mixed in 120 s, spread in 300, from 20:10 on."""
    coats = (Made(coat=1, stage="coat 1", start=at(10.0)),)
    return case_of(*log), floor_of(count, room=room_of(), coats=coats)


def test_a_coat_comes_to_a_patch_after_its_mixing_and_the_patches_before():
    assert milestones._patch_s(*coated(), 1) == pytest.approx([120.0, 220.0, 320.0])
    # By the log it took 840 s, twice as long: so it came to each.
    slow = coated([("coat laid", "Bar", "1", 24.0)])
    assert milestones._patch_s(*slow, 1) == pytest.approx([240.0, 440.0, 640.0])


def test_patches_of_a_coat_reach_a_milestone_after_it_was_laid(monkeypatch):
    given = {}
    monkeypatch.setattr(milestones, "_film_when", lambda *_, **more: given.update(more))
    case, floor = coated()
    case.topcoat = None
    milestones._coat_when(case, floor, floor.coats[0], "lenient")
    assert given["start_s"] == NIGHT_S + 600.0
    assert given["laid_s"] - NIGHT_S == pytest.approx([720.0, 820.0, 920.0])


STEADY = CardRate(
    ref_c=20.0, energy_j_mol=50e3, energy_sd_j_mol=5e3, batch_frac=0.1,
    ref_s={"wet_edge": 3000.0, "foot_traffic": 3000.0},
)  # fmt: skip


def steady_hours() -> RoomHours:
    """Five hours at the reference temperature: age is time."""
    at_s = NIGHT_S + 3600.0 * np.arange(6)
    even = np.full(6, 20.0)
    return RoomHours(
        at_s=at_s, air_c=even, slab_c=even, shade_c=even, dew_c=np.full(6, math.nan)
    )


def test_a_film_reaches_an_age_after_it_was_laid_waits_longer_and_closes_sooner():
    case = Made(age_factor=lambda *_: 1.25)
    floor = floor_of(hours=steady_hours())
    laid_s = NIGHT_S + np.array([0.0, 600.0])
    when = milestones._film_when(
        case, floor, STEADY, start_s=NIGHT_S, laid_s=laid_s, bound="strict"
    )
    assert when("wet_edge") - NIGHT_S == pytest.approx([2400.0, 3000.0])
    assert when("foot_traffic") - NIGHT_S == pytest.approx([3750.0, 4350.0])


def test_a_pour_ages_with_its_slab_and_by_its_own_warmth():
    # Poured at 20:01 and 20:02 and a half, 100 and 200 s old then; the warmth of the film
    # makes it 4 and 8 s older within a minute.
    floor = floor_of(
        hours=steady_hours(), begins_s=NIGHT_S,
        planned=Made(pour_s=NIGHT_S + np.array([60.0, 150.0])),
        runs=Made(
            pour_age_s=np.array([100.0, 200.0]),
            excess_age_s=np.array([[0.0, 2.0, 4.0], [0.0, 4.0, 8.0]]),
        ),
    )  # fmt: skip
    case = Made(slurry=STEADY, age_factor=lambda *_: 1.25)
    at_s, ages_s = milestones._slurry_ages(case, floor, closing=True)
    assert at_s[:4] - NIGHT_S == pytest.approx([0.0, 60.0, 120.0, 180.0])
    assert ages_s[0, :4] == pytest.approx([-math.inf, -math.inf, 164.0, 224.0])
    assert ages_s[1, :4] == pytest.approx([-math.inf, -math.inf, -math.inf, 238.0])
    # 2400 s of age less 104 from the pour on; 3750 where it is waited for.
    poured = milestones._Poured(case, floor, "lenient")
    assert poured.when("wet_edge") - NIGHT_S == pytest.approx([2356.0, 2342.0])
    assert poured.when("foot_traffic") - NIGHT_S == pytest.approx([3706.0, 3692.0])


def window_of(step: Step, patch_s: list[float], **when: list[float]) -> Window:
    floor = floor_of(hours=Made(at_s=np.array([0.0, 1000.0, 2000.0, 5000.0])))
    return milestones._window(
        floor, step, lambda name: np.array(when[name]), patch_s=np.array(patch_s)
    )


@pytest.mark.parametrize(
    ("opens", "closes", "bears", "window"),
    [
        # It comes to the second patch 300 s after its start.
        ([1000.0, 1100.0], [3000.0, 3200.0], None, (1000.0, 2900.0)),
        ([1000.0, 1400.0], [3000.0, 3900.0], None, (1100.0, 3000.0)),
        # All of it bears feet before anybody is on it.
        ([1000.0, 1100.0], [3000.0, 3200.0], [1500.0, 1600.0], (1600.0, 2900.0)),
        ([1000.0, 1100.0], [3000.0, 3200.0], [500.0, 600.0], (1000.0, 2900.0)),
        # Nothing is said of a patch after the last hour.
        ([1000.0, 1100.0], [9000.0, 9000.0], None, (1000.0, 4700.0)),
    ],
)
def test_a_layer_meets_every_patch_inside_its_window(opens, closes, bears, window):
    step = Step(
        stage="coat 1", role="topcoat", material="topcoat", opens="opens", closes="closes",
        bears=None if bears is None else "bears",
    )  # fmt: skip
    found = window_of(step, [0.0, 300.0], opens=opens, closes=closes, bears=bears or [])
    assert (found.opens_s, found.closes_s) == window


@pytest.mark.parametrize(("opens", "closes"), [("a", None), (None, "a"), (None, None)])
def test_a_layer_on_another_waits_for_something(opens, closes):
    step = Step(stage="pour", role="mixer", material="slurry", opens=opens, closes=closes)
    with pytest.raises(AssertionError):
        window_of(step, [0.0], a=[1.0])


def test_what_leads_up_to_a_coat_walks_on_a_floor_that_bears_it(monkeypatch):
    # The cove takes 200 s, vacuuming 100. The floor bears feet at 2000 s: the cove then
    # begins, and the coat 300 s later; where only the vacuum waits, 100 s later.
    leads = [
        Step(stage="cove", role="topcoat", material=None, bears="feet"),
        Step(stage="vacuum", role="vacuum", material=None, bears="feet"),
    ]
    takes_s = {"cove": 200.0, "vacuum": 100.0}
    monkeypatch.setattr(milestones, "leading_up", lambda *_: tuple(leads))
    monkeypatch.setattr(milestones, "step_s", lambda _, __, step: takes_s[step.stage])
    monkeypatch.setattr(milestones, "_patch_s", lambda *_: np.array([0.0]))
    coat = Step(
        stage="coat 1", role="topcoat", material="topcoat", opens="opens", closes="closes"
    )
    when = {"opens": 1000.0, "closes": 4000.0, "feet": 2000.0, "later": 2050.0}
    floor = floor_of(hours=Made(at_s=np.array([0.0, 5000.0])))

    def opens_s() -> float:
        found = milestones._coat_window(
            Made(), floor, coat, lambda name: np.array([when[name]])
        )
        assert found.closes_s == 4000.0
        return found.opens_s

    assert opens_s() == 2300.0
    leads[0] = Step(stage="cove", role="topcoat", material=None)
    assert opens_s() == 2100.0
    leads[0] = Step(stage="cove", role="topcoat", material=None, bears="feet")
    leads[1] = Step(stage="vacuum", role="vacuum", material=None, bears="later")
    assert opens_s() == 2300.0
    when["later"] = 2250.0
    assert opens_s() == 2350.0
    leads[:] = []
    assert opens_s() == 1000.0


# Primers


@pytest.mark.parametrize(
    ("primer", "hands", "seconds"),
    # 60 m² rolled at 0.1 m²/s, and thrown on at 0.05 where the card says so.
    [(None, 1, 600.0), (PRIMED, 1, 600.0), (PRIMED, 2, 300.0), (PRIMED, 0, 600.0),
     (Made(broadcast_kg_m2=0.3), 1, 1800.0)],
)  # fmt: skip
def test_an_area_is_rolled_and_broadcast(primer, hands, seconds):
    case = case_of(primer=primer)
    case.plan.job.crew.primer = hands
    assert milestones.priming_s(case, 60.0) == pytest.approx(seconds)


@pytest.mark.parametrize(("card", "rate"), [(PRIMED, None), (None, STEADY)])
def test_a_primer_is_read_only_where_the_job_has_its_card(card, rate):
    case = case_of(primer=card)
    case.primer = rate
    with pytest.raises(AssertionError, match="its card"):
        milestones._primer_when(case, floor_of(), Made(start=NIGHT), "lenient")


# All of a floor's clocks


def test_a_floors_clocks_are_those_of_its_layers(monkeypatch):
    # Each milestone is a number of minutes after a layer's own start.
    minutes = {
        "foot_traffic": 100.0, "wheels": 200.0, "wash_down": 300.0, "topcoat_opens": 50.0,
        "topcoat_closes": 900.0, "slurry_opens": 30.0, "slurry_closes": 400.0,
        "recoat_opens": 60.0, "recoat_closes": 500.0,
    }  # fmt: skip

    def since(start_s):
        return lambda name: start_s + 60.0 * minutes[name] + np.array([0.0, 60.0])

    monkeypatch.setattr(
        milestones, "_Poured", lambda _, floor, __: Made(when=since(floor.begins_s))
    )
    monkeypatch.setattr(
        milestones, "_primer_when", lambda _, __, primer, ___: since(primer.start)
    )
    monkeypatch.setattr(milestones, "_coat_when", lambda _, __, coat, ___: since(coat.start))
    monkeypatch.setattr(milestones, "_patch_s", lambda *_: np.array([0.0, 120.0]))
    monkeypatch.setattr(milestones, "leading_up", lambda *_: ())
    floor = floor_of(
        2, room=room_of(), begins_s=-100.0, planned=Made(pour_s=np.array([20.0, 500.0])),
        primers=(Made(stage="primer", start=-6000.0),),
        coats=(Made(stage="coat 1", start=7000.0), Made(stage="coat 2", start=20_000.0)),
        hours=Made(at_s=np.array([-9000.0, 0.0, 9000.0, 50_000.0])),
    )  # fmt: skip
    found = milestones.cure_milestones(case_of(primer=PRIMED), floor, "lenient")
    assert found.walkable_by_stage_s == {
        "pour": 5960.0, "primer": 60.0, "coat 1": 13_060.0, "coat 2": 26_060.0
    }  # fmt: skip
    assert (found.walkable_s, found.topcoat_opens_s, found.topcoat_closes_s) == (
        5960.0, 2960.0, 50_000.0
    )  # fmt: skip
    assert (found.foot_s, found.wheels_s, found.wash_s) == (26_060.0, 32_060.0, 38_060.0)
    windows = {stage: (w.opens_s, w.closes_s) for stage, w in found.windows.items()}
    # The first bucket is poured 120 s after its floor's first liquids, the last 600: the
    # primer is ready for them at -4200 and -4140, but bears feet at 60 s only. It closes at
    # 18 000 and 18 060, 17 880 and 17 460 s of the floor's own. A coat comes to its second
    # patch 120 s after its start: what closes at 53 900 and 53 960 lies beyond the hours,
    # which end at 50 000.
    assert windows == {
        "pour": (60.0, 17_460.0), "coat 1": (5960.0, 49_880.0), "coat 2": (13_060.0, 36_940.0)
    }  # fmt: skip
    floor.coats = floor.primers = ()
    bare = milestones.cure_milestones(case_of(), floor, "lenient")
    assert (bare.foot_s, bare.wheels_s, bare.wash_s) == (5960.0, 5960.0, 5960.0)
    floor.hours.at_s = np.array([-9000.0, 60_000.0])
    late = milestones.cure_milestones(case_of(), floor, "lenient")
    assert late.topcoat_closes_s == 53_900.0


def test_how_long_a_stage_is_led_up_to_is_the_sum_of_its_leads():
    floor = floor_of(room=room_of(), edge_m=24.0)
    # 24 m by two of the topcoat crew at 0.1 m/s, and 300 s of vacuuming.
    assert milestones.lead_s(case_of(**AFTER), floor, "coat 1") == pytest.approx(420.0)
    assert milestones.lead_s(case_of(**AFTER), floor, "coat 2") == 0.0
    assert timedelta(seconds=milestones.lead_s(case_of(), floor, "pour")) == timedelta()
