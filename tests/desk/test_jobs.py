"""Jobs of a folder asked for as a page would ask: list, new, copy, change, undo, differ."""

from __future__ import annotations

import html
import os
import re
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest

from desk.conftest import DEMO, Served, Server

JOB = "school-kitchen"


def rev(served: Served, name: str = JOB) -> str:
    return str(served.ask(f"/jobs/{name}/rev").json["rev"])


def text_of(served: Served, name: str = JOB) -> str:
    return (served.folder / f"{name}.toml").read_text("utf-8")


def change(served: Served, *changes: dict[str, Any], at: str | None = None) -> Any:
    sent = {"rev": at or rev(served), "changes": [*changes]}
    return served.post(f"/jobs/{JOB}/change", sent)


def test_an_empty_folder_gets_a_job_that_is_sound(desk_on: Server, tmp_path: Path) -> None:
    served = desk_on(tmp_path)
    got = served.post("/jobs", {"name": "New kitchen"})
    assert got.json == {"go": "/jobs/New%20kitchen"}
    page = served.ask("/jobs/New%20kitchen")
    assert page.status == 200
    assert 'id="faults-part" hidden' in page.text
    # Its night lies ahead of the desk's clock.
    begins = tomllib.loads(text_of(served, "New kitchen"))["access"]["from"]
    assert begins > served.desk.now().replace(tzinfo=None)
    assert "New kitchen" in served.ask("/").text


@pytest.mark.parametrize(
    "name",
    [
        *("", " ", "../x", "a/b", ".hidden", "x" * 61, "a\u0000b", "con:", "a\nb", JOB),
        # What Windows takes for a device, or cuts off.
        *("Con", "nul.kitchen", "LPT1", "Bar."),
    ],
)
def test_a_job_gets_no_name_that_leads_elsewhere_or_is_taken(
    demo_desk: Served, name: str
) -> None:
    before = sorted(demo_desk.folder.parent.rglob("*"))
    got = demo_desk.post("/jobs", {"name": name})
    assert got.status == 422
    assert got.json["fault"]
    assert str(demo_desk.folder) not in got.text
    assert sorted(demo_desk.folder.parent.rglob("*")) == before


def test_a_link_is_no_job(demo_desk: Served, tmp_path: Path) -> None:
    secret = tmp_path / "secret.toml"
    secret.write_text('word = "treasure"\n', encoding="utf-8")
    (demo_desk.folder / "lure.toml").symlink_to(secret)
    page = demo_desk.ask("/").text
    # Nothing to open, and a word why.
    assert "/jobs/lure" not in page
    assert "lure.toml&#34; is left off this list: it is a link" in page
    got = demo_desk.ask("/jobs/lure")
    assert got.status == 404
    assert "treasure" not in got.text


def test_a_file_whose_name_is_not_allowed_is_said_to_be_left_off(demo_desk: Served) -> None:
    text = text_of(demo_desk)
    # A card, a hidden file and a folder are no jobs: nothing is said of them.
    kept = ("Bar? 2.toml", f"{'x' * 61}.toml", "Hotel.TOML", ".hidden.toml", "Is it?.toml")
    for name in kept:
        (demo_desk.folder / name).write_text(text, encoding="utf-8")
    (demo_desk.folder / "Is it?.toml").write_text('kind = "slurry"', encoding="utf-8")
    (demo_desk.folder / "Old?.toml").mkdir()
    os.mkfifo(demo_desk.folder / "Pipe?.toml")
    (demo_desk.folder / "Link.toml").symlink_to(demo_desk.folder / f"{JOB}.toml")
    page = html.unescape(demo_desk.ask("/").text)
    said = re.findall(r'"([^"]*)" is left off this list: (.*?)</p>', page)
    assert [name for name, _ in said] == ["Bar? 2.toml", "Hotel.TOML", "Link.toml", kept[1]]
    assert "letters, digits, spaces and hyphens, 60 at most" in said[0][1]
    assert 'rename it to "Hotel.toml"' in said[1][1]
    assert "it is a link" in said[2][1]
    assert str(demo_desk.folder) not in page


