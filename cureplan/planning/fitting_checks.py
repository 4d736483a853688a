"""What readings may not say, and which of them do not go with the others."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cureplan.errors import InputError
from cureplan.physics.fit_doubt import (
    deleted_residuals,
    disagreement_limit,
    student_limit,
)
from cureplan.physics.fit_least_squares import Solution
from cureplan.planning.fitting_setup import Setup

__all__ = ["PRIOR_FREEDOM", "Disagreement", "disagreement", "refuse_nonsense"]

Array = NDArray[np.float64]

PRIOR_FREEDOM = 6.0
"""How many readings the card's own spread is worth: invented."""
SUSPECTED = 0.05
"""Share of sound files in which some reading may be called out of line."""
BEYOND_DOUBT = 0.99
ENERGY_J_MOL = (10e3, 150e3)
"""What a card may say."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Disagreement:
    """Deleted residuals of rows and batches, and the limit on both."""

    rows: Array
    batches: Array
    limit: float


def disagreement(found: Solution, made: Setup) -> Disagreement:
    """Which rows and batches lie beyond what chance allows.

    The rule: externally studentised residual beyond the Student-t limit which one sound
    file in twenty would pass somewhere.

    Parameters
    ----------
    found : Solution
        The fit.
    made : Setup
        Its problem.

    Returns
    -------
    Disagreement
    """
    rows, parameters = deleted_residuals(found, prior_freedom=PRIOR_FREEDOM)
    layout = made.layout
    speeds = parameters[layout.speed(0) : layout.speed(layout.batches)]
    count = int(np.sum(~np.isnan(rows)) + np.sum(~np.isnan(speeds)))
    limit = disagreement_limit(count=max(count, 1), freedom=found.freedom, chance=SUSPECTED)
    return Disagreement(rows=rows, batches=speeds, limit=limit)


def refuse_nonsense(found: Solution, made: Setup, *, source: str) -> None:
    """Refuse readings which last longer when hotter beyond doubt, or an energy no card has.

    Parameters
    ----------
    found : Solution
        The fit.
    made : Setup
        Its problem.
    source : str
        File of the readings.

    Raises
    ------
    InputError
        They do; or hardly depend on temperature, or too much.
    """
    alone = _energy_alone(found, made)
    if alone is not None:
        energy, sd = alone
        surest = energy + student_limit(found.freedom, 2.0 * BEYOND_DOUBT - 1.0) * sd
        if surest < 0.0:
            raise InputError(
                "beyond doubt, these readings last longer when hotter "
                f"({energy:.0f} ± {sd:.0f} kJ/mol without the card)",
                cure="check °F against °C, minutes against hours, and which line is which",
                source=source,
                key="temp",
            )
    energy_j_mol = 1e3 * float(found.value[made.layout.ENERGY])
    low, high = ENERGY_J_MOL
    if not low <= energy_j_mol <= high:
        factor = _per_ten_kelvin(energy_j_mol)
        raise InputError(
            f"10 °C would make it {factor:.2g} times as fast "
            f"({energy_j_mol / 1e3:.0f} kJ/mol); "
            f"a card takes {low / 1e3:g} to {high / 1e3:g} kJ/mol",
            cure="check °F against °C, minutes against hours, and which line is which",
            source=source,
            key="temp",
        )


def _per_ten_kelvin(energy_j_mol: float) -> float:
    return math.exp(energy_j_mol / 8.314462618 * (1 / 293.15 - 1 / 303.15))


def _energy_alone(found: Solution, made: Setup) -> tuple[float, float] | None:
    """Energy [kJ/mol] and its SD as the readings alone give it, with neither card nor prior.

    None where they say nothing: all at one temperature.
    """
    problem, layout = found.problem, made.layout
    rows = problem.scaled_row
    speeds = np.flatnonzero(problem.scaled_parameter)
    others = [layout.age(number) for number in range(layout.milestones)]
    others += [layout.humidity, *speeds.tolist()]
    straight = found.residual + found.jacobian @ found.value
    held = np.zeros((speeds.size, layout.size))
    held[np.arange(speeds.size), speeds] = 1.0 / problem.prior_sd[speeds]
    slopes = np.vstack([found.jacobian[rows] / problem.row_sd[rows, None], held])
    target = np.concatenate([straight[rows] / problem.row_sd[rows], np.zeros(speeds.size)])
    # What the readings do not look for here is taken as found.
    rest = np.ones(layout.size, dtype=bool)
    rest[[layout.ENERGY, *others]] = False
    target = target - slopes[:, rest] @ found.value[rest]
    own = slopes[:, layout.ENERGY]
    basis = slopes[:, others]
    apart = own - basis @ np.linalg.lstsq(basis, own, rcond=None)[0]
    # An SD beyond 300 kJ/mol is no word on the energy at all.
    information = float(apart @ apart)
    if information < 1.0 / 300.0**2:
        return None
    return float(apart @ target) / information, 1.0 / math.sqrt(information)
