"""Small series and tables that several weather tests start from."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from cureplan.output.language import Voice
from cureplan.weather.hours.series import HourlySeries, WeatherOrigin

HAND = WeatherOrigin(label="by hand", kind="file", licence="CC0", attribution="a test")
# Midnight UTC on 17 July 2013.
JULY_17_S = 1_374_019_200.0


def series_of(temp_c, *, dew_c=None, first_s=JULY_17_S, **more):
    """An hourly series from a list of temperatures."""
    temp_c = np.asarray(temp_c, dtype=float)
    return HourlySeries(
        epoch_s=first_s + 3600.0 * np.arange(temp_c.size),
        temp_c=temp_c,
        dew_c=np.full(temp_c.size, np.nan) if dew_c is None else np.asarray(dew_c, float),
        cloud_frac=np.full(temp_c.size, np.nan),
        origin=np.zeros(temp_c.size, dtype=int),
        origins=more.pop("origins", (HAND,)),
        **more,
    )


def assert_same_series(left, right):
    """Every number bit for bit, and every source, gap and note."""
    for name in ("epoch_s", "temp_c", "dew_c", "cloud_frac", "origin"):
        assert np.array_equal(getattr(left, name), getattr(right, name), equal_nan=True), name
    assert left.origins == right.origins
    assert left.gaps == right.gaps
    assert left.notes == right.notes


def told(remarks):
    """Remarks in words, one text each."""
    voice = Voice(language="en", display="metric", zone=ZoneInfo("UTC"))
    return [voice.say(remark) for remark in remarks]


def at_h(hours):
    """So many hours after that midnight."""
    return datetime(2013, 7, 17, tzinfo=UTC) + timedelta(hours=hours)
