"""What services of open data answer, taken or left, at both sides of each limit."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_services import H, query, rows_of, span_of, station
from scenes import NOW

from cureplan.core.errors import WeatherUnavailableError
from cureplan.core.messages import Message
from cureplan.weather.providers import hourly
from cureplan.weather.providers.exchange import Answer
from cureplan.weather.providers.hourly import ClientRows, ProviderTerms

# Rows of the client


@pytest.mark.parametrize(
    ("provider", "columns"),
    [("hourly", ["temp", "dwpt", "rhum"]), ("dwd_mosmix", ["temp", "dwpt", "rhum", "cldc"])],
)
def test_clouds_are_asked_of_forecasts_alone(monkeypatch, provider, columns):
    import meteostat

    given = {}

    def client(where, starts, ends, **more):
        given.update(where=where, starts=starts, ends=ends, **more)
        return Made(fetch=lambda: given["frame"])

    monkeypatch.setattr(meteostat, "hourly", client)
    for frame, usable in ((Made(empty=False), 1), (Made(empty=True), 0), (None, 0)):
        given["frame"] = frame
        found = hourly.time_series("1", NOW, NOW + timedelta(hours=1), provider=provider)
        assert (found is not None) == bool(usable)
    assert [str(one.value) for one in given["parameters"]] == columns
    assert [str(one.value) for one in given["providers"]] == [provider]
    # The client reckons in UTC, and without saying so.
    assert (given["starts"].tzinfo, given["starts"].hour) == (None, 18)


class Frame:
    """As much of a table as is read of one, columns by name."""

    def __init__(self, **columns: list[float]) -> None:
        self.columns = columns
        size = len(columns["temp"])
        hours = np.datetime64("2026-07-17T00") + np.arange(size).astype("timedelta64[h]")
        self.index = Made(to_numpy=lambda: hours)
        self._size = size

    def __len__(self) -> int:
        return self._size

    def __getitem__(self, name: str) -> Made:
        values = self.columns.get(name, ["metar"] * self._size)
        return Made(to_numpy=lambda dtype=None, **_: np.array(values, dtype=dtype or object))


def read(**columns: list[float]) -> ClientRows | None:
    return hourly.rows_of(Made(fetch=lambda **_: Frame(**columns)))


def test_readings_of_a_service_lie_within_what_instruments_show():
    found = read(temp=[-60.0, 60.0, -60.01, 60.01, 20.0])
    assert found.temp_c.tolist() == [-60.0, 60.0, 20.0]
    assert found.dropped == 2
    assert np.diff(found.epoch_s).tolist() == [H, 3 * H]
    assert read(temp=[70.0, math.nan]) is None


def test_clouds_are_eighths_from_none_to_all():
    found = read(temp=[20.0] * 5, cldc=[0.0, 8.0, 4.0, -0.1, 8.1])
    assert found.cloud_frac[:3].tolist() == [0.0, 1.0, 0.5]
    assert np.isnan(found.cloud_frac[3:]).all()


def test_humidity_makes_a_dew_point_where_none_is_given():
    found = read(
        temp=[20.0] * 5, rhum=[100.0, 100.1, 0.0, 50.0, math.nan],
        dwpt=[math.nan, math.nan, math.nan, 9.0, math.nan],
    )  # fmt: skip
    assert found.dew_c[0] == pytest.approx(20.0)
    assert found.dew_c[3] == 9.0
    assert np.isnan(found.dew_c[[1, 2, 4]]).all()


def test_a_dew_point_lies_half_a_kelvin_above_its_air_at_most():
    found = read(temp=[20.0] * 5, dwpt=[20.5, 20.51, 19.0, -60.0, -60.5])
    # Within that it is rounding, and counts as the air's own.
    assert found.dew_c[[0, 2, 3]].tolist() == [20.0, 19.0, -60.0]
    assert np.isnan(found.dew_c[[1, 4]]).all()


@pytest.mark.parametrize(
    ("source", "is_forecast"),
    [("dwd_mosmix", True), ("metno_forecast", True), ("dwd_hourly", False), ("isd_lite", False),
     ("gfs", True), ("own_icon_run", True), ("somebody", False),
     ("dwd_hourly metno_forecast", True)],
)  # fmt: skip
def test_what_nobody_saw_is_a_forecast(source, is_forecast):
    terms = hourly.provider_terms(source)
    assert terms.forecast == is_forecast
    assert terms.attribution.startswith("Meteostat")
    assert terms.licence


def test_what_a_service_does_not_say_of_its_licence_is_the_clients(monkeypatch):
    from meteostat.core.providers import provider_service

    known = {
        "bare": Made(grade=None, license=None),
        "nameless": Made(grade=None, license=Made(name="", attribution="")),
        "own": Made(grade=None, license=Made(name="CC0", attribution="An office")),
    }
    monkeypatch.setattr(provider_service, "get_provider", known.get)
    told = {
        source: (
            hourly.provider_terms(source).licence,
            hourly.provider_terms(source).attribution,
        )
        for source in ("bare", "nameless", "own", "own nameless", "strange")
    }
    assert told == {
        "bare": ("CC BY 4.0", "Meteostat"), "nameless": ("CC BY 4.0", "Meteostat"),
        "own": ("CC0", "Meteostat, An office"),
        "own nameless": ("CC0, CC BY 4.0", "Meteostat, An office"),
        "strange": ("CC BY 4.0", "Meteostat"),
    }  # fmt: skip


# Stations around a site


@pytest.mark.parametrize(
    ("given", "sound"),
    [
        ({}, True), ({"share": 0.9}, True), ({"share": 0.89}, False),
        ({"silent_s": 6 * H}, True), ({"silent_s": 6 * H + 1}, False),
        ({"odd": "stuck"}, False),
        ({"share": 0.5, "silent_s": 9 * H}, False),
    ],
)  # fmt: skip
def test_a_station_is_sound_with_nine_hours_in_ten_and_six_of_silence(given, sound):
    values = {"share": 1.0, "silent_s": 0.0, "odd": "", **given}
    record = hourly._Record(station=station(), rows=rows_of([20.0]), answers=[], **values)
    assert record.sound == sound


@pytest.mark.parametrize(
    ("heights_m", "distance_m", "around_m"),
    [
        ((101.0, 130.0), 15_000.0, 215.5), ((100.0, 130.0), 9000.0, None),
        ((-101.0, -130.0), 9000.0, -15.5), ((-100.0, -130.0), 9000.0, None),
        ((101.0,), 9000.0, None), ((101.0, -130.0), 9000.0, None),
        ((101.0, 130.0), 15_001.0, None), ((-99.0, 50.0, 200.0), 9000.0, None),
    ],
)  # fmt: skip
def test_a_height_that_all_stations_near_speak_against_is_told(heights_m, distance_m, around_m):
    near = [station(distance_m=distance_m, height_m=h) for h in heights_m]
    told = hourly._contradicted(query(), near)
    assert [m.values["around_m"] for m in told] == ([] if around_m is None else [around_m])


@pytest.mark.parametrize(
    ("status", "trouble", "url", "years"),
    [
        (404, "", "https://x/2090/1.csv", "2090"), (200, "cut", "https://x/2090/1.csv", "2090"),
        (200, "", "https://x/2090/1.csv", ""), (404, "", "https://x/all/1.csv", ""),
        (404, "", "https://x/2091/1.csv", "2091"), (404, "", "https://x/2092/1.csv", ""),
        (None, "", "https://x/2089/1.csv", "2089"),
    ],
)  # fmt: skip
def test_years_whose_files_could_not_be_had(status, trouble, url, years):
    answer = Answer(url=url, status=status, trouble=trouble)
    assert hourly._years_missing([answer], NOW) == years


@pytest.mark.parametrize(
    ("height_m", "moved_c", "noted"),
    [(49.9, 20.0, False), (50.0, 20.325, True), (-50.0, 19.675, True), (200.0, 21.3, True)],
)
def test_a_station_fifty_metres_higher_is_colder_by_the_standard_lapse(
    height_m, moved_c, noted
):
    # 6.5 K a kilometre.
    here = station(height_m=height_m)
    rows = rows_of([20.0], dew_c=19.8)
    moved = hourly.at_site_height(rows, here)
    assert moved.temp_c[0] == pytest.approx(moved_c)
    assert moved.dew_c[0] == pytest.approx(min(19.8, moved_c))
    assert bool(hourly._height_notes([Made(station=here)])) == noted


def test_stations_count_by_the_inverse_square_of_their_distance():
    # 3 and 6 km: four parts of the near one to one of the far.
    pieces = [
        (station("1", distance_m=3000.0), rows_of([20.0, 21.0], source="metar")),
        (station("2", distance_m=6000.0), rows_of([25.0, 26.0], first_s=H, source="synop")),
    ]
    merged, labels = hourly.weighed(pieces)
    assert merged.epoch_s.tolist() == [0.0, H, 2 * H]
    assert merged.temp_c == pytest.approx([20.0, 21.0 + 4.0 / 5.0, 26.0])
    one, other = (each.label() for each, _ in pieces)
    assert labels == [one, f"{one} + {other}", other]
    assert merged.source == ("metar", "metar synop", "synop")


def test_what_no_station_gives_is_not_known():
    values = np.array([[1.0, math.nan, math.nan], [2.0, 5.0, math.nan]])
    found = hourly._weighed_mean(values, np.array([[3.0], [1.0]]))
    assert found[:2] == pytest.approx([1.25, 5.0])
    assert math.isnan(found[2])


@pytest.mark.parametrize(
    ("provider", "minutes", "until_h"),
    [("history", 0.0, 9.0), ("history", 1.0, 10.0), ("station", 0.0, 240.0),
     ("station", 15_000.0, 259.0)],
)  # fmt: skip
def test_a_station_is_asked_up_to_a_whole_hour_and_ten_days_ahead(
    monkeypatch, provider, minutes, until_h
):
    given = {}

    def client(where, starts, ends, *, provider):
        given.update(where=where, starts=starts, ends=ends, provider=provider)

    monkeypatch.setattr(hourly, "time_series", client)
    assert hourly._ask(query(provider), span_of(minutes=minutes), station("7")) is None
    assert (given["where"], given["provider"]) == ("7", "hourly")
    assert given["starts"] == NOW - timedelta(hours=48)
    assert given["ends"] == NOW + timedelta(hours=until_h)


@pytest.mark.parametrize(
    ("count", "source", "share", "silent_h"),
    [
        # From ten hours ago until now, both counted: eleven hours.
        (11, "metar", 1.0, 0.0), (14, "metar", 1.0, 0.0), (6, "metar", 6 / 11, 5.0),
        (10, "metar", 10 / 11, 1.0), (11, "dwd_mosmix", 0.0, 10.0),
    ],
)  # fmt: skip
def test_of_past_hours_those_count_that_were_seen(monkeypatch, count, source, share, silent_h):
    first_s = (NOW - timedelta(hours=10)).timestamp()
    rows = rows_of(20.0 + np.arange(count) % 7, first_s=first_s, source=source)
    monkeypatch.setattr(hourly, "time_series", lambda *_, **__: "a client")
    monkeypatch.setattr(hourly, "rows_of", lambda _: rows)
    found = hourly._ask(query("station"), span_of(hours=10.0), station())
    assert found.share == pytest.approx(share)
    assert found.silent_s == silent_h * H
    monkeypatch.setattr(hourly, "rows_of", lambda _: None)
    assert hourly._ask(query("station"), span_of(hours=10.0), station()) is None


def record(name: str, **more: object) -> hourly._Record:
    given = {
        "share": 1.0, "silent_s": 0.0, "odd": "", "answers": [], "distance_m": 9000.0,
        "height_m": 0.0, **more,
    }  # fmt: skip
    where = {key: given.pop(key) for key in ("distance_m", "height_m")}
    rows = given.pop("rows", rows_of([20.0] * 24))
    return hourly._Record(station=station(name, **where), rows=rows, **given)


def asked(monkeypatch, answers: list[list[Answer]], records: dict, provider="station"):
    """Who is asked, where each visit leaves some answers behind."""
    log: list[Answer] = []
    visits = iter(answers)
    names = []

    def visit(_, __, name):
        names.append(name)
        log.extend(next(visits, []))
        found = records.get(name)
        return found.pop(0) if isinstance(found, list) else found

    monkeypatch.setattr(hourly, "_ask", visit)
    here = Made(mark=lambda: len(log), since=lambda mark: log[mark:])
    found, silent = hourly._ask_around(query(provider), None, here, list("abcdefgh"))
    return "".join(names), [each.station.key for each in found], silent


def test_six_stations_are_asked_and_three_sound_ones_are_enough(monkeypatch):
    sound, poor = record("s"), record("p", share=0.5)
    assert asked(monkeypatch, [], {})[0] == "abcdef"
    assert asked(monkeypatch, [], dict.fromkeys("abcdef", sound))[:2] == ("abc", ["s"] * 3)
    some = {"a": poor, "b": sound, "d": sound, "e": sound}
    assert asked(monkeypatch, [], some) == ("abcde", ["p", "s", "s", "s"], ["c"])


def test_a_file_that_came_in_part_is_asked_for_again(monkeypatch):
    cut, whole = Answer(url="u", status=200, trouble="cut"), Answer(url="u", status=200)
    first, again = record("first"), record("again", share=0.5)
    names, found, _ = asked(monkeypatch, [[cut], [whole]], {"a": [first, again]})
    assert (names[:3], found) == ("aab", ["again"])
    # What the second time does not give at all the first has given.
    names, found, _ = asked(monkeypatch, [[cut], [whole]], {"a": [first, None]})
    assert (names[:3], found) == ("aab", ["first"])
    names, found, _ = asked(monkeypatch, [[whole]], {"a": [first, again]})
    assert (names[:2], found) == ("ab", ["first"])


@pytest.mark.parametrize(
    ("answer", "names"),
    [
        (Answer(url="u", status=None), "a"), (Answer(url="u", status=429, trouble="wait"), "a"),
        (Answer(url="u", status=404), "abcdef"),
        (Answer(url="u", status=200, trouble="page"), "abcdef"),
    ],
)  # fmt: skip
def test_a_server_that_lets_us_wait_is_not_asked_for_the_next(monkeypatch, answer, names):
    assert asked(monkeypatch, [[answer]], {})[0] == names


@pytest.mark.parametrize(
    ("first", "provider", "names"),
    [
        ({"distance_m": 5000.0, "height_m": 49.0}, "station", "a"),
        ({"distance_m": 5000.0, "height_m": 50.0}, "station", "abcdef"),
        ({"distance_m": 5001.0, "height_m": 0.0}, "station", "abcdef"),
        ({}, "history", "a"), ({}, "station", "abcdef"), ({"share": 0.5}, "history", "abcdef"),
    ],
)  # fmt: skip
def test_a_sound_one_next_door_or_of_the_past_is_enough(monkeypatch, first, provider, names):
    assert asked(monkeypatch, [], {"a": record("a", **first)}, provider)[0] == names


def visited(monkeypatch, records, silent=(), near=None, provider="station"):
    """Codes and stations of what is noted of a visit, and its warnings."""
    near = [one.station for one in records] if near is None else near
    seen = []
    monkeypatch.setattr(
        hourly, "_ask_around",
        lambda _, __, ___, level: seen.append(level) or (list(records), list(silent)),
    )  # fmt: skip
    here = Made(mark=lambda: 0, since=lambda _: [])
    series = hourly.hourly_provider(query(provider), span_of(), here, near)
    return (
        [(m.code.removeprefix("weather.station_"), m.values.get("station", "")[5:6])
         for m in series.notes if m.code.startswith("weather.")],
        [m.code for m in series.warnings],
        [one.key for one in seen[0]],
        series,
    )  # fmt: skip


def test_what_is_noted_of_each_station_asked(monkeypatch):
    gone = [Answer(url="https://x/2090/b.csv", status=404)]
    records = [
        record("a"), record("b", answers=gone), record("c"), record("d"),
        record("e", share=0.5), record("f", odd="stuck"),
    ]  # fmt: skip
    high = station("h", height_m=301.0)
    near = [one.station for one in records[:4]] + [station("i", height_m=-300.0), high]
    notes, warnings, level, _ = visited(monkeypatch, records, silent=[station("g")], near=near)
    assert notes == [
        ("used", "a"), ("used", "b"), ("used", "c"), ("spare", "d"), ("poor", "e"),
        ("odd", "f"), ("silent", "g"), ("years", "b"), ("high", "h"),
    ]  # fmt: skip
    assert warnings == []
    assert level == ["a", "b", "c", "d", "i"]


def test_a_station_that_is_odd_and_used_all_the_same_is_warned_of(monkeypatch):
    notes, warnings, _, _ = visited(monkeypatch, [record("a", odd="stuck")])
    assert (notes, warnings) == ([], ["weather.station_used_odd"])
    notes, warnings, _, _ = visited(monkeypatch, [record("a", odd="stuck"), record("b")])
    assert (notes, warnings) == ([("odd", "a"), ("used", "b")], [])


def test_of_the_past_one_station_is_taken(monkeypatch):
    rows = [rows_of([20.0, 21.0]), rows_of([30.0, 31.0])]
    records = [record("a", rows=rows[0]), record("b", rows=rows[1])]
    *_, series = visited(monkeypatch, records, provider="history")
    assert series.temp_c.tolist() == [20.0, 21.0]
    *_, series = visited(monkeypatch, records)
    assert series.temp_c == pytest.approx([25.0, 26.0])


@pytest.mark.parametrize(
    ("heights_m", "code"),
    [((301.0, -400.0), "provider.height"), ((300.0,), "provider.no_hour"),
     ((), "provider.no_hour")],
)  # fmt: skip
def test_without_a_station_at_a_like_height_or_an_hour_of_one_there_is_nothing(
    monkeypatch, heights_m, code
):
    monkeypatch.setattr(hourly, "_ask_around", lambda *_: ([], []))
    here = Made(mark=lambda: 0, since=lambda _: [])
    near = [station(height_m=height_m) for height_m in heights_m]
    with pytest.raises(WeatherUnavailableError) as caught:
        hourly.hourly_provider(query(), span_of(), here, near)
    assert caught.value.reason.code == code
    if code == "provider.no_hour":
        assert "nothing asked" in str(caught.value)
        assert caught.value.reason.values["why"] == (Message("net.nothing"),)


def test_why_no_hour_came_is_told_once(monkeypatch):
    monkeypatch.setattr(hourly, "_ask_around", lambda *_: ([], []))
    gone = [Answer(url="https://x.org/a", status=404)] * 2
    here = Made(mark=lambda: 0, since=lambda _: gone)
    with pytest.raises(WeatherUnavailableError, match=r"\(x\.org: HTTP 404\)") as caught:
        hourly.hourly_provider(query(), span_of(), here, [station()])
    assert caught.value.reason.values["why"] == (
        Message("net.status", {"host": "x.org", "status": 404}),
    )


def test_hours_ahead_are_a_forecast_whoever_gives_them(monkeypatch):
    terms = {"metar": False, "gfs": True}
    monkeypatch.setattr(
        hourly, "provider_terms",
        lambda source: ProviderTerms(forecast=terms[source], licence="l", attribution="a"),
    )  # fmt: skip
    rows = rows_of([20.0] * 4, first_s=NOW.timestamp() - 2 * H)
    rows = replace(rows, source=("gfs", "metar", "metar", "metar"))
    series = hourly._with_origins(rows, ["a"] * 4, [], query())
    kinds = [series.origins[n].kind for n in series.origin]
    assert kinds == ["forecast", "observed", "observed", "forecast"]


@pytest.mark.parametrize(
    ("hours", "oldest_h"),
    [
        (((-9.0, -3.0), (-5.0,)), -5.0), (((-3.0,), (None, -5.0)), -5.0),
        (((-3.0,), (None,)), None), ((), None), (((1.0,),), 1.0), (((1.01,),), None),
        (((0.5,), (2.0,)), 0.5),
    ],
)  # fmt: skip
def test_a_forecast_is_as_old_as_the_newest_file_of_the_least_fresh_station(hours, oldest_h):
    chosen = [
        Made(answers=[
            Made(modified=None if h is None else NOW + timedelta(hours=h)) for h in own
        ])
        for own in hours
    ]  # fmt: skip
    found = hourly._oldest_file(chosen, NOW)
    assert found == (None if oldest_h is None else NOW + timedelta(hours=oldest_h))
