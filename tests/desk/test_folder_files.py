"""What lies in a desk's folder is read with care, and none of it is run or emptied."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from cureplan.core.errors import OutputError
from cureplan.desk.folder import OWN, JobFolder, file_mark
from cureplan.desk.news import kept_news
from cureplan.desk.share import Gate
from cureplan.desk.worker import Worker


def test_no_file_of_the_folder_it_was_started_in_is_run(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # As for the weather's process: a module planted beside the jobs.
    for name in ("cureplan", "json", "threading", "numpy"):
        (tmp_path / f"{name}.py").write_text(
            f"from pathlib import Path\nPath({str(tmp_path / 'ran')!r}).touch()\n", "utf-8"
        )
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("PYTHONPATH", raising=False)
    worker = Worker()
    try:
        task = worker.run("none", {"do": "nothing that is known"}, within_s=60.0)
    finally:
        worker.close()
    assert task.ended is not None
    assert not (tmp_path / "ran").exists()


def test_a_link_in_place_of_the_lock_is_not_followed(tmp_path: Path) -> None:
    own = tmp_path / "season.csv"
    own.write_text("readings\n", "utf-8")
    (tmp_path / OWN).mkdir()
    (tmp_path / OWN / "desk.lock").symlink_to(own)
    with (
        pytest.raises(OutputError, match="no file of the desk's"),
        JobFolder(tmp_path).held(""),
    ):
        pass
    assert own.read_text("utf-8") == "readings\n"


def test_strange_bytes_and_depths_are_no_fault(tmp_path: Path) -> None:
    (tmp_path / "plan.json").write_bytes(b"\xff\xfe\x00")
    assert file_mark(tmp_path / "plan.json")
    (tmp_path / "kitchen.toml").write_bytes(b"\xff" + b"x" * 200_000)
    folder = JobFolder(tmp_path)
    assert folder.names() == ["kitchen"]
    (folder.own() / "kitchen.undo.json").write_text("[" * 100_000, "utf-8")
    assert not folder.can_undo("kitchen")


def test_a_lock_that_cannot_be_opened_is_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def forbid(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", forbid)
    with (
        pytest.raises(OutputError, match=r"desk\.lock: could not be written \(Permission"),
        JobFolder(tmp_path).held(""),
    ):
        pass


def test_an_answer_cut_short_does_not_keep_a_desk_waiting(tmp_path: Path) -> None:
    # What a process that is killed leaves of a line, a library's own word, then its end.
    said = (
        "import sys; sys.stdin.readline(); print('[1]'); print('OR'); print('{\"wor', end='')"
    )
    worker = Worker()
    worker._process = subprocess.Popen(
        [sys.executable, "-I", "-c", said],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        assert worker.run("none", {"do": "nothing"}, within_s=20.0).ended == {
            "ended": True,
            "stopped": True,
        }
    finally:
        worker.close()


def test_what_the_desk_keeps_may_be_damaged(tmp_path: Path) -> None:
    folder = JobFolder(tmp_path)
    (tmp_path / "kitchen.toml").write_text("[site]\n", "utf-8")
    (tmp_path / "kitchen-plan").mkdir()
    (tmp_path / "kitchen-plan" / "plan.json").write_text("{}", "utf-8")
    mark = file_mark(tmp_path / "kitchen-plan" / "plan.json")
    for text in ("[" * 100_000, "3", "{}", f'{{"plan": "{mark}"}}', '{"plan": 1, "at": 2}'):
        for ending in ("news", "share"):
            (folder.own() / f"kitchen.{ending}.json").write_text(text, "utf-8")
        assert kept_news(folder, "kitchen") is None
        assert not Gate(folder.own() / "kitchen.share.json").phones
