"""A loopback server, an empty store, and the real client pointed at both."""

import threading
from datetime import timedelta
from types import SimpleNamespace

import pytest
from loopback import serving, wait_until
from scenes import ENDS, NOW, SITE, STARTS

from cureplan.weather.providers import fetching
from cureplan.weather.providers.choose import ask_providers
from cureplan.weather.providers.client_setup import Endpoints
from cureplan.weather.providers.exchange import Span, WeatherQuery
from cureplan.weather.providers.fetching import Fetched


@pytest.fixture
def loop(monkeypatch):
    for name in ("http_proxy", "https_proxy", "all_proxy"):
        monkeypatch.delenv(name, raising=False)
        monkeypatch.delenv(name.upper(), raising=False)
    monkeypatch.setenv("no_proxy", "127.0.0.1")
    with serving() as server:
        yield server
    assert not server.outwaited, "the client waited for a silent provider without end"


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
    """The providers asked in this process: the same client and HTTP, without a worker."""

    def fetch(query, budget_s):
        return Fetched(
            results=tuple(ask_providers(query, endpoints=endpoints)), out_of_time=False
        )

    return fetch


@pytest.fixture
def ask(loop, endpoints, tmp_path):
    """Asks a provider for hours around the scene's place and time; what each gave."""
    folder = tmp_path / "kept"
    folder.mkdir()

    def asked(
        provider, *, contact=None, now=NOW, starts=STARTS, ends=ENDS, history_h=120, **site
    ):
        query = WeatherQuery(
            provider=provider,
            **{**SITE, **site},
            spans=(
                Span(wanted_from=starts - timedelta(hours=history_h), starts=starts, ends=ends),
            ),
            now=now,
            contact=contact,
            timeout_s=loop.patience_s,
            folder=str(folder),
        )
        # That each silent provider is given up in time, `loop` sees to.
        return list(ask_providers(query, endpoints=endpoints))

    return asked


@pytest.fixture
def time_is_up(monkeypatch):
    """Lets the worker's time run out when a condition holds, whatever the clock says.

    Gives the list that the budgets handed on will be added to.
    """

    def when(condition):
        budgets_s = []

        class Talk(threading.Thread):
            def join(self, timeout=None):
                if timeout is None:
                    super().join()
                else:
                    budgets_s.append(timeout)
                    wait_until(condition)

        monkeypatch.setattr(fetching, "threading", SimpleNamespace(Thread=Talk))
        return budgets_s

    return when


@pytest.fixture
def worker_endpoints(loop, endpoints, monkeypatch):
    """The same addresses for a worker process, by environment."""
    monkeypatch.setenv("MS_STATIONS_DB_ENDPOINTS", f'["{endpoints.stations}"]')
    monkeypatch.setenv("MS_HOURLY_ENDPOINT", endpoints.hourly)
    monkeypatch.setenv("MS_METNO_FORECAST_ENDPOINT", endpoints.metno)
    monkeypatch.setenv("CUREPLAN_MOSMIX_ENDPOINT", endpoints.mosmix)
