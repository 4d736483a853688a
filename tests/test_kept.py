"""Results kept between questions: the same as made anew, and never more than allowed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pytest

from cureplan.core import kept as keeping
from cureplan.core.kept import keep_results, keeping_results, kept, kept_rows, mark_of


@pytest.fixture(autouse=True)
def keeps() -> Iterator[None]:
    keep_results(1_000_000)
    yield
    keep_results(0)


@dataclass(frozen=True)
class Card:
    name: str
    minutes: float


def test_what_differs_in_anything_has_another_mark():
    rows = np.array([1.0, 2.0])
    marks = {
        mark_of("a", 1),
        mark_of("a", 1.0),
        mark_of("a", True),
        mark_of("a", None),
        mark_of("a1"),
        mark_of("a", ("1",)),
        mark_of("a", -0.0),
        mark_of("a", 0.0),
        mark_of("a", rows),
        mark_of("a", rows.astype(np.float32)),
        mark_of("a", rows[:, None]),
        mark_of("a", rows[::-1]),
        mark_of("a", Card("b", 1.0)),
        mark_of("a", {"b": 1.0}),
        mark_of("a", [("b", 1.0)]),
    }
    assert len(marks) == 15
    assert mark_of("a", Card("b", 1.0), rows) == mark_of("a", Card("b", 1.0), rows.copy())


def test_what_has_no_plain_content_is_refused():
    # By its place in memory it would be found again by chance.
    with pytest.raises(TypeError, match="part of a mark"):
        mark_of(object())


def test_never_more_is_kept_than_allowed_and_what_is_asked_for_stays():
    def large(number: int) -> np.ndarray:
        # 250 kB each: two of them in two thirds of a megabyte.
        return kept(lambda: np.full(31_250, float(number)), "large", number)

    small = kept(lambda: "small", "small")
    first = large(0)
    for number in range(1, 20):
        large(number)
        assert large(0) is first
        assert sum(keeping._store.bytes.values()) <= 1_000_000
    assert kept(lambda: "another", "small") is small
    assert large(18) is not large(0)


def test_only_rows_that_are_not_kept_are_made():
    made: list[float] = []

    def squares(at):
        made.extend(at.tolist())
        return (at**2, np.outer(at, [1.0, 10.0])), True

    kept_rows(squares, np.array([1.0, 2.0]), "squares")
    squared, tens = kept_rows(squares, np.array([3.0, 2.0, 1.0]), "squares")
    assert made == [1.0, 2.0, 3.0]
    assert squared.tolist() == [9.0, 4.0, 1.0]
    assert tens.tolist() == [[3.0, 30.0], [2.0, 20.0], [1.0, 10.0]]


def test_rows_that_depend_on_each_other_are_made_together():
    def shares(at):
        return (at / at.sum(),), at.max() < 5.0

    assert kept_rows(shares, np.array([2.0]), "shares")[0].tolist() == [1.0]
    (found,) = kept_rows(shares, np.array([2.0, 6.0]), "shares")
    assert found.tolist() == [0.25, 0.75]
    # Nor is any of them kept.
    assert kept_rows(shares, np.array([6.0]), "shares")[0].tolist() == [1.0]


def test_results_are_kept_meanwhile_and_let_go_whatever_happens():
    made = []

    def asked():
        return kept(lambda: made.append(1) or len(made), "a name")

    keep_results(0)
    with keeping_results(1_000_000):
        assert (asked(), asked()) == (1, 1)
        # Within, what is kept already goes on, and is not let go before its time.
        with keeping_results(1_000_000):
            assert asked() == 1
        assert asked() == 1
    assert asked() == 2

    def stopped():
        with keeping_results(1_000_000):
            assert asked() == 3
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert asked() == 4
    # A process that keeps them all along loses none.
    keep_results(1_000_000)
    assert asked() == 5
    with keeping_results(1_000_000):
        assert asked() == 5
    assert asked() == 5
