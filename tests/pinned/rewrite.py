"""Rewrite what the pinned cases are compared with, when a change of behaviour is meant.

    python tests/pinned/rewrite.py                 every case
    python tests/pinned/rewrite.py demo one-room   these alone
    python tests/pinned/rewrite.py --only-show DIR write what was compared into DIR instead,
                                                   to be held against another version's

The commit says what changed and why.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from pathlib import Path

from pinned_cases import CASES, workshop, write_expected


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("cases", nargs="*", choices=[*CASES, []], metavar="CASE")
    parser.add_argument("--only-show", type=Path, metavar="DIR")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder, workshop(Path(folder)) as outputs:
        for name in asked.cases or CASES:
            began_s = time.process_time()
            found = outputs(name)
            if asked.only_show is None:
                write_expected(name, found)
            else:
                show(asked.only_show / name, found)
            print(f"{name}: {time.process_time() - began_s:.1f} s of processor time")


def show(folder: Path, outputs: dict[str, str]) -> None:
    """Each output as a file of its own."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in outputs.items():
        (folder / name.replace(" ", ".")).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
