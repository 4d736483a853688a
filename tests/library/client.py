"""What an engineer's own script might be, for mypy alone; .ci/run asks it, strictly.

`Any` anywhere in here would hide a hole in the shipped types; a call that should be
refused and is not leaves its ignore unused, which mypy tells.
"""

from datetime import UTC, datetime
from pathlib import Path
from typing import assert_type

from matplotlib.axes import Axes

import cureplan
from cureplan.planning.plan.model import BucketPlan


def night() -> None:
    job: cureplan.Job = cureplan.read_job(cureplan.demo_job_path("school-kitchen"))
    warmer = job.with_slab("Cook line", "90 F").with_crew(rake=2)
    warmer = warmer.with_start("2013-07-17T20:00")
    now = datetime(2013, 7, 16, tzinfo=UTC)
    weather = cureplan.get_weather(warmer, now=now)
    assert_type(float(weather.temp_c.max()), float)
    plan: cureplan.Plan = cureplan.make_plan(warmer, now=now, weather=weather)
    assert_type(plan, cureplan.Plan)
    assert_type(plan.buckets[0], BucketPlan)
    assert_type([bucket.margin_min for bucket in plan.buckets], list[float])
    plan.calls.to_frame()
    ax: Axes = cureplan.plot_rooms(plan)
    ax = cureplan.plot_buckets(plan, "Cook line", ax=ax)
    paths: tuple[Path, ...] = cureplan.write_sheets(plan, "night-plan")
    assert_type(
        cureplan.replan(cureplan.read_plan(paths[0]), "log.csv", now=now), cureplan.Plan
    )
    for row in cureplan.compare(warmer, "ice", "stations", now=now):
        assert_type(row.all_keep_frac, float | None)
    fit = cureplan.fit_card("fast-slurry", "readings.csv", fitted_on=now.date())
    cureplan.plot_fit(fit)
    try:
        cureplan.check_job(warmer)
    except cureplan.InputError as error:
        assert_type(error.key, str | None)


def refused() -> None:
    cureplan.read_job(7)  # type: ignore[arg-type]
    cureplan.make_plan("job.toml")  # type: ignore[arg-type, call-arg]
