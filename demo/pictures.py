"""Draws the README's pictures anew from the demo's plan: python demo/pictures.py

Needs Chromium (CUREPLAN_CHROMIUM names it) and the packages of `cureplan[test]`.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

HERE = Path(__file__).resolve().parent


def main() -> None:
    """Write sheet-phone.png and map.png beside this file."""
    path = os.environ.get("CUREPLAN_CHROMIUM") or shutil.which("chromium")
    if path is None:
        sys.exit("no Chromium here; install it or set CUREPLAN_CHROMIUM")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        demo = [sys.executable, "-m", "cureplan", "demo", "--quiet", "--out", folder]
        subprocess.run(demo, check=True)  # noqa: S603 - our own command
        browser = playwright.chromium.launch(executable_path=path, args=["--no-sandbox"])
        size = {"width": 390, "height": 844}
        page = browser.new_page(viewport=size, bypass_csp=True)
        page.goto((Path(folder) / "sheet.html").as_uri())
        page.screenshot(path=HERE / "sheet-phone.png")
        drawing = page.locator("svg.drawing[aria-label^='Map: Cook line']").first
        drawing.evaluate("svg => { svg.style.width = '560px'; document.body.append(svg) }")
        page.set_viewport_size({"width": 700, "height": 900})
        drawing.screenshot(path=HERE / "map.png")
        browser.close()


if __name__ == "__main__":
    main()
