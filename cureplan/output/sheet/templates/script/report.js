// Writing down what happens, and the log so far, one of each for each language.
const REPORTS = {
  "slab reads": ["room", "temp"],
  "bucket reads": ["room", "bucket", "temp"],
  "wet edge ended": ["room", "bucket"],
  "working time ended": ["room", "bucket"],
  "surface closed": ["room", "bucket"],
  "drill down": [],
  "short of": ["role"],
  "wait until": ["wait"],
  "pour shift until": ["clock"],
  "topcoat shift from": ["clock"],
  "topcoat shift until": ["clock"],
  "opens by": ["opens", "day"],
  "stay longer": ["more"],
  "room dropped": ["room"],
  "room added": ["name", "length", "width", "use", "way"],
};
const HOURS = ["wait", "clock", "day"];
const TEMP_LIMITS_C = { "slab reads": [-10, 75], "bucket reads": [0, 60] };
const US = plan.display === "us";
const TEMP_SIGN = US ? "F" : "C";
const TEMP_UNIT = "°" + TEMP_SIGN;
const SIDE_UNIT = US ? "ft" : "m";

function eventName(language, event) {
  return word(language, "event." + event.replaceAll(" ", "_"), {});
}

function options(items) {
  return items.map(([value, text]) => element("option", { value }, text));
}

function makeReport(language) {
  const number = (attributes) =>
    element("input", { type: "number", inputmode: "decimal", step: "any", ...attributes });
  const picks = (values, text) =>
    element("select", {}, ...options(values.map((value) => [value, text(value)])));
  const controls = {
    what: picks(Object.keys(REPORTS), (event) => eventName(language, event)),
    room: element("select", {}),
    bucket: element("select", {}),
    temp: number({}),
    role: picks(plan.log_roles, (role) => word(language, "role." + role, {})),
    wait: number({ min: "1", value: "60" }),
    clock: element("input", { type: "time" }),
    opens: element("select", {}, ...options([["", word(language, "report_kitchen", {})],
      ...plan.rooms.map((room) => [room.key, room.name])])),
    day: element("input", { type: "datetime-local", value: opens_wall() }),
    more: number({ min: "1", value: "30" }),
    name: element("input", { type: "text", maxlength: "80", autocomplete: "off" }),
    length: number({ min: "1" }),
    width: number({ min: "1" }),
    use: picks(plan.uses, (use) => word(language, "use." + use, {})),
    way: element("select", {}, ...options([["", word(language, "report_way_none", {})],
      ...plan.rooms.map((room) => [room.key, room.name])])),
    ago: number({ min: "0", value: "0" }),
  };
  const fields = {};
  for (const [name, control] of Object.entries(controls)) {
    control.dataset.field = name;
    const unit = name === "temp" ? TEMP_UNIT : SIDE_UNIT;
    fields[name] = element("label", { class: "field" },
      element("span", {}, word(language, "report_" + name, { unit })), control);
  }
  const said = element("output", { class: "report-said" });
  const box = element("details", { class: "report" },
    element("summary", {}, word(language, "report", {})),
    element("div", { class: "fields" }, ...Object.values(fields)),
    element("p", { class: "report-do" },
      element("button", { type: "button", class: "big", "data-do": "report" },
        word(language, "report_write", {})), said));
  return { box, controls, fields, said };
}

// When the last floor is to open, by the clock there.
function opens_wall() {
  const last = Math.max(...plan.rooms.map((room) => room.open_by));
  return Number.isFinite(last) ? stamp(last).slice(0, 16) : "";
}

function tickedOf(key) {
  return plan.buckets.filter((bucket, index) =>
    plan.rooms[bucket.room].key === key && index in state.poured);
}

function roomsFor(event) {
  return plan.rooms.filter(({ key }) => {
    if (event === "room dropped") return !tickedOf(key).length;
    return !REPORTS[event].includes("bucket") || tickedOf(key).length > 0;
  });
}

