"""The whole way in four calls: read_job, obtain weather, make_plan, write_sheets.

Examples
--------
>>> from datetime import datetime, timezone
>>> from cureplan.api import demo_job_path, make_plan, read_job
>>> job = read_job(demo_job_path())
>>> plan = make_plan(job, now=datetime(2013, 7, 17, 12, tzinfo=timezone.utc))
>>> plan.status
'within policy'
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from cureplan.core.clock import require_aware
from cureplan.core.errors import NoFeasiblePlanError, WeatherUnavailableError
from cureplan.inputs.job.model import Job
from cureplan.inputs.job.reader import read_job

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from cureplan.core.messages import Message
    from cureplan.planning.floor.pour import RoomPours
    from cureplan.planning.plan.model import Plan
    from cureplan.weather.hours.series import HourlySeries

__all__ = ["HISTORY_S", "demo_job_path", "job_weather", "make_plan", "read_job"]

HISTORY_S = 5 * 86_400.0
"""Weather wanted before the job, to spin the slab up: invented, some eight of a
150 mm slab's time constants."""


def demo_job_path() -> Path:
    """The demo's job file, as it travels with the package."""
    from importlib.resources import files

    return Path(str(files("cureplan") / "demo_data" / "school-kitchen.toml"))


def job_weather(job: Job, *, now: datetime) -> HourlySeries:
    """The hourly weather a job asks for, history and job hours covered.

    Parameters
    ----------
    job : Job
        Its `weather` says where from.
    now : datetime
        Aware; decides how old a forecast is.

    Returns
    -------
    HourlySeries

    Raises
    ------
    InputError
        The file is wrong or does not cover the job.
    WeatherUnavailableError
        Nothing that covers the job could be had.
    """
    require_aware(now, name="now")
    source = job.weather.source
    if source == "file":
        from cureplan.weather.hours.csv_file import read_weather_csv_for
        from cureplan.weather.hours.plausible import Place
        from cureplan.weather.kept import age_warnings

        if job.weather.file is None:
            raise AssertionError('the reader refuses source = "file" without a file')
        series = read_weather_csv_for(
            job.weather.file,
            starts=job.access.begins.astimezone(job.site.zone),
            ends=job.access.open_by.astimezone(job.site.zone),
            history_s=HISTORY_S,
            place=Place(
                zone=job.site.zone,
                latitude_deg=job.site.latitude_deg,
                longitude_deg=job.site.longitude_deg,
                elevation_m=job.site.elevation_m,
            ),
            now=now,
        )
        aged = age_warnings(
            series,
            job.access.begins,
            job.access.open_by,
            now=now,
            max_age_s=job.weather.max_age_s,
        )
        return replace(series, warnings=(*series.warnings, *aged))
    from cureplan.weather.kept import default_store_folder
    from cureplan.weather.obtain import obtain_weather

    return obtain_weather(
        door=source,
        latitude_deg=job.site.latitude_deg,
        longitude_deg=job.site.longitude_deg,
        elevation_m=job.site.elevation_m,
        starts=job.access.begins,
        ends=job.access.open_by,
        history_s=HISTORY_S,
        max_age_s=job.weather.max_age_s,
        now=now,
        contact=job.weather.contact,
        store_folder=default_store_folder(),
    )


def make_plan(
    job: Job,
    *,
    now: datetime,
    weather: HourlySeries | None = None,
    pours: Mapping[str, RoomPours] | None = None,
    progress: Callable[[str], None] | None = None,
    what_helps: bool = True,
    shown: Callable[[Plan], None] | None = None,
) -> Plan:
    """Plan a job: order and start, ice or not, the way back.

    Parameters
    ----------
    job : Job
        What is to be done, from `read_job`.
    now : datetime
        Aware; when the plan is made.
    weather : HourlySeries, optional
        Weather to plan on instead of what the job names.
    pours : mapping, optional
        Rooms made ready already, on that weather.
    progress : callable, optional
        Told in a few words what the search has found.
    what_helps : bool
        Whether to look for what would mend a plan that falls short: some seconds.
    shown : callable, optional
        Given the plan as soon as it is made, before anybody looks for what would help.

    Returns
    -------
    Plan
        Its `status` says whether it keeps the job's policy.

    Raises
    ------
    NoFeasiblePlanError
        No order and start keeps every hard limit; the message names the nearest miss.
    """
    from cureplan.inputs.tables.record import scores_of_job
    from cureplan.judge import require_confirmed
    from cureplan.planning.floor.weather_hours import known_range
    from cureplan.planning.odds.risk import assess, known_until
    from cureplan.planning.plan.assemble import assemble, with_help
    from cureplan.planning.schedule.construct import construct, look_for_help, prepare_pours
    from cureplan.planning.schedule.floor_model import Tables
    from cureplan.planning.schedule.relax import explain

    require_aware(now, name="now")
    past = scores_of_job(job)
    series = weather if weather is not None else job_weather(job, now=now)
    series = known_range(series, job.access.begins)
    missing = series.missing_hours(job.access.begins, job.access.open_by)
    if missing:
        raise WeatherUnavailableError(
            f"the weather given lacks {len(missing)} h of the job, from "
            f"{missing[0]:%Y-%m-%d %H:%M} UTC; give weather that reaches from access to opening"
        )
    rooms = prepare_pours(job, series) if pours is None else pours
    tables = Tables(pours=rooms)
    schedule = construct(job, rooms, progress=progress, tables=tables)
    if schedule.failures:
        if what_helps and not schedule.stopped:
            schedule = look_for_help(job, tables, schedule, progress=progress)
        raise NoFeasiblePlanError(
            _in_words(job, explain(schedule, job, known_until=series.ends))
        )
    issued_s = known_until(job, now_s=now.timestamp())
    odds = assess(job, rooms, schedule, issued_s=issued_s)
    plan = assemble(job, series, rooms, schedule, odds, made_at=now, past=past)
    require_confirmed(plan)
    if shown is not None:
        shown(plan)
    if schedule.keeps_policy or schedule.stopped or not what_helps:
        return plan
    return with_help(plan, look_for_help(job, tables, schedule, progress=progress))


def cannot_alone(job: Job, weather: HourlySeries) -> tuple[Message, ...]:
    """What rooms cannot do even by themselves on some weather; nothing on patchy weather."""
    from cureplan.planning.floor.weather_hours import known_range
    from cureplan.planning.schedule.conflict import alone
    from cureplan.planning.schedule.construct import prepare_pours
    from cureplan.planning.schedule.floor_model import Tables

    if weather.missing_hours(job.access.begins, job.access.open_by):
        return ()
    series = known_range(weather, job.access.begins)
    found = alone(job, Tables(pours=prepare_pours(job, series)))
    return tuple(say for failure in found for say in failure.says)


def _in_words(job: Job, sentences: Iterable[Message]) -> str:
    """Sentences as one line, in the job's first language."""
    from cureplan.output.language import Voice

    voice = Voice(language=job.languages[0], display=job.display, zone=job.site.zone)
    return " ".join(voice.say(sentence) for sentence in sentences)
