"""Files that hold no job: missing, foreign, or in no shape to be read."""

from __future__ import annotations

import re
from datetime import time
from pathlib import Path

import pytest

from cureplan.core.errors import InputError
from cureplan.inputs.files import Wanted, read_bytes
from cureplan.inputs.job.reader import job_faults, read_job

BAD_INPUT = 2


def refused(path):
    with pytest.raises(InputError) as caught:
        read_job(path)
    shown = str(caught.value)
    assert caught.value.exit_code == BAD_INPUT
    assert "\n" not in shown
    assert [str(fault) for fault in job_faults(path)] == [shown]
    return shown


def test_missing_file(tmp_path):
    shown = refused(tmp_path / "jbo.toml")
    assert "jbo.toml: there is no such job file; check the path" in shown


def test_directory_in_place_of_a_file(tmp_path):
    shown = refused(tmp_path)
    assert shown.startswith(f"{tmp_path}: this is a folder, not a job file; name a file")


def test_device_in_place_of_a_file():
    assert "/dev/null: this is not a regular file" in refused("/dev/null")


def test_path_no_system_has():
    assert "there is no such job file" in refused("a\0b.toml")
    assert "cannot be read (File name too long)" in refused("a" * 5000)


def test_file_without_permission(tmp_path, monkeypatch):
    job = tmp_path / "job.toml"
    job.write_text("x = 1")

    def forbid(*_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("cureplan.core.writing.os.open", forbid)
    shown = refused(job)
    assert "cannot be read (Permission denied); check the path and its permissions" in shown


def test_a_file_that_says_it_is_empty_and_never_ends():
    # One of the system's own: a page table of 2**55 bytes, of size 0.
    wanted = Wanted(name="job file", content="", largest_bytes=100_000)
    with pytest.raises(InputError, match="too large for a job file"):
        read_bytes(Path("/proc/self/pagemap"), wanted=wanted)


@pytest.mark.parametrize("content", ["", "  \n\n\t"])
def test_empty_file(tmp_path, content):
    job = tmp_path / "job.toml"
    job.write_text(content)
    assert f"{job}:1: the file is empty; write a job file into it" in refused(job)


def test_huge_file(tmp_path):
    job = tmp_path / "job.toml"
    job.write_bytes(b"# padding\n" * 150_000)
    assert f"{job}: 1.5 MB is too large for a job file" in refused(job)


def test_wrong_encoding(tmp_path, demo_text):
    job = tmp_path / "job.toml"
    before, after = demo_text.split('name = "Example')
    job.write_bytes(before.encode() + b'name = "Caf\xe9 Example' + after.encode())
    line = before.count("\n") + 1
    assert f"{job}:{line}: the text is not UTF-8 (byte 0xe9); save" in refused(job)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-32", "utf-8-sig"])
@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_a_job_in_unicode_of_any_width_is_read(folder, demo_text, encoding, ending):
    job = folder / "job.toml"
    job.write_bytes(demo_text.replace("\n", ending).encode(encoding))
    assert read_job(job).rooms[0].name == "Cook line"


@pytest.mark.parametrize(
    "data", [b"PK\x03\x04rest", b"%PDF-1.7", b"x = 1\n\0\0\n", b"\xff\xfe\0"]
)
def test_a_file_that_is_no_text(tmp_path, data):
    job = tmp_path / "job.toml"
    job.write_bytes(data)
    refused(job)


@pytest.mark.parametrize("name", ["passwd", "card.toml"])
def test_no_more_of_a_foreign_file_than_its_first_word_is_shown(tmp_path, name):
    foreign = tmp_path / name
    foreign.write_text("daemon:secret:1:1:somebody:/usr/sbin\nroot:other\n")
    shown = refused(foreign)
    assert "daemon" in shown
    assert "secret" not in shown


def test_no_value_of_a_foreign_key_is_shown(tmp_path):
    foreign = tmp_path / "keys.toml"
    foreign.write_text('token = "hidden-word"\n')
    assert not any("hidden-word" in str(fault) for fault in job_faults(foreign))


def test_not_toml_at_all(tmp_path):
    job = tmp_path / "job.toml"
    job.write_text('{"display": "us"}')
    assert f"{job}:1: '{{\"display': this is not TOML" in refused(job)


def test_nested_without_end(tmp_path):
    job = tmp_path / "job.toml"
    job.write_text("a = " + "[" * 100_000)
    assert "nests its values this deep" in refused(job)


def test_no_rooms_at_all(folder, demo_text):
    job = folder / "job.toml"
    job.write_text(demo_text[: demo_text.index("[[rooms]]")])
    assert f"{job}:1: rooms: this key is missing; add [[rooms]] tables" in refused(job)


def test_the_line_a_missing_list_of_hours_asks_for_is_taken_as_it_stands(folder, demo_text):
    job = folder / "job.toml"
    kept = re.search(r"(?m)^pour_shifts = .*$", demo_text)
    job.write_text(demo_text.replace(kept[0], ""))
    line = re.search(r"add a line like (pour_shifts = .*)$", refused(job))[1]
    job.write_text(demo_text.replace(kept[0], line))
    shift = read_job(job).crew.pour_shifts[0]
    assert (shift.begins, shift.ends) == (time(19), time(5))
