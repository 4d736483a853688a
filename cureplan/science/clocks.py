"""From material cards to clocks: which age ends which milestone, and how surely.

`cureplan clock`, `cureplan chill` and the planner all come through here, so that no
two of them can disagree about a minute.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from cureplan.core.errors import InputError, OutOfRangeError
from cureplan.inputs.cards.model import Milestone, PrimerCard, SlurryCard, TopcoatCard
from cureplan.science.fit import KineticFit, fit_kinetics
from cureplan.science.humidity import ALIKE_K, HumidityRate, carries_factor
from cureplan.science.kit import KitPhysics
from cureplan.science.procedure import procedure_kinetics

__all__ = [
    "CLOSING_MILESTONES",
    "SlurryClocks",
    "TopcoatClocks",
    "clocks_as_seen",
    "clocks_fault",
    "reference_humidity",
    "slurry_clocks",
    "topcoat_clocks",
]

CLOSING_MILESTONES = frozenset(
    {
        "wet_edge",
        "working_time",
        "broadcast_closes",
        "topcoat_closes",
        "recoat_closes",
        "slurry_closes",
    }
)
"""Milestones that end something: a sheet's range is read at its sooner end."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SlurryClocks:
    """A slurry card made ready: the kit's physics and the age of each milestone."""

    kit: KitPhysics
    age_s: Mapping[str, float]
    fit: KineticFit
    spread_frac: float
    film_m: float
    slab_effusivity: float
    humidity: HumidityRate | None = None
    """None where the card's points do not speak of it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TopcoatClocks:
    """A topcoat card made ready: age of each milestone from mixing."""

    age_s: Mapping[str, float]
    fit: KineticFit
    spread_frac: float
    humidity: HumidityRate | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Points:
    """A card's points in columns, ready to be fitted."""

    at_c: tuple[float, ...]
    after_s: tuple[float, ...]
    milestone: tuple[int, ...]
    spread_frac: tuple[float, ...]
    humidity_frac: NDArray[np.float64]
    """NaN where a point gives none."""
    closing: NDArray[np.bool_]

    @property
    def carries_factor(self) -> bool:
        """Whether the points tell humidity's effect from everything else."""
        return carries_factor(self.at_c, self.humidity_frac, self.milestone)

    def humidity_above_frac(self, slope: float) -> NDArray[np.float64]:
        """Humidity of each point above the card's mean.

        A point that gives none is taken where it is most cautious: one that opens as if it
        had been timed in the air that is quickest, so that no air opens it sooner than
        printed, and one that closes in the slowest, so that none closes it later.
        """
        low, high = np.nanmin(self.humidity_frac), np.nanmax(self.humidity_frac)
        assumed = np.where(self.closing == (slope < 0.0), low, high)
        share = np.where(np.isnan(self.humidity_frac), assumed, self.humidity_frac)
        return np.asarray(share - np.nanmean(self.humidity_frac))

    def humidity_rate(self, fit: KineticFit) -> HumidityRate | None:
        """The factor a fit of these points has found."""
        if not self.carries_factor:
            return None
        return HumidityRate(
            slope=fit.humidity_slope,
            reference_frac=float(np.nanmean(self.humidity_frac)),
            low_frac=float(np.nanmin(self.humidity_frac)),
            high_frac=float(np.nanmax(self.humidity_frac)),
        )


def _points(milestones: Mapping[str, Milestone], *, mixed_s: float) -> _Points:
    """All points in columns; times count from the clock's zero, mixing ends at `mixed_s`."""
    rows = [
        (order, milestone, point)
        for order, milestone in enumerate(milestones.values())
        for point in milestone.points
    ]
    return _Points(
        at_c=tuple(point.at_c for _, _, point in rows),
        after_s=tuple(
            (mixed_s if milestone.clock_starts == "mixed" else 0.0)
            + (point.after_s if milestone.name in CLOSING_MILESTONES else point.after_late_s)
            for _, milestone, point in rows
        ),
        milestone=tuple(order for order, _, _ in rows),
        spread_frac=tuple(milestone.spread_frac for _, milestone, _ in rows),
        humidity_frac=np.array(
            [np.nan if p.humidity_frac is None else p.humidity_frac for _, _, p in rows]
        ),
        closing=np.array([milestone.name in CLOSING_MILESTONES for _, milestone, _ in rows]),
    )


