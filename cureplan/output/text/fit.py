"""Fits, trials and past predictions in the terminal."""

from __future__ import annotations

import csv
import io
import json
import math
from collections.abc import Callable, Sequence
from dataclasses import asdict
from typing import Any, Literal

from cureplan.inputs.cards.model import SlurryCard
from cureplan.inputs.tables.record import PastScores, PredictionScore
from cureplan.output.language.clean import one_line
from cureplan.output.text.quick import MILESTONES
from cureplan.output.text.terminal import Column, table_lines
from cureplan.science.learning.model import CardFit, Estimate, ReadingFit
from cureplan.science.learning.report import fitted_card_text
from cureplan.science.learning.trial import TrialLine, trial_lines

__all__ = [
    "fit_json",
    "fit_text",
    "scores_text",
    "trial_csv",
    "trial_json",
]

WIDTH = 100


def scores_text(past: PastScores) -> str:
    """How predictions fared on finished jobs, as a small table."""
    named = [("all", past.overall), *past.milestones.items()]

    def column(title: str, cell: Callable[[PredictionScore], str]) -> Column:
        return Column(title=title, cells=tuple(cell(score) for _, score in named), right=True)

    rows = table_lines(
        [
            Column(
                title="Past predictions",
                cells=tuple(MILESTONES.get(name, name) for name, _ in named),
            ),
            column("Clocks", lambda score: str(score.count)),
            column("Off by", lambda score: _minutes(score.mean_miss_s)),
            column("Lasted", _bias),
            column("Inside", _inside),
        ],
        WIDTH,
    )
    jobs = "1 finished job" if past.jobs == 1 else f"{past.jobs} finished jobs"
    return "\n".join(
        [*rows, f"From {jobs}; intervals were to hold {past.holds_frac:.0%} of the time."]
    )


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.1f} min"


def _bias(score: PredictionScore) -> str:
    word = "longer" if score.mean_error_s >= 0 else "shorter"
    return f"{_minutes(abs(score.mean_error_s))} {word}"


def _inside(score: PredictionScore) -> str:
    return (
        f"{score.inside_frac:.0%} ({score.inside_low_frac:.0%} to {score.inside_high_frac:.0%})"
    )


FIT_WIDTH = 100
HOURS_FROM_S = 3 * 3600.0
_BALANCE = {
    "share": "Life used up per minute by the liquids alone, against the whole batch",
    "rise": "Heat rise of a bucket left standing until its working time ends",
}


def fit_text(fit: CardFit, *, past: PastScores | None = None) -> str:
    """What a fit found, in plain words: energy, times, doubt, and what does not fit."""
    kinds = ", ".join(f"{count} {kind}" for kind, count in fit.counts.items())
    lines = [
        f"{one_line(fit.before.title)}: fitted to {fit.counted} readings of "
        f"{one_line(fit.source)} ({kinds})",
        "",
        *_disagreeing(fit),
        *_energy(fit),
        "",
        *_times(fit),
        "",
        _spread(fit),
        *_balance(fit),
        _humidity(fit),
        "",
        *_table(fit),
        *_closing(fit),
    ]
    if past is not None:
        lines += ["", scores_text(past)]
    return "\n".join(lines)


def _disagreeing(fit: CardFit) -> list[str]:
    odd = [
        f"DISAGREES line {_line(fit, one)} ({_what(one)}): {_shown(one.observed)} where "
        f"{_shown(one.expected)} is expected, {abs(one.deleted_residual):.1f} deviations off. "
        f"It counts {100 * one.weight:.0f} % of a sound reading; without it: "
        f"{one.energy_without_j_mol / 1e3:.0f} kJ/mol."
        for one in fit.disagreeing
    ]
    odd += [
        f'DISAGREES batch "{one_line(one.batch)}": ran {one.speed:.2f} times as fast as the '
        f"rest, {abs(one.deleted_residual):.1f} deviations off."
        for one in fit.batches
        if one.disagrees
    ]
    if not odd:
        return []
    rule = (
        f"(Rule: further from what all others say than {fit.limit:.1f} standard deviations, "
        "which one sound file in twenty would pass."
    )
    robust = (
        " The loss is robust, squares up to 2.5 deviations and logarithmic beyond: what lies "
        "far off counts little. Check it, or strike it with --without LINE.)"
    )
    return [*odd, rule, robust, ""]


