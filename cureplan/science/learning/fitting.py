"""Learn a card from what a crew measured.

Data-sheet points, trial cups, logged buckets and thermometers together give the energy,
the time to each milestone, the scatter, and, where they can, a humidity factor and the
kit's own heat balance. With few readings the result stays near the card.
"""

from __future__ import annotations

import hashlib
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

import numpy as np

from cureplan.core.errors import InputError, OutOfRangeError
from cureplan.inputs.cards.model import SlurryCard, TopcoatCard
from cureplan.inputs.tables.readings import Reading
from cureplan.science.humidity import HumidityReach, humidity_reach, stands_out
from cureplan.science.learning.estimates import (
    PRIOR_FREEDOM,
    estimate,
    refuse_nonsense,
    refuse_other_units,
)
from cureplan.science.learning.least_squares import Solution, with_scale
from cureplan.science.learning.model import BalanceFit, CardFit, Estimate, HumidityFit
from cureplan.science.learning.procedure_readings import BALANCE
from cureplan.science.learning.report import report
from cureplan.science.learning.setup import Setup, balance_sd, setup

__all__ = ["fit_card", "reading_marks"]

PINNED = 0.75
"""A term of the heat balance is changed on the card when its doubt has shrunk to this
share of what it was: invented."""
NO_HUMIDITY = math.nan


def reading_marks(readings: Sequence[Reading]) -> tuple[str, ...]:
    """Eight signs for each reading that tell it from others, wherever it is written down."""
    seen: Counter[str] = Counter()
    marks = []
    for r in readings:
        said = repr((r.kind, r.batch, r.milestone, r.after_s, r.temp_c, r.slab_c, r.liquids_c))
        seen[said] += 1
        marks.append(_signs(f"{said} {seen[said]}", 8))
    return tuple(marks)


def _signs(text: str, count: int) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:count]


def _not_learned(
    card: SlurryCard | TopcoatCard, readings: Sequence[Reading], source: str
) -> tuple[Reading, ...]:
    """Readings the card has not counted yet."""
    marks = zip(readings, reading_marks(readings), strict=True)
    kept = tuple(reading for reading, mark in marks if mark not in card.learned)
    if not any(reading.kind != "probe" for reading in kept):
        raise InputError(
            "the card was fitted to these readings already",
            cure="add new readings, or start from the card before",
            source=source,
            key="--card",
            value=card.key,
        )
    return kept


def fit_card(
    card: SlurryCard | TopcoatCard,
    readings: Sequence[Reading],
    *,
    source: str,
    fitted_on: date,
    blank: Sequence[int] = (),
    without: Sequence[int] = (),
) -> CardFit:
    """Fit a card to readings.

    Not for readings of several products in one go. Readings that the card has counted in
    an earlier fit do not count again.
    """
    asked = _without(readings, without, source)
    kept = _not_learned(card, asked, source)
    marks = tuple(mark for mark in reading_marks(asked) if mark not in card.learned)
    digest = _signs("\n".join(sorted(marks)), 6)
    try:
        made, found, humidity, balance = _search(card, kept)
        refuse_nonsense(found, made, source=source)
        return report(
            made, found, humidity, balance, source=source, digest=digest,
            fitted_on=fitted_on, blank=tuple(blank), excluded=tuple(without),
            marks=marks, known=len(asked) - len(kept),
        )  # fmt: skip
    except OutOfRangeError as error:
        raise InputError(
            f"no card goes with these readings ({error})",
            cure="check °F against °C, and minutes against hours",
            source=source,
        ) from None
    except InputError as error:
        raise _named(error, source) from None


def _named(error: InputError, source: str) -> InputError:
    if error.source is not None:
        return error
    return InputError(
        error.problem, cure=error.cure, source=source, key=error.key, value=error.value
    )


def _without(
    readings: Sequence[Reading], without: Sequence[int], source: str
) -> tuple[Reading, ...]:
    lines = {reading.line for reading in readings if reading.source == source}
    for line in without:
        if line not in lines:
            raise InputError(
                "there is no reading on this line",
                cure="give the line's number in the file",
                source=source,
                key="--without",
                value=line,
            )
    kept = tuple(
        reading
        for reading in readings
        if reading.source != source or reading.line not in without
    )
    if not any(reading.kind != "probe" for reading in kept):
        raise InputError(
            "no milestone is read", cure="give the minutes to at least one", source=source
        )
    return kept


