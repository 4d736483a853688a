"""Where each value of a material card comes from, by its key path."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Self

from cureplan.job.card_schema import CardFile

__all__ = ["DEFAULT_ORIGINS", "Origins", "named_values"]

DEFAULT_ORIGINS = {
    "rate.mean": "default: from memory",
    "rate.sd": "default: from memory",
    "spread": "default: invented",
}
"""Origins of what a card may leave out, by key path or by its last key."""

_NO_VALUES = ("kind", "title", "generic", "source", "provenance")


@dataclass(frozen=True, slots=True, kw_only=True)
class Origins:
    """Origin of every value in a card; the nearest statement above a key holds."""

    source: str
    stated: Mapping[str, str]
    keys: tuple[str, ...]

    @classmethod
    def of(cls, card: CardFile, values: Mapping[str, Any]) -> Self:
        """Origins of a card as written."""
        keys = tuple(dict.fromkeys(key for key in named_values(values) if _is_value(key)))
        return cls(source=card.source, stated=card.provenance, keys=keys)

    def of_key(self, key: str) -> str:
        """Origin of one value; keys the card leaves out say so."""
        if key not in self.keys:
            last = key.rpartition(".")[2]
            return DEFAULT_ORIGINS.get(key) or DEFAULT_ORIGINS.get(last) or self.source
        steps = key.split(".")
        for end in range(len(steps), 0, -1):
            stated = self.stated.get(".".join(steps[:end]))
            if stated is not None:
                return stated
        return self.source

    def all(self, *optional: str) -> dict[str, str]:
        """Origins of every value the card gives, and of `optional` ones it may omit."""
        return {key: self.of_key(key) for key in dict.fromkeys((*self.keys, *optional))}


def named_values(values: Mapping[str, Any], above: str = "") -> Iterator[str]:
    """Dotted key path of every value; named list entries go by their names.

    Examples
    --------
    >>> list(named_values({"parts": [{"name": "resin", "mass": "2 kg"}], "batch": "1 gal"}))
    ['parts.resin.mass', 'batch']
    """
    for key, value in values.items():
        path = f"{above}{key}"
        if isinstance(value, Mapping):
            yield from named_values(value, f"{path}.")
        elif key == "parts" and isinstance(value, list):
            for entry in value:
                inner = {k: v for k, v in entry.items() if k not in ("name", "kind")}
                yield from named_values(inner, f"{path}.{entry['name']}.")
        else:
            yield path


def _is_value(key: str) -> bool:
    return key.partition(".")[0] not in _NO_VALUES and not key.endswith(".clock")
