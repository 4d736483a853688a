"""How often plans hold: ours, another version's, and a free search beside them.

    python tests/bench/chances.py --folder JOBS            the pinned jobs and 30 drawn ones
    python tests/bench/chances.py --drawn 5 --seconds 20   fewer, and a shorter free search

Jobs are written to the folder, as files any version reads; where one stands there with a
plan of another version (JOBS/NAME/plan.json), that plan's starts and remedies are judged too.
Every schedule is judged by the odds of this version, over the same four thousand nights,
which no search has looked at: on the nights it looked at the best of many is lucky. "Said"
is what our plan states. The free search knows no tables and no solver: it moves single
starts, whole evenings and remedies of the best plan known so far, keeps what the odds like
better, and ends by its processor time. It keeps shifts, crews, ways out, windows as expected
and openings; it may use any remedy the job lists, and waits no longer than our plan where a
cooler hour is none of them. "Gap" is what it found above ours, in points of what is asked.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
PINNED = HERE.parent / "pinned" / "jobs"
sys.path[:0] = [str(HERE.parents[1]), str(HERE)]

from instances import drawn_weather  # noqa: E402

from cureplan.api import demo_job_path, get_weather, read_job  # noqa: E402
from cureplan.inputs.job.model import Job  # noqa: E402
from cureplan.planning.floor.pour import PourOption, RoomPours  # noqa: E402
from cureplan.planning.odds.risk import Looked, assess, known_until  # noqa: E402
from cureplan.planning.plan.choose import choose  # noqa: E402
from cureplan.planning.schedule.construct import prepare_pours  # noqa: E402
from cureplan.planning.schedule.floor_model import Tables  # noqa: E402
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
STEPS_MIN = (-1440, -180, -60, -30, -15, -5, -2, 2, 5, 15, 30, 60, 180, 1440)
MEMBERS = 400
SEEDS = (11, 12, 13, 14)
"""Beyond a job's own: of the nights that all are judged by."""
WAIT_S = 600.0
"""What a free plan may stand by longer than ours, from one pour to the next."""
RUNS_KEPT = 2000
"""Of plans judged one after the other: their pours' runs serve the next."""
PATTERN = """display = "us"

[site]
name = "Drawn {seed}"
latitude = 40.0
longitude = -75.0
elevation = "10 m"
time_zone = "America/New_York"

[weather]
source = "file"
file = "drawn-{seed}.csv"

[building]
climate = "{climate}"
lag = "{lag} h"
gain = "3 F"
slab_thickness = "5 in"
ground = "60 F"

[access]
from = 2026-06-10T18:00:00
open_by = 2026-06-{last}T{hour:02}:00:00

[materials]
slurry = "fast-slurry"
topcoat = "clear-topcoat"
aggregate = "quartz"
storage = "{storage}"

[crew]
stations = {stations}
mixer = {stations}
runner = 1
rake = 1
smoother = 1
broadcaster = 2
edge = 1
topcoat = {topcoat}
setup = "40 min"
changeover = "15 min"
pour_shifts = [{{ from = "18:00", to = "{to}:00" }}]
topcoat_shifts = [{{ from = "{coats}:00", to = "17:00" }}]

[policy]
margin = "2 min"
confidence = "{asked} %"
remedies = {remedies}
"""
ROOM = """
[[rooms]]
name = "{name}"
length = "{length} ft"
width = "{width} ft"
use = "{use}"
way_out = {way_out}
"""
USES = ("food preparation", "dish washing", "service", "storage")

Starts = dict[str, Any]
"""By "room/pour" a start and an option, by "room/layer" a begin [epoch s]."""


def jobs(folder: Path, drawn: int) -> Iterator[tuple[str, Job, HourlySeries]]:
    demo = Path(str(demo_job_path("school-kitchen")))
    for path in (demo, *(PINNED / f"{name}.toml" for name in NAMES)):
        job = read_job(path)
        yield path.stem, job, get_weather(job, now=NOW)
    folder.mkdir(parents=True, exist_ok=True)
    for seed in range(drawn):
        path = folder / f"drawn-{seed}.toml"
        write_job(path, seed)
        job = read_job(path)
        yield path.stem, job, get_weather(job, now=NOW)


