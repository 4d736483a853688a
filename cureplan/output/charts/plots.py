"""Charts for a notebook: each takes matplotlib axes, or makes some, and returns them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from cureplan.core.errors import InputError
from cureplan.inputs.job.model import Job
from cureplan.output.view.view import voice_of
from cureplan.planning.plan.model import Plan

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from cureplan.science.learning.model import CardFit
    from cureplan.weather.hours.series import HourlySeries

__all__ = [
    "plot_buckets",
    "plot_fit",
    "plot_rooms",
    "plot_temperatures",
    "plot_weather",
    "plot_windows",
]


def _axes(ax: Axes | None, *, height_in: float = 3.6) -> Axes:
    if ax is not None:
        return ax
    from matplotlib import pyplot as plt

    _, made = plt.subplots(figsize=(9.0, height_in), layout="constrained")
    return made


def plot_rooms(plan: Plan, *, ax: Axes | None = None) -> Axes:
    """Each floor through the job: pours, setting, coats, opening.

    Not for one room's buckets: see `plot_buckets`. The axes lose their own scales;
    times are by the site's clock.

    Parameters
    ----------
    plan : Plan
        From `make_plan`, `replan` or `read_plan`.
    ax : matplotlib Axes, optional
        Drawn on; a new figure's if left out.

    Returns
    -------
    matplotlib Axes

    Examples
    --------
    >>> from dataclasses import replace
    >>> from datetime import datetime, timezone
    >>> import cureplan
    >>> from matplotlib.figure import Figure
    >>> job = cureplan.read_job(cureplan.demo_job_path("school-kitchen"))
    >>> job = replace(job, rooms=(job.room("Corridor"),))
    >>> plan = cureplan.make_plan(job, now=datetime(2013, 7, 17, 12, tzinfo=timezone.utc))
    >>> ax = Figure().add_subplot()
    >>> plot_rooms(plan, ax=ax) is ax
    True
    """
    return _of_job(plan, "picture.rooms", ax)


def plot_windows(plan: Plan, *, ax: Axes | None = None) -> Axes:
    """When each topcoat may go on, and when it does; as `plot_rooms`."""
    return _of_job(plan, "picture.windows", ax)


def plot_temperatures(plan: Plan, *, ax: Axes | None = None) -> Axes:
    """Outdoor air, rooms and slabs through the job, in the job's own unit; as `plot_rooms`."""
    return _of_job(plan, "picture.temps", ax)


def _of_job(plan: Plan, title: str, ax: Axes | None) -> Axes:
    from cureplan.output.charts.drawing import job_pictures
    from cureplan.output.charts.pages import paint_picture

    voice = voice_of(plan)
    wanted = voice.label(title)
    for picture in job_pictures(plan, voice):
        if picture.title == wanted:
            return paint_picture(_axes(ax), picture)
    raise InputError("the plan has nothing to show here", cure="plot another chart")


def plot_buckets(plan: Plan, room: str, *, ax: Axes | None = None) -> Axes:
    """Each bucket's three clocks from its filler on [min], and what must beat them.

    Raises
    ------
    InputError
        The plan has no such room.
    """
    from cureplan.output.charts.drawing import bucket_picture
    from cureplan.output.charts.pages import paint_picture

    rows = len(plan.buckets_of(room))
    if not rows:
        known = ", ".join(one.room for one in plan.rooms)
        raise InputError(
            "the plan has no such room", cure=f"rooms are {known}", key="room", value=room
        )
    axes = _axes(ax, height_in=1.4 + 0.22 * rows)
    return paint_picture(axes, bucket_picture(plan, room, voice_of(plan)))


def plot_weather(job: Job, weather: HourlySeries, *, ax: Axes | None = None) -> Axes:
    """A job's weather, rooms and slabs hour by hour, and which source each hour has.

    Not for long series: only the hours of the job are shown.
    """
    from cureplan.output.charts.weather_picture import draw_weather
    from cureplan.planning.floor.weather_hours import weather_hours

    return draw_weather(_axes(ax), job, weather_hours(job, weather))


def plot_fit(fit: CardFit, *, ax: Axes | None = None) -> Axes:
    """Minutes against temperature, on a logarithmic scale, with what was measured."""
    from cureplan.output.charts.fit_picture import draw_fit

    return draw_fit(_axes(ax), fit)
