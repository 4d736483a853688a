// What has happened, and what follows from it. Only sums and differences of the plan's instants.
// The table of rules stands in plan.json; `replan` goes by the same.
const RULES = plan.rules;
const TASKS = RULES.tasks.map((rule) => rule.task);
const CLOCKS = RULES.clocks;
const MOVES = Object.fromEntries(RULES.tasks.map((rule) => [rule.task, rule.moves]));
const SAID = RULES.tasks.filter((rule) => rule.moves === "late");
const BEFORE_FLOOR = SAID.map((rule) => rule.task);
const OF_ROOM = /^(primer|cove):\d+$/;

let rehearsal_s = 0;
let rehearsing = false;
let keeps = true;
let state = fresh();

function fresh() {
  return {
    version: 1, plan: plan.id, late_s: 0, clock_s: 0, clock_right: false, fixed: {}, poured: {}, short: {}, lost: {}, done: {}, events: [],
    // By these a later plan of the same night knows the buckets and rooms again.
    keys: plan.buckets.map((_, index) => bucketKey(index)),
    rooms: plan.rooms.map((room) => room.key), iced: plan.ice.map((item) => item.key),
  };
}

function now_s() {
  return Date.now() / 1000 + rehearsal_s + state.clock_s;
}

function storeName() {
  return "cureplan:" + plan.id + (rehearsing ? ":rehearsal" : "");
}

function read(name) {
  try {
    return JSON.parse(window.localStorage.getItem(name));
  } catch (error) {
    return null;
  }
}

function write(name, value) {
  try {
    window.localStorage.setItem(name, JSON.stringify(value));
  } catch (error) {
    keeps = false;
  }
}

const isInstant = (value) => Number.isFinite(value) && value > 0 && value < 1e11;
const isBucket = (key) => /^\d{1,6}$/.test(key) && Number(key) < plan.buckets.length;

function picked(table, isKey, isValue) {
  const pairs = table !== null && typeof table === "object" ? Object.entries(table) : [];
  return Object.fromEntries(pairs.filter(([key, value]) => isKey(key) && isValue(value)));
}

function isEvent(entry) {
  if (entry === null || typeof entry !== "object" || !isInstant(entry.at)) return false;
  const texts = [entry.room, entry.value, entry.note];
  if (!texts.every((text) => text === undefined || typeof text === "string")) return false;
  if (entry.bucket !== undefined && entry.bucket !== null && !Number.isInteger(entry.bucket)) return false;
  if (entry.event === "short of") return plan.log_roles.includes(entry.value);
  const told = REPORTS[entry.event] ?? [];
  if (told.includes("more")) return /^\d+ min$/.test(entry.value);
  if (HOURS.some((field) => told.includes(field))) return Number.isFinite(Date.parse(entry.value));
  return entry.event in REPORTS;
}

// Storage may hold anything: what does not fit this plan is left out.
function sound(kept) {
  const isFixed = (value) => Object.entries(picked(value, () => true, () => true))
    .every(([task, shift]) => [...BEFORE_FLOOR, "start"].includes(task) && Number.isFinite(shift));
  const isLosses = (value) => Array.isArray(value)
    && value.every((loss) => loss && isInstant(loss.at) && Number.isFinite(loss.step_s));
  return {
    ...fresh(),
    late_s: Number.isFinite(kept.late_s) && Math.abs(kept.late_s) <= 86400 ? kept.late_s : 0,
    clock_s: Number.isFinite(kept.clock_s) && Math.abs(kept.clock_s) <= 50400 ? kept.clock_s : 0,
    clock_right: kept.clock_right === true,
    fixed: picked(kept.fixed, (key) => isBucket(key) || OF_ROOM.test(key), isFixed),
    poured: picked(kept.poured, isBucket, isInstant),
    short: picked(kept.short, isBucket, isInstant),
    lost: picked(kept.lost, isBucket, isLosses),
    done: picked(kept.done, (key) => /^[a-z]+(:\d+)+$/.test(key), isInstant),
    events: (Array.isArray(kept.events) ? kept.events : []).filter(isEvent),
  };
}

function load() {
  const kept = read(storeName());
  if (kept && kept.version === 1 && kept.plan === plan.id) state = sound(kept);
  else state = rehearsing ? fresh() : takenOver();
  changes += 1;
}

let changes = 0;

// What follows from all buckets is worked out once a second, or when something changes.
function once(make) {
  let at = "";
  let kept;
  return () => {
    const here = Math.floor(now_s()) + ":" + changes;
    if (here !== at) kept = make();
    at = here;
    return kept;
  };
}

function save() {
  changes += 1;
  write(storeName(), state);
}

