"""``cureplan record``: keep what a finished job expected, and what happened."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from cureplan.errors import InputError, OutputError

if TYPE_CHECKING:
    from cureplan.plan import Plan

__all__ = ["record"]


def record(
    plan_file: Annotated[
        Path, typer.Argument(metavar="PLAN.json", help="The plan the crew began with.")
    ],
    log_file: Annotated[
        Path, typer.Argument(metavar="LOG.csv", help="The log of the whole night.")
    ],
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="FOLDER",
            help="Folder of finished jobs; the job's own, else `records` here.",
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

    from cureplan.assembly.night_record import night_record
    from cureplan.assembly.replan import night_site
    from cureplan.commands.replan import read_plan
    from cureplan.commands.terminal import print_text
    from cureplan.job.night_log import read_night_log
    from cureplan.job.record import record_name, record_text
    from cureplan.job.record_fares import past_fares
    from cureplan.sheets.fares_text import fares_text
    from cureplan.weather.atomic import write_atomically

    plan = read_plan(plan_file)
    if not plan.rooms or not plan.hours:
        raise InputError(
            "this plan has no rooms", cure="name the plan that was worked by", source=plan_file
        )
    events = read_night_log(log_file, site=night_site(plan, whole_night=True))
    if not events:
        raise InputError(
            "the plan has used this log already",
            cure="name the plan the crew began with",
            source=log_file,
        )
    done = night_record(plan, events)
    path = _path(plan, out, record_name(done), force=force)
    write_atomically(path, record_text(done))
    past = past_fares([done])
    if as_json:
        print_text(
            json.dumps(
                {"record": str(path), "past": None if past is None else asdict(past)}, indent=2
            )
        )
        return
    if past is not None:
        print_text(fares_text(past))
    print_text(
        f"\n{path} is written. Learn from it: cureplan fit --card {done.card} "
        f"--records {path.parent}"
    )


def _path(plan: Plan, out: Path | None, name: str, *, force: bool) -> Path:
    folder = out or plan.job.records or Path("records")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"{folder}: could not be made ({error.strerror}); name another with --out"
        ) from error
    path = folder / name
    if path.exists() and not force:
        raise InputError(
            "stands already",
            cure="give --force to write over it, or another folder with --out",
            source=path,
        )
    return path
