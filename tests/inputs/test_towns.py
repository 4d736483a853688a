"""Towns by name, against coordinates that others published."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from itertools import chain
from zoneinfo import ZoneInfo, available_timezones

import pytest
from astral import LocationInfo
from astral.geocoder import all_locations, database

from cureplan.core.errors import InputError
from cureplan.inputs.job import towns
from cureplan.inputs.job.towns import Town, find_towns, folded, town_of

# Published: zone.tab of the IANA time zone database, sexagesimal there.
ZONE_TAB = {
    "New York": (40 + 42 / 60 + 51 / 3600, -(74 + 23 / 3600), "America/New_York"),
    "Denver, CO": (39 + 44 / 60 + 21 / 3600, -(104 + 59 / 60 + 3 / 3600), "America/Denver"),
    "Anchorage": (61 + 13 / 60 + 5 / 3600, -(149 + 54 / 60 + 1 / 3600), "America/Anchorage"),
    "Honolulu": (21 + 18 / 60 + 25 / 3600, -(157 + 51 / 60 + 30 / 3600), "Pacific/Honolulu"),
    "Halifax, NS": (44 + 39 / 60, -(63 + 36 / 60), "America/Halifax"),
    "Madrid, Spain": (40 + 24 / 60, -(3 + 41 / 60), "Europe/Madrid"),
    "ciudad de mexico": (19 + 24 / 60, -(99 + 9 / 60), "America/Mexico_City"),
    "London, UK": (51 + 30 / 60 + 30 / 3600, -(7 / 60 + 31 / 3600), "Europe/London"),
}  # fmt: skip


@pytest.mark.parametrize("typed", ZONE_TAB)
def test_towns_lie_where_the_zone_database_says(typed: str) -> None:
    # Published: zone.tab. A city's middle is a matter of some kilometres: 0.1 degree.
    latitude_deg, longitude_deg, zone = ZONE_TAB[typed]
    town = find_towns(typed)[0]
    assert town.latitude_deg == pytest.approx(latitude_deg, abs=0.1)
    assert town.longitude_deg == pytest.approx(longitude_deg, abs=0.1)
    assert town.time_zone == zone


def _beside(place: LocationInfo, town: Town) -> bool:
    wide = math.cos(math.radians(place.latitude))
    north, east = place.latitude - town.latitude_deg, place.longitude - town.longitude_deg
    if math.hypot(north, east * wide) > 0.35:
        return False
    for month in (1, 7):
        noon = datetime(2026, month, 15, 12, tzinfo=UTC)
        theirs, ours = ZoneInfo(place.timezone), ZoneInfo(town.time_zone)
        if noon.astimezone(theirs).utcoffset() != noon.astimezone(ours).utcoffset():
            return False
    return True


@pytest.mark.thorough
def test_most_places_of_another_list_are_found_where_it_has_them() -> None:
    # Published: the places of astral's own list, of other making. Its slips and its places
    # of fewer than 5,000 people are some in twenty.
    places = list(all_locations(database()))
    zones = available_timezones()
    places = [place for place in places if place.timezone in zones]
    beside = [p for p in places if any(_beside(p, t) for t in find_towns(p.name, most=40))]
    assert len(places) > 350
    assert len(beside) >= 0.9 * len(places)
    # A capital of a state is found with its state's namesakes apart.
    states = [p for p in places if p.region == "USA"]
    found = [p for p in states if any(_beside(p, t) for t in find_towns(f"{p.name}, USA"))]
    assert len(states) >= 50
    assert len(found) >= 0.95 * len(states)


@pytest.mark.parametrize(
    ("typed", "also"),
    [
        ("Montréal", "montreal"), ("MÜNCHEN", "Munich"), ("Łódź", "lodz"),
        ("St. Louis, MO", "saint louis, missouri"), ("Coeur d'Alene", "coeur dalene"),
        ("Springfield, IL, USA", "springfield, illinois"), ("New York", "Nueva York"),
        ("  Albany ,  ny ", "Albany, New York, United States"),
    ],
)  # fmt: skip
def test_accents_capitals_and_short_forms_do_not_count(typed: str, also: str) -> None:
    assert find_towns(typed)
    assert find_towns(typed)[0] == find_towns(also)[0]


def test_namesakes_are_told_apart_by_state_country_and_people() -> None:
    # From memory: a Portland in Oregon and a smaller one in Maine, a London in Ontario.
    oregon, maine = find_towns("Portland")[:2]
    assert (oregon.region, maine.region) == ("Oregon", "Maine")
    assert oregon.people > maine.people
    assert len({town.label for town in find_towns("Portland", most=99)}) > 2
    # The one in Queensland, as any map shows: no town of another country is nearer by.
    labels = [town.label for town in find_towns("Springfield", most=99)]
    assert any(label.startswith("Springfield, near Logan City, Australia") for label in labels)
    with pytest.raises(InputError, match=r"Oregon.*Maine.*state or country"):
        town_of("Portland")
    assert town_of("Portland, ME") == maine
    assert town_of("Portland #2") == maine
    assert town_of("London, Ontario").time_zone == "America/Toronto"


@pytest.mark.parametrize(
    "typed", ["", " ", ",", "x", "Pheonix", "Portland, Mars", "a" * 10_000, "#", "Portland #99",
              "\x00", "Portland #-1", "💥", "../../etc/passwd", "Portland\n"],
)  # fmt: skip
def test_what_is_no_town_is_one_line_with_a_way_out(typed: str) -> None:
    with pytest.raises(InputError, match=r"latitude as a number|say which") as refused:
        town_of(typed)
    assert "\n" not in str(refused.value)
    if typed == "Pheonix":
        assert 'did you mean "Phoenix"' in str(refused.value)


def test_a_name_is_folded_once() -> None:
    for town in chain(find_towns("San", most=200), find_towns("Saint", most=200)):
        assert folded(folded(town.name)) == folded(town.name)
        assert town in find_towns(f"{town.name}, {town.country_code}", most=500)


MADE = towns._Table(
    countries={"QX": "Inland"},
    regions={"QX.1": "ER Eastern Reach"},
    zones=["UTC"],
    # Name, country, region, latitude, longitude in hundredths, zone, people, other names.
    towns=[
        ["Bigton", "Smallton", "Farton", "Eaststead", "Midton", "Overbig", "Ii", "Y"],
        ["QX", "QX", "QX", "QX", "QX", "ZZ", "QX", "QX"],
        ["", "", "", "1", "", "", "1", "1"],
        ["1000", "1090", "1150", "1000", "1000", "1089", "1000", "1000"],
        ["2000", "2120", "2000", "2001", "2000", "2119", "2000", "2000"],
        ["0"] * 8,
        ["100000", "99999", "5000", "7000", "99999", "900000", "6000", "6000"],
        [""] * 8,
    ],
    by_name={
        "bigton": [0], "smallton": [1], "farton": [2], "eaststead": [3], "midton": [4],
        "overbig": [5], "ii": [6], "y": [7], "any": [*range(8)],
    },
)  # fmt: skip


def test_a_small_town_without_a_state_is_told_by_a_big_one_within_a_degree_and_a_half(
    monkeypatch,
):
    monkeypatch.setattr(towns, "_table", lambda: MADE)
    # Of 100,000 and of their own country: Overbig is neither.
    assert towns._big_towns.__wrapped__("QX") == ((1000, 2000, "Bigton"),)
    assert towns._big_towns.__wrapped__("QY") == ((10**6, 10**6, ""),)
    monkeypatch.setattr(towns, "_big_towns", lambda _: ((1000, 2000, "Bigton"),))
    # 0.9 and 1.2 degrees off make 1.5 (3, 4, 5): no longer near.
    told = [towns._town(place).label for place in range(5)]
    assert told == [
        "Bigton, Inland (100,000 people)",
        "Smallton, 10.9, 21.2, Inland (99,999 people)",
        "Farton, 11.5, 20, Inland (5,000 people)",
        "Eaststead, Eastern Reach, Inland (7,000 people)",
        "Midton, near Bigton, Inland (99,999 people)",
    ]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("Bigton", "Bigton"), ("Bigtonxx", "Bigton"), ("Bigto", "Bigton"),
        # Three letters more, and another first letter.
        ("Eaststeadxxx", None), ("Digton", None), ("Eaststeadxx", "Eaststead"),
        ("Bagton, QX", "Bigton"), ("Bagton #2", "Bigton"),
    ],
)  # fmt: skip
def test_a_name_nearly_right_is_of_like_length_and_begins_alike(monkeypatch, typed, meant):
    monkeypatch.setattr(towns, "_table", lambda: MADE)
    assert next(towns._alike(typed), None) == meant


def test_six_namesakes_are_shown_and_no_list_has_a_hundred(monkeypatch) -> None:
    monkeypatch.setattr(towns, "_table", lambda: MADE)
    monkeypatch.setattr(towns, "_big_towns", lambda _: ((1000, 2000, "Bigton"),))
    # By people: Overbig, Bigton, then Smallton before Midton, as listed.
    assert [town.name for town in find_towns("Any", most=4)] == [
        "Overbig", "Bigton", "Smallton", "Midton",
    ]  # fmt: skip
    assert town_of("Any #1").name == "Overbig"
    assert town_of("Any #8").name == "Farton"
    for number in ("0", "9", "99"):
        with pytest.raises(InputError, match="several towns") as refused:
            town_of(f"Any #{number}")
        assert "; #6 " in str(refused.value)
        assert "#7" not in str(refused.value)
    with pytest.raises(InputError, match="no town of"):
        town_of("Any #100")
    assert [town.name for town in find_towns("Ii")] == ["Ii"]
    assert find_towns("Y") == ()
