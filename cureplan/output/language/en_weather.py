"""English: what the weather tells its reader, and what the job did not say."""

from __future__ import annotations

__all__ = ["SAYINGS", "WORDS"]

SAYINGS: dict[str, str] = {
    "weather.told": "{text}",
    "weather.columns_aside": "Columns of the file that are not used: {columns}.",
    "weather.saturated": "{rows:row has|rows have} a dew point up to {above_k} above the air, "
    "as rounding makes it in saturated air.",
    "weather.off_hour": "{rows} of {count:row|rows} lie off the hour: read at whole hours "
    "between them.",
    "weather.averaged": "{rows:row|rows} {step_s} apart, averaged over each hour.",
    "weather.coarse": "Rows lie {step_s} apart: hours between are filled by a curve.",
    "weather.read_as": "The file was read so: {how}.",
    "weather.accepted": "Asked about and accepted by the file itself: {names}.",
    "weather.steady": "The air stays at {temp_c} in the whole file: is that a record?",
    "weather.season": "A mean of {mean_c} is far from what the season has at the site ({low_c} to {high_c}): check unit, date and coordinates.",
    "weather.sun": "The warmest hour comes at {warmest} by the sun: check the times' offset and the site's coordinates.",
    "weather.file_ahead": "{label} was written {ahead_h} in the future: check this machine's clock.",
    "read.encoding": "text in {encoding}",
    "read.parted": "cells parted by a {mark:word}",
    "read.commas": "decimal commas",
    "read.column": "{what:word} from “{column}”",
    "read.clock_site": "times without an offset, taken as the site's clock ({zone})",
    "read.clock": "times on the clock {zone}",
    "read.doubled": "{rows:row|rows} in the hour that comes twice, told apart by order",
    "read.epoch": "times counted from 1970 in {unit}, UTC",
    "read.order": "dates with the {order:word}",
    "read.newest_first": "newest row first, turned round",
    "read.marked": "{rows:cell|cells} such as -9999 taken as missing",
    "read.left_out": "{rows:row|rows} below the table left out, as sums or means",
    "read.repeated": "{rows:header|headers} met again among the rows, left out",
    "read.twice": "{rows:row|rows} given twice, taken once",
    "weather.station_used": "{station}: used.",
    "weather.station_used_poor": "{station}: used, though it gave {given_frac} of past hours "
    "and its last is {silent_s:age} old.",
    "weather.station_spare": "{station}: not needed.",
    "weather.station_poor": "{station}: not used, gave {given_frac} of past hours, its last is "
    "{silent_s:age} old.",
    "weather.station_silent": "{station}: not used, gave nothing.",
    "weather.height": "Temperature moved to the site's height by {lapse_k} per km.",
    "weather.list_old": "The list of stations is {age_s:age} old ({why}).",
    "weather.reused": "Fetched {age_s:age} ago; not asked again yet.",
    "weather.forecast_age": "Oldest forecast used: {label}, issued {age_s:age} ago.",
    "weather.forecast_age_written": "Oldest forecast used: {label}, issue time not given, "
    "file written {age_s:age} ago.",
    "weather.forecast_age_fetched": "Oldest forecast used: {label}, issue time not given, "
    "fetched {age_s:age} ago.",
    "weather.forecast_old": "Old forecast: {label}, issued {age_s:age} ago, allowed are "
    "{allowed_s:age}.",
    "weather.forecast_old_written": "Old forecast: {label}, issue time not given, file "
    "written {age_s:age} ago, allowed are {allowed_s:age}.",
    "weather.forecast_old_fetched": "Old forecast: {label}, issue time not given, fetched "
    "{age_s:age} ago, allowed are {allowed_s:age}.",
    "weather.copy": "No fresh weather ({why}): this is the copy fetched {age_s:age} ago, "
    "{fetched_at:full}.",
    "weather.copy_mixed": "No fresh weather ({why}): this is the copy fetched {age_s:age} ago, "
    "{fetched_at:full}, with fresh rows where there were some.",
    "weather.not_kept": "It could not be kept for a day without network: {folder} cannot be "
    "written.",
    "weather.history_short": "Only {had_h:whole} h of the {wanted_h:whole} h before the job "
    "are known, so the slab's temperature is less sure: read it on site.",
    "weather.shut": "Not to be had: {why}.",
    "door.far": "no station within 30 km has a forecast of its own",
    "door.station_forecast": "no station forecast ({why})",
    "door.contact": "the point forecast of MET Norway asks for a mail or web address of "
    "yours: set contact in [weather]",
    "door.point_forecast": "no point forecast ({why})",
    "door.future": "the forecast of {who} says it was issued {ahead_h} in the future: check "
    "this machine's clock",
    "door.no_hour": "no station nearby gave a usable hour ({why})",
    "door.unweighed": "the stations' rows could not be weighed",
    "door.list_broken": "the list of stations could not be read",
    "door.no_station": "no station within 50 km of the site",
    "door.no_list": "no list of stations ({why})",
    "door.slow": "the network was too slow",
    "door.client": "the weather client could not be run",
    "door.unreadable": "an answer could not be read",
    "door.short": "the hours given do not reach the whole job",
    "door.older": "what was given is older than the copy",
    "net.nothing": "no answer",
    "net.silent": "{host}: no complete answer",
    "net.status": "{host}: HTTP {status}",
    "net.unusable": "{host}: the answer could not be used",
    "source.weather": "{kind:word}",
    "source.note": "{note}",
    "source.defaults": "{taken}",
    # Where a card's values come from.
    "origin.fitted": "fitted to {readings:reading|readings} in {source}",
    "origin.night": "corrected on the night from {readings:reading|readings}",
    "origin.told": "{text:words}",
    # What the job did not say.
    "job.generic_card": "{card:words} is a generic card: put in the data sheet of the product "
    "in hand.",
    "job.liquids_cold": "The liquids are measured colder than the slurry card allows: let them "
    "warm up.",
    "job.default": "{key:word}: {value} ({origin:word}).",
    "value.temperature": "{value_c}",
    "value.difference": "{value_k}",
    "value.length": "{value_m}",
    "value.film": "{value_m:film}",
    "value.time": "{value_s:exact}",
    "value.hours": "{value_s}",
    "value.share": "{value_frac}",
    "value.pace": "{value_m2_s}",
}

