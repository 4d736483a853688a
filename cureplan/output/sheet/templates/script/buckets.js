// Which buckets are in hand, their cards, and what the open edges ask for.
const SHOWN_BEFORE_S = 20 * 60;
const MOST_LATE = 2;

// Nothing is taken as poured before somebody says so.
function stageOf(index, now) {
  if (index in state.poured) return now >= taskAt(index, "broadcast") ? "done" : "floor";
  if (isBegun(index, "filler")) {
    return now >= taskAt(index, "pour") + RULES.late_after_s ? "late" : "pail";
  }
  return isBegun(index, "liquids") ? "mixing" : "mix";
}

// A phone that nobody ticks on asks only while there is something left to save.
function isAsked(index, now) {
  return Object.keys(state.poured).length > 0 || now < clockEnd(index, CLOCKS[2]);
}

const ORDER = ["pail", "late", "mixing", "mix"];

function bucketsInHand(now) {
  const hand = { up: [], floor: [], older: [] };
  let nextTaken = false;
  plan.buckets.forEach((_, index) => {
    const stage = stageOf(index, now);
    if (stage === "floor") hand.floor.push({ index, stage });
    if (stage === "late" && isAsked(index, now)) hand.up.push({ index, stage });
    if (stage === "pail" || stage === "mixing") hand.up.push({ index, stage });
    if (stage === "mix" && !nextTaken) {
      nextTaken = true;
      if (taskAt(index, "liquids") - now < SHOWN_BEFORE_S) hand.up.push({ index, stage });
    }
  });
  const late = hand.up.filter((item) => item.stage === "late");
  // What is long set is asked about in one line.
  hand.older = late.filter(({ index }, place) => place < late.length - MOST_LATE || now > clockEnd(index, CLOCKS[2]) + RULES.kept_s);
  const rank = (item) => ORDER.indexOf(labelOf(item.index, item.stage, now));
  hand.up = hand.up.filter((item) => !hand.older.includes(item)).sort((a, b) => rank(a) - rank(b));
  return hand;
}

function dueTask(index, stage, now) {
  if (stage === "pail" || stage === "late") return { task: "pour", at: taskAt(index, "pour") };
  for (const task of TASKS) {
    const at = taskAt(index, task);
    if (at !== null && at > now - 30 && !(index in state.poured && BEFORE_FLOOR.includes(task))) {
      return { task, at };
    }
  }
  return null;
}

// The filler is mixed for minutes after it went in; only then is there something to pour.
const POURED_WITHIN_S = 60;

function labelOf(index, stage, now) {
  if (stage !== "pail") return stage;
  return taskAt(index, "pour") - now > POURED_WITHIN_S ? "mixing" : "pail";
}

function bucketCard() {
  const button = (name, look) => element("button", { type: "button", class: look, ["data-" + name]: "" });
  return element("li", { class: "in-hand" },
    element("p", { class: "hand-top" },
      element("span", { class: "tag" }), element("strong", {}), element("span", { class: "soft" })),
    element("p", { class: "hand-due" }),
    element("p", { class: "hand-where" }),
    element("ul", { class: "meters" }),
    element("p", { class: "hand-buttons" },
      button("pour", "big"), button("on-time", "plain"), button("lost", "plain"), button("not-mixed", "plain"), button("short", "plain")),
    drawn("svg", { class: "here drawing", role: "img" }, drawn("use"), drawn("path", { class: "here-patch" })));
}

// The room's map with this bucket's patch marked.
function changeMap(map, language, index, shown) {
  const bucket = plan.buckets[index];
  const of = plan.rooms[bucket.room].map;
  map.classList.toggle("gone", !shown || of === null);
  if (!shown || of === null) return;
  mark(map, "viewBox", of.size);
  mark(map, "aria-label", word(language, "map", { bucket: bucketName(language, index) }));
  mark(map.children[0], "href", "#" + of.drawing);
  mark(map.children[1], "d", of.patches[bucket.number - 1]);
}