// Choices change only where they must, so that nobody's finger is moved; while nobody looks,
// what was chosen before is forgotten.
function offer(select, items) {
  const wanted = JSON.stringify(items);
  if (select.dataset.offered === wanted) return;
  const chosen = select.closest("details").open ? select.value : null;
  select.replaceChildren(...options(items));
  select.dataset.offered = wanted;
  if (items.some(([value]) => value === chosen)) select.value = chosen;
}

function refreshReport(part) {
  const { controls, fields } = part.report;
  const event = controls.what.value;
  const shown = ["what", ...REPORTS[event], "ago"];
  for (const [name, field] of Object.entries(fields)) show(field, shown.includes(name));
  offer(controls.room, roomsFor(event).map((room) => [room.key, room.name]));
  // The last one is the likeliest to be asked about.
  const numbers = tickedOf(controls.room.value).map((bucket) => String(bucket.number)).reverse();
  offer(controls.bucket, numbers.map((number) => [number, number]));
}

function refuseField(part, name) {
  part.report.controls[name].focus();
  const unit = name === "temp" ? TEMP_UNIT : SIDE_UNIT;
  throw new RangeError(word(part.language, "report_bad_number",
    { what: word(part.language, "report_" + name, { unit }) }));
}

function numberIn(part, name, least, most) {
  const { controls } = part.report;
  const value = controls[name].value.trim() === "" ? NaN : Number(controls[name].value);
  if (value >= least && value <= most) return value;
  return refuseField(part, name);
}

function reported(part) {
  const { controls } = part.report;
  const event = controls.what.value;
  const asked = REPORTS[event];
  const now = Math.floor(now_s());
  const found = { at: Math.round(now - 60 * numberIn(part, "ago", 0, 1440)), event };
  const refuse = (key) => { throw new RangeError(word(part.language, key, {})); };
  if (asked.includes("room")) {
    found.room = controls.room.value;
    if (!found.room) refuse(asked.includes("bucket") ? "report_no_bucket" : "report_no_room");
  }
  if (asked.includes("bucket")) {
    found.bucket = Number(controls.bucket.value);
    const index = plan.buckets.findIndex((bucket) =>
      bucket.number === found.bucket && plan.rooms[bucket.room].key === found.room);
    if (event !== "bucket reads" && found.at <= state.poured[index]) refuse("report_early");
  }
  if (asked.includes("temp")) {
    const [least, most] = TEMP_LIMITS_C[event].map((c) => (US ? c * 1.8 + 32 : c));
    found.value = numberIn(part, "temp", least, most) + " " + TEMP_SIGN;
  }
  if (asked.includes("role")) found.value = controls.role.value;
  if (asked.includes("wait")) {
    found.value = stamp(Math.ceil((now + 60 * numberIn(part, "wait", 1, 2880)) / 60) * 60);
  }
  if (asked.includes("clock")) found.value = stamp(nextAt(part, now));
  if (asked.includes("day")) found.value = stamp(dayAt(part, now));
  if (asked.includes("opens") && controls.opens.value) found.room = controls.opens.value;
  if (asked.includes("more")) found.value = Math.ceil(numberIn(part, "more", 1, 720)) + " min";
  return asked.includes("name") ? { ...found, ...addedRoom(part) } : found;
}

// The next time that the clock on the wall shows what was given.
function nextAt(part, now) {
  const { controls } = part.report;
  const next = Math.floor(now / 60) * 60;
  for (let min = 1; controls.clock.value && min <= 1560; min += 1) {
    const wall = local(next + 60 * min);
    if (wall.hour + ":" + wall.minute === controls.clock.value.slice(0, 5)) return next + 60 * min;
  }
  return refuseField(part, "clock");
}

// The instant at which the clock and calendar on the wall show what was given.
function dayAt(part, now) {
  const wall_s = Date.parse(part.report.controls.day.value.slice(0, 16) + ":00Z") / 1000;
  if (!Number.isFinite(wall_s)) return refuseField(part, "day");
  const near = wall_s - 60 * ahead_min(wall_s);
  const at = wall_s - 60 * ahead_min(near);
  return at > now && at <= now + 14 * 86400 ? at : refuseField(part, "day");
}

