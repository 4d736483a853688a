"""Cards to fit readings to."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cureplan.inputs.cards.reader import read_card


@pytest.fixture(scope="session")
def slurry():
    return read_card("fast-slurry")


@pytest.fixture(scope="session")
def topcoat():
    return read_card("clear-topcoat")


@pytest.fixture(scope="session")
def own_topcoat():
    """The same card, said to be of the product in hand."""
    return replace(read_card("clear-topcoat"), generic=False)
