"""How a text is refused: one message shape, put together and taken apart here."""

from __future__ import annotations

from cureplan.errors import QuantityError

__all__ = ["refusal", "split_refusal"]

LONGEST_SHOWN = 80


def refusal(text: object, problem: str, cure: str) -> QuantityError:
    """The error that says why `text` is refused and what to write instead."""
    return QuantityError(f"{_shown(text)}: {problem}; {cure}")


def split_refusal(error: QuantityError, text: object) -> tuple[str, str]:
    """Take a message made by `refusal` for `text` apart into (problem, cure).

    Examples
    --------
    >>> split_refusal(refusal("22", "it has no unit", 'write "22 ft"'), "22")
    ('it has no unit', 'write "22 ft"')
    """
    problem, _, cure = str(error).removeprefix(f"{_shown(text)}: ").partition("; ")
    return problem, cure


def _shown(text: object) -> str:
    shown = repr(text)
    return shown if len(shown) <= LONGEST_SHOWN else shown[: LONGEST_SHOWN - 3] + "..."
