from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from builders import HAND, JULY_17_S, series_of
from hypothesis import given
from hypothesis import strategies as st

from cureplan.core.errors import OutOfRangeError
from cureplan.core.messages import Message
from cureplan.weather.hours.merge import splice
from cureplan.weather.hours.series import Gap, WeatherOrigin

MODEL = WeatherOrigin(
    label="model",
    kind="forecast",
    licence="NLOD 2.0",
    attribution="An Office",
    issued_at=datetime(2013, 7, 17, tzinfo=UTC),
)
FILLED = replace(MODEL, label="model, between", kind="interpolated")


def later(hours, temp_c, **more):
    return series_of(temp_c, first_s=JULY_17_S + 3600.0 * hours, **more)


def label_of(series, row):
    return series.origins[series.origin[row]].label


def test_the_first_piece_wins_and_the_next_carries_on():
    observed = series_of([20.0, 21.0, 22.0], notes=(Message("a"),))
    model = later(
        1, [31.0, 32.0, 33.0, 34.0], origins=(MODEL,), notes=(Message("a"), Message("b"))
    )
    joined = splice([observed, model])
    assert joined.temp_c.tolist() == [20, 21, 22, 33, 34]
    assert [label_of(joined, n) for n in range(5)] == ["by hand"] * 3 + ["model"] * 2
    assert joined.origins[1].licence == "NLOD 2.0"
    assert joined.notes == (Message("a"), Message("b"))
    assert joined.gaps == ()


def test_interpolated_rows_yield_to_given_ones():
    coarse = replace(
        series_of([20.0, 21.0, 22.0, 23.0], origins=(MODEL, FILLED)),
        origin=np.array([0, 1, 1, 0]),
        gaps=(
            Gap(
                what="temperature",
                starts=datetime(2013, 7, 17, 1, tzinfo=UTC),
                ends=datetime(2013, 7, 17, 2, tzinfo=UTC),
                hours=2,
                mended="by a curve",
            ),
        ),
    )
    joined = splice([coarse, later(2, [40.0])])
    assert joined.temp_c.tolist() == [20, 21, 40, 23]
    (gap,) = joined.gaps
    assert (gap.starts.hour, gap.ends.hour, gap.hours) == (1, 1, 1)


def test_a_hole_between_pieces_is_bridged_or_named():
    near = splice([series_of([20.0, 21.0]), later(4, [24.0])])
    assert near.temp_c.tolist() == [20, 21, 22, 23, 24]
    assert near.origins[near.origin[2]].kind == "interpolated"
    far = splice([series_of([20.0, 21.0]), later(6, [24.0])])
    assert np.isnan(far.temp_c[2:6]).all()
    assert [(gap.hours, gap.mended) for gap in far.gaps] == [(4, "no")]


def test_unused_and_repeated_sources_are_listed_once():
    joined = splice(
        [series_of([20.0, 21.0]), series_of([30.0], origins=(MODEL,)), later(2, [22.0])]
    )
    assert joined.origins == (HAND,)
    assert (joined.origin == 0).all()


@given(
    st.lists(
        st.tuples(st.integers(0, 6), st.lists(st.sampled_from([np.nan, 1.0, 2.0]), min_size=1)),
        min_size=1,
        max_size=4,
    )
)
def test_every_known_hour_is_somebodys_and_none_is_lost(parts):
    pieces = [later(first, [20.0, *temps_c]) for first, temps_c in parts]
    joined = splice(pieces)
    for row, epoch_s in enumerate(joined.epoch_s):
        given_c = [
            piece.temp_c[piece.epoch_s == epoch_s][0]
            for piece in pieces
            if np.any(piece.epoch_s == epoch_s)
            and not np.isnan(piece.temp_c[piece.epoch_s == epoch_s][0])
        ]
        if given_c:
            assert joined.temp_c[row] == given_c[0]
        else:
            when = joined.starts + timedelta(hours=row)
            assert any(gap.starts <= when <= gap.ends for gap in joined.gaps)


def test_nothing_to_splice_is_refused():
    with pytest.raises(OutOfRangeError, match="at least one"):
        splice([])
    with pytest.raises(OutOfRangeError, match="grid"):
        splice([series_of([20.0]), later(0.5, [20.0])])
    with pytest.raises(OutOfRangeError, match="known temperature"):
        splice([series_of([np.nan, np.nan])])