def test_a_plan_that_lies_elsewhere_hides_no_other_job(
    demo_desk: Served, tmp_path: Path
) -> None:
    (tmp_path / "secret").mkdir()
    (demo_desk.folder / f"{JOB}-plan").symlink_to(tmp_path / "secret")
    shutil.copy(demo_desk.folder / f"{JOB}.toml", demo_desk.folder / "other.toml")
    got = demo_desk.ask("/")
    assert got.status == 200
    assert "is a link; put a folder there" in got.text
    assert "/jobs/other" in got.text
    assert "secret" not in got.text


def test_a_copy_is_another_job(demo_desk: Served) -> None:
    got = demo_desk.post(f"/jobs/{JOB}/copy", {"name": "Copy"})
    assert got.status == 200
    assert text_of(demo_desk, "Copy") == text_of(demo_desk)


def test_a_field_is_written_beside_the_users_comments(demo_desk: Served) -> None:
    before = text_of(demo_desk)
    got = change(demo_desk, {"key": "crew.setup", "text": "50 min"})
    assert got.status == 200
    assert got.json["faults"] == []
    assert text_of(demo_desk) == before.replace('setup = "30 min"', 'setup = "50 min"')


@pytest.mark.parametrize(
    ("key", "text"),
    [
        ("crew.setup", "45"),
        ("crew.stations", "two"),
        ("site.latitude", "north"),
        ("building.climate", "warm"),
        ("rooms[1].name", "x" * 99),
        ("policy.confidence", "120 %"),
    ],
)
def test_a_wrong_value_is_refused_as_the_command_line_refuses_it(
    demo_desk: Served, key: str, text: str
) -> None:
    from cureplan.desk.form import path_of
    from cureplan.inputs.faults import value_fault
    from cureplan.inputs.job.interview import value_of
    from cureplan.inputs.job.schema import JobFile

    before = text_of(demo_desk)
    got = change(demo_desk, {"key": key, "text": text})
    path = path_of(key)
    fault = value_fault(path, value_of(path, text), JobFile)
    assert fault is not None
    assert got.status == 422
    assert fault.problem in got.json["fault"]
    assert got.json["key"] == key
    assert text_of(demo_desk) == before


def test_keys_that_must_agree_are_said_together(demo_desk: Served) -> None:
    got = change(demo_desk, {"key": "crew.stations", "text": "9"})
    assert got.status == 200
    assert [fault["key"] for fault in got.json["faults"]] == ["crew.stations"]


def test_a_needed_field_cannot_be_emptied_and_an_optional_one_can(demo_desk: Served) -> None:
    got = change(demo_desk, {"key": "site.name", "text": " "})
    assert got.status == 422
    assert "missing" in got.json["fault"]
    got = change(demo_desk, {"key": "building.gain", "text": ""})
    assert got.status == 200
    assert "gain" not in tomllib.loads(text_of(demo_desk))["building"]


@pytest.mark.parametrize(
    ("one", "status"),
    [
        ({"do": "remove room", "key": "crew.mixer"}, 422),
        ({"do": "remove person", "key": "rooms[1].name"}, 422),
        ({"do": "remove room", "key": "people"}, 422),
        ({"do": "shape", "key": "rooms", "shape": {}}, 422),
        ({"key": "people[1].name", "text": "Ana"}, 422),
        ({"key": "site.name", "text": "\ud800"}, 400),
        ({"key": "site.name", "text": float("nan")}, 400),
    ],
)
def test_what_no_page_sends_is_refused(
    demo_desk: Served, one: dict[str, Any], status: int
) -> None:
    before = text_of(demo_desk)
    assert change(demo_desk, one).status == status
    assert text_of(demo_desk) == before


def test_a_reading_of_the_slab_comes_and_goes_whole(demo_desk: Served) -> None:
    change(demo_desk, {"key": "rooms[2].slab_reading.temp", "text": "81 F"})
    got = change(demo_desk, {"key": "rooms[2].slab_reading.at", "text": "2013-07-17T17:00"})
    assert got.json["faults"] == []
    change(demo_desk, {"key": "rooms[2].slab_reading.temp", "text": ""})
    got = change(demo_desk, {"key": "rooms[2].slab_reading.at", "text": ""})
    assert got.json["faults"] == []
    assert "slab_reading" not in tomllib.loads(text_of(demo_desk))["rooms"][1]


