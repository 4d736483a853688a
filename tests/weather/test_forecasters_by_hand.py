"""Forecasts, the services that are asked, and the list of stations, at their limits."""

from __future__ import annotations

import errno
import math
import sqlite3
import time
from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from types import SimpleNamespace as Made

import numpy as np
import pytest
from made_services import H, query, rows_of, span_of, station
from scenes import ENDS, NOW, STARTS

from cureplan.core.errors import WeatherUnavailableError
from cureplan.weather.providers import choose, forecast, stations
from cureplan.weather.providers.exchange import Answer, Span

# Forecasts


@pytest.mark.parametrize(
    ("given", "asked_keys"),
    [
        ([{}], ["1"]), ([{"mosmix_key": None}], []), ([{"distance_m": 30_000.0}], ["1"]),
        ([{"distance_m": 30_001.0}], []), ([{"height_m": 300.0}], ["1"]),
        ([{"height_m": 301.0}], []), ([{"height_m": -301.0}], []),
        # Height counts ten times: 1 km and 150 m of it are 1.8 km, before 9 and 20.
        ([{"distance_m": 20_000.0}, {}, {"distance_m": 1000.0, "height_m": 150.0}],
         ["3", "2"]),
    ],
)  # fmt: skip
def test_a_station_forecast_is_that_of_the_nearest_with_one(monkeypatch, given, asked_keys):
    seen = []
    monkeypatch.setattr(forecast, "_ask", lambda _, __, key, **___: seen.append(key))
    here = Made(mark=lambda: 0, since=lambda _: [], last=lambda: None)
    near = [station(str(n), **one) for n, one in enumerate(given, start=1)]
    with pytest.raises(WeatherUnavailableError) as caught:
        forecast.mosmix_provider(query(), span_of(), here, near)
    code = "provider.station_forecast" if asked_keys else "provider.far"
    assert (seen, caught.value.reason.code) == (asked_keys, code)


@pytest.mark.parametrize(("rows", "answer"), [(True, False), (False, True)])
def test_a_forecast_has_rows_and_an_answer(monkeypatch, rows, answer):
    made = rows_of([20.0] * 3) if rows else None
    monkeypatch.setattr(forecast, "_ask", lambda *_, **__: made)
    last = Answer(url="https://x.org", status=404, body=b"") if answer else None
    here = Made(
        mark=lambda: 0, since=lambda _: [] if last is None else [last], last=lambda: last
    )
    with pytest.raises(WeatherUnavailableError) as caught:
        forecast.mosmix_provider(query(), span_of(), here, [station()])
    assert caught.value.reason.code == "provider.station_forecast"
    with pytest.raises(WeatherUnavailableError) as caught:
        forecast.metno_provider(query(), span_of(), here)
    assert caught.value.reason.code == "provider.point_forecast"
    assert ("x.org: HTTP 404" if answer else "nothing was asked") in str(caught.value)


@pytest.mark.parametrize(
    ("modified_h", "issued_h", "written_h"),
    [
        (-2.0, None, -2.0), (1.0, None, 1.0), (1.01, None, None), (-2.0, -3.0, None),
        (None, None, None),
    ],
)  # fmt: skip
def test_a_forecast_without_an_issue_is_as_old_as_its_file(
    monkeypatch, modified_h, issued_h, written_h
):
    def moment(hours):
        return None if hours is None else NOW + timedelta(hours=hours)

    monkeypatch.setattr(
        forecast, "_ask", lambda *_, **__: rows_of([20.0] * 3, first_s=NOW.timestamp())
    )
    monkeypatch.setattr(forecast, "metno_issue", lambda _: moment(issued_h))
    last = Answer(url="u", status=200, modified=moment(modified_h))
    here = Made(mark=lambda: 0, since=lambda _: [], last=lambda: last)
    series = forecast.metno_provider(query(), span_of(), here)
    (origin,) = series.origins
    assert (origin.issued_at, origin.written_at) == (moment(issued_h), moment(written_h))


