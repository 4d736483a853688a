"""Whatever a crew writes down: a fit with sound numbers, or one line that says why not."""

from __future__ import annotations

import math
from pathlib import Path

from effort import examples
from fit_builders import NAN, fitted, reading
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import InputError
from cureplan.inputs.cards.reader import read_card, read_card_text
from cureplan.science.learning.report import fitted_card_text

SLURRY, TOPCOAT = read_card("fast-slurry"), read_card("clear-topcoat")


def maybe(values):
    return st.one_of(st.just(NAN), values)


def sample(kind, milestones):
    return st.builds(
        lambda milestone, minutes, temp_c, batch, humidity, mass: reading(
            kind, milestone, minutes, temp_c, batch=batch, humidity_frac=humidity, mass_kg=mass
        ),
        st.sampled_from(milestones),
        st.floats(0.1, 4000.0),
        st.floats(0.0, 60.0),
        st.sampled_from(["", "a", "b"]),
        maybe(st.floats(0.01, 1.0)),
        maybe(st.floats(0.01, 20.0)),
    )


def kit(milestones):
    """A kit's milestone, or a thermometer in it, at temperatures that need not be sane."""
    degrees = st.floats(0.0, 50.0)

    def made(probe, milestone, minutes, read_c, batch, around, poured_min):
        parts = ("liquids_c", "filler_c", "air_c", "slab_c")
        known = dict(zip(parts, around, strict=True)) | {"poured_s": 60.0 * poured_min}
        if probe:
            return reading("probe", "", 3.0 + minutes, read_c, batch="k", **known)
        return reading("bucket", milestone, 3.0 + minutes, NAN, batch=batch, **known)

    return st.builds(
        made,
        st.booleans(),
        st.sampled_from(milestones),
        st.floats(0.0, 300.0),
        st.floats(0.0, 100.0),
        st.sampled_from(["", "k", "m"]),
        st.tuples(degrees, degrees, degrees, degrees),
        st.floats(1.0, 12.0),
    )


def check(card, readings):
    try:
        found = fitted(card, readings)
    except InputError as refused:
        said = str(refused)
    else:
        said = ""
        again = read_card_text(fitted_card_text(found), source=Path("new.toml"))
        assert 10e3 <= again.prior.mean_j_mol <= 150e3
        assert found.energy.low < found.energy.value < found.energy.high
        for one in found.milestones:
            assert 0.0 < one.time.low <= one.time.value <= one.time.high < math.inf
    assert "\n" not in said


@examples(40)
@given(readings=st.lists(sample("cup", list(TOPCOAT.milestones)), min_size=1, max_size=6))
def test_any_topcoat_readings_give_a_card_or_one_line(readings):
    check(TOPCOAT, readings)


@examples(4)
@given(
    cups=st.lists(sample("cup", list(SLURRY.milestones)), max_size=2),
    sheets=st.lists(sample("sheet", list(SLURRY.milestones)), max_size=2),
    kits=st.lists(kit(list(SLURRY.milestones)), min_size=1, max_size=3),
)
def test_any_slurry_readings_give_a_card_or_one_line(cups, sheets, kits):
    check(SLURRY, [*cups, *sheets, *kits])
