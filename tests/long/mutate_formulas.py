"""Break key formulas one at a time, in a copy of the package, and see which test notices.

    python tests/long/mutate_formulas.py            all, some minutes
    python tests/long/mutate_formulas.py film       those whose name holds a word

Ends with 1 if a broken formula passed its tests; with 2 if a test fails before, or if an
expression is no longer found once in its file (then mend the list below).
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
COPIED = ("cureplan", "tests", "data", "demo", "notebooks", "pyproject.toml")
PATIENCE_S = 300


@dataclass(frozen=True, slots=True)
class Mutation:
    """One expression, what it becomes, and the tests that ought to notice."""

    name: str
    file: str
    before: str
    after: str
    tests: str


MUTATIONS = (
    Mutation(
        "rate: hotter is slower",
        "science/rate.py",
        "np.exp(-energy / GAS_CONSTANT_J_MOL_K * inverse_difference)",
        "np.exp(energy / GAS_CONSTANT_J_MOL_K * inverse_difference)",
        "tests/science/test_rate.py",
    ),
    Mutation(
        "rate: zero Celsius three kelvin off",
        "science/rate.py",
        "ZERO_CELSIUS_K = 273.15",
        "ZERO_CELSIUS_K = 270.15",
        "tests/science/test_rate.py",
    ),
    Mutation(
        "age: each piece at its first rate",
        "science/rate.py",
        "(at_edge[:-1] + 4.0 * at_middle + at_edge[1:]) / 6.0",
        "at_edge[:-1]",
        "tests/science/test_rate.py",
    ),
    Mutation(
        "fit: no prior",
        "science/fit.py",
        "normal[0, 0] += 1.0",
        "normal[0, 0] += 0.01",
        "tests/science/test_fit.py",
    ),
    Mutation(
        "mixing: the filler's heat counts twice",
        "science/kit.py",
        "(heat_j + kit.filler_capacity_j_k * filler_c)",
        "(heat_j + 2.0 * kit.filler_capacity_j_k * filler_c)",
        "tests/science/test_kit_heat.py",
    ),
    Mutation(
        "bucket: liquids age in full",
        "science/kit.py",
        "speed=kit.liquid_stage_share * speed,",
        "speed=speed,",
        "tests/science/test_bucket.py",
    ),
    Mutation(
        "bucket: the air warms what is hotter",
        "science/kit.py",
        "kit.heat_per_age_w * rate + power_w - lost_w",
        "kit.heat_per_age_w * rate + power_w + lost_w",
        "tests/science/test_bucket.py",
    ),
    Mutation(
        "bucket: film twice as quick to follow",
        "science/kit.py",
        "erfcx(beta_s * inner.ravel())",
        "erfcx(2.0 * beta_s * inner.ravel())",
        "tests/science/test_bucket.py",
    ),
    Mutation(
        "bucket: film's stay counted from the pour alone",
        "science/kit.py",
        "film_age_s=floor_age - floor_time * slab_rate[:, None],",
        "film_age_s=0.0 * floor_age,",
        "tests/science/test_bucket.py",
    ),
    Mutation(
        "film: time without its root",
        "science/kit.py",
        "rate_factor(slab + gap * erfcx(beta_s * root), **kinetics)",
        "rate_factor(slab + gap * erfcx(beta_s * root**2), **kinetics)",
        "tests/science/test_kit_heat.py",
    ),
    Mutation(
        "series: a cylinder's mean weighs as a wall's",
        "science/conduction_series.py",
        "Shape.CYLINDER: (4.0, 0.0),",
        "Shape.CYLINDER: (2.0, 1.0),",
        "tests/science/test_conduction_means.py",
    ),
    Mutation(
        "slab: all of a half step from above",
        "science/slab.py",
        "right[0] += 0.5 * sub_s * operator.into_top_w_m2k * warm",
        "right[0] += 0.52 * sub_s * operator.into_top_w_m2k * warm",
        "tests/science/test_slab.py",
    ),
    Mutation(
        "slab: a reading fades twice as fast",
        "science/slab_reading.py",
        "np.exp(-np.abs(times - when[column]) / constant)",
        "np.exp(-2.0 * np.abs(times - when[column]) / constant)",
        "tests/science/test_slab_reading.py",
    ),
    Mutation(
        "dew point: two digits swapped",
        "core/moist_air.py",
        "_A = 17.625",
        "_A = 17.265",
        "tests/science/test_humid_air.py",
    ),
    Mutation(
        "pail: chills through its side alone",
        "science/ice/cooling.py",
        "np.asarray(side * mean_gap_left(elapsed_s, body=pail.bottom))",
        "np.asarray(side)",
        "tests/science/test_chilling.py",
    ),
    Mutation(
        "ice: the cooler makes some",
        "science/ice/cooling.py",
        "heat / fusion * (1.0 + loss)",
        "heat / fusion * (1.0 - loss)",
        "tests/science/test_chilling.py",
    ),
    Mutation(
        "room: half the lag",
        "science/room_air.py",
        "spans = np.diff(times)[:, np.newaxis] / lag",
        "spans = 2.0 * np.diff(times)[:, np.newaxis] / lag",
        "tests/science/test_room_air.py",
    ),
    Mutation(
        "layout: a kit may be split",
        "planning/floor/layout.py",
        "max(1, math.ceil(needed_m3 / bays / card.mixed_yield_m3 - _EPS))",
        "max(1, math.floor(needed_m3 / bays / card.mixed_yield_m3))",
        "tests/planning",
    ),
    Mutation(
        "layout: tied in when poured, not when raked",
        "planning/floor/layout.py",
        "tied_in_s=np.where(met < 0, np.nan, raked[met]),",
        "tied_in_s=np.where(met < 0, np.nan, pour[met]),",
        "tests/planning",
    ),
    Mutation(
        "margin: broadcast does not wait for the next row",
        "planning/floor/layout.py",
        "for waiting in np.flatnonzero(met == patch):",
        "for waiting in np.flatnonzero((met >= 0) & (np.arange(met.size) == patch)):",
        "tests/planning",
    ),
    Mutation(
        "layout: a short last row meets only what lies straight behind it",
        "planning/floor/layout.py",
        "reaches = ((place + 1) * across + per_row - 1) // per_row - 1",
        "reaches = np.minimum(place, across - 1)",
        "tests/planning",
    ),
    Mutation(
        "margin: measured from the pour, not from the deed",
        "planning/floor/pour.py",
        "due = np.stack([starts + times.tied_in_s, starts + times.smoothed_s, broadcast_by])",
        "due = np.stack([starts + times.tied_in_s, starts + times.pour_s, broadcast_by])",
        "tests/planning",
    ),
    Mutation(
        "doubt: closing times waited for",
        "planning/floor/doubt.py",
        "return float(np.exp(step)), float(np.exp(-step))",
        "return float(np.exp(-step)), float(np.exp(step))",
        "tests/planning",
    ),
    Mutation(
        "coats: opens when walked on or dry, not both",
        "planning/floor/layers.py",
        "opens_s = np.maximum(borne_s + ahead_s, opens_s)",
        "opens_s = np.minimum(borne_s + ahead_s, opens_s)",
        "tests/planning",
    ),
    Mutation(
        "coats: closes with the youngest patch, not the oldest",
        "planning/floor/layers.py",
        "return opens_s, np.min(when(layer.closes) - work.offset_s, axis=-1)",
        "return opens_s, np.max(when(layer.closes) - work.offset_s, axis=-1)",
        "tests/planning",
    ),
    Mutation(
        "gain from ice at the wrong rate",
        "planning/floor/ice.py",
        "np.asarray((as_is.pour_age_s - chilled.pour_age_s) / slab_rate)",
        "np.asarray((as_is.pour_age_s - chilled.pour_age_s) * slab_rate)",
        "tests/planning",
    ),
)


def stale() -> list[str]:
    """Mutations whose expression does not stand exactly once in its file."""
    return [
        mutation.name
        for mutation in MUTATIONS
        if (TOP / "cureplan" / mutation.file).read_text("utf-8").count(mutation.before) != 1
    ]


def copied(folder: Path) -> Path:
    """The repository without its bulk."""
    leave = shutil.ignore_patterns("__pycache__", "*.pyc", ".*")
    for name in COPIED:
        source = TOP / name
        if source.is_dir():
            shutil.copytree(source, folder / name, ignore=leave)
        else:
            shutil.copy2(source, folder / name)
    return folder


def first_failure(folder: Path, tests: str) -> str | None:
    """Name of a test that fails in the copy; None if all pass."""
    words = ["-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", "--no-header", "-rfE"]
    run = subprocess.run(
        [sys.executable, *words, *tests.split()],
        cwd=folder, capture_output=True, text=True, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    if run.returncode == 0:
        return None
    found = re.search(r"^(?:FAILED|ERROR) (\S+)", run.stdout, re.MULTILINE)
    if found is None:
        raise SystemExit(f"{tests}: no verdict\n{run.stdout[-2000:]}{run.stderr[-2000:]}")
    return found[1]


def noticed_by(folder: Path, mutation: Mutation) -> str | None:
    """Name of a test that fails on the broken copy; None if all pass."""
    path = folder / "cureplan" / mutation.file
    sound = path.read_text("utf-8")
    path.write_text(sound.replace(mutation.before, mutation.after), "utf-8")
    try:
        return first_failure(folder, mutation.tests)
    finally:
        path.write_text(sound, "utf-8")


def main(words: list[str]) -> int:
    """Print one row per mutation; 0 if every one was noticed."""
    gone = stale()
    if gone:
        print("no longer found once in their file: " + "; ".join(gone))
        return 2
    chosen = [m for m in MUTATIONS if not words or any(word in m.name for word in words)]
    missed = 0
    with tempfile.TemporaryDirectory() as name:
        folder = copied(Path(name))
        fails = first_failure(folder, " ".join(sorted({m.tests for m in chosen})))
        if fails is not None:
            print(f"{fails} fails before anything is broken")
            return 2
        print("| broken formula | file | noticed by |\n|---|---|---|")
        for mutation in chosen:
            test = noticed_by(folder, mutation)
            missed += test is None
            print(f"| {mutation.name} | {mutation.file} | {test or 'NO TEST'} |", flush=True)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
