"""Show how the shipped slurry card was calibrated, and how loose that calibration is.

    python data/calibrate_slurry.py          prints tables, writes nothing

The rule of the trade (common practice, no source): keeping the two liquids in ice in
summer lengthens the working time by as much as 5 to 6 min. Four numbers of the card
have no source and were chosen with it in view: the share of its life a batch spends
before the filler, its heat rise, the drill's power, and the exchange with the air.
Many other choices agree with the rule as well: agreement is calibration, and says
nothing about whether the model is right.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from cureplan.inputs.cards.model import RatePrior, SlurryCard
from cureplan.inputs.cards.reader import read_card
from cureplan.planning.floor.ice import steady_run
from cureplan.science.clocks import slurry_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY

AMBIENTS_C = (32.0, 35.0, 38.0)
SLABS_C = (30.0, 32.5, 35.0)
ICED_C = (2.0, 4.0)
LEAST_MIN, MOST_MIN = 4.0, 7.0
MIDDLE_MIN = (5.0, 6.0)
PLACEABLE_MIN = 2.0
"""Left after pouring, at 35 °C or below, for a kit to count as placeable un-iced."""

GRID = np.array(list(product(AMBIENTS_C, SLABS_C, ICED_C)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Summer:
    """What a card does over the grid of summer conditions, in minutes."""

    gained: np.ndarray
    left_as_is: np.ndarray
    left_at_21_c: float

    @property
    def share_within(self) -> float:
        """Share of the grid that gains 4 to 7 min."""
        return float(np.mean((self.gained >= LEAST_MIN) & (self.gained <= MOST_MIN)))

    @property
    def left_up_to_35_c(self) -> float:
        """Least that an un-iced kit has left once poured, not counting 38 °C."""
        return float(self.left_as_is[GRID[:, 0] <= 35.0].min())

    @property
    def agrees(self) -> bool:
        """Whether the rule's middle is met and un-iced kits stay placeable."""
        middle = MIDDLE_MIN[0] <= np.median(self.gained) <= MIDDLE_MIN[1]
        return bool(middle and self.left_up_to_35_c >= PLACEABLE_MIN)

    def row(self) -> str:
        """One line of a table."""
        return (
            f"{np.median(self.gained):7.2f} {self.gained.min():6.2f} {self.gained.max():6.2f}"
            f" {self.share_within:8.0%} {self.left_up_to_35_c:8.2f}"
            f" {self.left_as_is.min():8.2f} {self.left_at_21_c:8.2f}   "
            f"{'yes' if self.agrees else 'no'}"
        )


HEADING = (
    "median  least   most  within  un-iced  un-iced  un-iced  agrees\n"
    + " " * 34
    + "gain   gain   gain  4-7 min  to 35 C  to 38 C  at 21 C"
)


def summer(card: SlurryCard) -> Summer:
    """Minutes of working time gained by ice, and left after pouring without it."""
    clocks = slurry_clocks(card, film_m=card.thickness_m, slab_effusivity=SLAB_EFFUSIVITY)
    ambient_c, slab_c, iced_c = GRID.T
    age_s = clocks.age_s["working_time"]
    haul = {"haul_s": card.reference_haul_s}
    around = {"filler_c": ambient_c, "air_c": ambient_c, "slab_c": slab_c, **haul}
    as_is = steady_run(clocks, liquids_c=ambient_c, **around)
    iced = steady_run(clocks, liquids_c=iced_c, **around)
    mild = steady_run(clocks, liquids_c=21.0, filler_c=21.0, air_c=21.0, slab_c=21.0, **haul)
    return Summer(
        gained=(iced.when_s(age_s) - as_is.when_s(age_s)) / 60,
        left_as_is=(as_is.when_s(age_s) - as_is.pour_s) / 60,
        left_at_21_c=float((mild.when_s(age_s) - mild.pour_s)[0]) / 60,
    )


def with_values(
    card: SlurryCard, *, share: float, rise_k: float, power_w: float, energy_kj_mol: float
) -> SlurryCard:
    """The card with other values in the places that have no source."""
    return replace(
        card,
        liquid_stage_share=share,
        bucket_heat_rise_k=rise_k,
        mixing_power_w=power_w,
        prior=RatePrior(mean_j_mol=energy_kj_mol * 1e3, sd_j_mol=card.prior.sd_j_mol),
    )


def print_shipped(card: SlurryCard) -> None:
    """Gain and what is left, condition by condition."""
    found = summer(card)
    print("The shipped card, working time, minutes\n")
    print("ambient  slab  liquids   gained   left after pouring, un-iced")
    for (ambient_c, slab_c, iced_c), gained, left in zip(
        GRID, found.gained, found.left_as_is, strict=True
    ):
        print(f"{ambient_c:5.0f} C {slab_c:5.1f} C {iced_c:5.0f} C {gained:9.2f} {left:11.2f}")
    print()


def print_one_by_one(card: SlurryCard) -> None:
    """What each unsourced value does by itself."""
    print("One value changed at a time".ljust(34) + HEADING)
    changed = {
        "as shipped": card,
        **{
            f"share {s:.0%}": replace(card, liquid_stage_share=s)
            for s in (0.0, 0.15, 0.25, 0.5)
        },
        **{f"heat rise {k} K": replace(card, bucket_heat_rise_k=k) for k in (0, 4, 6, 10, 12)},
        **{f"power {w} W": replace(card, mixing_power_w=w) for w in (0, 75, 300)},
        **{f"exchange {x} W/K": replace(card, bucket_exchange_w_k=x) for x in (0, 5)},
        **{f"haul {m} min": replace(card, reference_haul_s=m * 60) for m in (0.5, 2)},
        **{
            f"energy {e} kJ/mol": replace(
                card, prior=RatePrior(mean_j_mol=e * 1e3, sd_j_mol=1e4)
            )
            for e in (40, 45, 55, 60)
        },
    }
    for name, variant in changed.items():
        print(name.ljust(34) + summer(variant).row())
    print()


def print_looseness(card: SlurryCard) -> None:
    """How far the values may move together while the rule is still met."""
    shares, rises = (0.0, 0.1, 0.2, 0.3, 0.5), (0.0, 4.0, 8.0, 12.0)
    powers, energies = (0.0, 150.0, 300.0), (45.0, 50.0, 55.0)
    tried = list(product(shares, rises, powers, energies))
    agreeing = [
        values
        for values in tried
        if summer(
            with_values(
                card, share=values[0], rise_k=values[1], power_w=values[2],
                energy_kj_mol=values[3],
            )
        ).agrees
    ]  # fmt: skip
    print(
        f"Of {len(tried)} combinations, {len(agreeing)} give a median of "
        f"{MIDDLE_MIN[0]:.0f}-{MIDDLE_MIN[1]:.0f} min and leave an un-iced kit at least "
        f"{PLACEABLE_MIN:.0f} min at 35 C:"
    )
    for name, column, unit in (
        ("share", 0, ""), ("heat rise", 1, " K"), ("power", 2, " W"), ("energy", 3, " kJ/mol"),
    ):  # fmt: skip
        values = sorted({row[column] for row in agreeing})
        print(f"  {name}: {values[0]:g} to {values[-1]:g}{unit}")
    print("The rule does not tell them apart; a trial at two temperatures with a thermometer")
    print("in the mixed bucket would.")


def main() -> None:
    """Print the three tables."""
    card = read_card("fast-slurry")
    if not isinstance(card, SlurryCard):
        raise SystemExit("the shipped fast-slurry card is not a slurry card")
    print_shipped(card)
    print_one_by_one(card)
    print_looseness(card)


if __name__ == "__main__":
    main()