@pytest.mark.parametrize(
    ("starts_h", "ends_h", "first_h", "until_h"),
    [(-5.0, 9.0, -6.0, 240.0), (5.0, 9.0, -1.0, 240.0), (5.0, 300.0, -1.0, 301.0)],
)
def test_a_forecast_is_asked_from_an_hour_before_to_an_hour_after(
    monkeypatch, starts_h, ends_h, first_h, until_h
):
    given = []
    monkeypatch.setattr(
        forecast, "time_series", lambda _, first, until, **__: given.append((first, until))
    )
    span = Span(
        wanted_from=NOW, starts=NOW + timedelta(hours=starts_h),
        ends=NOW + timedelta(hours=ends_h),
    )  # fmt: skip
    assert forecast._ask(query(), span, "1", provider="p") is None
    assert given == [(NOW + timedelta(hours=first_h), NOW + timedelta(hours=until_h))]


@pytest.mark.parametrize(("ahead_h", "told_h"), [(1.0, None), (1.02, "1"), (5.0, "5")])
def test_a_forecast_of_the_future_is_a_clock_set_wrong(ahead_h, told_h):
    issued = NOW + timedelta(hours=ahead_h)
    if told_h is None:
        assert forecast._believable(issued, NOW, "point") == issued
        assert forecast._believable(None, NOW, "point") is None
    else:
        with pytest.raises(WeatherUnavailableError, match=f"issued {told_h} h in the future"):
            forecast._believable(issued, NOW, "point")


# Which of them are asked


def visit_of(*answers: Made, now: datetime = NOW, off_s: float = 0.0) -> choose._Visit:
    visit = choose._Visit(query(now=now), Made(clock_off_s=off_s), None)
    visit.answers = list(answers)
    return visit


def series_of(
    first_h: float, last_h: float, *, kind: str = "forecast", gap_h: float | None = None
):
    """Hours from and to these past `NOW`, with one without air."""
    hours = np.arange(first_h, last_h + 1)
    temp_c = np.where(hours == gap_h, math.nan, 20.0)
    origins = (Made(kind="observed"), Made(kind=kind))
    return Made(
        epoch_s=NOW.timestamp() + H * hours, temp_c=temp_c, origins=origins,
        origin=np.ones(hours.size, dtype=int), warnings=(),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("answers", "starts_h", "ends_h", "given"),
    [
        ([series_of(0, 9)], 0.0, 9.0, True), ([series_of(0, 8)], 0.0, 9.0, False),
        ([series_of(0, 9)], 0.5, 8.5, True), ([series_of(0, 8)], 0.0, 8.5, False),
        ([series_of(1, 9)], 0.5, 9.0, False), ([series_of(0, 9, gap_h=5.0)], 0.0, 9.0, False),
        ([series_of(0, 9, kind="interpolated")], 0.0, 9.0, False),
        ([series_of(0, 4), series_of(5, 9)], 0.0, 9.0, True), ([], 0.0, 9.0, False),
        ([], 9.0, 9.0, True), ([], 9.0, 8.0, True), ([series_of(1, 9)], 1.0, 9.0, True),
    ],
)  # fmt: skip
def test_hours_are_given_where_each_stands_in_some_answer(answers, starts_h, ends_h, given):
    starts, ends = (NOW + timedelta(hours=h) for h in (starts_h, ends_h))
    assert visit_of(*answers)._hourly_given(starts, ends) == given


def test_a_service_is_asked_always_or_where_an_hour_ahead_lacks():
    span = Span(
        wanted_from=STARTS, starts=NOW - timedelta(hours=5), ends=NOW + timedelta(hours=9)
    )
    whole, part = visit_of(series_of(0, 9)), visit_of(series_of(0, 5))
    always, other = (choose._Provider(lambda: None, always=a) for a in (True, False))
    assert [v.needs(p, span) for v in (whole, part) for p in (always, other)] == [
        True, False, True, True
    ]  # fmt: skip
    assert ENDS > NOW


@pytest.mark.parametrize(
    ("off_s", "codes"),
    [(0.0, []), (599.0, []), (-599.0, []), (600.0, ["weather.clock_ahead"]),
     (-600.0, ["weather.clock_behind"])],
)  # fmt: skip
def test_a_clock_ten_minutes_off_is_warned_of(monkeypatch, off_s, codes):
    monkeypatch.setattr(
        choose, "replace", lambda series, **new: Made(**{**vars(series), **new})
    )
    found = visit_of(off_s=off_s)._with_clock_remarks(Made(warnings=()))
    assert [m.code for m in found.warnings] == codes
    assert [m.values["off_h"] for m in found.warnings] == [600.0 / H] * len(codes)


