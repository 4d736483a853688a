"""How work is shared and a room parted, each choice of the search worked by hand."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from types import SimpleNamespace as Made

import pytest

from cureplan.inputs.job.crew import POUR_ROLES
from cureplan.planning.floor import sharing, split
from cureplan.planning.floor.sharing import Rhythm, Tasks, _Search, _Turn

TASKS = Tasks(
    mix_s=60.0, turnaround_s=20.0, haul_s=15.0, rake_s=40.0, smooth_s=50.0, broadcast_s=30.0,
    edge_s=10.0,
)  # fmt: skip
EVERYTHING = " ".join(POUR_ROLES)


def crew_of(stations: int = 2, **who: str) -> Made:
    people = [Made(name=name, roles=tuple(roles.split())) for name, roles in who.items()]
    return Made(
        people=people, stations=stations,
        holding=lambda role: [person for person in people if role in person.roles],
    )  # fmt: skip


def rhythm(interval_s: float, broadcast_at_s: float = 0.0) -> Rhythm:
    hands = {role: (role,) for role in POUR_ROLES}
    return Rhythm(
        interval_s=interval_s, limit="rake", hands=hands, rake_at_s=0.0, smooth_at_s=0.0,
        broadcast_at_s=broadcast_at_s,
    )  # fmt: skip


# Who may take a role


def test_roles_with_the_fewest_hands_and_the_longest_work_are_given_first():
    alone = _Search(crew_of(ana=EVERYTHING), TASKS)
    assert list(alone._able) == [
        "mixer", "smoother", "rake", "runner", "broadcaster", "edge"
    ]  # fmt: skip
    two = _Search(crew_of(ana=EVERYTHING, bo="mixer smoother"), TASKS)
    assert list(two._able) == ["rake", "runner", "broadcaster", "edge", "mixer", "smoother"]


@pytest.mark.parametrize(
    ("who", "role", "at_one", "groups"),
    [
        # Of those who can do the same the first named are taken.
        ({"a": "rake", "b": "rake", "c": "rake"}, "rake", 1, ["a"]),
        ({"a": "rake", "b": "rake", "c": "rake"}, "rake", 2, ["a", "ab"]),
        ({"a": "rake", "b": "rake", "c": "rake"}, "rake", 4, ["a", "ab", "abc"]),
        ({"a": "rake", "b": "rake edge"}, "rake", 1, ["b", "a"]),
        ({"a": "rake", "b": "rake edge"}, "rake", 2, ["b", "a", "ab"]),
        # No more mix than there are stations.
        ({"a": "mixer", "b": "mixer", "c": "mixer"}, "mixer", 4, ["a", "ab"]),
        ({"a": "mixer", "b": "mixer"}, "mixer", 1, ["a"]),
    ],
)
def test_who_may_be_at_a_role(who, role, at_one, groups):
    search = _Search(crew_of(**who, zoe=EVERYTHING.replace(role, "")), TASKS, at_one=at_one)
    assert ["".join(group) for group in search._groups(role, {})] == groups


def test_of_hands_that_have_other_things_to_do_each_is_a_choice():
    search = _Search(crew_of(a="rake edge", b="rake edge", zoe=EVERYTHING), TASKS, at_one=1)
    assert search._groups("rake", {"edge": ("a",)}) == [("zoe",), ("b",), ("a",)]
    assert search._groups("rake", {"edge": ("zoe",)}) == [("zoe",), ("a",)]


# The search


@dataclass(slots=True)
class Watched(_Search):
    """A search that tells what it came to."""

    came_to: list[dict[str, tuple[str, ...]]] = field(default_factory=list)
    finds: Iterable[Rhythm | None] = ()

    def _fitted(self, division, _least_s):
        self.came_to.append(dict(division))
        return next(iter(self.finds), None)


def test_each_step_of_the_search_is_counted():
    search = Watched(crew_of(ana=EVERYTHING), TASKS)
    search.divide({})
    # Six roles, and the beginning.
    assert search.tried == 7
    assert search.came_to == [dict.fromkeys(POUR_ROLES, ("ana",))]


@pytest.mark.parametrize(
    ("best_s", "tried", "goes_on"),
    [
        # One pair of hands is busy for 240 s; a quarter more is as good.
        (240.0, 0, True), (239.75, 0, True), (239.5, 0, False), (None, 0, True),
        (None, 900, True), (240.0, 8, True), (240.0, 9, True), (240.0, 10, False),
        (1.0, 0, False),
    ],
)  # fmt: skip
def test_a_division_that_can_be_no_better_is_left(monkeypatch, best_s, tried, goes_on):
    monkeypatch.setattr(sharing, "_EPS_S", 0.25)
    monkeypatch.setattr(sharing, "MOST_TRIED", 10)
    search = Watched(crew_of(ana=EVERYTHING), TASKS, tried=tried)
    search.best = None if best_s is None else rhythm(best_s)
    search.divide(dict.fromkeys(POUR_ROLES, ("ana",)))
    assert bool(search.came_to) == goes_on


def test_what_is_found_is_the_best_until_better_is():
    division = dict.fromkeys(POUR_ROLES, ("ana",))
    first = rhythm(999.0)
    search = Watched(crew_of(ana=EVERYTHING), TASKS, finds=[first])
    search.divide(division)
    assert search.best is first
    search.finds = []
    search.divide(division)
    assert search.best is first


def test_hands_that_have_the_least_to_do_are_tried_first():
    # Ana has 50 s of smoothing. Raking is 40: Bo alone has no more than her; both, 70 of
    # hers; Ana alone 90.
    search = Watched(crew_of(ana="rake smoother", bo="rake"), TASKS, at_one=2)
    search._able = {"smoother": ["ana"], "rake": ["ana", "bo"]}
    search.divide({"smoother": ("ana",)})
    assert [one["rake"] for one in search.came_to] == [("bo",), ("ana", "bo"), ("ana",)]


def test_one_to_four_may_be_at_a_task(monkeypatch):
    tried = []

    class Counted(_Search):
        def divide(self, chosen):
            tried.append((self.at_one, self.tried, chosen))
            self.tried += 5
            self.best = rhythm(80.0)

    monkeypatch.setattr(sharing, "_Search", Counted)
    assert sharing.shared_rhythm(crew_of(ana=EVERYTHING), TASKS).interval_s == 80.0
    assert tried == [(n, 0, {}) for n in (1, 2, 3, 4)]


@pytest.mark.parametrize(
    ("best_s", "least_s", "fits_from_s", "interval_s"),
    [
        (None, 100.0, 0.0, 100.0), (None, 100.0, 101.0, 102.0), (None, 100.0, 601.0, None),
        (100.0, 100.0, 0.0, 100.0), (100.0, 100.25, 0.0, 100.25), (100.0, 100.5, 0.0, None),
        (100.0, 100.0, 101.0, None), (110.0, 100.0, 106.0, 110.0),
    ],
)  # fmt: skip
def test_a_rhythm_is_slowed_until_its_tasks_fit_or_it_is_no_better(
    monkeypatch, best_s, least_s, fits_from_s, interval_s
):
    monkeypatch.setattr(sharing, "_EPS_S", 0.25)
    monkeypatch.setattr(_Search, "_beats", lambda *_: True)
    at_s = {"rake": 1.0, "smoother": 2.0, "broadcaster": 3.0, "edge": 4.0}
    monkeypatch.setattr(
        sharing, "_offsets", lambda _, __, wanted_s: at_s if wanted_s >= fits_from_s else None
    )
    search = _Search(crew_of(ana=EVERYTHING), TASKS)
    search.best = None if best_s is None else rhythm(best_s)
    found = search._fitted(dict.fromkeys(POUR_ROLES, ("ana",)), least_s)
    assert (found and found.interval_s) == (interval_s and pytest.approx(interval_s))
    if found:
        assert (found.rake_at_s, found.smooth_at_s, found.broadcast_at_s) == (1.0, 2.0, 3.0)


@pytest.mark.parametrize(
    ("found", "beats"),
    [
        # Sooner by more than a quarter of a second, or done sooner by more than that.
        (rhythm(79.75, 99.0), False), (rhythm(79.5, 99.0), True), (rhythm(80.0, 49.75), False),
        (rhythm(80.0, 49.5), True), (rhythm(80.25, 99.0), False),
    ],
)  # fmt: skip
def test_a_gain_of_next_to_nothing_is_none(monkeypatch, found, beats):
    monkeypatch.setattr(sharing, "_EPS_S", 0.25)
    search = _Search(crew_of(ana=EVERYTHING), TASKS, best=rhythm(80.0, 50.0))
    assert search._beats(found) == beats


@pytest.mark.parametrize(
    ("one", "other", "clash"),
    [
        # By turns of three, every 100 s: the first's at 0 and 300, the other's at 150.
        (_Turn(0.0, 40.0, 3, 0), _Turn(50.0, 60.0, 3, 1), False),
        (_Turn(0.0, 60.0, 3, 1), _Turn(50.0, 40.0, 3, 2), False),
        (_Turn(0.0, 151.0, 3, 0), _Turn(50.0, 60.0, 3, 1), True),
        (_Turn(0.0, 40.0, 3, 0), _Turn(50.0, 151.0, 3, 1), True),
        (_Turn(0.0, 40.0, 3, 1), _Turn(50.0, 60.0, 3, 0), True),
        # To a quarter of a second, of either.
        (_Turn(0.0, 40.0, 1, 0), _Turn(39.75, 10.0, 1, 0), False),
        (_Turn(0.0, 40.0, 1, 0), _Turn(39.5, 10.0, 1, 0), True),
        (_Turn(39.75, 10.0, 1, 0), _Turn(0.0, 40.0, 1, 0), False),
        (_Turn(39.5, 10.0, 1, 0), _Turn(0.0, 40.0, 1, 0), True),
    ],
)
def test_turns_of_the_same_hands_meet_in_some_round(monkeypatch, one, other, clash):
    monkeypatch.setattr(sharing, "_EPS_S", 0.25)
    assert one.clashes(other, 100.0) == clash


# Parts of a room


@dataclass(frozen=True)
class Room:
    name: str
    way_out: tuple[str, ...] = ()
    group: str | None = "line"
    length_m: float = 9.0
    width_m: float = 6.0
    outline: object = "outline"
    part_of: str | None = None
    cove_m: float | None = None


@dataclass(frozen=True)
class Job:
    rooms: tuple[Room, ...]
    cove: object = "cove"

    def cove_m(self, room: Room) -> float:
        return {"Hall": 30.0}[room.name]


def test_a_room_in_parts_is_left_over_the_parts_behind_it(monkeypatch):
    shapes = [
        Made(edge_m=edge_m, size_m=(edge_m / 4, edge_m / 8)) for edge_m in (24.0, 16.0, 8.0)
    ]
    monkeypatch.setattr(split, "parts_at", lambda _, lines: shapes if lines else [])
    rooms = (
        Room("Bar", way_out=("Hall", "Store")), Room("Hall", way_out=("Bar",)), Room("Store")
    )  # fmt: skip
    found = split.split_room(Job(rooms), rooms[1], ("a line",))
    names = [f"Hall ({n} of 3)" for n in (1, 2, 3)]
    assert [room.name for room in found.rooms] == ["Bar", *names, "Store"]
    bar, *parts, store = found.rooms
    assert bar.way_out == (*names, "Store")
    assert [part.way_out for part in parts] == [
        (names[1], names[2], "Bar"), (names[2], "Bar"), ("Bar",)
    ]  # fmt: skip
    # The cove of 30 m is shared by their edges.
    assert [part.cove_m for part in parts] == pytest.approx([15.0, 10.0, 5.0])
    assert [(part.group, part.part_of, part.length_m) for part in parts] == [
        (None, "Hall", 6.0), (None, "Hall", 4.0), (None, "Hall", 2.0)
    ]  # fmt: skip
    assert store == rooms[2]
    bare = split.split_room(Job(rooms, cove=None), rooms[1], ("a line",))
    assert [room.cove_m for room in bare.rooms] == [None] * 5


def test_only_a_room_with_an_outline_is_parted():
    with pytest.raises(AssertionError, match="has an outline"):
        split.split_room(Job(()), Room("Hall", outline=None), ("a line",))
