"""Which ways to pour a floor the job allows, cheapest first, and what each is worth.

The job's remedies are taken in its own order and only as far as needed: an option costs
by the last remedy on that list it uses, then by how many it uses, then by its bays.
"""

from __future__ import annotations

from collections.abc import Sequence

from cureplan.inputs.job.model import Remedy
from cureplan.planning.floor.pour import PourOption

__all__ = ["MOST_BAYS", "option_cost", "option_ladder", "wait_price"]

MOST_BAYS = 4
_LEVEL, _REMEDY = 100, 10


def option_cost(option: PourOption, remedies: Sequence[Remedy]) -> int:
    """What an option costs a crew at night; only the order of these numbers means anything.

    Examples
    --------
    >>> iced = PourOption(chilled=True, cool_filler=False, bays=1)
    >>> bays = PourOption(chilled=False, cool_filler=False, bays=2)
    >>> option_cost(iced, ["chill", "bays"]) < option_cost(bays, ["chill", "bays"])
    True
    >>> option_cost(iced, ["bays", "chill"]) < option_cost(bays, ["bays", "chill"])
    False
    """
    used = option.remedies()
    level = max((1 + list(remedies).index(_remedy(name)) for name in used), default=0)
    return _LEVEL * level + _REMEDY * len(used) + option.bays - 1


def _remedy(name: str) -> Remedy:
    known: dict[str, Remedy] = {"chill": "chill", "cool filler": "cool filler", "bays": "bays"}
    return known[name]


def option_ladder(remedies: Sequence[Remedy]) -> tuple[PourOption, ...]:
    """Every option a job's remedies allow, cheapest first; as it is comes before all.

    Examples
    --------
    >>> [option.remedies() for option in option_ladder(["chill"])]
    [(), ('chill',)]
    """
    options = [
        PourOption(chilled=chilled, cool_filler=cool, bays=bays)
        for chilled in ((False, True) if "chill" in remedies else (False,))
        for cool in ((False, True) if "cool filler" in remedies else (False,))
        for bays in (range(1, MOST_BAYS + 1) if "bays" in remedies else (1,))
    ]
    return tuple(sorted(options, key=lambda option: option_cost(option, remedies)))


def wait_price(remedies: Sequence[Remedy]) -> int:
    """What a minute of standing by between pours costs, in the units of `option_cost`.

    An hour of it costs what a remedy costs that stands where "hour" does: listed first,
    a crew stands by for an hour rather than ice a floor, but not for half the night. A
    job that does not list it never waits for a cooler hour at all.

    Examples
    --------
    >>> wait_price(["hour", "chill"]) < wait_price(["chill", "hour"])
    True
    """
    level = 1 + list(remedies).index("hour") if "hour" in remedies else 0
    return round((_LEVEL * level + _REMEDY) / 60.0)
