"""How often plans hold: ours, another version's, and a free search beside them.

    python tests/bench/chances.py                          the pinned jobs and 30 drawn ones
    python tests/bench/chances.py --drawn 5 --seconds 20   fewer, and a shorter free search
    python tests/bench/chances.py --other CHECKOUT         another version's plans as well
    CUREPLAN_ASKED=0.99 python tests/bench/chances.py      every job asks for more

Every schedule is judged by the odds of this version, over the same nights. The free search
knows no tables and no solver: it moves single starts, whole evenings and remedies of the
best plan known so far, keeps what the odds like better, and ends by the clock. It keeps
shifts, crews, ways out, windows as expected and openings; it may use any remedy the job
lists. "Gap" is what it found above ours, in points.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
PINNED = HERE.parent / "pinned" / "jobs"
# Another version's checkout comes first where its plans are asked for.
sys.path[:0] = [os.environ.get("CUREPLAN_CHECKOUT", str(HERE.parents[1])), str(HERE)]

from instances import drawn_job  # noqa: E402

from cureplan.api import get_weather, read_job  # noqa: E402
from cureplan.inputs.job.model import Job  # noqa: E402
from cureplan.planning.floor.pour import PourOption, RoomPours  # noqa: E402
from cureplan.planning.odds.risk import assess, known_until  # noqa: E402
from cureplan.planning.schedule.construct import construct, prepare_pours  # noqa: E402
from cureplan.planning.schedule.outcome import Schedule  # noqa: E402
from cureplan.planning.schedule.placing import (  # noqa: E402
    PlacedCoat,
    crew_spans,
    place_layer,
    place_pour,
)
from cureplan.weather.hours.series import HourlySeries  # noqa: E402

NAMES = ("one-room", "metric-spanish", "ten-rooms", "short-of-policy", "humidity-card")
NOW = datetime(2026, 6, 10, 9, tzinfo=UTC)
SIZES = (2, 3, 4, 5, 6)
STEPS_MIN = (-60, -30, -15, -5, -2, 2, 5, 15, 30, 60)
MEMBERS = 400
ASKED = os.environ.get("CUREPLAN_ASKED")

Starts = dict[str, Any]
"""By "room/pour" a start and an option, by "room/layer" a begin [epoch s]."""


def jobs(drawn: int) -> Iterator[tuple[str, Job, HourlySeries, datetime]]:
    # Of this checkout, whichever version plans them.
    demo = HERE.parents[1] / "cureplan" / "demo_data" / "school-kitchen.toml"
    for path in (demo, *(PINNED / f"{name}.toml" for name in NAMES)):
        job = read_job(path)
        yield path.stem, asking(job), get_weather(job, now=NOW), NOW
    for seed in range(drawn):
        rooms = SIZES[seed % len(SIZES)]
        job, weather = drawn_job(rooms, seed=1000 + seed)
        yield f"drawn {seed} ({rooms} rooms)", asking(job), weather, job.access.begins


def asking(job: Job) -> Job:
    """The job with the confidence all jobs are to be asked for, if any."""
    if ASKED is None:
        return job
    return replace(job, policy=replace(job.policy, confidence=float(ASKED)))


def starts_of(schedule: Schedule) -> Starts:
    found: Starts = {}
    for pour in schedule.pours:
        option = (pour.option.chilled, pour.option.cool_filler, pour.option.bays)
        found[f"{pour.room}/pour"] = [pour.start_s, *option]
    for coat in (*schedule.coats, *schedule.primers):
        found[f"{coat.room}/{coat.work.layer.kind}{coat.work.layer.number}"] = coat.begins_s
    return found


def placed(job: Job, pours: dict[str, RoomPours], starts: Starts) -> Schedule:
    """Starts put into hours, everything as expected; that rules are kept is not looked at."""
    laid, coats, primers = [], [], []
    for room in job.rooms:
        start_s, chilled, cool, bays = starts[f"{room.name}/pour"]
        option = PourOption(chilled=chilled, cool_filler=cool, bays=bays)
        ready, works, below = pours[room.name], pours[room.name].works(option), None
        for number, work in enumerate(works):
            if number == ready.pour_task:
                below = place_pour(ready, option, start_s, confidence=0.5, below=below)
                laid.append(below)
                continue
            begins_s = starts[f"{room.name}/{work.layer.kind}{work.layer.number}"]
            below = place_layer(ready, work, below, begins_s, confidence=0.5)
            (primers if number < ready.pour_task else coats).append(below)
    return Schedule(
        pours=tuple(sorted(laid, key=lambda p: p.start_s)),
        coats=tuple(sorted(coats, key=lambda c: c.begins_s)),
        primers=tuple(primers),
        failures=(),
        required_s=job.policy.margin_s,
    )


def _closed(coat: PlacedCoat) -> tuple[float, float]:
    return coat.closed.begins_s, coat.closed.ends_s


@dataclass
class Rules:
    """What a free plan has to keep on the expected night."""

    job: Job

    def kept(self, schedule: Schedule) -> bool:
        tasks = [
            (p.room, "pour", p.start_s, p.end_s, p.start_s, p.walkable_s, p.window)
            for p in schedule.pours
        ]
        tasks += [
            (c.room, c.work.layer.crew, c.begins_s, c.end_s, *_closed(c), c.window)
            for c in (*schedule.coats, *schedule.primers)
        ]
        starts = [p.start_s for p in schedule.pours] + [c.start_s for c in schedule.coats]
        windows = [p.window for p in schedule.pours] + [c.window for c in schedule.coats]
        if not all(w.opens_s <= s <= w.closes_s for s, w in zip(starts, windows, strict=True)):
            return False
        return self._in_shift(tasks) and self._apart(tasks) and self._open(schedule)

    def _in_shift(self, tasks: list[Any]) -> bool:
        crew = self.job.crew
        for _, who, begins_s, ends_s, *_ in tasks:
            shifts = crew.topcoat_shifts if who == "topcoat" else crew.pour_shifts
            spans = crew_spans(self.job, shifts)
            if not any(
                s.begins_s + crew.setup_s <= begins_s and ends_s <= s.ends_s for s in spans
            ):
                return False
        return True

    def _apart(self, tasks: list[Any]) -> bool:
        turn_s = self.job.crew.changeover_s
        for i, (room, who, begins_s, ends_s, shuts_s, walks_s, _) in enumerate(tasks):
            for room2, who2, begins2_s, ends2_s, shuts2_s, walks2_s, _ in tasks[i + 1 :]:
                if (who == "topcoat") == (who2 == "topcoat") and (
                    begins_s < ends2_s + turn_s and begins2_s < ends_s + turn_s
                ):
                    return False
                if room2 in self.job.crossed_from(room) and (
                    begins_s < walks2_s and shuts2_s < ends_s
                ):
                    return False
                if room in self.job.crossed_from(room2) and (
                    begins2_s < walks_s and shuts_s < ends2_s
                ):
                    return False
        return True

    def _open(self, schedule: Schedule) -> bool:
        last = {coat.room: coat.after.opens_s for coat in schedule.coats}
        return all(at <= self.job.due(room).timestamp() for room, at in last.items())


def free_search(
    job: Job,
    pours: dict[str, RoomPours],
    first: Starts,
    *,
    issued_s: float,
    seconds: float,
    seed: int,
) -> tuple[float, int]:
    """The best chance found near a plan, by all members, and how many plans were judged."""
    draw, rules, judged = random.Random(seed), Rules(job), 0
    best = dict(first)
    worth = _chance(job, pours, placed(job, pours, best), issued_s, MEMBERS)
    ends = time.monotonic() + seconds
    while time.monotonic() < ends:
        other = _moved(job, best, draw)
        schedule = placed(job, pours, other)
        if not rules.kept(schedule):
            continue
        judged += 1
        found = _chance(job, pours, schedule, issued_s, MEMBERS)
        if found >= worth:
            best, worth = other, found
    return _chance(job, pours, placed(job, pours, best), issued_s, 1000), judged


def _chance(
    job: Job, pours: dict[str, RoomPours], schedule: Schedule, issued_s: float, members: int
) -> float:
    return assess(job, pours, schedule, issued_s=issued_s, members=members).all_frac


def _moved(job: Job, starts: Starts, draw: random.Random) -> Starts:
    found = {name: list(v) if isinstance(v, list) else v for name, v in starts.items()}
    step_s = 60.0 * draw.choice(STEPS_MIN)
    kind = draw.random()
    if kind < 0.25:
        _change_option(job, found, draw)
    names = sorted(found)
    some = [draw.choice(names)]
    if kind > 0.5:
        # A whole stretch: everything of one crew from some task on.
        after, pour = _begin(found[some[0]]), some[0].endswith("/pour")
        some = [n for n in names if n.endswith("/pour") == pour and _begin(found[n]) >= after]
    for name in some:
        if isinstance(found[name], list):
            found[name][0] += step_s
        else:
            found[name] += step_s
    return found


def _begin(value: Any) -> float:
    return float(value[0] if isinstance(value, list) else value)


def _change_option(job: Job, starts: Starts, draw: random.Random) -> None:
    value = starts[f"{draw.choice(job.rooms).name}/pour"]
    allowed = job.policy.remedies
    what = draw.choice(("chill", "cool filler", "bays"))
    if what not in allowed:
        return
    if what == "bays":
        value[3] = max(1, min(4, value[3] + draw.choice((-1, 1))))
    else:
        place = 1 if what == "chill" else 2
        value[place] = not value[place]


def of_other(checkout: Path, drawn: int) -> dict[str, Starts | None]:
    """Another version's schedules, by the name of the job; None where it has none."""
    run = subprocess.run(
        [sys.executable, __file__, "--drawn", str(drawn), "--only-starts"],
        env={**os.environ, "CUREPLAN_CHECKOUT": str(checkout)},
        stdout=subprocess.PIPE,
        check=True,
        text=True,
    )
    return dict(json.loads(run.stdout))


