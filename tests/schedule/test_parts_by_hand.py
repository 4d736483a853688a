"""How parts of a score are settled one after the other, with a solver made up by hand."""

from __future__ import annotations

from types import SimpleNamespace as Made

import pytest

from cureplan.planning.schedule import lexicographic
from cureplan.planning.schedule.lexicographic import (
    LINEAR,
    QUICK,
    TIGHT,
    Limits,
    Solved,
    _Search,
    solve_in_order,
)
from cureplan.planning.schedule.outcome import never
from cureplan.planning.schedule.problem import Score

ZERO = Score(*[0] * len(Score._fields))


def search_of(**changed: object) -> _Search:
    """A search in a problem of six rooms that has a choice, worth nothing, to go on from."""
    given = {
        "problem": Made(rooms=[None] * 6, empty=False), "limits": Limits(work=10.0), "seed": 1,
        "on_news": None, "choice": "first", "score": ZERO, "stop": never, "began_s": 0.0,
        **changed,
    }  # fmt: skip
    return _Search(**given)


def stepwise(answers):
    """A question that is answered otherwise each time, in the end as the last time."""
    left = list(answers)
    return lambda: left.pop(0) if len(left) > 1 else left[0]


# What is known


@pytest.mark.parametrize(
    ("found", "bounds", "proven"),
    [
        (ZERO, ZERO._asdict(), True), (ZERO, {**ZERO._asdict(), "cost": -1}, False),
        (ZERO, {}, False), (None, ZERO._asdict(), False),
        (ZERO._replace(ready=5), ZERO._asdict(), False),
    ],
)  # fmt: skip
def test_a_choice_is_proven_where_every_part_stands_at_its_bound(found, bounds, proven):
    solved = Solved(choice="one", score=found, bounds=bounds, ended="settled")
    assert solved.proven == proven
    assert solved.known == ("proven" if proven else "found")


@pytest.mark.parametrize(("infeasible", "known"), [(True, "impossible"), (False, "unknown")])
def test_no_answer_yet_is_not_no_answer_at_all(infeasible, known):
    solved = Solved(choice=None, score=None, bounds={}, ended="settled", infeasible=infeasible)
    assert solved.known == known


def test_a_first_answer_may_be_given_more_work():
    assert Limits(work=10.0).for_any == 10.0
    assert Limits(work=10.0, any_work=30.0).for_any == 30.0


def test_news_are_told_of_an_answer_to_whoever_listens():
    news = []
    search_of(on_news=news.append, bounds={"cost": 3}).tell("cost", settled=True)
    search_of(on_news=news.append, score=None).tell("cost", settled=True)
    search_of(score=None).tell("cost", settled=True)
    search_of().tell("cost", settled=True)
    ((part, found, bound, settled),) = [(n.part, n.found, n.bound, n.settled) for n in news]
    assert (part, found, bound, settled) == ("cost", ZERO, 3, True)


# Part by part


def solved(monkeypatch, settle, *, parts=Score._fields, first="first"):
    monkeypatch.setattr(lexicographic, "score", lambda *_: ZERO)
    monkeypatch.setattr(lexicographic, "lower_bounds", lambda _: ZERO)
    monkeypatch.setattr(lexicographic, "_bound", lambda _, part, __: len(part))
    seen = []

    def settled(search, part, bound):
        seen.append(part)
        assert bound == len(part)
        settle(search, part)

    monkeypatch.setattr(lexicographic, "_settle", settled)
    problem = Made(empty=False)
    found = solve_in_order(problem, first, limits=Limits(work=1.0), seed=1, parts=parts)
    return found, seen


def test_parts_are_settled_in_their_order_and_none_that_is_not_wanted(monkeypatch):
    found, seen = solved(monkeypatch, lambda *_: None)
    assert seen == list(Score._fields)
    assert (found.choice, found.score, found.ended) == ("first", ZERO, "settled")
    _, seen = solved(monkeypatch, lambda *_: None, parts=("ready", "cost"))
    assert seen == ["cost", "ready"]


@pytest.mark.parametrize(
    ("ended", "goes_on"),
    [("stopped by hand", False), ("out of time", False), ("out of work", True),
     ("gave up", True), ("settled", True)],
)  # fmt: skip
def test_the_search_ends_by_hand_or_by_the_clock_and_not_for_want_of_work(
    monkeypatch, ended, goes_on
):
    def settle(search, _):
        search.ended = ended

    found, seen = solved(monkeypatch, settle)
    assert (len(seen) > 1) == goes_on
    assert found.ended == ended


