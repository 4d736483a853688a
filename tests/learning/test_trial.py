"""The two-kit trial: its table, filled in from simulated kits, gives back their heat."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from kit_truth import Truth

from cureplan.core.errors import InputError
from cureplan.inputs.tables.readings import read_readings_text
from cureplan.output.text.fit import trial_csv, trial_json
from cureplan.science.clocks import slurry_clocks
from cureplan.science.heat import SLAB_EFFUSIVITY
from cureplan.science.learning.fitting import fit_card
from cureplan.science.learning.trial import TRIAL_KITS, trial_lines

ENDS = ("wet_edge", "working_time", "broadcast_closes")
STORE_C, ICED_C, AIR_C, SLAB_C, POURED_S = 32.0, 3.0, 33.0, 30.0, 240.0


def ages_s(card):
    clocks = slurry_clocks(card, film_m=card.thickness_m, slab_effusivity=SLAB_EFFUSIVITY)
    return [clocks.age_s[name] for name in ENDS]


def truth(card, rng, *, rise_k, share):
    """A product near the card, with a heat balance of its own."""
    off = rng.normal(0, 0.10)
    return Truth(
        ages_s=tuple(age * math.exp(-off - rng.normal(0, 0.05)) for age in ages_s(card)),
        working=1,
        energy_j_mol=rng.normal(50e3, 7e3),
        rise_k=rise_k,
        share=share,
        power_w=rng.normal(150.0, 50.0),
        exchange_w_k=rng.uniform(1.0, 3.0),
    )


def fill_in(table, product, rng, *, noise):
    """The crew's hands: every cell of the printed table, with what they would misread."""
    rows = list(csv.reader(line for line in table.splitlines() if not line.startswith("#")))
    header, body = rows[0], rows[1:]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    for kit, liquids_c in zip(TRIAL_KITS, (STORE_C, ICED_C), strict=True):
        lines = [dict(zip(header, row, strict=True)) for row in body if row[1] == kit]
        probes = [60.0 * float(line["minutes"]) for line in lines if line["kind"] == "probe"]
        batch = replace(product, speed=math.exp(noise * rng.normal(0, 0.087)))
        ends, read_c = batch.kit(
            liquids_c + noise * rng.normal(0, 0.5), STORE_C + noise * rng.normal(0, 1.0),
            AIR_C, SLAB_C, POURED_S, probes_s=probes,
        )  # fmt: skip
        seen = iter(read_c + noise * rng.normal(0, 0.5, read_c.size))
        watched = dict(zip(ENDS, ends * np.exp(noise * rng.normal(0, 0.05, 3)), strict=True))
        lines[0] |= {"liquids_c": liquids_c, "filler_c": STORE_C, "air_c": AIR_C}
        lines[0] |= {"slab_c": SLAB_C, "poured_min": POURED_S / 60}
        for line in lines:
            if line["kind"] == "probe":
                line["temp_c"] = f"{next(seen):.1f}" if noise else f"{next(seen):.6f}"
            else:
                line["minutes"] = f"{watched[line['milestone']] / 60:.6f}"
            writer.writerow(line.values())
    return out.getvalue()


def fit_trial(card, text):
    found = read_readings_text(
        text, source=Path("trial.csv"), milestones=tuple(card.milestones)
    )
    assert not found.blank
    return fit_card(card, found.rows, source="trial.csv", fitted_on=date(2026, 7, 17))


def balance(found):
    return {one.name: one for one in found.balance}


@pytest.fixture(scope="module")
def own(slurry):
    """The card with its points said to be of the product in hand."""
    return replace(slurry, generic=False)


@pytest.mark.thorough
def test_a_trial_without_misreadings_draws_both_to_the_truth(own):
    # Outside: kits followed by scipy's integrator. What is left between fit and truth is
    # the prior's pull, which a perfect trial does not know it need not heed.
    product = truth(own, np.random.default_rng(3), rise_k=12.0, share=0.35)
    text = fill_in(trial_csv(own, units="metric"), product, np.random.default_rng(0), noise=0.0)
    found = fit_trial(own, text)
    rise, share = balance(found)["rise"], balance(found)["share"]
    assert rise.pinned
    assert rise.found.value == pytest.approx(12.0, abs=1.0)
    assert share.was < share.found.value
    assert share.found.low < 0.35 < share.found.high
    assert found.card.bucket_heat_rise_k == rise.found.value
    assert "trial.csv" in found.card.provenance["bucket.heat_rise"]


