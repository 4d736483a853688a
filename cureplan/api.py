"""The library: from a job file to a plan, its tables, pictures and files.

All of it is also reached as `cureplan.NAME`; nothing else is meant for other programs.

Examples
--------
>>> from dataclasses import replace
>>> from datetime import datetime, timezone
>>> import cureplan
>>> job = cureplan.read_job(cureplan.demo_job_path())
>>> job = replace(job, rooms=(job.room("Corridor"),)).with_slab("Corridor", "84 F")
>>> plan = cureplan.make_plan(job, now=datetime(2013, 7, 17, 12, tzinfo=timezone.utc))
>>> plan.status
'within policy'
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from cureplan.core.clock import require_aware
from cureplan.core.errors import InputError, NoFeasiblePlanError, WeatherUnavailableError
from cureplan.core.rows import Rows
from cureplan.inputs.job.model import Job
from cureplan.inputs.job.reader import at_its_card, read_job
from cureplan.planning.plan.read import read_plan

if TYPE_CHECKING:
    from cureplan.core.messages import Message
    from cureplan.inputs.tables.night_log import NightEvent
    from cureplan.planning.floor.pour import PourOption, RoomPours
    from cureplan.planning.plan.model import Plan
    from cureplan.planning.schedule.outcome import Schedule
    from cureplan.planning.studies.compare import ComparedRow, Variant
    from cureplan.science.learning.model import CardFit
    from cureplan.weather.hours.series import HourlySeries

__all__ = [
    "HISTORY_S",
    "compare",
    "compare_variants",
    "demo_job_path",
    "fit_card",
    "get_weather",
    "make_plan",
    "planned_row",
    "read_job",
    "read_plan",
    "replan",
    "write_sheets",
]

HISTORY_S = 5 * 86_400.0
"""Weather wanted before the job, to spin the slab up: invented, some eight of a
150 mm slab's time constants."""
NO_PLAN = "no order and start keeps every limit: "


def demo_job_path(name: Literal["corner-kitchen", "school-kitchen"] = "corner-kitchen") -> Path:
    """The demo's job file, or that of five plain rooms, as they travel with the package.

    Not for writing beside it: copy it first.

    Examples
    --------
    >>> demo_job_path().name
    'corner-kitchen.toml'
    """
    from importlib.resources import files

    return Path(str(files("cureplan") / "demo_data" / f"{name}.toml"))


