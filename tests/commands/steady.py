"""A kitchen of one floor that can be reckoned by hand, and weather that never changes.

At 21 °C throughout, a bucket lives just as its card says (fast-slurry, invented): wet edge
16 min, working time 20 min, surface closed 26 min after the filler goes in. By hand, for
6 m x 4 m at 3 mm with nothing wasted:

- 24 m² x 3 mm = 72 L; a kit yields 9.5 L; 8 kits of 3 m² each, in rows of one;
- two stations at 2.5 + 3 + 1.5 min a kit: one bucket every 210 s, slower than haul (120 s
  there and back), rake (3 m² at 1.5 m²/min: 120 s) and the rest;
- the next bucket ties in 210 + 180 (mixing) + 60 (haul) + 120 (rake) = 570 s after the
  filler went into this one: of 960 s, 390 s are left. Smoothing leaves 1200 - 450 = 750 s,
  the last grain 1560 - 697 = 863 s.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

BY_HAND_S = 390.0
THREE_STATIONS_S = BY_HAND_S + 210.0 - 140.0
KITS = 8
JOB = """
display = "metric"
[site]
name = "Test kitchen"
latitude = 40.78
longitude = -73.88
elevation = "3 m"
time_zone = "America/New_York"
[weather]
source = "file"
file = "weather.csv"
[building]
climate = "drifting"
lag = "5 h"
gain = "0 C"
slab_thickness = "150 mm"
ground = "21 C"
[access]
from = 2013-07-17T19:00:00
open_by = 2013-07-21T06:00:00
[materials]
slurry = "fast-slurry"
topcoat = "clear-topcoat"
aggregate = "quartz"
storage = "room"
waste = "0 %"
profile_allowance = "0 mm"
thickness = "3 mm"
[crew]
stations = 2
mixer = 2
runner = 1
rake = 1
smoother = 1
broadcaster = 2
edge = 1
topcoat = 3
setup = "45 min"
changeover = "15 min"
pour_shifts = [{ from = "19:00", to = "05:00" }]
topcoat_shifts = [{ from = "00:00", to = "24:00" }]
[pace]
haul = "1 min"
rake = "1.5 m2/min"
smooth = "2 m2/min"
broadcast = "1 m2/min"
row_depth_min = "60 cm"
[policy]
margin = "2 min"
confidence = "50 %"
remedies = []
[[rooms]]
name = "Cook line"
length = "6 m"
width = "4 m"
use = "service"
way_out = []
"""


def write_job(folder: Path, *swaps: tuple[str, str], name: str = "job.toml") -> Path:
    """The job file with some lines changed."""
    text = JOB
    for old, new in swaps:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def write_weather(
    path: Path,
    temp_c: float = 21.0,
    *,
    first: datetime = datetime(2013, 7, 7, tzinfo=UTC),
    days: int = 15,
    missing: tuple[datetime, ...] = (),
) -> Path:
    """Hours of one temperature; those missing are left out."""
    hours = (first + timedelta(hours=hour) for hour in range(24 * days + 1))
    rows = [f"{hour.isoformat()},{temp_c},{min(temp_c, 10.0)}" for hour in hours
            if hour not in missing]  # fmt: skip
    path.write_text("\n".join(["time,temp_c,dew_c", *rows]) + "\n", encoding="utf-8")
    return path
