"""What a fit says and shows: the numbers it found, and nothing it did not."""

from __future__ import annotations

import io
import json
import math
from dataclasses import replace

import pytest
from fit_builders import fitted, reading

from cureplan.inputs.tables.record import PastScores, PredictionScore
from cureplan.output.charts.fit_picture import draw_fit, fit_png
from cureplan.output.text.fit import fit_json, fit_text, scores_text

KIT = {"liquids_c": 30.0, "filler_c": 31.0, "air_c": 32.0, "slab_c": 29.0, "poured_s": 250.0}


@pytest.fixture(scope="module")
def found(slurry):
    cups = [
        reading("cup", "working_time", 20.0 * 2.0 ** ((21.0 - t) / 10.0), t)
        for t in (10.0, 14.0, 18.0, 22.0, 26.0, 30.0)
    ]
    cups[3] = replace(cups[3], after_s=2.5 * cups[3].after_s)
    kit = [
        reading("bucket", "wet_edge", 6.0, batch="k1", **KIT),
        reading("bucket", "working_time", 8.2, batch="k1", **KIT),
        reading("probe", "", 6.0, 40.5, batch="k1", **KIT),
    ]
    return fitted(slurry, [*cups, *kit], blank=(40,))


@pytest.fixture(scope="module")
def past():
    one = PredictionScore(count=8, mean_error_s=-48.0, mean_miss_s=66.0, inside_frac=0.875,
                inside_low_frac=0.529, inside_high_frac=0.978)  # fmt: skip
    return PastScores(jobs=2, holds_frac=0.9, overall=one, milestones={"working_time": one})


def test_the_text_leads_with_what_disagrees_and_gives_rule_doubt_and_prior(found, past):
    text = fit_text(found, past=past)
    lines = text.splitlines()
    assert lines[2].startswith("DISAGREES line 5 (cup, working time ends)")
    assert "one sound file in twenty" in text
    assert "The loss is robust" in text
    energy = found.energy
    assert f"{energy.value / 1e3:.1f} kJ/mol (9 in 10: {energy.low / 1e3:.1f} to" in text
    assert "Before: 50 ± 10 kJ/mol" in text
    assert "Humidity factor: none; no humidity was read." in text
    assert "Left aside, nothing filled in: line 40" in text
    assert "Still a generic card" in text
    assert "From 2 finished jobs" in text
    assert "nan" not in text
    assert all(len(line) <= 200 for line in lines)


def test_scores_say_longer_or_shorter_and_how_often_inside(past):
    text = scores_text(past)
    assert "0.8 min shorter" in text
    assert "88% (53% to 98%)" in text
    assert "From 2 finished jobs; intervals were to hold 90% of the time." in text


def test_json_is_strict_and_holds_the_new_card(found):
    data = json.loads(fit_json(found), parse_constant=pytest.fail)
    assert data["activation_energy_j_mol"]["value"] == found.energy.value
    assert data["readings"][-1]["deleted_residual"] is None
    assert data["blank"] == [40]
    assert 'kind = "slurry"' in data["new_card"]
    assert data["past"] is None


def test_the_picture_shows_every_reading_and_marks_what_disagrees(found):
    from matplotlib.figure import Figure

    axes = draw_fit(Figure().add_subplot(), found)
    points = {
        (round(float(line.get_xdata()[0]), 6), round(float(line.get_ydata()[0]), 6))
        for line in axes.lines
        if line.get_linestyle() == "None"
    }
    timed = [one for one in found.readings if not math.isnan(one.steady_c)]
    assert len(timed) == 8
    assert points == {(round(o.steady_c, 6), round(o.steady_s / 60, 6)) for o in timed}
    assert [text.get_text() for text in axes.texts] == ["line 5"]
    assert len(axes.collections) == len(found.curves) == 2
    labels = [text.get_text() for text in axes.get_legend().get_texts()]
    assert "9 batches in 10" in labels
    assert "disagrees" in labels
    # A kit's reading stands at its slab's temperature, as far off the curve as it was.
    wet = next(o for o in found.readings if o.reading.milestone == "wet_edge")
    assert wet.steady_c == 29.0
    curve = next(c for c in found.curves if c.milestone == "wet_edge")
    near = min(range(len(curve.temp_c)), key=lambda n: abs(curve.temp_c[n] - 29.0))
    off = wet.steady_s / curve.mid_s[near]
    assert off == pytest.approx(wet.observed / wet.expected, rel=0.1)


def test_the_picture_is_a_png_and_always_the_same(found):
    from matplotlib.image import imread

    first = fit_png(found)
    assert first == fit_png(found)
    height, width, _ = imread(io.BytesIO(first)).shape
    assert width > height > 500


def test_a_topcoat_speaks_of_mixing_and_hours(topcoat):
    text = fit_text(fitted(topcoat, [reading("sheet", "wheels", 22.0 * 60, 21.0)]))
    assert "From mixing at" in text
    assert "22.0 h" in text
