"""Small sums behind a night's plan, each seen alone."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.odds import risk
from cureplan.planning.plan import answers, choose, climb
from cureplan.planning.replan import carry_on, estimate, job, state
from cureplan.planning.schedule import construct
from cureplan.planning.schedule.outcome import Schedule

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)


def test_halves_of_a_slab_are_read_at_either_side_of_its_middle():
    fit = Made(slab=lambda number, *, along: (10.0 * number + along, 0.3))
    one = Made(rooms=("Hall", "Bar"), fit=fit, along=(0.5, -0.25))
    assert estimate.NightReadings.halves_k(one, "Bar") == (9.5, 10.5)
    assert estimate.NightReadings._slab(one, "Bar") == (9.75, 0.3)


@pytest.mark.parametrize(
    ("bays", "warm", "read_min", "plainer", "slope", "fits", "parts"),
    [
        # A floor of one bay has halves one way; one whose half is known is halved that way.
        ((0, 0), (), (10, 30, 80), 0.0, 1, 1, ("last",)),
        ((0, 1), ("last",), (10, 30, 80), 0.0, 1, 1, ("last",)),
        # The other way counts too where it is as likely, alone where it is plainer by one.
        ((0, 1), (), (10, 30, 80), 0.0, 1, 2, ("last", "front")),
        ((0, 1), (), (10, 30, 80), 0.75, 0, 2, ("last", "front")),
        ((0, 1), (), (10, 30, 80), -0.75, -1, 2, ("last", "back")),
        ((0, 1), (), (10, 30, 80), 1.0, 1, 2, ("front",)),
        ((0, 1), (), (10, 30, 80), -1.0, 1, 2, ("last",)),
        ((0, 1), (), (), 0.0, 1, 1, ("last",)),
    ],
)
def test_a_floor_in_bays_is_halved_both_ways(
    monkeypatch, bays, warm, read_min, plainer, slope, fits, parts
):
    said = [Made(room="Bar", at=NIGHT + timedelta(minutes=one)) for one in read_min]
    priors, tried = [], []

    def seen_in(*_, deep):
        tried.append(sorted(deep))
        return Made(readings_said=said, buckets=(), ends=(), slabs=(), mixes=())

    def fit_night(**_):
        across = bool(tried[-1])
        return Made(
            plainness=lambda _: 5.0 + plainer * across, now_h=0.0,
            slope_k=lambda _: slope if across else 1.0,
        )  # fmt: skip

    monkeypatch.setattr(estimate, "seen_in", seen_in)
    monkeypatch.setattr(estimate, "night_prior", lambda *_, **more: priors.append(more["at_s"]))
    monkeypatch.setattr(estimate, "_widened", lambda prior, _: prior)
    monkeypatch.setattr(estimate, "fit_night", fit_night)
    monkeypatch.setattr(estimate, "refuse_wild_ends", lambda *_: None)
    monkeypatch.setattr(estimate, "_rest_along", lambda *_: 0.5)
    floors = {"Bar": Made(bay=np.array(bays), complete=True)}
    now_s = NIGHT.timestamp() + 6000.0
    got = estimate.estimate_night(
        Made(pace=Made(haul_s=60.0)), [], Made(floors=floors, now_s=now_s), clocks=None,
        conditions={"Bar": Made(warm_parts=warm)}, doubt_left=1.0,
    )  # fmt: skip
    assert (len(tried), got.parts) == (fits, (parts,))
    # Believed as of the middle reading; as of now where nothing was read.
    assert priors == [NIGHT.timestamp() + 1800.0 if read_min else now_s] * fits
    ends_s = (NIGHT.timestamp() + 600.0, NIGHT.timestamp() + 4800.0)
    assert (got.first_s, got.last_s) == (ends_s if read_min else (now_s, now_s))


def test_readings_of_floors_that_are_planned_are_taken(monkeypatch):
    monkeypatch.setattr(estimate, "Seen", lambda *_: Made(take=taken.append))
    taken = []
    events = [
        Made(event=kind, room=room)
        for kind, room in (("poured", "Bar"), ("slab reads", "Gone"), ("slab reads", "Bar"))
    ]
    estimate.seen_in(None, events, Made(floors={"Bar": None}), {}, None)
    assert taken == events[2:]


@pytest.mark.parametrize(
    ("remedies", "chilled", "liquids_c", "filler_c"),
    [((), False, 4480.0, 4480.0), (("cool filler",), True, 5.0, 12.0)],
)
def test_a_bucket_is_watched_from_its_first_stir(remedies, chilled, liquids_c, filler_c):
    # Poured at 5000 s, hauled 60, mixed 200 with filler and 260 before: stirred from 4480.
    here = estimate.Seen.__new__(estimate.Seen)
    card = Made(filler_mix_s=200.0, liquids_mix_s=260.0)
    materials = Made(iced_c=5.0, liquids_measured_c=None, storage_c=None, cool_filler_c=12.0)
    here.job = Made(cards=Made(slurry=card), pace=Made(haul_s=60.0), materials=materials)
    here.conditions = {
        "Bar": Made(
            air_at=float, humidity_at=float,
            slab_under=lambda at_s, *_: at_s + np.array([1.0, 2.0]),
        )
    }  # fmt: skip
    here.clocks = Made(humidity=Made(at=lambda at_s: at_s / 1000.0))
    here.rooms, here.deep = ("Hall", "Bar"), frozenset()
    lying = Made(
        poured_s=np.array([0.0, 5000.0]), bay=np.array([0, 0]), row=np.array([0, 1]),
        room=Made(room="Bar", chilled=chilled, remedies=remedies),
    )  # fmt: skip
    here.state = Made(floors={"Bar": lying})
    got = here._watched(lying, 2)
    assert (got.air_c, got.liquids_c, got.filler_c) == (4480.0, liquids_c, filler_c)
    assert (got.slab_c, got.along, got.room) == (5002.0, 0.5, 1)
    assert (got.rate_factor, got.poured_h) == (5.0, pytest.approx(5000.0 / 3600.0))
    assert here._slab_c("Bar", 100.0, None) == 101.5


@pytest.mark.parametrize(
    ("climate", "use", "set_point_c", "coats"),
    [("held", "storage", 22.0, 1), ("open", "storage", None, 1), ("open", "cooking", None, 2)],
)
def test_an_added_room_is_as_the_building_is(climate, use, set_point_c, coats):
    building = Made(climate=climate, set_point_c=22.0, slab_thickness_m=0.15, insulation_m=0.0)
    added = Made(name="New", length_m=4.0, width_m=3.0, use=use, way_out=("Bar",))
    use_of_two = use if use in job.TWO_COAT_USES else next(iter(job.TWO_COAT_USES))
    added.use = use_of_two if coats == 2 else use
    got = job._new_room(Made(building=building), added)
    assert (got.set_point_c, got.topcoats, got.way_out) == (set_point_c, coats, ("Bar",))


def test_what_a_jobs_rooms_lose_leaves_out_those_it_has_no_more():
    odds = Made(
        lost=np.array([5.0, 3.0]), bucket_frac={"Bar": 0, "Gone": 0},
        room_lost={"Bar": np.array([1.0, 1.0]), "Gone": np.array([2.0, 0.0])},
    )  # fmt: skip
    one = carry_on.Candidate(schedule=Made(pours=[]), odds=odds)
    assert one.lost_of(Made(rooms=[Made(name="Bar")])).tolist() == [3.0, 3.0]
    assert one.expected_lost == 4.0


@dataclass(frozen=True)
class JobOfNobody:
    site: object
    crew: object = None
    cove: object = None


def test_where_nobody_waits_nothing_is_held():
    plan = Made(
        job=JobOfNobody(site=Made(zone=UTC)), rules=Made(in_mixer_s=600.0),
        rooms=(), coats=(), primers=(), calls=(), night=None, decisions=None,
    )  # fmt: skip
    plan.rules.apart_s = 60.0
    got = state.night_state(plan, [], now=NIGHT)
    assert (got.wait_s, got.wait_said_s) == (-np.inf, -np.inf)
    assert (got.now_s, got.floors, got.done("Bar")) == (NIGHT.timestamp(), {}, 0)
    rooms = Made(rooms=[Made(name="Bar")])
    assert got.still_to_pour(rooms) == ["Bar"]


class RefusedError(Exception):
    """A line of a log that cannot be."""


def read_off(monkeypatch, events, *, halts=(), laid=(), done=0):
    """The state of a night 20 min on: of Bar and Yard all is poured, of Hall some buckets."""

    def line(event, minutes, room=None, **more):
        given = {"until": None, "added": None, **more}
        return Made(
            event=event, at=NIGHT + timedelta(minutes=minutes), room=room,
            fault=lambda key, problem, *_: RefusedError(f"{key}: {problem}"), **given,
        )  # fmt: skip

    floors = {name: Made(done=n) for name, n in (("Bar", 4), ("Hall", done), ("Yard", 3))}
    halted = tuple(line("drill down", minutes) for minutes in halts)
    for name, value in {
        "coat_lines": [line(*one) for one in laid], "_as_moved": JobOfNobody(site=None),
        "_crew": ("crew", halted), "_unresolved": halted, "_floors": floors,
        "coat_states": {}, "primer_states": {}, "cove_states": {},
    }.items():  # fmt: skip
        monkeypatch.setattr(state, name, lambda *_, value=value, **__: value)
    plan = Made(job=Made(site=Made(zone=UTC)), rules=Made(in_mixer_s=600.0))
    lines = [line(event, minutes, *room, **more) for event, minutes, more, *room in events]
    return state.night_state(plan, lines, now=NIGHT + timedelta(minutes=20))


def test_rooms_are_dropped_and_added_as_the_log_says(monkeypatch):
    events = [
        ("room added", 1, {"added": "Den"}, "Den"), ("room dropped", 3, {}, "Hall"),
        ("room added", 2, {"added": "Loft"}, "Loft"), ("room dropped", 4, {}, "Loft"),
        ("poured", 5, {}, "Bar"),
    ]  # fmt: skip
    laid = [("vacuumed", 9, "Bar"), ("coat begun", 9, "Yard")]
    got = read_off(monkeypatch, events, laid=laid)
    # What was only added is none of the floors that the plan has.
    assert (list(got.floors), got.dropped, got.added) == (["Bar", "Yard"], ("Hall",), ("Den",))
    assert (got.vacuumed, got.crew, got.halted) == (frozenset({"Bar"}), "crew", ())
    with pytest.raises(RefusedError, match="room: 1 of its buckets"):
        read_off(monkeypatch, events, done=1)


@pytest.mark.parametrize(
    ("until_min", "halts", "wait_min", "said_min"),
    [
        # Whoever fetches another drill is back in an hour.
        (30, (), 30, 5), (30, (12,), 80, 12), (90, (12,), 90, 12), (30, (2,), 80, 5),
    ],
)  # fmt: skip
def test_a_night_waits_for_its_word_and_for_what_is_fetched(
    monkeypatch, until_min, halts, wait_min, said_min
):
    wait = ("wait until", 5, {"until": NIGHT + timedelta(minutes=until_min)})
    got = read_off(monkeypatch, [wait], halts=halts)
    assert (got.wait_s, got.wait_said_s) == (
        NIGHT.timestamp() + 60.0 * wait_min, NIGHT.timestamp() + 60.0 * said_min,
    )  # fmt: skip


def test_a_line_is_written_before_it_is_planned_by(monkeypatch):
    # Half a second after is the same second.
    assert read_off(monkeypatch, [("poured", 20 + 0.5 / 60, {})])
    with pytest.raises(RefusedError, match="after the time of planning"):
        read_off(monkeypatch, [("poured", 20 + 0.6 / 60, {})])


@pytest.mark.parametrize("iced", [False, True])
def test_no_ice_is_told_where_no_pails_go_in(iced):
    room = Made(room="Bar", chilled=iced, margin_min=9.0)
    chill = Made(in_ice_by=None, liquids_as_is_c=20.0, measured=False)
    one = Made(policy=Made(margin_s=240.0, remedies=()))
    assert answers.ice_answer(one, [room], chill).headline[0].code == "ice.no"


@pytest.mark.parametrize(
    ("windows", "margins", "kept"), [(0.3, 0.5, (0.97, 0.95)), (None, None, (0.5, None))]
)
def test_a_glance_keeps_shares_of_the_doubt(monkeypatch, windows, margins, kept):
    asked = []
    monkeypatch.setattr(choose, "construct_at", lambda *_, **__: ("it", 2.0))
    monkeypatch.setattr(choose, "replace", lambda *_, **__: None)
    here = Made(
        job=Made(policy=Made(confidence=0.9)), tables=None, stop=lambda: False, worked=1.0,
        limits=Made(work=9.0), _order=lambda: None, _weigh=lambda _: Made(chance_frac=0.7),
        _sureness=lambda *given: asked.append(given),
    )  # fmt: skip
    assert choose._Choosing.glance(here, windows, margins) == 0.7
    assert asked == [tuple(k if k is None else pytest.approx(k) for k in kept)]
    assert here.worked == 3.0
    here.stop = lambda: True
    assert choose._Choosing.glance(here, windows, margins) is None


def test_each_look_at_other_nights_counts_as_work(monkeypatch):
    monkeypatch.setattr(climb, "assess", lambda *_, **__: Made(all_frac=0.5))
    monkeypatch.setattr(climb, "starts_of", id)
    one = Made(rooms=[None] * 4)
    here = Made(
        _known={}, _draws=[(one, None), (one, None)], pours=None, issued_s=0.0, worked=0.0
    )  # fmt: skip
    schedule = Made()
    assert len(climb.Nights._odds(here, schedule, 1)) == 1
    assert len(climb.Nights._odds(here, schedule, 2)) == 2
    assert here.worked == pytest.approx(2 * 4 * climb.LOOK_WORK)


def test_ages_followed_once_serve_for_what_is_laid_near_by(monkeypatch):
    spans = []
    monkeypatch.setattr(risk, "ages_on", lambda *given: spans.append(given[-1]) or ("a", "b"))
    night = Made(slab_k={"Bar": np.zeros(2)}, energy={"topcoat": np.zeros(2)})
    pours, layer, looked = Made(room=Made(name="Bar")), Made(kind="topcoat"), risk.Looked()
    h = 3600.0
    looked.ages(pours, layer, night, (10 * h, 20 * h))
    looked.ages(pours, layer, night, (10 * h, 20 * h))
    looked.ages(pours, layer, night, (12 * h, 15 * h))
    assert spans == [(10 * h, 20 * h)]
    # At another hour three more on either side are followed.
    looked.ages(pours, layer, night, (9 * h, 15 * h))
    assert spans[1:] == [(6 * h, 23 * h)]
    looked.ages(pours, layer, night, (22 * h, 23 * h))
    assert len(spans) == 2
    looked.ages(pours, layer, night, (22 * h, 23.1 * h))
    assert spans[2:] == [(3 * h, 26.1 * h)]
    other = Made(slab_k=night.slab_k, energy={"topcoat": np.ones(2)})
    looked.ages(pours, layer, other, (22 * h, 23 * h))
    assert len(spans) == 4


@pytest.mark.parametrize(
    ("failures", "held", "least", "keeps"),
    [((), None, 240.0, True), ((1,), None, 240.0, False), ((), 0.8, 240.0, False),
     ((), None, 239.0, False)],
)  # fmt: skip
def test_a_schedule_keeps_all_limits_at_once(failures, held, least, keeps):
    pour = Made(planning_margin_s=least, margin_s=least)
    one = Schedule(pours=(pour,), coats=(), failures=failures, required_s=240.0, held_frac=held)
    assert one.keeps_limits == keeps


def test_nobody_knows_where_the_search_gave_up(monkeypatch):
    monkeypatch.setattr(construct, "alone", lambda *_: ("each",))
    monkeypatch.setattr(construct, "together", lambda *_, **__: ("all",))
    empty, full = (Made(model=Made(problem=Made(empty=e))) for e in ((1,), ()))

    def why(known, begun):
        solved = Made(known=known, ended="gave up")
        return construct._why_not(None, None, begun, solved, None)

    assert why("unknown", empty)[0].limits == ("unknown",)
    assert why("impossible", empty) == ("each",)
    assert why("impossible", full) == ("all",)


@pytest.mark.parametrize(("read_c", "refused"), [(45.0, False), (45.5, True), (4.75, True)])
def test_a_slab_is_believed_as_far_as_a_bound_from_what_was_computed(
    read_c, refused, monkeypatch
):
    monkeypatch.setattr(estimate, "FARTHEST_SLAB_K", 20.0)

    class TooFarError(Exception):
        pass

    here = estimate.Seen.__new__(estimate.Seen)
    here.readings_said, here._slab_c = [], lambda *_: 25.0
    said = Made(
        event="slab reads", room="Hall", temp_c=read_c, at=NIGHT, bucket=None,
        fault=lambda *_: TooFarError(),
    )  # fmt: skip
    here.slabs, here.rooms, here.keys = [], ("Hall",), []
    if refused:
        with pytest.raises(TooFarError):
            here.take(said)
        assert here.slabs == []
        return
    here.take(said)
    (slab,) = here.slabs
    assert (slab.room, slab.excess_k, slab.along) == (0, read_c - 25.0, None)


def test_what_the_sun_adds_to_a_slab_is_what_it_is_over_its_shade(monkeypatch):
    monkeypatch.setattr(job, "BEYOND_H", 0)
    monkeypatch.setattr(job, "build_up", lambda *_: ())
    monkeypatch.setattr(job, "RoomConditions", lambda **made: Made(**made))
    hall = Made(room="Hall", slab_c=30.0, shade_c=24.0, air_c=26.0)
    plan = Made(
        hours=[Made(at=NIGHT, dew_c=None, rooms=[hall])], night=None,
        job=Made(room=lambda _: Made(slab_reading=None, sun_patch=object()), building=None),
    )  # fmt: skip
    assert job.plan_conditions(plan)["Hall"].sun_k.tolist() == [6.0]
