// The log of the night: what is ticked and written down, and the file `replan` reads.
const ENDS = { wet: "wet edge ended", work: "working time ended", surface: "surface closed" };
const LOG_HEADER = "at,event,room,bucket,value,note";

function bucketKey(index) {
  const bucket = plan.buckets[index];
  return plan.rooms[bucket.room].key + "|" + bucket.number;
}

// A new plan of the same night begins where the crew is: by the plan itself, and by what
// was ticked on the sheet before it since then.
function takenOver() {
  const begun = fresh();
  if (plan.night === null) return begun;
  const places = new Map(plan.buckets.map((_, index) => [bucketKey(index), index]));
  Object.assign(begun.poured, plan.night.poured);
  for (const entry of plan.night.log) take(begun, entry, places);
  const before = read("cureplan:" + plan.night.follows);
  if (before && before.version === 1 && before.plan === plan.night.follows && Array.isArray(before.keys)) {
    takeBefore(begun, before, places);
    const { clock_s, clock_right } = sound(before);
    Object.assign(begun, { clock_s, clock_right });
  }
  for (const index of Object.keys(begun.poured)) {
    begun.fixed[index] = Object.fromEntries(BEFORE_FLOOR.map((task) => [task, 0]));
  }
  return begun;
}

function take(begun, entry, places) {
  const index = places.get(entry.room + "|" + entry.bucket);
  if (entry.event === "ran short") {
    if (index !== undefined) begun.short[index] = entry.at;
  } else if (entry.event === "lost") {
    if (index !== undefined) (begun.lost[index] || (begun.lost[index] = [])).push({ at: entry.at, step_s: 0 });
  } else if (Object.values(DONE_EVENTS).includes(entry.event)) {
    const key = doneKey(entry);
    const batches = Object.keys(begun.done).filter((other) => other.startsWith(key + ":")).length;
    begun.done[entry.event === DONE_EVENTS.mixed ? key + ":" + (batches + 1) : key] = entry.at;
  } else {
    begun.events.push({ ...entry });
  }
}

function takeBefore(begun, before, places) {
  for (const [what, own] of [["poured", begun.poured], ["short", begun.short]]) {
    for (const [index, at] of Object.entries(picked(before[what], () => true, isInstant))) {
      const place = places.get(before.keys[index]);
      if (place !== undefined && !(place in own)) own[place] = at;
    }
  }
  takeLost(begun, before, places);
  takeDone(begun, before, places);
  const known = new Set(begun.events.map(lineKey));
  const events = Array.isArray(before.events) ? before.events.filter(isEvent) : [];
  begun.events.push(...events.filter((entry) => !known.has(lineKey(entry))));
}

const lineKey = (entry) => [entry.at, entry.event, entry.room, entry.bucket, entry.value].join("|");

function takeLost(begun, before, places) {
  for (const [index, losses] of Object.entries(picked(before.lost, () => true, Array.isArray))) {
    const place = places.get(before.keys[index]);
    const known = (begun.lost[place] || []).map((loss) => loss.at);
    const more = losses.filter((loss) => loss && isInstant(loss.at) && !known.includes(loss.at));
    if (place !== undefined && more.length) {
      begun.lost[place] = [...(begun.lost[place] || []), ...more.map(({ at }) => ({ at, step_s: 0 }))];
    }
  }
}

// Ticks besides buckets, by the rooms that the sheet before had.
function takeDone(begun, before, places) {
  const { rooms, iced } = before;
  if (!Array.isArray(rooms) || !Array.isArray(iced)) return;
  const told = new Set(plan.night.log.map(lineKey));
  for (const [key, at] of Object.entries(picked(before.done, () => true, isInstant))) {
    const [what, place] = key.split(":");
    const entry = doneEntry([key, at], what === "ice" ? iced[place] : rooms[place]);
    const own = entry.event && doneKey(entry);
    if (!own || own.includes("-1") || told.has(lineKey(entry))) continue;
    if (what === "mixed" || !(own in begun.done)) take(begun, entry, places);
  }
}

// Whether the plan was made with an entry: its own log tells, as a line may come in late.
function isPlannedWith(entry) {
  if (plan.night === null) return false;
  if (entry.event === "poured") return entry.index in plan.night.poured && entry.at <= plan.night.until;
  return plan.night.log.some((told) => lineKey(told) === lineKey(entry));
}

