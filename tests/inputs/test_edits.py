"""A job changed in Python: what it says as a file would, and that nothing else moves."""

from __future__ import annotations

from dataclasses import replace

import pytest

from cureplan.core.errors import InputError
from cureplan.inputs.job import edits
from cureplan.inputs.job.schema import JobFile

# 6 m by 9 m with a corner of 3 m by 3 m out.
BENT_M = ((0.0, 0.0), (6.0, 0.0), (6.0, 6.0), (3.0, 6.0), (3.0, 9.0), (0.0, 9.0))


@pytest.mark.parametrize(
    ("climate", "lag_s", "set_point_c", "refused"),
    [
        ("held", 0.0, 21.0, False), ("held", 0.0, None, True),
        # What a plant held once is no matter where the air drifts now.
        ("drifting", 3600.0, 21.0, False), ("drifting", 3600.0, None, False),
    ],
)  # fmt: skip
def test_only_held_air_has_a_set_point(demo_job, climate, lag_s, set_point_c, refused):
    building = replace(
        demo_job.building, climate=climate, lag_s=lag_s, set_point_c=set_point_c, gain_k=0.0
    )
    rooms = tuple(replace(room, climate=climate) for room in demo_job.rooms)
    job = replace(demo_job, building=building, rooms=rooms)
    if refused:
        with pytest.raises(InputError, match="set point"):
            edits.check_job(job)
    else:
        edits.check_job(job)


def test_only_a_table_is_one():
    assert edits._model_of(JobFile, "site") is JobFile.model_fields["site"].annotation
    for name in ("seed", "rooms"):
        with pytest.raises(TypeError, match=f"{name} is no table"):
            edits._model_of(JobFile, name)


def test_a_room_changed_stands_where_it_stood(demo_job):
    names = [room.name for room in demo_job.rooms]
    for place, name in enumerate(names):
        wider = edits.with_room(demo_job, name, {"topcoats": 1})
        assert [room.name for room in wider.rooms] == names
        assert wider.rooms[:place] == demo_job.rooms[:place]
        assert wider.rooms[place + 1 :] == demo_job.rooms[place + 1 :]


def test_corners_are_metres_and_a_back_walls_numbers_count_from_one(demo_job):
    name = demo_job.rooms[0].name
    given = {"outline": [[*corner] for corner in BENT_M], "back_wall": [2, 3]}
    bent = edits.with_room(demo_job, name, given)
    room = bent.room(name)
    # From corner 2, (6, 0), to corner 3, (6, 6): 9 m along it, 6 m away from it.
    assert room.outline.back_wall == (1, 2)
    assert room.outline.corners_m == BENT_M
    assert (room.length_m, room.width_m) == pytest.approx((6.0, 9.0))
    # Kept, where more is said of its shape.
    line = [["0 m", "3 m"], ["6 m", "3 m"]]
    cut = edits.with_room(bent, name, {"stop_lines": [line]}).room(name)
    assert cut.outline.back_wall == (1, 2)
    assert cut.outline.stop_lines_m == (((0.0, 3.0), (6.0, 3.0)),)
    with pytest.raises(InputError, match="True: a bare number"):
        edits.with_room(bent, name, {"stop_lines": [[[True, 3.0], [6.0, 3.0]]]})


def test_a_slab_read_is_a_temperature(demo_job):
    # 86 F is 30 C.
    read = edits.with_slab(demo_job, "Servery", "86 F", None).room("Servery").slab_reading
    assert read.surface_c == pytest.approx(30.0)
    assert read.read_at == demo_job.access.begins
    with pytest.raises(InputError) as refused:
        edits.with_slab(demo_job, "Servery", "warm", None)
    assert refused.value.key == "rooms[4].slab_reading.temp"
