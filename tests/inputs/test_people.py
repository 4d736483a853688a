"""People by name in a job file: read, and refused with one line each."""

from __future__ import annotations

from pathlib import Path

import pytest

from cureplan.core.errors import InputError
from cureplan.inputs.job.edits import check_job
from cureplan.inputs.job.reader import job_faults, read_job

JOBS = Path(__file__).parents[1] / "pinned" / "jobs"
HEADS = (
    "mixer = 1\nrunner = 1\nrake = 1\nsmoother = 1\nbroadcaster = 1\nedge = 1\ntopcoat = 2\n"
)
PEOPLE = """
[[people]]
name = "Ana"
roles = ["foreman", "mixer", "runner"]
[[people]]
name = "Bo"
roles = ["rake", "smoother", "topcoat"]
longest_shift = "9 h"
[[people]]
name = "Cy"
roles = ["broadcaster", "topcoat"]
hours = [{ from = "17:00", to = "12:00" }]
[[people]]
name = "Di"
roles = ["edge", "broadcaster", "smoother"]
"""


@pytest.fixture
def text() -> str:
    written = (JOBS / "one-room.toml").read_text(encoding="utf-8")
    assert HEADS in written
    return written.replace(HEADS, 'longest_shift = "10 h"\nrest = "8 h"\n') + PEOPLE


def written_to(folder: Path, text: str) -> Path:
    (folder / "mild.csv").write_bytes((JOBS / "mild.csv").read_bytes())
    path = folder / "job.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_four_people_are_read_with_what_each_can_do(text: str, tmp_path: Path):
    job = read_job(written_to(tmp_path, text))
    crew = job.crew
    assert [person.name for person in crew.people] == ["Ana", "Bo", "Cy", "Di"]
    # How many can do it, by hand.
    assert (crew.mixer, crew.smoother, crew.broadcaster, crew.topcoat) == (1, 2, 2, 2)
    assert crew.shares
    assert crew.foreman == "Ana"
    assert [crew.most_s(person) for person in crew.people] == [36000, 32400, 36000, 36000]
    # Cy comes at 17:00 and goes at 12:00: the coats' 05:00 to 17:00 end at noon for all.
    assert [(s.begins.hour, s.ends.hour) for s in crew.topcoat_shifts] == [(5, 12)]
    assert [(s.begins.hour, s.ends.hour) for s in crew.pour_shifts] == [(18, 4)]
    check_job(job)


CASES = {
    "nobody for a role": ('"edge", ', "", "people[1].roles", ["nobody is listed for edge"]),
    "listed twice": ('name = "Di"', 'name = "ana"', "people[4].name", ["twice", "people[1]"]),
    "a role twice": ('"rake", "s', '"rake", "rake", "s', "people[2].roles[2]", ["twice"]),
    "no such role": ('"rake", "s', '"raker", "s', "people[2].roles[1]", ['mean "rake"?']),
    "no role": ('["edge", "broadcaster", "smoother"]', "[]", "people[4].roles", ["empty"]),
    "no work": (
        '["edge", "broadcaster", "smoother"]', '["primer"]',
        "people[4].roles", ["no work for Di", "no primer is laid"],
    ),
    "heads counted as well": (
        "stations = 1", "stations = 1\nmixer = 1", "crew.mixer", ["listed by name", "remove"],
    ),
    "too many stations": ("stations = 1", "stations = 2", "crew.stations", ["only 1 to mix"]),
    "a long rest within a longer job": ('rest = "8 h"', 'rest = "72 h"', "", []),
    "a short shift, longer than set-up": (
        'longest_shift = "9 h"', 'longest_shift = "1 h"\n', "", [],
    ),
    "hours that meet no shift": (
        '"17:00", to = "12:00"', '"13:00", to = "17:30"',
        "people[3].hours", ["no hour of pour_shifts"],
    ),
    "hours of no length": (
        '"17:00", to = "12:00"', '"17:00", to = "17:00"', "people[3].hours[1]", ["zero length"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", CASES)
def test_each_slip_is_one_line_with_its_key(case: str, text: str, tmp_path: Path):
    found, instead, key, words = CASES[case]
    assert text.count(found) == 1, found
    path = written_to(tmp_path, text.replace(found, instead))
    if not key:
        # Long, but within this job's three days and a half; more than setting up takes.
        read_job(path)
        return
    faults = job_faults(path)
    assert key in [fault.key for fault in faults]
    fault = next(fault for fault in faults if fault.key == key)
    assert fault.line
    assert all(word in str(fault) for word in words), str(fault)


def test_a_rest_longer_than_the_job_and_a_shift_shorter_than_set_up(text: str, tmp_path: Path):
    short = text.replace("2026-06-14T06:00:00", "2026-06-12T06:00:00")
    path = written_to(tmp_path, short.replace('rest = "8 h"', 'rest = "48 h"'))
    with pytest.raises(InputError, match="longer than the whole job") as raised:
        read_job(path)
    assert raised.value.key == "crew.rest"
    slow = text.replace('setup = "40 min"', 'setup = "4 h"').replace('"9 h"', '"3 h"')
    [fault] = job_faults(written_to(tmp_path, slow))
    assert fault.key == "people[2].longest_shift"


def test_neither_heads_nor_people_is_said_of_every_role(text: str, tmp_path: Path):
    faults = job_faults(written_to(tmp_path, text.replace(PEOPLE, "")))
    assert [f.key for f in faults][:2] == ["crew.mixer", "crew.runner"]
    assert "list who they are in [[people]]" in str(faults[0])