def _search(
    card: SlurryCard | TopcoatCard, readings: Sequence[Reading]
) -> tuple[Setup, Solution, HumidityFit, tuple[BalanceFit, ...]]:
    """Fit with all that may be free, then hold what the readings cannot pin."""
    free = _may_be_free(card, readings)
    reach, reference = _humidity(card, readings)
    if not reach.enough:
        reference = NO_HUMIDITY
    made, found = _solved(card, readings, free, reference, None)
    balance = _balance(card, found, made)
    loose = {one.name for one in balance if not one.pinned}
    if loose:
        free = free - loose - ({"power", "exchange"} if len(loose) == len(balance) else set())
        made, found = _solved(card, readings, free, reference, found)
    humidity = _humidity_fit(found, made, readings, reach)
    if reach.enough and humidity.slope is None:
        made, found = _solved(card, readings, free, NO_HUMIDITY, found)
    still = {one.name: one for one in _balance(card, found, made)}
    return made, found, humidity, tuple(still.get(one.name, one) for one in balance)


def _solved(
    card: SlurryCard | TopcoatCard,
    readings: Sequence[Reading],
    free: frozenset[str],
    humidity_ref: float,
    before: Solution | None,
) -> tuple[Setup, Solution]:
    made = setup(card, readings, free=free, humidity_ref=humidity_ref)
    refuse_other_units(made)
    start = None if before is None else before.value
    return made, with_scale(made.problem, prior_freedom=PRIOR_FREEDOM, start=start)


def _may_be_free(card: SlurryCard | TopcoatCard, readings: Sequence[Reading]) -> frozenset[str]:
    """The heat balance is looked for where a thermometer stood in a kit."""
    probed = any(
        reading.kind == "probe" or (reading.kind == "bucket" and not math.isnan(reading.temp_c))
        for reading in readings
    )
    return frozenset(BALANCE) if probed and isinstance(card, SlurryCard) else frozenset()


def _balance(
    card: SlurryCard | TopcoatCard, found: Solution, made: Setup
) -> tuple[BalanceFit, ...]:
    if not isinstance(card, SlurryCard):
        return ()
    was = {"share": card.liquid_stage_share, "rise": card.bucket_heat_rise_k}
    fits = []
    for name in ("share", "rise"):
        if name not in made.free:
            continue
        one = estimate(found, made.layout.at(name), unit=1.0)
        most = 1.0 if name == "share" else math.inf
        fits.append(
            BalanceFit(
                name=name,
                found=replace(one, low=max(one.low, 0.0), high=min(one.high, most)),
                was=was[name],
                pinned=one.sd <= PINNED * balance_sd(card)[name],
            )
        )
    return tuple(fits)


def _humidity(
    card: SlurryCard | TopcoatCard, readings: Sequence[Reading]
) -> tuple[HumidityReach, float]:
    timed = [reading for reading in readings if reading.kind != "probe"]
    names = list(card.milestones)
    temps = [r.slab_c if r.kind == "bucket" else r.temp_c for r in timed]
    humidity = np.array([r.humidity_frac for r in timed])
    reach = humidity_reach(temps, humidity, [names.index(r.milestone) for r in timed])
    known = humidity[~np.isnan(humidity)]
    return reach, round(float(np.mean(known)), 2) if known.size else NO_HUMIDITY


def _humidity_fit(
    found: Solution, made: Setup, readings: Sequence[Reading], reach: HumidityReach
) -> HumidityFit:
    known = [r.humidity_frac for r in readings if not math.isnan(r.humidity_frac)]
    slope: Estimate | None = None
    why = "none read" if not known else "too alike"
    if reach.enough:
        one = estimate(found, made.layout.at("humidity"), unit=1.0)
        clear = stands_out(one.value, one.high - one.value)
        slope, why = (one, "found") if clear else (None, "no effect seen")
    return HumidityFit(
        slope=slope,
        reference_frac=made.humidity_ref,
        spread_frac=(max(known) - min(known)) / 2.0 if known else 0.0,
        levels=reach.levels,
        span_frac=reach.span_frac,
        why=why,
    )