def _energy(fit: CardFit) -> list[str]:
    one, prior = fit.energy, fit.prior
    factor = math.exp(one.value / 8.314462618 * (1 / 293.15 - 1 / 303.15))
    kept = min(one.sd / prior.sd_j_mol, 1.0)
    return [
        f"Activation energy {one.value / 1e3:.1f} kJ/mol ({_share(fit)}: "
        f"{one.low / 1e3:.1f} to {one.high / 1e3:.1f}): {factor:.2f} times as fast at "
        "30 °C (86 °F) as at 20 °C (68 °F).",
        f"Before: {prior.mean_j_mol / 1e3:g} ± {prior.sd_j_mol / 1e3:g} kJ/mol; "
        f"{kept:.0%} of that doubt is left.",
    ]


def _times(fit: CardFit) -> list[str]:
    many = fit.milestones
    at = f"{fit.reference_c * 1.8 + 32:.0f} °F, {fit.reference_c:.1f} °C"
    start = "filler-in" if any(one.milestone == "wet_edge" for one in many) else "mixing"
    rows = table_lines(
        [
            Column(
                title=f"From {start} at {at}",
                cells=tuple(MILESTONES[one.milestone] for one in many),
            ),
            Column(
                title="Time", cells=tuple(_shown(one.time.value) for one in many), right=True
            ),
            Column(
                title=_share(fit), cells=tuple(_range(one.time) for one in many), right=True
            ),
            Column(title="Before", cells=tuple(_shown(one.was_s) for one in many), right=True),
            Column(
                title="Readings",
                cells=tuple(str(one.readings) if one.readings else "none" for one in many),
                right=True,
            ),
        ],
        FIT_WIDTH,
    )
    note = "Not read, moved with the rest: " + ", ".join(MILESTONES[n] for n in fit.unread)
    return [*rows, *([note] if fit.unread else [])]


def _spread(fit: CardFit) -> str:
    read = [one for one in fit.milestones if one.readings]
    widest = max(one.spread_frac for one in read)
    word = (
        "as the card says"
        if abs(fit.spread_factor - 1.0) < 0.05
        else (f"{fit.spread_factor:.2f} times the card's")
    )
    return (
        f"Scatter about the fit is {word}; with what the readings leave open, "
        f"the next batch is good to {widest:.0%} (1 SD)."
    )


def _balance(fit: CardFit) -> list[str]:
    lines = []
    for one in fit.balance:
        scale, unit = (100.0, " %") if one.name == "share" else (1.8, " °F")
        verdict = "put on the card" if one.pinned else "not pinned, so left as it was"
        lines.append(
            f"{_BALANCE[one.name]}: {one.found.value * scale:.1f}{unit} "
            f"({_share(fit)}: {one.found.low * scale:.1f} to {one.found.high * scale:.1f}; "
            f"before {one.was * scale:.1f}); {verdict}."
        )
    return lines


def _humidity(fit: CardFit) -> str:
    one = fit.humidity
    if one.slope is not None:
        change = math.expm1(one.slope.value * 0.1)
        word = "longer" if change > 0 else "shorter"
        return (
            f"Humidity: {abs(change):.0%} {word} per 10 points, counted from "
            f"{one.reference_frac:.0%}; put on the card as two points per milestone."
        )
    why = {
        "none read": "no humidity was read",
        "too alike": (
            f"the best group has {one.levels} levels over {one.span_frac:.0%} within 3 °C; "
            "3 levels over 20 points are wanted"
        ),
        "no effect seen": "the readings could show one, and do not",
    }[one.why]
    return f"Humidity factor: none; {why}."


def _table(fit: CardFit) -> list[str]:
    rows = sorted(
        fit.readings,
        key=lambda one: (
            one.reading.source != fit.source,
            one.reading.source,
            one.reading.line,
        ),
    )

    def column(title: str, cell: Callable[[ReadingFit], str]) -> Column:
        return Column(title=title, cells=tuple(cell(one) for one in rows), right=True)

    return table_lines(
        [
            column("Line", lambda one: _line(fit, one)),
            Column(title="Reading", cells=tuple(_what(one) for one in rows), shrinks=True),
            column("Watched", lambda one: _value(one, one.observed)),
            column("Expected", lambda one: _value(one, one.expected)),
            column("Off by", _off),
        ],
        FIT_WIDTH,
    )