def test_a_room_with_another_name_is_still_the_way_out_of_the_others(
    demo_desk: Served,
) -> None:
    got = change(demo_desk, {"key": "rooms[5].name", "text": "Hall"})
    assert got.json["faults"] == []
    rooms = tomllib.loads(text_of(demo_desk))["rooms"]
    assert [room["way_out"] for room in rooms] == [["Hall"]] * 4 + [[]]
    got = change(demo_desk, {"do": "remove room", "key": "rooms[5].name"})
    assert got.json["faults"] == []
    assert len(tomllib.loads(text_of(demo_desk))["rooms"]) == 4


def test_every_change_can_be_undone_and_the_desk_may_end_in_between(
    demo_folder: Path, desk_on: Server
) -> None:
    first = desk_on(demo_folder)
    texts = [text_of(first)]
    for setup in ("50 min", "51 min", "52 min"):
        change(first, {"key": "crew.setup", "text": setup})
        texts.append(text_of(first))
    second = desk_on(demo_folder)
    for text in reversed(texts[:-1]):
        assert second.post(f"/jobs/{JOB}/undo", {"rev": rev(second)}).status == 200
        assert text_of(second) == text
    assert second.post(f"/jobs/{JOB}/undo", {"rev": rev(second)}).json["undo"] is False


def test_a_crew_that_was_counted_is_listed_by_name(demo_desk: Served) -> None:
    before = tomllib.loads(text_of(demo_desk))["crew"]
    got = change(demo_desk, {"do": "list people"})
    assert got.json["faults"] == []
    found = tomllib.loads(text_of(demo_desk))
    for role in ("mixer", "runner", "rake", "smoother", "broadcaster", "edge", "topcoat"):
        assert role not in found["crew"]
        holding = [one for one in found["people"] if role in one["roles"]]
        assert len(holding) == before[role]
    got = change(demo_desk, {"key": "people[1].name", "text": "Ana"})
    got = change(demo_desk, {"key": "people[1].roles", "text": "mixer, edge"})
    got = change(demo_desk, {"key": "people[1].hours", "text": "19:00 to 01:00"})
    assert got.json["faults"] == []
    ana = tomllib.loads(text_of(demo_desk))["people"][0]
    assert ana == {
        "name": "Ana", "roles": ["mixer", "edge"], "hours": [{"from": "19:00", "to": "01:00"}],
    }  # fmt: skip
    assert change(demo_desk, {"key": "people[1].roles", "text": "cook"}).status == 422
    assert change(demo_desk, {"do": "add person"}).json["faults"] == []
    count = len(tomllib.loads(text_of(demo_desk))["people"])
    assert change(demo_desk, {"do": "remove person", "key": "people[2].name"}).status == 200
    assert len(tomllib.loads(text_of(demo_desk))["people"]) == count - 1
    page = demo_desk.ask(f"/jobs/{JOB}").text
    assert 'data-key="people[1].name"' in page
    assert 'data-key="crew.mixer"' not in page


def test_what_a_hand_has_changed_is_taken_back_first_and_kept(demo_desk: Served) -> None:
    change(demo_desk, {"key": "crew.setup", "text": "50 min"})
    left = text_of(demo_desk)
    path = demo_desk.folder / f"{JOB}.toml"
    by_hand = left.replace("[site]", "[site")
    path.write_text(by_hand, encoding="utf-8")
    assert "Back to how the desk last left it" in demo_desk.ask(f"/jobs/{JOB}").text
    assert demo_desk.post(f"/jobs/{JOB}/undo", {"rev": rev(demo_desk)}).status == 200
    assert text_of(demo_desk) == left
    kept = demo_desk.folder / ".cureplan-desk" / f"{JOB}.by-hand.toml"
    assert kept.read_text("utf-8") == by_hand
    demo_desk.post(f"/jobs/{JOB}/undo", {"rev": rev(demo_desk)})
    assert 'setup = "30 min"' in text_of(demo_desk)


