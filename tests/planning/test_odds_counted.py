"""How what is kept and lost in each drawn night is counted, followed by hand for three."""

from __future__ import annotations

from types import SimpleNamespace as Made
from typing import NamedTuple

import numpy as np
import pytest

from cureplan.planning.odds import nights, risk

NOW_S = 1000.0


class Layer(NamedTuple):
    name: str
    kind: str
    opens: str | None = None


SLURRY = Layer("slurry", "slurry")
PRIMED = Layer("slurry on a primer", "slurry", "slurry_opens")
COAT_1, COAT_2 = Layer("coat 1", "topcoat"), Layer("coat 2", "topcoat")


def flags(*each):
    return np.array(each, dtype=bool)


@pytest.fixture
def counted(monkeypatch):
    """The odds of a hall that ends at a seam to a bar, which has a primer and two coats."""
    stays = [
        Made(room=room, layer=layer, visit=f"{room}: {layer.name}")
        for room, layer in (("Hall", SLURRY), ("Bar", COAT_1), ("Bar", PRIMED), ("Bar", COAT_2))
    ]
    schedule = Made(
        pours=[
            Made(room="Hall", own=Made(layer=SLURRY), seam=Made(next_room="Bar")),
            Made(room="Bar", own=Made(layer=PRIMED), seam=None),
        ],
        # The first is begun in the very second the odds are asked for.
        coats=[
            Made(room="Bar", coat=n, start_s=at_s, begins_s=at_s, work=Made(layer=layer))
            for n, at_s, layer in ((2, NOW_S + 1.0, COAT_2), (1, NOW_S, COAT_1))
        ],
    )
    met = {PRIMED: flags(1, 0, 0), COAT_1: flags(1, 1, 0), COAT_2: flags(0, 1, 1)}
    kept = {"Hall": flags([1, 1], [0, 1], [0, 0]), "Bar": flags([1], [1], [0])}
    follows, opened = {}, []
    everyone = flags(1, 1, 1)

    def kept_buckets(_pours, poured, *_, next_visit):
        follows[poured.room] = next_visit
        return Made(
            kept=kept[poured.room], cut=~everyone, stop_lost=~everyone, begun_kept=everyone
        )

    def opens(_job, last):
        opened.append(last.visit)
        return flags(1, 0, 1)

    for name, stub in {
        "draw_nights": lambda *_, **__: None, "kept_buckets": kept_buckets, "_opens": opens,
        "_lived": lambda *_: (stays, everyone, {}), "_met": lambda stay, *_: met[stay.layer],
        "_shifts_kept": lambda *_: flags(0, 1, 1), "_within_limits": lambda *_: everyone,
    }.items():  # fmt: skip
        monkeypatch.setattr(risk, name, stub)
    odds = risk.assess(
        Made(seed=1), {"Hall": None, "Bar": None}, schedule, issued_s=NOW_S, members=3,
        looked=Made(tables=Made(of=lambda *_: None), draws=None),
    )  # fmt: skip
    return Made(odds=odds, follows=follows, opened=opened)


def test_a_seam_is_met_by_who_pours_the_next_room(counted):
    assert counted.follows == {"Hall": "Bar: slurry on a primer", "Bar": None}


def test_a_room_opens_by_its_last_coat(counted):
    assert counted.opened == ["Bar: coat 2"]


def test_what_a_night_loses_is_added_up(counted):
    odds = counted.odds
    # Of the hall 0, 1 and 2 buckets; of the bar in the last night its bucket, the primer in
    # the last two, the first coat in the last and the second in the first.
    assert odds.room_lost["Hall"].tolist() == [0, 1, 2]
    assert odds.room_lost["Bar"].tolist() == [0 + 0 + 0 + 1, 0 + 1 + 0 + 0, 1 + 1 + 1 + 0]
    # The opening in the second night, and the end of a shift in the first.
    assert odds.lost.tolist() == [0 + 1 + 1, 1 + 1 + 1, 2 + 3]


def test_shares_of_nights(counted):
    odds = counted.odds
    assert odds.bucket_frac["Hall"] == pytest.approx([1 / 3, 2 / 3])
    assert odds.room_frac == pytest.approx({"Hall": 1 / 3, "Bar": 2 / 3})
    assert odds.primer_frac == pytest.approx({"Bar": 1 / 3})
    assert odds.coat_frac == pytest.approx({("Bar", 1): 2 / 3, ("Bar", 2): 2 / 3})
    assert odds.coats_frac == 0.0
    # The first coat alone is begun.
    assert odds.begun_frac == pytest.approx(2 / 3)


def test_nights_are_drawn_from_what_was_drawn_before():
    def sky(*_, **__):
        raise LookupError("asked for its sky")

    job, draws = Made(rooms=[]), Made(sky=sky)
    with pytest.raises(LookupError, match="asked for its sky"):
        nights.draw_nights(job, {}, Made(), members=1, issued_s=0.0, draws=draws)