def get_weather(job: Job, *, now: datetime) -> HourlySeries:
    """The hourly weather a job asks for, history and job hours covered.

    Not for past summers: `cureplan compare --seasons` reads those.

    Parameters
    ----------
    job : Job
        Its `weather` says where from: a file, or services that need a network.
    now : datetime
        Aware; decides how old a forecast is.

    Returns
    -------
    HourlySeries
        Arrays of shape (hours,): `epoch_s` [s], `temp_c` and `dew_c` [°C].

    Raises
    ------
    InputError
        The file is wrong or does not cover the job.
    WeatherUnavailableError
        Nothing that covers the job could be had.

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> job = read_job(demo_job_path())
    >>> weather = get_weather(job, now=datetime(2013, 7, 17, 12, tzinfo=timezone.utc))
    >>> float(weather.temp_c.max()) > 30
    True
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
        provider=source,
        latitude_deg=job.site.latitude_deg,
        longitude_deg=job.site.longitude_deg,
        elevation_m=job.site.elevation_m,
        starts=job.access.begins.astimezone(job.site.zone),
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
    progress: Callable[[str], None] | None = None,
    what_helps: bool = True,
    answered: Callable[[Plan], None] | None = None,
    shown: Callable[[Plan], None] | None = None,
    refused: Callable[[str], None] | None = None,
) -> Plan:
    """Plan a job: order and start, ice or not, the way back.

    Not on the night: `replan` keeps what was poured.

    Parameters
    ----------
    job : Job
        What is to be done, from `read_job`, maybe changed since.
    now : datetime
        Aware; when the plan is made.
    weather : HourlySeries, optional
        Weather to plan on instead of what the job names.
    progress : callable, optional
        Told in a few words what the search has found.
    what_helps : bool
        Whether to look for what would mend a plan that falls short: some seconds.
    answered : callable, optional
        Given the plan once its answers stand; what its doubt is made of is not known yet.
    shown : callable, optional
        Given the plan as soon as it is made, before anybody looks for what would help.
    refused : callable, optional
        Given why there is no plan, with which the error's message begins, as early.

    Returns
    -------
    Plan
        Its `status` says whether it keeps the job's policy; `rooms`, `buckets`, `coats`,
        `calls` and `hours` have `to_frame()`.

    Raises
    ------
    InputError
        The job, changed in Python, says what no job file may.
    NoFeasiblePlanError
        No order and start keeps every hard limit; the message names the nearest miss.
    WeatherUnavailableError
        No weather covers the job.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from datetime import datetime, timezone
    >>> job = read_job(demo_job_path())
    >>> one = replace(job, rooms=tuple(r for r in job.rooms if r.name == "Corridor"))
    >>> plan = make_plan(one, now=datetime(2013, 7, 17, 12, tzinfo=timezone.utc))
    >>> [(coat.room, coat.coat) for coat in plan.coats]
    [('Corridor', 1)]
    """
    from cureplan.inputs.job.edits import check_job

    check_job(job)
    return plan_by(
        job,
        now=now,
        weather=weather,
        progress=progress,
        what_helps=what_helps,
        answered=answered,
        shown=shown,
        refused=refused,
    )


def _nobody(_: object) -> None:
    """Where nobody asked to be told."""


@at_its_card
def plan_by(
    job: Job,
    *,
    now: datetime,
    weather: HourlySeries | None,
    options: tuple[PourOption, ...] | None = None,
    progress: Callable[[str], None] | None = None,
    what_helps: bool = True,
    answered: Callable[[Plan], None] | None = None,
    shown: Callable[[Plan], None] | None = None,
    refused: Callable[[str], None] | None = None,
) -> Plan:
    """The plan of a job that was checked, its floors poured by some `options` only."""
    from cureplan.inputs.job.crosscheck import require_near
    from cureplan.inputs.job.edits import portable
    from cureplan.inputs.tables.record import scores_of_job
    from cureplan.judge import require_confirmed, require_doubt_confirmed
    from cureplan.planning.floor.pour import Settled
    from cureplan.planning.floor.split import split_long
    from cureplan.planning.floor.weather_hours import known_range
    from cureplan.planning.odds.risk import known_until
    from cureplan.planning.plan.assemble import assemble, left_out, with_doubt, with_help
    from cureplan.planning.plan.choose import choose
    from cureplan.planning.plan.parts import in_parts
    from cureplan.planning.plan.ways import look_for_help
    from cureplan.planning.schedule.construct import prepare_pours, with_heaters
    from cureplan.planning.schedule.floor_model import Tables
    from cureplan.planning.schedule.outcome import stopped_by_hand, unless_stopped
    from cureplan.planning.schedule.relax import explain
    from cureplan.planning.schedule.tried import try_others

    require_near(job, now)
    past = scores_of_job(job)
    series = weather if weather is not None else get_weather(job, now=now)
    series = known_range(series, job.access.begins)
    missing = series.missing_hours(job.access.begins, job.access.open_by)
    if missing:
        raise WeatherUnavailableError(
            f"the weather given lacks {len(missing)} h of the job, from "
            f"{missing[0]:%Y-%m-%d %H:%M} UTC; give weather that reaches from access to opening"
        )
    issued_s = known_until(job, now_s=now.timestamp())
    job = split_long(job)

    def prepare(changed: Job) -> dict[str, RoomPours]:
        return prepare_pours(changed, series, Settled(options=options))

    warmer: Job | None = job
    while warmer is not None:
        job = warmer
        tables = Tables(pours=prepare(job), anew=prepare)
        chosen = choose(job, tables, issued_s=issued_s, progress=progress)
        warmer = with_heaters(job, () if chosen.stopped else chosen.schedule.failures)
    job, tables, chosen = in_parts(job, tables, chosen, issued_s=issued_s, progress=progress)
    schedule, odds = chosen.schedule, chosen.odds

    def look() -> Schedule:
        return look_for_help(job, tables, chosen, issued_s=issued_s, progress=progress)

    looks = what_helps and not chosen.stopped
    if odds is None:
        why = _in_words(job, explain(schedule, job, known_until=series.ends))
        if looks:
            (refused or _nobody)(why)
            why = _in_words(job, explain(unless_stopped(look), job, known_until=series.ends))
        raise NoFeasiblePlanError(why)
    # Ctrl-C leaves out the rest; what is found is written before a second one ends it.
    with stopped_by_hand() as stop:
        plan = assemble(
            portable(job),
            series,
            tables.pours,
            schedule,
            odds,
            try_others(job, tables, schedule),
            made_at=now,
            past=past,
        )
        require_confirmed(plan)
        plan = left_out(plan) if chosen.stopped else plan
        (answered or _nobody)(plan)
        if not chosen.stopped:
            plan = with_doubt(plan, tables.pours, schedule, odds, stop=stop)
            require_doubt_confirmed(plan)
    with stopped_by_hand() as again:
        (shown or _nobody)(plan)
    if plan.status == "within policy" or not looks or stop() or again():
        return plan
    schedule = unless_stopped(look)
    return plan if schedule.relaxed is None else with_help(plan, schedule)


def replan(plan: Plan, log: Path | str | Sequence[NightEvent], *, now: datetime) -> Plan:
    """Plan the rest of a night again: poured buckets stay, what was read is learned from.

    Not for a change of mind about the whole job: change the job and `make_plan` anew.

    Parameters
    ----------
    plan : Plan
        The plan the crew works by.
    log : path or sequence of NightEvent
        What happened so far, as `cureplan replan --help` tells.
    now : datetime
        Aware; what is planned begins no sooner.

    Returns
    -------
    Plan
        Its `night` says what was learned and changed.

    Raises
    ------
    InputError
        The log does not fit the plan.
    NoFeasiblePlanError
        Nothing is left to plan, or no shift holds any room.

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> replan(read_plan("no-such-plan"), "log.csv", now=datetime.now(timezone.utc))
    Traceback (most recent call last):
    ...
    cureplan.core.errors.InputError: no-such-plan: there is no such file; check the name
    """
    from cureplan.inputs.tables.night_log import read_night_log
    from cureplan.planning.replan.replan import night_site
    from cureplan.planning.replan.replan import replan as plan_again

    if not plan.rooms or not plan.hours:
        raise InputError("this plan has no rooms", cure="make it again with `cureplan plan`")
    events = (
        read_night_log(Path(log), site=night_site(plan)) if isinstance(log, str | Path) else log
    )
    return plan_again(plan, events, now=now).plan


def fit_card(
    card: str | Path,
    readings: Path | str,
    *,
    fitted_on: date,
    without: Sequence[int] = (),
) -> CardFit:
    """Learn a card from measurements: data-sheet points, trial cups, logged buckets.

    Not for readings of several products in one table.

    Parameters
    ----------
    card : str or path
        A shipped slurry or topcoat card by name, or a file.
    readings : path
        The table that `cureplan fit --help` describes.
    fitted_on : date
        Stands in the new card's provenance.
    without : sequence of int
        Lines of the table to leave out.

    Returns
    -------
    CardFit
        Its `card` can be written with `cureplan fit --out`; `plot_fit` draws it.

    Raises
    ------
    InputError
        The card or the table is wrong, or no card goes with these readings.

    Source
    ------
    Least squares of ln(minutes) with a prior; see `science/learning/fitting.py`.

    Examples
    --------
    >>> from datetime import date
    >>> fit_card("quartz", "readings.csv",
    ...          fitted_on=date(2026, 5, 1))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    ...
    cureplan.core.errors.InputError: card = 'quartz': this card has no clocks; name a ...
    """
    from cureplan.inputs.cards.model import SlurryCard, TopcoatCard
    from cureplan.inputs.cards.reader import read_card
    from cureplan.inputs.tables.readings import read_readings
    from cureplan.science.learning import fitting

    before = read_card(card)
    if not isinstance(before, SlurryCard | TopcoatCard):
        raise InputError(
            "this card has no clocks",
            cure="name a slurry or topcoat card",
            key="card",
            value=str(card),
        )
    table = read_readings(Path(readings), milestones=tuple(before.milestones))
    return fitting.fit_card(
        before,
        table.rows,
        source=str(readings),
        fitted_on=fitted_on,
        blank=table.blank,
        without=tuple(without),
    )


def compare(
    job: Job,
    *varies: Literal["start", "ice", "stations", "people", "forecast"],
    now: datetime,
    weather: HourlySeries | None = None,
) -> Rows[ComparedRow]:
    """Plan a job as it is and with one thing changed at a time.

    Not for two changes at once: change the job and `make_plan` each.

    Parameters
    ----------
    job : Job
        The job.
    *varies : str
        What to change, in the order of the answer.
    now : datetime
        Aware; when the plans are made.
    weather : HourlySeries, optional
        Weather to plan on instead of what the job names.

    Returns
    -------
    Rows of ComparedRow
        The job as it is first; `to_frame()` makes them a table.

    Raises
    ------
    InputError
        The job, changed in Python, says what no job file may.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from datetime import datetime, timezone
    >>> job = read_job(demo_job_path())
    >>> one = replace(job, rooms=tuple(r for r in job.rooms if r.name == "Corridor"))
    >>> found = compare(one, "ice", now=datetime(2013, 7, 17, 12, tzinfo=timezone.utc))
    >>> found.to_frame()["value"].tolist()[1:]
    ['never', 'every room']
    """
    from cureplan.inputs.job.edits import check_job
    from cureplan.planning.studies.compare import variants

    check_job(job)
    series = get_weather(job, now=now) if weather is None else weather
    found = variants(job, series, varies, now=now)
    return Rows.of(compare_variants(found, now=now), zone=job.site.zone)


def compare_variants(
    found: Sequence[Variant], *, now: datetime, step: Callable[[], None] = lambda: None
) -> tuple[ComparedRow, ...]:
    """Plan every variant."""
    rows = []
    for variant in found:
        rows.append(planned_row(variant, now=now))
        step()
    return tuple(rows)


def planned_row(variant: Variant, *, now: datetime) -> ComparedRow:
    """Plan one variant and sum it up."""
    from cureplan.planning.studies.compare import ComparedRow

    try:
        plan = plan_by(
            variant.job,
            now=now,
            weather=variant.weather,
            options=variant.options,
            what_helps=False,
        )
    except NoFeasiblePlanError as error:
        return ComparedRow(
            vary=variant.vary,
            value=variant.value,
            shift_k=variant.shift_k,
            status="no feasible plan",
            why=str(error).removeprefix(NO_PLAN),
        )
    return ComparedRow.of(variant, plan)


def write_sheets(plan: Plan, folder: Path | str, *, pictures: bool = True) -> tuple[Path, ...]:
    """Write every file of a plan into a folder, all of them or none.

    Not onto a folder whose names are links or devices: those are refused.

    Parameters
    ----------
    plan : Plan
        From `make_plan`, `replan` or `read_plan`.
    folder : path
        Made if missing; a plan that lies there is replaced, its calendar carried on.
    pictures : bool
        Whether to draw plan.png and plan.pdf: a second or two.

    Returns
    -------
    tuple of Path
        plan.json, sheet.html, buckets.csv, calls.csv, coats.csv, crew.ics, the pictures.

    Raises
    ------
    OutputError
        Something could not be written; what stood there before still stands.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from datetime import datetime, timezone
    >>> from tempfile import TemporaryDirectory
    >>> job = read_job(demo_job_path())
    >>> one = replace(job, rooms=tuple(r for r in job.rooms if r.name == "Corridor"))
    >>> plan = make_plan(one, now=datetime(2013, 7, 17, 12, tzinfo=timezone.utc))
    >>> with TemporaryDirectory() as folder:
    ...     paths = write_sheets(plan, folder, pictures=False)
    ...     read_plan(folder) == plan
    True
    """
    from cureplan.output.sheet.write import write_sheets as write

    return write(plan, Path(folder), pictures=pictures)


@at_its_card
def cannot_alone(job: Job, weather: HourlySeries) -> tuple[Message, ...]:
    """What rooms cannot do even by themselves on some weather; nothing on patchy weather."""
    from cureplan.planning.floor.split import split_long
    from cureplan.planning.floor.weather_hours import known_range
    from cureplan.planning.schedule.conflict import alone
    from cureplan.planning.schedule.construct import prepare_pours, with_heaters
    from cureplan.planning.schedule.floor_model import Tables

    if weather.missing_hours(job.access.begins, job.access.open_by):
        return ()
    series, job = known_range(weather, job.access.begins), split_long(job)
    found = alone(job, Tables(pours=prepare_pours(job, series)))
    while (warmer := with_heaters(job, found)) is not None:
        job = warmer
        found = alone(job, Tables(pours=prepare_pours(job, series)))
    return tuple(say for failure in found for say in failure.says)


def _in_words(job: Job, sentences: Iterable[Message]) -> str:
    """Sentences one after the other, in the job's first language."""
    from cureplan.output.language import Voice

    voice = Voice.of_job(job, job.languages[0])
    # What follows a list begins a line of its own.
    said = " ".join(f"{text}\n" if "\n" in text else text for text in map(voice.say, sentences))
    return said.replace("\n ", "\n").strip()
