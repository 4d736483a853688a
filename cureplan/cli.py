"""The command line: a thin shell over `cureplan.api`; everything heavy is imported late."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from cureplan.core.errors import CurePlanError, InputError, NoFeasiblePlanError, harmless
from cureplan.desk.command import desk
from cureplan.output.commands.common import (
    ForceOption,
    be_quiet,
    in_colour,
    job_inputs,
    note,
    print_text,
    print_written,
    progress_line,
    refuse_folder,
    terminal_width,
    time_given,
    wipe_progress,
    with_quiet,
)
from cureplan.output.commands.compare import compare
from cureplan.output.commands.fit import fit, trial
from cureplan.output.commands.new import new
from cureplan.output.commands.night import record, replan
from cureplan.output.commands.weather import weather

if TYPE_CHECKING:
    from collections.abc import Callable

    from cureplan.inputs.job.model import Job
    from cureplan.planning.plan.model import Plan

__all__ = ["app", "main"]

app = typer.Typer(
    name="cureplan",
    help="Plan a night of fast-setting floor: order and start, ice or not, the way back.",
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"]},
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)

DEFAULT_FOLDER = Path("night-plan")
SHORT_OF_POLICY = 1
# As a shell says of a process ended by Ctrl-C, and by a reader that went away.
INTERRUPTED, CUT_OFF = 130, 141
OUR_FAULT = 70
TRACEBACK_VARIABLE = "CUREPLAN_TRACEBACK"
REPORT_IT = (
    "please report it with your files and what the command says with "
    f"{TRACEBACK_VARIABLE}=1 before it"
)

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

AsWorkbook = Annotated[
    bool, typer.Option("--xlsx", help="Write plan.xlsx too, the tables a page each.")
]


def plan(
    job_file: JobFile,
    out: OutFolder = DEFAULT_FOLDER,
    now: Now = None,
    as_json: AsJson = False,
    helps: Helps = True,
    xlsx: AsWorkbook = False,
    force: ForceOption = False,
) -> None:
    """Plan a job and write its sheets."""
    from cureplan.inputs.job.reader import read_own_job

    job = read_own_job(job_file)
    at = _now_for(job, now)
    _plan_and_show(job, now=at, out=out, as_json=as_json, helps=helps, xlsx=xlsx, force=force)


def demo(
    out: OutFolder = DEFAULT_FOLDER, as_json: AsJson = False, force: ForceOption = False
) -> None:
    """Plan the demo: a school kitchen in a heat wave, on real weather."""
    from cureplan.api import demo_job_path, read_job

    job = read_job(demo_job_path())
    evening_before = job.access.begins - timedelta(hours=23)
    _plan_and_show(job, now=evening_before, out=out, as_json=as_json, force=force)


def check(job_file: JobFile, as_json: AsJson = False) -> None:
    """Read a job, its cards and its weather; say what was understood, and what cannot be.

    Of a job file it cannot read it tells all that is wrong, not the first only.
    """
    from cureplan.api import cannot_alone, get_weather
    from cureplan.inputs.job.own import own_file, own_place
    from cureplan.inputs.job.reader import read_own_job
    from cureplan.output.text.quick import check_json, check_text

    try:
        job = read_own_job(job_file)
    except InputError as error:
        for each in (error, *error.after):
            _tell(str(each))
        raise typer.Exit(error.exit_code) from None
    if own_file() is None and (place := own_place()) is not None:
        note(f"Defaults of your own would be read from {harmless(place)}.")
    series = get_weather(job, now=_now_for(job, None))
    cannot = cannot_alone(job, series)
    render = check_json if as_json else check_text
    print_text(render(job, series, cannot), asked=as_json)
    if cannot:
        raise typer.Exit(NoFeasiblePlanError.exit_code)


def clock(
    card: Annotated[str, typer.Argument(metavar="CARD", help="A shipped card, or a path.")],
    at: Annotated[str, typer.Option("--at", metavar="TEMP", help='For example "90 F".')],
    as_json: AsJson = False,
) -> None:
    """Minutes and hours to every milestone of a card at a steady temperature."""
    from cureplan.inputs.cards.model import PrimerCard, SlurryCard, TopcoatCard
    from cureplan.inputs.cards.reader import read_card
    from cureplan.output.text.quick import clock_json, clock_text
    from cureplan.planning.studies.quick import card_clock, cautions, early_cautions

    read = read_card(card)
    if not isinstance(read, (SlurryCard, TopcoatCard, PrimerCard)):
        raise InputError(
            "this card has no clocks",
            cure="name a slurry, primer or topcoat card",
            key="CARD",
            value=card,
        )
    at_c = _temperature_c("--at", at)
    careful = cautions(read, slab=at_c, air=at_c, material=at_c, mixed=at_c)
    with _of_card(card):
        times = card_clock(read, at_c=at_c)
        if isinstance(read, SlurryCard):
            early = early_cautions(read, liquids_c=at_c, filler_c=at_c, air_c=at_c, slab_c=at_c)
            careful = (*careful, *early)
    render = clock_json if as_json else clock_text
    print_text(render(read, at_c, times, careful), asked=as_json)


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
    water: Annotated[
        str, typer.Option("--water", metavar="TEMP", help="Water the pails stand in.")
    ] = "68 F",
    as_json: AsJson = False,
) -> None:
    """What iced liquids buy, in the bucket and on the floor."""
    from cureplan.inputs.cards.model import SlurryCard
    from cureplan.inputs.cards.reader import read_card
    from cureplan.output.text.quick import chill_json, chill_text
    from cureplan.planning.floor.ice import IceBath
    from cureplan.planning.studies.quick import cautions, chill_answer, early_cautions

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
    filler_c = air_c if filler is None else _temperature_c("--filler", filler)
    with _of_card(card):
        answers = chill_answer(
            read,
            air_c=air_c,
            slabs_c=[slab_c, *LADDER_C],
            liquids_c=liquids_c,
            filler_c=filler_c,
            bath=IceBath(
                cooler_loss=COOLER_LOSS,
                water_m3=ICE_WATER_M3,
                water_c=_temperature_c("--water", water, COLDEST_WATER_C, HOTTEST_WATER_C),
            ),
        )
        careful = (
            *cautions(
                read,
                slab=slab_c,
                air=air_c,
                material=filler_c,
                mixed=answers[0].chilled_mixed_c,
            ),
            *early_cautions(
                read, liquids_c=filler_c, filler_c=filler_c, air_c=air_c, slab_c=slab_c
            ),
        )
    render = chill_json if as_json else chill_text
    print_text(render(read, air_c, answers, careful), asked=as_json)


def schema(
    of: Annotated[str, typer.Argument(metavar="WHAT", help="plan, or job.")] = "plan",
    as_json: AsJson = True,
) -> None:
    """Print the JSON Schema of plan.json, or of a job file."""
    import json

    if of == "plan":
        from cureplan.planning.plan.schema import plan_schema

        found = plan_schema()
    elif of == "job":
        from cureplan.inputs.job.schema import JobFile as WrittenJob

        found = WrittenJob.model_json_schema()
    else:
        raise InputError("no such schema", cure="ask for plan or job", key="WHAT", value=of)
    print_text(json.dumps(found, indent=2 if as_json else None), asked=True)


COLDEST_ASKED_C, HOTTEST_ASKED_C = -10.0, 60.0
LADDER_C = tuple((f - 32.0) / 1.8 for f in (60.0, 70.0, 80.0, 90.0, 100.0, 110.0))
"""Slabs from 60 to 110 °F: ice does not rescue a hot slab."""
COOLER_LOSS = 0.3
"""Ice lost to the cooler, from memory; a job may say otherwise."""
ICE_WATER_M3 = 0.003785
"""A gallon that one kit's pails stand in, invented; a job may say otherwise."""
COLDEST_WATER_C, HOTTEST_WATER_C = 0.0, 40.0


