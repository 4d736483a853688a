"""Rows of a fit: the card's own points, and what a crew watched."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from cureplan.errors import InputError
from cureplan.job.card_model import SlurryCard, TopcoatCard
from cureplan.job.reading import Reading
from cureplan.physics.fit_ritual import POURED, PROBE, STANDING, STEADY, ReadingRows
from cureplan.planning.clocks import CLOSING_MILESTONES

__all__ = ["BATCH_SHARE", "Row", "RowMaker", "as_arrays", "batch_numbers"]

BATCH_SHARE = 0.75
"""Share of the scatter's variance that all readings of one batch have in common; the
rest is watching and judging an end by eye: invented."""
GENERIC_POINT_SD = 0.25
"""What each time of a generic card is off by itself, 1 SD of ln(time): invented."""
THERMOMETER_SD_K = 0.5
"""A probe and where it was held: invented."""
CARD, SHEET = 0, 1
"""Which points share one error: the card's, and those of a data sheet."""
LATE_AGES = 1.5
"""A cup in the air is taken to have the air's temperature for milestones later than this
many working times: the heat it gives off is known only up to the first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One row before it becomes part of an array."""

    kind: int
    observed: float
    sd: float
    milestone: int = -1
    temp_c: float = math.nan
    liquids_c: float = math.nan
    filler_c: float = math.nan
    air_c: float = math.nan
    slab_c: float = math.nan
    haul_s: float = math.nan
    mass_share: float = math.nan
    humidity_frac: float = math.nan
    batch: int = -1
    common: int = -1
    reading: int = -1
    """Which reading it comes from; -1 for the card's own."""


def batch_numbers(readings: Sequence[Reading]) -> tuple[tuple[str, ...], list[int]]:
    """Batches that were read more than once, and which of them each reading is of.

    A batch read once needs no speed of its own: its scatter holds it.

    Parameters
    ----------
    readings : sequence of Reading
        What was watched.

    Returns
    -------
    names : tuple of str
    numbers : list of int
        One per reading; -1 for none.
    """
    labels = [_label(reading) for reading in readings]
    rows = Counter(labels)
    probed = {
        label
        for label, reading in zip(labels, readings, strict=True)
        if reading.kind == "probe" or not math.isnan(_mixed_c(reading))
    }
    names = tuple(
        label
        for label in dict.fromkeys(labels)
        if label and (rows[label] > 1 or label in probed)
    )
    return names, [names.index(label) if label in names else -1 for label in labels]


def _mixed_c(reading: Reading) -> float:
    """What a bucket read right after mixing; NaN if nobody held a probe in."""
    return reading.temp_c if reading.kind == "bucket" else math.nan


def _label(reading: Reading) -> str:
    if reading.kind == "sheet":
        return ""
    if reading.batch:
        return reading.batch
    return "" if math.isnan(_mixed_c(reading)) else f"line {reading.line}"


