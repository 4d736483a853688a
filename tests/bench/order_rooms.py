"""Order and start of drawn jobs: how soon an answer, how soon a proof, and HiGHS beside it.

    python tests/bench/order_rooms.py                  5, 8, 12 and 24 rooms, three jobs each
    python tests/bench/order_rooms.py 8 --seeds 5 --peer-s 60

Seconds by the clock, one thread each. "First" and "opening" include the tables from the
thermal models; "all" is the whole search with every objective. HiGHS gets the same tables,
thinned to starts every 15 minutes, and the opening as its only objective: where those
starts do not go together, or its time is up first, it has no answer. Its seconds do not
include the tables, and what the search settled before the opening (margins, the last
night, remedies) is given to it. Where it finds an opening, "later" says by how many minutes;
less than none is an opening that would cost more remedies or standing by, which our search
adds up over all rooms and its program does not.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from dataclasses import dataclass, replace
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(TOP), str(Path(__file__).resolve().parent)]

import numpy as np  # noqa: E402
from highs_order import HighsAnswer, best_opening_by_highs  # noqa: E402
from instances import drawn_job  # noqa: E402

from cureplan.planning.schedule.bounds import prune_dominated  # noqa: E402
from cureplan.planning.schedule.construct import (  # noqa: E402
    MOST_ORDERS,
    limits_for,
    prepare_pours,
)
from cureplan.planning.schedule.floor_model import Tables, floor_model  # noqa: E402
from cureplan.planning.schedule.heuristic import improve_orders  # noqa: E402
from cureplan.planning.schedule.lexicographic import (  # noqa: E402
    News,
    solve_in_order,
)
from cureplan.planning.schedule.problem import Problem  # noqa: E402

PEER_STEP = 15
BEFORE_READY = ("short_most", "short_sum", "last_shift", "cost")


@dataclass(slots=True, kw_only=True)
class Clocked:
    """Seconds since the rooms were made ready."""

    tables_s: float = np.nan
    first_s: float = np.nan
    opening_s: float = np.nan
    all_s: float = np.nan
    gap_frac: float = np.nan
    proven: bool = False
    ready: int | None = None


def thinned(problem: Problem, *, step: int) -> Problem:
    """Only the states that begin every so many slots."""
    rooms = [
        tuple(stage.keep(stage.begins % step == 0) for stage in stages)
        for stages in problem.rooms
    ]
    return replace(problem, rooms=tuple(rooms))


def clocked(rooms: int, seed: int) -> tuple[Clocked, Problem]:
    """Draw a job and settle it as the planner does."""
    job, weather = drawn_job(rooms, seed=seed)
    pours = prepare_pours(job, weather)
    found = Clocked()
    began = time.perf_counter()

    def passed() -> float:
        return time.perf_counter() - began

    model = floor_model(job, Tables(pours=pours))
    found.tables_s = passed()

    def on_first(_: object) -> None:
        if np.isnan(found.first_s):
            found.first_s = passed()

    def on_news(news: News) -> None:
        on_first(news)
        if news.part == "ready" and news.settled:
            found.opening_s = passed()

    first = improve_orders(
        model.problem, model.first_order(), most=MOST_ORDERS, on_news=on_first
    )
    solved = solve_in_order(
        model.problem, first.choice, limits=limits_for(rooms), seed=job.seed, on_news=on_news
    )
    found.all_s = passed()
    if solved.score is not None:
        found.ready, found.proven = solved.score.ready, solved.proven
        found.gap_frac = 1.0 - solved.bounds["ready"] / solved.score.ready
    return found, prune_dominated(model.problem, solved.score, BEFORE_READY).problem


def line(rooms: int, seed: int, found: Clocked, peer: HighsAnswer | None) -> str:
    """One row of the table."""
    text = (
        f"{rooms:5d} {seed:4d} {found.tables_s:7.2f} {found.first_s:6.2f} "
        f"{found.opening_s:8.2f} {found.all_s:6.2f} {100 * found.gap_frac:5.1f} "
        f"{'all' if found.proven else 'no':>6s}"
    )
    if peer is None:
        return text
    later = "    -" if peer.ready is None or found.ready is None else peer.ready - found.ready
    gap = "    -" if peer.gap_frac is None else f"{100 * peer.gap_frac:5.1f}"
    return f"{text} | {peer.seconds:6.1f} {peer.words:<12s} {gap} {later:>6}"


def row(found: Clocked, peer: HighsAnswer | None) -> dict[str, float | bool | None]:
    """The same for `table.py`; what was never settled is none."""
    return {
        "first_s": found.first_s,
        "all_s": found.all_s,
        "gap_percent": 100 * found.gap_frac,
        "proven": found.proven,
        "peer_s": peer.seconds if peer else None,
        "peer_gap_percent": (
            None if peer is None or peer.gap_frac is None else 100 * peer.gap_frac
        ),
    }


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("rooms", nargs="*", type=int, default=[5, 8, 12, 24])
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--peer-s", type=float, default=30.0)
    parser.add_argument("--json", action="store_true")
    asked = parser.parse_args()
    rows = []
    if not asked.json:
        print(
            "rooms seed  tables  first  opening    all gap-% proven | "
            "HiGHS s status   gap-%  later"
        )
    for rooms in asked.rooms:
        for seed in range(1, asked.seeds + 1):
            found, problem = clocked(rooms, seed)
            peer = None
            if asked.peer_s > 0:
                thin = thinned(problem, step=PEER_STEP)
                peer = best_opening_by_highs(thin, limit_s=asked.peer_s)
            if asked.json:
                rows.append(row(found, peer))
            else:
                print(line(rooms, seed, found, peer), flush=True)
    if asked.json:
        print(json.dumps(rows))


if __name__ == "__main__":
    main()
