"""What a series of weather tells its reader, not yet in words: codes and their values.

Such remarks travel through saved files and kept copies, so that a plan made from them
can say them in every language.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import datetime

from cureplan.core.messages import Message, Value, message_from_plain, message_to_plain

__all__ = ["REMARKS", "remark_from_text", "remark_text"]


def _names(text: str) -> frozenset[str]:
    return frozenset(text.split())


REMARKS: Mapping[str, frozenset[str]] = {
    # What a file says in its own words, and what its table looks like.
    "weather.told": _names("text"),
    "weather.columns_aside": _names("columns"),
    "weather.saturated": _names("rows above_k"),
    "weather.off_hour": _names("rows count"),
    "weather.averaged": _names("rows step_s"),
    "weather.coarse": _names("step_s"),
    "weather.read_as": _names("how"),
    "weather.accepted": _names("names"),
    "weather.steady": _names("temp_c"),
    "weather.steady_humidity": _names("humidity_frac"),
    "weather.season": _names("mean_c low_c high_c"),
    "weather.sun": _names("warmest"),
    "weather.file_ahead": _names("label ahead_h"),
    # How a table was understood where it leaves room.
    "read.encoding": _names("encoding"),
    "read.parted": _names("mark"),
    "read.commas": _names(""),
    "read.column": _names("what column"),
    "read.clock_site": _names("zone"),
    "read.clock": _names("zone"),
    "read.doubled": _names("rows"),
    "read.epoch": _names("unit"),
    "read.order": _names("order"),
    "read.newest_first": _names(""),
    "read.marked": _names("rows"),
    "read.left_out": _names("rows"),
    "read.repeated": _names("rows"),
    "read.twice": _names("rows"),
    # Which stations were asked.
    "weather.station_used": _names("station"),
    "weather.station_used_poor": _names("station given_frac silent_s"),
    "weather.station_spare": _names("station"),
    "weather.station_poor": _names("station given_frac silent_s"),
    "weather.station_odd": _names("station odd"),
    "weather.station_used_odd": _names("station odd"),
    "weather.station_silent": _names("station"),
    "weather.station_years": _names("station years"),
    "weather.station_high": _names("station"),
    "weather.site_height": _names("site_m around_m"),
    "weather.height": _names("lapse_k"),
    "weather.list_old": _names("age_s why"),
    # How fresh it is.
    "weather.reused": _names("age_s"),
    "weather.forecast_age": _names("label age_s"),
    "weather.forecast_age_written": _names("label age_s"),
    "weather.forecast_age_fetched": _names("label age_s"),
    "weather.forecast_old": _names("label age_s allowed_s"),
    "weather.forecast_old_written": _names("label age_s allowed_s"),
    "weather.forecast_old_fetched": _names("label age_s allowed_s"),
    "weather.copy": _names("why age_s fetched_at"),
    "weather.copy_mixed": _names("why age_s fetched_at"),
    "weather.not_kept": _names("folder"),
    "weather.history_short": _names("had_h wanted_h"),
    "weather.history_filled": _names("count"),
    "weather.shut": _names("why"),
    # Why a provider stayed shut.
    "weather.clock_ahead": _names("off_h"),
    "weather.clock_behind": _names("off_h"),
    "provider.far": _names(""),
    "provider.odd": _names("who odd"),
    "provider.disk": _names("folder"),
    "provider.height": _names("site_m"),
    "provider.station_forecast": _names("why"),
    "provider.contact": _names(""),
    "provider.point_forecast": _names("why"),
    "provider.future": _names("who ahead_h"),
    "provider.no_hour": _names("why"),
    "provider.unweighed": _names(""),
    "provider.list_broken": _names(""),
    "provider.no_station": _names(""),
    "provider.no_list": _names("why"),
    "provider.slow": _names(""),
    "provider.client": _names(""),
    "provider.unreadable": _names(""),
    "provider.short": _names(""),
    "provider.older": _names(""),
    "net.nothing": _names(""),
    "net.silent": _names("host"),
    "net.status": _names("host status"),
    "net.unusable": _names("host"),
    "net.page": _names("host"),
    "net.large": _names("host"),
    "net.cut": _names("host"),
    "net.wait": _names("host wait_s"),
}
"""Every remark, and the names of its values."""

_NUMBERS = ("s", "h", "k", "c", "m", "frac", "rows", "count", "status")


def remark_text(remark: Message) -> str:
    """A remark as one line of a file.

    Examples
    --------
    >>> remark_text(Message("weather.reused", {"age_s": 600.0}))
    '{"code": "weather.reused", "values": {"age_s": 600.0}}'
    """
    return json.dumps(message_to_plain(remark), ensure_ascii=False)


def remark_from_text(text: str) -> Message:
    """A remark from a line of a file; other text is the file's own words.

    Examples
    --------
    >>> remark_from_text("read in the yard").values
    {'text': 'read in the yard'}
    """
    if not text.startswith('{"code"'):
        return Message("weather.told", {"text": text})
    remark = message_from_plain(json.loads(text))
    _check(remark)
    return remark


def _check(remark: Message) -> None:
    if REMARKS.get(remark.code) != frozenset(remark.values):
        raise ValueError(f"{remark.code!r} is no remark")
    for name, value in remark.values.items():
        for inner in _sentences(value):
            _check(inner)
        is_number = isinstance(value, int | float) and not isinstance(value, bool)
        if is_number != (name.rpartition("_")[2] in _NUMBERS):
            raise ValueError(f"{remark.code}: {name} = {value!r}")
        if name.endswith("_at"):
            datetime.fromisoformat(str(value))


def _sentences(value: Value) -> tuple[Message, ...]:
    if isinstance(value, Message):
        return (value,)
    return value if isinstance(value, tuple) else ()
