"""How past predictions fared, in plain words."""

from __future__ import annotations

from collections.abc import Callable

from cureplan.job.record_fares import Fares, PastFares
from cureplan.sheets.quick_text import MILESTONES
from cureplan.sheets.text_table import Column, table_lines

__all__ = ["fares_text"]

WIDTH = 100


def fares_text(past: PastFares) -> str:
    """How predictions fared on finished jobs, as a small table."""
    named = [("all", past.overall), *past.milestones.items()]

    def column(title: str, cell: Callable[[Fares], str]) -> Column:
        return Column(title=title, cells=tuple(cell(fares) for _, fares in named), right=True)

    rows = table_lines(
        [
            Column(
                title="Past predictions",
                cells=tuple(MILESTONES.get(name, name) for name, _ in named),
            ),
            column("Clocks", lambda fares: str(fares.count)),
            column("Off by", lambda fares: _minutes(fares.mean_miss_s)),
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


def _bias(fares: Fares) -> str:
    word = "longer" if fares.mean_error_s >= 0 else "shorter"
    return f"{_minutes(abs(fares.mean_error_s))} {word}"


def _inside(fares: Fares) -> str:
    return (
        f"{fares.inside_frac:.0%} ({fares.inside_low_frac:.0%} to {fares.inside_high_frac:.0%})"
    )
