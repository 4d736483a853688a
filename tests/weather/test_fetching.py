"""The worker's manners: what it says half, or not at all, is never an answer."""

from dataclasses import replace

import pytest
from scenes import ENDS, NOW, SITE, STARTS

from cureplan.weather.providers import fetching
from cureplan.weather.providers.exchange import Span, WeatherQuery


@pytest.fixture
def query(tmp_path):
    return WeatherQuery(
        provider="station",
        **SITE,
        spans=(Span(wanted_from=STARTS, starts=STARTS, ends=ENDS),),
        now=NOW,
        contact="Bürgermeister@example.org",
        timeout_s=1.0,
        folder=str(tmp_path),
    )


@pytest.mark.thorough
@pytest.mark.parametrize("named", ["", ".", "{here}"], ids=["plain", "dot", "absolute"])
def test_a_module_beside_the_job_is_not_run(query, tmp_path, monkeypatch, named):
    # A `requests.py` in the current folder was executed by the worker.
    beside = tmp_path / "job"
    beside.mkdir()
    for name in ("requests", "pandas", "json", "cureplan", "site", "sitecustomize"):
        (beside / f"{name}.py").write_text(
            f"from pathlib import Path; Path({str(beside / 'ran')!r}).touch()\n"
        )
    monkeypatch.chdir(beside)
    monkeypatch.setenv("PYTHONPATH", named.format(here=beside))
    monkeypatch.setenv("MS_STATIONS_DB_ENDPOINTS", '["http://127.0.0.1:9/stations.db"]')
    monkeypatch.setenv("MS_HOURLY_ENDPOINT", "http://127.0.0.1:9/{station}{year}")
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    fetched = fetching.fetch_in_worker(replace(query, contact=None), 20.0)
    assert not (beside / "ran").exists()
    # It did run: it names the host that did not answer.
    assert any("127.0.0.1" in failure for failure in fetched.failures())


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
