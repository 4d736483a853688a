"""Break key formulas one at a time, in a copy of the package, and see which test notices.

    python tests/long/mutate_formulas.py            all, some minutes
    python tests/long/mutate_formulas.py film       those whose name holds a word

Ends with 1 if a broken formula passed its tests; with 2 if a test fails before, or if a
text no longer stands once in the package (then mend the list below).
"""

from __future__ import annotations

import sys

from mutating import Mutation, run

MUTATIONS = (
    Mutation(
        "rate: hotter is slower",
        "np.exp(-energy_j_mol / GAS_CONSTANT_J_MOL_K * inverse_difference)",
        "np.exp(energy_j_mol / GAS_CONSTANT_J_MOL_K * inverse_difference)",
        "tests/science/test_rate.py",
        "science/rate.py",
    ),
    Mutation(
        "rate: zero Celsius three kelvin off",
        "ZERO_CELSIUS_K = 273.15",
        "ZERO_CELSIUS_K = 270.15",
        "tests/science/test_rate.py",
        "science/rate.py",
    ),
    Mutation(
        "age: each piece at its first rate",
        "(at_edge[:-1] + 4.0 * at_middle + at_edge[1:]) / 6.0",
        "at_edge[:-1]",
        "tests/science/test_rate.py",
        "science/rate.py",
    ),
    Mutation(
        "fit: no prior",
        "normal[0, 0] += 1.0",
        "normal[0, 0] += 0.01",
        "tests/science/test_fit.py",
        "science/fit.py",
    ),
    Mutation(
        "mixing: the filler's heat counts twice",
        "(heat_j + kit.filler_capacity_j_k * filler_c)",
        "(heat_j + 2.0 * kit.filler_capacity_j_k * filler_c)",
        "tests/science/test_kit_heat.py",
        "science/kit.py",
    ),
    Mutation(
        "bucket: liquids age in full",
        "speed=kit.liquid_stage_share * speed,",
        "speed=speed,",
        "tests/science/test_bucket.py",
        "science/kit.py",
    ),
    Mutation(
        "bucket: the air warms what is hotter",
        "kit.heat_per_age_w * rate + power_w - lost_w",
        "kit.heat_per_age_w * rate + power_w + lost_w",
        "tests/science/test_bucket.py",
        "science/kit.py",
    ),
    Mutation(
        "bucket: film twice as quick to follow",
        "return erfcx(inner), erfcx(ends)",
        "return erfcx(2.0 * inner), erfcx(ends)",
        "tests/science/test_bucket.py",
        "science/kit.py",
    ),
    Mutation(
        "bucket: film's stay counted from the pour alone",
        "film_age_s=floor_age - floor_time * slab_rate[:, None],",
        "film_age_s=0.0 * floor_age,",
        "tests/science/test_bucket.py",
        "science/kit.py",
    ),
    Mutation(
        "film: time without its root",
        "return erfcx(inner), erfcx(ends)",
        "return erfcx(inner), erfcx(ends * FLOOR_ROOT_S05)",
        "tests/science/test_kit_heat.py",
        "science/kit.py",
    ),
    Mutation(
        "series: a cylinder's mean weighs as a wall's",
        "Shape.CYLINDER: (4.0, 0.0),",
        "Shape.CYLINDER: (2.0, 1.0),",
        "tests/science/test_conduction_means.py",
        "science/conduction_series.py",
    ),
    Mutation(
        "slab: all of a half step from above",
        "= half_s * into[0], half_s * into[1]",
        "= 1.04 * half_s * into[0], half_s * into[1]",
        "tests/science/test_slab.py",
        "science/slab.py",
    ),
    Mutation(
        "slab: a reading fades twice as fast",
        "goes_on = np.exp(-lags * step_s / constant)",
        "goes_on = np.exp(-2.0 * lags * step_s / constant)",
        "tests/science/test_slab_reading.py",
        "science/slab_reading.py",
    ),
    Mutation(
        "dew point: two digits swapped",
        "_A = 17.625",
        "_A = 17.265",
        "tests/science/test_humid_air.py",
        "core/moist_air.py",
    ),
    Mutation(
        "pail: chills through its side alone",
        "np.asarray(side * mean_gap_left(elapsed_s, body=pail.bottom))",
        "np.asarray(side)",
        "tests/science/test_chilling.py",
        "science/ice/cooling.py",
    ),
    Mutation(
        "ice: the cooler makes some",
        "heat / fusion * (1.0 + loss)",
        "heat / fusion * (1.0 - loss)",
        "tests/science/test_chilling.py",
        "science/ice/cooling.py",
    ),
    Mutation(
        "room: half the lag",
        "spans = np.diff(times)[:, np.newaxis] / lag",
        "spans = 2.0 * np.diff(times)[:, np.newaxis] / lag",
        "tests/science/test_room_air.py",
        "science/room_air.py",
    ),
    Mutation(
        "layout: a kit may be split",
        "max(1, math.ceil(needed_m3 / bays / card.mixed_yield_m3 - _EPS))",
        "max(1, math.floor(needed_m3 / bays / card.mixed_yield_m3))",
        "tests/planning",
        "planning/floor/layout.py",
    ),
    Mutation(
        "layout: tied in when poured, not when raked",
        "tied_in_s=np.where(met < 0, np.nan, raked[met]),",
        "tied_in_s=np.where(met < 0, np.nan, pour[met]),",
        "tests/planning",
        "planning/floor/layout.py",
    ),
    Mutation(
        "margin: broadcast does not wait for the next row",
        "strips = np.flatnonzero(met == patch).tolist()",
        "strips = [patch] if met[patch] >= 0 else []",
        "tests/planning",
        "planning/floor/layout.py",
    ),
    Mutation(
        "layout: a short last row meets only what lies straight behind it",
        "reaches = ((place + 1) * across + per_row - 1) // per_row - 1",
        "reaches = np.minimum(place, across - 1)",
        "tests/planning",
        "planning/floor/layout.py",
    ),
    Mutation(
        "margin: measured from the pour, not from the deed",
        "due = np.stack([starts + times.tied_in_s, starts + times.smoothed_s, broadcast_by])",
        "due = np.stack([starts + times.tied_in_s, starts + times.pour_s, broadcast_by])",
        "tests/planning",
        "planning/floor/pour.py",
    ),
    Mutation(
        "doubt: closing times waited for",
        "return float(np.exp(step)), float(np.exp(-step))",
        "return float(np.exp(-step)), float(np.exp(step))",
        "tests/planning",
        "planning/floor/doubt.py",
    ),
    Mutation(
        "coats: opens when walked on or dry, not both",
        "opens_s = np.maximum(borne_s + ahead_s, opens_s)",
        "opens_s = np.minimum(borne_s + ahead_s, opens_s)",
        "tests/planning",
        "planning/floor/layers.py",
    ),
    Mutation(
        "coats: closes with the youngest patch, not the oldest",
        "return opens_s, np.min(when(layer.closes) - work.offset_s, axis=-1)",
        "return opens_s, np.max(when(layer.closes) - work.offset_s, axis=-1)",
        "tests/planning",
        "planning/floor/layers.py",
    ),
    Mutation(
        "gain from ice at the wrong rate",
        "np.asarray((as_is.pour_age_s - chilled.pour_age_s) / slab_rate)",
        "np.asarray((as_is.pour_age_s - chilled.pour_age_s) * slab_rate)",
        "tests/planning",
        "planning/floor/ice.py",
    ),
)


if __name__ == "__main__":
    sys.exit(run(MUTATIONS, sys.argv[1:]))
