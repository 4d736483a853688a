"""Amounts and shares the plan states, against what the judge makes of them."""

from __future__ import annotations

from collections.abc import Iterator

from cureplan.judge.finding import Finding, Rule, Unit

__all__ = ["miscounted", "mismeasured"]


def mismeasured(
    rule: Rule,
    room: str | None,
    label: str,
    got: float,
    want: float,
    *,
    within: float,
    unit: Unit,
) -> Iterator[Finding]:
    """A finding where an amount is not the one re-derived, to `within`."""
    # "not within", so that NaN is found too.
    if not abs(got - want) <= within:
        where = "" if room is None else f"{room}: "
        yield Finding(
            rule=rule,
            room=room,
            what=f"{where}{label} is given as {got:.5g} {unit}, re-derived as {want:.5g}",
            off_by=abs(got - want),
            unit=unit,
        )


def miscounted(
    rule: Rule, room: str | None, label: str, got: int, want: int
) -> Iterator[Finding]:
    """A finding where a count is not the one re-derived."""
    yield from mismeasured(rule, room, label, got, want, within=0.0, unit="count")
