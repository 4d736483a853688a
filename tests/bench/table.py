"""Measure everything and print one table; no pass or fail here.

    python tests/bench/table.py            all of it, some minutes
    python tests/bench/table.py clocks     only the lines whose group holds a word

Groups: clocks, slab, weather, risk, plan, start, desk, size. Times are processor time: of the
shortest of some runs, or of the middle one for whole processes. Ratios are
against a peer in the same run.
"""

from __future__ import annotations

import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
TOP = HERE.parents[1]
# First this tree, whatever is installed.
sys.path[:0] = [str(HERE), str(TOP)]

from clock_peers import by_minutes, by_solver, by_us, question  # noqa: E402
from long_weather import ROWS, WAYS, long_table, read_long, three_stations  # noqa: E402
from test_start import ANSWERS, PEERS  # noqa: E402
from timing import best_s, command, middle, peak_of  # noqa: E402

Line = tuple[str, str, str]
DEMO = TOP / "cureplan" / "demo_data" / "school-kitchen.toml"
QUERIES, SOLVED, STEPPED = 1_000_000, 300, 3000


def clocks() -> Iterator[Line]:
    """A million questions against an integrator and a loop."""
    asked = question(QUERIES)
    ours_s = best_s(lambda: by_us(asked), times=5)
    answers = by_us(asked)
    yield (
        "1,000,000 × when is this milestone reached",
        f"{ours_s:.3f} s",
        f"{ours_s / QUERIES * 1e6:.2f} µs each",
    )
    for name, peer, count in (
        ("scipy solve_ivp with an event", by_solver, SOLVED),
        ("loop over minutes", by_minutes, STEPPED),
    ):
        peer_s = best_s(lambda peer=peer, count=count: peer(asked, count), times=2) / count
        apart = float(np.abs(peer(asked, count) - answers[:count]).max()) / 60
        yield (
            f"- {name}, each",
            f"{peer_s * 1e6:,.0f} µs",
            f"{peer_s / (ours_s / QUERIES):,.0f} × longer; answers within {apart:.4f} min",
        )


def slab() -> Iterator[Line]:
    """Two dozen rooms over a month."""
    from cureplan.science.slab import Slab
    from cureplan.science.slab_grid import slab_on_ground

    floor = Slab(
        layers=slab_on_ground(thickness_m=0.15, insulation_m=0),
        top_w_m2k=7.0,
        lower_w_m2k=None,
        step_s=600.0,
        finest_cell_m=0.01,
    )
    air_c = np.random.default_rng(1).normal(25, 5, (30 * 144 + 1, 24))
    given = {"absorbed_w_m2": 0.0, "lower_c": 18.0, "start_c": None, "keep_profile": False}
    took_s = best_s(lambda: floor.run(air_c, **given), times=5)
    steps = (air_c.shape[0] - 1) * air_c.shape[1]
    yield (
        "slab: 24 rooms, 30 days, 10-minute steps",
        f"{took_s:.3f} s",
        f"{took_s / steps * 1e6:.2f} µs per room and step",
    )


def weather() -> Iterator[Line]:
    """Long tables of hours in two ways of writing, and three stations weighed."""
    from cureplan.weather.providers.hourly import weighed

    for name in WAYS:
        text = long_table(name, ROWS)
        took_s = best_s(lambda text=text: read_long(text), times=2)
        yield (
            f"weather: {ROWS:,} rows, {name}",
            f"{took_s:.2f} s",
            f"{took_s / ROWS * 1e6:.1f} µs a row",
        )
    pieces = three_stations(337)
    took_s = best_s(lambda: weighed(pieces), times=5)
    yield ("weather: three stations weighed, 337 hours", f"{took_s * 1e3:.1f} ms", "")


def risk() -> Iterator[Line]:
    """A thousand nights of the demo."""
    from cureplan.api import demo_job_path, get_weather, read_job
    from cureplan.planning.odds.risk import MEMBERS, assess
    from cureplan.planning.schedule import construct as construction
    from cureplan.planning.schedule.construct import prepare_pours

    job = read_job(demo_job_path("school-kitchen"))
    pours = prepare_pours(job, get_weather(job, now=datetime(2013, 7, 17, 12, tzinfo=UTC)))
    schedule = construction.construct(job, pours)
    known_s = job.access.begins.timestamp() - 12 * 3600
    took_s = best_s(lambda: assess(job, pours, schedule, issued_s=known_s), times=5)
    buckets = sum(
        pours[poured.room].plan(poured.option).layout.kits for poured in schedule.pours
    )
    yield (
        f"risk: {MEMBERS:,} nights of the demo",
        f"{took_s:.3f} s",
        f"{buckets} buckets, {len(schedule.coats)} coats",
    )


