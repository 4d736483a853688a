"""What is too long for a page's answer, in a process of its own: plans, and plans in hand.

Tasks come as lines of JSON on standard input, answers go as lines on standard output; when
the desk is gone the input ends, and this process with it. Ctrl-C, sent by the desk, ends a
search with the best so far.
"""

from __future__ import annotations

import json
import os
import queue
import signal
import sys
import threading
from collections.abc import Callable, Mapping
from contextlib import redirect_stdout
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cureplan.core.errors import CurePlanError, NoFeasiblePlanError
from cureplan.core.kept import keep_results
from cureplan.desk.worker import UP

if TYPE_CHECKING:
    from cureplan.desk.moved import PlanInHand
    from cureplan.planning.plan.model import Plan

__all__ = ["main"]

Tell = Callable[[Mapping[str, Any]], None]
MOST_KEPT = 120_000_000
"""Bytes of tables, runs and draws kept from one plan to the next: of five rooms a plan makes
some 75 MB."""


def main() -> None:
    """Work until the input ends."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    out, lines, number = sys.stdout, queue.Queue[str](), 0
    keep_results(MOST_KEPT)
    threading.Thread(target=_listen, args=(lines,), daemon=True).start()

    def tell(answer: Mapping[str, Any]) -> None:
        out.write(json.dumps({**answer, "number": number}) + "\n")
        out.flush()

    out.write(json.dumps(UP) + "\n")
    out.flush()
    # Nothing but answers may stand among them.
    with redirect_stdout(sys.stderr):
        while True:
            try:
                task = json.loads(lines.get())
                number = task["number"]
                _do(task, tell)
            except KeyboardInterrupt:
                tell({"ended": True, "stopped": True})


def _listen(lines: queue.Queue[str]) -> None:
    for line in sys.stdin:
        lines.put(line)
    # In the middle of a search too: nobody waits for it any more.
    os._exit(0)


def _do(task: Mapping[str, Any], tell: Tell) -> None:
    try:
        answer = _TASKS[str(task["do"])](task, tell)
    except CurePlanError as error:
        answer = {"fault": str(error)}
    except Exception as error:  # noqa: BLE001
        import traceback

        traceback.print_exception(error)
        answer = {"fault": f"this is a fault of cureplan, not yours ({type(error).__name__})"}
    tell({"ended": True, **answer})


def _progress(tell: Tell) -> Callable[[str], None]:
    """How far it is, for a page that has a button to stop it."""
    return lambda words: tell({"words": words.removesuffix("; Ctrl-C ends it")})


def _plan(task: Mapping[str, Any], tell: Tell) -> Mapping[str, Any]:
    """Plan a job and write its sheets, before help is looked for and again with it.

    Pictures are drawn when somebody asks for one: after most edits nobody does.
    """
    from cureplan.api import make_plan, write_sheets
    from cureplan.inputs.job.reader import read_own_job

    job = read_own_job(task["job"])
    now = datetime.fromisoformat(task["now"])
    stand: list[Plan] = []

    def write(found: Plan) -> None:
        write_sheets(found, Path(task["out"]), pictures=False)
        stand.append(found)

    def shown(found: Plan) -> None:
        # Help where it falls short may take longer than the plan did, and the foreman waits.
        write(found)
        tell({"words": "this is the plan; looking at what would help", "shown": True})

    try:
        made = make_plan(
            job, now=now, progress=_progress(tell), answered=stand.append, shown=shown
        )
    except KeyboardInterrupt:
        # Stopped while its doubt was taken apart: the plan stands without.
        if not stand:
            raise
        made = replace(stand[-1])
    if made is not stand[-1]:
        write(made)
    return {"plan": summary(made)}


def _draw(task: Mapping[str, Any], _: Tell) -> Mapping[str, Any]:
    """The pictures of the plan that lies there."""
    from cureplan.output.sheet.write import write_pictures

    write_pictures(Path(task["out"]))
    return {"drawn": True}


def _what_if(task: Mapping[str, Any], tell: Tell) -> Mapping[str, Any]:
    """What planning anew with one thing changed would give; nothing is written."""
    from cureplan.api import plan_by, read_plan
    from cureplan.desk.moved import change_of, wished
    from cureplan.inputs.job.edits import check_job
    from cureplan.inputs.job.reader import read_own_job

    job, plan = read_own_job(task["job"]), read_plan(Path(task["out"]))
    wish, options = wished(job, plan, change_of(task["change"]))
    check_job(wish)
    made = plan_by(
        wish,
        now=datetime.fromisoformat(task["now"]),
        weather=None,
        options=options,
        what_helps=False,
        progress=_progress(tell),
    )
    return {"what_if": summary(made)}


def summary(plan: Plan) -> dict[str, Any]:
    """What a list of what-ifs, or news of the weather, says of a plan."""
    from cureplan.desk.moved import said_at

    zone = plan.job.site.zone
    tightest = min(plan.rooms, key=lambda room: room.margin_min, default=None)
    if tightest is None:
        return {"status": plan.status}
    first = min(room.pour_start for room in plan.rooms).astimezone(zone)
    opens = max(room.opens for room in plan.rooms).astimezone(zone)
    return {
        "status": plan.status,
        "chance": round(plan.risk.all_keep_frac, 3),
        "margin_min": round(tightest.margin_min, 1),
        "tightest": tightest.room,
        "first": said_at(first, plan.job.clock),
        "first_s": first.timestamp(),
        "opens": said_at(opens + timedelta(seconds=59), plan.job.clock),
        "iced": sum(room.chilled for room in plan.rooms),
        "rooms": len(plan.rooms),
    }


_in_hand: dict[tuple[str, ...], PlanInHand] = {}


def _move(task: Mapping[str, Any], _: Tell) -> Mapping[str, Any]:
    """A plan in hand with one thing changed: its margins and opening, or its chance."""
    from cureplan.desk.moved import change_of

    hand = _hand(task)
    change = change_of(task["change"])
    if task["chance"]:
        return {"moved": {"chance": hand.chance(change)}}
    return {"moved": hand.quick(change)}


def _hand(task: Mapping[str, Any]) -> PlanInHand:
    from cureplan.api import get_weather, read_plan
    from cureplan.desk.moved import PlanInHand
    from cureplan.inputs.job.reader import read_own_job
    from cureplan.planning.floor.weather_hours import known_range

    key = (task["job"], task["job_mark"], task["plan_mark"])
    if key not in _in_hand:
        _in_hand.clear()
        job = read_own_job(task["job"])
        plan = read_plan(Path(task["out"]))
        now = datetime.fromisoformat(task["now"])
        series = known_range(get_weather(job, now=now), job.access.begins)
        _in_hand[key] = PlanInHand(job, plan, now=now, weather=series)
    return _in_hand[key]


def _news(task: Mapping[str, Any], tell: Tell) -> Mapping[str, Any]:
    """The plan as it is on the weather of now, and what planning anew would give."""
    from cureplan.api import get_weather, make_plan, read_plan
    from cureplan.desk.moved import Change, PlanInHand
    from cureplan.inputs.job.reader import read_own_job
    from cureplan.planning.floor.weather_hours import known_range

    job, plan = read_own_job(task["job"]), read_plan(Path(task["out"]))
    now = datetime.fromisoformat(task["now"])
    tell({"words": "looking at the weather"})
    weather = get_weather(job, now=now)
    hand = PlanInHand(job, plan, now=now, weather=known_range(weather, job.access.begins))
    same = {**hand.quick(Change()), "chance": hand.chance(Change())}
    try:
        anew: Mapping[str, Any] = summary(
            make_plan(
                job,
                now=now,
                weather=weather,
                what_helps=False,
                progress=_progress(tell),
            )
        )
    except NoFeasiblePlanError as error:
        anew = {"fault": str(error)}
    return {"news": {"before": summary(plan), "same": same, "anew": anew}}


_TASKS: Mapping[str, Callable[[Mapping[str, Any], Tell], Mapping[str, Any]]] = {
    "plan": _plan,
    "draw": _draw,
    "what if": _what_if,
    "move": _move,
    "news": _news,
}

if __name__ == "__main__":
    main()
