"""The demonstration job as text, and a folder to break it in."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest

DEMO = resources.files("cureplan") / "demo_data" / "school-kitchen.toml"


@pytest.fixture(scope="session")
def demo_text():
    return DEMO.read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def slurry_text():
    entry = resources.files("cureplan.inputs.cards") / "shipped" / "fast-slurry.toml"
    return entry.read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def topcoat_text():
    entry = resources.files("cureplan.inputs.cards") / "shipped" / "clear-topcoat.toml"
    return entry.read_text(encoding="utf-8")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """An empty folder but for the weather file the demonstration job names."""
    (tmp_path / "heat-wave.csv").write_text("time,temp_c,humidity_pct\n", encoding="utf-8")
    return tmp_path