// What this phone wrote down, by its own clock; what the plan was made with is right already.
let isOwn = (entry) => !isPlannedWith(entry);

function logEntries() {
  const ofBucket = (event, index, at) => {
    const bucket = plan.buckets[index];
    const room = plan.rooms[bucket.room].key;
    return { at, event, room, bucket: bucket.number, value: "", note: "", index: Number(index) };
  };
  const entries = state.events.map((entry, place) => ({ ...entry, place }));
  for (const [index, at] of Object.entries(state.poured)) entries.push(ofBucket("poured", index, at));
  for (const [index, at] of Object.entries(state.short)) entries.push(ofBucket("ran short", index, at));
  for (const [index, losses] of Object.entries(state.lost)) {
    losses.forEach((loss, which) => entries.push({ ...ofBucket("lost", index, loss.at), which }));
  }
  const roomOf = ([what, place]) => ((what === "ice" ? plan.ice : plan.rooms)[place] || {}).key;
  const done = Object.entries(state.done).map((tick) => doneEntry(tick, roomOf(tick[0].split(":")))).filter((entry) => entry.event && entry.room);
  return entries.concat(done).sort((a, b) => a.at - b.at);
}

// What is ticked besides buckets.
const DONE_EVENTS = { ice: "pails in ice", coving: "cove begun", coved: "cove done", priming: "primer begun", primed: "primer laid", vacuumed: "vacuumed", begun: "coat begun",
  mixed: "batch mixed", laid: "coat laid" };

function doneEntry([key, at], room) {
  const [what, , coat] = key.split(":");
  const value = ["begun", "mixed", "laid"].includes(what) ? coat : "";
  return { at, event: DONE_EVENTS[what], room, bucket: null, value, note: "", done: key };
}

function doneKey(entry) {
  const place = plan.rooms.findIndex((room) => room.key === entry.room);
  if (entry.event === DONE_EVENTS.ice) return "ice:" + plan.ice.findIndex((item) => item.key === entry.room);
  const what = Object.keys(DONE_EVENTS).find((name) => DONE_EVENTS[name] === entry.event);
  return what + ":" + place + ":" + (entry.value || "1");
}

// Late with a floor or primer not begun: told as a wait for what is mixed first, as no line
// "poured" can tell it.
function lateEntry() {
  if (state.late_s <= 0) return null;
  const next = firstToMix();
  const now = Math.floor(now_s());
  if (next === null || next.until <= now) return null;
  const note = "late by " + Math.round(state.late_s / 60) + " min";
  return { at: Math.min(now, next.planned - 1), event: "wait until", room: "", bucket: null, value: stamp(next.until), note };
}

function firstToMix() {
  const primers = movedPrimers().filter(({ primer, begun, done }) => begun === undefined && done === undefined && primer.start > now_s());
  const found = primers.map(({ primer, start }) => ({ planned: primer.start, until: start }));
  const open = plan.buckets.map((_, index) => index).filter((index) => !(index in state.poured));
  if (open.length) {
    const next = open.reduce((a, b) => (plan.buckets[a].pour <= plan.buckets[b].pour ? a : b));
    const { room, number, pour } = plan.buckets[next];
    const begun = number !== 1 || Object.keys(state.poured).some((index) => plan.buckets[index].room === room);
    found.push(begun ? { planned: pour, until: 0 } : { planned: pour, until: taskAt(next, "liquids") });
  }
  return found.length ? found.reduce((a, b) => (a.planned <= b.planned ? a : b)) : null;
}

// By how many minutes the site's clock is ahead of universal time.
function ahead_min(at) {
  const part = local(at);
  const wall_s = Date.UTC(part.year, part.month - 1, part.day, part.hour, part.minute, part.second) / 1000;
  return Math.round((wall_s - Math.floor(at)) / 60);
}

// The site's own time with its offset, as the log wants it.
function stamp(at) {
  const part = local(at);
  const two = (value) => String(Math.trunc(Math.abs(value))).padStart(2, "0");
  const offset_min = ahead_min(at);
  return part.year + "-" + two(part.month) + "-" + two(part.day) + "T"
    + part.hour + ":" + part.minute + ":" + part.second
    + (offset_min < 0 ? "-" : "+") + two(offset_min / 60) + ":" + two(offset_min % 60);
}