class Visit:
    """Services by name, each with what it gives at once, and which of them are wanted."""

    def __init__(self, given: dict[str, object], wanted) -> None:
        self.given, self._wanted = given, wanted
        self.answers: list[object] = []
        self.asked: list[str] = []

    def providers_for(self, _):
        return list(self.given)

    def needs(self, name, _):
        return self._wanted(name, self.answers)

    def ask(self, name, came, number, rank):
        self.asked.append(name)
        series = self.given[name]
        failure = "shut" if series is None else None
        came.put(
            choose.ProviderResult(span_index=number, series=series, failure=failure, rank=rank)
        )


@pytest.mark.parametrize(
    ("given", "wanted", "asked", "ranks"),
    [
        ({"a": "A", "b": "B"}, lambda *_: True, "ab", [0, 1]),
        # What one has given spares the next, but for one that is asked whatever came.
        ({"a": "A", "b": "B"}, lambda _, came: not came, "a", [0]),
        ({"a": None, "b": "B", "c": "C"}, lambda _, came: not came, "ab", [0, 1]),
        ({"a": "A", "b": "B", "c": "C"}, lambda name, came: name == "c" or not came, "ac",
         [0, 2]),
        ({"a": "A"}, lambda *_: False, "", []),
        ({}, lambda *_: True, "", []),
    ],
)  # fmt: skip
def test_the_next_service_is_asked_where_something_lacks(given, wanted, asked, ranks):
    visit = Visit(given, wanted)
    found = list(choose._side_by_side(visit, 3, None))
    assert "".join(visit.asked) == asked
    assert [one.rank for one in found] == ranks
    assert {one.span_index for one in found} <= {3}
    assert visit.answers == [one.series for one in found if one.series is not None]


# The list of stations


@pytest.mark.parametrize(
    ("opens", "age_s", "renewed"),
    [(True, 0.0, False), (True, 30 * 86_400 - 1.0, False), (True, 30 * 86_400.0, True),
     (False, 0.0, True)],
)  # fmt: skip
def test_a_list_of_stations_is_renewed_after_a_month(
    monkeypatch, tmp_path, opens, age_s, renewed
):
    monkeypatch.setattr(stations, "_opens", lambda _: opens)
    monkeypatch.setattr(stations, "_age_s", lambda _: age_s)
    monkeypatch.setattr(stations, "_renew", lambda *_: "renewed")
    with stations.station_list(tmp_path, None) as remark:
        assert remark == ("renewed" if renewed else None)


def test_a_list_is_as_old_as_its_file(tmp_path):
    kept = tmp_path / "stations.db"
    kept.write_bytes(b"")
    assert 0.0 <= stations._age_s(kept) < 60.0
    assert stations._age_s(kept) < time.time() / 2


def test_stations_that_report_come_first_then_by_remoteness(monkeypatch):
    import meteostat

    # Name, distance, elevation; a hundred metres of height count as a kilometre.
    listed = {
        "far": (30_000.0, 100.0), "near": (2000.0, 100.0), "high": (1000.0, 400.0),
        "gone": (500.0, 100.0), "flat": (4000.0, None), "odd": (5000.0, math.nan),
    }  # fmt: skip
    lines = [
        (key, {"name": key, "distance": distance_m, "elevation": elevation_m})
        for key, (distance_m, elevation_m) in listed.items()
    ]
    table = Made(index=list(listed), iterrows=lambda: lines)
    monkeypatch.setattr(meteostat.stations, "nearby", lambda *_: table, raising=False)
    month_ago = (NOW - timedelta(days=30)).date()
    until = {
        "near": month_ago.isoformat(), "gone": (month_ago - timedelta(days=1)).isoformat(),
        "far": "2099-01-01",
    }  # fmt: skip
    monkeypatch.setattr(
        stations, "_details", lambda keys: {key: (None, until.get(key)) for key in keys}
    )
    found = stations.nearby_stations(
        latitude_deg=40.0, longitude_deg=-73.0, elevation_m=100.0, now=NOW
    )
    assert [one.key for one in found] == ["near", "high", "flat", "odd", "far", "gone"]
    assert {one.key: one.height_above_site_m for one in found} == {
        "near": 0.0, "high": 300.0, "flat": 0.0, "odd": 0.0, "far": 0.0, "gone": 0.0
    }  # fmt: skip