@pytest.mark.thorough
def test_one_trial_pins_the_heat_rise_to_a_kelvin_or_so(own):
    # Measured over 50 products: root mean square error 0.77 K for the rise (0.72 claimed,
    # 4 before), 0.12 for the share (0.12 claimed, 0.15 before), both intervals holding
    # 9 times in 10. Here three products: bounds are what chance leaves of that.
    off, share_off, held = [], [], 0
    for seed in range(3):
        rng = np.random.default_rng(seed)
        rise_k, of_liquids = rng.uniform(4.0, 12.0), rng.uniform(0.05, 0.40)
        product = truth(own, rng, rise_k=rise_k, share=of_liquids)
        text = fill_in(trial_csv(own, units="metric"), product, rng, noise=1.0)
        one = balance(fit_trial(own, text))
        assert one["rise"].pinned
        off.append(one["rise"].found.value - rise_k)
        share_off.append(one["share"].found.value - of_liquids)
        held += one["rise"].found.low <= rise_k <= one["rise"].found.high
        assert 0.3 < one["rise"].found.sd < 1.5
        assert one["share"].found.sd < 0.15
    assert math.sqrt(np.mean(np.square(off))) < 1.4
    assert math.sqrt(np.mean(np.square(share_off))) < 0.2
    assert held >= 2


def test_what_a_trial_cannot_pin_stays_as_the_card_has_it(own):
    rng = np.random.default_rng(1)
    product = truth(own, rng, rise_k=8.0, share=0.2)
    text = fill_in(trial_csv(own, units="metric"), product, rng, noise=1.0)
    found = fit_trial(own, text)
    for one in found.balance:
        on_card = {
            "share": found.card.liquid_stage_share, "rise": found.card.bucket_heat_rise_k
        }[one.name]  # fmt: skip
        assert on_card == (one.found.value if one.pinned else one.was)


@pytest.mark.parametrize(("units", "unit"), [("us", "f"), ("metric", "c")])
def test_the_table_says_what_to_measure_and_when(slurry, units, unit):
    table = trial_csv(slurry, units=units)
    for word in ("thermometer", "filler in: start", "poured_min", "cureplan fit"):
        assert word.lower() in table.lower()
    rows = list(csv.DictReader(line for line in table.splitlines() if line[0] != "#"))
    assert f"temp_{unit}" in rows[0]
    assert [row["batch"] for row in rows].count("iced") == len(rows) / 2
    probes = [row["minutes"] for row in rows if row["kind"] == "probe"][:4]
    assert probes == ["0", "3", "6", "9"]
    assert all(len(line) <= 110 for line in table.splitlines())
    assert len(trial_lines(slurry)) == len(rows)
    assert '"minutes": 9.0' in trial_json(slurry)


def test_an_empty_trial_is_refused_and_names_what_to_do(slurry):
    table = trial_csv(slurry, units="us")
    with pytest.raises(InputError, match="no reading is filled in"):
        read_readings_text(table, source=Path("t.csv"), milestones=tuple(slurry.milestones))


def test_a_half_filled_trial_is_used_as_far_as_it_goes(own):
    rng = np.random.default_rng(5)
    text = fill_in(
        trial_csv(own, units="metric"), truth(own, rng, rise_k=9.0, share=0.2), rng, noise=1.0
    )
    lines = text.splitlines()
    kept = [line for line in lines if not line.startswith(("probe,iced,,9", "bucket,iced,wet"))]
    blank = ["probe,iced,,9,,,,,,,not read", "bucket,iced,wet_edge,,,,,,,,not watched"]
    found = read_readings_text(
        "\n".join([*kept, *blank]), source=Path("t.csv"), milestones=tuple(own.milestones)
    )
    assert len(found.blank) == 2
    assert (
        fit_card(own, found.rows, source="t.csv", fitted_on=date(2026, 7, 17)).counted
        == len(lines) - 3
    )
