"""Ways to break the demonstration job, and what must then be said."""

from __future__ import annotations

COOK = 'name = "Cook line"\nlength = "30 ft"  '
CORRIDOR = 'use = "passage"\n'

# What is broken: text to find, text in its place, where the line is counted to (a piece
# of the new text; "" is the first line), key as shown, and what the line must say.
CASES = {
    "wrong unit": (
        'length = "30 ft"  ', 'length = "30 yd"  ',
        '"30 yd"', "rooms[1].length", ["'30 yd'", "not a unit", '"14 ft 6 in"'],
    ),
    "bare number": (
        'length = "30 ft"  ', "length = 30  ",
        "length = 30", "rooms[1].length", ["= 30:", "bare number", "units: in, ft"],
    ),
    "bare number in quotes": (
        'width = "22 ft"', 'width = "22"',
        'width = "22"', "rooms[1].width", ["'22'", "bare number", "units: in, ft"],
    ),
    "unit without quotes": (
        'length = "30 ft"  ', "length = 30 ft  ",
        "length = 30 ft", "'length = 30 ft", ["not TOML", 'quotes: length = "30 ft"'],
    ),
    "area for a length": (
        'width = "22 ft"', 'width = "22 sq ft"',
        '"22 sq ft"', "rooms[1].width", ["'sq ft' is not a unit of a length"],
    ),
    "temperature for a difference": (
        'gain = "2 F"', 'gain = "86 F"',
        '"86 F"', "building.gain", ["'86 F'", "at most 20 C", '"2 F"'],
    ),
    "people as one table": (
        "[policy]", '[people]\nname = "Ana"\nroles = ["rake"]\n[policy]',
        "[people]", "people", ["one table, not a list", "write [[people]]"],
    ),
    "heat without heaters": (
        'remedies = ["hour", "chill", "bays"]', 'remedies = ["hour", "heat"]',
        "remedies", "policy.remedies[2]", ["'heat'", "no heaters are given", "heat = {"],
    ),
    "heaters after the opening": (
        "[access]", 'heat = { to = "65 F", from = 2013-07-20T08:00:00 }\n[access]',
        "heat =", "building.heat.from", ["after the kitchen opens", "access.open_by"],
    ),
    "heaters of a held room": (
        CORRIDOR, CORRIDOR + 'climate = "held"\nset_point = "70 F"\n'
        'heat = { to = "65 F", from = 2013-07-17T19:00:00 }\n',
        "heat =", "rooms[5].heat", ["Corridor is held at a set point already", "remove heat"],
    ),
    "heaters to no temperature": (
        "[access]", "heat = { to = 65, from = 2013-07-17T19:00:00 }\n[access]",
        "heat =", "building.heat.to", ["= 65", "bare number", '"82 F"'],
    ),
    "unknown key": (
        'width = "18 ft"', 'widht = "18 ft"',
        "widht", "rooms[2].widht", ["no such key", 'did you mean "width"?'],
    ),
    "unknown key without a near one": (
        "[policy]", "[policy]\nfrobnicate = 1",
        "frobnicate", "policy.frobnicate", ["= 1", "no such key", "known are margin"],
    ),
    "unknown table": (
        "[policy]", "[weathr]\n[policy]",
        "[weathr]", "weathr", ["no such key", 'did you mean "weather"?'],
    ),
    "key missing": (
        'margin = "2 min"\n', "",
        "[policy]", "policy.margin", ["missing", 'margin = "2 min"'],
    ),
    "table missing": (
        '[site]\nname = "Example school kitchen"', '[building_site]\nname = "A"',
        "", "site", ["missing", "[site]"],
    ),
    "negative length": (
        'length = "30 ft"  ', 'length = "-30 ft"  ',
        '"-30 ft"', "rooms[1].length", ["'-30 ft'", "between 0 m", "write a length"],
    ),
    "no length": (
        'length = "30 ft"  ', 'length = "0 ft"  ',
        '"0 ft"', "rooms[1].length", ["'0 ft'", "at least 1 ft"],
    ),
    "absurd length": (
        'length = "30 ft"  ', 'length = "3000 ft"  ',
        '"3000 ft"', "rooms[1].length", ["'3000 ft'", "at most 500 ft"],
    ),
    "NaN": (
        "latitude = 40.78", "latitude = nan",
        "nan", "site.latitude", ["nan", "between -90 and 90", "40.78"],
    ),
    "infinity": (
        "longitude = -73.88", "longitude = -inf",
        "-inf", "site.longitude", ["-inf", "between -180 and 180"],
    ),
    "latitude off the globe": (
        "latitude = 40.78", "latitude = 407.8",
        "407.8", "site.latitude", ["407.8", "between -90 and 90"],
    ),
    "latitude in quotes": (
        "latitude = 40.78", 'latitude = "40.78 N"',
        "40.78 N", "site.latitude", ["'40.78 N'", "not a number", "without quotes"],
    ),
    "longitude without its minus": (
        "longitude = -73.88", "longitude = 73.88",
        "= 73.88", "site.longitude", ["73.88", "America/New_York", "west of Greenwich"],
    ),
    "unknown time zone": (
        '"America/New_York"', '"America/New York City"',
        "New York City", "site.time_zone", ["'America/New York City'", '"America/New_York"'],
    ),
    "time zone that is a folder": (
        '"America/New_York"', '"America"',
        '"America"', "site.time_zone", ["'America'", "no such time zone"],
    ),
    "time zone that leaves its folder": (
        '"America/New_York"', '"../../etc/passwd"',
        "passwd", "site.time_zone", ["no such time zone", "region and city"],
    ),
    "climate not on the list": (
        'climate = "drifting"', 'climate = "driftin"',
        "driftin", "building.climate", ["'driftin'", 'did you mean "drifting"', '"held"'],
    ),
    "use not on the list": (
        'use = "food preparation"            #', 'use = "food prepration"            #',
        "prepration", "rooms[1].use", ["'food prepration'", 'mean "food preparation"'],
    ),
    "held without a set point": (
        'climate = "drifting"', 'climate = "held"',
        'name = "Cook line"', "rooms[1].name", ["held at a set point", 'set_point = "72 F"'],
    ),
    "set point that does nothing": (
        COOK, 'name = "Cook line"\nset_point = "72 F"\nlength = "30 ft"  ',
        'set_point = "72 F"', "rooms[1].set_point", ["drifting", 'climate = "held"'],
    ),
    "drifting without a lag": (
        'lag = "5 h" ', "#",
        "[building]", "building.lag", ["drifting climate needs", 'lag = "5 h"'],
    ),
    "room named twice": (
        'name = "Servery"', 'name = "dish room"',
        'name = "dish room"', "rooms[4].name", ["'dish room'", "another room"],
    ),
    "room without a name": (
        'name = "Servery"', 'name = " "',
        'name = " "', "rooms[4].name", ["' '", "cannot be empty"],
    ),
    "rooms misspelt": (
        "[[rooms]]", "[[romes]]",
        "[[romes]]", "romes", ["no such key", 'did you mean "rooms"?'],
    ),
    "one table for all rooms": (
        '[[rooms]]\nname = "Cook line"', '[rooms]\nname = "Cook line"',
        "[[rooms]]", "'[[rooms]]'", ["twice", "[[double brackets]]"],
    ),
    "way out through a room that is not there": (
        'use = "service"\nway_out = ["Corridor"]', 'use = "service"\nway_out = ["Coridor"]',
        "Coridor", "rooms[4].way_out[1]", ["'Coridor'", 'did you mean "Corridor"?'],
    ),
    "way out through itself": (
        "way_out = []", 'way_out = ["Corridor"]',
        'use = "passage"\nway_out', "rooms[5].way_out[1]", ["its own way out", "empty list"],
    ),
    "way out in a circle": (
        "way_out = []", 'way_out = ["Servery"]',
        'use = "service"\nway_out', "rooms[4].way_out", ["circle through Corridor"],
    ),
    "way out not a list": (
        "way_out = []", 'way_out = "outside"',
        '"outside"', "rooms[5].way_out", ["'outside'", "not a list", "[brackets]"],
    ),
    "way out twice": (
        "way_out = []", "way_out = []\nway_out = []",
        "way_out = []\nway_out", "'way_out = []", ["twice", "keep one"],
    ),
    "shift of zero length": (
        'to = "05:00"', 'to = "19:00"',
        'to = "19:00"', "crew.pour_shifts[1]", ["'19:00'", "zero length", "round the clock"],
    ),
    "clock time in words": (
        'to = "05:00"', 'to = "5 am"',
        '"5 am"', "crew.pour_shifts[1].to", ["'5 am'", "not a clock time", '"19:30"'],
    ),
    "no shifts": (
        'pour_shifts = [{ from = "19:00", to = "05:00" }]', "pour_shifts = []",
        "pour_shifts = []", "crew.pour_shifts", ["empty", "at least one"],
    ),
    "shift as text": (
        '[{ from = "19:00", to = "05:00" }]', '["19:00-05:00"]',
        "19:00-05:00", "crew.pour_shifts[1]", ["'19:00-05:00'", "not a table"],
    ),
    "nobody at the rake": (
        "rake = 1", "rake = 0",
        "rake = 0", "crew.rake", ["= 0", "between 1 and 50", "whole number"],
    ),
    "half a man": (
        "topcoat = 4", "topcoat = 2.5",
        "topcoat = 2.5", "crew.topcoat", ["2.5", "not a whole number"],
    ),
    "truth for a count": (
        "edge = 1", "edge = true",
        "edge = true", "crew.edge", ["True", "not a whole number"],
    ),
    "station without a mixer": (
        "stations = 3 ", "stations = 4 ",
        "stations = 4", "crew.stations", ["= 4", "only 3", "add a mixer"],
    ),
    "opens before the crew may be in": (
        "open_by = 2013-07-20", "open_by = 2013-07-16",
        "2013-07-16", "access.open_by", ["2013-07-16T06:00:00", "put open_by after from"],
    ),
    "opens as the crew comes in": (
        "open_by = 2013-07-20T06:00:00", "open_by = 2013-07-17T19:00:00",
        "open_by", "access.open_by", ["2013-07-17T19:00:00", "put open_by after from"],
    ),
    "year mistyped": (
        "open_by = 2013-07-20", "open_by = 2031-07-20",
        "2031", "access.open_by", ["2031-07-20T06:00:00", "days after", "check year"],
    ),
    "year before calendars": (
        "from = 2013-07-17T19:00:00", "from = 0001-01-01T00:00:00",
        "0001-", "access.from", ["0001-01-01T00:00:00", "not believable", "check the year"],
    ),
    "date in quotes": (
        "open_by = 2013-07-20T06:00:00", 'open_by = "2013-07-20T06:00:00"',
        '"2013-07-20', "access.open_by", ["'2013-07-20T06:00:00'", "without quotes"],
    ),
    "date without a time": (
        "open_by = 2013-07-20T06:00:00", "open_by = 2013-07-20",
        "= 2013-07-20\n", "access.open_by", ["'2013-07-20'", "not a date with a time"],
    ),
    "no such date": (
        "open_by = 2013-07-20T06:00:00", "open_by = 2013-02-30T06:00:00",
        "2013-02-30", "'open_by = 2013-02-30T06:00:00'", ["not a date", "2013-07-17T19:00:00"],
    ),
    "time that comes twice": (
        "open_by = 2013-07-20T06:00:00", "open_by = 2013-11-03T01:30:00",
        "2013-11-03", "access.open_by",
        ["twice", "2013-11-03T01:30:00-04:00 or 2013-11-03T01:30:00-05:00"],
    ),
    "time that never comes": (
        "from = 2013-07-17T19:00:00", "from = 2013-03-10T02:30:00",
        "2013-03-10", "access.from",
        ["not at all", "2013-03-10T01:30:00-05:00 or 2013-03-10T03:30:00-04:00"],
    ),
    "slab read after the job": (
        "at = 2013-07-17T16:30:00", "at = 2013-07-21T16:30:00",
        "2013-07-21", "rooms[1].slab_reading.at", ["after the kitchen opens", "check the date"],
    ),
    "slab read in another year": (
        "at = 2013-07-17T16:30:00", "at = 2012-07-17T16:30:00",
        "2012-07-17", "rooms[1].slab_reading.at", ["365 days older", "check the date"],
    ),
    "slab hot as an oven": (
        'temp = "86 F"', 'temp = "386 F"',
        "386", "rooms[1].slab_reading.temp", ["'386 F'", "between -60 C and 120 C"],
    ),
    "room opens after the kitchen": (
        CORRIDOR, 'use = "passage"\nopen_by = 2013-07-22T06:00:00\n',
        "2013-07-22", "rooms[5].open_by", ["no later than the kitchen", "access.open_by"],
    ),
    "room poured after it is open": (
        CORRIDOR, 'use = "passage"\nnot_before = 2013-07-20T06:00:00\n',
        "not_before =", "rooms[5].not_before", ["only after it must be open", "leave it out"],
    ),
    "second topcoat of one": (
        CORRIDOR, 'use = "passage"\ntopcoat_2_not_before = 2013-07-18T12:00:00\n',
        "topcoat_2_not_before =", "rooms[5].topcoat_2_not_before",
        ["gets one topcoat", "leave it out"],
    ),
    "three topcoats": (
        CORRIDOR, 'use = "passage"\ntopcoats = 3\n',
        "topcoats = 3", "rooms[5].topcoats", ["= 3", "between 1 and 2"],
    ),
    "sun through the night": (
        CORRIDOR, 'use = "passage"\nsun = { from = "17:00", to = "14:00", share = "30 %" }\n',
        "sun = {", "rooms[5].sun.to", ["'14:00'", "through the night"],
    ),
    "share without percent": (
        CORRIDOR, 'use = "passage"\nsun = { from = "14:00", to = "17:00", share = 0.3 }\n',
        "sun = {", "rooms[5].sun.share", ["0.3", "bare number", '"55 %"'],
    ),
    "margin below nothing": (
        'margin = "2 min"', 'margin = "-2 min"',
        '"-2 min"', "policy.margin", ["'-2 min'", "between 0 s"],
    ),
    "certainty": (
        'confidence = "90 %"', 'confidence = "100 %"',
        '"100 %"', "policy.confidence", ["'100 %'", "at most 99.9 %"],
    ),
    "a coin toss": (
        'confidence = "90 %"', 'confidence = "40 %"',
        '"40 %"', "policy.confidence", ["'40 %'", "at least 50 %"],
    ),
    "remedy not on the list": (
        '"chill", "bays"', '"chil", "bays"',
        "chil", "policy.remedies[2]", ["'chil'", '"cool filler"'],
    ),
    "remedy twice": (
        '"chill", "bays"', '"chill", "hour"',
        '"hour"', "policy.remedies[3]", ["'hour'", "twice"],
    ),
    "row depths the wrong way round": (
        "[policy]", '[pace]\nrow_depth_min = "6 ft"\n\n[policy]',
        "row_depth_min", "pace.row_depth_min", ["more than row_depth_max"],
    ),
    "weather file missing": (
        'file = "heat-wave.csv"', 'file = "heatwave.csv"',
        "heatwave.csv", "weather.file", ["'heatwave.csv'", "no such file"],
    ),
    "weather file unnamed": (
        'file = "heat-wave.csv"  ', "#",
        "[weather]", "weather.file", ["needs its name", 'file = "weather.csv"'],
    ),
    "weather source not on the list": (
        'source = "file" ', 'source = "almanac" ',
        "almanac", "weather.source", ["'almanac'", '"forecast"'],
    ),
    "card that is not shipped": (
        'slurry = "fast-slurry"', 'slurry = "fast-slury"',
        "fast-slury", "materials.slurry", ["'fast-slury'", 'did you mean "fast-slurry"?'],
    ),
    "card file that is not there": (
        'slurry = "fast-slurry"', 'slurry = "cards/mine.toml"',
        "mine.toml", "materials.slurry", ["'cards/mine.toml'", "no such material card"],
    ),
    "card of another kind": (
        'topcoat = "clear-topcoat"', 'topcoat = "quartz"',
        '"quartz"', "kind", ["aggregate card where a topcoat card"],
    ),
    "ice too cold for the card": (
        "stirred_in_ice = false", 'iced = "30 F"',
        "30 F", "materials.iced", ["colder than the 2 C"],
    ),
    "an instant in place of a count": (
        "topcoat = 4", "topcoat = 2013-07-17T19:00:00",
        "topcoat = 2013-07-17", "crew.topcoat = '2013-07-17T19:00:00': this is not", ["whole"],
    ),
    "truth as text": (
        "stirred_in_ice = false", 'stirred_in_ice = "no"',
        '"no"', "materials.stirred_in_ice", ["'no'", "true or false"],
    ),
    "language in full": (
        'languages = ["en", "es"]', 'languages = ["english"]',
        "english", "languages[1]", ["'english'", '"en", "es"'],
    ),
    "curly quotes": (
        'name = "Servery"', "name = “Servery”",
        "“Servery”", "'name = “Servery”'", ["curly quotes", "straight"],
    ),
    "quote left open": (
        'name = "Servery"', 'name = "Servery',
        'name = "Servery', "'name = \"Servery'", ["not TOML"],
    ),
    "value left out": (
        'name = "Servery"', "name =",
        "name =\n", "'name ='", ["not TOML", 'key = "value"'],
    ),
    "table for a value": (
        'time_zone = "America/New_York"', "time_zone = { a = 1 }",
        "time_zone = {", "site.time_zone", ["not a name", "in quotes"],
    ),
    "value for a table": (
        'display = "us"  ', 'pace = "brisk"\ndisplay = "us"  ',
        '"brisk"', "pace", ["'brisk'", "not a table"],
    ),
    "control character in a name": (
        'name = "Servery"', 'name = "Ser\\u0007very"',
        "Ser", "rooms[4].name", ["control characters"],
    ),
    "number of a thousand digits": (
        "latitude = 40.78", "latitude = " + "9" * 5000,
        "latitude = 9", "", ["too many digits"],
    ),
}  # fmt: skip
