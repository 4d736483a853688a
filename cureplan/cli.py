"""The command line: a thin shell over `cureplan.api`; everything heavy is imported late."""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from cureplan.core.errors import CurePlanError, InputError
from cureplan.output.commands.compare import compare
from cureplan.output.commands.fit import fit, trial
from cureplan.output.commands.new import new
from cureplan.output.commands.night import record, replan
from cureplan.output.commands.weather import weather

if TYPE_CHECKING:
    from cureplan.inputs.job.model import Job
    from cureplan.planning.plan.model import Plan

__all__ = ["app", "main"]

app = typer.Typer(
    name="cureplan",
    help="Plan a night of fast-setting floor: order and start, ice or not, the way back.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

DEFAULT_FOLDER = Path("night-plan")
SHORT_OF_POLICY = 1

app.command()(weather)
app.command()(replan)
app.command()(record)
app.command()(compare)
app.command()(fit)
app.command()(trial)
app.command()(new)

JobFile = Annotated[Path, typer.Argument(metavar="JOB.toml", help="The job file.")]
OutFolder = Annotated[
    Path, typer.Option("--out", metavar="DIR", help="Folder for the sheets; made if missing.")
]
AsJson = Annotated[bool, typer.Option("--json", help="Print JSON instead of text.")]
Now = Annotated[
    str | None,
    typer.Option(
        "--now", metavar="TIME", help="Plan as if it were this time, e.g. 2026-07-17T20:00."
    ),
]
Helps = Annotated[
    bool,
    typer.Option(
        "--help-out/--no-help",
        help="Whether to look for what would mend a plan that falls short.",
    ),
]


@app.command()
def plan(
    job_file: JobFile,
    out: OutFolder = DEFAULT_FOLDER,
    now: Now = None,
    as_json: AsJson = False,
    helps: Helps = True,
) -> None:
    """Plan a job and write its sheets."""
    from cureplan.api import read_job

    job = read_job(job_file)
    _plan_and_show(job, now=_now_for(job, now), out=out, as_json=as_json, helps=helps)


@app.command()
def demo(out: OutFolder = DEFAULT_FOLDER, as_json: AsJson = False) -> None:
    """Plan the demo: a school kitchen in a heat wave, on real weather."""
    from cureplan.api import demo_job_path, read_job

    job = read_job(demo_job_path())
    evening_before = job.access.begins - timedelta(hours=23)
    _plan_and_show(job, now=evening_before, out=out, as_json=as_json)


@app.command()
def check(job_file: JobFile, as_json: AsJson = False) -> None:
    """Read a job, its cards and its weather, and say what was understood."""
    from cureplan.api import job_weather, read_job
    from cureplan.output.text.quick import check_json, check_text

    job = read_job(job_file)
    series = job_weather(job, now=_now_for(job, None))
    _print(check_json(job, series) if as_json else check_text(job, series))


@app.command()
def clock(
    card: Annotated[str, typer.Argument(metavar="CARD", help="A shipped card, or a path.")],
    at: Annotated[str, typer.Option("--at", metavar="TEMP", help='For example "90 F".')],
    as_json: AsJson = False,
) -> None:
    """Minutes and hours to every milestone of a card at a steady temperature."""
    from cureplan.inputs.cards.model import SlurryCard, TopcoatCard
    from cureplan.inputs.cards.reader import read_card
    from cureplan.output.text.quick import clock_json, clock_text
    from cureplan.planning.studies.quick import card_clock

    read = read_card(card)
    if not isinstance(read, (SlurryCard, TopcoatCard)):
        raise InputError(
            "this card has no clocks",
            cure="name a slurry or topcoat card",
            key="CARD",
            value=card,
        )
    at_c = _temperature_c("--at", at)
    times = card_clock(read, at_c=at_c)
    render = clock_json if as_json else clock_text
    _print(render(read, at_c, times))


@app.command()
def chill(
    card: Annotated[str, typer.Argument(metavar="CARD", help="A slurry card, or a path.")],
    air: Annotated[str, typer.Option("--air", metavar="TEMP", help='For example "95 F".')],
    slab: Annotated[str, typer.Option("--slab", metavar="TEMP", help='For example "88 F".')],
    liquids: Annotated[
        str, typer.Option("--liquids", metavar="TEMP", help="Liquids out of the ice.")
    ] = "38 F",
    filler: Annotated[
        str | None,
        typer.Option("--filler", metavar="TEMP", help="Filler; the air's if not given."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """What iced liquids buy, in the bucket and on the floor."""
    from cureplan.inputs.cards.model import SlurryCard
    from cureplan.inputs.cards.reader import read_card
    from cureplan.output.text.quick import chill_json, chill_text
    from cureplan.planning.studies.quick import chill_answer

    read = read_card(card, kind="slurry")
    if not isinstance(read, SlurryCard):
        raise InputError("not a slurry card", cure="name one", key="CARD", value=card)
    air_c, slab_c = _temperature_c("--air", air), _temperature_c("--slab", slab)
    liquids_c = _temperature_c("--liquids", liquids)
    if liquids_c < read.coldest_liquids_c:
        raise InputError(
            f"colder than this card allows its liquids ({read.coldest_liquids_c:g} C)",
            cure='write a warmer one such as "38 F"',
            key="--liquids",
            value=liquids,
        )
    answers = chill_answer(
        read,
        air_c=air_c,
        slabs_c=[slab_c, *LADDER_C],
        liquids_c=liquids_c,
        filler_c=air_c if filler is None else _temperature_c("--filler", filler),
        cooler_loss=COOLER_LOSS,
    )
    render = chill_json if as_json else chill_text
    _print(render(read, air_c, answers))


@app.command()
def schema(
    of: Annotated[str, typer.Argument(metavar="WHAT", help="plan, or job.")] = "plan",
    as_json: AsJson = True,
) -> None:
    """Print the JSON Schema of plan.json, or of a job file."""
    import json

    if of == "plan":
        from cureplan.planning.plan.model import plan_schema

        found = plan_schema()
    elif of == "job":
        from cureplan.inputs.job.schema import JobFile as WrittenJob

        found = WrittenJob.model_json_schema()
    else:
        raise InputError("no such schema", cure="ask for plan or job", key="WHAT", value=of)
    _print(json.dumps(found, indent=2 if as_json else None))


LADDER_C = tuple((f - 32.0) / 1.8 for f in (60.0, 70.0, 80.0, 90.0, 100.0, 110.0))
"""Slabs from 60 to 110 °F: ice does not rescue a hot slab."""
COOLER_LOSS = 0.3
"""Ice lost to the cooler, from memory; a job may say otherwise."""


def _plan_and_show(
    job: Job, *, now: datetime, out: Path, as_json: bool, helps: bool = True
) -> None:
    """Write and show the plan as soon as it is made, then what would mend it."""
    from cureplan.api import make_plan
    from cureplan.output.commands.common import terminal_width
    from cureplan.output.sheet.write import write_sheets
    from cureplan.output.text.terminal import help_text, terminal_text
    from cureplan.output.view.view import voice_of
    from cureplan.planning.plan.model import plan_to_json

    first: list[Plan] = []
    width, colour = terminal_width(), sys.stdout.isatty()

    def show(plan: Plan) -> None:
        first.append(plan)
        if progress is not None:
            sys.stderr.write("\r\x1b[K")
        written = write_sheets(plan, out)
        if not as_json:
            language = plan.job.languages[0]
            _print(terminal_text(plan, width=width, colour=colour, language=language))
            _print("\n" + "\n".join(str(path) for path in written))

    progress = _progress if sys.stderr.isatty() else None
    made = make_plan(job, now=now, progress=progress, what_helps=helps, shown=show)
    if made is not first[0]:
        write_sheets(made, out)
        if not as_json:
            if progress is not None:
                sys.stderr.write("\r\x1b[K")
            language = made.job.languages[0]
            _print(help_text(made, first[0], width=width, colour=colour, language=language))
    if as_json:
        _print(plan_to_json(made, text_of=voice_of(made).say))
    if made.status == "short of policy":
        raise typer.Exit(SHORT_OF_POLICY)


def _progress(words: str) -> None:
    """One line that is written over while the search goes on; Ctrl-C keeps the best."""
    sys.stderr.write(f"\r\x1b[Ksearching: {words}")
    sys.stderr.flush()


def _now_for(job: Job, given: str | None) -> datetime:
    """The time of planning: as asked, else the clock's, else the evening before a past job."""
    from cureplan.output.commands.common import time_given

    if given is not None:
        return time_given(job, given)
    clock_now = datetime.now(UTC)
    if clock_now < job.access.open_by:
        return clock_now
    typer.echo("This job lies in the past; planned as if on the evening before.", err=True)
    return job.access.begins - timedelta(hours=23)


def _temperature_c(option: str, text: str) -> float:
    from cureplan.core.errors import QuantityError
    from cureplan.core.quantities import parse_temperature_c, split_refusal

    try:
        return parse_temperature_c(text)
    except QuantityError as error:
        problem, cure = split_refusal(error, text)
        raise InputError(problem, cure=cure, key=option, value=text) from None


def _print(text: str) -> None:
    sys.stdout.write(text if text.endswith("\n") else text + "\n")


def main() -> NoReturn:
    """Run the command line; a user's mistake is one line on stderr and an exit code."""
    try:
        app()
    except CurePlanError as error:
        sys.stderr.write(f"cureplan: {error}\n")
        sys.exit(error.exit_code)
    except KeyboardInterrupt:
        sys.exit(130)
    sys.exit(0)
