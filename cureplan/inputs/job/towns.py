"""Towns by name, offline: where they lie and by which clock they live.

The table is packed from GeoNames (www.geonames.org, CC BY 4.0) by data/make_towns.py;
coordinates are those of the town's middle, to about a kilometre. It has no elevations.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from functools import cache
from pathlib import Path

from cureplan.core.errors import InputError

__all__ = ["Town", "find_towns", "folded", "town_of"]

_TABLE = Path(__file__).with_name("towns.xz")
# Letters that are not a plain one with a mark on it.
_PLAIN = str.maketrans({
    "ø": "o", "ł": "l", "đ": "d", "ð": "d", "æ": "ae", "œ": "oe", "ı": "i", "þ": "th",
    "ʻ": None, "’": None, "'": None, "‘": None,
})  # fmt: skip
_SHORT = {"st": "saint", "ste": "sainte", "ft": "fort", "mt": "mount"}
_COUNTRIES = {
    "usa": "US", "united states of america": "US", "america": "US", "uk": "GB",
    "great britain": "GB", "england": "GB", "scotland": "GB", "wales": "GB",
}  # fmt: skip
_BIG = 100_000
_NEARBY = 150
"""Hundredths of a degree."""
_LONGEST = 80
"""Names longer than any town's are not looked for."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Town:
    """One town: what it is called, where it lies, and what tells it from its namesakes."""

    name: str
    region: str
    country: str
    country_code: str
    latitude_deg: float
    longitude_deg: float
    time_zone: str
    people: int
    near: str = ""
    """Where no state or province is known: a big town nearby, else its coordinates."""

    @property
    def label(self) -> str:
        """As a list shows it."""
        parts = [self.name, self.region or self.near, self.country]
        return f"{', '.join(part for part in parts if part)} ({self.people:,} people)"


@dataclass(frozen=True, slots=True)
class _Table:
    countries: dict[str, str]
    regions: dict[str, str]
    zones: list[str]
    towns: list[list[str]]
    """A column each: name, country, region, latitude, longitude, zone, people, others."""
    by_name: dict[str, list[int]]


def folded(text: str) -> str:
    """A name without capitals, accents and signs, short forms written out.

    Examples
    --------
    >>> folded("St. Paul"), folded("Łódź"), folded("Coeur d'Alene")
    ('saint paul', 'lodz', 'coeur dalene')
    """
    plain = text.casefold().translate(_PLAIN)
    if not plain.isascii():
        marked = unicodedata.normalize("NFKD", plain)
        plain = "".join(c for c in marked if not unicodedata.combining(c))
    words = re.findall(r"[^\W_]+", plain)
    return " ".join(_SHORT.get(word, word) for word in words)


@cache
def _table() -> _Table:
    import lzma

    _, countries, regions, zones, *columns = (
        lzma.decompress(_TABLE.read_bytes()).decode().split("\f")
    )
    towns = [column.split("\n") for column in columns]
    by_name: dict[str, list[int]] = {}
    for place, (name, others) in enumerate(zip(towns[0], towns[7], strict=True)):
        for each in (folded(name), *(others.split(",") if others else ())):
            by_name.setdefault(each, []).append(place)
    return _Table(_pairs(countries), _pairs(regions), zones.split("\t"), towns, by_name)


def _pairs(text: str) -> dict[str, str]:
    return dict(pair.split("=", 1) for pair in text.split("\t"))


def find_towns(text: str, *, most: int = 12) -> tuple[Town, ...]:
    """Towns of a typed name, the largest first; a state or country may follow a comma.

    Accents and capitals do not count. Where no town has the name whole, those that begin
    with it. Empty for none.

    Examples
    --------
    >>> town, = find_towns("Juneau, AK")
    >>> town.latitude_deg, town.longitude_deg, town.time_zone
    (58.3, -134.42, 'America/Juneau')
    """
    name, *rest = (folded(part) for part in text[: 2 * _LONGEST].split(","))
    if len(name) < 2:
        return ()
    table = _table()
    wheres = [where for where in rest if where]
    for alike in (table.by_name.get, _beginning):
        places = set(alike(name) or ())
        fits = [p for p in places if all(_lies_in(p, where) for where in wheres)]
        if fits:
            fits.sort(key=lambda place: (-int(table.towns[6][place]), place))
            return tuple(_town(place) for place in fits[:most])
    return ()


