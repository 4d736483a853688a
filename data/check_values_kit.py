"""What cureplan answers for the rows of checks.csv: the shipped kit, by the planner's path."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import calibrate_slurry
import numpy as np

from cureplan.inputs.cards.model import SlurryCard, TopcoatCard
from cureplan.inputs.cards.reader import read_card
from cureplan.planning.floor.conditions import TAU_S
from cureplan.planning.floor.ice import gain_from_ice, steady_run
from cureplan.planning.studies.quick import card_clock
from cureplan.science.clocks import SlurryClocks, slurry_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY


@cache
def _ready() -> tuple[SlurryCard, SlurryClocks]:
    card = read_card("fast-slurry", kind="slurry")
    if not isinstance(card, SlurryCard):
        raise SystemExit("the shipped fast-slurry card is not a slurry card")
    return card, slurry_clocks(card, film_m=card.thickness_m, slab_effusivity=SLAB_EFFUSIVITY)


@cache
def _summer() -> calibrate_slurry.Summer:
    return calibrate_slurry.summer(_ready()[0])


def clock_min(card: str, at_c: float, milestone: str) -> float:
    """Minutes to a milestone of a shipped card at a steady temperature."""
    read = read_card(card)
    if not isinstance(read, (SlurryCard, TopcoatCard)):
        raise SystemExit(f"{card} has no clocks")
    found = {time.milestone: time.after_s for time in card_clock(read, at_c=at_c)}
    return found[milestone] / 60


def summer_gain_min(percentile: float) -> float:
    """Minutes of working time gained by ice, over the grid of summers."""
    return float(np.percentile(_summer().gained, percentile))


def summer_share_within(low: float, high: float) -> float:
    """Share of the grid of summers whose gain lies between two limits, to 3 s."""
    gained = _summer().gained
    return float(np.mean((gained >= low - 0.05) & (gained <= high + 0.05)))


def uniced_left_min(up_to_c: float) -> float:
    """Least working time left once an un-iced kit is poured, up to an air temperature."""
    return float(_summer().left_as_is[calibrate_slurry.GRID[:, 0] <= up_to_c].min())


def iced_mixed_c(liquids_c: float, around_c: float, slab_c: float) -> float:
    """An iced kit right after the filler went in."""
    card, clocks = _ready()
    path = steady_run(
        clocks, liquids_c=liquids_c, filler_c=around_c, air_c=around_c, slab_c=slab_c,
        haul_s=card.reference_haul_s,
    )  # fmt: skip
    return float(path.mixed_c[0])


def bucket_share_of_gain(slab_f: float) -> float:
    """Share of ice's minutes that is made in the bucket, 33 °C air, liquids at 4 °C."""
    card, clocks = _ready()
    slab_c = (slab_f - 32.0) / 1.8
    around = {
        "filler_c": 33.0,
        "air_c": 33.0,
        "slab_c": slab_c,
        "haul_s": card.reference_haul_s,
    }
    gain = gain_from_ice(
        clocks,
        "working_time",
        as_is=steady_run(clocks, liquids_c=33.0, **around),
        chilled=steady_run(clocks, liquids_c=4.0, **around),
        slab_c=slab_c,
    )
    return float(gain.bucket_s[0] / gain.total_s[0])


def slab_memory_h() -> float:
    """Time constant of the slab on ground that doubts are taken for."""
    return TAU_S / 3600


VALUES: dict[str, Callable[..., float]] = {
    name: found
    for name, found in list(globals().items())
    if callable(found) and getattr(found, "__module__", "") == __name__ and name[0] != "_"
}