CONFOUNDED_FRAC = 0.10
"""Points this far apart in humidity as well as in heat leave open which did it: invented."""


def _checked(card: SlurryCard | TopcoatCard | PrimerCard, points: _Points) -> _Points:
    """The points, unless their humidities leave open what a time is due to."""
    which = np.array(points.milestone)
    for order, name in enumerate(card.milestones):
        share = points.humidity_frac[which == order]
        bare = np.isnan(share)
        if points.carries_factor and np.any(bare) and not np.all(bare):
            raise InputError(
                "some points give a humidity and some do not",
                cure="give humidity on every point of this milestone, or on none",
                source=card.key,
                key=f"milestones.{name}.points",
            )
        if points.carries_factor or np.all(bare):
            continue
        heat_c = np.array(points.at_c)[which == order][~bare]
        if np.ptp(share[~bare]) > CONFOUNDED_FRAC and np.ptp(heat_c) > ALIKE_K:
            raise InputError(
                "its points differ in heat and in humidity together: which did it is open",
                cure="add a point at one of these temperatures and another humidity, or keep "
                "the points of one humidity",
                source=card.key,
                key=f"milestones.{name}.points",
            )
    return points


def _above_frac(
    card: SlurryCard | TopcoatCard | PrimerCard, points: _Points
) -> NDArray[np.float64] | None:
    """Humidity of each point above the card's mean, once it is known which air is quicker."""
    if not points.carries_factor:
        return None
    first = fit_kinetics(
        points.at_c,
        points.after_s,
        points.milestone,
        spread_frac=points.spread_frac,
        reference_c=_reference_c(card.milestones),
        prior_mean_j_mol=card.prior.mean_j_mol,
        prior_sd_j_mol=card.prior.sd_j_mol,
        humidity_above_frac=points.humidity_above_frac(0.0),
    )
    return points.humidity_above_frac(first.humidity_slope)


def reference_humidity(card: SlurryCard | TopcoatCard | PrimerCard) -> float | None:
    """Relative humidity [-] at which a card's ages are given; None without a factor."""
    points = _points(card.milestones, mixed_s=0.0)
    return float(np.nanmean(points.humidity_frac)) if points.carries_factor else None


def _reference_c(milestones: Mapping[str, Milestone]) -> float:
    return next(iter(milestones.values())).points[0].at_c


def _spread(milestones: Mapping[str, Milestone]) -> float:
    return float(np.max([milestone.spread_frac for milestone in milestones.values()]))


def slurry_clocks(card: SlurryCard, *, film_m: float, slab_effusivity: float) -> SlurryClocks:
    """Turn a slurry card into clocks for a floor of a given thickness."""
    reference_c = _reference_c(card.milestones)
    points = _checked(card, _points(card.milestones, mixed_s=card.filler_mix_s))
    names = list(card.milestones)
    working = names.index("working_time")
    kit = KitPhysics(
        activation_energy_j_mol=card.prior.mean_j_mol,
        reference_c=reference_c,
        liquids_capacity_j_k=_capacity(card, "liquid"),
        filler_capacity_j_k=_capacity(card, "filler"),
        liquids_mix_s=card.liquids_mix_s,
        filler_mix_s=card.filler_mix_s,
        liquid_stage_share=card.liquid_stage_share,
        heat_rise_k=card.bucket_heat_rise_k,
        working_age_s=points.after_s[points.milestone.index(working)],
        mixing_power_w=card.mixing_power_w,
        exchange_w_k=card.bucket_exchange_w_k,
        volumetric_heat_j_m3_k=card.kit_heat_capacity_j_k / card.mixed_yield_m3,
    )
    try:
        kit, fit = procedure_kinetics(
            points.at_c,
            points.after_s,
            points.milestone,
            spread_frac=points.spread_frac,
            reference_c=reference_c,
            prior_mean_j_mol=card.prior.mean_j_mol,
            prior_sd_j_mol=card.prior.sd_j_mol,
            working=working,
            kit=kit,
            haul_s=card.reference_haul_s,
            film_m=film_m,
            slab_effusivity=slab_effusivity,
            humidity_above_frac=_above_frac(card, points),
        )
    except OutOfRangeError as error:
        raise clocks_fault(card, error) from None
    return SlurryClocks(
        kit=kit,
        age_s=dict(zip(names, fit.reference_s.tolist(), strict=True)),
        fit=fit,
        spread_frac=_spread(card.milestones),
        film_m=film_m,
        slab_effusivity=slab_effusivity,
        humidity=points.humidity_rate(fit),
    )