def _beginning(name: str) -> list[int]:
    known = _table().by_name
    return [p for other, places in known.items() if other.startswith(name) for p in places]


def _lies_in(place: int, where: str) -> bool:
    """Whether a town lies in the state or country that was typed, name or short."""
    table = _table()
    code = table.towns[1][place]
    short, _, region = table.regions.get(f"{code}.{table.towns[2][place]}", "").partition(" ")
    if where in (folded(short), folded(region), folded(table.countries.get(code, ""))):
        return True
    return code in (where.upper(), _COUNTRIES.get(where))


def _town(place: int) -> Town:
    table = _table()
    name, code, region, north, east, zone, people, _ = (c[place] for c in table.towns)
    state = table.regions.get(f"{code}.{region}", "").partition(" ")[2]
    return Town(
        name=name,
        region=state,
        country=table.countries.get(code, code),
        country_code=code,
        latitude_deg=int(north) / 100,
        longitude_deg=int(east) / 100,
        time_zone=table.zones[int(zone)],
        people=int(people),
        near="" if state else _near(place),
    )


def _near(place: int) -> str:
    """What tells a small town from its namesakes in one country; empty for a big one."""
    _, codes, _, norths, easts, _, peoples, _ = _table().towns
    if int(peoples[place]) >= _BIG:
        return ""
    north, east = int(norths[place]), int(easts[place])
    far, name = min(
        ((y - north) ** 2 + (x - east) ** 2, name) for y, x, name in _big_towns(codes[place])
    )
    return f"near {name}" if far < _NEARBY**2 else f"{north / 100:g}, {east / 100:g}"


@cache
def _big_towns(code: str) -> tuple[tuple[int, int, str], ...]:
    """The big towns of a country; a place on no map where it has none."""
    names, codes, _, norths, easts, _, peoples, _ = _table().towns
    found = [
        (int(norths[place]), int(easts[place]), names[place])
        for place, people in enumerate(peoples)
        if codes[place] == code and int(people) >= _BIG
    ]
    return tuple(found) or ((10**6, 10**6, ""),)


def town_of(text: str, *, source: str = "answers", key: str = "site.latitude") -> Town:
    """The one town a text means, or a refusal that tells its namesakes apart."""
    found = find_towns(text)
    if len(found) == 1:
        return found[0]
    number = text.rpartition("#")[2].strip()
    if "#" in text and number.isascii() and number.isdigit() and len(number) < 3:
        found = find_towns(text.rpartition("#")[0])
        if 1 <= int(number) <= len(found):
            return found[int(number) - 1]
    if not found:
        near = next(iter(_alike(text)), "")
        meant = f'did you mean "{near}"? ' if near else ""
        raise InputError(
            "no town of 5,000 people or more is known by that name",
            cure=f"{meant}name a larger one nearby, or write the latitude as a number",
            source=source, key=key, value=text,
        )  # fmt: skip
    shown = "; ".join(f"#{n} {town.label}" for n, town in enumerate(found[:6], start=1))
    raise InputError(
        f"several towns have that name: {shown}",
        cure=f'say which: "{found[0].name}, state or country", or "{found[0].name} #1"',
        source=source, key=key, value=text,
    )  # fmt: skip


def _alike(text: str) -> Iterator[str]:
    """Towns whose name is written nearly so."""
    name = folded(text.partition(",")[0].partition("#")[0])[:_LONGEST]
    names, known = _table().towns[0], _table().by_name
    some = [k for k in known if k[:1] == name[:1] and abs(len(k) - len(name)) <= 2]
    for other in get_close_matches(name, some, n=1, cutoff=0.75):
        yield names[known[other][0]]
