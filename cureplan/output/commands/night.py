"""`cureplan replan` and `cureplan record`."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cureplan.core.errors import InputError, NoFeasiblePlanError, OutputError, harmless
from cureplan.output.commands.common import ForceOption

if TYPE_CHECKING:
    from cureplan.inputs.tables.night_log import NightEvent
    from cureplan.planning.plan.model import Plan

__all__ = [
    "record",
    "replan",
]

STATUS_CODES = {"within policy": 0, "short of policy": 1, "no feasible plan": 3}


def replan(
    plan_file: Annotated[
        Path, typer.Argument(metavar="PLAN.json", help="The plan the crew works by.")
    ],
    log_files: Annotated[
        list[Path],
        typer.Argument(
            metavar="LOG.csv...", help="What happened so far, a line each; one per phone."
        ),
    ],
    now: Annotated[
        str | None,
        typer.Option("--now", metavar="TIME", help="As if it were this time."),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="DIR", help="Folder for the sheets; the next free one by default."
        ),
    ] = None,
    pictures: Annotated[
        bool,
        typer.Option("--pictures", help="Draw plan.png and plan.pdf too; it takes longer."),
    ] = False,
    force: ForceOption = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON instead of text.")
    ] = False,
) -> None:
    """Plan the rest of the night again: poured buckets stay, the old plan is kept.

    The log's columns are at, event, room, bucket, value, note; the events: poured, wet edge
    ended, working time ended, surface closed, ran short, lost, pails in ice, cove begun,
    cove done, primer begun, primer laid, vacuumed, coat begun, batch mixed, coat laid, slab
    reads, bucket reads, drill down, short of, room dropped, room added, wait until, pour shift
    until, topcoat shift from, topcoat shift until, opens by, stay longer. Logs of several
    phones are read as one.
    """
    from cureplan.api import read_plan
    from cureplan.inputs.tables.night_log import read_night_logs
    from cureplan.output.commands.common import print_text, print_written, refuse_folder
    from cureplan.output.sheet.write import write_sheets
    from cureplan.output.view.view import voice_of
    from cureplan.planning.plan.model import plan_to_json
    from cureplan.planning.replan.replan import night_site
    from cureplan.planning.replan.replan import replan as plan_again

    old = read_plan(plan_file)
    plan_file = _file_of(plan_file)
    if not old.rooms:
        raise InputError(
            "this plan has no rooms",
            cure="make it again with `cureplan plan`",
            source=plan_file,
        )
    if out is not None:
        refuse_folder(out, inputs=(plan_file, *log_files), force=force)
    folder = _folder(plan_file, out)
    events = read_night_logs(log_files, site=night_site(old))
    try:
        found = plan_again(old, events, now=_now(old, events, now))
    except NoFeasiblePlanError as error:
        _advise(old, error, as_json=as_json)
        raise
    written = write_sheets(
        found.plan, folder, before=plan_file.parent, pictures=pictures, force=force
    )
    if as_json:
        print_text(plan_to_json(found.plan, text_of=voice_of(found.plan).say), asked=True)
    else:
        print_text(_text(found.plan))
        print_written(written)
    code = STATUS_CODES[found.plan.status]
    if code:
        raise typer.Exit(code)


def _advise(old: Plan, error: NoFeasiblePlanError, *, as_json: bool) -> None:
    """What to do at once, in every language of the job, where no plan comes out."""
    import json

    from cureplan.output.commands.common import print_text
    from cureplan.output.view.view import voice_of

    if not error.advice:
        return
    advice = {
        language: [voice_of(old, language).say(say) for say in error.advice]
        for language in old.job.languages
    }
    if as_json:
        text = json.dumps({"status": "no feasible plan", "advice": advice}, ensure_ascii=False)
    else:
        text = "\n\n".join(
            "\n".join(f"> {line}" for line in lines) for lines in advice.values()
        )
    print_text(text, asked=True)


def _file_of(plan: Path) -> Path:
    """The file of a plan that was named by its folder."""
    return plan / "plan.json" if plan.is_dir() else plan


def _folder(plan_file: Path, out: Path | None) -> Path:
    """Where the new plan goes; never where the old one stands."""
    home = plan_file.resolve().parent
    if out is not None:
        same = out.exists() and out.samefile(home)
        if same or out.resolve() == home:
            raise InputError(
                "the old plan stands there and is kept",
                cure="name another folder",
                key="--out",
                value=str(out),
            )
        return out
    stem, _, last = home.name.rpartition("-")
    numbered = stem and last.isascii() and last.isdigit() and len(last) < 10
    first = int(last) + 1 if numbered else 2
    base = stem if first > 2 else "night-plan"
    taken = {path.name for path in home.parent.iterdir()}
    number = next(n for n in count(first) if f"{base}-{n}" not in taken)
    return home.parent / f"{base}-{number}"


def _now(plan: Plan, events: tuple[NightEvent, ...], given: str | None) -> datetime:
    """As asked, else the clock's while the job lasts, else the log's last line."""
    from cureplan.output.commands.common import note, time_given

    if given is not None:
        return time_given(plan.job, given)
    clock_now = datetime.now(UTC)
    if plan.job.access.begins <= clock_now <= plan.job.access.open_by:
        return clock_now
    last = events[-1].at
    shown = last.astimezone(plan.job.site.zone).isoformat(timespec="minutes")
    note(f"This job is not now; planned as of the log's last line, {shown}.")
    return last


def _text(plan: Plan) -> str:
    """What changed, then the plan as always."""
    import textwrap

    from cureplan.output.commands.common import in_colour, terminal_width
    from cureplan.output.text.terminal import terminal_text
    from cureplan.output.view.view import voice_of

    width = terminal_width()
    voice = voice_of(plan)
    changes = plan.night.changes if plan.night is not None else ()
    lines: list[str] = []
    for change in changes:
        lines += textwrap.wrap(
            voice.say(change), max(40, width), initial_indent="> ", subsequent_indent="  "
        )
    # Said already: the terminal shows them once, and first.
    rest = replace(plan, warnings=plan.warnings[len(changes) :])
    shown = terminal_text(rest, width=width, colour=in_colour(), language=plan.job.languages[0])
    return "\n".join(lines) + "\n\n" + shown


def record(
    plan_file: Annotated[
        Path, typer.Argument(metavar="PLAN.json", help="The plan the crew began with.")
    ],
    log_files: Annotated[
        list[Path],
        typer.Argument(metavar="LOG.csv...", help="The log of the whole night; one per phone."),
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="FOLDER",
            help="Folder of finished jobs; the job's own, else `records` here.",
        ),
    ] = None,
    clock: Annotated[
        str | None,
        typer.Option(
            "--clock",
            metavar="WHICH",
            help="Of a log that lies an hour off the plan: site (it is right), ahead or behind "
            "(by an hour).",
        ),
    ] = None,
    force: Annotated[
        bool, typer.Option("--force", help="Write over a record that stands already.")
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print JSON instead of text.")
    ] = False,
) -> None:
    """Keep the record of a finished job: each clock's expected end, and the one seen.

    A record is a plain TOML file. `cureplan fit --records FOLDER` learns from them;
    `cureplan plan` says how past predictions fared where they lie in `records` beside the
    job file, or where its key `records` says.
    """
    import json
    from dataclasses import asdict

    from cureplan.api import read_plan
    from cureplan.core.writing import write_atomically
    from cureplan.inputs.tables.night_log import read_night_logs
    from cureplan.inputs.tables.record import past_scores, record_name, record_text
    from cureplan.output.commands.common import print_text
    from cureplan.output.text.fit import scores_text
    from cureplan.planning.replan.record import night_record
    from cureplan.planning.replan.replan import night_site

    plan = read_plan(plan_file)
    plan_file = _file_of(plan_file)
    if not plan.rooms or not plan.hours:
        raise InputError(
            "this plan has no rooms", cure="name the plan that was worked by", source=plan_file
        )
    events = read_night_logs(log_files, site=night_site(plan, whole_night=True))
    if not events:
        raise InputError(
            "the plan has used this log already",
            cure="name the plan the crew began with",
            source=log_files[0],
        )
    events = _on_site_time(plan, events, clock, source=log_files[0])
    done = night_record(plan, events)
    path = _path(plan, out, record_name(done), inputs=(plan_file, *log_files), force=force)
    write_atomically(path, record_text(done))
    past = past_scores([done])
    if as_json:
        print_text(
            json.dumps(
                {"record": str(path), "past": None if past is None else asdict(past)}, indent=2
            ),
            asked=True,
        )
        return
    if past is not None:
        print_text(scores_text(past))
    print_text(
        f"\n{harmless(path)} is written. Learn from it: cureplan fit --card {done.card} "
        f"--records {harmless(path.parent)}"
    )


AHEAD_S = {"site": 0.0, "ahead": 3600.0, "behind": -3600.0}
"""What a clock is named, and by how much it runs ahead of the site's."""
_EARLIER = ("earlier", "behind")