def test_without_any_choice_no_further_part_is_looked_at(monkeypatch):
    found, seen = solved(monkeypatch, lambda *_: None, first=None)
    assert (seen, found.choice, found.score) == (["waited"], None, None)


def test_an_empty_problem_has_no_choice():
    found = solve_in_order(Made(empty=True), "first", limits=Limits(work=1.0), seed=1)
    assert (found.choice, found.infeasible, found.known) == (None, True, "impossible")


@pytest.mark.parametrize(
    ("rooms", "part", "value", "raised", "asked", "settled"),
    [
        # At its bound nothing is asked; above it the solver is, unless the crews' own work
        # already says so, which is looked at first where there are more than five rooms.
        (6, "ready", 4, 4, False, True), (6, "ready", 9, 4, True, False),
        (6, "ready", 9, 9, False, True), (5, "ready", 9, 9, True, True),
        (6, "cost", 9, 9, True, False), (5, "cost", 4, 9, False, True),
    ],
)  # fmt: skip
def test_a_part_at_its_bound_is_settled(
    monkeypatch, rooms, part, value, raised, asked, settled
):
    calls, news = [], []
    monkeypatch.setattr(lexicographic, "least_possible", lambda *_: raised)
    monkeypatch.setattr(lexicographic, "_solve", lambda _, name: calls.append(name))
    search = search_of(
        problem=Made(rooms=[None] * rooms), score=ZERO._replace(**{part: value}),
        on_news=news.append,
    )  # fmt: skip
    lexicographic._settle(search, part, 4)
    assert calls == [part] * asked
    assert [one.settled for one in news] == [settled]


def test_without_a_score_a_part_is_asked_and_nothing_told(monkeypatch):
    calls, news = [], []
    monkeypatch.setattr(lexicographic, "_solve", lambda _, name: calls.append(name))
    search = search_of(choice=None, score=None, on_news=news.append)
    lexicographic._settle(search, "ready", 4)
    assert (calls, news, search.bounds) == (["ready"], [], {"ready": 4})


def test_a_cost_may_miss_what_is_missed_beyond_the_least(monkeypatch):
    # 900 slots are missed where 400 must be: one room may miss 500 more than its own least.
    monkeypatch.setattr(lexicographic, "least_cost", lambda stage, missed: stage + missed)
    tasks = [(0, 0, 1), (0, 1, 2)]
    search = search_of(
        problem=Made(tasks=lambda: tasks), score=ZERO._replace(short_sum=900, cost=9999)
    )
    simple = ZERO._replace(short_sum=400, cost=7)
    assert lexicographic._bound(search, "cost", simple) == 1003
    assert lexicographic._bound(search, "ready", simple) == 0
    search.score = None
    assert lexicographic._bound(search, "cost", simple) == 7


# One part


def solve(monkeypatch, ends, *, part="ready", empty=False, **changed):
    """In which manner and with how much work a part is asked, and how that ended."""
    asked = []
    answers = list(ends)

    def ask(search, _, __, manner, *, work):
        asked.append((manner, work))
        search.worked += changed.get("costs", 0.0)
        return answers.pop(0)

    held = []
    monkeypatch.setattr(lexicographic, "_ask", ask)
    monkeypatch.setattr(
        lexicographic, "prune_dominated",
        lambda _, __, parts: held.append(parts) or Made(problem=Made(empty=empty)),
    )  # fmt: skip
    search = search_of(**{name: value for name, value in changed.items() if name != "costs"})
    lexicographic._solve(search, part)
    # Everything up to the part itself is held to what was found.
    assert all(parts[-1] == part and parts[0] == "waited" for parts in held)
    return search, asked


@pytest.mark.parametrize(
    ("ends", "manners", "ended"),
    [
        (["settled"], 1, "settled"), (["out of time"], 1, "out of time"),
        (["stopped by hand"], 1, "stopped by hand"),
        # For want of work only what was tried first is tried in another manner.
        (["out of work", "settled"], 2, "settled"), (["gave up", "settled"], 2, "settled"),
        (["out of work", "out of work"], 2, "out of work"),
        (["gave up", "gave up", "settled"], 3, "settled"),
        (["gave up", "gave up", "gave up"], 3, "gave up"),
    ],
)  # fmt: skip
def test_a_part_is_asked_in_another_manner_where_one_gives_up(
    monkeypatch, ends, manners, ended
):
    search, asked = solve(monkeypatch, ends)
    assert len(asked) == manners
    assert search.ended == ended


