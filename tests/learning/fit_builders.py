"""Readings made by hand, and their fit."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

from cureplan.inputs.tables.readings import Reading
from cureplan.science.learning.fitting import fit_card

NAN = math.nan


def reading(kind, milestone, minutes, temp_c=NAN, **rest):
    """One reading; what is not given was not read."""
    plain = {
        "source": "readings.csv", "line": 2, "batch": "", "humidity_frac": NAN, "mass_kg": NAN,
        "liquids_c": NAN, "filler_c": NAN, "air_c": NAN, "slab_c": NAN, "poured_s": NAN,
        "note": "",
    }  # fmt: skip
    return Reading(
        kind=kind, milestone=milestone, after_s=60.0 * minutes, temp_c=temp_c, **(plain | rest)
    )


def numbered(readings):
    """The same on lines of their own, from 2 on."""
    return tuple(replace(one, line=place) for place, one in enumerate(readings, start=2))


def fitted(card, readings, **rest):
    """A fit on a fixed day."""
    return fit_card(
        card, numbered(readings), source="readings.csv", fitted_on=date(2026, 7, 17), **rest
    )
