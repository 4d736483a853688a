"""Writing whole files: what may be replaced, and what a killed run leaves behind."""

from __future__ import annotations

import os
import signal
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from cureplan.core.errors import CurePlanError, InputError, OutputError
from cureplan.core.writing import (
    refuse_target,
    settle,
    write_all,
    write_atomically,
    write_together,
)


def names(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_an_input_is_never_a_target_not_even_by_force(tmp_path: Path) -> None:
    job = tmp_path / "job.toml"
    job.write_text("job")
    (tmp_path / "again.csv").symlink_to(job)
    for name in ("job.toml", "again.csv", "./job.toml"):
        with pytest.raises(InputError, match="the command reads"):
            refuse_target(tmp_path / name, option="--save", inputs=[job], force=True)


def test_a_file_of_another_kind_needs_force(tmp_path: Path) -> None:
    path = tmp_path / "notes.txt"
    path.write_bytes(b"mine")
    png = b"\x89PNG"
    with pytest.raises(InputError, match="--force"):
        refuse_target(path, option="--picture", ours=lambda head: head.startswith(png))
    refuse_target(path, option="--picture", force=True)
    path.write_bytes(png + b"old picture")
    refuse_target(path, option="--picture", ours=lambda head: head.startswith(png))


def test_folders_devices_and_pipes_are_no_targets(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "null").symlink_to(os.devnull)
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for path in (tmp_path, tmp_path / "pipe", tmp_path / "null", tmp_path / "loop"):
        with pytest.raises(CurePlanError) as caught:
            refuse_target(path, option="--out", force=True)
        assert "\n" not in str(caught.value)
        with pytest.raises(OutputError):
            write_atomically(path, "text")
    assert stat.S_ISCHR(Path(os.devnull).stat().st_mode)
    assert names(tmp_path) == ["loop", "null", "pipe"]


def test_links_are_followed_and_stay_links(tmp_path: Path) -> None:
    (tmp_path / "shelf").mkdir()
    (tmp_path / "shelf" / "card.toml").write_text("old")
    link = tmp_path / "card.toml"
    link.symlink_to(tmp_path / "shelf" / "card.toml")
    write_atomically(link, "new")
    assert link.is_symlink()
    assert (tmp_path / "shelf" / "card.toml").read_text() == "new"


@pytest.mark.parametrize("umask", [0o022, 0o077])
def test_umask_and_an_older_files_mode_are_kept(tmp_path: Path, umask: int) -> None:
    before = os.umask(umask)
    try:
        write_atomically(tmp_path / "new", "text")
        (tmp_path / "old").write_text("text")
        (tmp_path / "old").chmod(0o640)
        write_atomically(tmp_path / "old", "more")
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o666 & ~umask
    assert stat.S_IMODE((tmp_path / "old").stat().st_mode) == 0o640


def test_a_name_as_long_as_names_may_be_is_written(tmp_path: Path) -> None:
    write_atomically(tmp_path / ("n" * 251 + ".csv"), "text")
    with pytest.raises(OutputError, match="could not be written"):
        write_atomically(tmp_path / ("n" * 300), "text")


NEW = {"plan.json": b"new plan", "sheet.html": b"new sheet", "crew.ics": b"new calls"}


def test_what_a_killed_run_had_not_finished_is_cleaned_away(tmp_path: Path) -> None:
    scrap = tmp_path / ".cureplan-part-0123456789ab"
    scrap.mkdir()
    (scrap / "plan.json").write_bytes(b"half a pl")
    (tmp_path / ".cureplan-part-ba9876543210").write_bytes(b"half a card")
    write_together(tmp_path, NEW)
    assert names(tmp_path) == sorted(NEW)


@pytest.mark.parametrize("moved", [0, 1, 2, 3])
def test_what_a_killed_run_had_complete_is_finished_by_the_next_reader(
    tmp_path: Path, moved: int
) -> None:
    # As a run killed between two of its renames leaves a folder.
    ready = tmp_path / ".cureplan-ready-0123456789ab"
    ready.mkdir()
    for number, (name, content) in enumerate(sorted(NEW.items())):
        if number < moved:
            (tmp_path / name).write_bytes(content)
        else:
            (tmp_path / name).write_bytes(b"old")
            (ready / name).write_bytes(content)
    (tmp_path / "plan.png").write_bytes(b"old picture")
    (ready / ".gone").write_text("plan.png\n../job.toml")
    (tmp_path / "notes.txt").write_text("mine")
    settle(tmp_path)
    assert {n: (tmp_path / n).read_bytes() for n in NEW} == NEW
    assert names(tmp_path) == sorted([*NEW, "notes.txt"])


def test_what_only_looks_like_a_complete_set_never_blocks(tmp_path: Path) -> None:
    (tmp_path / ".cureplan-ready-0123456789ab").write_bytes(b"no folder")
    (tmp_path / ".cureplan-ready-ba9876543210").symlink_to(tmp_path / "nowhere")
    settle(tmp_path)
    write_together(tmp_path, NEW)
    assert names(tmp_path) == sorted(NEW)


def test_links_and_pipes_in_place_of_a_file_stay(tmp_path: Path) -> None:
    (tmp_path / "mine").write_text("mine")
    folder = tmp_path / "out"
    folder.mkdir()
    (folder / "plan.json").symlink_to(tmp_path / "mine")
    with pytest.raises(OSError, match="link of that name"):
        write_together(folder, NEW)
    assert names(folder) == ["plan.json"]
    assert (tmp_path / "mine").read_text() == "mine"


# Writes folder after folder, each in a copy of the process that dies before one more call
# to the file system than the last; the first that lives ends it.
DIES = """
import os, signal, sys
from pathlib import Path
from cureplan.core.writing import settle, write_all, write_atomically, write_together

base, names, how = Path(sys.argv[1]), sys.argv[2].split(), sys.argv[3]
CALLS = {"open", "os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.chmod"}

def count(event, _arguments):
    global left
    if event in CALLS:
        left -= 1
        if left < 0:
            os.kill(os.getpid(), signal.SIGKILL)

import fcntl, shutil
new = {name: b"new" for name in ("crew.ics", "plan.json", "sheet.html")}

def write(folder):
    sys.addaudithook(count)
    if how == "one":
        write_atomically(folder / "plan.json", b"new")
    elif how == "all":
        write_all({folder / name: content for name, content in new.items()})
    else:
        write_together(folder, new, gone=["plan.png"])

for left in range(200):
    folder = base / str(left)
    folder.mkdir()
    for name in names:
        (folder / name).write_bytes(b"old")
    copy = os.fork()
    if copy == 0:
        write(folder)
        os._exit(0)
    ended = os.waitstatus_to_exitcode(os.waitpid(copy, 0)[1])
    print(ended)
    if ended != -signal.SIGKILL:
        break
"""


@pytest.mark.thorough
@pytest.mark.skipif(sys.platform == "win32", reason="no such signal")
@pytest.mark.parametrize("how", ["one", "all", "together"])
def test_killed_before_any_call_to_the_file_system_all_is_old_or_new(
    tmp_path: Path, how: str
) -> None:
    old = dict.fromkeys((*NEW, "plan.png"), b"old")
    new = {
        "one": {**old, "plan.json": b"new"},
        "all": {**old, **dict.fromkeys(NEW, b"new")},
        "together": dict.fromkeys(NEW, b"new"),
    }[how]
    run = subprocess.run(
        [sys.executable, "-S", "-c", DIES, str(tmp_path), " ".join(old), how],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    *killed, last = map(int, run.stdout.split())
    assert set(killed) == {-signal.SIGKILL}
    assert last == 0, run.stderr
    seen = set()
    for calls in range(len(killed) + 1):
        folder = tmp_path / str(calls)
        settle(folder)
        found = {n: (folder / n).read_bytes() for n in names(folder) if n[0] != "."}
        assert found in (old, new), calls
        seen.add(found == new)
        # Whoever writes next takes away what is left.
        write_together(folder, NEW)
        assert set(names(folder)) <= {*NEW, "plan.png"}, calls
    assert seen == {True, False}


@pytest.mark.parametrize("apart", [False, True])
@pytest.mark.parametrize("stood", [False, True])
def test_of_two_files_none_changes_where_one_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, apart: bool, stood: bool
) -> None:
    # A card was new and its picture old when the second write failed.
    there = tmp_path / "pictures" if apart else tmp_path
    there.mkdir(exist_ok=True)
    card, picture = tmp_path / "mine.toml", there / "mine.png"
    if stood:
        card.write_bytes(b"old")
        picture.write_bytes(b"old")
    moved = Path.replace

    def full(path: Path, target: Path) -> Path:
        # Only the new picture's own move fails, not what puts the old one back.
        if Path(target) == picture and path.read_bytes() == b"new":
            raise OSError(28, "No space left on device")
        return moved(path, target)

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(OutputError, match="No space left on device") as caught:
        write_all({card: b"new", picture: b"new"})
    assert str(card) in str(caught.value)
    monkeypatch.undo()
    for path in (card, picture):
        assert (path.read_bytes() if path.exists() else None) == (b"old" if stood else None)
    assert {*names(tmp_path), *names(there)} <= {"mine.toml", "mine.png", "pictures"}
    write_all({card: b"new", picture: b"new"})
    assert card.read_bytes() == picture.read_bytes() == b"new"


def test_a_target_that_is_a_folder_spoils_nothing(tmp_path: Path) -> None:
    card, picture = tmp_path / "mine.toml", tmp_path / "pictures" / "mine.png"
    card.write_bytes(b"old")
    picture.mkdir(parents=True)
    with pytest.raises(OutputError, match="a folder of that name"):
        write_all({card: b"new", picture: b"new"})
    assert card.read_bytes() == b"old"
