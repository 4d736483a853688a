"""Files as people have them are read right or asked about, none in silence."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from builders import told
from exports import EXPORTS, Asked, Read

from cureplan.core.errors import InputError
from cureplan.weather.hours.csv_file import read_weather_csv
from cureplan.weather.hours.plausible import Place


def read(path, export):
    path.write_bytes(export.text.encode(export.encoding))
    place = Place(
        zone=ZoneInfo(export.zone), latitude_deg=40.78, longitude_deg=-73.88, elevation_m=3.0
    )
    return read_weather_csv(path, place=place)


GOOD = {name: one for name, one in EXPORTS.items() if isinstance(one, Read)}
OPEN = {name: one for name, one in EXPORTS.items() if isinstance(one, Asked)}


def test_there_are_forty_and_more():
    assert len(EXPORTS) >= 60
    assert len(GOOD) >= 40


@pytest.mark.parametrize("name", GOOD)
def test_an_export_is_read_right(name, tmp_path):
    export = GOOD[name]
    series = read(tmp_path / "w.csv", export)
    hours = [datetime.fromtimestamp(s, tz=UTC) for s in series.epoch_s]
    assert [f"{hour:%Y-%m-%dT%H}" for hour in hours] == [row[0] for row in export.rows]
    # Tolerance: °F are written to a tenth or a hundredth, so half a digit is 0.06 K.
    assert series.temp_c == pytest.approx([row[1] for row in export.rows], abs=0.06)
    assert series.dew_c == pytest.approx([row[2] for row in export.rows], abs=0.06)
    notes = " ".join(told(series.notes))
    for part in export.says:
        assert part in notes


@pytest.mark.parametrize("name", GOOD)
def test_what_is_guessed_stands_in_one_line(name, tmp_path):
    series = read(tmp_path / "w.csv", GOOD[name])
    lines = [text for text in told(series.notes) if text.startswith("The file was read so:")]
    assert len(lines) == (0 if name in {"our own form"} else min(1, len(lines)))
    if not GOOD[name].text.startswith(("time,temp_c", "#")):
        assert len(lines) == 1


@pytest.mark.parametrize("name", OPEN)
def test_an_export_that_leaves_room_is_asked_about(name, tmp_path):
    with pytest.raises(InputError) as caught:
        read(tmp_path / "w.csv", OPEN[name])
    message = str(caught.value)
    assert "\n" not in message
    for part in OPEN[name].says:
        assert part in message


def test_rows_three_hours_apart_are_one_gap(tmp_path):
    series = read(tmp_path / "w.csv", GOOD["every three hours"])
    (gap,) = (gap for gap in series.gaps if gap.what == "temperature")
    assert gap.hours == 14
    assert not np.isnan(series.temp_c).any()