def test_what_ended_before_is_kept_where_a_part_is_settled(monkeypatch):
    search, _ = solve(monkeypatch, ["settled"], ended="out of work")
    assert search.ended == "out of work"


@pytest.mark.parametrize(
    ("part", "worked", "work"),
    [
        # Of 10: up to 8.5 for `ready`, up to 9 but 3 for itself for `calls`, and of what
        # ties 1 at the most.
        ("ready", 0.0, [0.25, 8.5, 8.5]), ("ready", 8.0, [0.25, 0.5, 0.5]),
        ("ready", 8.375, [0.125, 0.125, 0.125]), ("ready", 8.5, []), ("ready", 9.0, []),
        ("calls", 0.0, [0.25, 3.0, 3.0]), ("hurried", 0.0, [0.25, 1.0, 1.0]),
        ("hurried", 9.5, [0.25, 0.5, 0.5]),
    ],
)  # fmt: skip
def test_a_part_has_its_share_of_all_work(monkeypatch, part, worked, work):
    search, asked = solve(monkeypatch, ["gave up"] * 3, part=part, worked=worked)
    assert [given for _, given in asked] == pytest.approx(work)
    if not work:
        assert search.ended == "out of work"


def test_what_one_manner_used_the_next_has_no_more(monkeypatch):
    _, asked = solve(monkeypatch, ["gave up"] * 3, costs=4.0)
    assert [work for _, work in asked] == pytest.approx([0.25, 4.5, 0.5])


def test_a_stop_is_heard_before_each_manner(monkeypatch):
    search, asked = solve(monkeypatch, ["gave up"] * 3, stop=stepwise([False, True]))
    assert (len(asked), search.ended) == (1, "stopped by hand")


@pytest.mark.parametrize(("choice", "infeasible"), [("first", False), (None, True)])
def test_where_nothing_better_is_left_nothing_is_asked(monkeypatch, choice, infeasible):
    search, asked = solve(monkeypatch, [], empty=True, choice=choice)
    assert (asked, search.infeasible, search.ended) == ([], infeasible, "settled")


def test_the_other_relaxation_is_tried_last():
    assert lexicographic._manners("cost") == (QUICK, LINEAR, TIGHT)
    assert lexicographic._manners("calls") == (QUICK, TIGHT, LINEAR)
    assert lexicographic._manners("calls")[0] is QUICK


# One call of the solver


STATUS = Made(OPTIMAL=4, FEASIBLE=2, INFEASIBLE=3)


class Model:
    """Goals by name, and what is asked of them."""

    def __init__(self, _):
        self.model = self
        self.asked: list[object] = []
        self.hinted: list[object] = []

    def goal(self, part):
        return Goal(part)

    def add(self, rule):
        self.asked.append(rule)

    def minimize(self, goal):
        self.asked.append(("least", goal.part))

    def hint(self, choice):
        self.hinted.append(choice)

    def choice_of(self, value):
        return value("choice")


class Goal:
    def __init__(self, part):
        self.part = part

    def __le__(self, most):
        return (self.part, "<=", most)

    def __ge__(self, least):
        return (self.part, ">=", least)

    def __lt__(self, most):
        return (self.part, "<", most)

    def __gt__(self, least):
        return (self.part, ">", least)


def ask(
    monkeypatch, status, *, found="better", bound=3.0, worked=1.0, part="short_most", **given
):
    """What a solver is asked for a part, and how it ended; each choice is its own score."""
    made, limits = [], []
    search = search_of(**given)
    search.bounds[part] = 1
    scores = {"better": ZERO._replace(short_most=3), "first": ZERO._replace(short_most=9)}
    search.score = None if search.choice is None else scores[search.choice]
    solver = Made(
        response_proto=Made(deterministic_time=worked), value=lambda _: found,
        best_objective_bound=bound,
    )  # fmt: skip

    def model(problem):
        made.append(Model(problem))
        return made[-1]

    monkeypatch.setattr(lexicographic, "cp_sat", lambda: STATUS)
    monkeypatch.setattr(lexicographic, "OrderingModel", model)
    monkeypatch.setattr(lexicographic, "score", lambda _, choice: scores[choice])
    monkeypatch.setattr(lexicographic, "_listener", lambda take: take)
    monkeypatch.setattr(lexicographic, "_run", lambda *_: status)
    monkeypatch.setattr(lexicographic, "time", Made(monotonic=lambda: 100.0))
    monkeypatch.setattr(
        lexicographic, "_solver", lambda *_, **more: limits.append(more) or solver
    )
    small = Made(problem=None, inner=lambda choice: choice, outer=lambda choice: choice)
    ended = lexicographic._ask(search, part, small, TIGHT, work=5.0)
    return search, ended, made[0], limits[0]