function addedRoom(part) {
  const { controls } = part.report;
  const name = controls.name.value.replace(/\s+/g, " ").trim();
  const lower = name.toLowerCase();
  const known = [...plan.rooms.map((room) => room.key), ...state.events
    .filter((entry) => entry.event === "room added").map((entry) => entry.room)];
  if (!name || known.some((key) => key.toLowerCase() === lower)) {
    controls.name.focus();
    throw new RangeError(word(part.language, "report_bad_name", {}));
  }
  const most = US ? 650 : 200;
  const sides = ["length", "width"].map((side) => numberIn(part, side, 1, most) + " " + SIDE_UNIT);
  const way = controls.way.value ? ", through " + controls.way.value : "";
  return { room: name, value: sides.join(" x ") + ", " + controls.use.value + way };
}

function writeReport(button, language) {
  const part = panels.find((each) => each.language === language);
  const { controls, said } = part.report;
  try {
    const found = reported(part);
    note(found.event, found);
    put(said, word(language, "report_done", { what: entryText(language, found) }));
  } catch (error) {
    if (!(error instanceof RangeError)) throw error;
    put(said, error.message);
    return;
  }
  controls.temp.value = "";
  controls.ago.value = "0";
}

function entryText(language, entry) {
  const values = { room: entry.room, number: entry.bucket };
  const place = entry.event === "opens by" && !entry.room ? word(language, "report_kitchen", {}) : entry.room;
  const where = entry.bucket ? word(language, "bucket", values) : place;
  let told = (entry.value || "").replace(/ ([CF])$/, " °$1");
  if (entry.event === "short of") told = word(language, "role." + entry.value, {});
  if (entry.event === "wait until") {
    told = word(language, "until", { at: whenText(language, Date.parse(entry.value) / 1000, now_s(), true) });
  }
  if (["clock", "day"].some((field) => REPORTS[entry.event]?.includes(field))) {
    told = whenText(language, Date.parse(entry.value) / 1000, now_s(), false);
  }
  return [eventName(language, entry.event), where, told].filter(Boolean).join(", ");
}

function makeLog(language) {
  const list = element("ul", { class: "log" });
  const title = element("summary", {});
  const box = element("details", { class: "log-part" }, title, list,
    element("p", { class: "soft" }, word(language, "log_how", {})));
  return { box, title, list };
}

function logRow() {
  const button = (name) => element("button", { type: "button", class: "plain", ["data-" + name]: "" });
  return element("li", {}, element("span", { class: "event-at" }), element("span", {}),
    element("span", { class: "log-buttons" }, button("earlier"), button("later"), button("strike"),
      element("span", { class: "soft" })));
}

function changeLogRow(language, now) {
  return (row, { entry, place }) => {
    const text = entryText(language, entry);
    put(row.children[0], whenText(language, entry.at, now, false));
    put(row.children[1], text);
    const kept = isPlannedWith(entry);
    const [earlier, later, strikeOut, told] = row.children[2].children;
    for (const [button, key] of [[earlier, "earlier"], [later, "later"], [strikeOut, "remove"]]) {
      const label = word(language, "log_" + key, {});
      put(button, label);
      mark(button, "aria-label", label + ": " + text);
      mark(button, "data-" + (key === "remove" ? "strike" : key), String(place));
      show(button, !kept);
    }
    put(told, kept ? word(language, "log_kept", {}) : "");
  };
}

function updateLog(part, now) {
  const { language, log } = part;
  const entries = logEntries().map((entry, place) => ({ entry, place })).reverse();
  show(log.box, entries.length > 0);
  put(log.title, word(language, "log", { count: entries.length }));
  if (log.box.open) fill(log.list, entries, logRow, changeLogRow(language, now));
}
