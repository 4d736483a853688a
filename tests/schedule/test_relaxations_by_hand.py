"""What would help a job that will not go: which changes are tried and told, by hand."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from math import inf
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.core.messages import Message
from cureplan.planning.schedule import pairs, relax, trials
from cureplan.planning.schedule.changes import OPENING, Graded

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)


def at(minutes: float) -> datetime:
    return NIGHT + timedelta(minutes=minutes)


def named(name, *, effort=1.0, open_min=0.0, second=None):
    """A change that goes by a name."""
    return Made(
        job=Made(name=name, access=Made(open_by=at(open_min))), say=Message(name, {}),
        also=second, effort_min=effort, further=None,
        after=lambda first: f"{first.say.code}+{name}",
    )  # fmt: skip


# What is told


def told(
    *, whys=(), known="impossible", relaxed=None, heat=None, until_min=1e5, rooms="A",
    stored_c=None,
):  # fmt: skip
    failures = [
        Made(rooms=tuple(rooms), says=[Message(code, {"what": what})]) for code, what in whys
    ]
    job = Made(
        rooms=[
            Made(name=name, heat=warm, climate=climate)
            for name, warm, climate in (
                ("A", None, "open"), ("B", heat, "drifting"), ("C", None, "held")
            )
        ],
        access=Made(open_by=NIGHT), site=Made(zone=UTC),
        materials=Made(storage_c=stored_c),
    )  # fmt: skip
    schedule = Made(failures=failures, known=known, relaxed=relaxed)
    return relax.explain(schedule, job, known_until=at(until_min))


@pytest.mark.parametrize(
    ("given", "codes"),
    [
        ({}, ["impossible"]), ({"known": "found"}, ["unknown"]),
        ({"whys": [("limit.dew", "slab")]}, ["impossible", "heat"]),
        ({"whys": [("limit.dew", "slab")], "heat": "a heater"}, ["impossible"]),
        ({"whys": [("limit.opening", "slab")]}, ["impossible"]),
        # What a plant holds cold no heater warms; nor kits that are kept elsewhere.
        ({"whys": [("limit.dew", "slab")], "rooms": "C"}, ["impossible", "held"]),
        ({"whys": [("limit.dew", "slab")], "rooms": "AC"}, ["impossible", "held", "heat"]),
        ({"whys": [("limit.too_cold", "limited.material")], "stored_c": 5.0},
         ["impossible", "store"]),
        ({"whys": [("limit.too_cold", "limited.material")]}, ["impossible", "heat", "store"]),
        ({"whys": [("limit.too_hot", "limited.material")]}, ["impossible", "store"]),
        # A kitchen may open three days later; weather that ends before that is told.
        ({"relaxed": (), "until_min": 4320}, ["impossible", "no_way"]),
        ({"relaxed": (), "until_min": 4319}, ["impossible", "no_way", "weather_ends"]),
        ({"relaxed": (), "until_min": 0, "whys": [("limit.too_hot", "limited.material")]},
         ["impossible", "store", "no_way"]),
    ],
)  # fmt: skip
def test_why_there_is_no_plan_is_told(given, codes):
    assert [say.code for say in told(**given)] == [f"none.{code}" for code in codes]


def test_three_reasons_and_the_three_cheapest_ways_are_told():
    ways = tuple(
        Made(say=Message(name, {}), also=None, chance_frac=frac, opens_s=opens_s)
        for name, frac, opens_s in (
            ("a", 0.9, NIGHT.timestamp()), ("b", 0.5, None), ("c", None, 5.0), ("d", 0.9, 5.0)
        )
    )  # fmt: skip
    why, found = told(whys=[(f"limit.{n}", n) for n in "wxyz"], relaxed=ways)
    assert [say.code for say in why.values["why"]] == ["limit.w", "limit.x", "limit.y"]
    parts = [[say.code for say in way.values["parts"]] for way in found.values["ways"]]
    # How often it holds goes with when it opens.
    assert parts == [["a", "none.chance"], ["b"], ["c"]]
    chance = found.values["ways"][0].values["parts"][1]
    assert chance.values == {"keeps_frac": 0.9, "open_at": NIGHT.isoformat()}


# What is tried


@pytest.mark.parametrize(
    ("does", "found"),
    [
        # Listed is the hour. The fewest remedies that do, as many ways as that gives.
        ({"chill", "bays"}, ["chill", "bays"]),
        ({"chill+bays", "cool filler+bays", "chill+cool filler+bays"},
         ["chill+bays", "cool filler+bays"]),
        # One way is no choice: a hand as well, as few remedies, and no other hand.
        ({"bays", "mixing:chill", "mixing:chill+bays", "raking:bays"},
         ["bays", "mixing:chill"]),
        ({"chill+cool filler+bays", "raking:chill"},
         ["chill+cool filler+bays", "raking:chill"]),
        ({"raking:chill+cool filler+bays"}, ["raking:chill+cool filler+bays"]), (set(), []),
    ],
)  # fmt: skip
def test_the_fewest_remedies_that_do_are_found(monkeypatch, does, found):
    def more(hand, remedies):
        name = ("" if hand is None else f"{hand}:") + "+".join(remedies)
        return Made(name=name, after=lambda _: Made(name=name))

    monkeypatch.setattr(relax, "more_remedies", more)
    here = Made(policy=Made(remedies=("hour",)))
    monkeypatch.setattr(
        relax, "more_remedies", lambda job, names: more(None if job is here else job, names)
    )
    look = Made(job=here, works=lambda change: change.name in does)
    hands = [Made(job="mixing"), Made(job="raking")]
    assert [one.name for one in relax._least_remedies(look, hands, wanted=2)] == found


def looked(monkeypatch, goal, *, primer=None, rooms=2, would=True, fails=(), opening_min=None):
    """The names of what is found, what hands go with remedies, and what pairs begin from."""
    hands, beside = [], []

    def least_remedies(_, given, *, wanted):
        assert wanted == 2
        hands.extend(one for one in given)
        yield named("remedies")

    def two_changes(_, *, alone, opening):
        beside.append((sorted(alone), opening))
        yield named("pair")

    def graded(name):
        return Made(name=name)

    opening = graded("opening")
    every = (graded("coat"), graded("pouring"), opening)
    for name, value in {
        "more_hands": lambda _, task: task, "_least_remedies": least_remedies,
        "at_once": lambda *_: [named("pins"), named("store")], "kind_of": lambda say: say.code,
        "hands_of": lambda _: [graded("hand")], "rooms_later": lambda _: [graded("room")],
        "all_would_do": lambda *_: would, "two_changes": two_changes, "OPENING": opening,
        "GRADED": every, "FEW_GRADED": every[1:], "BUT_OPENING": (*every[:2],),
        "open_for_less": lambda _: [named("carts"), named("feet")],
        "most_of": lambda _t, _j, one: None if one.name in fails else Made(graded=one),
        "least_of": lambda _, top: named(
            top.graded.name, open_min=90 if top.graded is opening else 0
        ),
    }.items():  # fmt: skip
        monkeypatch.setattr(relax, name, value)
    look = Made(
        job=Made(cards=Made(primer=primer), rooms=[None] * rooms), goal=goal,
        tasks=("mixing", "raking", "primer", "topcoat")[: 4 if primer else 2] + ("topcoat",) * (
            not primer
        ),
        works=lambda change: change.say.code not in fails,
    )  # fmt: skip
    found = [one.say.code for one in relax._look(look)]
    return found, hands, beside


EVERY = ("pins", "store", "hand", "carts", "feet", "room", "coat", "pouring", "opening")


@pytest.mark.parametrize(
    ("given", "found"),
    [
        ({"goal": "windows"}, "pins store hand carts room coat pouring opening"),
        # In a large house fewer kinds are tried; none of what does not do together but later.
        ({"goal": "windows", "rooms": 12}, "pins store hand carts room coat pouring opening"),
        ({"goal": "windows", "rooms": 13}, "pins store hand carts room pouring opening"),
        ({"goal": "windows", "would": False}, "pins store carts room opening"),
        ({"goal": "margin", "would": False},
         "remedies pins store hand carts room coat pouring opening"),
        ({"goal": "margin alone"}, "remedies pins store hand"),
        ({"goal": "windows", "fails": ("carts", "pins", "pouring", "hand")},
         "store feet room coat opening"),
        # One way is no choice, nor is none: two changes then.
        ({"goal": "windows", "fails": set(EVERY) - {"pins"}}, "pins pair"),
        ({"goal": "windows", "fails": set(EVERY) - {"opening"}}, "opening pair"),
        ({"goal": "windows", "fails": set(EVERY)}, "pair"),
        ({"goal": "windows", "fails": set(EVERY) - {"pins", "coat"}}, "pins coat"),
        ({"goal": "margin", "fails": EVERY}, "remedies"),
    ],
)  # fmt: skip
def test_changes_are_tried_kind_by_kind(monkeypatch, given, found):
    got, _, beside = looked(monkeypatch, **given)
    assert " ".join(got) == found
    alone = sorted(set(got) - {"pair"})
    later = at(90) if "opening" in alone else None
    assert beside == ([(alone, later)] if "pair" in got else [])


@pytest.mark.parametrize("primer", [None, "a primer"])
def test_hands_of_the_pour_go_with_remedies_and_films_do_not(monkeypatch, primer):
    assert looked(monkeypatch, "margin", primer=primer)[1] == ["mixing", "raking"]
    assert looked(monkeypatch, "windows", primer=primer)[1] == []


@pytest.mark.parametrize(
    ("goal", "found"),
    [("windows", ["b", "late", "a"]), ("margin", ["b", "late", "a"]),
     ("margin alone", ["b", "a"])],
)  # fmt: skip
def test_what_was_found_before_the_work_was_used_up_stands(monkeypatch, goal, found):
    def look(_):
        yield named("a", effort=9.0)
        yield named("b", effort=1.0)
        if goal == "margin":
            return
        yield from ()

    def late(_, keeps):
        assert keeps == "kept"
        return [
            Made(say=Message(name, {"rooms": rooms}), effort_min=5.0)
            for name, rooms in (("late", "Bar"), ("named already", None))
        ]

    monkeypatch.setattr(relax, "Trials", lambda **given: Made(worked=3.0, **given))
    monkeypatch.setattr(relax, "_look", look)
    monkeypatch.setattr(relax, "_late_rooms", late)
    got, worked = relax.relaxations(None, None, goal=goal, keeps="kept")
    assert ([one.say.code for one in got], worked) == (found, 3.0)

    def over(_):
        yield named("a")
        raise trials.OverError

    monkeypatch.setattr(relax, "_look", over)
    got, _ = relax.relaxations(None, None, goal=goal, keeps="kept")
    assert [one.say.code for one in got] == ["a"]


@dataclass(frozen=True)
class Access:
    open_by: datetime = NIGHT


@dataclass(frozen=True)
class Room:
    name: str
    open_by: datetime | None = None


@dataclass(frozen=True)
class Job:
    rooms: tuple
    access: Access = Access()
    site: object = None

    def due(self, name):
        return {"A": at(-60), "B": at(30)}.get(name, NIGHT)


@pytest.mark.parametrize(
    ("short", "opens_min", "more", "late"),
    [
        # By the last of three stages, in the state chosen for it.
        ((0, 1, 0, 0), 90, {}, "B"), ((0, 1, 0, 2), 90, {}, "B; D"),
        ((1, 1, 0, 2), 90, {}, None), ((0, 0, 0, 0), 90, {}, None),
        # Two days after the last is due at most.
        ((0, 1, 0, 0), 30 + 2880, {}, "B"), ((0, 1, 0, 0), 31 + 2880, {}, None),
        ((0, 1, 0, 0), 90, {"reach_min": 1}, "B"), ((0, 1, 0, 0), 90, {"reach_min": 0}, None),
        ((0, 1, 0, 0), 90, {"empty": ((0, 0),)}, None), ((0, 1, 0, 0), 90, {"known": 0}, None),
        ((0, 1, 0, 0), 90, {"enough": False}, "B"),
        ((0, 1, 0, 0), 90, {"enough": False, "goal": "margin"}, None),
        ((0, 1, 0, 0), 90, {"goal": "margin"}, "B"),
    ],
)  # fmt: skip
def test_the_fewest_rooms_that_open_later_are_told(monkeypatch, short, opens_min, more, late):
    job = Job(tuple(Room(name, at(-60) if name == "A" else None) for name in "ABCD"))
    rooms = [
        tuple(Made(short=np.array(values)) for values in ((7, 7), (0, 5), (5, missed)))
        for missed in short
    ]
    known = more.get("known", 1)
    solved = Made(choice=((0, 0, 1),) * 4 if known else None, score=Made(ready=8), worked=0.25)
    monkeypatch.setattr(relax, "_counting_late", lambda *_: Made(rooms=rooms))
    monkeypatch.setattr(relax, "improve_orders", lambda *_, **__: Made(choice=None, work=0.5))
    monkeypatch.setattr(relax, "solve_in_order", lambda *_, **__: solved)
    monkeypatch.setattr(relax, "opening_at", lambda job, _: job)
    model = Made(
        problem=Made(empty=more.get("empty", ())), first_order=lambda: (),
        slots=Made(at=lambda _: at(opens_min).timestamp()),
    )  # fmt: skip
    look = Made(
        job=job, reach_s=at(more.get("reach_min", 1e6)).timestamp(), model=lambda _: model,
        over=lambda: False, stop=None, goal=more.get("goal", "windows"),
        enough=lambda *_: more.get("enough", True), worked=2.0,
    )  # fmt: skip
    object.__setattr__(job, "site", Made(zone=UTC))
    got = relax._late_rooms(look, "kept")
    assert [one.say.values["rooms"] for one in got] == ([] if late is None else [late])
    # What was searched beside what was before.
    assert look.worked == (
        2.0 if more.keys() & {"empty"} or more.get("reach_min") == 0 else 2.75
    )
    for one in got:
        names = late.split("; ")
        assert one.effort_min == 300.0 * len(names)
        assert one.say.values["open_at"] == at(opens_min).isoformat()
        due = [at(opens_min) if n in names else job.due(n) for n in "ABCD"]
        assert [room.open_by for room in one.job.rooms] == due


# Two at once


@pytest.mark.parametrize(
    ("alone", "less", "later", "opening", "found"),
    [
        # Where nothing does by itself, three ways; else as many more as make two.
        ((), "l", "p", None, "l p any"), ((), "l", "pq", None, "l p q"),
        ((), "", "", None, "any"),
        (("x",), "l", "p", NIGHT, "l"), (("x",), "", "p", NIGHT, "p"),
        (("x",), "", "", NIGHT, "any"), (("x", "y"), "", "p", NIGHT, ""),
        # How much later floors may open is asked in any case.
        (("x",), "l", "p", None, "l p"), (("x", "y"), "", "p", None, "p"),
        (("x",), "x", "xp", None, "p"), (("x",), "lm", "p", None, "l m p"),
    ],
)  # fmt: skip
def test_two_changes_are_looked_for_as_far_as_a_choice_is_wanted(
    monkeypatch, alone, less, later, opening, found
):
    # Nothing goes beside carts; what does by itself wants nothing beside it.
    some = [named("carts"), named("feet"), named("no feet")]
    monkeypatch.setattr(pairs, "open_for_less", lambda _: some)
    monkeypatch.setattr(
        pairs, "_others", lambda _, job: map(named, less if job.name == "feet" else "")
    )
    monkeypatch.setattr(pairs, "with_less", lambda other, _: other)
    monkeypatch.setattr(pairs, "kind_of", lambda say: say.code)
    monkeypatch.setattr(pairs, "_pairs", lambda *_: map(named, later))
    monkeypatch.setattr(pairs, "_any_two", lambda *_: iter([named("any")]))
    look = Made(job=None, works=lambda change: change.say.code == "no feet", pairs=False)
    got = pairs.two_changes(look, alone=alone, opening=opening)
    assert " ".join(one.say.code for one in got) == found
    assert look.pairs


def kind(name, *, makes=True, least=True):
    def make(job):
        return named(f"{job.name}{name}") if makes else None

    def as_little(_, job, *, of):
        return named(f"{name}@{job.name}>{of.name}") if least else None

    return Made(name=name, make=make, least=as_little)


@pytest.mark.parametrize(
    ("needed", "kinds", "found"),
    [
        # Each is given up that is not needed; the second goes beside all of the first, the
        # first beside the least of the second.
        ("bd", [kind(n) for n in "abcd"], ["d@0b>0+b@d@0b>0>d@0b>0"]),
        ("abd", [kind(n) for n in "abcd"], []), ("b", [kind(n) for n in "abcd"], []),
        ("be", [kind(n) for n in "abcd"], []),
        ("ab", [kind("a", makes=False), kind("b")], []),
        ("ab", [kind("a"), kind("b", least=False)], []),
        ("ab", [kind("a", least=False), kind("b")], []),
    ],
)  # fmt: skip
def test_where_two_of_all_changes_are_needed_they_are_a_way(monkeypatch, needed, kinds, found):
    monkeypatch.setattr(pairs, "_kinds", lambda _: [*kinds, kind("alone")])
    monkeypatch.setattr(pairs, "_is_other", lambda _t, one, alone: one.name not in alone)
    monkeypatch.setattr(
        pairs, "_all_do", lambda _, some: set(needed) <= {one.name for one in some}
    )
    got = list(pairs._any_two(Made(job=Made(name="0")), ("alone",)))
    assert got == found


def test_a_kind_of_change_is_made_to_a_job_as_little_as_works(monkeypatch):
    job, other = Made(name="1"), Made(name="2")
    plain = pairs._Kind(lambda of: f"made to {of.name}")
    assert plain.least(None, job, of=other) == "made to 2"
    graded = pairs._Kind(lambda _: None, Made(make=lambda of, by: f"{by} to {of.name}"))
    monkeypatch.setattr(pairs, "most_of", lambda *_: None)
    assert graded.least(None, job, of=other) is None
    monkeypatch.setattr(pairs, "most_of", lambda *_: "top")
    monkeypatch.setattr(pairs, "least_of", lambda _, top: f"least of {top}")
    monkeypatch.setattr(pairs, "lessened", lambda *_: Made(enough=3, step_min=20))
    assert graded.least(None, job, of=job) == "least of top"
    assert graded.least(None, job, of=other) == "60 to 2"


def test_changes_are_made_one_after_the_other(monkeypatch):
    monkeypatch.setattr(pairs, "kind_of", lambda say: say.code)
    done = []
    look = Made(job=Made(name="0"), works=lambda change: done.append(change.job.name) or True)
    none = kind("n", makes=False)
    assert pairs._all_do(look, [kind("a"), none, kind("b")])
    assert pairs._all_do(look, [none, kind("b")])
    assert not pairs._all_do(look, [none])
    assert not pairs._all_do(look, [])
    assert done == ["0ab", "0b"]
    assert not pairs._all_do(Made(job=look.job, works=lambda _: False), [kind("a")])
    assert pairs._is_other(look, kind("a"), ("0b",))
    assert not pairs._is_other(look, kind("a"), ("0a",))
    assert not pairs._is_other(look, none, ())


def test_the_dearest_kinds_are_given_up_first(monkeypatch):
    for name, value in {
        "at_once": lambda *_: [named("pins", effort=15.0), named("heat", effort=240.0)],
        "open_for_less": lambda _: [named("for less", effort=120.0), named("pins", effort=1.0)],
        "hands_of": lambda _: ["hand"], "BUT_OPENING": ("hours",), "OPENING": "later",
        "rooms_later": lambda _: ["room"],
        "at_most": lambda _t, job, one: None if one == "hours" else Made(
            most=7, change=lambda by: named(f"{one} {by} {job.name}")
        ),
    }.items():  # fmt: skip
        monkeypatch.setattr(pairs, name, value)
    job = Made(name="x")
    made = [one.make(job) for one in pairs._kinds(Made(job=job))]
    assert [one and one.say.code for one in made] == [
        "later 7 x", "heat", "for less", "pins", "hand 7 x", None, "room 7 x",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("opening_min", "reach_min", "latest_min"),
    [
        # Four hours sooner than by itself, ten minutes by ten as far as the weather is known.
        (None, 1e9, OPENING.most_min), (600, 1e9, 360), (600, 355, 350), (600, 9, None),
        (241, 1e9, 1), (240, 1e9, None), (600, 360, 360),
    ],
)  # fmt: skip
def test_a_later_opening_beside_another_change_is_sooner_than_by_itself(
    monkeypatch, opening_min, reach_min, latest_min
):
    job, looks = Job(()), []
    monkeypatch.setattr(
        pairs, "_beside_later", lambda _, later: looks.append(later) or [named("a"), named("b")]
    )
    monkeypatch.setattr(pairs, "opening_at", lambda job, _: job.name)
    monkeypatch.setattr(
        pairs, "most_of", lambda _t, job, _: None if job == "a" else f"top {job}"
    )
    monkeypatch.setattr(pairs, "least_of", lambda _, top: named(top))
    look = Made(job=job, thinkable=lambda change: change.job.access.open_by <= at(reach_min))
    opening = None if opening_min is None else at(opening_min)
    got = list(pairs._pairs(look, opening))
    assert got == ([] if latest_min is None else ["b+top b"])
    assert [later.access.open_by for later in looks] == [at(latest_min or 0)] * len(got)


# One trial


def test_windows_are_kept_as_expected_where_margins_alone_are_looked_for(monkeypatch):
    asked = []
    tables = Made(tabled=Made(processor_s=0.0), of_changed=lambda job, *, was: (job, was))
    monkeypatch.setattr(trials, "floor_model", lambda *given, sure: asked.append((given, sure)))
    monkeypatch.setattr(trials, "as_expected", lambda job: f"as expected of {job}")
    for goal in ("windows", "margin", "margin alone"):
        trials.Trials(job="job", tables=tables, goal=goal, stop=None, budget_s=inf).model("new")
    given = ("new", ("new", "job"))
    assert asked == [(given, None), (given, None), (given, "as expected of new")]


@pytest.mark.parametrize(
    ("goal", "first", "then", "bound", "found", "worked"),
    [
        # Of margins short by 0, 1 or 2; a first order, and what the solver makes of it.
        ("windows", 2, None, 9, 2, 1.0), ("windows", None, 2, 0, 2, 3.0),
        ("margin", 0, None, 0, 0, 1.0), ("margin", 1, 0, 0, 0, 3.0),
        ("margin", 1, 1, 0, None, 3.0), ("margin", 1, 0, 1, None, 0.0),
        ("margin alone", 1, 0, 1, None, 0.0), ("margin", None, None, 0, None, 3.0),
        ("windows", None, None, 0, None, 3.0),
    ],
)  # fmt: skip
def test_a_choice_that_reaches_the_goal_is_looked_for(
    monkeypatch, goal, first, then, bound, found, worked
):
    asked = []

    def improve(_problem, order, *, most, on_news, stop):
        assert (order, most, stop()) == ((1, 0), 20, False)
        on_news(Made(choice=first))
        # Once an order reaches the goal no other is tried.
        reached = first is not None and (goal == "windows" or first == 0)
        assert stop() == reached
        return Made(choice=first, work=1.0)

    def solve(_problem, choice, *, parts, **_):
        asked.append((choice, parts))
        return Made(choice=then, worked=2.0)

    monkeypatch.setattr(trials, "improve_orders", improve)
    monkeypatch.setattr(trials, "solve_in_order", solve)
    monkeypatch.setattr(trials, "lower_bounds", lambda _: Made(short_most=bound))
    monkeypatch.setattr(trials, "score", lambda _, choice: Made(short_most=choice))
    # Tables had taken 7 s before.
    tabled = Made(processor_s=7.0, with_search_s=lambda worked: 8.0 + 2.0 * worked)
    look = trials.Trials(
        job=None, tables=Made(tabled=tabled), goal=goal, stop=lambda: False, budget_s=inf
    )
    assert look.choice(Made(empty=()), (1, 0)) == found
    assert (look.worked, look.took_s) == (worked, 1.0 + 2.0 * worked)
    parts = ("waited",) if goal == "windows" else ("waited", "short_most")
    assert asked == ([(first, parts)] if worked == 3.0 else [])
    assert look.choice(Made(empty=((0, 0),)), (1, 0)) is None
    look.stop = lambda: True
    with pytest.raises(trials.OverError):
        look.choice(Made(empty=()), (1, 0))


@pytest.mark.parametrize(
    ("tops", "does", "would", "tried"),
    [
        # Each made to what the ones before have made of the job.
        ("abc", True, True, ["0pabc"]), ("abc", False, False, ["0pabc"]),
        ("a", True, True, ["0pa"]),
        # Where no limit can be moved at all, nothing need be tried.
        ("", False, True, []),
    ],
)  # fmt: skip
def test_all_limits_at_their_most_are_tried_at_once(monkeypatch, tops, does, would, tried):
    @dataclass(frozen=True)
    class Moved:
        job: object

    def at_most(_, job, one):
        if one not in tops:
            return None
        return Made(most=3, change=lambda by: Moved(job + one) if by == 3 else None)

    monkeypatch.setattr(trials, "unpinned", lambda job: [Moved(job + "p")])
    monkeypatch.setattr(trials, "hands_of", lambda _: ["a"])
    monkeypatch.setattr(trials, "rooms_later", lambda _: ["b"])
    monkeypatch.setattr(trials, "BUT_OPENING", ("c",))
    monkeypatch.setattr(trials, "at_most", at_most)
    done = []
    look = Made(works=lambda change: done.append(change.job) or does)
    assert trials.all_would_do(look, "0") == would
    assert done == tried


@pytest.mark.parametrize(
    ("opening", "asked"),
    [
        # It works from 47 steps of ten minutes on. What was found to open soonest is tried a
        # step sooner, two more, and only then by halves; any other limit by halves at once.
        (True, [47, 45, 46]), (False, [24, 36, 42, 45, 46, 47]),
    ],
)  # fmt: skip
def test_a_later_opening_is_first_tried_just_before_what_was_found(monkeypatch, opening, asked):
    tried = []
    limit = Graded(make=lambda _, by: Made(by=by), step_min=10, most_min=480)
    if opening:
        monkeypatch.setattr(trials, "OPENING", limit)
    look = Made(
        works=lambda change: tried.append(change.by // 10) or change.by >= 470,
        opened_s=at(480).timestamp(),
    )  # fmt: skip
    top = trials.Top(Made(access=Access()), limit, 10, 48, 48)
    assert trials.lessened(look, top).enough == 47
    assert tried == asked
