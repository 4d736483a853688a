"""How often each part of a plan holds, made up by hand."""

from __future__ import annotations

from types import SimpleNamespace as Made


def odds(**more: float) -> Made:
    """A plan that holds on half of the nights and loses most of them at its coats."""
    given = {
        "all_frac": 0.5, "buckets_frac": 0.9, "coats_frac": 0.7, "shifts_frac": 0.95,
        "opening_frac": 1.0, "limits_frac": 1.0,
    }  # fmt: skip
    return Made(**{**given, **more})
