"""What a plan says of its hours and answers, and what is worth a look, at their limits."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.core.messages import Message
from cureplan.inputs.job.model import Heat
from cureplan.planning.plan import acting, answers, assemble, floors, hours, warnings, ways
from cureplan.planning.schedule import tabled
from cureplan.planning.schedule.placing import Span
from tests.planning.made_odds import odds

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()
H = 3600.0


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


def codes(messages):
    return [message.code for message in messages]


# Hours


@pytest.mark.parametrize(
    ("known_h", "first_h", "last_h"), [(-99, -12, 31), (31.5, -12, 31), (33, -12, 33)]
)
def test_a_plans_hours_reach_from_half_a_day_before_to_an_hour_after(known_h, first_h, last_h):
    job = Made(access=Made(begins=NIGHT, open_by=at(30 * 60)))
    epoch_s = NIGHT_S + H * np.arange(-20, 40)
    rows = hours._rows(job, epoch_s, NIGHT_S + known_h * H)
    assert ((epoch_s[rows] - NIGHT_S) / H).tolist() == list(range(first_h, last_h + 1))
    pours = Made(
        job=job, conditions=Made(epoch_s=epoch_s), settled=Made(known_s=NIGHT_S + known_h * H)
    )
    assert hours.known_until_s(pours) == NIGHT_S + last_h * H


def test_a_layer_is_reached_whole_within_the_plans_hours(monkeypatch):
    monkeypatch.setattr(hours, "known_until_s", lambda _: 1000.0)
    pours = Made(pour_task=0)
    for closes_s, kept_s in ((900.0, 900.0), (2000.0, 980.0)):
        placed = Made(
            window=Made(closes_s=closes_s), work=Made(offset_s=np.array([5.0, 20.0])),
            works=[Made(offset_s=np.array([5.0, 20.0]))],
            reached={"topcoat_closes": np.array([closes_s + 9.0, closes_s])},
        )  # fmt: skip
        assert hours.coat_closes_s(pours, placed) == kept_s
        assert hours.pour_closes_s(pours, placed) == kept_s
        assert hours.floor_closes_s(pours, placed) == min(closes_s, 1000.0)
        assert hours._cut(pours, placed) == (closes_s > 980.0)


@pytest.mark.parametrize(
    ("window_h", "keeps", "slab_c", "told"),
    [
        ((None, None), 0.9, 15.0, []), ((0.0, 10.0), 0.9, 15.0, []),
        ((0.1, 10.0), 0.9, 15.0, ["warn.window_from"]),
        ((0.0, 9.9), 0.9, 15.0, ["warn.window_until"]),
        ((0.1, 9.9), 0.9, 15.0, ["warn.window"]),
        ((None, None), 0.89, 15.0, ["warn.limits_tight"]),
        ((None, None), 0.9, 14.9, ["warn.sweats"]),
    ],
)  # fmt: skip
def test_hours_in_which_a_layer_could_not_go_on_are_told(window_h, keeps, slab_c, told):
    # It may be begun from the access, hour 0, until the opening, hour 10.
    here = Made(shade=Made(slab_at=lambda _: slab_c), dew_at=lambda _: 15.0)
    window = tuple(None if h is None else NIGHT_S + h * H for h in window_h)
    pours = {"Bar": Made(conditions=here, limits=lambda _: Made(window=lambda _: window))}
    poured = Made(
        room="Bar", start_s=NIGHT_S + H, own=Made(layer=Made(stage="pour")),
        window=Made(opens_s=-np.inf, closes_s=np.inf),
    )  # fmt: skip
    job = Made(
        rooms=(), policy=Made(confidence=0.9), site=Made(zone=UTC),
        access=Made(begins=NIGHT, open_by=at(600)),
    )  # fmt: skip
    schedule = Made(pours=[poured], primers=(), coats=())
    assert codes(hours.limit_warnings(job, pours, schedule, keeps)) == told


def test_rooms_heated_alike_share_a_caution():
    def heat(to_c, runs=True, hour=0):
        return Heat(to_c=to_c, from_at=at(60 * hour), runs=runs)

    rooms = [
        Made(name=name, heat=one)
        for name, one in (
            ("A", heat(15.0)), ("B", heat(15.0)), ("C", heat(18.0)), ("D", None),
            ("E", heat(15.0, runs=False)), ("F", heat(9.0, hour=-1)),
        )
    ]  # fmt: skip
    found = list(hours._heaters(Made(rooms=rooms, site=Made(zone=UTC))))
    assert [one.values["rooms"] for one in found] == ["F", "A; B", "C"]


# Warnings


def room(name="Bar", **more):
    given = {
        "room": name, "margin_min": 5.0, "sure_margin_min": 1.0, "binding_bucket": 1,
        "keeps_frac": 0.9, "row_depth_m": 1.0, "patches": (((0, 0),),), "order": 1,
        "chilled": False, "opens": at(600), "open_by": at(600), "as_is_margin_min": 1.0,
    }  # fmt: skip
    return Made(**{**given, **more})


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ({}, []), ({"margin_min": 0.0}, ["warn.short"]),
        ({"margin_min": -0.1}, ["warn.negative"]),
        # As often as the 95 % asked, with too little to spare.
        ({"margin_min": 0.0, "keeps_frac": 0.95}, ["warn.margin"]),
        ({"margin_min": -0.1, "keeps_frac": 0.95}, ["warn.negative"]),
        ({"margin_min": 4.0}, []), ({"margin_min": 3.995}, []),
        ({"margin_min": 3.99}, ["warn.short"]), ({"sure_margin_min": 0.0}, []),
        ({"sure_margin_min": -0.1}, ["warn.sure_negative"]), ({"row_depth_m": 1.5}, []),
        ({"row_depth_m": 1.51}, ["warn.row_deep"]),
        ({"patches": (((0, 0),), ((0, 0), (1, 1)))}, ["warn.divided"]),
    ],
)  # fmt: skip
def test_floors_are_warned_of(more, told):
    # Four minutes are asked for, and arms reach 1.5 m.
    job = Made(policy=Made(margin_s=240.0, confidence=0.95), pace=Made(row_depth_max_m=1.5))
    found = warnings._pour_warnings(job, [room(**more)])
    assert codes(found) == told
    if told == ["warn.divided"]:
        assert found[0].values["buckets"] == "2"


@pytest.mark.parametrize(
    ("by_min", "stirred", "too_cold_s", "told"),
    [
        (0, True, np.inf, []), (-1, True, np.inf, ["warn.ice_passed"]),
        (0, False, np.inf, ["warn.ice_early"]), (0, True, 60.0, ["warn.ice_too_long"]),
        (0, False, 60.0, ["warn.ice_early"]), (None, False, 60.0, []),
    ],
)  # fmt: skip
def test_ice_is_warned_of(by_min, stirred, too_cold_s, told):
    job = Made(
        materials=Made(stirred_in_ice=stirred),
        cards=Made(slurry=Made(coldest_liquids_c=1.0)),
    )
    chill = Made(
        in_ice_by=None if by_min is None else at(by_min), measured=False, hours_standing=4.0,
        hours_stirred=1.0,
    )  # fmt: skip
    need = Made(too_cold_s=too_cold_s)
    assert codes(warnings._ice_warnings(job, chill, need, NIGHT)) == told
    chill.measured = True
    assert warnings._ice_warnings(job, chill, need, NIGHT) == []


@pytest.mark.parametrize(("batch", "slow"), [(10.0, False), (10.1, True), (9.0, False)])
def test_batches_that_take_longer_than_they_last_are_warned_of(batch, slow):
    one = Made(room="Bar", coat=1, batch_minutes=batch, batch_working_min=10.0, dew_c=10.0)
    assert bool(warnings._primer_warnings([one])) == slow
    assert codes(warnings._coat_warnings([one])) == ["warn.batch_slow"] * slow
    one.dew_c = None
    assert codes(warnings._coat_warnings([one]))[-1] == "warn.no_dew"


@pytest.mark.parametrize(("start", "told"), [(99.0, True), (100.0, False)])
def test_a_layer_laid_before_the_one_below_bears_feet_is_laid_in_spiked_shoes(start, told):
    below = Made(room="Bar", closed=Made(ends_s=100.0), start_s=0.0,
                 work=Made(layer=Made(stage="coat 1")))  # fmt: skip
    above = Made(room="Bar", start_s=start, closed=None,
                 work=Made(layer=Made(stage="coat 2")))  # fmt: skip
    schedule = Made(primers=(), pours=(), coats=[below, above])
    found = warnings.shoe_warnings(Made(crew=Made(spiked_shoes=True)), schedule)
    assert [one.values["stage"] for one in found] == ["coat 2"] * told
    assert warnings.shoe_warnings(Made(crew=Made(spiked_shoes=False)), schedule) == ()


# Answers


@pytest.mark.parametrize(
    ("margin", "word"), [(-0.1, "short"), (0.0, "tight"), (3.9, "tight"), (4.0, "unsure")]
)
def test_what_a_room_is_without_ice(margin, word):
    assert answers._un_iced(Made(policy=Made(margin_s=240.0)), margin) == word


@pytest.mark.parametrize(
    ("margin", "remedies", "code"),
    [
        (4.0, (), "ice.not_needed"), (3.9, (), "ice.not_allowed"),
        (3.9, ("chill",), "ice.no_help"), (4.0, ("chill",), "ice.not_needed"),
    ],
)  # fmt: skip
def test_why_nothing_is_iced(margin, remedies, code):
    job = Made(policy=Made(margin_s=240.0, remedies=remedies))
    rooms = [room(margin_min=margin), room("Hall", margin_min=margin + 9.0)]
    chill = Made(in_ice_by=None, liquids_as_is_c=20.0, measured=False)
    got = answers.ice_answer(job, rooms, chill)
    assert (codes(got.headline), codes(got.reasons)) == (["ice.no"], [code])
    assert got.reasons[0].values["room"] == "Bar"


def test_which_rooms_are_iced_and_what_that_buys():
    chill = Made(
        in_ice_by=NIGHT, liquids_as_is_c=20.0, measured=False, ice_kg=9.0, hours_standing=4.0,
        hours_stirred=1.0,
        rooms=[
            Made(room=name, gained_min=gained, gained_bucket_min=1.0, gained_floor_min=-0.5,
                 to_c=8.0, sweats=False)
            for name, gained in (("Bar", 3.0), ("Hall", 5.0))
        ],
    )  # fmt: skip
    rooms = [
        room(chilled=True, as_is_margin_min=2.0, kits=3, slab_c=25.0),
        room("Hall", chilled=True, as_is_margin_min=-1.0, kits=4, slab_c=26.0),
        room("Yard"),
    ]
    job = Made(policy=Made(margin_s=240.0, remedies=("chill",)))
    got = answers.ice_answer(job, rooms, chill)
    assert codes(got.headline) == ["ice.yes"]
    assert (got.headline[0].values["kits"], got.headline[0].values["rooms"]) == (7, "Bar; Hall")
    assert codes(got.reasons) == ["ice.un_iced_short", "ice.buys", "ice.time"]
    assert (got.reasons[1].values["gained_min"], got.reasons[1].values["gained_floor_min"]) == (
        5.0, 0.0,
    )  # fmt: skip
    assert codes(answers.ice_answer(job, rooms[:2], chill).headline) == ["ice.yes_all"]


@pytest.mark.parametrize(
    ("opens", "due", "code", "spare_min"),
    [
        ((600, 500), (600, 600), "back.opens", 0),
        ((601, 500), (600, 600), "back.opens_late", 1),
        ((590, 500), (600, 505), "back.room.opens", 5),
        ((590, 506), (600, 505), "back.room.opens_late", 1),
    ],
)  # fmt: skip
def test_when_all_is_ready_against_what_is_nearest_its_limit(opens, due, code, spare_min):
    rooms = [
        room(name, opens=at(o), open_by=at(d))
        for name, o, d in zip(("Bar", "Hall"), opens, due, strict=True)
    ]
    got = answers._opening(rooms[0], rooms)
    assert got.code == code
    assert got.values.get("spare_s", got.values.get("late_s")) == 60.0 * spare_min


def test_how_much_sooner_another_order_could_open():
    job = Made(access=Made(begins=NIGHT))
    got = answers._gap_reason(job, [room(opens=at(300)), room(opens=at(600))], 0.1)
    assert got.values == {"gap_min": pytest.approx(60.0), "whole_min": 600.0}


def test_rooms_poured_before_the_floor_they_lead_over():
    job = Made(
        rooms=[Made(name="Bar"), Made(name="Hall"), Made(name="Yard")],
        crossed_from=lambda name: {"Bar": ("Hall",), "Yard": ("Hall",)}.get(name, ()),
    )
    rooms = [room("Bar", order=1), room("Hall", order=2), room("Yard", order=3)]
    (got,) = answers._way_out_reasons(job, rooms)
    assert (got.values["room"], got.values["rooms"]) == ("Hall", "Bar")


def test_what_is_not_listed_is_told_where_it_buys_enough():
    tightest = Made(room="Bar", margin_s=60.0)
    others = (
        ("chill", 60.0 + 60.0 * answers.WORTH_SAYING_MIN),
        ("bays", 61.0),
        ("hour", 900.0),
    )
    found = answers.alternatives(Made(tightest=tightest, others_s=others))
    assert codes(one.what for one in found) == ["alternative.hour", "alternative.chill"]
    assert found[0].buys_min == 14.0


# Floors


@pytest.mark.parametrize(
    ("wet", "busy", "spare", "code"),
    [
        (True, False, 9.0, "wet"), (False, False, 0.0, "unsure"), (False, True, 9.0, "busy"),
        (False, True, -0.1, "stop"), (False, False, -0.1, "stop"),
    ],
)  # fmt: skip
def test_how_a_seam_is_met(wet, busy, spare, code):
    seam = Made(next_room="Hall", spare_s=spare, wet=wet, busy=busy)
    assert floors._seam("Bar", seam).code == f"pour.seam_{code}"


@pytest.mark.parametrize(
    ("start", "lasts", "held"),
    [(0, 100, True), (-1, 50, False), (0, 101, False), (200, 100, True), (90, 20, False)],
)
def test_a_pour_is_held_by_a_shift_from_end_to_end(start, lasts, held):
    spans = [Span(begins_s=0.0, ends_s=100.0), Span(begins_s=200.0, ends_s=300.0)]
    assert floors._held(spans, start, lasts) == held


@pytest.mark.parametrize(
    ("name", "off_s", "known"),
    [("wheels", 0.0, True), ("wheels", 1.0, False), ("foot_traffic", 9999.0, True)],
)
def test_beyond_the_plans_hours_only_what_it_opens_by_is_known(monkeypatch, name, off_s, known):
    monkeypatch.setattr(floors, "known_until_s", lambda _: NIGHT_S)
    pours = Made(room=Made(open_needs=("foot_traffic",)), job=Made(site=Made(zone=UTC)))
    assert (floors._known(pours, name, NIGHT_S + off_s) is not None) == known


def test_heaters_are_a_remedy_where_the_job_lists_them():
    heat = Heat(to_c=15.0, from_at=NIGHT, runs=True)
    listed, not_listed = (Made(policy=Made(remedies=r)) for r in (("heat",), ()))
    assert floors._heats(listed, Made(heat=heat)) is heat
    assert floors._heats(not_listed, Made(heat=heat)) is None
    assert not floors._heats(listed, Made(heat=None))
    idle = Heat(to_c=15.0, from_at=NIGHT, runs=False)
    assert floors._heats(listed, Made(heat=idle)) is None


# Ways


def looking(**more):
    job = Made(policy=Made(confidence=0.9, remedies=()), access=Made(begins=NIGHT))
    given = {
        "job": job, "chosen": Made(chance_frac=0.5, odds=odds()), "reach": [], "more": [],
        "left_s": 9.0, "_may_plan": lambda: True, "stop": lambda: False, "tried": [],
        "best_frac": 0.0, "weak": [], "issued_s": NIGHT_S - H, "step": None,
    }  # fmt: skip
    return Made(**{**given, **more})


@pytest.mark.parametrize(
    ("left_s", "kept", "stop", "over"),
    [(2.0, 1.0, False, False), (1.0, 1.0, False, True), (0.0, 0.0, False, True),
     (9.0, 0.0, True, True)],
)  # fmt: skip
def test_no_more_is_looked_at_than_there_is_work_for(left_s, kept, stop, over):
    here = looking(left_s=left_s, stop=lambda: stop)
    assert ways._Looking._over(here, kept) == over


@pytest.mark.parametrize(
    ("frac", "best", "little"),
    [
        # The best lifts the chance by 0.2; 0.35 of that is 0.07, a glance errs by 0.03.
        (0.54, [0.7], False), (0.539, [0.7], True), (0.5, [], False), (0.54, [0.6, 0.7], False),
        (0.46, [0.5], True),
    ],
)  # fmt: skip
def test_a_way_that_gives_much_less_than_another_is_not_told(frac, best, little):
    told = [Made(chosen=Made(chance_frac=one)) for one in best]
    found = Made(chosen=Made(chance_frac=frac + 1e-9))
    if (frac, little) == (0.539, True):
        found = Made(chosen=Made(chance_frac=0.539))
    assert ways._Looking._little(looking(), found, told) == little


def step(job, *, begins=0.0, further=None, code="relax.a", also=None):
    return Made(
        job=Made(name=job, access=Made(begins=at(begins))), say=Message(code, {}), also=also,
        further=further, effort_min=1.0,
    )  # fmt: skip


def test_a_limit_is_moved_further_at_once_but_never_to_an_hour_ago():
    far = step("c")
    here = looking()
    both = step("a", further=step("b", further=far))
    assert [s.job.name for s in ways._Looking._steps(here, both)] == ["b", "c"]
    assert [s.job.name for s in ways._Looking._steps(here, step("a"))] == ["a"]
    # What is made an hour before access may begin an hour sooner, not two.
    sooner = step("a", further=step("b", begins=-60.0, further=step("c", begins=-61.0)))
    assert [s.job.name for s in ways._Looking._steps(here, sooner)] == ["b"]
    gone = step("a", begins=-61.0)
    assert ways._Looking._steps(here, gone) == []
    # Of a job of the past every hour may be.
    past = looking(issued_s=NIGHT_S)
    assert [s.job.name for s in ways._Looking._steps(past, gone)] == ["a"]


@pytest.mark.parametrize(
    ("quick", "planned", "found"),
    [
        # 0.9 is asked: within 0.1 of it, or of 0.03 where there is no plan, it is planned.
        (0.81, True, "full"), (0.79, True, "glance"), (0.79, False, "glance"),
        (0.88, False, "full"), (0.86, False, "glance"), (None, True, None),
        # As it is it holds 0.5: 0.01 more, less what a glance may fall short by.
        (0.512, True, "glance"), (0.509, True, None), (0.46, False, "glance"),
        (0.34, False, None),
    ],
)  # fmt: skip
def test_a_way_near_what_is_asked_is_planned_in_full(quick, planned, found):
    best = None if quick is None else Made(chance_frac=quick)
    here = looking(
        chosen=Made(chance_frac=0.5 if planned else 0.0, odds=odds() if planned else None),
        _glance=lambda *_: Made(best=best), _as_is=lambda: None,
        _in_full=lambda *_: "full", _gains=lambda _: True,
    )  # fmt: skip
    here._cure_frac = lambda: ways._Looking._cure_frac(here)
    got = ways._Looking._tried(here, step("a"))
    assert (got if got in ("full", None) else "glance") == found
    assert here.best_frac == (quick or 0.0)
    if got not in ("full", None):
        assert (got.full, got.reaches) == (False, False)


@pytest.mark.parametrize(
    ("frac", "planned", "keeps", "told"),
    [
        (None, True, False, None), (0.52, True, False, "more"), (0.519, True, False, None),
        (0.5, True, True, "reaches"), (0.46, False, False, "more"), (0.44, False, False, None),
    ],
)  # fmt: skip
def test_a_full_plan_is_told_where_it_holds_more_often(monkeypatch, frac, planned, keeps, told):
    monkeypatch.setattr(ways, "replace", lambda way, **more: Made(**{**vars(way), **more}))
    full = Made(
        odds=None if frac is None else 1, chance_frac=frac, schedule=Made(opens_s=9.0),
        keeps_policy=lambda _: keeps,
    )  # fmt: skip
    was = Made(chance_frac=0.5 if planned else 0.0, odds=odds() if planned else None)
    here = looking(chosen=was, _planned=lambda _: full)
    here._cure_frac = lambda: ways._Looking._cure_frac(here)
    got = ways._Looking._in_full(here, step("a"), None)
    assert (got and ("reaches" if got.reaches else "more")) == told
    if told:
        assert (got.full, got.way.chance_frac, got.way.opens_s) == (True, frac, 9.0)
    here._planned = lambda _: None
    assert ways._Looking._in_full(here, step("a"), None) is None


def test_where_there_is_no_plan_a_cure_holds_half_of_what_is_asked():
    assert ways._Looking._cure_frac(looking()) == 0.0
    none = looking(chosen=Made(odds=None, chance_frac=0.0))
    assert ways._Looking._cure_frac(none) == pytest.approx(0.45)


@pytest.mark.parametrize(
    ("begins_h", "ends_h", "known"),
    [(0, 10, True), (-1, 10, False), (0, 10.1, False), (1, 9, True)],
)
def test_the_weather_reaches_from_the_first_hour_to_the_last(begins_h, ends_h, known):
    pours = {
        "Bar": Made(conditions=Made(first_s=NIGHT_S, last_s=NIGHT_S + 10 * H)),
        "Hall": Made(conditions=Made(first_s=NIGHT_S - H, last_s=NIGHT_S + 9 * H)),
    }
    job = Made(access=Made(begins=at(60 * begins_h), open_by=at(60 * ends_h)))
    assert acting._known(job, pours) == known


@pytest.mark.parametrize(
    ("part", "best", "acts"),
    [
        # Of the least kept first; no more can be won than the others leave.
        ({}, 0.0, ["coats", "buckets"]), ({"shifts_frac": 0.989}, 0.0, ["coats", "buckets"]),
        ({"coats_frac": 0.99, "buckets_frac": 0.6}, 0.0, ["buckets"]),
        ({"coats_frac": 0.52, "buckets_frac": 0.515, "all_frac": 0.5}, 0.0, ["buckets"]),
        ({}, 0.95, ["coats"]),
    ],
)  # fmt: skip
def test_what_is_lost_most_is_acted_on_first(part, best, acts):
    asked = []

    def acting(part, *_, much):
        asked.append(part)
        return [Made(effort_min=1.0)]

    here = looking(best_frac=best, _acting_on=acting)
    given = odds(**{"shifts_frac": 1.0, **part})
    got = list(ways._Looking._by_chance(here, here.job, Made(odds=given, schedule=None)))
    assert asked[: len(acts)] == acts
    assert len(got) == len(asked)


def test_the_looking_may_take_so_many_times_what_start_search_and_rooms_took(monkeypatch):
    names = ("MOST_HELP", "START_S", "SHEET_S", "ROOM_S", "MOST_S")
    for name, value in zip(names, (1.5, 1.0, 2.0, 3.0, 100.0), strict=True):
        monkeypatch.setattr(ways, name, value)
    job, tables = Made(rooms=("a", "b")), Made(tabled=tabled.Tabled(floors=16))
    monkeypatch.setattr(tabled, "WORK_S", 4.0)
    monkeypatch.setattr(tabled, "FLOOR_S", 0.5)
    planned = Made(odds=1, schedule=Made(worked=6.0))
    # 1.5 times 1 s to start, 6 units of 4 s, 8 s of tables, 2 s for the sheet and 3 a room.
    assert ways._budget_s(job, tables, planned) == 1.5 * 41.0
    # Without a plan there is no sheet; and there is an end to it.
    assert ways._budget_s(job, tables, Made(odds=None, schedule=Made(worked=6.0))) == 1.5 * 33.0
    assert ways._budget_s(job, tables, Made(odds=1, schedule=Made(worked=60.0))) == 100.0


@pytest.mark.parametrize(
    ("held", "known", "told"),
    [
        (None, "found", []), (0.5, "impossible", ["warn.less_sure"]),
        # What was found, and holds no more often, is not told as unknown.
        (0.5, "found", ["warn.less_held"]), (0.5, "unknown", ["warn.sure_unknown"]),
        (0.5, None, ["warn.sure_unknown"]),
    ],
)  # fmt: skip
def test_whether_windows_can_be_kept_as_surely_as_asked_is_told(held, known, told):
    job = Made(policy=Made(confidence=0.9))
    found = assemble._less_sure(job, Made(held_frac=held, sure_known=known))
    assert codes(found) == told
