// What has happened and how late we are. Only sums and differences of the plan's instants.
const TASKS = ["liquids", "filler", "pour", "rake", "smooth", "tie", "broadcast"];
const CLOCKS = [
  { name: "wet", end: "wet_end", task: "tie" },
  { name: "work", end: "work_end", task: "smooth" },
  { name: "stone", end: "stone_end", task: "broadcast" },
];
const BEFORE_FLOOR = ["liquids", "filler", "pour"];

let rehearsal_s = 0;
let rehearsing = false;
let keeps = true;
let state = fresh();

function fresh() {
  return {
    version: 1, plan: plan.id, late_s: 0, fixed: {}, poured: {}, short: {}, events: [],
    // By these a later plan of the same night knows the buckets again.
    keys: plan.buckets.map((_, index) => bucketKey(index)),
  };
}

function now_s() {
  return Date.now() / 1000 + rehearsal_s;
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

function load() {
  const kept = read(storeName());
  if (kept && kept.version === 1 && kept.plan === plan.id) state = { ...fresh(), ...kept };
  else state = rehearsing ? fresh() : takenOver();
}

function save() {
  write(storeName(), state);
}

// Lateness counts for what is still to come; what is done keeps the lateness it was done at.
function shiftOf(index, task) {
  const fixed = state.fixed[index];
  return fixed && task in fixed ? fixed[task] : state.late_s;
}

function fix(index, task) {
  const fixed = state.fixed[index] || (state.fixed[index] = {});
  if (!(task in fixed)) fixed[task] = state.late_s;
}

function taskAt(index, task) {
  const at = plan.buckets[index][task];
  return at === null ? null : at + shiftOf(index, task);
}

// A clock starts when the filler goes in, so it runs late only if the filler did.
function clockEnd(index, clock) {
  return plan.buckets[index][clock.end] + shiftOf(index, "filler");
}

function leastGap(index, shifted) {
  const bucket = plan.buckets[index];
  const gaps = CLOCKS.filter((clock) => bucket[clock.task] !== null).map((clock) =>
    shifted
      ? clockEnd(index, clock) - taskAt(index, clock.task)
      : bucket[clock.end] - bucket[clock.task]);
  return Math.min(...gaps);
}

function marginOf(index) {
  return plan.buckets[index].margin_s + leastGap(index, true) - leastGap(index, false);
}

function setLate(late_s) {
  const now = now_s();
  plan.buckets.forEach((bucket, index) => {
    for (const task of TASKS) {
      if (bucket[task] !== null && bucket[task] + shiftOf(index, task) <= now) fix(index, task);
    }
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

// A tick that was forgotten keeps the plan's step with its neighbours.
function pouredWhen(index) {
  const { before, after } = tickedBeside(index);
  const pour = (other) => plan.buckets[other].pour;
  if (after === undefined) return Math.round(now_s());
  if (before === undefined) return state.poured[after] - (pour(after) - pour(index));
  const share = (pour(index) - pour(before)) / (pour(after) - pour(before));
  return Math.round(state.poured[before] + share * (state.poured[after] - state.poured[before]));
}

// Several ticked in one go: the last is right, those before it kept the plan's step.
function settleEarlier(index) {
  const { before } = tickedBeside(index);
  if (before === undefined || (plan.night !== null && before in plan.night.poured)) return;
  const step = plan.buckets[index].pour - plan.buckets[before].pour;
  if (state.poured[index] - state.poured[before] >= step / 2) return;
  state.poured[before] = state.poured[index] - step;
  settleEarlier(before);
}

function setPoured(index, poured) {
  if (poured) {
    state.poured[index] = pouredWhen(index);
    settleEarlier(index);
    for (const task of BEFORE_FLOOR) fix(index, task);
  } else {
    delete state.poured[index];
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

// How far the coats move: opened by the latest bucket of a floor, closed by its earliest.
function roomShift(room) {
  const shifts = plan.buckets
    .map((bucket, index) => (bucket.room === room ? shiftOf(index, "filler") : null))
    .filter((shift) => shift !== null);
  if (!shifts.length) return { first: 0, last: 0 };
  return { first: Math.min(...shifts), last: Math.max(...shifts) };
}

function movedCoats() {
  const carried = {};
  return plan.coats.map((coat) => {
    const below = carried[coat.room] || roomShift(coat.room);
    const opens = coat.opens + below.last;
    const closes = coat.closes + below.first;
    const start = Math.max(coat.start, opens);
    const moved = start - coat.start;
    carried[coat.room] = { first: moved, last: moved };
    return { coat, opens, closes, start, end: coat.end + moved, moved };
  });
}

function movedOpenings() {
  const moved = plan.rooms.map((_, place) => roomShift(place).last);
  for (const item of movedCoats()) moved[item.coat.room] = item.moved;
  return plan.rooms.map((room, place) => ({ room, opens: room.opens + Math.max(0, moved[place]) }));
}
