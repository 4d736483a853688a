"""The worker's manners: what it says half, or not at all, is never an answer."""

import pytest
from scenes import ENDS, NOW, SITE, STARTS

from cureplan.weather.providers import fetching
from cureplan.weather.providers.exchange import Span, WeatherQuery


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


def test_half_a_line_is_no_answer(query, monkeypatch, tmp_path, time_is_up):
    said = '{"span_index": 0, "csv": null, "failure": "first"}'
    script = f"""
import pathlib, sys, time
sys.stdout.write({said!r} + chr(10) + {said[:20]!r})
sys.stdout.flush()
pathlib.Path({str(tmp_path / "said")!r}).touch()
time.sleep(300)
"""
    monkeypatch.setattr(fetching, "_WORKER", script)
    budgets_s = time_is_up((tmp_path / "said").exists)
    fetched = fetching.fetch_in_worker(query, 7.0)
    assert budgets_s == [7.0]
    assert fetched.out_of_time
    assert fetched.failures() == ("first", "the network was too slow")


def test_a_worker_that_says_nothing_is_ended(query, monkeypatch):
    # Left to itself it would end of its own accord, and not be out of time.
    monkeypatch.setattr(fetching, "_WORKER", "import time; time.sleep(60)")
    fetched = fetching.fetch_in_worker(query, 0.3)
    assert fetched.failures() == ("the network was too slow",)


def test_a_worker_that_dies_is_told(query, monkeypatch):
    monkeypatch.setattr(fetching, "_WORKER", "import sys; sys.exit(3)")
    fetched = fetching.fetch_in_worker(query, 60.0)
    # Its end is noticed at once, not when the budget is used up.
    assert not fetched.out_of_time
    assert fetched.failures() == ("the weather client could not be run",)


def test_an_answer_that_is_no_weather_is_told(query, monkeypatch):
    said = '{"span_index": 0, "csv": "time,temp_c\\\\n", "failure": null}'
    monkeypatch.setattr(fetching, "_WORKER", f"print({said!r})")
    (failure,) = fetching.fetch_in_worker(query, 60.0).failures()
    assert "no column" in failure
