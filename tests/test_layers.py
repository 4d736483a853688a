"""Data flows one way: a file imports only from its own or an earlier layer."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import cureplan

PACKAGE = Path(cureplan.__file__).parent
LAYERS = {
    "errors": 0,
    "say": 0,
    "quantities": 0,
    "clock": 0,
    "job": 1,
    "weather": 2,
    "physics": 3,
    "planning": 4,
    "schedule": 5,
    "plan": 6,
    "plan_rows": 6,
    "assembly": 6,
    "judge": 6,
    "plots": 7,
    "sheets": 7,
    "api": 8,
    "commands": 8,
    "cli": 8,
    "__main__": 8,
    "__init__": 0,
}
# Physics is pure functions on arrays: no tables, files, wall clock or network.
BARRED_FROM_PHYSICS = {"pandas", "pathlib", "os", "io", "time", "urllib", "meteostat"}
HEAVY = ("pandas", "scipy", "matplotlib", "ortools", "meteostat", "pydantic", "jinja2", "numpy")


def _files() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def _layer(dotted: str) -> int:
    return LAYERS[dotted.split(".")[1]] if "." in dotted else 0


def _dotted(path: Path) -> str:
    return ".".join(("cureplan", *path.relative_to(PACKAGE).with_suffix("").parts))


def _imports(path: Path) -> list[str]:
    found = []
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports in full"
            found.append(node.module or "")
    return found


@pytest.mark.parametrize("path", _files(), ids=_dotted)
def test_imports_come_from_the_same_or_an_earlier_layer(path: Path) -> None:
    own = _layer(_dotted(path))
    later = [
        name
        for name in _imports(path)
        if name.split(".")[0] == "cureplan" and _layer(name) > own
    ]
    assert not later, f"{path.name} (layer {own}) reaches forward to {later}"


@pytest.mark.parametrize("path", sorted((PACKAGE / "physics").rglob("*.py")), ids=_dotted)
def test_physics_knows_no_tables_files_or_clock(path: Path) -> None:
    barred = {name.split(".")[0] for name in _imports(path)} & BARRED_FROM_PHYSICS
    assert not barred
    assert "datetime.now" not in path.read_text(encoding="utf-8")


def test_asking_for_help_loads_nothing_heavy() -> None:
    code = f"import sys, cureplan.cli; print([m for m in {HEAVY!r} if m in sys.modules])"
    out = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert out.stdout.strip() == "[]"


def test_every_file_has_one_theme_in_its_docstring_and_is_not_too_long() -> None:
    for path in _files():
        text = path.read_text(encoding="utf-8")
        assert path.name == "__init__.py" or ast.get_docstring(ast.parse(text)), path
        assert text.count("\n") <= 350, f"{path} is too long: split it by theme"
