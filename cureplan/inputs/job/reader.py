"""Read a job file: the one way to a `Job`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import wraps
from pathlib import Path
from typing import ParamSpec, TypeVar

from cureplan.core.errors import InputError
from cureplan.inputs.cards.model import AggregateCard, PrimerCard, SlurryCard, TopcoatCard
from cureplan.inputs.cards.reader import Card, in_card_file, read_card
from cureplan.inputs.cards.schema import CardKind
from cureplan.inputs.faults import Fault, as_errors, first_error, validated
from cureplan.inputs.files import Document, parse_document, read_document
from cureplan.inputs.job.build import build_job, resolve_instants
from cureplan.inputs.job.crosscheck import crosscheck
from cureplan.inputs.job.model import MOST_BUCKETS, MOST_ROOMS, Cards, Job, ring_area_m2
from cureplan.inputs.job.own import at_own_file, fill, notes_on, own_file, read_own
from cureplan.inputs.job.schema import JobFile, MaterialsEntry

__all__ = [
    "against_cards",
    "at_its_card",
    "job_faults",
    "job_text_faults",
    "read_job",
    "read_job_text",
    "read_own_job",
]

_WHAT = "job file"
P = ParamSpec("P")
T = TypeVar("T")


def read_job(path: Path | str, *, defaults: Path | None = None) -> Job:
    """Read and check a job file and the cards it names.

    What it leaves out of site, crew, pace and people is taken from the file `defaults`;
    none is looked for here, so that a program's job does not depend on whose machine it is.
    """
    return _job(read_document(Path(path), what=_WHAT), defaults)


def read_own_job(path: Path | str) -> Job:
    """A job of the one who runs this, with defaults of their own where they keep some."""
    return read_job(path, defaults=own_file())


def read_job_text(text: str, *, source: Path, defaults: Path | None = None) -> Job:
    """Read a job from a text; relative file names start in the folder of `source`."""
    return _job(parse_document(text, source=source, what=_WHAT), defaults)


def job_faults(path: Path | str) -> tuple[InputError, ...]:
    """Everything wrong with a job file, in the order of the file; empty if nothing.

    Faults between keys are looked for only once every key by itself is sound.
    """
    try:
        document = read_document(Path(path), what=_WHAT)
    except InputError as error:
        return (error,)
    _, errors = _read(document)
    return errors


def job_text_faults(
    text: str, *, source: Path, defaults: Path | None = None
) -> tuple[InputError, ...]:
    """Everything wrong with a job in a text that is said to stand in `source`."""
    return _read(parse_document(text, source=source, what=_WHAT), defaults)[1]


def _job(document: Document, defaults: Path | None) -> Job:
    job, errors = _read(document, defaults)
    if job is None:
        raise first_error(errors)
    return job


def _read(
    document: Document, defaults: Path | None = None
) -> tuple[Job | None, tuple[InputError, ...]]:
    if defaults is None:
        return _read_whole(document)
    own = read_own(defaults)
    whole, filled = fill(document, own)
    job, errors = _read_whole(whole)
    if job is None:
        return None, tuple(at_own_file(error, filled, own) for error in errors)
    return replace(job, notes=(*job.notes, *notes_on(filled, own))), errors


def _read_whole(document: Document) -> tuple[Job | None, tuple[InputError, ...]]:
    written, faults = validated(JobFile, document)
    if written is None:
        return None, as_errors(faults, document)
    folder = document.source.parent
    instants, faults = resolve_instants(written)
    faults += crosscheck(written, folder=folder)
    cards, card_errors = _cards(written.materials, document)
    if cards is not None:
        faults += against_cards(written, cards)
    errors = (*as_errors(faults, document), *card_errors)
    if errors or instants is None or cards is None:
        return None, errors
    job = build_job(written, instants=instants, cards=cards, source=document.source)
    return job, ()


def _cards(named: MaterialsEntry, document: Document) -> tuple[Cards | None, list[InputError]]:
    found: dict[CardKind, Card] = {}
    errors: list[InputError] = []
    wanted: dict[CardKind, str | None] = {
        "slurry": named.slurry,
        "topcoat": named.topcoat,
        "aggregate": named.aggregate,
        "primer": named.primer,
    }
    for kind, name in wanted.items():
        if name is None:
            continue
        try:
            found[kind] = read_card(name, folder=document.source.parent, kind=kind)
        except InputError as error:
            errors.append(_beside_name(error, document, kind, name))
    if errors:
        return None, errors
    slurry, topcoat = found["slurry"], found["topcoat"]
    aggregate, primer = found["aggregate"], found.get("primer")
    if not (
        isinstance(slurry, SlurryCard)
        and isinstance(topcoat, TopcoatCard)
        and isinstance(aggregate, AggregateCard)
        and isinstance(primer, PrimerCard | None)
    ):
        raise TypeError("a card is not of the kind it was read as")
    return Cards(slurry=slurry, topcoat=topcoat, aggregate=aggregate, primer=primer), []


def _beside_name(error: InputError, document: Document, kind: str, name: str) -> InputError:
    """A card that cannot be found is the job file's fault; one that is wrong, its own."""
    if error.line is not None:
        return error
    return InputError(
        error.problem,
        cure=error.cure,
        source=document.source,
        line=document.line(("materials", kind)),
        key=f"materials.{kind}",
        value=name,
    )


def _at_its_card(error: InputError, job: Job) -> InputError:
    """A fault of a card's values, at its line of the file that the job file names."""
    try:
        named = read_document(job.source, what=_WHAT).values.get("materials")
    except InputError:
        return error
    for kind in ("slurry", "topcoat", "primer"):
        name = named.get(kind) if isinstance(named, dict) else None
        if isinstance(name, str):
            error = in_card_file(error, name, folder=job.source.parent)
    return error


def at_its_card(ask: Callable[P, T]) -> Callable[P, T]:
    """What a model finds wrong with a card's values is told at the line of the card."""

    @wraps(ask)
    def asked(*args: P.args, **kwargs: P.kwargs) -> T:
        try:
            return ask(*args, **kwargs)
        except InputError as error:
            job = args[0]
            raise (_at_its_card(error, job) if isinstance(job, Job) else error) from None

    return asked


def against_cards(written: JobFile, cards: Cards) -> list[Fault]:
    """What a job asks of its materials and their cards do not allow."""
    coldest_c = cards.slurry.coldest_liquids_c
    too_many = _too_many(written, cards)
    if written.materials.iced_c >= coldest_c:
        return too_many
    return [
        Fault(
            path=("materials", "iced"),
            problem=f"this is colder than the {coldest_c:g} C its slurry card allows",
            cure="plan for warmer liquids",
        ),
        *too_many,
    ]


def _too_many(written: JobFile, cards: Cards) -> list[Fault]:
    """More buckets than one plan holds."""
    named, slurry = written.materials, cards.slurry
    thickness_m = slurry.thickness_m if named.thickness_m is None else named.thickness_m
    deep_m = (thickness_m + named.profile_allowance_m) * (1 + named.waste)
    buckets = 0.0
    for number, room in enumerate(written.rooms[:MOST_ROOMS]):
        buckets += ring_area_m2(room.corners_m) * deep_m / slurry.mixed_yield_m3
        if buckets > MOST_BUCKETS and len(written.rooms) <= MOST_ROOMS:
            return [
                Fault(
                    path=("rooms", number, "outline" if room.outline_m else "length"),
                    problem=f"up to this room the job takes more than {MOST_BUCKETS} buckets",
                    cure="check the sizes, or write a job file for each part",
                )
            ]
    return []