def write_job(path: Path, seed: int) -> None:
    """A job of one to five rooms and its weather, everything of it drawn."""
    draw = random.Random(f"chances/{seed}")
    weather = drawn_weather(begins=datetime(2026, 6, 10, 18, tzinfo=UTC), days=9, seed=seed)
    rows = [
        f"{datetime.fromtimestamp(at, UTC).isoformat()},{temp_c:.2f},{dew_c:.2f}"
        for at, temp_c, dew_c in zip(
            weather.epoch_s, weather.temp_c, weather.dew_c, strict=True
        )
    ]
    path.with_suffix(".csv").write_text("\n".join(["time,temp_c,dew_c", *rows, ""]))
    rooms, corridor = 1 + seed % 5, draw.random() < 0.7
    text = PATTERN.format(
        seed=seed,
        climate=draw.choice(("drifting", "drifting", "open")),
        lag=draw.choice((2, 5, 9)),
        last=13 + draw.randrange(2),
        hour=draw.choice((6, 11, 17)),
        storage=draw.choice(("room", "70 F", "84 F")),
        stations=draw.choice((1, 2, 2, 3)),
        topcoat=draw.choice((2, 3)),
        to=draw.choice(("02", "04", "06")),
        coats=draw.choice(("01", "04", "06")),
        # What is asked is out of reach for most, so that the chance itself is the goal.
        asked=draw.choice((90, 99, 99)),
        remedies=draw.choice(
            (
                '["hour", "chill", "bays"]',
                '["hour", "chill"]',
                '["hour"]',
                '["chill", "cool filler", "bays"]',
            )
        ),
    )
    for number in range(rooms):
        last = number == rooms - 1 and rooms > 1 and corridor
        text += ROOM.format(
            name="Corridor" if last else f"Room {number + 1}",
            length=draw.randint(10, 34),
            width=draw.randint(5, 8) if last else draw.randint(7, 18),
            use="passage" if last else draw.choice(USES),
            way_out='["Corridor"]' if corridor and not last and rooms > 1 else "[]",
        )
    path.write_text(text)


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
    most_wait_s: float = float("inf")
    """How long the pouring crew may stand by."""

    @classmethod
    def beside(cls, job: Job, ours: Schedule) -> Rules:
        """As free as our plan is."""
        rules = cls(job)
        if "hour" not in job.policy.remedies:
            rules.most_wait_s = rules.waits_s(ours) + WAIT_S
        return rules

    def waits_s(self, schedule: Schedule) -> float:
        """How long the crew stands by from its shifts' begin to its last pours' end."""
        found = 0.0
        for span in crew_spans(self.job, self.job.crew.pour_shifts):
            there = [p for p in schedule.pours if span.meets(p.start_s, p.end_s)]
            if there:
                found += max(p.end_s for p in there) - span.begins_s
                found -= sum(p.end_s - p.start_s for p in there)
        return found

    def kept(self, schedule: Schedule) -> bool:
        if self.waits_s(schedule) > self.most_wait_s:
            return False
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
    draw, judged = random.Random(seed), 0
    rules = Rules.beside(job, placed(job, pours, first))
    best, looked = dict(first), Looked()

    def chance(schedule: Schedule) -> float:
        found = assess(job, pours, schedule, issued_s=issued_s, members=MEMBERS, looked=looked)
        return found.all_frac

    worth = chance(placed(job, pours, best))
    ends = time.process_time() + seconds
    while time.process_time() < ends:
        other = _moved(job, best, draw)
        schedule = placed(job, pours, other)
        if not rules.kept(schedule):
            continue
        judged += 1
        if judged % RUNS_KEPT == 0:
            looked = looked.with_other_runs()
        found = chance(schedule)
        if found >= worth:
            best, worth = other, found
    return _chance(job, pours, placed(job, pours, best), issued_s), judged


def _chance(
    job: Job, pours: dict[str, RoomPours], schedule: Schedule, issued_s: float
) -> float:
    """How often a schedule holds on nights that no search has looked at."""
    found = [
        assess(replace(job, seed=job.seed + seed), pours, schedule, issued_s=issued_s).all_frac
        for seed in SEEDS
    ]
    return sum(found) / len(found)


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


def of_other(path: Path) -> Starts | None:
    """Starts and remedies of a plan that another version wrote; None where it has none."""
    if not path.exists():
        return None
    plan, found = json.loads(path.read_text()), {}
    for room in plan["rooms"]:
        buckets = [b for b in plan["buckets"] if b["room"] == room["room"]]
        first = min(_epoch(bucket["liquids_in"]) for bucket in buckets)
        cool = bool(room.get("cool_filler", room.get("filler_cooled", False)))
        found[f"{room['room']}/pour"] = [first, room["chilled"], cool, room["bays"]]
    for coat in plan["coats"]:
        found[f"{coat['room']}/topcoat{coat['coat']}"] = _epoch(coat["start"])
    return found


def _epoch(text: str) -> float:
    return datetime.fromisoformat(text).timestamp()


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--folder", type=Path, required=True)
    parser.add_argument("--drawn", type=int, default=30)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--only", help="names of jobs, with commas between")
    parser.add_argument("--write", action="store_true", help="write the drawn jobs, no more")
    asked = parser.parse_args()
    heads = ("asked", "said", "ours", "other", "free", "gap", "tried")
    print(f"{'job':18} {' '.join(f'{head:>6}' for head in heads)} cpu")
    for name, job, weather in jobs(asked.folder, asked.drawn):
        if asked.write or (asked.only and name not in asked.only.split(",")):
            continue
        began_s = time.process_time()
        pours = prepare_pours(job, weather)
        issued_s = known_until(job, now_s=NOW.timestamp())
        chosen = choose(job, Tables(pours=pours), issued_s=issued_s)
        cost_s = time.process_time() - began_s
        if chosen.odds is None:
            print(f"{name:18} no plan", flush=True)
            continue
        held = _chance(job, pours, chosen.schedule, issued_s)
        free, tried = held, 0
        if asked.seconds and not chosen.keeps_policy(job):
            free, tried = free_search(
                job, pours, starts_of(chosen.schedule),
                issued_s=issued_s, seconds=asked.seconds, seed=7,
            )  # fmt: skip
        old = of_other(asked.folder / name / "plan.json")
        told = "  none"
        if old is not None:
            told = f"{_chance(job, pours, placed(job, pours, old), issued_s):6.3f}"
        wanted = job.policy.confidence
        gap = min(free, wanted) - min(held, wanted)
        print(
            f"{name:18} {wanted:6.2f} {chosen.chance_frac:6.3f} {held:6.3f} {told} "
            f"{free:6.3f} {100 * gap:6.1f} {tried:6d} {cost_s:.1f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
