"""Data flows one way: a file imports only from its own or an earlier layer."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import cureplan

PACKAGE = Path(cureplan.__file__).parent
# A file imports from its own or an earlier layer; the longest name that fits counts.
LAYERS = {
    "cureplan": 0,
    "cureplan.core": 0,
    "cureplan.inputs": 1,
    "cureplan.inputs.cards": 1.1,
    "cureplan.inputs.job": 1.2,
    "cureplan.inputs.tables": 1.3,
    "cureplan.weather.hours": 2.1,
    "cureplan.weather.providers": 2.2,
    "cureplan.weather": 2.3,
    "cureplan.science": 3,
    "cureplan.planning.floor": 4.1,
    "cureplan.planning.schedule": 4.2,
    "cureplan.planning.odds": 4.3,
    "cureplan.planning.plan": 4.4,
    "cureplan.judge": 5,
    "cureplan.planning.replan": 5.1,
    "cureplan.planning.studies": 5.2,
    "cureplan.planning": 5.3,
    "cureplan.output.language": 6.1,
    "cureplan.output.view": 6.2,
    "cureplan.output.text": 6.3,
    "cureplan.output.charts": 6.4,
    "cureplan.output.sheet": 6.5,
    "cureplan.output": 6.6,
    "cureplan.api": 7,
    "cureplan.output.commands": 8,
    "cureplan.desk": 8,
    "cureplan.cli": 8,
    "cureplan.__main__": 8,
}
LONGEST_FILE = 600
# Physics is pure functions on arrays: no tables, files, wall clock or network.
BARRED_FROM_PHYSICS = {"pandas", "pathlib", "os", "io", "time", "urllib", "meteostat"}
HEAVY = (
    "pandas",
    "scipy",
    "matplotlib",
    "ortools",
    "meteostat",
    "pydantic",
    "jinja2",
    "numpy",
    "starlette",
    "uvicorn",
)


def _files() -> list[Path]:
    return sorted(PACKAGE.rglob("*.py"))


def _layer(dotted: str) -> float:
    parts = dotted.split(".")
    return next(
        LAYERS[name]
        for n in range(len(parts), 0, -1)
        if (name := ".".join(parts[:n])) in LAYERS
    )


def _physics() -> list[Path]:
    """Of the science wing, all but what learns from tables of readings."""
    wing = PACKAGE / "science"
    return [path for path in sorted(wing.rglob("*.py")) if path.parent.name != "learning"]


def _dotted(path: Path) -> str:
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return ".".join(("cureplan", *parts)).removesuffix(".__init__")


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
    # The face of the package names everything, and loads none of it before it is used:
    # tests/library holds it to that.
    own = 9.0 if _dotted(path) == "cureplan" else _layer(_dotted(path))
    later = [
        name
        for name in _imports(path)
        if name.split(".")[0] == "cureplan" and _layer(name) > own
    ]
    assert not later, f"{path.name} (layer {own}) reaches forward to {later}"


@pytest.mark.parametrize("path", _physics(), ids=_dotted)
def test_physics_knows_no_tables_files_or_clock(path: Path) -> None:
    barred = {name.split(".")[0] for name in _imports(path)} & BARRED_FROM_PHYSICS
    assert not barred
    assert "datetime.now" not in path.read_text(encoding="utf-8")


def test_no_two_folders_import_each_other() -> None:
    arrows = set()
    for path in _files():
        own = path.parent
        for name in _imports(path):
            if name.split(".")[0] != "cureplan":
                continue
            target = PACKAGE.parent / Path(*name.split("."))
            folder = target if target.is_dir() else target.parent
            # The package's own folder is the shell: the way in, and the public library.
            if folder != own and PACKAGE not in (folder, own):
                arrows.add((own, folder))
    both = sorted({tuple(sorted(pair)) for pair in arrows if pair[::-1] in arrows})
    assert not both


# A job's methods that change it build it anew as its reader does.
READ_ANEW = "cureplan.inputs.job"


def test_no_files_import_each_other_in_a_circle() -> None:
    names = {_dotted(path) for path in _files()}
    arrows: dict[str, set[str]] = {name: set() for name in names}
    for path in _files():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom):
                within = {f"{node.module}.{alias.name}" for alias in node.names} & names
                arrows[_dotted(path)] |= within or {str(node.module)} & names
    # The face of the package names everything.
    arrows["cureplan"] = set()

    def reached(start: str) -> set[str]:
        found: set[str] = set()
        ahead = [start]
        while ahead:
            new = arrows[ahead.pop()] - found
            found |= new
            ahead += new
        return found

    circle = {name for name in names if name in reached(name)}
    assert {name.rpartition(".")[0] for name in circle} == {READ_ANEW}, circle


def test_asking_for_help_loads_nothing_heavy() -> None:
    code = f"import sys, cureplan.cli; print([m for m in {HEAVY!r} if m in sys.modules])"
    out = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert out.stdout.strip() == "[]"


def test_what_is_kept_by_a_figure_is_bounded() -> None:
    """A process that lives on is asked for any number of them."""
    for path in _files():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.FunctionDef):
                unbounded = "cache" in map(ast.unparse, node.decorator_list)
                by = {ast.unparse(a.annotation) for a in node.args.args if a.annotation}
                assert not (unbounded and "float" in by), f"{path}: {node.name}"


def test_every_file_has_one_theme_in_its_docstring_and_is_not_too_long() -> None:
    for path in _files():
        text = path.read_text(encoding="utf-8")
        assert path.name == "__init__.py" or ast.get_docstring(ast.parse(text)), path
        assert text.count("\n") <= LONGEST_FILE, f"{path} is too long: split it by theme"
