"""The worker's manners: what it says half, or not at all, is never an answer."""

import time

import pytest
from scenes import ENDS, NOW, SITE, STARTS

from cureplan.weather import fetching
from cureplan.weather.query import Span, WeatherQuery


@pytest.fixture
def query(tmp_path):
    return WeatherQuery(
        door="station",
        **SITE,
        spans=(Span(wanted_from=STARTS, starts=STARTS, ends=ENDS),),
        now=NOW,
        contact="Bürgermeister@example.org",
        timeout_s=1.0,
        folder=str(tmp_path),
    )


def test_a_query_survives_its_journey(query):
    line = query.to_json()
    assert "\n" not in line
    assert WeatherQuery.from_json(line) == query


def test_half_a_line_is_no_answer(query, monkeypatch):
    said = '{"span_index": 0, "csv": null, "failure": "first"}'
    script = f"import sys, time; sys.stdout.write({said!r} + chr(10) + {said[:20]!r});"
    monkeypatch.setattr(fetching, "_WORKER", script + "sys.stdout.flush(); time.sleep(30)")
    fetched = fetching.fetch_in_worker(query, 1.0)
    assert fetched.out_of_time
    assert fetched.failures() == ("first", "the network was too slow")


def test_a_worker_that_dies_is_told(query, monkeypatch):
    monkeypatch.setattr(fetching, "_WORKER", "import sys; sys.exit(3)")
    began = time.monotonic()
    fetched = fetching.fetch_in_worker(query, 10.0)
    assert time.monotonic() - began < 5
    assert fetched.failures() == ("the weather client could not be run",)


def test_an_answer_that_is_no_weather_is_told(query, monkeypatch):
    said = '{"span_index": 0, "csv": "time,temp_c\\\\n", "failure": null}'
    monkeypatch.setattr(fetching, "_WORKER", f"print({said!r})")
    (failure,) = fetching.fetch_in_worker(query, 10.0).failures()
    assert "no column" in failure
