"""A sentence not yet put into words: what is meant, and the values it speaks of.

Reasons are made deep inside the planning, but words, units and languages belong to
the sheets. A `Say` carries a code and named values between the two; each value's
suffix (`_c`, `_k`, `_s`, `_min`, `_at`, `_kg`, `_frac`, ...) tells the sheets how to
show it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

__all__ = ["Say", "Value"]

Value = float | int | str | None


@dataclass(frozen=True, slots=True)
class Say:
    """One sentence, by its code and its values.

    Not for text that only a program reads; keep those as plain fields.

    Examples
    --------
    >>> Say("pour.margin", {"room": "Cook line", "margin_min": 2.5}).code
    'pour.margin'
    """

    code: str
    values: Mapping[str, Value] = field(default_factory=dict)