// Lateness counts for what is not begun; what is begun keeps the lateness it was begun at.
function shiftOf(index, task) {
  const fixed = state.fixed[index];
  return fixed && task in fixed ? fixed[task] : state.late_s;
}

function fix(index, task) {
  const fixed = state.fixed[index] || (state.fixed[index] = {});
  if (!(task in fixed)) fixed[task] = state.late_s;
}

function isBegun(index, task) {
  return plan.buckets[index][task] + shiftOf(index, task) <= now_s();
}

// What is mixed and not on the floor is poured now at the earliest; once its clocks have ended
// it was poured without a tick or lost, and moves nothing any more.
function moveOf(index) {
  const { pour } = plan.buckets[index];
  if (index in state.poured) return state.poured[index] - pour;
  const shift = shiftOf(index, "pour");
  const mixed = isBegun(index, "filler") && now_s() < clockEnd(index, CLOCKS[2]);
  return mixed ? Math.max(shift, now_s() - pour) : shift;
}

function taskAt(index, task) {
  const bucket = plan.buckets[index];
  const at = bucket[task];
  if (at === null) return null;
  if (task === "pour" && index in state.poured) return state.poured[index];
  const moves = MOVES[task];
  if (moves === "late") return at + shiftOf(index, task);
  const own = moveOf(index);
  if (bucket.by === null || moves === "own") return at + own;
  const next = moveOf(bucket.by);
  return at + (moves === "next" ? next : Math.max(own, next));
}

function clockEnd(index, clock) {
  return plan.buckets[index][clock.ends] + shiftOf(index, clock.starts);
}

function leastGap(index, shifted) {
  const bucket = plan.buckets[index];
  const gaps = CLOCKS.filter((clock) => bucket[clock.kept_by] !== null).map((clock) =>
    shifted
      ? clockEnd(index, clock) - taskAt(index, clock.kept_by)
      : bucket[clock.ends] - bucket[clock.kept_by]);
  return Math.min(...gaps);
}

function marginOf(index) {
  return plan.buckets[index].margin_s + leastGap(index, true) - leastGap(index, false);
}

// Never holds what is mixed: with the filler in, a bucket keeps its own time to be poured.
function setLate(late_s) {
  for (const [name, items] of [["primer", plan.primers], ["cove", plan.coves]]) {
    for (const item of items) {
      const key = name + ":" + item.room;
      if (item.start + shiftOf(key, "start") <= now_s()) fix(key, "start");
    }
  }
  plan.buckets.forEach((_, index) => {
    for (const rule of SAID) if (isBegun(index, rule.fixed_by)) fix(index, rule.task);
  });
  state.late_s = late_s;
  save();
}

// The ticked buckets of the same floor before and after one.
function tickedBeside(index) {
  const { room, number } = plan.buckets[index];
  const found = {};
  for (const other of Object.keys(state.poured).map(Number)) {
    const bucket = plan.buckets[other];
    if (bucket.room !== room || other === index) continue;
    const side = bucket.number < number ? "before" : "after";
    const nearer = found[side] === undefined
      || Math.abs(bucket.number - number) < Math.abs(plan.buckets[found[side]].number - number);
    if (nearer) found[side] = other;
  }
  return found;
}

// A later bucket of its floor is ticked, so it is not to be mixed any more.
function isPassed(index) {
  return tickedBeside(index).after !== undefined;
}

// A tick that was forgotten keeps step with its neighbours, as `replan` takes it. No other
// tick is touched; two within a second would say that no time lay between them.
function pouredWhen(index, at) {
  const { before, after } = tickedBeside(index);
  const number = (other) => plan.buckets[other].number;
  const late = (other) => state.poured[other] - plan.buckets[other].pour;
  if (after === undefined) {
    if (before === undefined) return Math.round(at);
    return Math.max(Math.round(at), state.poured[before] + RULES.apart_s * (number(index) - number(before)));
  }
  const share = before === undefined ? 1
    : (number(index) - number(before)) / (number(after) - number(before));
  const from = before === undefined ? 0 : late(before);
  return Math.round(plan.buckets[index].pour + from + share * (late(after) - from));
}

function setPoured(index, poured, at = now_s()) {
  if (poured) {
    state.poured[index] = pouredWhen(index, at);
    for (const task of BEFORE_FLOOR) fix(index, task);
  } else {
    delete state.poured[index];
    delete state.short[index];
    const fixed = state.fixed[index] || {};
    for (const task of BEFORE_FLOOR) {
      if (plan.buckets[index][task] + fixed[task] > now_s()) delete fixed[task];
    }
  }
  save();
}

function setShort(index, short) {
  if (short) state.short[index] = Math.round(now_s());
  else delete state.short[index];
  save();
}

