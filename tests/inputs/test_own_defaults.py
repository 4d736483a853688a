"""The user's own defaults: what they fill in, what they leave alone, what is said of them."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import run_here

from cureplan.api import demo_job_path
from cureplan.core.errors import InputError
from cureplan.inputs.job.own import OWN_VARIABLE, _wanted, own_file, own_place
from cureplan.inputs.job.reader import read_job

OWN = """# our yard
[crew]
setup = "20 min"
rest = "9 h"
[pace]
haul = "1 min"
[site]
latitude = 10.0
"""


def written(folder: Path, text: str, name: str = "mine.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def job_file(tmp_path: Path) -> Path:
    text = demo_job_path("school-kitchen").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("setup =")]
    assert len(lines) == len(text.splitlines()) - 1
    weather = demo_job_path("school-kitchen").with_name("heat-wave.csv")
    (tmp_path / weather.name).write_bytes(weather.read_bytes())
    return written(tmp_path, "\n".join(lines), "job.toml")


def test_what_a_job_leaves_out_is_as_the_user_says_and_its_own_stays(tmp_path, job_file):
    with pytest.raises(InputError, match=r"crew\.setup: this key is missing"):
        read_job(job_file)
    job = read_job(job_file, defaults=written(tmp_path, OWN))
    # 20 min, 9 h and 1 min in seconds; the job names its site, which is taken whole.
    assert (job.crew.setup_s, job.crew.rest_s, job.pace.haul_s) == (1200.0, 32400.0, 60.0)
    assert job.site.latitude_deg == 40.78
    told = [note.values for note in job.notes if note.code == "job.own"]
    assert [(one["key"], one["line"]) for one in told] == [
        ("crew.setup", 3), ("crew.rest", 4), ("pace.haul", 6),
    ]  # fmt: skip
    assert not any(note.values.get("key") == "pace.haul" for note in job.notes[:-3])


def test_heads_of_the_job_are_not_mixed_with_people_of_the_user(tmp_path, job_file):
    own = '[crew]\nsetup = "20 min"\n[[people]]\nname = "Ana"\nroles = ["mixer"]\n'
    job = read_job(job_file, defaults=written(tmp_path, own))
    assert job.crew.people == ()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ('[crew]\nsetup = "20 F"\n', r"mine\.toml:2: crew\.setup"),
        ('[crew]\nset_up = "20 min"\n', r"mine\.toml:2: crew\.set_up = .*: no such key"),
        ('[rooms]\nname = "A"\n', r"mine\.toml:1: rooms: this cannot be a default of yours"),
        ("[crew\n", r"mine\.toml:1"),
        # Sound by itself, wrong in this job: told where it stands all the same.
        ('[crew]\nsetup = "20 min"\nrest = "71 h"\n', r"mine\.toml:3: crew\.rest"),
    ],
)
def test_what_is_wrong_in_it_is_told_at_its_line(tmp_path, job_file, text, says):
    with pytest.raises(InputError, match=says):
        read_job(job_file, defaults=written(tmp_path, text))


def test_check_says_where_a_value_came_from_and_new_proposes_it(
    tmp_path, job_file, monkeypatch
):
    # What one room alone cannot do is another question, and a long one.
    monkeypatch.setattr("cureplan.api.cannot_alone", lambda *_: ())
    monkeypatch.setenv(OWN_VARIABLE, str(written(tmp_path, OWN)))
    told = run_here("check", "job.toml", folder=tmp_path)
    assert told.returncode == 0, told.stderr
    assert 'crew.setup = "20 min" (mine.toml, line 3: your own).' in told.stdout
    assert "Carrying a bucket" not in told.stdout
    asked = run_here("new", "next.toml", folder=tmp_path, typed="")
    assert "In brackets stands what" in asked.stderr


def test_its_place_is_the_folder_of_settings_unless_named(monkeypatch, tmp_path):
    monkeypatch.delenv(OWN_VARIABLE)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert own_place().name == "defaults.toml"
    assert own_file() is None
    monkeypatch.setenv(OWN_VARIABLE, "nowhere.toml")
    assert own_file() == Path("nowhere.toml")


def test_heads_of_ones_own_are_taken_where_the_job_counts_none() -> None:
    own = {"crew": {"mixer": 3, "rest": "10 h"}}
    both = {("crew", "mixer"): 3, ("crew", "rest"): "10 h"}
    assert dict(_wanted({"crew": {"setup": "20 min"}}, own)) == both
    assert dict(_wanted({"crew": {"rake": 1}}, own)) == {("crew", "rest"): "10 h"}


@pytest.mark.parametrize(
    ("said", "own", "wanted"),
    [
        ({}, {"site": {"latitude": 2, "elevation": "3 ft"}}, ["latitude", "elevation"]),
        ({"site": {"name": "Bar"}}, {"site": {"latitude": 2}}, ["latitude"]),
        ({"site": {"latitude": 1}}, {"site": {"latitude": 2, "elevation": "3 ft"}}, []),
        ({"site": 3}, {"site": {"latitude": 2}}, []),
        ({"crew": 3}, {"crew": {"setup": "1 h"}}, []),
        ({"crew": {"setup": "2 h"}}, {"crew": {"setup": "1 h"}}, []),
    ],
)
def test_a_site_is_taken_whole_and_what_is_no_table_is_left_to_be_refused(said, own, wanted):
    assert [path[1] for path, _ in _wanted(said, own)] == wanted
