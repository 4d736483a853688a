"""Material cards: found by a shipped name or a path, checked, and turned into SI."""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches
from importlib import resources
from pathlib import Path
from typing import Annotated

from cureplan.errors import InputError
from cureplan.job.card_build import Card, build_card
from cureplan.job.card_check import card_faults
from cureplan.job.card_schema import (
    AggregateFile,
    CardFile,
    CardKind,
    PrimerFile,
    SlurryFile,
    TopcoatFile,
)
from cureplan.job.document import Document, parse_document, read_document
from cureplan.job.faults import as_errors, first_error, validated
from cureplan.job.fields import Written, choice
from cureplan.job.origins import Origins

__all__ = ["Card", "CardKind", "read_card", "read_card_text", "shipped_cards"]

_WHAT = "material card"
_FILES: Mapping[str, type[CardFile]] = {
    "slurry": SlurryFile,
    "topcoat": TopcoatFile,
    "aggregate": AggregateFile,
    "primer": PrimerFile,
}


class _Head(Written):
    kind: Annotated[str, choice(*_FILES)]


def shipped_cards() -> tuple[str, ...]:
    """Names of the cards that come with the program.

    Examples
    --------
    >>> shipped_cards()
    ('clear-topcoat', 'fast-slurry', 'quartz', 'slab-primer')
    """
    folder = resources.files("cureplan.job") / "shipped"
    names = (entry.name for entry in folder.iterdir())
    return tuple(sorted(name.removesuffix(".toml") for name in names if name.endswith(".toml")))


def read_card(
    name: str | Path, *, folder: Path | None = None, kind: CardKind | None = None
) -> Card:
    """Read a material card.

    Parameters
    ----------
    name : str or Path
        A shipped name, or a path (it ends in ``.toml`` or holds a slash).
    folder : Path or None
        Where a relative path starts; None is the current folder.
    kind : str or None
        What the card must be; None takes any.

    Returns
    -------
    SlurryCard, TopcoatCard, AggregateCard or PrimerCard
        In SI and °C.

    Raises
    ------
    InputError
        No such card, another kind of card, or something wrong in it: file, line, key,
        value and cure.

    Examples
    --------
    >>> read_card("fast-slurry").kit_mass_kg
    18.7
    """
    document, key = _document(name, folder)
    return _read(document, key=key, kind=kind)


def read_card_text(text: str, *, source: Path, kind: CardKind | None = None) -> Card:
    """Read a card from a text that is said to stand in `source`.

    Raises
    ------
    InputError
        Something is wrong in it.
    """
    document = parse_document(text, source=source, what=_WHAT)
    return _read(document, key=source.stem, kind=kind)


def _document(name: str | Path, folder: Path | None) -> tuple[Document, str]:
    written = str(name)
    if isinstance(name, Path) or written.endswith(".toml") or "/" in written or "\\" in written:
        path = (folder or Path()) / name
        return read_document(path, what=_WHAT), path.stem
    known = shipped_cards()
    if written not in known:
        near = get_close_matches(written, known, n=1)
        hint = f'did you mean "{near[0]}"? ' if near else ""
        raise InputError(
            "no card of this name is shipped",
            cure=f"{hint}shipped are {', '.join(known)}, "
            f"or give the path of your own, ending in .toml",
            value=written,
        )
    entry = resources.files("cureplan.job") / "shipped" / f"{written}.toml"
    text = entry.read_text(encoding="utf-8")
    return parse_document(text, source=Path(str(entry)), what=_WHAT), written


def _read(document: Document, *, key: str, kind: CardKind | None) -> Card:
    stated = {key: value for key, value in document.values.items() if key == "kind"}
    head, faults = validated(_Head, document, stated)
    if head is None:
        raise first_error(as_errors(faults, document))
    written = head.kind
    if kind is not None and written != kind:
        raise InputError(
            f"this is a {written} card where a {kind} card is wanted",
            cure=f"name a {kind} card",
            source=document.source,
            line=document.line(("kind",)),
            key="kind",
            value=written,
        )
    card, faults = validated(_FILES[written], document)
    if card is not None:
        faults = card_faults(card, document.values)
    if card is None or faults:
        raise first_error(as_errors(faults, document))
    return build_card(card, key=key, origins=Origins.of(card, document.values))