def _plan_and_show(
    job: Job,
    *,
    now: datetime,
    out: Path,
    as_json: bool,
    helps: bool = True,
    xlsx: bool = False,
    force: bool = False,
) -> None:
    """Write and show the plan as soon as it is made, then what would mend it."""
    from cureplan.api import make_plan
    from cureplan.output.sheet.write import need_workbooks, write_sheets
    from cureplan.output.text.terminal import answers_text, doubt_text, help_text
    from cureplan.output.view.view import voice_of
    from cureplan.planning.plan.assemble import is_stopped
    from cureplan.planning.plan.model import plan_to_json
    from cureplan.planning.schedule.construct import MANY_ROOMS

    refuse_folder(out, inputs=job_inputs(job), force=force)
    if xlsx:
        need_workbooks()
    first: list[Plan] = []
    answered: list[Plan] = []

    def say(text: Callable[..., str], *plans: Plan) -> None:
        if not as_json:
            print_text(_in_words(text, *plans))
            sys.stdout.flush()

    def answer(plan: Plan) -> None:
        wipe_progress()
        # The answers first: what follows takes as long again.
        say(answers_text, plan)
        answered.append(plan)

    def show(plan: Plan) -> None:
        first.append(plan)
        say(doubt_text, plan)
        _note_left_out(plan, *answered)
        # Nobody who waits for a plan that he stopped waits for its pictures.
        pictures = not is_stopped(plan)
        written = write_sheets(plan, out, pictures=pictures, as_workbook=xlsx, force=force)
        if not as_json:
            print_written(written)

    with (
        _why_at_once(first) as refuse,
        progress_line(long=len(job.rooms) >= MANY_ROOMS) as tell,
    ):
        made = make_plan(
            job, now=now, progress=tell, what_helps=helps, answered=answer, shown=show,
            refused=refuse,
        )  # fmt: skip
    if made is not first[0]:
        write_sheets(made, out, pictures="kept", as_workbook=xlsx, force=force)
        say(help_text, made, first[0])
    if as_json:
        print_text(plan_to_json(made, text_of=voice_of(made).say), asked=True)
    if made.status == "short of policy":
        raise typer.Exit(SHORT_OF_POLICY)


