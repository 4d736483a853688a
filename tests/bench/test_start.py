"""What a command costs beside the bare imports of its trade, in one run on one machine.

    python -m pytest -o addopts= tests/bench/test_start.py

Wanted are the answers within 3.5 times those imports, everything within 5, `check` within
1.5. The answers end where what their doubt is made of begins.
"""

import pytest
from timing import TOP, middle, peak_of

DEMO_JOB = TOP / "cureplan" / "demo_data" / "school-kitchen.toml"
PEERS = ("-c", "import numpy, pandas, scipy.optimize")
ANSWERS = (
    "import runpy, sys; import cureplan.planning.plan.assemble as a; "
    "a.with_doubt = lambda *_, **__: sys.exit(); "
    "sys.argv = ['cureplan', 'demo']; runpy.run_module('cureplan', run_name='__main__')"
)
RUNS = 3


@pytest.fixture(scope="module")
def imports_s():
    return middle(*PEERS, times=RUNS).processor_s


@pytest.mark.parametrize(
    ("most", "words"),
    [
        (3.5, ("-c", ANSWERS)),
        (5.0, ("-m", "cureplan", "demo")),
        (1.5, ("-m", "cureplan", "check", str(DEMO_JOB))),
        (1.5, ("-m", "cureplan", "clock", "fast-slurry", "--at", "90 F")),
        (1.5, ("-m", "cureplan", "chill", "fast-slurry", "--air", "95 F", "--slab", "88 F")),
    ],
)
def test_a_command_costs_so_many_times_bare_imports(imports_s, most, words):
    assert middle(*words, times=RUNS).processor_s <= most * imports_s


@pytest.mark.parametrize("words", ["--help", "--version"])
def test_help_costs_at_most_twice_bare_typer(words):
    typer_s = middle("-c", "import typer", times=5).processor_s
    assert middle("-m", "cureplan", words, times=5).processor_s <= 2.0 * typer_s


def test_the_demo_holds_less_than_230_mb():
    assert peak_of("-m", "cureplan", "demo") < 230


def test_a_plan_imports_neither_pandas_nor_scipy_nor_what_draws():
    found = middle(
        "-c",
        "import cureplan.api as a, sys; from datetime import timedelta; "
        "j = a.read_job(a.demo_job_path()); "
        "a.make_plan(j, now=j.access.begins - timedelta(hours=23)); "
        "print(*{'pandas', 'scipy', 'matplotlib', 'icalendar'} & set(sys.modules))",
        times=1,
    )
    assert found.output.split() == []
