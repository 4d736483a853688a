"""Measure everything and print one table; no pass or fail here.

    python tests/bench/table.py            all of it, a quarter of an hour on a quiet machine
    python tests/bench/table.py clocks     only the lines whose group holds a word
    python tests/bench/table.py --write    all of it, into DEVELOPERS.md in place of what stands

Groups: clocks, slab, weather, risk, parts, plan, order, start, desk, size. Times are processor
time: of the shortest of some runs, or of the middle one for whole processes. Ratios are
against a peer in the same run. How often plans hold is no part of it: `chances.py` takes hours.
"""

from __future__ import annotations

import itertools
import json
import os
import platform
import re
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path
from typing import Any
from unittest import mock

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
Task = dict[str, str]
DEMO = TOP / "cureplan" / "demo_data" / "school-kitchen.toml"
QUERIES, SOLVED, STEPPED = 1_000_000, 300, 3000
ORDERED, DRAWN = (5, 8, 12, 24), 3
BEGIN, END = "<!-- table.py -->\n", "<!-- end of table.py -->"


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


def parts() -> Iterator[Line]:
    """Where the processor time of the demo's plan goes; the second of two, all imported."""
    from cureplan import api, judge
    from cureplan.output.sheet import write
    from cureplan.planning.plan import assemble, choose
    from cureplan.planning.schedule import construct, tried

    job = api.read_job(api.demo_job_path())
    now = job.access.begins.astimezone(UTC).replace(hour=12)
    took: dict[str, float] = {}

    def clocked(name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def timed(*words: Any, **named: Any) -> Any:
            began = time.process_time()
            try:
                return call(*words, **named)
            finally:
                took[name] = took.get(name, 0.0) + time.process_time() - began

        return timed

    with ExitStack() as stack, tempfile.TemporaryDirectory() as folder:
        for holder, name, what in (
            (construct, "prepare_pours", "slabs, air and clocks of the rooms"),
            (choose, "choose", "choosing order, hours and remedies"),
            (tried, "try_others", "what other ways would give"),
            (assemble, "made_of", "table of doubt, 11 looks"),
            (assemble, "assemble", "putting together, with the table of doubt"),
            (judge, "require_confirmed", "judging"),
        ):
            call = clocked(what, getattr(holder, name))
            stack.enter_context(mock.patch.object(holder, name, call))
        for _ in range(2):
            took.clear()
            made = clocked("all of it, read and planned", api.make_plan)(job, now=now)
        clocked("writing the sheet", write.write_sheets)(made, Path(folder), pictures=False)
        clocked("drawing the pictures", write.write_pictures)(Path(folder))
    for name, took_s in took.items():
        yield (f"demo: {name}", f"{took_s:.2f} s", "")


def plan() -> Iterator[Line]:
    """Whole plans as they grow, each in a process of its own, without what would help."""
    for rooms in (5, 12, 24, 48):
        found = json.loads(command(str(HERE / "large_jobs.py"), str(rooms)).output)
        yield (
            f"whole plan, {rooms} rooms",
            f"{found['processor_s']:.1f} s",
            f"{found['seconds']:.1f} s by the clock; peak {found['peak_mb']:.0f} MB, "
            f"{found['before_mb']:.0f} of them before; {found['status']}",
        )


def order() -> Iterator[Line]:
    """Order and start of drawn jobs, and a solver of another kind beside."""
    for rooms in ORDERED:
        peer_s = "0" if rooms == max(ORDERED) else "20"
        words = (str(rooms), "--peer-s", peer_s, "--seeds", str(DRAWN), "--json")
        rows = json.loads(command(str(HERE / "order_rooms.py"), *words).output)
        proven = sum(row["proven"] for row in rows)
        text = f"first answer {_from_to(rows, 'first_s')}; {proven} of {len(rows)} proven, "
        text += f"gap {_from_to(rows, 'gap_percent', '%')}"
        if peer_s != "0":
            text += f"; HiGHS {_from_to(rows, 'peer_s')}"
            none = sum(row["peer_gap_percent"] is None for row in rows)
            text += f", its gap {_from_to(rows, 'peer_gap_percent', '%')}"
            text += f", no answer for {none} of {len(rows)}" if none else ""
        yield (f"order and start, {rooms} rooms", _from_to(rows, "all_s"), text)


def _from_to(rows: list[dict[str, Any]], key: str, unit: str = "s") -> str:
    found = sorted(float(row[key]) for row in rows if row[key] is not None)
    return f"{found[0]:.1f}-{found[-1]:.1f} {unit}" if found else "none"


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


@contextmanager
def _planning_process() -> Iterator[tuple[subprocess.Popen[str], Callable[[Task], float]]]:
    """A desk's planning process, and what tells a task's processor time in it [s]."""
    words = [sys.executable, "-P", "-m", "cureplan.desk.work"]
    # One thread of BLAS, as the desk that starts it has.
    place = {**os.environ, "PYTHONPATH": str(TOP), "OPENBLAS_NUM_THREADS": "1"}
    pipe = subprocess.PIPE
    with subprocess.Popen(words, env=place, stdin=pipe, stdout=pipe, text=True) as worker:
        numbers = itertools.count(1)

        def used_s() -> float:
            fields = Path(f"/proc/{worker.pid}/stat").read_text("ascii").rpartition(")")[2]
            ticks = sum(int(field) for field in fields.split()[11:13])
            return ticks / os.sysconf("SC_CLK_TCK")

        def do(task: Task) -> float:
            began_s = used_s()
            worker.stdin.write(json.dumps({**task, "number": next(numbers)}) + "\n")  # type: ignore[union-attr]
            worker.stdin.flush()  # type: ignore[union-attr]
            while not json.loads(worker.stdout.readline()).get("ended"):  # type: ignore[union-attr]
                pass
            return used_s() - began_s

        yield worker, do
        worker.stdin.close()  # type: ignore[union-attr]


def desk() -> Iterator[Line]:
    """The desk's planning process after one edit of the job, against the command."""
    from cureplan.desk.work import _draw

    with tempfile.TemporaryDirectory() as folder:
        job = Path(shutil.copytree(DEMO.parent, folder, dirs_exist_ok=True)) / DEMO.name
        text, out = job.read_text("utf-8"), Path(folder) / "plan"
        now = datetime(2013, 7, 16, 19, tzinfo=UTC).isoformat()
        task = {"do": "plan", "job": str(job), "out": str(out), "now": now}
        with _planning_process() as (_, do):
            do(task)
            for setup in ("35 min", "25 min"):
                job.write_text(text.replace('setup = "30 min"', f'setup = "{setup}"'), "utf-8")
                desk_s = do(task)
                words = ("-m", "cureplan", "plan", str(job), "--out", f"{folder}/own")
                run = middle(*words, times=3)
                yield (
                    f"desk: planned again, set-up {setup}",
                    f"{desk_s:.2f} s",
                    f"{desk_s / run.processor_s:.2f} × `cureplan plan`",
                )
        drawn_s = best_s(lambda: _draw(task, lambda _: None), times=2)
        yield ("desk: its pictures, when asked for", f"{drawn_s:.2f} s", "")
        yield from _in_hand(job, out, datetime.fromisoformat(now), run.processor_s)
        yield from _held_mb(job.parent, task)
    adds = sum(
        (file.size or 0)
        for name in ("starlette", "uvicorn", "segno", "anyio", "h11")
        for file in metadata.files(name) or ()
        if file.suffix != ".pyc"
    )
    yield (
        "desk: what `cureplan[desk]` adds",
        f"{adds / 1e6:.1f} MB",
        "starlette, uvicorn, segno, anyio, h11, without bytecode",
    )


def _in_hand(job: Path, out: Path, now: datetime, plan_s: float) -> Iterator[Line]:
    """A plan that is moved, at once and planned anew."""
    from cureplan.api import get_weather, read_job, read_plan
    from cureplan.desk.moved import PlanInHand, change_of
    from cureplan.desk.work import _what_if

    own = read_job(job)
    hand = PlanInHand(own, read_plan(out), now=now, weather=get_weather(own, now=now))
    later = iter(range(5, 500, 5))
    first_s = best_s(lambda: hand.chance(change_of({"minutes": next(later)})), times=1)
    chance_s = best_s(lambda: hand.chance(change_of({"minutes": next(later)})), times=5)
    quick_s = best_s(lambda: hand.quick(change_of({"minutes": next(later)})), times=5)
    yield (
        "desk: chance of a plan that is moved, 5 rooms",
        f"{chance_s:.2f} s",
        f"{first_s:.2f} s at the first look; margin and opening {quick_s:.2f} s",
    )
    task = {"job": str(job), "out": str(out), "now": now.isoformat()}
    task |= {"change": {"minutes": 30}}
    anew_s = best_s(lambda: _what_if(task, lambda _: None), times=2)
    yield ("desk: a what-if planned anew", f"{anew_s:.2f} s", f"{anew_s / plan_s:.2f} × `plan`")


def _held_mb(folder: Path, task: Task) -> Iterator[Line]:
    """Memory of the desk's server and of its planning process, after some work of each."""
    words = [
        sys.executable,
        "-m",
        "cureplan",
        "desk",
        str(folder),
        "--no-browser",
        "--port",
        "0",
    ]
    place = {**os.environ, "PYTHONPATH": str(TOP)}
    with subprocess.Popen(words, env=place, stderr=subprocess.PIPE, text=True) as server:
        address = re.search(r"http://\S+", server.stderr.readline())[0]  # type: ignore[union-attr, index]
        for _ in range(200):
            urllib.request.urlopen(address).read()  # noqa: S310 - this computer
        server_mb = _peak_of(server)
        server.terminate()
    with _planning_process() as (worker, do):
        for _ in range(3):
            do(task)
        worker_mb = _peak_of(worker)
    yield (
        "desk: memory of its server, and of its planning process",
        f"{server_mb:.0f}, {worker_mb:.0f} MB",
        "the most held, after 200 pages and after three plans of 5 rooms",
    )


def _peak_of(process: subprocess.Popen[str]) -> float:
    status = Path(f"/proc/{process.pid}/status").read_text("ascii")
    return int(status.partition("VmHWM:")[2].split()[0]) / 1e3


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
    "parts": parts,
    "plan": plan,
    "order": order,
    "start": start,
    "desk": desk,
    "size": size,
}


def lines(words: list[str]) -> Iterator[str]:
    """The table as Markdown, line by line as it is measured."""
    yield (
        f"Measured {datetime.now(UTC).date().isoformat()} on {os.cpu_count()} cores, "
        f"{platform.system()} {platform.machine()}, Python {platform.python_version()}, "
        f"numpy {np.__version__}.\n"
    )
    yield "| what | processor time | |\n|---|---|---|"
    for name, measure in GROUPS.items():
        if words and not any(word in name for word in words):
            continue
        for line in measure():
            yield f"| {' | '.join(line)} |"


def main(words: list[str]) -> None:
    """Print the table, and put it in its place if asked to."""
    kept = "--write" in words
    found = []
    for line in lines([word for word in words if word != "--write"]):
        print(line, flush=True)
        found.append(line)
    if kept:
        page = TOP / "DEVELOPERS.md"
        before, _, rest = page.read_text("utf-8").partition(BEGIN)
        _, end, after = rest.partition(END)
        if not end:
            raise SystemExit(f"{page.name} has no {BEGIN.strip()} and {END}")
        page.write_text(before + BEGIN + "\n".join(found) + "\n" + end + after, "utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