PAGE, LIST = b"<html>log in", b"a list"


def renewed(monkeypatch, folder, *, body=LIST, last=None, error=None, old=False):
    """What comes of asking for a new list, of which `a list` alone is whole."""
    import meteostat

    def connect(*, in_memory):
        assert not in_memory
        if error is not None:
            raise error
        Path(meteostat.config.stations_db_file).write_bytes(body)
        return Made(close=lambda: None)

    before = meteostat.config.stations_db_file
    monkeypatch.setattr(meteostat.stations, "connect", connect, raising=False)
    monkeypatch.setattr(stations, "_is_whole", lambda part: part.read_bytes() == LIST)
    monkeypatch.setattr(stations, "_opens", lambda _: old)
    monkeypatch.setattr(stations, "_age_s", lambda _: 9.0)
    here = Made(
        mark=lambda: 0, last=lambda: last, since=lambda _: [] if last is None else [last]
    )
    try:
        return stations._renew(folder / "stations.db", here)
    finally:
        meteostat.config.stations_db_file = before
        assert [path.name for path in folder.iterdir()] in ([], ["stations.db"])


def answer_of(status: int = 200) -> Answer:
    return Answer(url="https://x.org/stations", status=status)


def test_a_whole_list_takes_the_place_of_the_old(monkeypatch, tmp_path):
    assert renewed(monkeypatch, tmp_path, last=answer_of()) is None
    assert (tmp_path / "stations.db").read_bytes() == LIST


@pytest.mark.parametrize(
    ("body", "status", "code", "said"),
    [
        (PAGE, 200, "net.page", "x.org: answered with a web page"),
        (b"half", 200, "net.unusable", "x.org: the answer could not be used"),
        (PAGE, 404, "net.status", "x.org: HTTP 404"),
        (b"half", None, "net.nothing", "no answer"),
    ],
)
def test_why_no_new_list_could_be_had(monkeypatch, tmp_path, body, status, code, said):
    def last():
        return None if status is None else answer_of(status)

    with pytest.raises(WeatherUnavailableError) as caught:
        renewed(monkeypatch, tmp_path, body=body, last=last())
    assert f"({said}" in str(caught.value)
    assert caught.value.reason.code == "provider.no_list"
    assert [one.code for one in caught.value.reason.values["why"]] == [code]
    # The old one does where there is one, and why is told of it.
    told = renewed(monkeypatch, tmp_path, body=body, last=last(), old=True)
    assert (told.code, told.values["age_s"]) == ("weather.list_old", 9.0)
    assert [one.code for one in told.values["why"]] == [code]


@pytest.mark.parametrize(
    ("error", "code"),
    [
        (OSError(errno.ENOSPC, "full"), "provider.disk"),
        (OSError(errno.ECONNRESET, "gone"), "provider.no_list"),
        (ValueError("what"), "provider.no_list"),
    ],
)
def test_a_full_disk_is_no_fault_of_a_server(monkeypatch, tmp_path, error, code):
    with pytest.raises(WeatherUnavailableError) as caught:
        renewed(monkeypatch, tmp_path, error=error)
    assert caught.value.reason.code == code


@pytest.mark.parametrize(
    ("tables", "whole"),
    [(("stations", "names", "identifiers", "inventory"), True), (("stations", "names"), False),
     ((), False)],
)  # fmt: skip
def test_a_list_is_whole_with_all_of_its_tables(tmp_path, tables, whole):
    path = tmp_path / "stations.db"
    with closing(sqlite3.connect(path)) as db:
        for table in tables:
            db.execute(f"CREATE TABLE {table} (id TEXT)")
        db.commit()
    assert stations._is_whole(path) == whole
    assert not stations._is_whole(tmp_path / "none.db")
    assert not stations._opens(path)
    if tables:
        with closing(sqlite3.connect(path)) as db:
            db.execute("INSERT INTO stations VALUES ('1')")
            db.commit()
        assert stations._opens(path)
