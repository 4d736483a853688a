"""One reading, and what the lines of one batch tell each other."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from cureplan.errors import InputError
from cureplan.job.readings_table import Line

__all__ = ["PLACES", "Context", "Reading", "shared_among_batches"]

PLACES = ("liquids", "filler", "air", "slab")
SAME_K = 0.06
"""Two cells that say one temperature in °F and °C may differ by this much."""

Context = tuple[Line, str, dict[str, float]]
"""A line of a named kit, the kit, and what the line says of its surroundings."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading in SI; NaN is what was not read."""

    source: str
    line: int
    kind: str
    batch: str
    milestone: str
    after_s: float
    temp_c: float
    humidity_frac: float
    mass_kg: float
    liquids_c: float
    filler_c: float
    air_c: float
    slab_c: float
    poured_s: float
    note: str

    def fault(self, column: str, problem: str, cure: str) -> InputError:
        """A refusal of this reading."""
        return InputError(problem, cure=cure, source=self.source, line=self.line, key=column)


def shared_among_batches(rows: Sequence[Reading], context: Sequence[Context]) -> list[Reading]:
    """Fill in what another line of the same kit says, and refuse what then still lacks.

    Parameters
    ----------
    rows : sequence of Reading
        As written.
    context : sequence of Context
        What each line of a named kit says of it, lines without a reading among them.

    Returns
    -------
    list of Reading

    Raises
    ------
    InputError
        Two lines of a kit contradict each other, or a reading lacks what it needs.
    """
    shared = _shared(context)
    filled = [_filled(row, shared) for row in rows]
    for row in filled:
        _check_whole(row)
    return filled


def _shared(context: Sequence[Context]) -> dict[str, dict[str, float]]:
    """What is known of each kit, from whichever of its lines says it."""
    shared: dict[str, dict[str, float]] = {}
    for line, batch, known in context:
        kit = shared.setdefault(batch, {})
        for name, value in known.items():
            if math.isnan(value):
                continue
            if abs(kit.setdefault(name, value) - value) > SAME_K:
                column = name.replace("poured_s", "poured_min")
                raise line.fault(
                    column if column in line.cells else column.replace("_c", "_f"),
                    f'another line of batch "{batch}" says otherwise',
                    "mend one, or give each kit its own batch name",
                )
    return shared


def _filled(row: Reading, shared: Mapping[str, Mapping[str, float]]) -> Reading:
    if row.kind not in ("bucket", "probe"):
        return row
    known = shared.get(row.batch, {})

    def either(own: float, name: str) -> float:
        return known.get(name, own) if math.isnan(own) else own

    return replace(
        row,
        liquids_c=either(row.liquids_c, "liquids_c"),
        filler_c=either(row.filler_c, "filler_c"),
        air_c=either(row.air_c, "air_c"),
        slab_c=either(row.slab_c, "slab_c"),
        poured_s=either(row.poured_s, "poured_s"),
    )


def _check_whole(row: Reading) -> None:
    """What no single cell can show."""
    if row.kind in ("sheet", "cup"):
        if math.isnan(row.temp_c):
            raise row.fault("temp", "it is empty", f"write the {row.kind}'s temperature")
        return
    if row.kind == "probe" and not row.batch:
        raise row.fault("batch", "it is empty", "name the kit the thermometer stood in")
    if row.kind == "bucket" and math.isnan(row.slab_c):
        raise row.fault("slab", "it is empty", "write the slab's temperature under it")
    if row.kind == "probe" and math.isnan(row.liquids_c):
        raise row.fault("liquids", "it is empty", "write the liquids' temperature")
    if row.kind == "probe" and math.isnan(row.filler_c):
        raise row.fault("filler", "it is empty", "write the filler's temperature")
    parts = not math.isnan(row.liquids_c) and not math.isnan(row.filler_c)
    if not parts and math.isnan(row.temp_c):
        raise row.fault(
            "temp", "it is empty", "write the mixed temperature, or liquids and filler"
        )
