"""The sample plan, and words for its sentences."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from cureplan.planning.plan.model import Plan
from output import sheet_sample


@pytest.fixture(scope="module", autouse=True)
def sample_words() -> Iterator[None]:
    with sheet_sample.words_of_sample():
        yield


@pytest.fixture(scope="module")
def plan() -> Plan:
    return sheet_sample.sample_plan()
