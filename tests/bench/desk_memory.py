"""Memory of a desk over many plans of one room, each after another edit, in one go.

Usage: python tests/bench/desk_memory.py [PLANS] [LINES.txt]; a line every fifty plans: how
many, and what the server and its planning process hold [MB].
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
import urllib.request
from pathlib import Path

TOP = Path(__file__).resolve().parents[2]
DEMO = TOP / "cureplan" / "demo_data"
EVERY = 50


def held_mb(pid: int) -> float:
    """What a process holds of the memory now [MB]."""
    status = Path(f"/proc/{pid}/status").read_text("ascii")
    return int(status.partition("VmRSS:")[2].split()[0]) / 1e3


def edited(text: str, number: int) -> str:
    """The job after its edit of that number: no two of a thousand are alike."""
    text = re.sub(r'(?m)^setup = ".*"', f'setup = "{15 + number % 40} min"', text)
    text = re.sub(
        r'(?m)^slab_thickness = ".*"', f'slab_thickness = "{5 + number / 500:.3f} in"', text
    )
    return re.sub(r'(?m)^gain = ".*"', f'gain = "{1 + number / 1000:.3f} F"', text)


def main(plans: int, lines: Path | None) -> None:
    """Plan so often, through the server, as a page does."""
    with tempfile.TemporaryDirectory() as folder:
        shutil.copy(DEMO / "heat-wave.csv", folder)
        head, *rooms = (DEMO / "school-kitchen.toml").read_text("utf-8").split("[[rooms]]")
        text = f"{head}[[rooms]]" + next(r for r in rooms if 'name = "Corridor"' in r)
        job = Path(folder) / "one.toml"
        job.write_text(text, "utf-8")
        words = ["-m", "cureplan", "desk", folder, "--no-browser", "--port", "0"]
        environment = {**os.environ, "PYTHONPATH": str(TOP)}
        with subprocess.Popen(
            [sys.executable, *words], env=environment, stderr=subprocess.PIPE, text=True
        ) as server:
            try:
                _plan_often(server, job, text, plans, lines)
            finally:
                server.terminate()


def _plan_often(
    server: subprocess.Popen[str], job: Path, text: str, plans: int, lines: Path | None
) -> None:
    found = re.search(r"http://[^/\s]+", server.stderr.readline() if server.stderr else "")
    if found is None:
        raise SystemExit("the desk did not come up")
    address = found[0]

    def ask(path: str, data: object = None) -> bytes:
        request = urllib.request.Request(address + path)  # noqa: S310 - this computer
        if data is not None:
            request.data = json.dumps(data).encode()
            request.headers |= {"Origin": address, "Content-type": "application/json"}
        with urllib.request.urlopen(request) as answer:  # noqa: S310
            return bytes(answer.read())

    for number in range(1, plans + 1):
        job.write_text(edited(text, number), "utf-8")
        ask("/jobs/one/plan", {})
        while (state := json.loads(ask("/planning")))["running"]:
            time.sleep(0.05)
        if "plan" not in state:
            raise SystemExit(f"edit {number}: {state}")
        ask("/jobs/one/plan")
        if number % EVERY == 0 or number == 1:
            mb = [f"{held_mb(pid):.1f}" for pid in (server.pid, *_children(server.pid))]
            line = " ".join([str(number), *mb])
            print(line, flush=True)
            if lines is not None:
                with lines.open("a", encoding="utf-8") as file:
                    file.write(f"{line}\n")


def _children(pid: int) -> list[int]:
    threads = Path(f"/proc/{pid}/task").iterdir()
    return [int(one) for each in threads for one in (each / "children").read_text().split()]


if __name__ == "__main__":
    main(
        int(sys.argv[1]) if len(sys.argv) > 1 else 1000,
        Path(sys.argv[2]) if len(sys.argv) > 2 else None,
    )
