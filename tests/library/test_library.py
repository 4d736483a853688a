"""The public library as another program meets it."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import matplotlib as mpl
import pytest

import cureplan
from cureplan.inputs.job.edits import check_job
from cureplan.inputs.job.reader import read_job

NOW = datetime(2013, 7, 17, 12, tzinfo=UTC)
PINNED = Path(__file__).parents[1] / "pinned" / "jobs"


def test_type_checkers_may_use_the_shipped_types() -> None:
    # What they then say of a script is asked by .ci/run, of client.py beside this file.
    assert (Path(cureplan.__file__).parent / "py.typed").is_file()


def test_every_public_name_is_there_and_nothing_heavy_comes_with_the_import() -> None:
    for name in cureplan.__all__:
        assert getattr(cureplan, name) is not None
    code = (
        "import cureplan, sys; print(len([m for m in sys.modules if m.startswith('cureplan')]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.stdout.strip() == "1"
    with pytest.raises(AttributeError, match="no attribute 'pour'"):
        getattr(cureplan, "pour")  # noqa: B009


def test_every_public_thing_has_a_docstring_with_more_than_its_name() -> None:
    for name in cureplan.__all__:
        if name != "__version__":
            said = getattr(cureplan, name).__doc__
            assert said, name
            assert len(said.split()) > 5, name


@pytest.mark.parametrize("path", sorted(PINNED.glob("*.toml")), ids=lambda path: path.stem)
def test_a_job_as_it_was_read_passes_the_checks_of_one_changed(path: Path) -> None:
    if "[[rooms]]" in path.read_text(encoding="utf-8"):
        check_job(read_job(path))


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"way_out": ["Kitchn"]}, r"way_out\[1\].*no room has this name"),
        ({"way_out": ["Cook line"]}, "not on its own way out"),
        ({"width_m": -1.0}, "width"),
        ({"width_m": float("nan")}, "width"),
        ({"width": "22"}, "width"),
        ({"width": "900 ft"}, "at most 500 ft"),
        ({"use": "kitchen"}, "not on the list"),
        ({"topcoats": 7}, "topcoats"),
        ({"widht": "22 ft"}, 'did you mean "width"'),
        ({"climate": "held"}, "set point"),
    ],
)
def test_a_room_changed_to_nonsense_is_one_clear_line(
    demo_job: cureplan.Job, change: dict[str, object], says: str
) -> None:
    with pytest.raises(cureplan.InputError, match=says) as caught:
        demo_job.with_room("Cook line", **change)  # type: ignore[arg-type]
    assert "\n" not in str(caught.value)


def test_nonsense_by_replace_is_refused_before_planning(demo_job: cureplan.Job) -> None:
    room = demo_job.rooms[0]
    for changed in (replace(room, way_out=("Nowhere",)), replace(room, width_m=-1.0)):
        job = replace(demo_job, rooms=(changed, *demo_job.rooms[1:]))
        with pytest.raises(cureplan.InputError):
            cureplan.make_plan(job, now=NOW)


def test_edits_change_what_they_name_and_nothing_else(demo_job: cureplan.Job) -> None:
    warm = demo_job.with_slab("Cook line", "95 F", at=NOW)
    reading = warm.room("Cook line").slab_reading
    assert reading is not None
    # 95 °F = 35 °C, exact.
    assert reading.surface_c == pytest.approx(35.0)
    assert reading.read_at == NOW
    assert warm.with_slab("Cook line", 35.0, at=NOW) == warm
    assert warm.rooms[1:] == demo_job.rooms[1:]
    assert replace(warm, rooms=demo_job.rooms) == demo_job
    later = demo_job.with_start("2013-07-17T21:30")
    assert later.access.begins.astimezone(demo_job.site.zone).hour == 21
    assert later.access.open_by == demo_job.access.open_by
    crew = demo_job.with_crew(rake=2, pour_shifts=demo_job.crew.pour_shifts)  # type: ignore[arg-type]
    assert crew.crew == replace(demo_job.crew, rake=2)


def test_tables_hold_a_line_a_row_in_the_sites_time(demo_plan: cureplan.Plan) -> None:
    buckets = demo_plan.buckets.to_frame()
    assert len(buckets) == len(demo_plan.buckets) == sum(room.kits for room in demo_plan.rooms)
    assert list(buckets["margin_min"]) == [bucket.margin_min for bucket in demo_plan.buckets]
    assert str(buckets["pour"].dt.tz) == demo_plan.job.site.time_zone
    assert buckets["pour"].iloc[0] == demo_plan.buckets[0].pour
    hours = demo_plan.hours.to_frame()
    assert len(hours) == sum(len(hour.rooms) for hour in demo_plan.hours)
    assert {"at", "outdoor_c", "room", "air_c", "slab_c"} <= set(hours.columns)
    for rows in (demo_plan.rooms, demo_plan.coats, demo_plan.calls):
        assert len(rows.to_frame()) == len(rows)


def test_plots_draw_on_the_axes_they_are_given(
    demo_plan: cureplan.Plan, demo_job: cureplan.Job
) -> None:
    mpl.use("Agg")
    from matplotlib import pyplot as plt

    weather = cureplan.get_weather(demo_job, now=NOW)
    figure, axes = plt.subplots(5)
    room = demo_plan.rooms[0].room
    drawn = [
        cureplan.plot_rooms(demo_plan, ax=axes[0]),
        cureplan.plot_windows(demo_plan, ax=axes[1]),
        cureplan.plot_temperatures(demo_plan, ax=axes[2]),
        cureplan.plot_buckets(demo_plan, room, ax=axes[3]),
        cureplan.plot_weather(demo_job, weather, ax=axes[4]),
    ]
    assert drawn == list(axes)
    assert all(ax.has_data() for ax in drawn)
    assert cureplan.plot_rooms(demo_plan).figure is not figure
    with pytest.raises(cureplan.InputError, match="no such room"):
        cureplan.plot_buckets(demo_plan, "Attic")
    plt.close("all")


def test_a_room_takes_another_outline_and_gives_it_up_again(demo_job: cureplan.Job) -> None:
    # 20 by 30 ft with a corner of 10 by 10 ft out: 500 sq ft of 0.09290304 m2.
    corners = [["0 ft", "0 ft"], ["20 ft", "0 ft"], ["20 ft", "20 ft"]]
    corners += [["10 ft", "20 ft"], ["10 ft", "30 ft"], ["0 ft", "30 ft"]]
    bent = demo_job.with_room("Cook line", outline=corners)
    room = bent.room("Cook line")
    assert room.area_m2 == pytest.approx(500 * 0.09290304)
    assert (room.length_m, room.width_m) == pytest.approx((30 * 0.3048, 20 * 0.3048))
    post = [[1.0, 1.0], [1.5, 1.0], [1.5, 1.5], [1.0, 1.5]]
    with_post = bent.with_room("Cook line", islands=[post]).room("Cook line")
    assert with_post.area_m2 == pytest.approx(500 * 0.09290304 - 0.25)
    assert bent.with_room("Cook line", outline=None, width="22 ft", length="30 ft") == demo_job
    with pytest.raises(cureplan.InputError, match="an outline, which says its size"):
        bent.with_room("Cook line", width="20 ft")
    with pytest.raises(cureplan.InputError, match="not inside the room"):
        bent.with_room("Cook line", islands=[[[8.0, 8.0], [9.0, 8.0], [9.0, 9.0]]])
    with pytest.raises(cureplan.InputError, match=r"rooms\[1\]\.outline\[1\].*two lengths"):
        bent.with_room("Cook line", outline=["20 ft"])
