"""Execute every notebook from top to bottom, and see that none is stored with outputs.

python notebooks/run_all.py            # all
python notebooks/run_all.py why-ice    # those whose name holds a word
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from nbclient.exceptions import CellExecutionError

FOLDER = Path(__file__).parent
TIMEOUT_S = 300


def main(words: list[str]) -> int:
    """Run the notebooks; 1 if one fails or carries outputs."""
    failed = 0
    for path in sorted(FOLDER.glob("*.ipynb")):
        if words and not any(word in path.name for word in words):
            continue
        notebook = nbformat.read(path, as_version=4)
        stored = [c for c in notebook.cells if c.cell_type == "code" and c.outputs]
        if stored:
            print(f"{path.name}: {len(stored)} cells are stored with outputs; strip them")
            failed += 1
        begun = time.perf_counter()
        client = NotebookClient(
            notebook,
            timeout=TIMEOUT_S,
            resources={"metadata": {"path": str(FOLDER)}},
            # Errors only: the kernel warns of its local socket each time.
            extra_arguments=["--IPKernelApp.log_level=40"],
        )
        try:
            client.execute()
        except CellExecutionError as error:
            print(f"{path.name}: {error}")
            failed += 1
            continue
        print(f"{path.name}: ran in {time.perf_counter() - begun:.1f} s")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