function nextInRoom(index) {
  const { room, number } = plan.buckets[index];
  return plan.buckets.findIndex((other) => other.room === room && other.number === number + 1);
}

// The next kit goes where this one was to go, and so does each after it.
function setLost(index) {
  const bucket = plan.buckets[index];
  const next = nextInRoom(index);
  const again = next >= 0 ? taskAt(next, "pour") : now_s() + bucket.pour - bucket.liquids;
  const late_s = Math.max(state.late_s, Math.round(again - bucket.pour));
  const losses = state.lost[index] || (state.lost[index] = []);
  losses.push({ at: Math.round(now_s()), step_s: late_s - state.late_s });
  plan.buckets.forEach((other, place) => {
    if (other.room === bucket.room && other.number >= bucket.number) delete state.fixed[place];
  });
  state.late_s = late_s;
  save();
}

// What was taken for mixed is not: it is mixed now, and so each after it in its turn.
function setNotMixed(index) {
  const now = Math.floor(now_s());
  const { liquids, room } = plan.buckets[index];
  const ticked = Object.keys(state.poured).filter((other) => plan.buckets[other].room === room);
  const last = Math.max(0, ...ticked.map((other) => state.poured[other]));
  const at = Math.min(now - 1, Math.max(taskAt(index, "liquids"), last + 1));
  const late_s = Math.max(state.late_s, now - liquids);
  plan.buckets.forEach((other, place) => {
    if (other.liquids >= liquids && !(place in state.poured)) delete state.fixed[place];
  });
  state.late_s = late_s;
  note("wait until", { at, value: stamp(now), note: "bucket " + plan.buckets[index].number + " was not mixed" });
}

function takeBackLost(index, place) {
  const [loss] = state.lost[index].splice(place, 1);
  if (!state.lost[index].length) delete state.lost[index];
  state.late_s -= loss.step_s;
  save();
}

// How far the coats move: opened by the latest bucket of a floor, closed by its earliest.
const roomShifts = once(() => {
  const found = plan.rooms.map(() => ({ first: Infinity, last: -Infinity }));
  plan.buckets.forEach(({ room }, index) => {
    const shift = moveOf(index);
    found[room].first = Math.min(found[room].first, shift);
    found[room].last = Math.max(found[room].last, shift);
  });
  return found.map((one) => (one.last < one.first ? { first: 0, last: 0 } : one));
});

function roomShift(room) {
  return roomShifts()[room];
}

function walkAt(place) {
  return plan.rooms[place].walk + roomShift(place).last;
}

function coatKey(coat, what) {
  return what + ":" + coat.room + ":" + coat.coat;
}

// From the first tick of the coat phase on, what nobody ticked is not begun, or not done.
function coatsTold() {
  return isTold("vacuumed", "begun", "mixed", "laid");
}

// Begin and end of a coat or primer, as far as they were ticked: one that was only ticked as
// done was begun as long before as planned, and what nobody ticked begins at the soonest.
function told(layer, begun, done, soonest, told_s) {
  const lasts = layer.end - layer.start;
  const start = begun !== undefined ? begun : done !== undefined ? done - lasts : Math.max(soonest, told_s);
  const end = done !== undefined ? done : begun === undefined ? start + lasts : Math.max(start + lasts, told_s);
  return { start, end, begun, done, due: soonest, by: start + lasts };
}

// The crew that lays one layer after another keeps what lay between the two, up to a changeover.
function afterBefore(before, layer) {
  if (before === null || before.layer.end > layer.start) return -Infinity;
  return before.end + Math.min(layer.start - before.layer.end, plan.changeover_s);
}

// A coat waits for its own floor, for the ways out that it crosses on slurry, and for the
// crew that lays the one before it.
const movedCoats = once(() => {
  const carried = {};
  let before = null;
  const told_s = coatsTold() ? Math.ceil(now_s()) : 0;
  return plan.coats.map((coat) => {
    const below = carried[coat.room] || roomShift(coat.room);
    const opens = coat.opens + below[RULES.coat_opens];
    const closes = coat.closes + below[RULES.coat_closes];
    const waits = plan.rooms[coat.room].way
      .filter((place) => plan.rooms[place].walk <= coat.start).map(walkAt);
    const soonest = Math.max(coat.start, opens, afterBefore(before, coat), ...waits);
    const when = told(coat, state.done[coatKey(coat, "begun")], state.done[coatKey(coat, "laid")], soonest, told_s);
    const moved = { first: when.start - coat.start, last: when.end - coat.end };
    carried[coat.room] = moved;
    before = { layer: coat, end: when.end };
    return { coat, opens, closes, moved: moved.first, ...when };
  });
});