def _closing(fit: CardFit) -> list[str]:
    lines = []
    more = fit.measure_next
    lines.append(
        f"Measure next: {MILESTONES[more.milestone]} near {more.at_c * 1.8 + 32:.0f} °F "
        f"({more.at_c:.0f} °C). It would help most: from 10 to 33 °C times are good to "
        f"{more.sd_frac:.1%} now (1 SD), to {more.sd_then_frac:.1%} then."
    )
    if fit.known:
        lines.append(
            f"On the card already, not counted again: {fit.known} "
            f"{'reading' if fit.known == 1 else 'readings'}. One that was measured anew wants "
            "a batch name of its own."
        )
    if fit.blank:
        lines.append(
            "Left aside, nothing filled in: line " + ", ".join(str(line) for line in fit.blank)
        )
    if fit.excluded:
        lines.append("Left out: line " + ", ".join(str(line) for line in fit.excluded))
    if fit.card.generic:
        lines.append("Still a generic card: some milestones have no reading of your own.")
    return lines


def _line(fit: CardFit, one: ReadingFit) -> str:
    """Its line in the file; a finished job's readings stand elsewhere."""
    return str(one.reading.line) if one.reading.source == fit.source else "record"


def _what(one: ReadingFit) -> str:
    reading = one.reading
    batch = f" {one_line(reading.batch)}" if reading.batch else ""
    name = MILESTONES.get(reading.milestone, f"at {reading.after_s / 60:g} min")
    return f"{reading.kind}{batch}, {name}"


def _value(one: ReadingFit, value: float) -> str:
    return f"{value * 1.8 + 32:.1f} °F" if one.reading.kind == "probe" else _shown(value)


def _off(one: ReadingFit) -> str:
    if one.reading.kind == "probe":
        return f"{(one.observed - one.expected) * 1.8:+.1f} °F"
    return f"{one.observed / one.expected - 1.0:+.0%}"


def _shown(seconds: float) -> str:
    if abs(seconds) >= HOURS_FROM_S:
        return f"{seconds / 3600:.1f} h"
    return f"{seconds / 60:.1f} min"


def _range(one: Estimate) -> str:
    unit_s, unit = (3600.0, "h") if one.value >= HOURS_FROM_S else (60.0, "min")
    return f"{one.low / unit_s:.1f} to {one.high / unit_s:.1f} {unit}"


def _share(fit: CardFit) -> str:
    return f"{fit.share * 10:.0f} in 10"


def fit_json(fit: CardFit, *, past: PastScores | None = None) -> str:
    """The same as JSON: SI and °C; what was not read is null."""
    data: dict[str, Any] = {
        "card": fit.before.key,
        "source": fit.source,
        "digest": fit.digest,
        "fitted_on": fit.fitted_on.isoformat(),
        "readings_used": fit.counted,
        "readings_known": fit.known,
        "measure_next": asdict(fit.measure_next),
        "blank": list(fit.blank),
        "excluded": list(fit.excluded),
        "share": fit.share,
        "reference_c": fit.reference_c,
        "activation_energy_j_mol": asdict(fit.energy),
        "prior": asdict(fit.prior),
        "spread_factor": fit.spread_factor,
        "freedom": fit.freedom,
        "disagreement_limit": fit.limit,
        "milestones": _dicts(fit.milestones),
        "readings": _dicts(fit.readings),
        "batches": _dicts(fit.batches),
        "balance": _dicts(fit.balance),
        "humidity": asdict(fit.humidity),
        "curves": _dicts(fit.curves),
        "generic": fit.card.generic,
        "new_card": fitted_card_text(fit),
        "past": None if past is None else asdict(past),
    }
    return json.dumps(_plain(data), indent=2, ensure_ascii=False, allow_nan=False)


def _dicts(items: Sequence[Any]) -> list[dict[str, Any]]:
    return [asdict(item) for item in items]


def _plain(data: Any) -> Any:
    """NaN and infinity, which JSON lacks, as null."""
    if isinstance(data, dict):
        return {key: _plain(value) for key, value in data.items()}
    if isinstance(data, list | tuple):
        return [_plain(value) for value in data]
    if isinstance(data, float) and not math.isfinite(data):
        return None
    return data


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
    """What to measure, as a CSV with empty cells and the way to go about it on top."""
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
    from cureplan.core.quantities import format_length
    from cureplan.output.language.clean import one_line

    return _HOW.format(
        title=one_line(card.title),
        key=one_line(card.key),
        liquids=card.liquids_mix_s / 60.0,
        filler=card.filler_mix_s / 60.0,
        thickness=format_length(card.thickness_m, units),
    )
