"""What-ifs: what each variant changes, and rows that can be reckoned by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, time, timedelta
from itertools import pairwise
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from steady import BY_HAND_S, KITS, THREE_STATIONS_S, write_job, write_weather

from cureplan.api import compare_variants, get_weather, planned_row, read_job
from cureplan.inputs.job.model import Shift
from cureplan.output.text.studies import _holds, compare_json, compare_text
from cureplan.output.view.view import status_state
from cureplan.planning.studies.compare import (
    ComparedRow,
    Variant,
    begun_later,
    shifted_weather,
    variants,
)
from cureplan.weather.hours.series import WeatherOrigin

NOW = datetime(2013, 7, 17, 12, tzinfo=UTC)


@pytest.fixture(scope="module")
def steady(tmp_path_factory):
    folder = tmp_path_factory.mktemp("steady")
    write_weather(folder / "weather.csv")
    job = read_job(write_job(folder))
    return job, get_weather(job, now=NOW)


def rows_of(steady, *varies):
    return compare_variants(variants(*steady, varies, now=NOW), now=NOW)


@pytest.fixture(scope="module")
def station_rows(steady):
    return rows_of(steady, "stations")


@pytest.mark.thorough
def test_the_job_as_it_is_comes_first_with_the_margin_reckoned_by_hand(station_rows):
    base = station_rows[0]
    assert (base.vary, base.value, base.status) == (None, None, "within policy")
    assert base.least_margin_min * 60 == pytest.approx(BY_HAND_S, abs=1.0)
    assert base.tightest == "Cook line"
    assert base.ice_kg == 0
    # By hand: foreman, 2 mixers, runner, rake, smoother, 2 broadcasters and the edge hand
    # for the pour, 3 for the one topcoat; each crew comes once.
    assert (base.people, base.call_outs) == (9 + 3, 2)


def test_a_third_station_gives_the_minutes_reckoned_by_hand(station_rows):
    by_count = {row.value: row for row in station_rows}
    assert by_count[3].least_margin_min * 60 == pytest.approx(THREE_STATIONS_S, abs=1.0)
    # A station comes with its mixer.
    assert by_count[3].people == station_rows[0].people + 1


def test_more_stations_never_lower_the_least_margin_on_a_steady_night(station_rows):
    # On a steady night only: elsewhere a shorter pour puts later rooms into hotter hours,
    # and a plan with time to spare drops remedies it no longer needs.
    margins = {row.value or 2: row.least_margin_min for row in station_rows}
    assert sorted(margins) == [1, 2, 3, 4]
    assert margins[1] < margins[2] < margins[3] <= margins[4]


HANDS = ("rake", "mixer", "broadcaster", "topcoat")


@pytest.mark.thorough
def test_one_more_hand_helps_only_where_the_rhythm_hangs_on_it(steady):
    tried = [
        one for one in variants(*steady, ["people"], now=NOW) if one.value in (None, *HANDS)
    ]
    rows = {row.value: row for row in compare_variants(tried, now=NOW)}
    assert set(rows) == {None, *HANDS}
    # Mixing sets the rhythm. By hand: a second rake halves 120 s of raking before the tie;
    # nobody else's work comes before it.
    assert rows["rake"].least_margin_min * 60 == pytest.approx(BY_HAND_S + 60, abs=1.0)
    for role in HANDS[1:]:
        assert rows[role].least_margin_min == rows[None].least_margin_min, role
    assert all(row.people == rows[None].people + 1 for key, row in rows.items() if key)


@pytest.mark.thorough
def test_ice_in_every_room_is_iced_though_nothing_needs_it(steady):
    base, allowed, every = rows_of(steady, "ice")
    assert (allowed.value, allowed.iced_rooms, allowed.ice_kg) == ("where needed", 0, 0)
    assert (every.value, every.iced_rooms) == ("every room", 1)
    assert every.least_margin_min > base.least_margin_min
    # By hand from the card: liquids from 21 °C to 40 °F, latent heat 333.55 kJ/kg
    # (evidence: ice melts), 30 % lost to the cooler. The pails of a kit stand in half a
    # gallon = 1.8927 L of tap water at 68 °F = 20 °C, which goes to 0 °C at 4.19 kJ/kg.
    cooled_k = 21.0 - (40.0 - 32.0) / 1.8
    kit_kj = (2.5 * 1.9 + 2.5 * 1.6) * cooled_k + 1.8927 * 4.19 * 20.0
    by_hand_kg = KITS * kit_kj / 333.55 * 1.3
    assert every.ice_kg == pytest.approx(by_hand_kg, abs=0.01)


@pytest.mark.thorough
def test_a_start_that_leaves_no_shift_is_a_row_that_says_why(steady):
    job, series = steady
    short = replace(
        job, crew=replace(job.crew, pour_shifts=(Shift(begins=time(19), ends=time(21)),))
    )
    base, *_, latest = variants(short, series, ["start"], now=NOW)
    rows = compare_variants([base, latest], now=NOW)
    late = rows[-1]
    assert (late.value, late.status) == (2, "no feasible plan")
    assert "no pour shift lies in the access time" in late.why
    text = compare_text(short, rows, width=100)
    assert "▲ Start 2 h later: " in " ".join(text.split())
    assert late.least_margin_min is None


@pytest.mark.thorough
def test_a_later_start_pours_later_by_as_much(steady):
    base, earliest, *_, latest = variants(*steady, ["start"], now=NOW)
    rows = compare_variants([earliest, base, latest], now=NOW)
    assert [row.value for row in rows] == [-2, None, 2]
    for before, after in pairwise(rows):
        assert after.first_pour - before.first_pour == timedelta(hours=2)


@pytest.mark.parametrize(
    ("begins", "ends", "hours", "left"),
    [
        (time(19), time(5), 2, (time(21), time(5))),
        (time(19), time(5), -2, (time(17), time(5))),
        (time(23), time(1), 1, (time(0), time(1))),
        (time(23), time(1), 2, None),
        (time(1), time(3), -2, (time(23), time(3))),
        (time(0), time(0), 2, (time(0), time(0))),
        (time(6), time(5), -1, (time(0), time(0))),
    ],
)
def test_a_shift_begins_later_and_ends_as_before(begins, ends, hours, left):
    moved = begun_later(Shift(begins=begins, ends=ends), timedelta(hours=hours))
    assert (moved and (moved.begins, moved.ends)) == left


def test_forecast_quantiles_are_those_of_a_normal_error_of_1_6_k(steady):
    found = {one.value: one for one in variants(*steady, ["forecast"], now=NOW)}
    # Published: normal quantiles 0.6745 and 1.2816; NWS and ECMWF error a day ahead, 1.6 K.
    for quantile, z in ((0.1, -1.2816), (0.25, -0.6745), (0.75, 0.6745), (0.9, 1.2816)):
        assert found[quantile].shift_k == pytest.approx(z * 1.6, abs=1e-3)
        last = found[quantile].weather.temp_c[-1]
        assert last == pytest.approx(21.0 + z * 1.6, abs=1e-3)


@pytest.mark.thorough
def test_a_warmer_forecast_leaves_less_time(steady):
    base, coldest, *_, warmest = variants(*steady, ["forecast"], now=NOW)
    rows = compare_variants([coldest, base, warmest], now=NOW)
    margins = [row.least_margin_min for row in rows]
    assert margins[0] > margins[1] > margins[2]


@given(shift_k=st.floats(-15, 15))
def test_only_hours_to_come_are_shifted_and_air_holds_no_more_than_it_can(steady, shift_k):
    _, series = steady
    shifted = shifted_weather(series, shift_k, now=NOW)
    before = series.epoch_s < NOW.timestamp()
    assert np.array_equal(shifted.temp_c[before], series.temp_c[before])
    assert shifted.temp_c[~before] == pytest.approx(21.0 + shift_k)
    assert np.all(shifted.dew_c <= np.maximum(shifted.temp_c, series.dew_c[0]))
    assert np.all(shifted.dew_c[~before] <= shifted.temp_c[~before])


def test_what_was_observed_is_not_shifted_whenever_it_was(steady):
    _, series = steady
    seen = replace(
        series,
        origins=(WeatherOrigin(label="x", kind="observed", licence="", attribution=""),),
        dew_c=np.full(series.epoch_s.size, np.nan),
    )
    shifted = shifted_weather(seen, 2.0, now=NOW)
    assert np.array_equal(shifted.temp_c, series.temp_c)
    assert np.all(np.isnan(shifted.dew_c))


def test_a_remedy_already_there_is_not_compared_with_itself(steady):
    job, series = steady
    iced = replace(job, policy=replace(job.policy, remedies=("bays", "chill")))
    found = variants(iced, series, ["ice", "ice"], now=NOW)
    assert [one.value for one in found] == [None, "never", "every room"]
    assert found[1].job.policy.remedies == ("bays",)


def test_fewer_than_one_station_is_not_tried(steady):
    job, series = steady
    alone = replace(job, crew=replace(job.crew, stations=1, mixer=1))
    assert [one.value for one in variants(alone, series, ["stations"], now=NOW)] == [None, 2, 3]


def test_every_room_iced_leaves_no_other_way_to_pour(steady):
    _, _, every = variants(*steady, ["ice"], now=NOW)
    plain = set(every.options) - {replace(one, chilled=True) for one in every.options}
    assert every.options
    assert not plain
    row = planned_row(every, now=NOW)
    assert row.iced_rooms == row.rooms == 1
    # Outside: liquids that must stay warmer than their store cannot be iced at all.
    cold = replace(every.job.materials, iced_c=1.0)
    card = every.job.cards.slurry
    warm = replace(card, limits=replace(card.limits, mixed_c=(25.0, 40.0)))
    cards = replace(every.job.cards, slurry=warm)
    job = replace(every.job, materials=cold, cards=cards)
    assert planned_row(replace(every, job=job), now=NOW).status == "no feasible plan"


def test_the_same_comparison_twice_is_the_same_text(steady, station_rows):
    job, _ = steady
    again = variants(*steady, ["stations"], now=NOW)[-1]
    assert planned_row(again, now=NOW) == station_rows[-1]
    text = compare_text(job, station_rows, width=100)
    assert text == compare_text(job, station_rows, width=100)
    assert "● As the job says" in text
    assert "6.5 min" in text
    assert max(map(len, text.splitlines())) <= 100
    assert '"least_margin_min": 6.5' in compare_json(job, station_rows)


@pytest.mark.parametrize(
    ("status", "margin_min", "shape", "state"),
    [
        ("within policy", 2.0, "●", "kept"), ("short of policy", 0.0, "◆", "tight"),
        ("short of policy", -0.1, "▲", "short"), ("short of policy", -6.0, "▲", "short"),
        ("no feasible plan", None, "▲", "short"),
    ],
)  # fmt: skip
def test_a_row_bears_the_shape_of_its_plan(
    steady, station_rows, status, margin_min, shape, state
):
    why = None if margin_min is not None else "no shift"
    row = replace(station_rows[0], status=status, least_margin_min=margin_min, why=why)
    text = compare_text(steady[0], [row], width=100)
    assert text.splitlines()[3].startswith(f"{shape} As the job says")
    floors = [
        SimpleNamespace(room="Bar", margin_min=margin_min, opens=1, open_by=2, pour_start=0)
    ]
    plan = SimpleNamespace(
        status=status, rooms=[] if why else floors, coats=(), primers=()
    )  # fmt: skip
    assert status_state(plan) == state
    # What the last column counts stands below, all of it.
    assert {"buckets", "coats", "shifts", "temperatures", "opening"} <= words(text)


def test_people_who_do_several_things_count_once(demo_plan):
    # Of thirteen whom its calls name by what they do, two do two things: eleven come.
    variant = Variant(vary=None, value=None, job=demo_plan.job, weather=None)
    plan = replace(demo_plan, labour=replace(demo_plan.labour, heads=11))
    assert ComparedRow.of(variant, plan).people == 11
    assert ComparedRow.of(variant, demo_plan).people == 13


def test_each_reason_why_there_is_no_plan_has_a_line_of_its_own(steady, station_rows):
    why = "No order and start keeps every limit:\n- Bar is too cold\n- Hall is too far"
    row = replace(station_rows[0], status="no feasible plan", why=why)
    lines = compare_text(steady[0], [row], width=100).splitlines()
    first = lines.index("▲ As the job says: No order and start keeps every limit:")
    assert lines[first + 1 : first + 3] == ["- Bar is too cold", "- Hall is too far"]


def words(text):
    return {word.strip(",.;:") for word in text.split()}


def test_a_night_that_loses_a_layer_or_its_opening_bears_the_gravest_shape():
    # Two minutes to spare in every bucket: late are a coat, a pour on its primer, an opening.
    def state(coat=0, primer=0, opens=0):
        room = SimpleNamespace(room="Bar", margin_min=2.0, opens=opens, open_by=0, pour_start=0)
        coats = [SimpleNamespace(start=coat, closes=0)]
        primers = [SimpleNamespace(room="Bar", slurry_closes=-primer)]
        plan = SimpleNamespace(
            status="short of policy", rooms=[room], coats=coats, primers=primers
        )  # fmt: skip
        return status_state(plan)

    assert state() == "tight"
    assert [state(coat=1), state(primer=1), state(opens=1)] == ["short"] * 3


def test_a_narrow_terminal_keeps_margin_opening_ice_and_odds(steady, station_rows):
    text = compare_text(steady[0], station_rows, width=60)
    head = text.splitlines()[2]
    assert {"Margin", "Ice", "Opens", "Holds"} <= set(head.split())
    assert "Tightest" not in head
    assert max(map(len, text.splitlines())) <= 60


def test_a_row_without_a_plan_does_not_stop_the_others(steady):
    job, series = steady
    hopeless = replace(job, access=replace(job.access, open_by=job.access.begins))
    row = planned_row(Variant(vary="start", value=1, job=hopeless, weather=series), now=NOW)
    assert row.status == "no feasible plan"
    assert row.why


@pytest.mark.parametrize(
    ("chance", "told"),
    [
        (1.0, "99 %"),
        (0.995, "99 %"),
        (0.989, "98 %"),
        (0.9, "90 %"),
        (0.0, "0 %"),
        (None, "0 %"),
    ],
)
def test_no_row_holds_on_every_night(chance, told):
    # Nights are drawn: a plan says 99 % at most, and its row the same.
    assert _holds(SimpleNamespace(all_keep_frac=chance)) == told
