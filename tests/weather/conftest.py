"""A loopback server, an empty store, and the real client pointed at both."""

import pytest
from loopback import serving

from cureplan.weather.client_setup import Endpoints
from cureplan.weather.doors import knock
from cureplan.weather.fetching import Fetched


@pytest.fixture
def loop(monkeypatch):
    for name in ("http_proxy", "https_proxy", "all_proxy"):
        monkeypatch.delenv(name, raising=False)
        monkeypatch.delenv(name.upper(), raising=False)
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    with serving() as server:
        yield server


@pytest.fixture
def endpoints(loop):
    return Endpoints(
        stations=loop.base + "/stations.db",
        hourly=loop.base + "/hourly/{year}/{station}.csv.gz",
        metno=loop.base + "/metno?lat={latitude}&lon={longitude}&altitude={elevation}",
        mosmix=loop.base + "/mosmix/{station}",
    )


@pytest.fixture
def fetch_here(endpoints):
    """The doors asked in this process: the same client and HTTP, without a worker."""

    def fetch(query, budget_s):
        return Fetched(results=tuple(knock(query, endpoints=endpoints)), out_of_time=False)

    return fetch


@pytest.fixture
def worker_endpoints(loop, endpoints, monkeypatch):
    """The same addresses for a worker process, by environment."""
    monkeypatch.setenv("MS_STATIONS_DB_ENDPOINTS", f'["{endpoints.stations}"]')
    monkeypatch.setenv("MS_HOURLY_ENDPOINT", endpoints.hourly)
    monkeypatch.setenv("MS_METNO_FORECAST_ENDPOINT", endpoints.metno)
    monkeypatch.setenv("CUREPLAN_MOSMIX_ENDPOINT", endpoints.mosmix)
