"""Which changes are worth a look and which are worth telling, of those that were tried."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import chain
from math import sqrt
from typing import NamedTuple

import numpy as np

from cureplan.core.messages import Message
from cureplan.inputs.job.model import Job
from cureplan.planning.odds.risk import Odds
from cureplan.planning.plan.choose import Chosen, Glance
from cureplan.planning.schedule.changes import EASE, also, kind_of, more_hands_yet
from cureplan.planning.schedule.outcome import Relaxation
from cureplan.planning.schedule.placing import crew_spans

__all__ = [
    "ACTS_ON",
    "GLANCE_FRAC",
    "OPENS",
    "REMEDIES",
    "SHIFT_ENDS",
    "WORTH_FRAC",
    "Tried",
    "binds",
    "each_once",
    "in_vain",
    "kept_of",
    "lost_first",
    "needless",
    "needs_hands",
    "one_hand_more",
    "opens_later",
    "said",
    "weaker",
]

GLANCE_FRAC = 0.03
"""By how much a full plan mostly betters a glance at most; measured on drawn jobs."""
WORTH_FRAC = 0.02
"""A change that lifts the chance by less is none."""
DOUBT_FRAC = 0.02
"""What the chances of two plans may differ by without meaning it, where their nights cannot
be compared one by one."""
LOOSE_S = 4 * 3600.0
"""A limit that far from all work is none that a second change need move: invented."""
REMEDIES, OPENS, MORE_HANDS = "relax.remedies", "relax.open_later", "relax.more_"
SHIFT_ENDS = {
    "relax.in_sooner": "begins",
    "relax.pour_sooner": "begins",
    "relax.coat_sooner": "begins",
    "relax.pour_longer": "ends",
    "relax.coat_longer": "ends",
}
"""Which end of a shift a change moves."""
ACTS_ON = {
    REMEDIES: ("buckets", "limits"),
    OPENS: ("opening", "coats"),
    "relax.open_for": ("opening", "coats"),
    "relax.rooms_later": ("opening", "coats"),
    "relax.coat_sooner": ("coats", "shifts", "opening"),
    "relax.coat_longer": ("coats", "shifts"),
    "relax.more_topcoat": ("coats", "shifts"),
    "relax.in_sooner": ("shifts", "limits", "opening"),
    "relax.pour_sooner": ("shifts", "limits", "opening"),
    "relax.pour_longer": ("shifts", "limits"),
    "relax.stay_longer": ("shifts",),
}
"""What a change may keep more often; any other one all of it."""


class Tried(NamedTuple):
    """A change, and what came of it."""

    way: Relaxation
    chosen: Chosen
    glance: Glance
    reaches: bool
    """Whether its plan is within policy."""
    full: bool
    """Whether it was planned in full, not at a glance."""

    @property
    def seen_frac(self) -> float:
        """How often it holds at a glance, to compare it with others."""
        return (self.glance.best or self.chosen).chance_frac


def weaker(found: Tried, behind_frac: float = DOUBT_FRAC) -> float:
    """For putting the most likely first, two changes behind one that gives as much."""
    return behind_frac * (found.way.also is not None) - found.chosen.chance_frac


def _asks(way: Relaxation) -> frozenset[str]:
    """What a way asks for, each remedy by itself."""
    says = [say for say in (way.say, way.also) if say is not None]
    return frozenset(chain(*map(_each, says)))


def _each(say: Message) -> list[str]:
    """What a change asks for one by one: of three more at a task the first, second, third; of
    floors opened for feet that they are not for carts either."""
    if "open_for" in say.values:
        uses: Sequence[str] = EASE
        least = uses.index(str(say.values["open_for"]).removeprefix("open_for."))
        return [f"{say.code}.{use}" for use in uses[least:]]
    if say.code == REMEDIES:
        return str(say.values["remedies"]).split("; ")
    if say.code != "relax.more_hands":
        return [say.code]
    many = (name.partition(".")[::2] for name in str(say.values["hands"]).split("; "))
    return [
        MORE_HANDS + task + (f".{n}" if n else "")
        for task, count in many
        for n in range(int(count or 1))
    ]


def in_vain(found: Tried, other: Tried) -> bool:
    """Whether a way asks for all that another does, or for more of it, and is not sure to
    hold more often; both at a glance, where it was not planned in full."""
    asked = [(w.effort_min, w.also is not None) for w in (found.way, other.way)]
    if found.reaches or not _asks(other.way) <= _asks(found.way) or asked[0] < asked[1]:
        return False
    if found.full:
        gain = found.chosen.chance_frac - other.chosen.chance_frac
        return gain <= max(WORTH_FRAC, _doubt_frac(found.chosen, other.chosen)) + 1e-9
    return found.chosen.chance_frac - other.seen_frac <= WORTH_FRAC + 1e-9


def _doubt_frac(one: Chosen, other: Chosen) -> float:
    """What the chances of two plans may differ by for the nights drawn: twice the error of
    the share of nights that one of them loses and the other does not."""
    if one.odds is None or other.odds is None or one.odds.members != other.odds.members:
        return DOUBT_FRAC
    apart = np.mean((one.odds.lost > 0) != (other.odds.lost > 0))
    return 2.0 * sqrt(float(apart) / one.odds.members)


def binds(code: str, job: Job, chosen: Chosen) -> bool:
    """Whether a limit stands near enough to a plan's work, or is missed often enough, that
    moving it may change anything."""
    schedule, odds = chosen.schedule, chosen.odds
    if odds is None:
        return True
    if code == OPENS and odds.opening_frac > 1.0 - WORTH_FRAC:
        return job.access.open_by.timestamp() - schedule.opens_s < LOOSE_S
    if code not in SHIFT_ENDS:
        return True
    pours = code in ("relax.in_sooner", "relax.pour_sooner", "relax.pour_longer")
    works = schedule.pours if pours else schedule.coats
    spans = crew_spans(job, job.crew.pour_shifts if pours else job.crew.topcoat_shifts)
    if SHIFT_ENDS[code] == "begins":
        at = [(work.start_s, span.begins_s) for work in works for span in spans]
        return any(0.0 <= start_s - begins_s < LOOSE_S for start_s, begins_s in at)
    at = [(work.end_s, span.ends_s) for work in works for span in spans]
    return any(0.0 <= ends_s - end_s < LOOSE_S for end_s, ends_s in at)


def kept_of(odds: Odds) -> dict[str, float]:
    """How often each part of it holds."""
    return {
        "buckets": odds.buckets_frac,
        "coats": odds.coats_frac,
        "shifts": odds.shifts_frac,
        "opening": odds.opening_frac,
        "limits": odds.limits_frac,
    }


def lost_first(odds: Odds) -> str:
    """The part that is lost most often."""
    kept = kept_of(odds)
    return min(kept, key=kept.__getitem__)


def needs_hands(seen: Chosen) -> bool:
    """Whether what is lost most is what a pour at a faster pace would keep."""
    return seen.odds is not None and lost_first(seen.odds) in ("buckets", "shifts")


def needless(
    way: Relaxation, reach: Sequence[Relaxation], made: Sequence[Relaxation] = ()
) -> bool:
    """Whether one of a way's two changes does by itself, or its kind makes a plan: what is
    lost in that tells better what goes with it."""
    if way.also is None:
        return False
    both = way.say, way.also
    alone = [also(one.say) for one in reach if one.also is None]
    makes = {_kind_of(one.say) for one in made if one.also is None}
    return any(also(say) in alone or _kind_of(say) in makes for say in both)


def _kind_of(say: Message) -> tuple[str, ...]:
    """What a change is told apart by: floors opened for carts from those for feet."""
    lesser = (str(say.values[name]) for name in ("open_for",) if name in say.values)
    return (kind_of(say), *lesser)


def each_once(ways: Sequence[Tried]) -> list[Tried]:
    """The first of each kind of change."""
    kinds: dict[tuple[str, str, str], Tried] = {}
    for found in ways:
        say, second = found.way.say, found.way.also
        kind = kind_of(say), kind_of(second) if second else ""
        named = *kind, str(say.values.get("rooms"))
        kinds.setdefault(named, found)
    return list(kinds.values())


def one_hand_more(job: Job, way: Relaxation) -> Relaxation | None:
    """A way that asks for hands at the pour with one more of them; None where it asks for
    none, or for as many as are thought of."""
    change = more_hands_yet(job, way.job)
    if change is None:
        return None
    first = way.say.code.startswith(MORE_HANDS)
    return replace(
        way,
        job=change.job,
        say=change.say if first else way.say,
        also=way.also if first else also(change.say),
        effort_min=way.effort_min + change.effort_min,
        further=None,
    )


def opens_later(way: Relaxation) -> bool:
    """Whether one of its changes is a later opening."""
    return any(say is not None and say.code == OPENS for say in (way.say, way.also))


def said(way: Relaxation, keeps: str) -> Relaxation:
    """The way with what it would do: reach the chance that is asked, or raise it; where all
    of it would hold so often and a margin alone is short on the expected night, that."""
    asked = way.job.policy.confidence
    if keeps != "chance" and way.chance_frac is not None and way.chance_frac >= asked:
        keeps = "but_margins"
    return replace(way, say=Message(way.say.code, {**way.say.values, "keeps": keeps}))
