"""A plan's file, read back."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from cureplan.core.errors import InputError

if TYPE_CHECKING:
    from cureplan.planning.plan.model import Plan

__all__ = ["LARGEST_PLAN_BYTES", "read_plan"]

LARGEST_PLAN_BYTES = 50_000_000
"""A plan of forty rooms has some 5 MB."""


def read_plan(path: Path | str) -> Plan:
    """A plan from its plan.json, or from the folder that holds it.

    Not for a file changed by hand: a plan is a result, and its digest tells.

    Raises
    ------
    InputError
        No such file, or not a plan this version can read.

    Examples
    --------
    >>> read_plan("nowhere/plan.json")
    Traceback (most recent call last):
    ...
    cureplan.core.errors.InputError: nowhere/plan.json: there is no such file; check the name
    """
    from cureplan.core.writing import settle, whole_file
    from cureplan.inputs.job.edits import check_job
    from cureplan.planning.plan.model import plan_from_json

    source = Path(path)
    try:
        if source.is_dir() and (source / "plan.json").exists():
            source = source / "plan.json"
        if source.is_dir():
            raise InputError("this is a folder", cure="name its plan.json", source=source)
        settle(source.parent)
        data = whole_file(source, largest_bytes=LARGEST_PLAN_BYTES)
        if data is None:
            raise InputError("not a regular file", cure="name a plan.json", source=source)
        if len(data) > LARGEST_PLAN_BYTES:
            raise InputError("too large for a plan", cure="check the file", source=source)
        text = data.decode("utf-8-sig")
    except FileNotFoundError:
        raise InputError("there is no such file", cure="check the name", source=path) from None
    except UnicodeDecodeError:
        raise InputError("not a text in UTF-8", cure="name a plan.json", source=path) from None
    except (OSError, RuntimeError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError(
            f"cannot be read ({reason})", cure="check path and rights", source=path
        ) from None
    plan = plan_from_json(text, source=source)
    try:
        check_job(plan.job)
    except (ArithmeticError, InputError) as error:
        raise InputError(
            f"not a plan: {error}",
            cure="make the plan again with `cureplan plan`",
            source=source,
        ) from None
    return plan
