"""Catalogues: one TOML file for each language, and when a number takes which plural form."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from cureplan.core.errors import OutOfRangeError

__all__ = ["LANGUAGES", "PLURALS", "Catalogue", "catalogue", "plural_rule"]

FOLDER = Path(__file__).parent
LANGUAGES = tuple(sorted(path.stem for path in FOLDER.glob("*.toml")))
# The categories of the Unicode CLDR; "other" is what no rule claims.
PLURALS = ("zero", "one", "two", "few", "many", "other")
_RELATION = re.compile(r"n(?: % (\d+))? (!?=) ([\d.,]+)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Catalogue:
    """All words of one language."""

    labels: dict[str, str]
    words: dict[str, str]
    sayings: dict[str, str]
    units: dict[str, str]
    cautions: tuple[tuple[str, str], ...]
    plurals: Mapping[str, Callable[[int], bool]]

    def plural(self, number: int) -> str:
        """The category of a whole number."""
        found = (name for name, rule in self.plurals.items() if rule(abs(number)))
        return next(found, "other")


@cache
def catalogue(language: str) -> Catalogue:
    """The words of a language; read once."""
    if language not in LANGUAGES:
        raise OutOfRangeError(
            f"no words in language {language!r}; there are {', '.join(LANGUAGES)}"
        )
    written = tomllib.loads((FOLDER / f"{language}.toml").read_text(encoding="utf-8"))
    if "based_on" in written:
        return _regional(catalogue(written["based_on"]), written)
    return Catalogue(
        labels=written["labels"],
        words=written["words"],
        sayings=written["sayings"],
        units=written["units"],
        cautions=tuple((one["title"], one["text"]) for one in written["cautions"]),
        plurals={name: plural_rule(rule) for name, rule in written["plurals"].items()},
    )


def _regional(base: Catalogue, written: Mapping[str, dict[str, str]]) -> Catalogue:
    """A catalogue with some whole words said otherwise, and some templates of its own."""
    instead = written.get("instead", {})
    words = re.compile(r"\b(" + "|".join(map(re.escape, instead)) + r")\b")

    def said(text: str) -> str:
        return words.sub(lambda found: instead[found[0]], text)

    tables = {
        name: {key: said(text) for key, text in getattr(base, name).items()}
        | written.get(name, {})
        for name in ("labels", "words", "sayings", "units")
    }
    cautions = tuple((said(title), said(text)) for title, text in base.cautions)
    return Catalogue(**tables, cautions=cautions, plurals=base.plurals)


def plural_rule(text: str) -> Callable[[int], bool]:
    """A rule as the CLDR writes it, for whole numbers: all its operands but n are left out.

    Examples
    --------
    >>> few = plural_rule("n % 10 = 2..4 and n % 100 != 12..14")
    >>> [n for n in range(30) if few(n)]
    [2, 3, 4, 22, 23, 24]
    """
    choices = [
        [_relation(part.strip()) for part in choice.split(" and ")]
        for choice in text.split(" or ")
    ]
    return lambda number: any(all(holds(number) for holds in choice) for choice in choices)


def _relation(text: str) -> Callable[[int], bool]:
    found = _RELATION.fullmatch(text)
    if found is None:
        raise OutOfRangeError(f"{text!r} is no plural rule, such as 'n % 10 = 2..4'")
    modulus, sign, ranges = found.groups()
    wanted: set[int] = set()
    for part in ranges.split(","):
        first, _, last = part.partition("..")
        wanted |= set(range(int(first), int(last or first) + 1))
    return lambda number: (
        ((number % int(modulus) if modulus else number) in wanted) == (sign == "=")
    )
