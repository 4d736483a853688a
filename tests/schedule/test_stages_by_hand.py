"""The states of pours and coats in the tables of a search, each worked out by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.planning.floor.pour import PourOption
from cureplan.planning.schedule import tables
from cureplan.planning.schedule.placing import Span
from cureplan.planning.schedule.slots import Slots
from cureplan.planning.schedule.tables import PourTables, Sureness, layer_stage

NIGHT_S = datetime(2026, 7, 17, 20, tzinfo=UTC).timestamp()
SLOTS = Slots(origin_s=NIGHT_S)
PLAIN = PourOption(chilled=False, cool_filler=False, bays=1)
HOUR_S = 3600.0


def minutes_after(start_s, minutes):
    return start_s + 60.0 * minutes


class Limits:
    """Limits that keep everything from a start on, and remember what they were asked."""

    def __init__(self, kept=True):
        self.kept_, self.asked = kept, []

    def kept(self, start_s, lasts_s, until_s):
        self.asked.append((np.array(start_s), lasts_s, np.array(until_s)))
        return np.full(np.shape(start_s), self.kept_)


def coat_stage(
    monkeypatch, *, task, begins=(10, 11), shift_min=1440.0, due_min=1e6, late_s=120.0
):
    """A coat of 20 min with 5 min of getting ready; the next one takes 10 to get ready."""
    layer = Made(crew="topcoat")
    works = [
        Made(crew=1, layer=layer, lead_s=300.0, duration_s=1200.0),
        Made(crew=1, layer=layer, lead_s=600.0, duration_s=1200.0),
    ]
    if task == 1:
        works.reverse()
    begin = np.array(begins)
    span = np.zeros(begin.size, dtype=np.int64)
    limits = Limits()
    pours = Made(
        tasks=(1, 2), job=Made(crew=Made(changeover_s=900.0)), begins_from_s=lambda _: -np.inf
    )
    monkeypatch.setattr(tables, "_distinct_works", lambda *_: [works])
    monkeypatch.setattr(tables, "_possible_begins", lambda *_, **__: (begin, span))
    monkeypatch.setattr(
        tables, "_windows_after",
        lambda _pours, _task, _variants, at_s, _sure: tuple(
            minutes_after(at_s, minutes) for minutes in (60, 120, 300)
        ),
    )  # fmt: skip
    sure = Sureness(windows=0.9, margins=0.9, late_s=late_s)
    monkeypatch.setattr(Sureness, "limits_of", lambda *_: limits)
    shift = Span(begins_s=NIGHT_S, ends_s=minutes_after(NIGHT_S, shift_min))
    stage = layer_stage(
        pours, task, [shift], SLOTS, options=[], sure=sure,
        due_s=minutes_after(NIGHT_S, due_min),
    )  # fmt: skip
    return stage, limits


def test_a_coats_states_stand_at_whole_minutes_after_it(monkeypatch):
    stage, limits = coat_stage(monkeypatch, task=0)
    # Begun after 10 min it is laid from 15 to 35, borne by feet at 75 and 5 s, coated again
    # from 135 min and 5 s on, less the 10 min the next takes to get ready, and up to 315 min
    # less those, 5 s and 2 min that the crew may be late.
    assert [stage.begins[0], stage.ends[0], stage.frees[0]] == [10, 35, 50]
    assert [stage.shuts[0], stage.walks[0]] == [15, 76]
    assert [stage.opens[0], stage.closes[0]] == [126, 302]
    assert stage.begins.tolist() == [10, 11]
    # First while it is laid, then until it bears feet.
    starts_s = minutes_after(NIGHT_S, np.array([15, 16]))
    assert [(a[0].tolist(), a[1], a[2].tolist()) for a in limits.asked] == [
        (starts_s.tolist(), 1200.0, starts_s.tolist()),
        (starts_s.tolist(), 1200.0, minutes_after(starts_s, 60).tolist()),
    ]


def test_after_the_last_coat_nobody_gets_ready_and_it_is_done_in_time(monkeypatch):
    stage, _ = coat_stage(monkeypatch, task=1)
    assert [stage.opens[0], stage.closes[0]] == [136, 312]
    # 15 min + 120 min + 5 s + 2 min late: 137 min and 5 s.
    for due_s, kept in ((137 * 60 + 5, 1), (137 * 60 + 4, 0), (138 * 60 + 5, 2)):
        assert coat_stage(monkeypatch, task=1, due_min=due_s / 60)[0].size == kept
    # A coat with another to come is due by no hour of its own.
    assert coat_stage(monkeypatch, task=0, due_min=0)[0].size == 2


@pytest.mark.parametrize(("shift_min", "kept"), [(37, 1), (36.9, 0), (38, 2)])
def test_a_coat_ends_in_its_shift_however_late_its_crew(monkeypatch, shift_min, kept):
    # Done at 35 and 36 min, and 2 min late.
    assert coat_stage(monkeypatch, task=0, shift_min=shift_min)[0].size == kept


class Table:
    """A table of one pour: 30 min long, walked on after 5 h, coated from 8 h to 20 h."""

    def __init__(self, *, margin_s=150.0, spare_k=0.0, opens_min=480.0, closes_min=1200.0):
        self.values = margin_s, spare_k, opens_min, closes_min

    def __call__(self, _option, at_s, **_sure):
        margin_s, spare_k, opens_min, closes_min = self.values
        like = np.ones(at_s.size)
        return Made(
            opens_s=minutes_after(at_s, opens_min), closes_s=minutes_after(at_s, closes_min),
            lasts_s=1800.0 * like, walkable_s=minutes_after(at_s, 300),
            margin_s=margin_s * like,
            mixed_spare_k=spare_k * like,
        )  # fmt: skip


def pour_stage(table, *, begins=(10, 11), shift_min=(600.0,), known_min=600.0, late_s=0.0):
    """A pour that takes 5 min to get ready; the coat after it 10."""
    limits = Limits()
    here = Made(
        pours=Made(
            job=Made(
                policy=Made(margin_s=180.0), crew=Made(changeover_s=900.0, in_group_s=240.0)
            ),
            plan=lambda _: Made(times=Made(last_s=1200.0)),
            conditions=Made(last_s=minutes_after(NIGHT_S, known_min)),
        ),
        tabled=Made(states=0), own=Made(lead_s=300.0), layer=Made(crew="topcoat"), table=table,
        _next=lambda _: Made(lead_s=600.0),
    )  # fmt: skip
    sure = Made(late_s=late_s, limits_of=lambda *_: limits, behind_s=lambda _: late_s)
    spans = [
        Span(begins_s=NIGHT_S, ends_s=minutes_after(NIGHT_S, minutes)) for minutes in shift_min
    ]
    span = np.minimum(np.arange(len(begins)), len(spans) - 1)
    stage = PourTables._states(here, PLAIN, np.array(begins), span, spans, SLOTS, sure)
    return stage, limits, here.tabled.states


def test_a_pours_states_stand_at_whole_minutes_after_it():
    stage, limits, counted = pour_stage(Table(), late_s=120.0)
    # Laid from 15 to 45 min, by the same crew's set-up another from 60, in a group from 49;
    # walked on from 315 min and 5 s, coated from 495 min and 5 s less 10 min on, up to
    # 1,215 min less those, 5 s and the 2 min its crew may be late.
    assert [stage.begins[0], stage.ends[0], stage.frees[0], stage.follows[0]] == [
        10,
        45,
        60,
        49,
    ]
    assert [stage.shuts[0], stage.walks[0]] == [15, 316]
    assert [stage.opens[0], stage.closes[0]] == [486, 1202]
    # Half a minute short of three minutes, in bands of so many seconds.
    assert stage.short[0] == np.ceil(30.0 / tables.BAND_S)
    assert counted == 2
    ((start_s, lasts_s, until_s),) = limits.asked
    assert start_s.tolist() == minutes_after(NIGHT_S, np.array([15, 16])).tolist()
    assert lasts_s.tolist() == [1800.0, 1800.0]
    assert until_s.tolist() == minutes_after(start_s, 300).tolist()


@pytest.mark.parametrize(
    ("table", "more", "kept"),
    [
        # Its last bucket, 20 min after it begins, is in the shift and in the weather known.
        (Table(), {"shift_min": (45.0,)}, 1), (Table(), {"shift_min": (44.9,)}, 0),
        (Table(), {"known_min": 35.0}, 1), (Table(), {"known_min": 34.9}, 0),
        (Table(), {"shift_min": (46.0,)}, 2), (Table(), {"shift_min": (47.0, 48.0)}, 2),
        (Table(), {"shift_min": (30.0, 46.0)}, 1),
        # Its end is too, as late as the crew may be.
        (Table(), {"shift_min": (47.0,), "late_s": 120.0}, 1),
        # A mix at the very limit is kept, one beyond it is not.
        (Table(spare_k=0.0), {}, 2), (Table(spare_k=-0.01), {}, 0),
        # A window of no minute is one; one that shuts before it opens is none.
        (Table(opens_min=479.0, closes_min=480.2), {}, 2),
        (Table(opens_min=479.0, closes_min=479.1), {}, 0),
    ],
)  # fmt: skip
def test_a_pour_is_kept_where_its_shift_its_mix_and_its_coat_allow_it(table, more, kept):
    assert pour_stage(table, **more)[0].size == kept


def test_a_margin_that_is_kept_lacks_nothing():
    assert pour_stage(Table(margin_s=180.0))[0].short.tolist() == [0, 0]
    assert pour_stage(Table(margin_s=500.0))[0].short.tolist() == [0, 0]
    assert pour_stage(Table(margin_s=179.0))[0].short.tolist() == [1, 1]