WORDS: dict[str, str] = {
    # How a table was understood.
    "mark.comma": "comma",
    "mark.semicolon": "semicolon",
    "mark.tab": "tab",
    "mark.bar": "bar",
    "order.dmy": "day first",
    "order.mdy": "month first",
    "order.ymd": "year first",
    "what.time": "times",
    "what.temp_c": "air in °C",
    "what.temp_f": "air in °F",
    "what.temp_k": "air in kelvin",
    "what.dew_c": "dew point in °C",
    "what.dew_f": "dew point in °F",
    "what.dew_k": "dew point in kelvin",
    "what.humidity_pct": "humidity in percent",
    "what.humidity_frac": "humidity as a fraction",
    "by a shape-preserving curve between coarse steps": "filled by a curve between coarse "
    "steps",
    "default: from memory": "left out, so from memory",
    "default: invented": "left out, so invented",
    # The shipped cards, by title and by name.
    "Fast urethane cement slurry": "Fast urethane cement slurry",
    "Clear polyaspartic topcoat": "Clear polyaspartic topcoat",
    "Quartz, broadcast to refusal": "Quartz, broadcast to refusal",
    "Rolled slab primer": "Rolled slab primer",
    # Keys a job may leave out.
    "materials.iced": "Liquids out of the ice",
    "materials.cool_filler": "Cooled filler",
    "materials.cooler_loss": "Ice lost in the cooler",
    "materials.waste": "Waste",
    "materials.profile_allowance": "Lost in the slab's profile",
    "pace.haul": "Carrying a bucket",
    "pace.rake": "Raking, each",
    "pace.smooth": "Smoothing, each",
    "pace.broadcast": "Throwing stone, each",
    "pace.topcoat": "Topcoat, each",
    "pace.vacuum": "Vacuuming, each",
    "pace.row_depth_min": "Shallowest row",
    "pace.row_depth_max": "Deepest row",
    "pace.bay_turn": "Turning to the next bay",
    "policy.dew_margin": "Slab above dew point by at least",
    "weather.max_age": "Oldest forecast allowed",
}
