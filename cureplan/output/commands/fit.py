"""``cureplan fit`` and ``cureplan trial``: learn a card from what a crew measured."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cureplan.core.errors import InputError, harmless
from cureplan.output.commands.common import print_text, records_in

if TYPE_CHECKING:
    from cureplan.inputs.tables.readings import Reading

__all__ = ["fit", "trial"]

AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")]


def fit(
    card: Annotated[
        str, typer.Option("--card", metavar="CARD", help="A shipped card, or a path.")
    ],
    readings_file: Annotated[
        Path | None,
        typer.Argument(
            metavar="READINGS.csv", help="What was measured; may be left out with --records."
        ),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="NEW.toml", help="Write the new card here.")
    ] = None,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="FILE.png", help="Draw the fit.")
    ] = None,
    records: Annotated[
        Path | None,
        typer.Option("--records", metavar="FOLDER", help="Finished jobs to learn from too."),
    ] = None,
    without: Annotated[
        list[int] | None,
        typer.Option("--without", metavar="LINE", help="Strike a line; may be repeated."),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Write over a card or picture that stands already.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Learn a card from measurements: data-sheet points, trial cups, logged buckets.

    READINGS.csv has one line per reading and these columns, all but kind, milestone and
    minutes optional; a line that starts with # is a comment:

    \b
    kind       sheet   a data-sheet point
               cup     a trial cup (with mass_kg it heats up like one of that size,
                       without it kept the temperature given)
               bucket  a kit that was mixed, carried and poured, or a patch of it
               probe   a thermometer in the batch
    milestone  what ended or opened: wet_edge, working_time, ... as on the card
    minutes    (or hours) until then: slurries from filler-in, topcoats from mixing;
               probe: when it was read, 0 is the liquids just before the filler
    temp_f     (or temp_c) sheet and cup: the sample's; probe: what it read;
               bucket: the batch right after mixing, if it was read
    liquids_f, filler_f, air_f, slab_f  (or _c) of a bucket; lines of one batch share
               what stands on any of them
    poured_min a bucket: minutes from filler-in until it lay on the slab
    batch      name of the kit or lot: its readings run fast or slow together
    humidity_pct, mass_kg, note
    """
    from cureplan.core.writing import write_all
    from cureplan.inputs.cards.model import SlurryCard, TopcoatCard
    from cureplan.inputs.cards.reader import read_card
    from cureplan.inputs.tables.record import past_scores, read_records, readings_of
    from cureplan.output.text.fit import fit_json, fit_text
    from cureplan.science.learning.fitting import fit_card
    from cureplan.science.learning.report import fitted_card_text

    before = read_card(card)
    if not isinstance(before, (SlurryCard, TopcoatCard)):
        raise InputError(
            "this card has no clocks",
            cure="name a slurry or topcoat card",
            key="--card",
            value=card,
        )
    _refuse_targets(
        (Path(card), readings_file, *records_in(records)), out, picture, force=force
    )
    names = tuple(before.milestones)
    rows, blank = _read(readings_file, records, names)
    jobs = () if records is None else read_records(records)
    rows = (*rows, *readings_of(jobs, card=(before.key, before.product), milestones=names))
    if not rows:
        raise InputError(
            f"no record of {before.key} says what was watched",
            cure="name the card the jobs were planned with, or give a table of readings",
            source=records,
        )
    found = fit_card(
        before,
        rows,
        source=str(readings_file or records),
        fitted_on=date.today(),  # noqa: DTZ011
        blank=blank,
        without=tuple(without or ()),
    )
    written: dict[Path, str | bytes] = {}
    if out is not None:
        written[out] = fitted_card_text(found)
    if picture is not None:
        from cureplan.output.charts.fit_picture import fit_png

        written[picture] = fit_png(found)
    write_all(written)
    past = past_scores(jobs)
    shown = fit_json(found, past=past) if as_json else fit_text(found, past=past)
    print_text(shown, asked=as_json)
    if not as_json:
        for path in (out, picture):
            if path is not None:
                print_text(f"{harmless(path)} is written.")


def _refuse_targets(
    inputs: tuple[Path | None, ...],
    out: Path | None,
    picture: Path | None,
    *,
    force: bool,
) -> None:
    """Before anything is worked out: a card may hold a season's work."""
    from cureplan.core.writing import refuse_target

    for path, option in ((out, "--out"), (picture, "--picture")):
        if path is not None:
            refuse_target(path, option=option, inputs=inputs, force=force)
    if out is not None and picture is not None and out.resolve() == picture.resolve():
        raise InputError(
            "the card goes there", cure="choose another name", key="--picture", value=str(out)
        )


def _read(
    readings_file: Path | None, records: Path | None, names: tuple[str, ...]
) -> tuple[tuple[Reading, ...], tuple[int, ...]]:
    from cureplan.inputs.tables.readings import read_readings

    if readings_file is None:
        if records is None:
            raise InputError(
                "nothing to learn from",
                cure="name a table of readings, or finished jobs with --records",
                key="READINGS.csv",
            )
        return (), ()
    table = read_readings(readings_file, milestones=names)
    return table.rows, table.blank


def trial(
    card: Annotated[
        str, typer.Option("--card", metavar="CARD", help="A shipped slurry card, or a path.")
    ],
    celsius: Annotated[bool, typer.Option("--celsius", help="Columns in Celsius.")] = False,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="TRIAL.csv", help="Write it to a file.")
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Write over a file that stands already.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """What to measure on two kits, one iced, as a table to fill in; `fit` reads it back."""
    from cureplan.core.writing import refuse_target, write_atomically
    from cureplan.inputs.cards.model import SlurryCard
    from cureplan.inputs.cards.reader import read_card
    from cureplan.output.text.fit import trial_csv, trial_json

    if out is not None:
        refuse_target(out, option="--out", inputs=(Path(card),), force=force)
    before = read_card(card, kind="slurry")
    if not isinstance(before, SlurryCard):
        raise InputError("not a slurry card", cure="name one", key="--card", value=card)
    table = trial_csv(before, units="metric" if celsius else "us")
    if out is not None:
        write_atomically(out, table)
        named = harmless(out)
        print_text(f"{named} is written. Print it, fill it in, then: cureplan fit {named}")
        return
    print_text(trial_json(before) if as_json else table, asked=True)