def print_starts(drawn: int) -> None:
    """For the other version's process: what it plans, as JSON."""
    found = {}
    for name, job, weather, _ in jobs(drawn):
        schedule = construct(job, prepare_pours(job, weather))
        found[name] = starts_of(schedule) if schedule.pours else None
    print(json.dumps(found))


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--drawn", type=int, default=30)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--other", type=Path)
    parser.add_argument("--only-starts", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.only_starts:
        print_starts(asked.drawn)
        return
    from cureplan.planning.plan.choose import choose
    from cureplan.planning.schedule.floor_model import Tables

    others = of_other(asked.other, asked.drawn) if asked.other else {}
    heads = ("asked", "ours", "other", "free", "gap", "tried")
    print(f"{'job':24} {' '.join(f'{head:>6}' for head in heads)} cpu")
    for name, job, weather, now in jobs(asked.drawn):
        began_s = time.process_time()
        pours = prepare_pours(job, weather)
        issued_s = known_until(job, now_s=now.timestamp())
        chosen = choose(job, Tables(pours=pours), issued_s=issued_s)
        cost_s = time.process_time() - began_s
        if chosen.odds is None:
            print(f"{name:24} no plan")
            continue
        ours = starts_of(chosen.schedule)
        free, tried = chosen.chance_frac, 0
        if asked.seconds and not chosen.keeps_policy(job):
            free, tried = free_search(
                job, pours, ours, issued_s=issued_s, seconds=asked.seconds, seed=7
            )
        old = others.get(name)
        other = None
        if old is not None:
            other = _chance(job, pours, placed(job, pours, old), issued_s, 1000)
        told = "  none" if other is None else f"{other:6.3f}"
        print(
            f"{name:24} {job.policy.confidence:6.2f} {chosen.chance_frac:6.3f} {told} "
            f"{free:6.3f} {100 * (free - chosen.chance_frac):6.1f} {tried:6d} {cost_s:.1f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