def test_the_second_of_two_browsers_is_shown_what_differs_and_loses_nothing(
    demo_desk: Served,
) -> None:
    demo_desk.ask(f"/jobs/{JOB}")
    shown = rev(demo_desk)
    assert change(demo_desk, {"key": "crew.setup", "text": "50 min"}, at=shown).status == 200
    mine = {"key": "policy.margin", "text": "3 min"}
    got = change(demo_desk, mine, at=shown)
    assert got.status == 409
    (theirs,), (yours,) = got.json["theirs"], got.json["yours"]
    assert theirs.pop("words") == "Crew: How long to set up?"
    assert theirs == {"key": "crew.setup", "was": "30 min", "now": "50 min"}
    assert yours.pop("words").startswith("Policy: ")
    assert yours == {"key": "policy.margin", "now": "2 min", "yours": "3 min"}
    assert tomllib.loads(text_of(demo_desk))["policy"]["margin"] == "2 min"
    assert change(demo_desk, mine, at=got.json["rev"]).status == 200
    found = tomllib.loads(text_of(demo_desk))
    assert (found["crew"]["setup"], found["policy"]["margin"]) == ("50 min", "3 min")


def test_what_is_put_on_top_goes_to_the_room_it_was_of(demo_desk: Served) -> None:
    shown = demo_desk.ask(f"/jobs/{JOB}") and rev(demo_desk)
    names = [room["name"] for room in tomllib.loads(text_of(demo_desk))["rooms"]]
    gone = {"do": "remove room", "key": "rooms[1].name", "of": names[0]}
    assert change(demo_desk, gone, at=shown).status == 200
    mine = {"key": "rooms[3].use", "text": "storage", "of": names[2]}
    got = change(demo_desk, mine, at=shown)
    # One room is gone, and nothing else differs: the others have but moved up.
    theirs = [one for one in got.json["theirs"] if "way_out" not in one["key"]]
    assert theirs == [{"key": "rooms[1]", "words": names[0], "was": names[0], "now": ""}]
    assert got.json["yours"][0]["words"].startswith(f"{names[2]}: ")
    assert change(demo_desk, mine, at=got.json["rev"]).status == 200
    after = {room["name"]: room["use"] for room in tomllib.loads(text_of(demo_desk))["rooms"]}
    assert after[names[2]] == "storage"
    lost = change(demo_desk, {"key": "rooms[1].use", "text": "bar", "of": names[0]})
    assert lost.status == 422
    assert "gone from this job" in lost.json["fault"]


def test_a_whole_text_goes_over_another_only_when_it_is_sent_again(demo_desk: Served) -> None:
    shown, before = rev(demo_desk), text_of(demo_desk)
    path = demo_desk.folder / f"{JOB}.toml"
    path.write_text(before.replace("[site]", "[site"), encoding="utf-8")
    sent = {"rev": shown, "text": before}
    got = demo_desk.post(f"/jobs/{JOB}/text", sent)
    assert got.status == 409
    again = demo_desk.post(f"/jobs/{JOB}/text", {**sent, "rev": got.json["rev"]})
    assert again.json["faults"] == []
    assert text_of(demo_desk) == before


