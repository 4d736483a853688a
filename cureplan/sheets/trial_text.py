"""The two-kit trial as a table to print, fill in, and fit."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import asdict
from typing import Literal

from cureplan.job.card_model import SlurryCard
from cureplan.planning.trial import TrialLine, trial_lines

__all__ = ["trial_csv", "trial_json"]

_HOW = """\
Trial of two kits of {title}, to learn how the batch heats itself and what ice buys.
You need: a thermometer that is quick to a degree, a watch, two kits, ice, and a piece of
the slab you will pour on.
 1. First kit as it stands in the store. Second kit: liquids two hours or more in ice water.
 2. Write down liquids, filler, air and slab of each kit just before it is stirred.
 3. Stir the liquids {liquids:g} min. Read their temperature (minute 0). Filler in: start
    the watch. Mix {filler:g} min.
 4. Read the batch at once. Spread a trowel of it on the slab, as thick as the floor
    ({thickness}), and write down when: poured_min counts from filler-in.
 5. Leave the rest in its bucket and read it twice more as listed. Do not lean over it:
    it gets hot and fumes. Dump it as soon as it is read.
 6. Watch the patch: write down the minutes from filler-in to each end.
What was not measured stays empty. One full line of liquids, filler, air, slab and
poured_min per kit is enough.
Then: cureplan fit THIS-FILE.csv --card {key} --out my-slurry.toml"""


def trial_csv(card: SlurryCard, *, units: Literal["us", "metric"]) -> str:
    """What to measure, as a CSV with empty cells and the way to go about it on top.

    Parameters
    ----------
    card : SlurryCard
        The card to be improved.
    units : {"us", "metric"}
        Columns in °F or °C.

    Returns
    -------
    str
        `read_readings` takes it once it is filled in.
    """
    unit = "f" if units == "us" else "c"
    around = [f"{what}_{unit}" for what in ("liquids", "filler", "air", "slab")]
    header = ["kind", "batch", "milestone", "minutes", f"temp_{unit}", *around]
    header += ["poured_min", "note"]
    out = io.StringIO()
    for words in _how(card, units).splitlines():
        out.write(f"# {words}".rstrip() + "\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(header)
    for line in trial_lines(card):
        writer.writerow([*_first_cells(line), *[""] * (len(around) + 2), line.note])
    return out.getvalue()


def trial_json(card: SlurryCard) -> str:
    """The same as JSON: one entry per line to fill in, minutes from filler-in."""
    lines = [asdict(line) for line in trial_lines(card)]
    return json.dumps({"card": card.key, "measure": lines}, indent=2, ensure_ascii=False)


def _first_cells(line: TrialLine) -> list[str]:
    minutes = "" if line.minutes is None else f"{line.minutes:g}"
    return [line.kind, line.batch, line.milestone, minutes]


def _how(card: SlurryCard, units: Literal["us", "metric"]) -> str:
    from cureplan.quantities import format_length
    from cureplan.sheets.words.clean import one_line

    return _HOW.format(
        title=one_line(card.title),
        key=one_line(card.key),
        liquids=card.liquids_mix_s / 60.0,
        filler=card.filler_mix_s / 60.0,
        thickness=format_length(card.thickness_m, units),
    )