function meterRow() {
  return element("li", {},
    element("span", { class: "meter-name" }),
    element("span", { class: "meter-bar", "aria-hidden": "true" }, element("span", {})),
    element("span", { class: "meter-left" }),
    element("button", { type: "button", class: "plain went", "aria-pressed": "false" }));
}

// When a clock ends, or was seen to end before that.
function endOf(index, clock) {
  const end = clockEnd(index, clock);
  const went = wentAt(index, clock.clock);
  return went < 0 ? end : Math.min(end, state.events[went].at);
}

function changeMeter(row, item) {
  const { language, index, clock, now } = item;
  const end = endOf(index, clock);
  const left = end - now;
  const whole = plan.buckets[index][clock.ends] - plan.buckets[index].filler;
  put(row.children[0], word(language, clock.clock, {}));
  row.children[1].firstElementChild.style.width =
    Math.max(0, Math.min(100, (100 * left) / whole)) + "%";
  row.children[1].firstElementChild.className = "fill-" + clock.clock;
  const key = left < 0 ? "over" : "left";
  const minutes = left < 0 ? Math.ceil(-left / 60) : Math.floor(left / 60);
  const mood = left < 0 ? "▲ " : left < RULES.edge_soon_s ? "◆ " : "";
  put(row.children[2], mood + word(language, key, { minutes }));
  row.classList.toggle("ending", left < RULES.edge_soon_s);
  changeWent(row.children[3], item);
}

function changeWent(button, { language, index, clock }) {
  const place = wentAt(index, clock.clock);
  const text = place < 0 ? word(language, "ended", {}) :
    word(language, "ended_at", { at: clockText(state.events[place].at) });
  mark(button, "data-went", clock.clock);
  mark(button, "data-index", String(index));
  mark(button, "aria-pressed", String(place >= 0));
  mark(button, "aria-label", text + ": " + word(language, clock.clock, {}) + ", " + bucketName(language, index));
  put(button, text);
  show(button, index in state.poured);
}

function dueText({ language, index, stage, now }) {
  const next = dueTask(index, stage, now);
  if (next === null) return word(language, "done", {});
  const label = labelOf(index, stage, now);
  if (label === "late") {
    return word(language, "late_asked", { minutes: Math.floor((now - next.at) / 60) });
  }
  const what = label === "pail" ? "pour_now" : next.task;
  if (label === "pail" && next.at <= now) return word(language, what, {}) + " " + clockText(next.at);
  return word(language, what, {}) + " " + clockText(next.at) + ", " + countdown(language, next.at, now);
}

// An edge that the next bucket has met asks for nothing any more.
function isTiedIn(index, clock, now) {
  const { by } = plan.buckets[index];
  return clock === CLOCKS[0] && by in state.poured && now >= taskAt(index, clock.kept_by);
}

const WHO = { mix: "mixer", mixing: "mixer", pail: "runner", late: "runner" };

function changeCard(card, item) {
  const { language, index, stage, now, first } = item;
  const [top, due, where, meters, buttons, map] = card.children;
  const bucket = plan.buckets[index];
  const label = labelOf(index, stage, now);
  card.classList.toggle("now", first === true);
  card.classList.toggle("is-late", stage === "late");
  put(top.children[0], word(language, label === "late" ? "overdue" : label, {}));
  put(top.children[1], bucketName(language, index));
  const extra = stage === "floor" ? [] : [word(language, "station", { number: bucket.station })];
  if (bucket.iced && stage !== "floor") extra.push(word(language, "iced", {}));
  put(top.children[2], extra.join(", "));
  put(due, dueText(item));
  const place = [word(language, "patch", { bay: bucket.bay, row: bucket.row })];
  if (WHO[label]) place.push(word(language, "role." + WHO[label], {}));
  put(where, place.join(", "));
  const running = isBegun(index, "filler");
  // What comes next only says what and where.
  const shown = running && (first === true || stage === "floor" || stage === "late");
  const clocks = CLOCKS.filter((clock) => shown && bucket[clock.kept_by] !== null && !isTiedIn(index, clock, now));
  fill(meters, clocks.map((clock) => ({ language, index, clock, now })), meterRow, changeMeter);
  changeButtons(buttons, language, index, stage);
  changeMap(map, language, index, first === true);
}

