"""A kit followed by an off-the-shelf integrator, to simulate trials with a known truth.

Shares nothing with the package's own bucket: plain ordinary differential equations for
the pail (scipy's solve_ivp) and the half-space film on the floor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp
from scipy.special import erfcx

GAS_J_MOL_K = 8.314462618


@dataclass(frozen=True, kw_only=True)
class Truth:
    """A product, in SI; the defaults are the shipped card's, from its TOML by hand."""

    energy_j_mol: float = 50e3
    reference_c: float = 21.0
    ages_s: tuple[float, ...]
    working: int
    share: float = 0.2
    rise_k: float = 8.0
    power_w: float = 150.0
    exchange_w_k: float = 1.0
    speed: float = 1.0
    liquids_j_k: float = 2.5 * 1900 + 2.5 * 1600
    filler_j_k: float = 14.0 * 840
    liquids_mix_s: float = 150.0
    filler_mix_s: float = 180.0
    heat_j_m3_k: float = (2.5 * 1900 + 2.5 * 1600 + 14.0 * 840) / 9.5e-3
    film_m: float = 3.175e-3
    effusivity: float = float(np.sqrt(1.4 * 2300 * 880))

    def rate(self, temp_c):
        """Arrhenius, written out."""
        inverse = 1.0 / (np.asarray(temp_c) + 273.15) - 1.0 / (self.reference_c + 273.15)
        return self.speed * np.exp(-self.energy_j_mol / GAS_J_MOL_K * inverse)

    def pail(self, start_c, air_c, until_s, *, whole, power_w, share, age_s=0.0):
        """Temperature and age in the pail as functions of time."""
        capacity = self.liquids_j_k + self.filler_j_k
        own = capacity if whole else self.liquids_j_k
        heat_j = self.rise_k * capacity / self.ages_s[self.working]

        def slope(_, state):
            rate = share * self.rate(state[0])
            lost = self.exchange_w_k * (state[0] - air_c)
            return [(heat_j * rate + power_w - lost) / own, rate]

        return solve_ivp(
            slope, (0.0, until_s), [start_c, age_s], rtol=1e-9, atol=1e-9, dense_output=True
        ).sol

    def kit(self, liquids_c, filler_c, air_c, slab_c, poured_s, *, probes_s):
        """Times to each milestone from filler-in [s], and temperatures at `probes_s` [°C]."""
        stirred = self.pail(
            liquids_c, air_c, self.liquids_mix_s, whole=False, power_w=self.power_w,
            share=self.share,
        )(self.liquids_mix_s)  # fmt: skip
        capacity = self.liquids_j_k + self.filler_j_k
        mixed_c = (self.liquids_j_k * stirred[0] + self.filler_j_k * filler_c) / capacity
        mixing = self.pail(
            mixed_c, air_c, self.filler_mix_s, whole=True, power_w=self.power_w, share=1.0,
            age_s=stirred[1],
        )  # fmt: skip
        done = mixing(self.filler_mix_s)
        standing = self.pail(
            done[0], air_c, 3600.0, whole=True, power_w=0.0, share=1.0, age_s=done[1]
        )
        landed = standing(poured_s - self.filler_mix_s)
        probes = [
            stirred[0] if at == 0 else standing(max(at - self.filler_mix_s, 0.0))[0]
            for at in probes_s
        ]
        return self._on_the_floor(landed, slab_c, poured_s), np.array(probes)

    def _on_the_floor(self, landed, slab_c, poured_s):
        beta = self.effusivity / (self.heat_j_m3_k * self.film_m)
        time_s = np.linspace(0.0, 3 * 3600.0, 40_001)
        film_c = slab_c + (landed[0] - slab_c) * erfcx(beta * np.sqrt(time_s))
        rate = self.rate(film_c)
        age = landed[1] + np.concatenate(
            [[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(time_s))]
        )
        return poured_s + np.interp(self.ages_s, age, time_s)
