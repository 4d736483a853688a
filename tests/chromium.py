"""A real Chromium, one for all tests of a process.

Where no Chromium is found the tests are skipped, and say so; with
CUREPLAN_BROWSER=required, as tests/run.sh and .ci/run set it, they fail.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NoReturn

import pytest

__all__ = ["DESKTOP", "PHONE", "Contexts", "axe", "launched"]

SWITCHES = [
    "--no-sandbox",
    "--disable-gpu",
    "--in-process-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PHONE = {"width": 360, "height": 740}
DESKTOP = {"width": 1280, "height": 800}


def missing(what: str) -> NoReturn:
    """End a test that lacks its browser: a failure where one is required."""
    wanted = os.environ.get("CUREPLAN_BROWSER", "")
    if wanted not in ("", "required"):
        pytest.fail(f"CUREPLAN_BROWSER is {wanted!r}; it can only be 'required' or empty")
    if wanted:
        pytest.fail(what)
    pytest.skip(what)


@contextmanager
def launched() -> Iterator[Any]:
    """A Chromium until the block ends; a process can drive only one playwright at a time."""
    path = os.environ.get("CUREPLAN_CHROMIUM") or shutil.which("chromium")
    if path is None:
        missing("NO BROWSER TESTS: no Chromium; install it or set CUREPLAN_CHROMIUM")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("NO BROWSER TESTS: playwright is not installed")
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=SWITCHES)
        yield browser
        browser.close()


class Contexts:
    """Browser contexts and their pages, kept from test to test: a new page costs more than
    what most tests do with it.

    One for each set of options, for a test's first and second phone, and for pages whose
    clock stands or runs by itself.
    """

    def __init__(self, browser: Any) -> None:
        self.browser = browser
        self.kept: dict[str, Any] = {}

    def page_of(self, number: int, *, clock: bool, **options: Any) -> Any:
        key = repr((number, clock, sorted(options.items())))
        if key not in self.kept:
            self.kept[key] = self.browser.new_context(**options).new_page()
        return self.kept[key]

    def leave(self, page: Any) -> None:
        """Empty a kept page and what it has stored, or close one that is not kept."""
        from playwright.sync_api import Error

        try:
            page.evaluate("globalThis.localStorage?.clear()")
            if page in self.kept.values():
                page.context.set_offline(False)
                page.emulate_media(media="null")
                page.goto("about:blank")
            else:
                page.close()
        except Error:  # scripts off, storage refused, or a page that hangs
            context = page.context
            self.kept = {
                key: kept for key, kept in self.kept.items() if kept.context != context
            }
            context.close()


def axe() -> Any:
    """What finds faults of access in a page, and tells of nothing but faults."""
    try:
        from axe_playwright_python.sync_playwright import Axe
    except ImportError:
        missing("NO ACCESSIBILITY CHECK: axe-playwright-python is not installed")

    class Quick(Axe):
        def run(self, page: Any) -> Any:
            # Half the time of telling whatever is right as well.
            return super().run(page, options={"resultTypes": ["violations"]})

    return Quick()