def plan() -> Iterator[Line]:
    """Whole plans as they grow, each in a process of its own."""
    for rooms in (5, 12, 24, 48):
        found = json.loads(command(str(HERE / "large_jobs.py"), str(rooms)).output)
        yield (
            f"whole plan, {rooms} rooms",
            f"{found['processor_s']:.1f} s",
            f"{found['seconds']:.1f} s by the clock; peak {found['peak_mb']:.0f} MB, "
            f"{found['before_mb']:.0f} of them before; {found['status']}",
        )


def start() -> Iterator[Line]:
    """Cold starts against bare imports."""
    peers = PEERS
    imports_s = middle(*peers, times=7).processor_s
    for name, words, times in (
        ("bare Python", ("-c", "pass"), 7),
        ("import numpy, pandas, scipy.optimize", peers, 7),
        ("import cureplan.api", ("-c", "import cureplan.api"), 7),
        ("cureplan --help", ("-m", "cureplan", "--help"), 7),
        ("cureplan clock", ("-m", "cureplan", "clock", "fast-slurry", "--at", "90 F"), 5),
        (
            "cureplan chill",
            ("-m", "cureplan", "chill", "fast-slurry", "--air", "95 F", "--slab", "88 F"),
            5,
        ),
        ("cureplan check, the demo's job", ("-m", "cureplan", "check", str(DEMO)), 5),
        ("cureplan demo, to the answers", ("-c", ANSWERS), 3),
        ("cureplan demo, all sheets", ("-m", "cureplan", "demo"), 3),
    ):
        run = middle(*words, times=times)
        yield (
            f"start: {name}",
            f"{run.processor_s:.2f} s",
            f"{run.processor_s / imports_s:.1f} × those imports; "
            f"{run.seconds:.2f} s by the clock; peak {peak_of(*words):.0f} MB",
        )


def desk() -> Iterator[Line]:
    """The desk's planning process after one edit of the job, against the command."""
    from cureplan.desk.work import _draw, _plan

    with tempfile.TemporaryDirectory() as folder:
        job = Path(shutil.copytree(DEMO.parent, folder, dirs_exist_ok=True)) / DEMO.name
        text, out = job.read_text("utf-8"), Path(folder) / "plan"
        now = datetime(2013, 7, 16, 19, tzinfo=UTC).isoformat()
        task = {"job": str(job), "out": str(out), "now": now}
        _plan(task, lambda _: None)
        for setup in ("35 min", "25 min"):
            job.write_text(text.replace('setup = "30 min"', f'setup = "{setup}"'), "utf-8")
            desk_s = best_s(lambda: _plan(task, lambda _: None), times=2)
            run = middle("-m", "cureplan", "plan", str(job), "--out", f"{folder}/own", times=3)
            yield (
                f"desk: planned again, set-up {setup}",
                f"{desk_s:.2f} s",
                f"{desk_s / run.processor_s:.2f} × `cureplan plan`",
            )
        drawn_s = best_s(lambda: _draw(task, lambda _: None), times=2)
        yield ("desk: its pictures, when asked for", f"{drawn_s:.2f} s", "")


def size() -> Iterator[Line]:
    """The wheel."""
    with tempfile.TemporaryDirectory() as folder:
        words = [
            sys.executable,
            "-m",
            "pip",
            "wheel",
            "-q",
            "--no-deps",
            "-w",
            folder,
            str(TOP),
        ]
        subprocess.run(words, check=True)
        [wheel] = Path(folder).glob("*.whl")
        yield ("wheel", f"{wheel.stat().st_size / 1e3:.0f} kB", wheel.name)


GROUPS: dict[str, Callable[[], Iterator[Line]]] = {
    "clocks": clocks,
    "slab": slab,
    "weather": weather,
    "risk": risk,
    "plan": plan,
    "start": start,
    "desk": desk,
    "size": size,
}


def main(words: list[str]) -> None:
    """Print the table as Markdown, line by line as it is measured."""
    print(
        f"Measured {datetime.now(UTC).date().isoformat()} on {os.cpu_count()} cores, "
        f"{platform.system()} {platform.machine()}, Python {platform.python_version()}, "
        f"numpy {np.__version__}.\n"
    )
    print("| what | processor time | |\n|---|---|---|")
    for name, measure in GROUPS.items():
        if words and not any(word in name for word in words):
            continue
        for line in measure():
            print(f"| {' | '.join(line)} |", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