// From the first tick of a kind on, what nobody ticked is not begun.
function isTold(...kinds) {
  return Object.keys(state.done).some((key) => kinds.includes(key.split(":")[0]));
}

// Begun and done once in a room, as ticked or as planned.
function movedOnce(item, begins, ends, soonest) {
  const at = (what) => state.done[what + ":" + item.room + ":1"];
  return told(item, at(begins), at(ends), soonest, isTold(begins, ends) ? Math.ceil(now_s()) : 0);
}

// What goes up with the coats is as late as they are.
const movedCoves = once(() => plan.coves.map((cove) => {
  const coat = movedCoats().find((each) => each.coat.room === cove.room);
  const late = cove.who !== "topcoat" ? shiftOf("cove:" + cove.room, "start") : coat ? Math.max(0, coat.moved) : 0;
  const when = movedOnce(cove, "coving", "coved", cove.start + late);
  return { cove, ...when, moved: when.start - cove.start };
}));

// The slurry waits for the primer's last patch, and no longer than its first one bonds.
const movedPrimers = once(() => {
  let before = null;
  return plan.primers.map((primer) => {
    const ahead = movedCoves().filter(({ cove }) => cove.room === primer.room && cove.end <= primer.start).map(({ end }) => end);
    const when = movedOnce(primer, "priming", "primed",
      Math.max(primer.start + shiftOf("primer:" + primer.room, "start"), afterBefore(before, primer), ...ahead));
    before = { layer: primer, end: when.end };
    const moved = { begun: when.start - primer.start, laid: when.end - primer.end };
    return { primer, ...when, moved: moved.begun,
      opens: primer.opens + moved[RULES.primer_opens], closes: primer.closes + moved[RULES.primer_closes] };
  });
});

// Before a floor is begun: what its first bucket must wait for, and until when.
function waitsOf(index) {
  const { room, number } = plan.buckets[index];
  if (number !== 1 || index in state.poured) return [];
  const found = [];
  const pour = taskAt(index, "pour");
  const primer = movedPrimers().find((each) => each.primer.room === room);
  if (primer !== undefined && pour < primer.opens) found.push({ key: "hold_primer", at: primer.opens, by_s: primer.opens - pour });
  if (primer !== undefined && pour > primer.closes) found.push({ key: "hold_old", at: primer.closes, by_s: 0 });
  const place = plan.ice.findIndex((item) => item.key === plan.rooms[room].key);
  const cold = place < 0 ? null : coldAt(place, index);
  const liquids = taskAt(index, "liquids");
  if (cold !== null && cold > liquids) {
    found.push({ key: "hold_ice" + (doneKeyOf(place) in state.done ? "d" : ""), at: cold, by_s: cold - liquids });
  }
  return found;
}

function doneKeyOf(place) {
  return "ice:" + place;
}

// Pails that came into the ice too late are cold at the soonest if they are stirred.
function coldAt(place, index) {
  const { by, stir } = plan.ice[place];
  const done = state.done[doneKeyOf(place)];
  const since = done === undefined ? now_s() : done;
  return since <= by ? null : since + plan.buckets[index].liquids - stir;
}

function mixedBatches(coat) {
  const name = coatKey(coat, "mixed") + ":";
  return Object.keys(state.done).filter((key) => key.startsWith(name))
    .map((key) => state.done[key]).sort((a, b) => a - b);
}

function movedOpenings() {
  const moved = plan.rooms.map((_, place) => roomShift(place).last);
  for (const item of movedCoats()) moved[item.coat.room] = item.end - item.coat.end;
  return plan.rooms.map((room, place) => ({ room, opens: room.opens + Math.max(0, moved[place]) }));
}

// Calls to come move with what they are for.
function callAt(item) {
  if (item.call <= now_s()) return item.call;
  const isOf = (place) => plan.rooms[place].name === item.room;
  let moved = 0;
  if (item.stage === "primer") moved = (movedPrimers().find(({ primer }) => isOf(primer.room)) || { moved }).moved;
  else if (item.stage === "cove") moved = (movedCoves().find(({ cove }) => isOf(cove.room)) || { moved }).moved;
  else if (item.stage === "pour") {
    const first = plan.buckets.findIndex((bucket) => isOf(bucket.room));
    if (first >= 0) moved = moveOf(first);
  } else {
    const number = item.stage === "vacuum" ? 1 : Number(item.stage.slice(-1));
    moved = (movedCoats().find(({ coat }) => isOf(coat.room) && coat.coat === number) || { moved }).moved;
  }
  return item.call + Math.max(0, moved);
}

function toggleDone(key, at = now_s()) {
  if (key in state.done) delete state.done[key];
  else state.done[key] = Math.round(at);
  save();
}
