"""Ice for the liquids: how much, how long, and what it buys in the bucket and on the floor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from cureplan.core.errors import InputError, OutOfRangeError
from cureplan.inputs.cards.model import Part, SlurryCard
from cureplan.science.clocks import SlurryClocks
from cureplan.science.heat import (
    FUSION_HEAT_J_KG,
    ICE_BATH_C,
    PAIL_WALL_CONDUCTIVITY_W_MK,
    PAIL_WALL_THICKNESS_M,
    WATER_DENSITY_KG_M3,
    WATER_SPECIFIC_HEAT_J_KGK,
)
from cureplan.science.ice.bath import ice_water_w_m2k, pail_surface_w_m2k
from cureplan.science.ice.cooling import Pail, chill_times, heat_removed_j, ice_mass_kg
from cureplan.science.kit import BucketPath, run_bucket
from cureplan.science.rate import rate_factor

__all__ = ["Gain", "IceBath", "IceNeed", "gain_from_ice", "ice_need", "steady_run"]

TYPICAL_WALL_C = 15.0
"""Outer face of a pail on its way down, for the water's coefficient: invented."""


@dataclass(frozen=True, slots=True, kw_only=True)
class IceNeed:
    """Ice for one kit and the time its slower pail needs."""

    ice_per_kit_kg: float
    for_water_kg: float
    """How much of that cools the water of the bath."""
    standing_s: float
    stirred_s: float
    too_cold_s: float
    """When a stirred pail is below the card's minimum."""
    too_cold_standing_s: float
    """When one left standing is."""
    from_c: float
    to_c: float

    def in_ice_s(self, *, stirred: bool) -> float:
        """Time to plan with [s]."""
        return self.stirred_s if stirred else self.standing_s


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """Minutes that ice adds to one clock, in seconds, in the bucket and on the floor."""

    total_s: NDArray[np.float64]
    bucket_s: NDArray[np.float64]

    @property
    def floor_s(self) -> NDArray[np.float64]:
        """What is gained after the batch has landed [s]."""
        return np.asarray(self.total_s - self.bucket_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class IceBath:
    """What the pails stand in: water for one kit's pails, which ice must cool as well."""

    cooler_loss: float
    water_m3: float
    water_c: float

    def ice_kg(self, heat_j: float) -> float:
        """Ice that melts while it takes up this heat, losses included [kg]."""
        return float(
            ice_mass_kg(
                heat_j=heat_j,
                cooler_loss_share=self.cooler_loss,
                fusion_heat_j_kg=FUSION_HEAT_J_KG,
            )
        )

    @property
    def water_j(self) -> float:
        """Heat of one kit's water above melting ice [J]."""
        held_j_k = self.water_m3 * WATER_DENSITY_KG_M3 * WATER_SPECIFIC_HEAT_J_KGK
        return held_j_k * max(0.0, self.water_c - ICE_BATH_C)


def ice_need(card: SlurryCard, *, from_c: float, to_c: float, bath: IceBath) -> IceNeed:
    """Ice and time to bring one kit's liquids from one temperature to another.

    Not for liquids that are already colder than wanted: then there is nothing to do,
    and the result is all zeros.
    """
    if from_c <= to_c:
        return IceNeed(
            ice_per_kit_kg=0.0, for_water_kg=0.0, standing_s=0.0, stirred_s=0.0,
            too_cold_s=float("inf"), too_cold_standing_s=float("inf"), from_c=from_c, to_c=to_c,
        )  # fmt: skip
    heat_j = sum(
        float(
            heat_removed_j(
                heat_capacity_j_k=part.mass_kg * part.specific_heat_j_kg_k,
                start_c=from_c,
                end_c=to_c,
            )
        )
        for part in card.liquids
    )
    try:
        times = [
            chill_times(
                pail=_pail(part, card),
                start_c=from_c,
                target_c=to_c,
                bath_c=ICE_BATH_C,
                minimum_c=card.coldest_liquids_c,
            )
            for part in card.liquids
        ]
    except OutOfRangeError as error:
        raise InputError(
            str(error),
            cure=f"ice the liquids to {card.coldest_liquids_c + 2:g} C or warmer",
            source=card.key,
            key="materials.iced",
            value=f"{to_c:g} C",
        ) from None
    return IceNeed(
        ice_per_kit_kg=bath.ice_kg(heat_j + bath.water_j),
        for_water_kg=bath.ice_kg(bath.water_j),
        standing_s=max(time.standing_s for time in times),
        stirred_s=max(time.stirred_s for time in times),
        too_cold_s=min(time.too_cold_s for time in times),
        too_cold_standing_s=min(time.too_cold_standing_s for time in times),
        from_c=from_c,
        to_c=to_c,
    )


def _pail(part: Part, card: SlurryCard) -> Pail:
    area_m2 = np.pi * card.pail_diameter_m**2 / 4.0
    height_m = part.mass_kg / part.density_kg_m3 / area_m2
    surface = pail_surface_w_m2k(
        water_w_m2k=ice_water_w_m2k(TYPICAL_WALL_C, height_m=float(height_m)),
        wall_thickness_m=PAIL_WALL_THICKNESS_M,
        wall_conductivity_w_mk=PAIL_WALL_CONDUCTIVITY_W_MK,
    )
    return Pail(
        mass_kg=part.mass_kg,
        density_kg_m3=part.density_kg_m3,
        specific_heat_j_kgk=part.specific_heat_j_kg_k,
        conductivity_w_mk=card.pail_conductivity_w_m_k,
        diameter_m=card.pail_diameter_m,
        surface_w_m2k=float(surface),
    )


def steady_run(
    clocks: SlurryClocks,
    *,
    liquids_c: ArrayLike,
    filler_c: ArrayLike,
    air_c: ArrayLike,
    slab_c: ArrayLike,
    haul_s: float,
) -> BucketPath:
    """One bucket at steady temperatures, by the planner's own code path."""
    return run_bucket(
        liquids_c,
        filler_c,
        air_c,
        slab_c,
        haul_s,
        kit=clocks.kit,
        speed=1.0,
        film_m=clocks.film_m,
        slab_effusivity=clocks.slab_effusivity,
    )


def gain_from_ice(
    clocks: SlurryClocks,
    milestone: str,
    *,
    as_is: BucketPath,
    chilled: BucketPath,
    slab_c: ArrayLike,
) -> Gain:
    """What chilling adds to a clock, split into bucket and floor.

    The age saved by the time the batch lands is worth that many minutes at the slab's
    own rate; the rest is gained while the film is still cooler than the slab.
    """
    age_s = clocks.age_s[milestone]
    slab_rate = rate_factor(
        slab_c,
        activation_energy_j_mol=clocks.kit.activation_energy_j_mol,
        reference_c=clocks.kit.reference_c,
    )
    return Gain(
        total_s=chilled.when_s(age_s) - as_is.when_s(age_s),
        bucket_s=np.asarray((as_is.pour_age_s - chilled.pour_age_s) / slab_rate),
    )
