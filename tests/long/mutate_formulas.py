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
        "np.exp(-energy / GAS_CONSTANT_J_MOL_K * inverse_difference)",
        "np.exp(energy / GAS_CONSTANT_J_MOL_K * inverse_difference)",
        "tests/science/test_rate.py",
    ),
    Mutation(
        "rate: zero Celsius three kelvin off",
        "ZERO_CELSIUS_K = 273.15",
        "ZERO_CELSIUS_K = 270.15",
        "tests/science/test_rate.py",
    ),
    Mutation(
        "age: each piece at its first rate",
        "(at_edge[:-1] + 4.0 * at_middle + at_edge[1:]) / 6.0",
        "at_edge[:-1]",
        "tests/science/test_rate.py",
    ),
    Mutation(
        "fit: no prior",
        "normal[0, 0] += 1.0",
        "normal[0, 0] += 0.01",
        "tests/science/test_fit.py",
    ),
    Mutation(
        "heat: time constant upside down",
        "return float(capacity / conductance)",
        "return float(conductance / capacity)",
        "tests/science/test_heat_properties.py",
    ),
    Mutation(
        "bucket: liquids age in full",
        "speed=kit.liquid_stage_share * speed,",
        "speed=speed,",
        "tests/science/test_bucket.py",
    ),
    Mutation(
        "bucket: the air warms what is hotter",
        "kit.heat_per_age_w * rate + power_w - lost_w",
        "kit.heat_per_age_w * rate + power_w + lost_w",
        "tests/science/test_bucket.py",
    ),
    Mutation(
        "bucket: film twice as quick to follow",
        "erfcx(beta_s * inner.ravel())",
        "erfcx(2.0 * beta_s * inner.ravel())",
        "tests/science/test_bucket.py",
    ),
    Mutation(
        "bucket: film's stay counted from the pour alone",
        "film_age_s=floor_age - floor_time * slab_rate[:, None],",
        "film_age_s=0.0 * floor_age,",
        "tests/science/test_bucket.py",
    ),
    Mutation(
        "film: time without its root",
        "film_inner = slab + gap * erfcx(beta_s * inner.ravel())",
        "film_inner = slab + gap * erfcx(beta_s * inner.ravel() ** 2)",
        "tests/science/test_bucket.py",
    ),
    Mutation(
        "film: at its slab's temperature from the first",
        "rate = rate_factor(slab + gap * erfcx(beta_s * root), **kinetics) * speed[:, None]",
        "rate = rate_factor(slab + 0.0 * gap * root, **kinetics) * speed[:, None]",
        "tests/science/test_bucket.py",
    ),
    Mutation(
        "slab: all of a half step from above",
        "right[0] += 0.5 * sub_s * operator.into_top_w_m2k * warm",
        "right[0] += 0.52 * sub_s * operator.into_top_w_m2k * warm",
        "tests/science/test_slab.py",
    ),
    Mutation(
        "slab: a reading fades twice as fast",
        "np.exp(-np.abs(times - when[column]) / constant)",
        "np.exp(-2.0 * np.abs(times - when[column]) / constant)",
        "tests/science/test_slab_reading.py",
    ),
    Mutation(
        "dew point: two digits swapped",
        "_A = 17.625",
        "_A = 17.265",
        "tests/science/test_humid_air.py",
    ),
    Mutation(
        "pail: chills through its side alone",
        "np.asarray(side * mean_gap_left(elapsed_s, body=pail.bottom))",
        "np.asarray(side)",
        "tests/science/test_chilling.py",
    ),
    Mutation(
        "ice: the cooler makes some",
        "heat / fusion * (1.0 + loss)",
        "heat / fusion * (1.0 - loss)",
        "tests/science/test_chilling.py",
    ),
    Mutation(
        "room: half the lag",
        "spans = np.diff(times)[:, np.newaxis] / lag",
        "spans = 2.0 * np.diff(times)[:, np.newaxis] / lag",
        "tests/science/test_room_air.py",
    ),
    Mutation(
        "layout: a kit may be split",
        "max(1, math.ceil(needed_m3 / bays / card.mixed_yield_m3 - _EPS))",
        "max(1, math.floor(needed_m3 / bays / card.mixed_yield_m3))",
        "tests/planning",
    ),
    Mutation(
        "layout: tied in when poured, not when raked",
        "tied_in_s=np.where(met < 0, np.nan, raked[met]),",
        "tied_in_s=np.where(met < 0, np.nan, pour[met]),",
        "tests/planning",
        "planning/floor",
    ),
    Mutation(
        "margin: broadcast does not wait for the next row",
        "for waiting in np.flatnonzero(met == patch):",
        "for waiting in np.flatnonzero((met >= 0) & (np.arange(met.size) == patch)):",
        "tests/planning",
    ),
    Mutation(
        "layout: a short last row meets only what lies straight behind it",
        "reaches = ((place + 1) * across + per_row - 1) // per_row - 1",
        "reaches = np.minimum(place, across - 1)",
        "tests/planning",
    ),
    Mutation(
        "margin: measured from the pour, not from the deed",
        "due = np.stack([starts + times.tied_in_s, starts + times.smoothed_s, broadcast_by])",
        "due = np.stack([starts + times.tied_in_s, starts + times.pour_s, broadcast_by])",
        "tests/planning",
    ),
    Mutation(
        "doubt: closing times waited for",
        "return float(np.exp(step)), float(np.exp(-step))",
        "return float(np.exp(-step)), float(np.exp(step))",
        "tests/planning",
    ),
    Mutation(
        "coats: opens when walked on or dry, not both",
        "opens_s = np.maximum(borne_s + ahead_s, opens_s)",
        "opens_s = np.minimum(borne_s + ahead_s, opens_s)",
        "tests/planning",
    ),
    Mutation(
        "coats: closes with the youngest patch, not the oldest",
        "return opens_s, np.min(when(layer.closes) - work.offset_s, axis=-1)",
        "return opens_s, np.max(when(layer.closes) - work.offset_s, axis=-1)",
        "tests/planning",
    ),
    Mutation(
        "gain from ice at the wrong rate",
        "np.asarray((as_is.pour_age_s - chilled.pour_age_s) / slab_rate)",
        "np.asarray((as_is.pour_age_s - chilled.pour_age_s) * slab_rate)",
        "tests/planning",
    ),
)


if __name__ == "__main__":
    sys.exit(run(MUTATIONS, sys.argv[1:]))
