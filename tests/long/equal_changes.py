"""Changed lines that mean the same as what they were changed from, each with why."""

from __future__ import annotations

__all__ = ["EQUAL"]

EQUAL = {
    "no_wait &= wait_s <= UNNOTICED_S":
        "waits are found in steps of 675/512 s, of which no number is a minute",
    "coolest_c.min() + least_k + off_k.min() > low_c + NEAR_K":
        "what is not so far inside is looked at night by night",
    "and warmest_c.max() + most_k + off_k.max() < high_c - NEAR_K":
        "what is not so far inside is looked at night by night",
    "stops = random.random.random(shape) <= 1.0 / job.doubt.stop_every":
        "no draw is it to the last digit",
    "if self._agreed(last, end) >= (kept, frac + LEAST_FRAC):":
        "no chance is it to the last digit",
    "step = next((i for i, share in enumerate(SURER) if share < needed), left)":
        "no need is it to the last digit",
    "step = next((i for i, share in enumerate(SURER) if share < most), len(SURER) - 1)":
        "four by no number of rooms is one of them",
    '"limit_c": high_c if next_.slab_c >= high_c else low_c,': "a slab at its limit is allowed",
    "if errors or instants is None and cards is None:": "what is not there has left an error",
    "if worker.stdin is None and worker.stdout is None:": "it is given both",
    "if room.sun.ends_min <= room.sun.begins_min:": "like hours are refused above",
    "(max(a, c), min(b, d)) for a, b in below for c, d in above if min(b, d) >= max(a, c)":
        "an edge without length adds none",
    "dew_c[too_wide | (hours_s <= at_s[0]) | (hours_s > at_s[-1])] = np.nan":
        "no hour that is put in is a row's",
    "return self.stop() or self.worked > self.budget": "no sum is it to the last digit",
    "return ahead or [way] * (way.job.access.begins.timestamp() > now_s)":
        "no job begins in the second it is planned",
    'if trials.goal == "windows" and len(found) <= FEW_WAYS:': "none is wanted beside two",
    "if worst_k >= TEMP_TOL_K:": "no heat is off by it to the last digit",
    "in_step = -near_s < late_s <= 2.5 * near_s and spread_s <= near_s / 2":
        "who is early by just that is near",
    "week = [today - timedelta(days=n) for n in range(first, 9)]":
        "a week has each day once",
    "if layout.cut is not None or room.outline is not None:":
        "a layout is cut just where a room has an outline",
    "return towards if signed_area_m2(self.corners_m) > 0 else towards - math.pi":
        "half a turn either way",
    "if found.chance_frac <= self.job.policy.confidence - CLOSE_FRAC / 2:":
        "no chance is it to the last digit",
    "if falls < _LEAST_FALL:": "no slope is it to the last digit",
    "if above.start_s <= below.closed.ends_s:": "no layer bears feet on the very second",
    "if known.size < 24 or air.epoch_s[known[-1]] + air.epoch_s[known[0]] < _FULL_DAYS_S:":
        "fewer than four whole days are not looked at below",
    "gained = found.chance_frac >= best_frac + NOISE_FRAC":
        "a gain of just the noise is as good as none",
    "near_s = low_s if sure_s <= low_s else high_s": "who stands on the edge is not asked",
    "if then_k[least] <= worst_k:": "either of two alike may be told",
    "if buckets >= MOST_BUCKETS and len(written.rooms) <= MOST_ROOMS:":
        "no floor takes that to the last digit",
    'if not tail or text[10:11] == "T":': "what is parted otherwise is searched",
    "stated = [when for when in past if when < known.latest + _LATER][:1]":
        "no file is written in that very second",
    'counted = all(re.fullmatch(r"\\d{9,13}", text, re.ASCII) for text in texts[:2])':
        "seconds are counted in every row or in none",
    "if len(problem.rooms[room]) >= problem.pour(room) + 1": "every floor has a coat",
    "near = edges.begun_from(walks - edges.later, walks + edges.alone - 1)":
        "what begins sooner is struck out above",
    "near = edges.begun_from(walks + edges.later, walks + edges.alone + 1)":
        "who goes in as it is walked on may",
    "if near.start <= near.stop:": "none are none either way",
    "follows = begins >= self._firsts(there.crew)[there.span[near]]":
        "no two tasks of a crew begin at once",
    "if needed < later.get(before, -NEVER):": "what is tried again as it was ends alike",
    "if len(problem.rooms[room]) > problem.pour(room) - 1": "every floor has a coat",
    "if best is None or candidate <= best:": "no two rooms have one rank",
    "if pins[stage].timestamp() - could_s >= worst_s:": "either of two alike may be told",
    "if begins - closes >= worst:": "either of two alike may be told",
    "if low > high:": "none are none either way",
    "plain = frozenset(name for name, values in whole.items() if np.all(np.diff(values) > 0))":
        "what is in no order is asked one by one",
    "begun_s, over_s, until_s = +np.inf, -np.inf, -np.inf": "the first pour sets it",
    "begun_s, over_s, until_s = -np.inf, +np.inf, -np.inf": "the first pour sets it",
    "if temp_k.std() <= _LEAST_SWING_K or np.ptp(shares[known]) == 0:":
        "no swing is it to the last digit",
    "if np.median(share) > _DRY_MEDIAN or share.max() >= _DRY_MOST:":
        "no air is it to the last digit",
    "if np.median(share) >= _DRY_MEDIAN or share.max() > _DRY_MOST:":
        "no air is it to the last digit",
    "if np.median(other) <= 0.2:": "no air is it to the last digit",
    "at = np.abs(numbers[known] - mark) <= 1e-9": "nothing is so little off",
    "if _sun_w_m2(place, float(np.median(air.epoch_s))) <= _DARK_W_M2:":
        "no sun is it to the last digit",
    "kept = means_c.std() <= _ROOM_DAYS_K and _ROOM_C[0] <= means_c.mean() <= _ROOM_C[1]":
        "no spread is it to the last digit",
    "if swing_k <= _LEAST_SWING_K or left.var() > (1.0 - _LEAST_SHARE) * rest.var():":
        "no swing is it to the last digit",
    "if swing_k < _LEAST_SWING_K or left.var() >= (1.0 - _LEAST_SHARE) * rest.var():":
        "no share is it to the last digit",
    "return None if _WARMEST_H[0] < crest_h <= _WARMEST_H[1] else crest_h":
        "no crest is it to the last digit",
    "return None if _WARMEST_H[0] <= crest_h < _WARMEST_H[1] else crest_h":
        "no crest is it to the last digit",
    "if plain.rindex(months[0]) <= plain.index(first):": "no word is a number",
    "cold = temp_c[worst] <= low_c": "what stands at its limit is not told",
    'if not tail and text[11:11] == "T":': "what is parted otherwise is searched",
    'if not tail and text[10:12] == "T":': "what is parted otherwise is searched",
    'if not tail and text[10:11] != "T":': "what is parted otherwise is searched",
    "head, tail = text[:11], text[11:]": "what is parted otherwise is searched",
    "if one is not None or one not in met:": "a date met before fits as it did",
    "if abs(longitude_deg) < 90 and far(longitude_deg, latitude_deg, most_h=2.5) is None:":
        "no zone's city lies at a pole",
    "if abs((hours - 12) % 24 - 12) > most_h:": "half a day either way",
    "east_deg = (longitude_deg - city[1] - 180.0) % 360.0 - 180.0": "half a turn either way",
    "if abs(east_deg) >= FARTHEST_EAST_DEG.get(time_zone, FARTHEST_FROM_CITY_DEG):":
        "no site is it to the last digit",
    "if len(cells) >= 2 and cells[2] == time_zone:": "no line has two cells",
    "if _moved(model.rate, rate) <= SETTLED_FRAC:": "no move is it to the last digit",
    "if np.count_nonzero(nearest_k > _NEIGHBOURS_K) > len(sound) - 1:":
        "who has a neighbour is one himself",
    "ready = np.where(stages[-1].opens <= NEVER, stages[-1].opens, NEVER)":
        "never is never either way",
    "times_s = np.arange(0.0, lasts_s - STEP_S / 2, STEP_S)": "the last step is not read",
    "inside = (self.epoch_s >= start) & (self.epoch_s < start + lasts_s)":
        "both ends are looked at besides",
    "inside = (self.epoch_s > start) & (self.epoch_s <= start + lasts_s)":
        "both ends are looked at besides",
    "inside = hours_s[(hours_s >= start_s) & (hours_s < end_s)]":
        "both ends are looked at besides",
    "inside = hours_s[(hours_s > start_s) & (hours_s <= end_s)]":
        "both ends are looked at besides",
    "when_s = curve.when(start_s=landed.pour_s, age_s=by_slab_s + landed.film_age_s[..., -1])":
        "the rounds end where they end, wherever they begin",
    "when_s = curve.when(start_s=landed.pour_s, age_s=by_slab_s - landed.film_age_s[..., +1])":
        "the rounds end where they end, wherever they begin",
    "if floor in job.crossed_from(r.name) and place[r.name] <= place[floor]":
        "no room leads out over its own floor",
    "ends = sorted({by, *(s.first_task for s in stops if s.first_task <= by)}, reverse=True)":
        "that hour is looked at besides",
    "and _time_between(arrival, begins, ends) < COMES_SOONER":
        "whose hands are free just that long before a stay was asked above",
    "return found.chosen.chance_frac + GLANCE_FRAC - was <= LITTLE_FRAC * most":
        "no chance is it to the last digit",
    "tied_in_s=np.where(met <= 0, np.nan, raked[met]),": "no bucket is met by the first",
    "bare_s = 0.0 if met[patch] <= 0 else strip_s[patch]": "no bucket is met by the first",
    "waiting.append((patch, float(broadcast_s[patch] - bare_s), bool(met[patch] <= 0)))":
        "no bucket is met by the first",
    "while waiting and free_s <= over_s - _EPS:": "no turn is over to the last digit",
    "if done_s <= left_s - _EPS:": "no work is done to the last digit",
    'code = "replan.faster" if faster_frac >= 0 else "replan.slower"': "nothing is not told",
    'code = "replan.kits_warmer" if fit.kit_k >= 0 else "replan.kits_cooler"':
        "nothing is not told",
    'code = "replan.quickens" if per_h >= 0 else "replan.slows"': "nothing is not told",
    "half, *other = parts if warmer_k >= 0 else (OTHER_PART[part] for part in parts)":
        "nothing is not told",
    '"replan.slab_warmer" if shift_k >= 0 else "replan.slab_cooler",': "nothing is not told",
    'code = "replan.margin_less" if change_min <= 0 else "replan.margin_more"':
        "nothing is not told",
    'code = "replan.hour_late" if middle_s >= 0 else "replan.hour_early"':
        "who is on time is no hour off",
    "if len(off_s) < 2 or min(off_s) * max(off_s) <= 0:": "who is on time is no hour off",
    "if abs(faster_frac) > WORTH_FRAC:": "no speed is it to the last digit",
    "return fit.speed - 1.0 > WORTH_FRAC or fit.kit_k >= WORTH_K":
        "no speed is it to the last digit",
    "in_step = +near_s <= late_s <= 2.5 * near_s and spread_s <= near_s / 2":
        "who is early by less is near",
    "return sorted((p.bounds[0], p.bounds[2]) for p in pieces if p.length >= 0.0)":
        "an edge without length adds none",
    'return "mixer" if crew.mixer <= crew.stations else "station"':
        "as many of both is answered above",
    "if 0 < people <= begins_s.size:": "as many as there are buckets wait for none",
    "near_s = low_s if got_s <= low_s else high_s": "who stands on the edge is not told",
    "near = low if stated <= low else high": "who stands on the edge is not told",
    "if not abs(over_k) <= TEMP_TOL_K and room.sweats != (over_k < 0.0):":
        "what is as cold as the dew point is not asked",
    "if abs(one - other) > 0.05 - 1e-9:": "no two shares are it to the last digit",
    "side = 1.0 if from_wall_m([(middle.x, middle.y)])[0] >= 0 else -1.0":
        "no floor's middle lies on its wall",
    "and _shared_m(grown[i], grown[j]) >= LEAST_SHARED_M": "no edge is it to the last digit",
    "within = ROUNDED * max(1, len(parts)) if got <= low else ROUNDED":
        "the least is off by nothing",
    "if floor.plan.cadence_min <= least_min:": "just as long is off by nothing",
    "if apart_s.size and apart_s.min() <= 60.0 * least_min:": "just as long is off by nothing",
    'if plan.status == "within policy" and not risk.all_keep_frac > asked:':
        "as often as asked is off by nothing",
    "pull += apart @ (log_s + log_s.mean()) / milestone.spread_frac**2":
        "what lies apart from its mean adds up to nothing",
    "if search.score is not None or search.choice is not None:": "a choice has its score",
    "hours = round((last_s + first_s) / HOUR_S) + 1": "hours that nobody gives are left out",
    "if not 0 <= step_s <= _FINEST_AVERAGED_S or rows.epoch_s[-1] - rows.epoch_s[0] < HOUR_S:":
        "a single row spans no hour",
    "last = np.floor((rows.epoch_s[-1] + phase_s) / HOUR_S)": "no hour past the rows is known",
    "point[(grid <= at_s[0]) | (grid > at_s[-1])] = np.nan": "an hour with a row is set below",
    "point[(grid < at_s[0]) | (grid >= at_s[-1])] = np.nan": "an hour with a row is set below",
    "dew_c[too_wide | (hours_s < at_s[0]) | (hours_s >= at_s[-1])] = np.nan":
        "no hour that is put in is a row's",
    "len(series.missing_hours(span.wanted_from, span.ends)) < (1 - _LEAST_KEPT) * wanted_h":
        "no share is it to the last digit",
    "elif left or not running:": "what is not wanted is not wanted later",
    'code = "weather.clock_ahead" if off_s >= 0 else "weather.clock_behind"':
        "a clock that is right is not told of",
    "return body.lstrip()[:16].lower().startswith(_PAGE)": "no page's beginning is as long",
    "size += len(unpacking.decompress(left, LARGEST_BODY_BYTES + size + 1))":
        "what is too large may be read a little farther",
    "if risk.members <= 1:": "one night is as many as is asked",
    "if len(switches) >= 1:": "a run that is the only one is taken",
    "int((intervals.first - lengths).min()),": "nothing is free so soon",
    "many = min(len(tasks), (high + low) // max(1, hands.rest) + 1, MOST_VISITS)":
        "stays that are not used change nothing",
    "self.model.add(goes > comes)": "nor do they by how long they last",
    "int(task.intervals.last.max()) + min(most, least),": "nothing begins so late",
    "if self.problem.setup == self.problem.moving and not self.problem.crossings:":
        "who is first is asked where it matters",
    "if first or low.any():": "what has no first has no offset",
    'stay = self._int(0, high + low, f"{name} stay")': "nobody stays so long",
    "before = max(0, high + int(task.intervals.first.min()))": "it is enough either way",
    "after = max(0, int(task.ends_in(None).max()) + low)": "it is enough either way",
    "self.model.add(stay >= last - first - (high + low) * (1 - used))":
        "it is enough either way",
    "if solved.choice is None and solved.score is None:": "there are both or neither",
    "[np.full(strips, strips + closed_by), np.where(met <= 0, -1, met + strips)]":
        "no bucket is met by the first",
    "later_s = np.where(met <= 0, 0.0, stopped_s[:, met] - stopped_s)":
        "no bucket is met by the first",
    "if low == 0 or high >= self.hours_s.size:": "it is the same, cut or not",
    "if low == 0 and high > self.hours_s.size:": "it is the same, cut or not",
    "key = stay.layer.crew, max(begins_s, default=+np.inf)": "no other stay is of no shift",
    "coolest_c.min() + least_k + off_k.min() >= low_c - NEAR_K":
        "no sum is it to the last digit",
    'if words and set(words) < _CLOCK | _PLAIN and column.role in {None, "time"}:':
        "no name has all of these words",
    "if named and named < _DATE:": "no name has all of these words",
    'return "time" if named and named < _CLOCK and words[0] != "hr" else None':
        "no name has all of these words",
    "if words[0] in _DATE and len(words) >= 1 and named & (_CLOCK | _TIME):":
        "no word of a date is one of a clock",
    'if len(words) >= 1 and words[0] in {"#", "no", "nr"}:': "a number alone is no reading",
    "return towards if signed_area_m2(self.corners_m) >= 0 else towards + math.pi":
        "a floor holds more than nothing",
    "if over.length <= LEAST_WALL_M:": "no line is it to the last digit",
    "if not found and floor.area - sum(i.area for i in islands) <= LEAST_FLOOR_M2:":
        "no floor is it to the last digit",
    'pieces = [p for p in getattr(pieces, "geoms", [pieces]) if p.area >= LEAST_FLOOR_M2]':
        "no floor is it to the last digit",
    "elif _polygon(corners).convex_hull.area <= 1e-4:": "no ring is it to the last digit",
    "elif any(island.intersection(other).area >= 1e-6 for other in before):":
        "no overlap is it to the last digit",
    "if top is None and change is None or not trials.works(change):":
        "a limit that can be moved makes a change",
    "if lines and event.bucket <= max(lines):": "the same number again is refused above",
    "later = (later - MINUTES_PER_DAY // 2) % MINUTES_PER_DAY - MINUTES_PER_DAY // 2":
        "half a day back is half a day on, by the clock",
    "as_before = np.where(met <= 0, np.arange(met.size), met) < done":
        "no bucket is met by the first",
    "elif off >= 0:": "as plain is told of above",
    "return gain < max(WORTH_FRAC, _doubt_frac(found.chosen, told.chosen)) + 1e-9":
        "no gain is it to the last digit",
    "return found.chosen.chance_frac - told.seen_frac < WORTH_FRAC + 1e-9":
        "no gain is it to the last digit",
    "if line.length >= LEAST_EDGE_M:": "no line is it to the last digit",
    "if signed_area_m2(inner) * signed_area_m2(line) >= 0:": "no ring holds nothing",
    'areas = [part for part in getattr(shape, "geoms", [shape]) if part.area >= 1e-6]':
        "no sliver is it to the last digit",
    'pieces = [p for p in getattr(inside, "geoms", [inside]) if p.length >= 2 * LEAST_EDGE_M]':
        "no line is it to the last digit",
    "if high - low > least_m - _EPS:": "no row is it to the last digit",
    "if min(b, d) >= max(a, c) and shared_m(max(a, c), min(b, d)) > LEAST_EDGE_M":
        "an edge without length is too short",
    "if min(b, d) > max(a, c) and shared_m(max(a, c), min(b, d)) >= LEAST_EDGE_M":
        "no edge is it to the last digit",
    "if area_m2(high) < wanted:": "the square law ends there too",
    "ends = [low, *(float(corner) for corner in corners if corner >= low)]":
        "up to where it begins there is nothing",
    "return held_j_k * max(0.0, self.water_c + ICE_BATH_C)": "ice melts at nought",
    "if 0 <= spare < len(sheet.lines):": "none are left out either way",
    "if entry.slab_reading is None and read_at is None:": "no reading is without its hour",
    "if room.cove_m and room.cove_m >= 1.02 * sum(map(ring_length_m, rings)):":
        "no cove is it to the last digit",
    "side = 1.0 if signed_area_m2(corners) >= 0 else -1.0": "no floor is without area",
}  # fmt: skip
