"""Working-time and recoat scheduler, driven by temperature, for fast-setting kitchen floors.

Fifteen lines read a job, change a slab's temperature, plan, tabulate and plot::

    job = cureplan.read_job("job.toml").with_slab("Cook line", "88 F")
    plan = cureplan.make_plan(job, now=datetime.now(timezone.utc))
    table = plan.buckets.to_frame()
    cureplan.plot_rooms(plan)

Every name below is loaded when it is first used, so that the import itself is instant.
"""

from __future__ import annotations

# As `typing` has it, which takes longer to import than all of this: until `__main__` runs,
# Ctrl-C is Python's own to tell of.
TYPE_CHECKING = False
if TYPE_CHECKING:
    from cureplan.api import (
        compare,
        demo_job_path,
        fit_card,
        get_weather,
        make_plan,
        read_job,
        read_plan,
        replan,
        write_sheets,
    )
    from cureplan.core.errors import (
        CurePlanError,
        InputError,
        NoFeasiblePlanError,
        OutOfRangeError,
        OutputError,
        QuantityError,
        WeatherUnavailableError,
    )
    from cureplan.inputs.job.edits import check_job
    from cureplan.inputs.job.model import Job
    from cureplan.output.charts.plots import (
        plot_buckets,
        plot_fit,
        plot_rooms,
        plot_temperatures,
        plot_weather,
        plot_windows,
    )
    from cureplan.planning.plan.model import Plan

__version__ = "0.1.0"

_HOMES = {
    "cureplan.api": (
        "compare", "demo_job_path", "fit_card", "get_weather", "make_plan", "read_job",
        "read_plan", "replan", "write_sheets",
    ),
    "cureplan.core.errors": (
        "CurePlanError", "InputError", "NoFeasiblePlanError", "OutOfRangeError", "OutputError",
        "QuantityError", "WeatherUnavailableError",
    ),
    "cureplan.inputs.job.edits": ("check_job",),
    "cureplan.inputs.job.model": ("Job",),
    "cureplan.output.charts.plots": (
        "plot_buckets", "plot_fit", "plot_rooms", "plot_temperatures", "plot_weather",
        "plot_windows",
    ),
    "cureplan.planning.plan.model": ("Plan",),
}  # fmt: skip

__all__ = [
    "CurePlanError",
    "InputError",
    "Job",
    "NoFeasiblePlanError",
    "OutOfRangeError",
    "OutputError",
    "Plan",
    "QuantityError",
    "WeatherUnavailableError",
    "__version__",
    "check_job",
    "compare",
    "demo_job_path",
    "fit_card",
    "get_weather",
    "make_plan",
    "plot_buckets",
    "plot_fit",
    "plot_rooms",
    "plot_temperatures",
    "plot_weather",
    "plot_windows",
    "read_job",
    "read_plan",
    "replan",
    "write_sheets",
]


def __getattr__(name: str) -> object:
    from importlib import import_module

    for home, names in _HOMES.items():
        if name in names:
            return getattr(import_module(home), name)
    raise AttributeError(f"module 'cureplan' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted(__all__)