function cell(value) {
  const text = value === null || value === undefined ? "" : String(value);
  return /[",\n]/.test(text) ? '"' + text.replace(/"/g, '""') + '"' : text;
}

function logText() {
  const poured = new Set(Object.keys(state.poured).map((index) => bucketKey(index)));
  const late = lateEntry();
  const entries = [...logEntries(), ...(late === null ? [] : [late])].sort((a, b) => a.at - b.at);
  const lines = ["# " + plan.site + ", plan " + plan.id];
  if (rehearsing) lines.push("# A rehearsal: none of this happened.");
  lines.push(LOG_HEADER);
  const lineOf = (entry) => {
    const line = [stamp(entry.at), entry.event, entry.room, entry.bucket, entry.value, entry.note];
    // A batch that was read but never ticked as poured says nothing that can be used.
    const loose = entry.bucket !== null && entry.event !== "lost"
      && !poured.has(entry.room + "|" + entry.bucket);
    return (loose ? "# not poured: " : "") + line.map(cell).join(",");
  };
  lines.push(...entries.map(lineOf));
  return lines.join("\n") + "\n";
}

function logName() {
  return (rehearsing ? "rehearsal-" : "log-") + plan.id + ".csv";
}

// Where a browser keeps no files, the log leaves the phone as a message or as a copied text.
async function shareLog() {
  const file = new File([logText()], logName(), { type: "text/csv" });
  const whole = navigator.canShare && navigator.canShare({ files: [file] });
  try {
    await navigator.share(whole ? { files: [file] } : { title: logName(), text: logText() });
  } catch (error) {
    // Whoever calls it off wants nothing more.
    if (error.name !== "AbortError") copyLog();
  }
}

function copyLog() {
  const text = element("textarea", { class: "unseen" });
  text.value = logText();
  document.body.append(text);
  text.select();
  copied_at = document.execCommand("copy") ? Date.now() : -1;
  text.remove();
  update();
}

let copied_at = 0;

function copyWords() {
  if (copied_at < 0) return "copy_failed";
  return Date.now() - copied_at < UNDO_MS ? "copied" : "copy";
}

function saveLog() {
  const blob = new Blob([logText()], { type: "text/csv" });
  const name = logName();
  const link = element("a", { href: URL.createObjectURL(blob), download: name });
  link.click();
  URL.revokeObjectURL(link.href);
}

function note(event, values) {
  state.events.push({ at: Math.round(now_s()), event, room: "", bucket: null, value: "", note: "", ...values });
  save();
}

function wentAt(index, clock) {
  const { room, number } = plan.buckets[index];
  const key = plan.rooms[room].key;
  return state.events.findIndex(
    (entry) => entry.event === ENDS[clock] && entry.room === key && entry.bucket === number);
}

function toggleWent(index, clock) {
  const place = wentAt(index, clock);
  if (place >= 0) {
    state.events.splice(place, 1);
    save();
    return;
  }
  const { room, number } = plan.buckets[index];
  note(ENDS[clock], { room: plan.rooms[room].key, bucket: number });
}

function strike(entry) {
  if (entry.event === "poured") return setPoured(entry.index, false);
  if (entry.event === "ran short") return setShort(entry.index, false);
  if (entry.event === "lost") return takeBackLost(entry.index, entry.which);
  if (entry.done) return toggleDone(entry.done, entry.at);
  state.events.splice(entry.place, 1);
  return save();
}

// A bucket stays between its neighbours, and nothing happens later than now.
function retime(entry, by_s) {
  let at = Math.min(entry.at + by_s, Math.floor(now_s()));
  if (entry.event === "poured") {
    const { before, after } = tickedBeside(entry.index);
    if (before !== undefined) at = Math.max(at, state.poured[before] + 30);
    if (after !== undefined) at = Math.min(at, state.poured[after] - 30);
  }
  setAt(entry, at);
  save();
}

function setAt(entry, at) {
  if (entry.event === "poured") {
    state.poured[entry.index] = at;
  } else if (entry.event === "ran short") {
    state.short[entry.index] = at;
  } else if (entry.event === "lost") {
    state.lost[entry.index][entry.which].at = at;
  } else if (entry.done) {
    state.done[entry.done] = at;
  } else {
    state.events[entry.place].at = at;
  }
}
