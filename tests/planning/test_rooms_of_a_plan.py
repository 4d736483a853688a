"""Why a floor is poured as it is, and how damp its hours are, made up by hand."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from types import SimpleNamespace as Made

import numpy as np
import pytest

from cureplan.inputs.job.model import Heat
from cureplan.planning.floor.pour import PourOption
from cureplan.planning.plan import floors, kits

NIGHT = datetime(2026, 7, 17, 20, tzinfo=UTC)
NIGHT_S = NIGHT.timestamp()
H = 3600.0


def codes(messages):
    return [message.code for message in messages]


# Floors


def reasons(*, margin_s=60.0, as_is_s=60.0, delayed=False, option=None, sun=None, **room):
    """Why the second of two buckets is tightest, and what else is told of its floor."""
    given = {"name": "Bar", "sun_patch": None, "slab_reading": None, "not_before": None}
    job = Made(site=Made(zone=UTC), policy=Made(remedies=("heat",)))
    pours = Made(
        room=Made(**{**given, "heat": None, **room}), job=job,
        conditions=Made(epoch_s=NIGHT_S + H * np.arange(3), sun_k=sun, read_in_shade=True),
        plan=lambda _: Made(
            cadence=Made(interval_s=89.6, limit="rake"),
            layout=Made(bays=2, bay_width_m=3.0),
        ),
    )  # fmt: skip
    clocks = Made(
        margin_s=np.array([[900.0, margin_s]]), binding=np.array([[0, 2]]),
        mixed_c=np.array([[20.0, 21.234]]), slab_c=np.array([[25.0, 26.789]]),
    )  # fmt: skip
    poured = Made(
        clocks=clocks, start_s=NIGHT_S + H / 2, delayed=delayed,
        option=option or PourOption(chilled=False, cool_filler=False, bays=1),
    )  # fmt: skip
    return floors._reasons(pours, poured, as_is_s, 1)


@pytest.mark.parametrize(
    ("margin_s", "binds"), [(0.0, "binds"), (-1.0, "short"), (60.0, "binds")]
)
def test_the_tightest_bucket_has_time_or_is_short_of_it(margin_s, binds):
    got = reasons(margin_s=margin_s)
    assert codes(got) == [f"pour.{binds}", "pour.rhythm", "pour.as_is"]
    assert got[0].values == {
        "room": "Bar", "bucket": 2, "binding": "broadcast_closes",
        "margin_min": round(margin_s / 60.0, 2), "mixed_c": 21.23, "slab_c": 26.79,
    }  # fmt: skip
    assert got[1].values == {"cadence_s": 90, "limit": "limit.rake"}


@pytest.mark.parametrize(("as_is_s", "code"), [(0.0, "as_is"), (-1.0, "as_is_short")])
def test_without_remedies_a_floor_would_have_time_or_not(as_is_s, code):
    assert reasons(as_is_s=as_is_s)[2].code == f"pour.{code}"


def test_sun_hour_remedies_and_heaters_are_told_where_they_are():
    patch = Made(share=0.4, starts=time(10, 30), ends=time(14, 0))
    sun_k = np.array([4.0, 2.0, 0.0])
    assert codes(reasons(sun_patch=patch))[3:] == []
    assert codes(reasons(sun=sun_k))[3:] == []
    # Half an hour on from 4 K to 2 K.
    (lit,) = reasons(sun_patch=patch, sun=sun_k)[3:]
    assert lit.values == {
        "room": "Bar", "share_frac": 0.4, "warmer_k": 3.0, "lit": "10:30-14:00"
    }  # fmt: skip
    read = reasons(sun_patch=patch, sun=sun_k, slab_reading=20.0)
    assert codes(read)[3:] == ["pour.sunlit", "pour.read_in_shade"]
    every = PourOption(chilled=True, cool_filler=True, bays=2)
    got = reasons(
        delayed=True, option=every, not_before=NIGHT,
        heat=Heat(to_c=15.0, from_at=NIGHT - timedelta(hours=2), runs=True),
    )  # fmt: skip
    assert codes(got)[3:] == [
        "pour.hour", "pour.not_before", "pour.chill", "pour.cool_filler", "pour.bays",
        "pour.heat",
    ]  # fmt: skip
    assert got[4].values == {"room": "Bar", "from_at": NIGHT.isoformat()}
    assert got[-2].values == {"room": "Bar", "bays": 2, "bay_width_m": 3.0}


@pytest.mark.parametrize(
    ("needs", "at_s", "known"),
    [
        # The plan's hours end at 1000 s; what a room must bear to be open is told beyond.
        ((), 1000.0, True), ((), 1001.0, False), (("wheels",), 1001.0, True),
        (("wash_down",), 1001.0, False),
    ],
)  # fmt: skip
def test_what_lies_beyond_the_hours_is_told_where_the_room_needs_it(
    monkeypatch, needs, at_s, known
):
    monkeypatch.setattr(floors, "known_until_s", lambda _: 1000.0)
    pours = Made(room=Made(open_needs=needs), job=Made(site=Made(zone=UTC)))
    got = floors._known(pours, "wheels", at_s)
    assert got == (datetime.fromtimestamp(at_s, UTC) if known else None)


# Humidity


def damp(*shares, low=0.4, high=0.7, rate=True, points=()):
    """A job of as many hours as shares, the first and the last beside it."""
    at_s = NIGHT_S + H * (np.arange(len(shares)) - 1)
    job = Made(
        access=Made(begins=NIGHT, open_by=NIGHT + timedelta(hours=len(shares) - 3)),
        cards=Made(**{
            name: Made(title=name, milestones={"open": Made(points=points)})
            for name in ("slurry", "topcoat")
        }),
    )  # fmt: skip
    by_hour = dict(zip(at_s.tolist(), shares, strict=True))
    follows = Made(low_frac=low, high_frac=high, reference_frac=0.5) if rate else None
    pours = Made(
        clocks=Made(humidity=follows), topcoat=Made(humidity=None),
        conditions=Made(
            epoch_s=at_s, humidity_at=lambda at: np.array([by_hour[s] for s in at.tolist()])
        ),
    )  # fmt: skip
    return job, {"Bar": pours}


@pytest.mark.parametrize(
    ("shares", "told"),
    [
        # From 0.4 to 0.7 by the card, two hundredths more either way; the hours before the
        # job and after it are nobody's.
        ((0.1, 0.381, 0.719, 0.9), []), ((0.5, 0.379, 0.5, 0.5), ["beyond"]),
        ((0.5, 0.5, 0.721, 0.5), ["beyond"]), ((0.5, np.nan, 0.5, 0.5), ["unknown"]),
        ((0.5, np.nan, 0.8, 0.5), ["unknown", "beyond"]),
        ((0.5, np.nan, np.nan, 0.5), ["unknown"]), ((np.nan, 0.5, 0.5, np.nan), []),
    ],
)  # fmt: skip
def test_air_drier_or_damper_than_a_cards_points_is_warned_of(shares, told):
    found = kits.humidity_warnings(*damp(*shares))
    assert codes(found) == [f"warn.humidity_{word}" for word in told]
    if told == ["beyond"]:
        assert found[0].values["from_frac"] == min(shares[1:3])
        assert found[0].values["to_frac"] == max(shares[1:3])


def test_on_the_card_two_hundredths_more_are_within_its_points():
    # A quarter and three quarters are whole binary fractions: two hundredths from them.
    low, high = 0.25 - kits.BEYOND_FRAC, 0.75 + kits.BEYOND_FRAC
    assert kits.humidity_warnings(*damp(0.5, low, high, 0.5, low=0.25, high=0.75)) == ()


@pytest.mark.parametrize(
    ("rate", "humidity", "labels"),
    [
        (True, 0.5, ["humidity", "humidity_idle"]), (True, None, ["humidity"]),
        (False, 0.5, ["humidity_idle"] * 2), (False, None, []),
    ],
)  # fmt: skip
def test_a_cards_humidities_count_or_stand_idle(rate, humidity, labels):
    points = (Made(humidity_frac=None), Made(humidity_frac=humidity))
    found = kits.humidity_sources(*damp(0.5, 0.5, 0.5, 0.5, rate=rate, points=points))
    assert [one.label for one in found] == labels


# Ice


@pytest.mark.parametrize(
    ("stirred", "measured_c", "dew_c", "sweats"),
    [(False, None, 4.0, False), (True, 15.0, 4.0, False), (False, None, np.nan, False),
     (False, None, 30.0, True)],
)  # fmt: skip
def test_pails_of_a_floor_go_in_ice_ahead_of_it(stirred, measured_c, dew_c, sweats):
    job = Made(
        site=Made(zone=UTC),
        materials=Made(
            stirred_in_ice=stirred, iced_c=8.0, liquids_measured_c=measured_c, storage_c=20.0,
            cool_filler_c=10.0,
        ),
    )  # fmt: skip
    pours = Made(
        conditions=Made(dew_at=lambda _: dew_c),
        plan=lambda _: Made(layout=Made(kits=3)),
    )
    need = Made(
        ice_per_kit_kg=1.5, stirred_s=H, from_c=20.0,
        in_ice_s=lambda *, stirred: H if stirred else 4 * H,
    )  # fmt: skip
    gain = Made(total_s=[90.0], bucket_s=[60.0], floor_s=[30.0])
    poured = Made(room="Bar", start_s=NIGHT_S, option=None)
    got = kits._room(job, pours, poured, need, gain)
    assert (got.kits, got.ice_kg, got.needed_at) == (3, 4.5, NIGHT)
    assert got.in_ice_by == NIGHT - timedelta(hours=1 if stirred else 4)
    assert got.in_ice_by_stirred == NIGHT - timedelta(hours=1)
    assert (got.from_c, got.to_c) == (20.0, 8.0 if measured_c is None else measured_c)
    assert (got.gained_min, got.gained_bucket_min, got.gained_floor_min) == (1.5, 1.0, 0.5)
    assert got.sweats is sweats
