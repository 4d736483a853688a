"""The commands, a kitchen to be reckoned by hand, and the loopback server."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from command_line import run_here

# The server and its scenes are shared with the tests of the weather layer.
sys.path.insert(0, str(Path(__file__).parents[1] / "weather"))


@pytest.fixture(scope="session")
def cureplan():
    """One run of the command in a folder."""
    return run_here


@pytest.fixture(scope="module")
def loop():
    from loopback import serving

    with serving() as server:
        yield server


@pytest.fixture(scope="module")
def network(loop, tmp_path_factory):
    """Environment of a process whose only network is the loopback server, its store empty."""
    stations = f'["{loop.base}/stations.db"]'
    return {
        "no_proxy": "127.0.0.1",
        "http_proxy": "",
        "https_proxy": "",
        "all_proxy": "",
        "MS_STATIONS_DB_ENDPOINTS": stations,
        "MS_HOURLY_ENDPOINT": loop.base + "/hourly/{year}/{station}.csv.gz",
        "MS_METNO_FORECAST_ENDPOINT": loop.base
        + "/metno?lat={latitude}&lon={longitude}&altitude={elevation}",
        "CUREPLAN_MOSMIX_ENDPOINT": loop.base + "/mosmix/{station}",
        "CUREPLAN_STORE": str(tmp_path_factory.mktemp("store")),
    }