def test_parts_before_are_held_and_the_part_is_kept_to_its_bound(monkeypatch):
    search, ended, model, limits = ask(monkeypatch, STATUS.OPTIMAL, began_s=40.0)
    assert model.asked == [
        ("waited", "<=", 0), ("short_most", "<=", 9), ("short_most", ">=", 1),
        ("least", "short_most"),
    ]  # fmt: skip
    assert model.hinted == ["first"]
    assert (search.choice, search.bounds["short_most"], ended) == ("better", 3, "settled")
    assert (search.worked, search.asked) == (1.0, True)
    # Begun at 40 s and it is 100 s now; half an hour is given.
    assert limits == {"work": 5.0, "emergency_s": 1740.0}


def test_without_a_choice_nothing_is_held(monkeypatch):
    search, _, model, _ = ask(monkeypatch, STATUS.OPTIMAL, choice=None)
    assert model.asked == [("short_most", ">=", 1), ("least", "short_most")]
    assert model.hinted == []
    assert search.choice == "better"


@pytest.mark.parametrize(("choice", "infeasible"), [("first", False), (None, True)])
def test_that_nothing_is_better_is_a_proof(monkeypatch, choice, infeasible):
    search, ended, *_ = ask(monkeypatch, STATUS.INFEASIBLE, choice=choice)
    assert (search.choice, search.infeasible, ended) == (choice, infeasible, "settled")


@pytest.mark.parametrize(
    ("status", "choice", "worked", "ended"),
    [
        (STATUS.FEASIBLE, "better", 1.0, "gave up"),
        (STATUS.FEASIBLE, "better", 4.9, "out of work"),
        (0, "first", 1.0, "gave up"), (0, "first", 9.0, "out of work"),
    ],
)  # fmt: skip
def test_an_answer_without_a_proof_is_kept_all_the_same(
    monkeypatch, status, choice, worked, ended
):
    search, why, *_ = ask(monkeypatch, status, worked=worked)
    assert (search.choice, search.worked, why) == (choice, worked, ended)


def test_a_better_answer_is_told_and_a_bound_never_falls(monkeypatch):
    news = []
    search, *_ = ask(monkeypatch, STATUS.FEASIBLE, bound=0.0, on_news=news.append)
    assert [(one.found.short_most, one.bound, one.settled) for one in news] == [(3, 1, False)]
    assert search.bounds["short_most"] == 1
    news.clear()
    ask(monkeypatch, STATUS.FEASIBLE, found="first", on_news=news.append)
    assert news == []


@pytest.mark.parametrize(
    ("worked", "began_s", "now_s", "stopped", "why"),
    [
        # Of five it may use all but a fiftieth; half an hour is given.
        (4.9, 0.0, 0.0, False, "out of work"), (4.89, 0.0, 0.0, False, "gave up"),
        (1.0, 0.0, 1800.0, False, "out of time"), (1.0, 0.0, 1799.0, False, "gave up"),
        (1.0, 100.0, 1899.0, False, "gave up"), (1.0, 100.0, 1900.0, False, "out of time"),
        (9.0, 0.0, 9999.0, True, "stopped by hand"), (9.0, 0.0, 9999.0, False, "out of work"),
    ],
)  # fmt: skip
def test_why_a_solver_came_back_without_a_proof(
    monkeypatch, worked, began_s, now_s, stopped, why
):
    monkeypatch.setattr(lexicographic, "time", Made(monotonic=lambda: now_s))
    search = search_of(stop=lambda: stopped, began_s=began_s)
    assert lexicographic._why(search, worked=worked, work=5.0) == why


@pytest.mark.parametrize(
    ("bound", "whole"),
    [(3.0, 3), (3.0000005, 3), (3.1, 4), (2.9999999, 3), (-2.5, -2), (0.0, 0), (-3.0, -3)],
)
def test_a_bound_is_raised_to_a_whole_number(bound, whole):
    assert lexicographic._up(bound) == whole
