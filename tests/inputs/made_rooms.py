"""Rooms and jobs as checks take them, made of as little as they look at."""

from types import SimpleNamespace as Made


def paths(faults):
    return [fault.path for fault in faults]


def job_of(**more):
    given = {"rooms": (), "people": (), "display": "metric", **more}
    return Made(**given)


def room_of(name="Bar", **more):
    given = {
        "name": name, "way_out": (), "climate": None, "set_point_c": None, "sun": None,
        "group": None, "cove_m": None, "heat": None, "islands_m": (), "open_by": None,
        "slab_reading": None, "corners_m": ((0, 0), (4, 0), (4, 3), (0, 3)), "topcoats": None,
        "use": "storage", "not_before": None, "topcoat_1_not_before": None,
        "topcoat_2_not_before": None, "outline_m": None, "length_m": 3.0, "width_m": 4.0,
        "has_outline": False, "stop_lines_m": (), "back_wall": None,
    }  # fmt: skip
    return Made(**{**given, **more})