def test_a_change_without_room_for_its_history_is_saved_all_the_same(
    demo_desk: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    from cureplan.core.errors import OutputError
    from cureplan.desk import folder as files

    write, before = files.write_atomically, text_of(demo_desk)

    def full(path: Path, content: Any) -> None:
        if path.suffix != ".toml":
            raise OutputError(f"{path}: could not be written (No space left on device)")
        write(path, content)

    change(demo_desk, {"key": "crew.setup", "text": "40 min"})
    monkeypatch.setattr(files, "write_atomically", full)
    assert change(demo_desk, {"key": "crew.setup", "text": "50 min"}).status == 200
    refused = demo_desk.post(f"/jobs/{JOB}/undo", {"rev": rev(demo_desk)})
    assert refused.status == 507
    monkeypatch.setattr(files, "write_atomically", write)
    assert 'setup = "50 min"' in text_of(demo_desk)
    # What has no history counts as written by hand: it is kept, and taken back.
    demo_desk.post(f"/jobs/{JOB}/undo", {"rev": rev(demo_desk)})
    assert 'setup = "40 min"' in text_of(demo_desk)
    demo_desk.post(f"/jobs/{JOB}/undo", {"rev": rev(demo_desk)})
    assert text_of(demo_desk) == before


def test_a_job_broken_by_hand_while_open_is_shown_with_its_line(demo_desk: Served) -> None:
    demo_desk.ask(f"/jobs/{JOB}")
    shown = rev(demo_desk)
    path = demo_desk.folder / f"{JOB}.toml"
    broken = text_of(demo_desk).replace('elevation = "3 m"', 'elevation = 3 m"')
    path.write_text(broken, encoding="utf-8")
    line = broken.split("\n").index('elevation = 3 m"') + 1
    got = change(demo_desk, {"key": "crew.setup", "text": "50 min"}, at=shown)
    assert got.status == 422
    assert f".toml:{line}" in got.json["fault"]
    assert path.read_text("utf-8") == broken
    page = demo_desk.ask(f"/jobs/{JOB}")
    assert f".toml:{line}" in page.text
    assert "elevation = 3 m" in page.text
    assert f"line {line}" in demo_desk.ask("/").text
    sent = {"rev": rev(demo_desk), "text": broken.replace('3 m"', '"3 m"')}
    assert demo_desk.post(f"/jobs/{JOB}/text", sent).json["faults"] == []


def drop(served: Served, file: str, data: bytes) -> Any:
    headers = {"Origin": served.url}
    path = f"/jobs/{JOB}/weather?file={file}"
    return served.ask(path, method="POST", body=data, headers=headers)


def test_a_dropped_photo_is_no_weather(demo_desk: Served) -> None:
    before = text_of(demo_desk)
    got = drop(demo_desk, "photo.csv", b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40)
    assert got.status == 422
    assert "this is a picture" in got.json["fault"]
    assert "give the CSV file itself" in got.json["fault"]
    assert not (demo_desk.folder / "photo.csv").exists()
    assert text_of(demo_desk) == before
    assert str(demo_desk.folder) not in got.text


def test_dropped_weather_is_kept_named_and_told(demo_desk: Served) -> None:
    data = (DEMO / "heat-wave.csv").read_bytes()
    got = drop(demo_desk, "dropped.csv", data)
    assert got.status == 200
    assert any("hours" in line for line in got.json["understood"])
    assert tomllib.loads(text_of(demo_desk))["weather"]["file"] == "dropped.csv"
    assert (demo_desk.folder / "dropped.csv").read_bytes() == data


@pytest.mark.parametrize(
    "file", ["../x.csv", ".x.csv", "a%2Fb.csv", "", "school-kitchen.toml", "aux.csv", "a:b.csv"]
)
def test_dropped_weather_gets_no_name_that_leads_elsewhere(
    demo_desk: Served, file: str
) -> None:
    before = {path: path.read_bytes() for path in demo_desk.folder.rglob("*.toml")}
    got = drop(demo_desk, file, (DEMO / "heat-wave.csv").read_bytes())
    assert got.status == 422
    assert not (demo_desk.folder.parent / "x.csv").exists()
    assert {path: path.read_bytes() for path in before} == before


def test_a_town_gives_its_place(demo_desk: Served) -> None:
    towns = demo_desk.post("/towns", {"text": "Lyon"}).json["towns"]
    assert towns[0]["time_zone"] == "Europe/Paris"


def test_a_card_of_the_folder_can_be_chosen_and_is_no_job(demo_desk: Served) -> None:
    import cureplan.inputs.cards.reader as reader

    shipped = Path(reader.__file__).parent / "shipped" / "fast-slurry.toml"
    shutil.copy(shipped, demo_desk.folder / "ours.toml")
    assert "/jobs/ours" not in demo_desk.ask("/").text
    assert '<option value="ours.toml">' in demo_desk.ask(f"/jobs/{JOB}").text
    got = change(demo_desk, {"key": "materials.slurry", "text": "ours.toml"})
    assert got.json["faults"] == []
