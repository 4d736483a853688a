"""What acts on each part of the odds, by stubs of what it is made of."""

from __future__ import annotations

from types import SimpleNamespace as Made

from cureplan.planning.plan import acting
from cureplan.planning.plan.ways import _Looking
from cureplan.planning.schedule import changes


def test_hours_are_moved_by_one_or_three_and_where_much_is_lost_by_three_at_once(monkeypatch):
    def kind(known=True):
        return Made(make=lambda _, minutes: Made(job=known, by=minutes))

    def moved_by(*kinds, much):
        return [one.by for one in acting._moved("job", {}, *kinds, much=much)]

    monkeypatch.setattr(acting, "_known", lambda job, _: job)
    pouring, opening = kind(), kind()
    monkeypatch.setattr(acting, "OPENING", opening)
    assert moved_by(pouring, kind(known=False), much=False) == [60, 180]
    assert moved_by(pouring, Made(make=lambda *_: None), much=True) == [180]
    for much in (False, True):
        assert moved_by(opening, much=much) == [120, 1440]


def acted_on(monkeypatch, part, *, heat=False, remedies=(), margins=False, much=False):
    """What acts on a part, each change by a word; the bar's slab is cool, the hall's not."""
    job = Made(policy=Made(remedies=remedies), rooms=[Made(heat=heat)])
    for name, stub in {
        "bottleneck": lambda _: "raking",
        "more_hands": lambda _, task: task,
        "more_remedies": lambda _, names: "+".join(names),
        "rooms_later": lambda _: [Made(make=lambda _, by: f"later {by}")],
        "open_for_less": lambda _: ["for less"],
        "splits": lambda _: ["split"],
        "heated": lambda _, names, to_c: [f"{' '.join(names)} at {to_c:.1f}"],
        "is_cool": lambda conditions: conditions == "cool",
        "_moved": lambda *kinds, much: [f"hours of {len(kinds) - 2}" + "!" * much],
    }.items():
        monkeypatch.setattr(acting, name, stub)
    monkeypatch.setattr(changes, "REMEDY_WORDS", ("chill", "hour", "heat"))
    rooms = {"Bar": "cool", "Hall": "warm"}
    pours = {name: Made(conditions=its, plan=id) for name, its in rooms.items()}
    here = Made(tables=Made(pours=pours), _with_more_margin=lambda *_: iter(["margin"]))
    schedule = Made(keeps_margins_as_expected=margins)
    return _Looking._acting_on(here, part, job, schedule, much=much)


def test_what_acts_on_each_part(monkeypatch):
    def of(part, **more):
        return acted_on(monkeypatch, part, **more)

    assert of("coats") == ["hours of 4", "split", "mixing", "raking", "topcoat"]
    assert of("shifts", much=True) == ["hours of 4!", "split", "mixing", "raking", "topcoat"]
    # All the remedies that are missing; once margins are kept, what gives more margin.
    assert of("buckets") == ["chill+hour+heat", "mixing", "raking"]
    assert of("buckets", remedies=("chill", "hour")) == ["heat", "mixing", "raking"]
    assert of("buckets", remedies=("chill", "hour", "heat")) == ["mixing", "raking"]
    assert of("buckets", margins=True) == ["margin", "mixing", "raking"]
    # A cool floor is warmed to what heaters keep so that it is ready sooner, 75 F.
    later = ["later 120", "later 1440", "for less", "Bar at 23.9"]
    hands = ["split", "mixing", "raking", "topcoat"]
    assert of("opening") == ["hours of 3", *later, *hands]
    # Heaters that stand in a room may be allowed to run.
    every = ("chill", "hour", "heat")
    assert of("limits", remedies=every, heat=True) == ["hours of 5"]
    assert of("limits", remedies=every[:2], heat=True) == ["heat", "heat", "hours of 5"]
    assert of("limits", remedies=every[:2]) == ["heat", "hours of 5"]
