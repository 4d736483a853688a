"""The open-data client, bounded: no cache of its own, no retries, no endless waits.

Its settings are global, so they hold inside a `with` block only and are put back after.
"""

from __future__ import annotations

import logging
import os
import socket
import urllib.request
import warnings
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Any

from cureplan.weather.providers.exchange import Exchange, RecordingHandler

__all__ = ["MOSMIX_ENDPOINT_VARIABLE", "Endpoints", "bounded_client"]

MOSMIX_ENDPOINT_VARIABLE = "CUREPLAN_MOSMIX_ENDPOINT"
# The client compares a forecast's age on the machine's local clock with UTC; we judge
# the age ourselves, so its own test is set out of reach.
_NEVER_STALE_S = 10**10


@dataclass(frozen=True, slots=True, kw_only=True)
class Endpoints:
    """Addresses to use instead of the client's own; None keeps the client's.

    The client reads its own from variables such as ``MS_HOURLY_ENDPOINT``; for the one
    it has no setting for there is `CUREPLAN_MOSMIX_ENDPOINT`.
    """

    stations: str | None = None
    hourly: str | None = None
    metno: str | None = None
    mosmix: str | None = None

    @classmethod
    def from_environment(cls) -> Endpoints:
        """Only what the client itself does not read."""
        return cls(mosmix=os.environ.get(MOSMIX_ENDPOINT_VARIABLE))


@contextmanager
def bounded_client(
    *, endpoints: Endpoints, folder: Path, timeout_s: float, contact: str | None
) -> Iterator[Exchange]:
    """Hold the client's settings at ours, and record what the network answered.

    Not for several threads at once: the settings are the process's.
    """
    import meteostat
    from meteostat.core.network import network_service
    from meteostat.providers.dwd import mosmix
    from meteostat.providers.meteostat import hourly

    agent = f"cureplan/{_version()} {contact}" if contact else None
    settings: dict[str, Any] = {
        "cache_enable": False,
        "cache_directory": str(folder),
        "network_max_retries": 0,
        "network_timeout": timeout_s,
        "metno_user_agent": agent,
        "dwd_mosmix_staleness_threshold": _NEVER_STALE_S,
        "include_model_data": True,
    }
    if endpoints.stations is not None:
        settings["stations_db_endpoints"] = [endpoints.stations]
    if endpoints.metno is not None:
        settings["metno_forecast_endpoint"] = endpoints.metno
    exchange = Exchange(folder)
    with ExitStack() as held:
        held.enter_context(_set(meteostat.config, settings))
        # These two modules copy their address when first imported.
        hourly_url = endpoints.hourly or meteostat.config.hourly_endpoint
        held.enter_context(_set(hourly, {"ENDPOINT": hourly_url}))
        if endpoints.mosmix is not None:
            held.enter_context(_set(mosmix, {"ENDPOINT": endpoints.mosmix}))
        held.enter_context(
            _set(network_service, {"get": exchange.recording(network_service.get)})
        )
        held.enter_context(_urllib_bounds(exchange, timeout_s))
        held.enter_context(_quiet())
        yield exchange


@contextmanager
def _set(target: object, values: Mapping[str, Any]) -> Iterator[None]:
    before = {name: getattr(target, name) for name in values}
    for name, value in values.items():
        setattr(target, name, value)
    try:
        yield
    finally:
        for name, value in before.items():
            setattr(target, name, value)


@contextmanager
def _urllib_bounds(exchange: Exchange, timeout_s: float) -> Iterator[None]:
    """The hourly files come through urllib, which knows neither of the client's bounds."""
    before_s = socket.getdefaulttimeout()
    socket.setdefaulttimeout(timeout_s)
    urllib.request.install_opener(urllib.request.build_opener(RecordingHandler(exchange)))
    try:
        yield
    finally:
        socket.setdefaulttimeout(before_s)
        urllib.request.install_opener(None)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep the client's own log and warnings off the terminal; we report by ourselves."""
    logger = logging.getLogger("meteostat")
    before = logger.disabled
    logger.disabled = True
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            yield
    finally:
        logger.disabled = before


def _version() -> str:
    try:
        return version("cureplan")
    except PackageNotFoundError:
        return "0"
