"""Files: all of them or none, and the last good plan never lost."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from cureplan.core.errors import InputError, OutputError
from cureplan.output.commands.common import refuse_folder
from cureplan.output.sheet.write import FILES, PICTURES, ROLE_FILES, render_sheets, write_sheets
from cureplan.planning.plan.model import Plan, plan_from_json

# The workbook is written where it is asked for, primers where there are some.
UNPRIMED = tuple(name for name in FILES if name not in ("primers.csv", "plan.xlsx"))
"""Files of a plan without a primer."""


@pytest.fixture(scope="module")
def contents(plan: Plan) -> dict[str, bytes]:
    return render_sheets(plan)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch, contents: dict[str, bytes]) -> None:
    """Rendering is tested once; here it only has to come out."""
    monkeypatch.setattr(
        "cureplan.output.sheet.write.render_sheets", lambda _plan, **_: contents
    )


def test_every_file_is_written(plan: Plan, tmp_path: Path, quick: None):
    paths = write_sheets(plan, tmp_path / "new" / "out")
    names = [path.name for path in paths]
    assert [name for name in names if name not in ROLE_FILES] == list(UNPRIMED)
    # Those the sample calls; the runner sees to the ice, the topcoat crew vacuums.
    roles = ("mixer", "runner", "smoother", "topcoat")
    assert set(names) - set(UNPRIMED) == {f"crew-{role}.ics" for role in roles}
    assert sorted(path.name for path in (tmp_path / "new" / "out").iterdir()) == sorted(names)


def test_the_calendar_of_a_role_nobody_has_any_more_is_taken_away(
    plan: Plan, tmp_path: Path, quick: None
):
    write_sheets(plan, tmp_path)
    (tmp_path / "crew-primer.ics").write_text("of an older plan")
    write_sheets(plan, tmp_path)
    assert not (tmp_path / "crew-primer.ics").exists()


def test_pictures_are_kept_where_only_what_would_help_is_new(
    plan: Plan, tmp_path: Path, contents: dict[str, bytes], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(
        "cureplan.output.sheet.write.render_sheets",
        lambda _plan, *, pictures, **_: {
            name: text for name, text in contents.items() if pictures or name not in PICTURES
        },
    )
    write_sheets(plan, tmp_path)
    (tmp_path / "plan.png").write_bytes(b"drawn before")
    write_sheets(plan, tmp_path, pictures="kept")
    assert (tmp_path / "plan.png").read_bytes() == b"drawn before"
    # A plan that was stopped has none, and those of another would mislead.
    write_sheets(plan, tmp_path, pictures=False)
    assert not (tmp_path / "plan.png").exists()


def test_the_contents_are_what_their_names_say(contents: dict[str, bytes]):
    assert contents["sheet.html"].startswith(b"<!doctype html>")
    assert contents["plan.png"].startswith(b"\x89PNG\r\n")
    assert contents["plan.pdf"].startswith(b"%PDF-")
    assert contents["crew.ics"].startswith(b"BEGIN:VCALENDAR\r\n")


def test_the_plan_comes_back_from_its_file(plan: Plan, contents: dict[str, bytes]):
    text = contents["plan.json"].decode("utf-8")
    assert plan_from_json(text).buckets == plan.buckets
    first = json.loads(text)["decisions"]["answers"][0]["headline"][0]
    assert first["text"] == "Cook line first, Wed 21:00"


def test_other_files_in_the_folder_stay(plan: Plan, tmp_path: Path, quick: None):
    (tmp_path / "notes.txt").write_text("mine")
    write_sheets(plan, tmp_path)
    written = write_sheets(plan, tmp_path)
    assert (tmp_path / "notes.txt").read_text() == "mine"
    assert len(list(tmp_path.iterdir())) == len(written) + 1


def test_a_file_in_place_of_the_folder_is_one_line(plan: Plan, tmp_path: Path, quick: None):
    taken = tmp_path / "out"
    taken.write_text("a file")
    with pytest.raises(OutputError) as caught:
        write_sheets(plan, taken)
    assert str(taken) in str(caught.value)
    assert "\n" not in str(caught.value)
    assert taken.read_text() == "a file"


def test_a_folder_in_place_of_a_file_leaves_the_last_plan(
    plan: Plan, tmp_path: Path, quick: None
):
    (tmp_path / "plan.json").write_text("last good plan")
    (tmp_path / "crew.ics").mkdir()
    with pytest.raises(OutputError, match=r"crew\.ics: could not be written"):
        write_sheets(plan, tmp_path)
    assert (tmp_path / "plan.json").read_text() == "last good plan"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["crew.ics", "plan.json"]


@pytest.mark.parametrize("failing", UNPRIMED)
def test_a_swap_that_fails_midway_is_taken_back(
    plan: Plan, tmp_path: Path, quick: None, monkeypatch: pytest.MonkeyPatch, failing: str
):
    for name in UNPRIMED[::2]:
        (tmp_path / name).write_text(f"old {name}")
    replace = Path.replace

    def refuse(self: Path, target: Path) -> Path:
        if self.name == failing:
            raise OSError(28, "No space left on device", str(target))
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OutputError, match="No space left on device"):
        write_sheets(plan, tmp_path)
    left = {path.name: path.read_text() for path in tmp_path.iterdir()}
    assert left == {name: f"old {name}" for name in UNPRIMED[::2]}


def test_a_full_disk_while_writing_leaves_no_scrap(
    plan: Plan, tmp_path: Path, quick: None, monkeypatch: pytest.MonkeyPatch
):
    def full(descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("os.fsync", full)
    with pytest.raises(OutputError, match="No space left on device"):
        write_sheets(plan, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_without_hard_links_the_old_file_is_kept_by_copy(
    plan: Plan, tmp_path: Path, quick: None, monkeypatch: pytest.MonkeyPatch
):
    def no_links(source: Path, target: Path) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr("os.link", no_links)
    (tmp_path / "plan.json").write_text("old")
    write_sheets(plan, tmp_path)
    assert (tmp_path / "plan.json").read_text() != "old"


@pytest.mark.parametrize("left", ["crew.ics", "plan.json"])
def test_the_calendar_of_the_plan_before_is_mended(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, left: str
):
    monkeypatch.setattr("cureplan.output.charts.pages.plan_pictures", lambda _plan: {})
    write_sheets(plan, tmp_path / "old")
    for path in (tmp_path / "old").iterdir():
        if path.name != left:
            path.unlink()
    fewer = replace(plan, calls=tuple(call for call in plan.calls if call.role != "mixer"))
    write_sheets(fewer, tmp_path / "new", before=tmp_path / "old")
    calendar = (tmp_path / "new" / "crew.ics").read_bytes()
    assert calendar.count(b"STATUS:CANCELLED") == 1
    write_sheets(fewer, tmp_path / "old")
    assert (tmp_path / "old" / "crew.ics").read_bytes() == calendar


PRECIOUS = {"plan.pdf": b"%PDF the floor as drawn", "buckets.csv": b"mine", "plan.xlsx": b"PK"}
MINE = b"BEGIN:VCALENDAR\nPRODID:-//mine//EN\nEND:VCALENDAR\n"


@pytest.mark.parametrize(
    "stood",
    [*({n: c} for n, c in PRECIOUS.items()), {"crew.ics": MINE}, {"plan.json": b'{"task": 1}'}],
    ids=lambda stood: next(iter(stood)),
)
def test_the_users_own_files_of_such_a_name_stay(
    plan: Plan, tmp_path: Path, quick: None, stood: dict[str, bytes]
):
    # plan.pdf and plan.xlsx a plan without them would take away.
    ((name, content),) = stood.items()
    (tmp_path / name).write_bytes(content)
    with pytest.raises(OutputError, match="no file of a plan's"):
        write_sheets(plan, tmp_path, pictures=False)
    assert [path.name for path in tmp_path.iterdir()] == [name]
    assert (tmp_path / name).read_bytes() == content
    with pytest.raises(InputError, match="--force"):
        refuse_folder(tmp_path, inputs=())
    refuse_folder(tmp_path, inputs=(), force=True)
    write_sheets(plan, tmp_path, force=True)
    assert plan_from_json((tmp_path / "plan.json").read_text("utf-8"))


DAMAGED = {
    "empty": b"",
    "cut": b"{",
    "object": b"{}",
    "null": b"null",
    "deep": b"[" * 99_999,
    "bytes": b"\xff",
}


@pytest.mark.parametrize("left", DAMAGED.values(), ids=DAMAGED)
def test_a_damaged_plan_or_calendar_never_blocks(
    plan: Plan, tmp_path: Path, quick: None, left: bytes
):
    for name in ("plan.json", "crew.ics"):
        folder = tmp_path / name[:4]
        folder.mkdir()
        (folder / name).write_bytes(left)
        refuse_folder(folder, inputs=())
        assert write_sheets(plan, folder)


def test_an_input_under_another_name_is_never_replaced(tmp_path: Path):
    (tmp_path / "plan.json").write_text("old")
    (tmp_path / "buckets.csv").write_text("a log")
    (tmp_path / "log.csv").symlink_to("buckets.csv")
    with pytest.raises(InputError, match=r"buckets\.csv in it is a file the command reads"):
        refuse_folder(tmp_path, inputs=[tmp_path / "log.csv"], force=True)
