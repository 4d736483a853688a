"""Jobs of many rooms, made from the demo by repeating its rooms; and their summer.

python tests/bench/large_jobs.py 12        plans twelve rooms and prints what it took,
without looking for what would help
"""

from __future__ import annotations

import json
import sys
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from datetime import time as clock_time
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP), str(TOP / "data"), str(Path(__file__).resolve().parent)]

from make_heat_wave import STATION, ZONE, source_rows  # noqa: E402
from timing import peak_mb  # noqa: E402

from cureplan.api import demo_job_path, make_plan, read_job  # noqa: E402
from cureplan.core.errors import NoFeasiblePlanError  # noqa: E402
from cureplan.inputs.job.model import Job, Shift  # noqa: E402
from cureplan.weather.hours.csv_file import read_weather_csv  # noqa: E402
from cureplan.weather.hours.series import HourlySeries  # noqa: E402

NOW = datetime(2013, 7, 17, 12, tzinfo=UTC)
NIGHTS = {5: 0, 12: 2, 24: 5}
"""Nights of access beyond the demo's, so that as many rooms can be done at all."""


def long_summer() -> HourlySeries:
    """July and August 2013 at the demo's airport, all of it (open data)."""
    lines = ["time,temp_f,dew_f"]
    for row in source_rows():
        local = datetime.fromisoformat(row["time_hour"]).astimezone(ZONE)
        if row["origin"] == STATION and local.year == 2013 and local.month in (7, 8):
            lines.append(f"{local.isoformat()},{row['temp']},{row['dewp']}")
    with tempfile.TemporaryDirectory() as folder:
        table = Path(folder) / "summer.csv"
        table.write_text("\n".join(lines) + "\n", encoding="utf-8")
        series = read_weather_csv(table)
    return series.slice(NOW - timedelta(days=7), NOW + timedelta(days=20))


def job_of(count: int) -> Job:
    """The demo's kitchen, again and again, until it has `count` rooms."""
    demo = read_job(demo_job_path("school-kitchen"))
    rooms = []
    for number in range(count):
        copy, which = divmod(number, len(demo.rooms))
        room = demo.rooms[which]
        suffix = f" {copy + 1}" if copy else ""
        # A way out that the cut-off last kitchen lacks is left out.
        kept = (count - copy * len(demo.rooms)) >= len(demo.rooms)
        way_out = tuple(f"{name}{suffix}" for name in room.way_out) if kept else ()
        rooms.append(replace(room, name=room.name + suffix, way_out=way_out))
    access = replace(
        demo.access, open_by=demo.access.open_by + timedelta(days=NIGHTS.get(count, count // 4))
    )
    # Floors poured early in a night are too old by its morning: coats go on by night too.
    midnight = clock_time(0, 0)
    crew = replace(demo.crew, topcoat_shifts=(Shift(begins=midnight, ends=midnight),))
    return replace(demo, rooms=tuple(rooms), access=access, crew=crew)


def main(count: int) -> None:
    """Plan once and print what it took, as JSON."""
    job, weather = job_of(count), long_summer()
    before_mb, began, worked = peak_mb(), time.perf_counter(), time.process_time()
    try:
        plan = make_plan(job, now=NOW, weather=weather, what_helps=False)
    except NoFeasiblePlanError as error:
        status = str(error)
    else:
        decided = plan.decisions
        proven = "proven best" if decided.proven else "not proven best"
        if not decided.proven and decided.gap_frac is not None:
            proven += f", gap {decided.gap_frac:.1%}"
        status = f"{plan.status}, {plan.risk.all_keep_frac:.1%}, {decided.solver}, {proven}"
    took = {
        "rooms": count,
        "seconds": time.perf_counter() - began,
        "processor_s": time.process_time() - worked,
        "status": status,
        "before_mb": before_mb,
        "peak_mb": peak_mb(),
    }
    print(json.dumps(took))


if __name__ == "__main__":
    main(int(sys.argv[1]))
