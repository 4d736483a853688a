"""Plans made and moved from the desk, asked for as a page would ask."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import time as clock
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from command_line import run_process

from cureplan.api import (
    demo_job_path,
    get_weather,
    make_plan,
    read_job,
    read_plan,
    write_sheets,
)
from cureplan.core.errors import InputError
from cureplan.core.kept import keep_results
from cureplan.desk.moved import Change, PlanInHand, change_of, wished
from cureplan.desk.work import MOST_KEPT
from cureplan.inputs.job.edits import check_job
from cureplan.inputs.job.model import Job, Shift
from cureplan.planning.floor import pour
from cureplan.planning.floor.pour import PourOption
from cureplan.planning.odds import margins
from cureplan.planning.odds.risk import Looked
from cureplan.planning.plan.model import Plan, plan_to_json
from cureplan.planning.schedule.construct import prepare_pours
from cureplan.science.kit import BucketPath, run_bucket
from cureplan.weather.hours.series import HourlySeries
from desk.conftest import DEMO, EVENING_BEFORE, Served, Server

JOB = "dish-room"


def small_job(folder: Path, *, names: tuple[str, ...] = ("Dish room", "Corridor")) -> Path:
    """The demo's dish room and corridor, to be planned in a few seconds."""
    head, *rooms = (DEMO / "school-kitchen.toml").read_text("utf-8").split("[[rooms]]")
    kept = [room for room in rooms if any(f'name = "{name}' in room for name in names)]
    path = folder / f"{JOB}.toml"
    path.write_text(head + "".join(f"[[rooms]]{room}" for room in kept), encoding="utf-8")
    shutil.copy(DEMO / "heat-wave.csv", folder)
    return path


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a job and its plan."""
    folder = tmp_path_factory.mktemp("planned")
    job = read_job(small_job(folder))
    write_sheets(
        make_plan(job, now=EVENING_BEFORE, what_helps=False),
        folder / f"{JOB}-plan",
        pictures=False,
    )
    return folder


@pytest.fixture
def desk_here(planned: Path, tmp_path: Path, desk_on: Server) -> Served:
    folder = tmp_path / "jobs"
    shutil.copytree(planned, folder)
    return desk_on(folder)


@pytest.fixture(scope="module")
def hand(planned: Path) -> PlanInHand:
    job = read_job(planned / f"{JOB}.toml")
    plan = read_plan(planned / f"{JOB}-plan")
    weather = get_weather(job, now=EVENING_BEFORE)
    return PlanInHand(job, plan, now=EVENING_BEFORE, weather=weather)


@pytest.mark.thorough
def test_a_plan_in_hand_that_is_not_moved_is_the_plan(hand: PlanInHand) -> None:
    # The plan's own figures, as it was made and written.
    found = hand.quick(Change())
    tightest = min(hand.plan.rooms, key=lambda room: room.margin_min)
    assert found["margin_min"] == pytest.approx(tightest.margin_min, abs=0.06)
    assert found["tightest"] == tightest.room
    opens = max(room.opens for room in hand.plan.rooms).astimezone(hand.job.site.zone)
    # To the full minute after it, as every time of waiting.
    assert found["opens"] == f"{opens + timedelta(seconds=59):%a %H:%M}"
    assert hand.chance(Change()) == hand.plan.risk.all_keep_frac


def test_of_a_crew_by_name_so_many_hold_a_task_as_were_asked_for() -> None:
    # The demo's job: three of its people broadcast.
    job = read_job(demo_job_path("corner-kitchen"))
    of = {one.name: one.roles for one in job.crew.people}

    def wish(**hands: int) -> Job:
        plan = SimpleNamespace(rooms=(), coats=())
        return wished(job, plan, change_of(hands))[0]  # type: ignore[arg-type]

    one = wish(broadcaster=1)
    holders = [who for who in one.crew.people if "broadcaster" in who.roles]
    first = next(name for name, roles in of.items() if "broadcaster" in roles)
    assert [who.name for who in holders] == [first]
    assert one.crew.broadcaster == 1
    # Nobody leaves another task for it, and who is left without any goes home.
    for who in one.crew.people:
        assert set(of[who.name]) - set(who.roles) <= {"broadcaster"}
    assert {n for n in of if set(of[n]) != {"broadcaster"}} <= {w.name for w in one.crew.people}
    five = wish(broadcaster=5)
    assert sum("broadcaster" in who.roles for who in five.crew.people) == 5
    assert five.crew.people[: len(of)] == job.crew.people
    now = EVENING_BEFORE
    pours = prepare_pours(job, get_weather(job, now=now))
    room, option = pours["Cook line"], PourOption(chilled=True, cool_filler=False, bays=1)

    def last_s(wish: Job) -> float:
        return float(room.under(room.room, wish).plan(option).times.last_s)

    assert last_s(one) > last_s(job)


def test_without_ice_and_bays_a_plan_in_hand_has_the_margin_its_room_shows(
    hand: PlanInHand,
) -> None:
    # `as_is_margin_min` was worked out by the plan itself, at the same start.
    as_is = min(room.as_is_margin_min for room in hand.plan.rooms)
    assert hand.quick(Change(ice=False, bays=1))["margin_min"] == pytest.approx(as_is, abs=0.06)


def test_an_hour_later_everything_starts_an_hour_later(hand: PlanInHand) -> None:
    _, _, before = hand.moved(Change())
    _, _, after = hand.moved(Change(later_s=3600.0))
    for one, other in zip(before.pours, after.pours, strict=True):
        assert other.start_s - one.start_s == pytest.approx(3600.0)
    # No coat comes before its floor takes it.
    for coat in after.coats:
        assert coat.start_s >= coat.window.opens_s - 1.0


def test_more_broadcasters_never_make_a_pour_slower(hand: PlanInHand) -> None:
    _, _, before = hand.moved(Change(hands=(("broadcaster", 1),)))
    _, _, after = hand.moved(Change(hands=(("broadcaster", 4),)))
    for one, other in zip(before.pours, after.pours, strict=True):
        assert other.end_s - other.start_s <= one.end_s - one.start_s + 1e-6


@pytest.mark.parametrize(
    "sent",
    [{"minutes": "x"}, {"minutes": 1e9}, {"bays": 0}, {"stations": -1}, {"rooms": {"A": "b"}},
     {"minutes": float("nan")}, {"broadcaster": 1e300}],
)  # fmt: skip
def test_a_change_that_is_none_is_refused_in_words(sent: dict[str, Any]) -> None:
    with pytest.raises(InputError, match="give one from"):
        change_of(sent)


def test_a_pour_dragged_past_its_way_out_waits_until_that_bears_feet(hand: PlanInHand) -> None:
    # The plan's own figures: the corridor, now first, is poured and bears feet as planned.
    rooms = {room.room: room for room in hand.plan.rooms}
    gap_s = (rooms["Corridor"].pour_start - rooms["Dish room"].pour_start).total_seconds()
    change = Change(rooms_later_s=(("Dish room", gap_s + 600.0),))
    shown = {room["name"]: room for room in hand.quick(change)["rooms"]}
    assert list(shown) == ["Corridor", "Dish room"]
    corridor = rooms["Corridor"]
    assert shown["Corridor"]["start_s"] == corridor.pour_start.timestamp()
    assert shown["Dish room"]["start_s"] >= corridor.walkable.timestamp() - 1.0
    # A little later than planned, it stays before the corridor, which waits for it.
    near = hand.quick(Change(rooms_later_s=(("Dish room", gap_s - 60.0),)))["rooms"]
    assert [room["name"] for room in near] == ["Dish room", "Corridor"]


def test_the_desk_tells_hours_by_the_jobs_clock(
    hand: PlanInHand, monkeypatch: pytest.MonkeyPatch
) -> None:
    # By hand: 16:05 is 4:05 PM.
    shown = hand.quick(Change())
    monkeypatch.setattr(hand, "job", replace(hand.job, clock="12 h"))
    twelve = hand.quick(Change())
    for key in ("first", "opens"):
        hour, minute = shown[key][4:].split(":")
        half = "AM" if int(hour) < 12 else "PM"
        assert twelve[key] == f"{shown[key][:3]} {(int(hour) - 1) % 12 + 1}:{minute} {half}"


def test_a_coat_is_dragged_within_its_window(hand: PlanInHand) -> None:
    coat = next(coat for coat in hand.plan.coats if coat.coat == 1)
    place = (coat.room, coat.coat)

    def start_s(minutes: float) -> float:
        change = change_of({"coats": {f"{coat.room}|1": minutes}})
        shown = hand.quick(change)["coats"]
        return next(c["start_s"] for c in shown if (c["name"], c["coat"]) == place)

    assert start_s(10) == pytest.approx(coat.start.timestamp() + 600, abs=1)
    assert start_s(-2000) >= coat.opens.timestamp() - 1
    assert start_s(-2000) <= coat.start.timestamp()
    assert start_s(4000) <= coat.closes.timestamp() + 1
    far = change_of({"coats": {f"{coat.room}|1": 4000}})
    chance = hand.chance(far)
    assert chance < hand.chance(Change())
    # What an earlier look left behind changes nothing, neither do other hands.
    fewer = Change(hands=(("broadcaster", 1),))
    other = hand.chance(fewer)
    hand.looked = Looked()
    assert hand.chance(far) == chance
    hand.looked = Looked()
    assert hand.chance(fewer) == other


def test_a_coat_the_job_holds_is_moved_no_sooner(
    hand: PlanInHand, monkeypatch: pytest.MonkeyPatch
) -> None:
    coat = next(coat for coat in hand.plan.coats if coat.room == "Dish room")
    room, pours = hand.job.room("Dish room"), hand.pours["Dish room"]
    pin = coat.start + timedelta(minutes=20)
    held = pours.under(replace(room, topcoat_1_not_before=pin), hand.job)
    monkeypatch.setitem(hand.pours, "Dish room", held)
    shown = hand.quick(Change())["coats"]
    start_s = next(c["start_s"] for c in shown if c["name"] == "Dish room")
    assert start_s == pytest.approx(pin.timestamp(), abs=1)


def test_what_is_moved_is_wished_for_no_sooner_than_where_it_was_put(
    hand: PlanInHand,
) -> None:
    job, plan = hand.job, hand.plan
    first = min(room.pour_start for room in plan.rooms)
    later, options = wished(job, plan, Change(later_s=3600.0))
    assert options is None
    assert {room.not_before for room in later.rooms} == {first + timedelta(hours=1)}
    coat = plan.coats[0]
    put = Change(coats_later_s=(((coat.room, coat.coat), 1800.0),))
    held = wished(job, plan, put)[0].room(coat.room)
    assert held.topcoat_1_not_before is not None
    assert timedelta(0) <= coat.start + timedelta(minutes=30) - held.topcoat_1_not_before
    assert held.not_before is None
    # Ten hours sooner lies before access, and before the shift of that evening.
    sooner, _ = wished(job, plan, Change(later_s=-36_000.0))
    begins = first - timedelta(hours=10) - timedelta(seconds=job.crew.setup_s)
    assert sooner.access.begins == begins
    check_job(sooner)


@pytest.mark.parametrize("iced", [True, False])
def test_ice_and_bays_are_wished_for_whatever_the_job_allows(
    hand: PlanInHand, iced: bool
) -> None:
    bare = replace(hand.job, policy=replace(hand.job.policy, remedies=()))
    wish, options = wished(bare, hand.plan, Change(ice=iced, bays=2))
    assert {(one.chilled, one.bays) for one in options or ()} == {(iced, 2)}
    assert ("chill" in wish.policy.remedies) is iced
    assert "bays" in wish.policy.remedies


def wait(served: Served, seconds: float = 120) -> dict[str, Any]:
    for _ in range(int(10 * seconds)):
        found = served.ask("/planning").json
        if not found["running"] and found["number"]:
            return found
        time.sleep(0.1)
    pytest.fail("the plan never ended")


@pytest.mark.thorough
def test_a_job_is_planned_in_a_process_of_its_own(tmp_path: Path, desk_on: Server) -> None:
    small_job(tmp_path, names=("Corridor",))
    served = desk_on(tmp_path)
    assert "not planned yet" in served.ask("/").text
    assert served.post(f"/jobs/{JOB}/plan", {}).status == 200
    # One at a time; the page stays free meanwhile.
    second = served.post(f"/jobs/{JOB}/plan", {})
    assert second.status == 422
    assert "is being made" in second.json["fault"]
    found = wait(served)
    assert "fault" not in found
    plan = read_plan(tmp_path / f"{JOB}-plan")
    assert found["plan"]["status"] == plan.status
    page = served.ask(f"/jobs/{JOB}/plan").text
    assert page.count('class="answer"') == 3
    listed = served.ask("/").text
    assert f"{int(100 * plan.risk.all_keep_frac)} %" in listed
    for file, begins in (("plan.pdf", b"%PDF-"), ("plan.png", b"\x89PNG")):
        assert served.ask(f"/jobs/{JOB}/plan/{file}").body.startswith(begins)
    sheet = served.ask(f"/jobs/{JOB}/plan/sheet.html")
    assert sheet.status == 200
    assert sheet.headers["content-type"].startswith("text/html")
    sent = {"rev": served.ask(f"/jobs/{JOB}/rev").json["rev"]}
    sent["changes"] = [{"key": "crew.setup", "text": "50 min"}]
    served.post(f"/jobs/{JOB}/change", sent)
    assert "changed since it was planned" in served.ask("/").text
    assert "plan stays until you plan anew" in served.ask(f"/jobs/{JOB}/plan").text
    # Planned again by a process that kept what it could, and anew by the command: the same
    # files, pictures with them, of the plan after the edit.
    served.post(f"/jobs/{JOB}/plan", {})
    assert wait(served)["plan"]["status"] == plan.status
    by_desk, by_command = tmp_path / f"{JOB}-plan", tmp_path / "by-command"
    # No picture of the plan before stands beside it.
    assert not [*by_desk.glob("plan.p[dn]*")]
    served.ask(f"/jobs/{JOB}/plan/plan.png")
    run_process("plan", f"{JOB}.toml", "--out", by_command, folder=tmp_path)
    for file in by_command.iterdir():
        if file.suffix != ".ics":
            # Calendars count their changes.
            assert (by_desk / file.name).read_bytes() == file.read_bytes(), file.name


def test_a_plan_is_written_once_before_help_is_looked_for_and_again_with_it(
    planned: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = read_plan(planned / f"{JOB}-plan")
    short = replace(plan, decisions=replace(plan.decisions, status="short of policy"))
    done = _done(planned, tmp_path, monkeypatch)

    def made(_: object, *, answered: Any, shown: Any, progress: Any, **__: object) -> object:
        answered(replace(short))
        shown(short)
        # A page is ended by its button.
        progress("looking for what would help; Ctrl-C ends it")
        return made.found  # type: ignore[attr-defined]

    looks = [
        {"words": "this is the plan; looking at what would help", "shown": True},
        {"words": "looking for what would help"},
    ]
    made.found = short  # type: ignore[attr-defined]
    assert done(made) == [short, *looks]
    made.found = replace(short)  # type: ignore[attr-defined]
    assert done(made) == [short, *looks, short]


def test_a_plan_stands_that_is_stopped_while_its_doubt_is_taken_apart(
    planned: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan = read_plan(planned / f"{JOB}-plan")
    done = _done(planned, tmp_path, monkeypatch)

    def made(_: object, *, answered: Any, **__: object) -> object:
        answered(plan)
        raise KeyboardInterrupt

    assert done(made) == [plan]
    # With no plan yet nothing is written, and whoever asked hears that it was stopped.
    with pytest.raises(KeyboardInterrupt):
        done(lambda *_, **__: made(None, answered=lambda _: None))


def _done(
    planned: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Callable[[Any], list[object]]:
    """What is written and told, in its order, by one way of planning."""
    from cureplan import api
    from cureplan.desk.work import _plan

    task = {"job": str(planned / f"{JOB}.toml"), "out": str(tmp_path)}

    def by(make: Any) -> list[object]:
        done: list[object] = []
        monkeypatch.setattr(api, "make_plan", make)
        monkeypatch.setattr(api, "write_sheets", lambda plan, *_, **__: done.append(plan))
        _plan({**task, "now": EVENING_BEFORE.isoformat()}, done.append)
        return done

    return by


@pytest.mark.thorough
def test_a_plan_can_be_stopped_and_another_begun(demo_desk: Served) -> None:
    demo_desk.post("/jobs/school-kitchen/plan", {})
    while demo_desk.ask("/planning").json["words"] == "beginning":
        time.sleep(0.05)
    demo_desk.post("/stop", {})
    found = wait(demo_desk)
    # The best so far is a plan; with none so far it says that it was stopped.
    assert "plan" in found or found.get("stopped")
    assert demo_desk.post("/jobs/school-kitchen/plan", {}).status == 200


def test_a_job_that_cannot_be_read_is_not_planned_and_says_why(demo_desk: Served) -> None:
    path = demo_desk.folder / "school-kitchen.toml"
    path.write_text(path.read_text("utf-8").replace('"3 m"', '"3"'), encoding="utf-8")
    got = demo_desk.post("/jobs/school-kitchen/plan", {})
    assert got.status == 422
    assert "site.elevation" in got.json["fault"]
    assert str(demo_desk.folder) not in got.text


def test_what_is_kept_between_edits_changes_no_plan(
    room_plan: Plan, demo_weather: HourlySeries, monkeypatch: pytest.MonkeyPatch
) -> None:
    runs: list[int] = []

    def counted(*args: Any, **options: Any) -> BucketPath:
        path = run_bucket(*args, **options)
        runs[-1] += path.pour_s.size
        return path

    monkeypatch.setattr(pour, "run_bucket", counted)
    monkeypatch.setattr(margins, "run_bucket", counted)
    keep_results(MOST_KEPT)
    try:
        # An hour more of a shift, and the same taken back.
        shifts = (Shift(begins=clock(5), ends=clock(18)),)
        crew = replace(room_plan.job.crew, topcoat_shifts=shifts)
        for job in (replace(room_plan.job, crew=crew), room_plan.job):
            runs.append(0)
            now = room_plan.decisions.made_at
            made = make_plan(job, now=now, weather=demo_weather, what_helps=False)
    finally:
        keep_results(0)
    # That of a process which had kept nothing.
    assert plan_to_json(made) == plan_to_json(room_plan)
    assert runs[1] < runs[0] / 10


@pytest.mark.thorough
def test_a_what_if_is_planned_anew_and_gives_way_to_what_comes_after(
    desk_here: Served,
) -> None:
    first = desk_here.post(f"/jobs/{JOB}/what-if", {"ice": "no room"})
    assert first.status == 200
    second = desk_here.post(f"/jobs/{JOB}/what-if", {"minutes": 60})
    found = wait(desk_here)
    assert (found["number"], found["what"]) == (second.json["number"], "what if")
    plan = read_plan(desk_here.folder / f"{JOB}-plan")
    first_s = min(room.pour_start for room in plan.rooms).timestamp()
    assert found["what_if"]["first_s"] >= first_s + 3600 - 60
    assert found["what_if"]["rooms"] == len(plan.rooms)
    # A page that stops its own what-if stops nobody else's.
    third = desk_here.post(f"/jobs/{JOB}/what-if", {"minutes": 120})
    desk_here.post("/stop", {"number": first.json["number"]})
    ended = wait(desk_here)
    assert ended["number"] == third.json["number"]
    assert "what_if" in ended


def test_moving_a_plan_gives_margin_and_chance(desk_here: Served) -> None:
    quick = desk_here.post(f"/jobs/{JOB}/move", {"minutes": 0})
    assert quick.status == 200
    plan = read_plan(desk_here.folder / f"{JOB}-plan")
    least = min(room.margin_min for room in plan.rooms)
    assert quick.json["margin_min"] == pytest.approx(least, abs=0.06)
    chance = desk_here.post(f"/jobs/{JOB}/move", {"minutes": 0, "chance": True})
    assert 0.0 <= chance.json["chance"] <= 1.0
    # Moving never touches the plan that lies there.
    assert read_plan(desk_here.folder / f"{JOB}-plan") == plan
    far = desk_here.post(f"/jobs/{JOB}/move", {"minutes": 14000})
    assert far.status == 422
    assert "no weather is known" in far.json["fault"]


@pytest.mark.parametrize(
    "file", ["..%2f..%2fdish-room.toml", "plan.json.bak", "..", "%2fetc%2fpasswd", "notes.txt"]
)
def test_only_a_plans_own_files_are_given(desk_here: Served, file: str) -> None:
    (desk_here.folder / f"{JOB}-plan" / "notes.txt").write_text("private", encoding="utf-8")
    got = desk_here.ask(f"/jobs/{JOB}/plan/{file}")
    assert got.status in (400, 404, 422)
    assert "private" not in got.text


def test_a_plan_folder_that_is_a_link_is_refused(desk_here: Served, tmp_path: Path) -> None:
    place = desk_here.folder / f"{JOB}-plan"
    place.rename(tmp_path / "elsewhere")
    place.symlink_to(tmp_path / "elsewhere", target_is_directory=True)
    assert desk_here.ask(f"/jobs/{JOB}/plan/plan.json").status == 404


def test_no_process_outlives_a_desk_that_was_killed(tmp_path: Path) -> None:
    for name in ("school-kitchen.toml", "heat-wave.csv"):
        shutil.copy(DEMO / name, tmp_path)
    import urllib.request

    command = [sys.executable, "-m", "cureplan", "desk", str(tmp_path), "--no-browser"]
    first = subprocess.Popen([*command, "--port", "0"], stderr=subprocess.PIPE, text=True)
    assert first.stderr is not None
    try:
        address = next(w for w in first.stderr.readline().split() if w.startswith("http://"))
        request = urllib.request.Request(  # noqa: S310
            f"{address}jobs/school-kitchen/plan",
            data=b"{}",
            headers={"Origin": address.rstrip("/")},
        )
        for left in reversed(range(150)):
            try:
                urllib.request.urlopen(request, timeout=30).close()  # noqa: S310
                break
            except OSError:
                assert left
                time.sleep(0.2)
        children = Path(f"/proc/{first.pid}/task/{first.pid}/children")
        if not children.exists():
            pytest.skip("processes are listed in /proc only on Linux")
        found = [int(pid) for task in Path(f"/proc/{first.pid}/task").iterdir()
                 for pid in (task / "children").read_text().split()]  # fmt: skip
        assert found
        os.kill(first.pid, signal.SIGKILL)
        first.wait(10)
        for left in reversed(range(200)):
            if not any(_runs(pid) for pid in found):
                break
            assert left, "a worker lives on"
            time.sleep(0.1)
    finally:
        if first.poll() is None:
            first.kill()
            first.wait()
        first.stderr.close()


def _runs(pid: int) -> bool:
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except OSError:
        return False


def test_the_demo_job_is_a_past_job_and_is_planned_on_its_evening_before() -> None:
    from cureplan.desk.folder import JobFolder
    from cureplan.desk.pages import Desk

    job = read_job(demo_job_path("school-kitchen"))
    desk = Desk(folder=JobFolder(Path()), now=lambda: job.access.open_by + timedelta(days=9))
    assert desk.planning_time(job) == job.access.begins - timedelta(hours=23)
    before = job.access.begins - timedelta(days=3)
    assert replace(desk, now=lambda: before).planning_time(job) == before


def test_a_search_cut_short_is_not_said_to_have_found_no_plan(tmp_path: Path) -> None:
    from cureplan.desk.folder import JobFolder
    from cureplan.desk.plans import _progress
    from cureplan.desk.worker import Task, Worker

    worker = Worker()
    ended = {"ended": True, "fault": "no order and start keeps every limit: ..."}
    worker.task = Task(number=1, name=JOB, what="plan", ended=ended)
    worker.task.done.set()
    assert "fault" in _progress(worker, JobFolder(tmp_path))
    worker.task.stopped = True
    found = _progress(worker, JobFolder(tmp_path))
    assert found["stopped"] is True
    assert "fault" not in found
