"""English words for what the planning says: one template per `Message` code.

The placeholders are explained in `cureplan.output.language`; `es_planning` must hold the same
codes with the same placeholders.
"""

from __future__ import annotations

__all__ = ["SAYINGS", "WORDS"]

SAYINGS: dict[str, str] = {
    # Order and start.
    "order.first": "Crew {call_at}; first liquids {start_at:time}, {room}.",
    "order.room": "{order}. {room}: {kits:kit|kits}, {start_at} to {end_at:time}, "
    "{margin_min} in hand.",
    "order.room_short": "{order}. {room}: {kits:kit|kits}, {start_at} to {end_at:time}, "
    "{margin_min:short} SHORT.",
    "order.way_out": "{room} comes after {rooms}: it is their way out.",
    "order.rising_slab": "The slab is warming while you pour {rooms}: air in it expands and "
    "may blister the floor. A falling slab is better.",
    "pour.binds": "{room}: bucket {bucket} is the tightest; {binding:word} leaves {margin_min} "
    "(mix {mixed_c}, slab {slab_c}).",
    "pour.short": "{room}: bucket {bucket} is the tightest; {binding:word} is "
    "{margin_min:short} short (mix {mixed_c}, slab {slab_c}).",
    "pour.rhythm": "A bucket lands every {cadence_s:exact}; {limit:word} sets the pace.",
    "pour.as_is": "{room} as it is: {as_is_margin_min} in hand.",
    "pour.as_is_short": "{room} as it is, in one bay: {as_is_margin_min:short} short.",
    "pour.hour": "{room} waits for a cooler hour.",
    "pour.chill": "{room}: iced liquids.",
    "pour.cool_filler": "{room}: filler kept cool.",
    "pour.bays": "{room}: {bays:bay|bays} of {bay_width_m}, a stop line at a drain or joint "
    "between them.",
    "doubt.buckets": "Holds {keeps_frac:nights}.",
    # Ice.
    "ice.yes_all": "Yes: {ice_kg} of ice for all {kits:kit|kits}; pails in by {in_ice_at}.",
    "ice.yes": "Yes, for {rooms}: {ice_kg} of ice for {kits:kit|kits}; pails in by {in_ice_at}.",
    "ice.no": "No ice: liquids go in at {liquids_c}.",
    "ice.not_needed": "{room} is the tightest and still has {margin_min} in hand un-iced.",
    "ice.not_allowed": "{room} falls short, but the job does not list chilling.",
    "ice.no_help": "{room} falls short, and ice alone would not mend it.",
    "ice.un_iced_short": "Un-iced, {room} would be {as_is_margin_min:short} short in one bay.",
    "ice.un_iced_tight": "Un-iced, {room} would keep only {as_is_margin_min}; the job wants "
    "{policy_margin_s}.",
    "ice.buys": "Ice buys {gained_bucket_min} in the bucket and {gained_floor_min} on the "
    "floor: at {slab_c} the slab takes over within minutes.",
    "ice.time": "From {from_c} to {to_c}, pails left standing need {standing_h:up}; stirred "
    "often, {stirred_h:up}.",
    "ice.time_measured": "The liquids were measured; from {from_c} to {to_c}, pails left "
    "standing need {standing_h:up}, stirred {stirred_h:up}.",
    "ice.sweats": "Iced pails will sweat: lids on, wipe dry. Water in the hardener foams.",
    "doubt.ice": "Not proven: put a probe in a pail before the first bucket.",
    "doubt.ice_measured": "The liquids were measured; what that buys is not proven.",
    # The way back.
    "back.coat_1": "Topcoat 1: crew {call_at}, on the floor {start_at:then_up} to {end_at:then_up}.",
    "back.coat_2": "Topcoat 2: crew {call_at}, on the floor {start_at:then_up} to {end_at:then_up}.",
    "back.opens_late": "Ready {open_at:up}, {late_s:up} AFTER the limit.",
    "back.opens": "Ready {open_at:up}, {spare_s} before the limit.",
    "back.tightest": "Tightest window: {room}, coat {coat}, not before {opens_at:up}, not "
    "after {closes_at}; {spare_s} to spare.",
    "back.last_room": "{room} is ready last: wash-down from {wash_at:up}.",
    "doubt.back": "Coats hold {coats_frac:nights}; opens on time {opening_frac:nights}.",
    "coat.when_ready": "Goes on as soon as the floor is ready, {opens_at:up}; not after "
    "{closes_at}.",
    "coat.after_others": "Ready from {opens_at:up}, but the crew, the shift, the dew point or "
    "the way out comes first; {spare_s} before it is too old.",
    "call.set_up": "There {ahead_s:up} ahead to set up.",
    "call.moves_on": "Moves over {ahead_s:up} ahead.",
    # What else would help.
    "alternative.chill": "Ice the liquids",
    "alternative.cool_filler": "Keep the filler cool as well",
    "alternative.bays": "One bay more, with a stop line",
    "alternative.more_mixing": "One more mixing station, with a mixer",
    "alternative.more_mixer": "One more mixer, for the station that stands idle",
    "alternative.more_station": "One more mixing station, for the mixer who stands idle",
    "alternative.more_haul": "One more runner",
    "alternative.more_rake": "One more rake",
    "alternative.more_smooth": "One more smoother",
    "alternative.more_broadcast": "One more to throw stone",
    # One limit given way, and the whole job would go.
    "relax.open_later": "{keeps:word} if the kitchen opened {open_at:up}",
    "relax.rooms_later": "{keeps:word} if only {rooms} opened later, {open_at:up}",
    "relax.in_sooner": "{keeps:word} if the crew were let in {from_at}",
    "relax.pour_longer": "{keeps:word} if the pour shift ran until {clock}",
    "relax.coat_sooner": "{keeps:word} if the topcoat shift began at {clock}",
    "relax.coat_longer": "{keeps:word} if the topcoat shift ran until {clock}",
    "relax.more_mixing": "{keeps:word} with one more mixing station and its mixer",
    "relax.more_mixer": "{keeps:word} with one more mixer, for the station that stands idle",
    "relax.more_station": "{keeps:word} with one more mixing station, for the mixer who stands idle",
    "relax.more_haul": "{keeps:word} with one more runner",
    "relax.more_rake": "{keeps:word} with one more rake",
    "relax.more_smooth": "{keeps:word} with one more smoother",
    "relax.more_broadcast": "{keeps:word} with one more to throw stone",
    "relax.remedies": "{keeps:word} if the job allowed {remedies:words}",
    "relax.more_topcoat": "{keeps:word} with one more topcoat hand",
    "relax.also_open_later": "and if the kitchen opened {open_at:up}",
    "relax.also_remedies": "and if the job allowed {remedies:words}",
    # Warnings.
    "warn.short": "{room} falls short of the policy: bucket {bucket} keeps "
    "{margin_min} of {policy_margin_s}. Do not pour it so.",
    "warn.negative": "{room} is {margin_min:short} short at bucket {bucket}. Do not pour it "
    "so.",
    "warn.sure_negative": "{room} loses an edge more often than the job allows: it holds "
    "{keeps_frac:nights}.",
    "warn.ice_passed": "The time to put pails in ice, {in_ice_at}, has passed: stir them, or "
    "measure the liquids and plan again.",
    "warn.ice_off_shift": "Pails must be in ice by {in_ice_at}, when nobody is on shift: "
    "name somebody.",
    "warn.ice_too_long": "Take stirred pails out in time: after {too_cold_s} they are "
    "below the card's minimum of {minimum_c}.",
    "warn.no_dew": "The weather gives no humidity for some hours: check slab and dew point by "
    "hand before every coat.",
    "warn.closes_beyond": "{rooms}: may be coated for longer than shown; this plan's hours end "
    "{until_at}, before it is too old.",
    "warn.generic": "Material values are generic ({cards:words}): type in the data sheet of the "
    "product in hand.",
    "warn.gap": "Weather has a gap: {what:words}, {gap_at}, {hours} h; {mended:words}.",
    "warn.weather_note": "Weather: {note}",
    "warn.row_deep": "{room}: rows of {row_depth_m} are deeper than the rake's reach of "
    "{reach_m}; rake from the side or in two pulls.",
    "warn.batch_slow": "{room}, coat {coat}: a batch takes {batch_min:up} to spread but stays "
    "workable only {working_min}. Mix smaller batches.",
    "warn.card_fit": "One temperature point is known for {card}; the minutes lean on the rule "
    "of thumb that speed doubles per {doubling_k}.",
    "warn.even_odds": "No order and start keeps the coat windows {wanted_frac:nights}: they are kept as expected, no better than even odds. See what else would help.",
    "warn.standing": "Dump every bucket at once. Un-iced and left standing, a mix goes from {mixed_c} to {hot_c} and is done {standing_min} after the filler; on the floor it lasts {floor_min}. Leftovers go on heating.",
    "warn.ice_early": "A pail that needs {standing_h:up} in ice is a long wait; stirred every "
    "few minutes it needs {stirred_h:up}.",
    "warn.humidity_unknown": "{card}: its times depend on humidity, which the weather does not give; taken at {reference_frac}.",
    "warn.humidity_beyond": "{card}: rooms will be at {from_frac} to {to_frac} humidity, its points span {low_frac} to {high_frac}; beyond them the nearest point is used.",
    "warn.past": "On finished jobs only {inside_frac} of clocks ended inside the interval that is to hold {holds_frac}: learn the card from them (cureplan fit --records).",
    # Planned again on the night.
    "replan.next": "Next: bucket {bucket} of {room}, liquids in {mix_at:time}, poured "
    "{pour_at:time}.",
    "replan.all_poured": "Every bucket is poured; only the way back is timed again.",
    "replan.left_out": "{room} has no place any more: no pour shift that is left holds it.",
    "replan.no_readings": "The log has no new readings: batch and slab are taken as before.",
    "replan.faster": "This batch runs {off_frac} faster than planned with, give or take "
    "{doubt_frac} (from {readings:reading|readings}).",
    "replan.slower": "This batch runs {off_frac} slower than planned with, give or take "
    "{doubt_frac} (from {readings:reading|readings}).",
    "replan.as_card": "This batch runs as planned with, give or take {doubt_frac} (from "
    "{readings:reading|readings}).",
    "replan.slab_warmer": "{room}: slab {off_k} warmer than forecast, give or take {doubt_k} "
    "({basis:word}).",
    "replan.slab_cooler": "{room}: slab {off_k} cooler than forecast, give or take {doubt_k} "
    "({basis:word}).",
    "replan.kits_warmer": "The kits are {off_k} warmer than planned.",
    "replan.kits_cooler": "The kits are {off_k} cooler than planned.",
    "replan.stations": "A drill is down: {stations:mixing station|mixing stations} left.",
    "replan.short_of": "Short of hands: {role:word}, {people} left.",
    "replan.wait": "Nothing is mixed before {until_at:up}.",
    "replan.ran_short": "{room}: bucket {buckets} did not cover its patch. Gauge the thickness, "
    "and have up to {kits:kit|kits} more at hand.",
    "replan.dropped": "{room} is dropped.",
    "replan.added": "{room} is added: {kits:kit|kits}, un-iced.",
    "replan.added_no_way": "{room} is added: {kits:kit|kits}, un-iced; taken to lead straight "
    "outside.",
    "replan.margin_less": "{room}: bucket {bucket}, the tightest to come, now has {margin_min} "
    "in hand, {change_min:short} less.",
    "replan.margin_more": "{room}: bucket {bucket}, the tightest to come, now has {margin_min} "
    "in hand, {change_min} more.",
    "replan.bays": "{room}: {bays:bay|bays} instead of {was}, a stop line at a drain or joint.",
    "replan.order": "Another order is better now: {rooms}.",
    "replan.moved": "{room} starts {to_at} instead of {from_at}.",
    "replan.ends": "{room} is done {to_at} instead of {from_at}.",
    "replan.coat_1": "First topcoat {to_at:up} instead of {from_at:up}.",
    "replan.coat_2": "Second topcoat {to_at:up} instead of {from_at:up}.",
    "replan.coat_late": "{room}, coat {coat} comes {start_at:up}, but after {closes_at} the "
    "floor below is too old to bond: call the topcoat crew sooner, or abrade it first.",
    "replan.past_shift": "{room} would be done {end_at:up}, after the shift ends {limit_at}: "
    "keep the crew, or stop at a drain or joint.",
    "replan.opens_late": "{room} opens {open_at:up}, after the limit of {limit_at}.",
    "replan.assumed": "{room}: no line for bucket {buckets}; taken as poured in step with the plan.",
    "replan.edge_lost": "{room}: the open edge of bucket {buckets} is set from {wet_at}, before "
    "its neighbour ties in. Make a stop line there now.",
    "replan.short": "{room}: bucket {bucket} would be {margin_min:short} short.",
    "replan.help_ice": "{room}: iced liquids would give {buys_min} more, if pails are cold.",
    "replan.help_ice_in": "{room}: its liquids are iced already; ice has no more to give.",
    "replan.help_station": "{room}: one more mixing station would give {buys_min} more.",
    "replan.help_bays": "{room}: one bay more would give {buys_min} more.",
    "replan.help_stop": "{room}: or make a stop line after bucket {bucket}, at a drain or "
    "joint, and go on another hour.",
    # Assumptions behind the numbers.
    "source.indoor_dew": "Indoor air is taken to hold as much moisture as outdoor air.",
    "source.pace": "Hands' pace and set-up times are invented defaults unless the job gives "
    "them: time one bucket.",
    "source.ice": "Ice minutes are calibrated to common practice (5 to 6 min), not published.",
    "source.slab": "Slab by conduction from {history_h} of weather before the job.",
    "source.slab_read": "Slab by conduction, corrected by readings in {rooms}.",
    "source.card": "{provenance:words}",
    "source.humidity": "The times of {card} follow the rooms' humidity as well, within the "
    "{low_frac} to {high_frac} of its points.",
    "source.humidity_idle": "The humidities on {card} cannot be told from the effect of heat; "
    "its times follow temperature alone.",
    "source.record": "{jobs:finished job|finished jobs} with these cards: "
    "{clocks:clock|clocks} ended {miss_min} off on average, {bias_min} {bias:word}; "
    "{inside_frac} inside the stated interval, which is to hold {holds_frac}.",
}

WORDS: dict[str, str] = {
    # What a change would bring.
    "keeps.limits": "Every limit would be kept",
    "keeps.windows": "Coats and opening would hold as surely as asked",
    "keeps.margins": "Every bucket would keep its margin",
    # Which way past predictions erred.
    "bias.longer": "later than said",
    "bias.shorter": "sooner than said",
    # How a slab's correction is known.
    "basis.read": "read here",
    "basis.inferred": "from the other rooms",
}