def _note_left_out(plan: Plan, answered: Plan) -> None:
    """Say what a plan that was stopped lacks, where its answers did not."""
    from cureplan.output.view.view import voice_of
    from cureplan.planning.plan.assemble import STOPPED, is_stopped

    if is_stopped(plan) and not is_stopped(answered):
        note(voice_of(plan).say(STOPPED))


@contextmanager
def _why_at_once(plans: Sequence[Plan]) -> Iterator[Callable[[str], None]]:
    """Tells why there is no plan before what would do is looked for, which is told after."""
    given: list[str] = []

    def refuse(why: str) -> None:
        wipe_progress()
        given.append(why)
        _tell(why)

    try:
        yield refuse
    except NoFeasiblePlanError as error:
        if more := str(error).removeprefix("".join(given)).strip():
            _tell(more)
        raise typer.Exit(error.exit_code) from None
    except KeyboardInterrupt:
        if not plans and not given:
            note("stopped before a first plan was found; nothing was written")
        raise


def _in_words(text: Callable[..., str], plan: Plan, *more: Plan) -> str:
    language = plan.job.languages[0]
    return text(plan, *more, width=terminal_width(), colour=in_colour(), language=language)


def _now_for(job: Job, given: str | None) -> datetime:
    """The time of planning: as asked, else the clock's, else the evening before a past job."""
    if given is not None:
        return time_given(job, given)
    clock_now = datetime.now(UTC)
    if clock_now < job.access.open_by:
        return clock_now
    note("This job lies in the past; planned as if on the evening before.")
    return job.access.begins - timedelta(hours=23)


@contextmanager
def _of_card(card: str) -> Iterator[None]:
    """What a model finds wrong with a card's values is told at the line of the card."""
    from cureplan.inputs.cards.reader import in_card_file

    try:
        yield
    except InputError as error:
        raise in_card_file(error, card) from None


def _temperature_c(
    option: str,
    text: str,
    coldest_c: float = COLDEST_ASKED_C,
    hottest_c: float = HOTTEST_ASKED_C,
) -> float:
    from cureplan.core.errors import QuantityError
    from cureplan.core.quantities import parse_temperature_c, split_refusal

    try:
        temp_c = parse_temperature_c(text)
    except QuantityError as error:
        problem, cure = split_refusal(error, text)
        raise InputError(problem, cure=cure, key=option, value=text) from None
    # What the clocks can follow, with the heat of a bucket on top.
    if not coldest_c <= temp_c <= hottest_c:
        raise InputError(
            f"this must lie between {coldest_c:g} C and {hottest_c:g} C",
            cure="check the digits and the unit",
            key=option,
            value=text,
        )
    return temp_c