def clocks_as_seen(
    clocks: SlurryClocks,
    *,
    rate_factor: float,
    card_doubt_frac: float,
    batch_doubt_frac: float,
) -> SlurryClocks:
    """The clocks of a batch seen to age so many times faster than its card.

    The shares are what is left of the doubt of the card's energy and of its batches.
    """
    fit = replace(
        clocks.fit,
        ln_reference_s=clocks.fit.ln_reference_s - np.log(rate_factor),
        covariance=clocks.fit.covariance * card_doubt_frac**2,
    )
    return replace(
        clocks,
        kit=replace(clocks.kit, working_age_s=clocks.kit.working_age_s / rate_factor),
        age_s={name: age_s / rate_factor for name, age_s in clocks.age_s.items()},
        fit=fit,
        spread_frac=clocks.spread_frac * batch_doubt_frac,
    )


def clocks_fault(
    card: SlurryCard | TopcoatCard | PrimerCard, error: OutOfRangeError, *, at_c: float = np.nan
) -> InputError:
    """What a model cannot follow of a card, as a fault of the card's own keys."""
    words = str(error)
    if "poured" in words:
        return InputError(
            "a milestone comes before its batch is on the floor",
            cure="count from filler-in, mixing and mixing.reference_haul included",
            source=card.key,
            key="milestones",
        )
    if isinstance(card, SlurryCard):
        where = "" if np.isnan(at_c) else f" at {at_c:.3g} °C"
        return InputError(
            f"its batch would run away hot before it is poured{where}",
            cure="check bucket.heat_rise, mixing.power, rate.mean and the milestones",
            source=card.key,
            key="bucket.heat_rise",
            value=f"{card.bucket_heat_rise_k:.3g} C",
        )
    return InputError(
        f"its times do not fit together ({words})",
        cure="check the points of its milestones",
        source=card.key,
        key="milestones",
    )


def topcoat_clocks(card: TopcoatCard | PrimerCard) -> TopcoatClocks:
    """Turn a topcoat card into clocks; a thin coat simply has the slab's temperature."""
    reference_c = _reference_c(card.milestones)
    points = _checked(card, _points(card.milestones, mixed_s=0.0))
    fit = fit_kinetics(
        points.at_c,
        points.after_s,
        points.milestone,
        spread_frac=points.spread_frac,
        reference_c=reference_c,
        prior_mean_j_mol=card.prior.mean_j_mol,
        prior_sd_j_mol=card.prior.sd_j_mol,
        humidity_above_frac=_above_frac(card, points),
    )
    ages = dict(zip(card.milestones, fit.reference_s.tolist(), strict=True))
    return TopcoatClocks(
        age_s=ages,
        fit=fit,
        spread_frac=_spread(card.milestones),
        humidity=points.humidity_rate(fit),
    )


def _capacity(card: SlurryCard, kind: str) -> float:
    return sum(p.mass_kg * p.specific_heat_j_kg_k for p in card.parts if p.kind == kind)