def _on_site_time(
    plan: Plan, events: tuple[NightEvent, ...], clock: str | None, *, source: Path
) -> tuple[NightEvent, ...]:
    """Events by the site's clock: where all lie an hour off, nothing is learned unasked."""
    from cureplan.planning.replan.changes import hour_off

    if clock not in (None, *AHEAD_S):
        raise InputError(
            "no such clock", cure=f"one of {', '.join(AHEAD_S)}", key="--clock", value=clock
        )
    ahead = timedelta(seconds=AHEAD_S[clock or "site"])
    on_site = tuple(replace(event, at=event.at - ahead) for event in events)
    off = hour_off(plan, on_site)
    if off is not None and clock != "site":
        when, clock_is = ("later", "ahead") if off.code == "replan.hour_late" else _EARLIER
        raise InputError(
            f"every line ({off.values['lines']}) lies about an hour {when} than planned, so "
            "no record is kept yet",
            cure=f"say --clock {clock_is} where the clock that wrote them is an hour "
            f"{clock_is} by site time ({off.values['zone']}), --clock site where the crew "
            "began then",
            source=source,
            key="at" if clock is None else "--clock",
        )
    return on_site


def _records_of(plan: Plan, plan_file: Path) -> Path:
    """The job's own folder of records where its job file can be found, else one here."""
    named = plan.job.records or Path("records")
    for folder in (Path(), plan_file.parent, plan_file.parent.parent):
        if (folder / plan.job.source.name).is_file():
            return folder / named
    return named


def _path(
    plan: Plan, out: Path | None, name: str, *, inputs: tuple[Path, ...], force: bool
) -> Path:
    from cureplan.core.writing import refuse_target

    folder = out or _records_of(plan, inputs[0])
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"{folder}: could not be made ({error.strerror}); name another with --out"
        ) from error
    path = folder / name
    refuse_target(path, option="--out", inputs=inputs, force=force)
    return path