# In the order of a job, each with two examples that a test runs.
_COMMANDS: tuple[tuple[Any, tuple[str, str]], ...] = (
    (new, ("new job.toml", "new job.toml < answers.txt")),
    (check, ("check job.toml", "check job.toml --json")),
    (weather, ("weather job.toml", "weather job.toml --save hours.csv --picture hours.png")),
    (plan, ("plan job.toml", "plan job.toml --out monday --now 2013-07-16T20:00")),
    (compare, ("compare job.toml --vary ice", "compare job.toml --vary start --json")),
    (
        replan,
        (
            "replan night-plan/plan.json log.csv",
            "replan night-plan/plan.json log.csv --out tonight --pictures",
        ),
    ),
    (
        record,
        (
            "record night-plan/plan.json log.csv",
            "record night-plan/plan.json log.csv --out finished",
        ),
    ),
    (
        trial,
        ("trial --card fast-slurry", "trial --card fast-slurry --celsius --out trial.csv"),
    ),
    (
        fit,
        (
            "fit readings.csv --card fast-slurry",
            "fit readings.csv --card fast-slurry --out mine.toml --picture fit.png",
        ),
    ),
    (clock, ('clock fast-slurry --at "90 F"', 'clock clear-topcoat --at "31 C" --json')),
    (
        chill,
        (
            'chill fast-slurry --air "95 F" --slab "88 F"',
            'chill fast-slurry --air "35 C" --slab "31 C" --liquids "4 C"',
        ),
    ),
    (desk, ("desk", "desk jobs --no-browser")),
    (demo, ("demo", "demo --out demo-plan --quiet")),
    (schema, ("schema plan", "schema job")),
)


def _register() -> None:
    for command, examples in _COMMANDS:
        lines = "\n".join(f"  cureplan {words}" for words in examples)
        app.command(epilog=f"\b\nExamples:\n{lines}")(with_quiet(command))


_register()


def _show_version(asked: bool) -> None:
    if asked:
        from cureplan import __version__

        print_text(f"cureplan {__version__}", asked=True)
        raise typer.Exit


@app.callback()
def _whole(
    _version: Annotated[
        bool,
        typer.Option(
            "--version", callback=_show_version, is_eager=True, help="Show the version."
        ),
    ] = False,
) -> None:
    """Plan a night of fast-setting floor: order and start, ice or not, the way back."""


def main() -> NoReturn:
    """Run the command line; a user's mistake is one line on stderr and an exit code."""
    from cureplan.output.commands.streams import Output

    if signal.getsignal(signal.SIGINT) is signal.SIG_DFL:
        signal.signal(signal.SIGINT, signal.default_int_handler)
    be_quiet(False)
    try:
        output = Output()
        code = _run()
        fault = output.fault()
    except KeyboardInterrupt:
        sys.exit(INTERRUPTED)
    if isinstance(fault, BrokenPipeError):
        sys.exit(code or CUT_OFF)
    if fault is not None:
        _tell(f"standard output could not be written ({fault.strerror or fault})")
        sys.exit(code or CurePlanError.exit_code)
    sys.exit(code)


def _run() -> int:
    try:
        # None from a command that ended by itself.
        return app(standalone_mode=False) or 0
    except CurePlanError as error:
        _tell(f"{error}; {REPORT_IT}" if error.exit_code == OUR_FAULT else str(error))
        return error.exit_code
    except typer.Abort as end:
        return _aborted(end)
    except Exception as error:  # noqa: BLE001
        show = getattr(error, "show", None)
        if show is not None:
            # The command line's own complaint about its words.
            show()
            return int(getattr(error, "exit_code", CurePlanError.exit_code))
        return INTERRUPTED if _interrupted(error) else _own_fault(error)


def _interrupted(error: BaseException | None) -> bool:
    """Whether an error is Ctrl-C in other words: compiled parts that are just being loaded
    make one of their own of it, and may keep no more of ours than its name."""
    while error is not None:
        if isinstance(error, KeyboardInterrupt) or KeyboardInterrupt.__name__ in str(error):
            return True
        error = error.__cause__ or error.__context__
    return False


def _aborted(end: BaseException) -> int:
    """A prompt ended by Ctrl-C, or because nobody can answer it."""
    if isinstance(end.__cause__ or end.__context__, EOFError):
        _tell("the answers end here; give one line an answer, an empty one for the usual")
        return CurePlanError.exit_code
    return INTERRUPTED


def _own_fault(error: Exception) -> int:
    if os.environ.get(TRACEBACK_VARIABLE):
        import traceback

        traceback.print_exception(error)
    shown = " ".join(str(error).split())[:200]
    _tell(
        f"this is a fault of cureplan, not yours ({type(error).__name__}: {shown}); {REPORT_IT}"
    )
    return OUR_FAULT


def _tell(text: str) -> None:
    """Said on standard error, where there still is one: a line, or several of a list."""
    lines = "\n".join(harmless(line) for line in text.split("\n"))
    try:
        sys.stderr.write(f"cureplan: {lines}\n")
        sys.stderr.flush()
    except (OSError, ValueError):
        return