function changeButtons(buttons, language, index, stage) {
  const [pour, onTime, lost, unmixed, short] = buttons.children;
  const mixed = stage === "pail" || stage === "late";
  mark(pour, "data-pour", String(index));
  put(pour, word(language, stage === "late" ? "poured_now" : "poured", {}));
  show(pour, mixed);
  mark(onTime, "data-on-time", String(index));
  put(onTime, word(language, "poured_at", { at: clockText(taskAt(index, "pour")) }));
  show(onTime, stage === "late");
  mark(lost, "data-lost", String(index));
  put(lost, word(language, "lost", {}));
  show(lost, mixed);
  mark(unmixed, "data-not-mixed", String(index));
  put(unmixed, word(language, "not_mixed", {}));
  show(unmixed, (mixed || stage === "mixing") && !isPassed(index));
  mark(short, "data-short", String(index));
  const marked = index in state.short;
  mark(short, "aria-pressed", String(marked));
  put(short, marked ? "▲ " + word(language, "ran_short", {}) : word(language, "mark_short", {}));
  show(short, stage === "floor");
  show(buttons, stage !== "mix");
}

// One line for each open edge that is dead or nearly so, the worst first.
function edgeLines(language, now) {
  const found = [];
  for (const index of Object.keys(state.poured).map(Number)) {
    const { by, bay, row } = plan.buckets[index];
    if (by === null) continue;
    const died = endOf(index, CLOCKS[0]);
    const left = (by in state.poured ? state.poured[by] : now) - died;
    if (left < -RULES.edge_soon_s || now > died + RULES.kept_s) continue;
    const values = { bucket: bucketName(language, index), bay, row,
      next: plan.buckets[by].number, minutes: left > 0 ? Math.ceil(left / 60) : Math.floor(-left / 60) };
    if (!(by in state.poured)) found.push({ left, key: left > 0 ? "edge_dead" : "edge_soon", values });
    else if (left > 0) found.push({ left, key: "edge_seam", values });
  }
  return found.sort((a, b) => b.left - a.left).slice(0, 2)
    .map(({ key, values }) => word(language, key, values));
}

// What speaks against mixing the first bucket of a floor that comes next, or is under way.
function firstToWait(now) {
  const index = plan.buckets.findIndex((bucket, place) => bucket.number === 1 && !(place in state.poured)
    && taskAt(place, "liquids") - now < SHOWN_BEFORE_S && now < clockEnd(place, CLOCKS[2]) && waitsOf(place).length);
  return index < 0 ? null : { index, waits: waitsOf(index) };
}

function holdLines(language, now) {
  const found = firstToWait(now);
  if (found === null) return [];
  const room = plan.rooms[plan.buckets[found.index].room].name;
  return found.waits.map(({ key, at }) => word(language, key, { room, at: whenText(language, at, now, key !== "hold_old") }));
}

// What to do about a kit that was lost or ran short, while it matters.
function adviceLines(language, now) {
  const lines = [];
  for (const [index, losses] of Object.entries(state.lost)) {
    for (const loss of losses.filter(({ at }) => now - at < RULES.kept_s)) {
      const { bay, row } = plan.buckets[index];
      lines.push(word(language, "lost_advice", { bucket: bucketName(language, Number(index)), bay, row }));
    }
  }
  for (const [index, at] of Object.entries(state.short)) {
    if (now - at < RULES.kept_s) {
      lines.push(word(language, "short_advice", { bucket: bucketName(language, Number(index)) }));
    }
  }
  return lines;
}