@dataclass(frozen=True, slots=True, kw_only=True)
class RowMaker:
    """Makes the rows of one card."""

    card: SlurryCard | TopcoatCard

    @property
    def names(self) -> tuple[str, ...]:
        """Milestones in the card's order."""
        return tuple(self.card.milestones)

    def of_card(self) -> Iterator[Row]:
        """The card's own points; waiting times by their later end, closing by the sooner."""
        for number, milestone in enumerate(self.card.milestones.values()):
            mixed = isinstance(self.card, SlurryCard) and milestone.clock_starts == "mixed"
            mixed_s = self.card.filler_mix_s if mixed else 0.0  # type: ignore[union-attr]
            sd = milestone.spread_frac
            for point in milestone.points:
                closes = milestone.name in CLOSING_MILESTONES
                after_s = mixed_s + (point.after_s if closes else point.after_late_s)
                yield replace(
                    self.steady_ritual(point.at_c, number),
                    observed=math.log(after_s),
                    sd=max(sd, GENERIC_POINT_SD) if self.card.generic else sd,
                    humidity_frac=_nan(point.humidity_frac),
                    common=CARD,
                )

    def steady_ritual(self, at_c: float, milestone: int) -> Row:
        """A row with everything at one temperature, as a data sheet means it."""
        if not isinstance(self.card, SlurryCard):
            return Row(kind=STEADY, observed=0.0, sd=1.0, milestone=milestone, temp_c=at_c)
        return Row(
            kind=POURED,
            observed=0.0,
            sd=1.0,
            milestone=milestone,
            liquids_c=at_c,
            filler_c=at_c,
            air_c=at_c,
            slab_c=at_c,
            haul_s=self.card.reference_haul_s,
        )

    def of_readings(self, readings: Sequence[Reading], batches: Sequence[int]) -> Iterator[Row]:
        """Rows of readings; a bucket whose mixed temperature was read gives two.

        Raises
        ------
        InputError
            A reading cannot be of this card.
        """
        seen: set[tuple[int, float]] = set()
        for number, (reading, batch) in enumerate(zip(readings, batches, strict=True)):
            row = replace(self._of(reading), reading=number, batch=batch)
            if row.kind != PROBE:
                share = 1.0 - BATCH_SHARE if batch >= 0 else 1.0
                spread = self.card.milestones[reading.milestone].spread_frac
                row = replace(
                    row,
                    milestone=self.names.index(reading.milestone),
                    observed=math.log(reading.after_s),
                    sd=math.sqrt(share) * spread,
                    humidity_frac=reading.humidity_frac,
                )
            yield row
            mixed = (batch, _mixed_c(reading))
            if not math.isnan(mixed[1]) and mixed not in seen:
                seen.add(mixed)
                yield replace(row, kind=PROBE, observed=reading.temp_c, sd=THERMOMETER_SD_K,
                              haul_s=0.0, milestone=-1)  # fmt: skip

    def _of(self, reading: Reading) -> Row:
        if reading.kind == "sheet":
            return replace(self.steady_ritual(reading.temp_c, 0), common=SHEET)
        if reading.kind == "cup":
            return self._cup(reading)
        if not isinstance(self.card, SlurryCard):
            raise reading.fault(
                "kind", f"a topcoat is mixed in no {reading.kind}", "call it a cup or a sheet"
            )
        return self._kit(reading, self.card)

    def _cup(self, reading: Reading) -> Row:
        air_c = reading.temp_c if math.isnan(reading.air_c) else reading.air_c
        if math.isnan(reading.mass_kg) or not isinstance(self.card, SlurryCard):
            return Row(kind=STEADY, observed=0.0, sd=1.0, temp_c=reading.temp_c)
        if reading.after_s > LATE_AGES * self._working_s(air_c):
            return Row(kind=STEADY, observed=0.0, sd=1.0, temp_c=air_c)
        return Row(
            kind=STANDING,
            observed=0.0,
            sd=1.0,
            temp_c=reading.temp_c,
            air_c=air_c,
            mass_share=reading.mass_kg / self.card.kit_mass_kg,
        )

    def _working_s(self, at_c: float) -> float:
        """Roughly, the card's working time; twice as fast per 10 °C will do here."""
        point = self.card.milestones["working_time"].points[0]
        return point.after_s * float(2.0 ** ((point.at_c - at_c) / 10.0))

    def _kit(self, reading: Reading, card: SlurryCard) -> Row:
        parts = [reading.liquids_c, reading.filler_c]
        read = [temp_c for temp_c in parts if not math.isnan(temp_c)]
        liquids_c, filler_c = (reading.temp_c if math.isnan(t) else t for t in parts)
        if len(read) < 2 and math.isnan(reading.temp_c):
            raise reading.fault(
                "temp", "it is empty", "write the mixed temperature, or liquids and filler"
            )
        row = Row(
            kind=POURED,
            observed=0.0,
            sd=1.0,
            liquids_c=liquids_c,
            filler_c=filler_c,
            air_c=filler_c if math.isnan(reading.air_c) else reading.air_c,
            slab_c=reading.slab_c,
            haul_s=self._haul_s(reading, card),
        )
        if reading.kind == "bucket":
            return row
        if 0.0 < reading.after_s < card.filler_mix_s - 1.0:
            raise reading.fault(
                "minutes",
                "the filler is still being mixed then",
                f"read it at 0 min or from {card.filler_mix_s / 60:g} min on",
            )
        after_mixing_s = max(reading.after_s - card.filler_mix_s, 0.0)
        return replace(
            row,
            kind=PROBE,
            observed=reading.temp_c,
            sd=THERMOMETER_SD_K,
            slab_c=math.nan,
            haul_s=math.nan if reading.after_s == 0.0 else after_mixing_s,
        )

    @staticmethod
    def _haul_s(reading: Reading, card: SlurryCard) -> float:
        if math.isnan(reading.poured_s):
            return card.reference_haul_s
        if reading.poured_s < card.filler_mix_s:
            raise InputError(
                "it was poured before its filler was mixed",
                cure=f"count from filler-in; the card mixes {card.filler_mix_s / 60:g} min",
                source=reading.source,
                line=reading.line,
                key="poured_min",
                value=f"{reading.poured_s / 60:g}",
            )
        return max(reading.poured_s - card.filler_mix_s, 1.0)


def _nan(value: float | None) -> float:
    return math.nan if value is None else value


def as_arrays(rows: Sequence[Row], humidity_ref: float) -> ReadingRows:
    """Rows side by side; humidity is counted from a reference, unknown as the reference."""

    def column(name: str) -> np.ndarray:
        return np.array([getattr(row, name) for row in rows], dtype=np.float64)

    def whole(name: str) -> np.ndarray:
        return np.array([getattr(row, name) for row in rows], dtype=np.int64)

    return ReadingRows(
        kind=whole("kind"),
        milestone=whole("milestone"),
        temp_c=column("temp_c"),
        liquids_c=column("liquids_c"),
        filler_c=column("filler_c"),
        air_c=column("air_c"),
        slab_c=column("slab_c"),
        haul_s=np.maximum(column("haul_s"), 1e-3),
        mass_share=column("mass_share"),
        humidity_frac=np.nan_to_num(column("humidity_frac") - humidity_ref, nan=0.0),
        batch=whole("batch"),
        common=whole("common"),
    )
