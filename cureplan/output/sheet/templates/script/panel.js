// The panel "now and next", one for each language.
const MOST_NEXT = 5;
const ROLE_TASKS = {
  mixer: ["liquids", "filler"], runner: ["pour"], rake: ["rake"], smoother: ["smooth"],
  broadcaster: ["broadcast"], edge: ["tie"],
};

function makePanel(sheet) {
  const language = sheet.dataset.language;
  const panel = sheet.querySelector("[data-live]");
  const more = sheet.querySelector("[data-more]");
  const say = (key) => word(language, key, {});
  const button = (key, text, name) =>
    element("button", { type: "button", "data-do": key, "aria-label": say(name) }, text);
  const part = {
    language, panel, sheet,
    rehearsal: element("p", { class: "rehearsal" }, say("rehearsing")),
    clock: element("span", {}),
    siteTime: element("span", { class: "soft site-time" }),
    alerts: makeAlerts(language),
    edges: element("ul", { class: "edges" }),
    lateText: element("output", { class: "late-text" }),
    behind: element("p", { class: "behind" },
      element("span", {}), element("button", { type: "button", class: "plain", "data-do": "behind" })),
    effects: element("ul", { class: "effects" }),
    up: element("ul", { class: "hands" }),
    older: element("p", { class: "older" },
      element("span", {}), element("button", { type: "button", class: "plain", "data-do": "older" }, say("older_poured")),
      element("button", { type: "button", class: "plain", "data-not-mixed": "" }, say("not_mixed"))),
    tasks: element("ul", { class: "hands" }),
    floor: element("ul", { class: "hands" }),
    mineTitle: element("h3", {}),
    mine: element("ul", { class: "events" }),
    next: element("ul", { class: "events" }),
    clockOff: element("p", { class: "behind" },
      element("span", {}), element("button", { type: "button", class: "plain", "data-do": "clock" }),
      element("button", { type: "button", class: "plain", "data-do": "clockRight" }, say("clock_right"))),
    copy: element("button", { type: "button", class: "plain", "data-do": "copy" }),
    share: element("button", { type: "button", class: "plain", "data-do": "share" }, say("share")),
    noStore: element("p", { class: "behind" }, say("no_store")),
    clear: element("button", { type: "button", class: "plain", "data-hold": "clear" }, say("clear")),
    rehearse: element("button", { type: "button", class: "plain", "data-do": "rehearse" }),
    follows: element("p", { class: "soft follows" }),
    undo: sheet.querySelector("[data-do='undo']"),
    report: makeReport(language),
    log: makeLog(language),
  };
  const alarm = element("div", { role: "alert" }, part.edges);
  panel.append(part.rehearsal, element("p", { class: "clock" }, part.clock, " ", part.siteTime), part.noStore, part.clockOff, alarm, part.up, part.older, part.behind, part.tasks, part.floor);
  more.append(part.follows, part.alerts,
    element("div", { class: "late", role: "group", "aria-label": say("late") },
      element("span", { class: "late-label soft" }, say("late_label")), button("less", "−1", "less"), part.lateText, button("more", "+1", "more"),
      button("more5", "+5", "more5")),
    element("div", { role: "status" }, part.effects),
    part.mineTitle, part.mine, part.report.box, part.log.box,
    element("h3", {}, say("next")), part.next,
    element("p", { class: "tools" },
      element("button", { type: "button", class: "plain", "data-do": "back" }, say("back")),
      element("button", { type: "button", class: "plain", "data-do": "save" }, say("save")),
      part.copy, part.share,
      part.clear, part.rehearse));
  show(panel, true);
  show(more, true);
  return part;
}

function updatePanel(part, now, role) {
  const { language } = part;
  const here = local(now);
  const day = plan.words[language].weekdays.split(" ")[WEEKDAYS.indexOf(here.weekday)];
  put(part.clock, day + " " + wallText(here, ":" + here.second));
  put(part.siteTime, word(language, "site_time", {}));
  updateLate(part);
  const hand = bucketsInHand(now);
  const tasks = taskItems(language, now);
  settle(part, [...hand.up, ...hand.floor].map((item) => item.stage + item.index)
    .concat(hand.older.length, tasks.map((item) => item.key)).join(" "));
  const cards = (items) => items.map((item) => ({ ...item, language, now }));
  fill(part.edges, [...holdLines(language, now), ...edgeLines(language, now)], () => element("li", {}), put);
  fill(part.up, cards(hand.up).map((item, place) => ({ ...item, first: place === 0 })), bucketCard, changeCard);
  show(part.older, hand.older.length > 0);
  if (hand.older.length) {
    put(part.older.children[0], word(language, "older", { count: hand.older.length }));
    mark(part.older.children[2], "data-not-mixed", String(hand.older[0].index));
    show(part.older.children[2], !isPassed(hand.older[0].index));
  }
  fill(part.tasks, tasks, taskCard, changeTask);
  fill(part.floor, cards(hand.floor), bucketCard, changeCard);
  const mine = role === "all" ? [] : roleEvents(language, role, now);
  show(part.mineTitle, mine.length > 0);
  if (mine.length) {
    put(part.mineTitle, word(language, "mine", { role: word(language, "role." + role, {}) }));
  }
  fill(part.mine, mine, eventRow, changeEvent(language, now));
  const next = nextEvents(language, now);
  const over = { text: word(language, "over_all", {}), at: null };
  fill(part.next, next.length ? next : [over], eventRow, changeEvent(language, now));
  updateLog(part, now);
  updateTools(part, now);
  updateAlerts(part, now);
}

// After the list has moved, a finger on its way would hit another bucket.
const SETTLE_MS = 1000;

function settle(part, order) {
  if (part.order === order) return;
  if (part.order !== undefined) part.moved = Date.now();
  part.order = order;
}

function isSettling(part) {
  return part.moved !== undefined && Date.now() - part.moved < SETTLE_MS;
}

function coatName(language, coat) {
  return word(language, "coat", { number: coat.coat }) + ": " + plan.rooms[coat.room].name;
}

const TASK_BEFORE_S = 3600;

// What a person has to do besides the buckets: it stays until it is ticked.
function taskItems(language, now) {
  const items = plan.ice.map((item, place) => iceItem(language, now, item, place));
  for (const moved of movedCoves()) items.push(coveItem(language, now, moved));
  for (const moved of movedPrimers()) items.push(primerItem(language, now, moved));
  for (const moved of movedCoats()) items.push(coatItem(language, now, moved));
  return items.filter((item) => item !== null);
}

function iceItem(language, now, item, place) {
  const key = doneKeyOf(place);
  const done = state.done[key];
  const first = plan.buckets.findIndex((bucket) => plan.rooms[bucket.room].key === item.key);
  if (first < 0 || now < item.by - TASK_BEFORE_S || isBegun(first, "liquids")) return null;
  const cold = coldAt(place, first);
  const soon = done !== undefined && done <= item.stir;
  if (done !== undefined && (cold === null || (!soon && now >= cold))) return null;
  const overdue = now > item.by && !soon;
  const at = (instant, up) => whenText(language, instant, now, up);
  const lines = [item.load[language]];
  if (done !== undefined) {
    lines.unshift(word(language, soon ? "ice_in_stir" : "ice_in", { at: at(done, false), cold: at(cold, true), stir: at(item.stir, false) }));
  }
  if (done === undefined) lines.unshift(word(language, "ice_by", { at: at(item.by, false) }) + ", " + countdown(language, item.by, now));
  if (overdue && done === undefined) {
    const stir = now <= item.stir ? ["ice_stir", { at: at(item.stir, false) }] : ["ice_late", { at: at(cold, true) }];
    lines.push(word(language, ...stir));
  }
  return { key, language, overdue, title: word(language, "ice", {}) + ": " + item.room, lines, who: item.who,
    buttons: done === undefined ? inTime(key, "did", item.by, now) : [] };
}

// Whoever ticks late may have done it in time.
function inTime(key, what, due, now) {
  return now < due + RULES.late_after_s ? [[key, what]] : [[key, what], [key, what, Math.round(due)]];
}

// What lies over it shows that it is up.
function coveItem(language, now, { cove, begun, done, start, due, by }) {
  const first = plan.buckets.findIndex((bucket) => bucket.room === cove.room);
  const over = movedCoats().some((item) => item.coat.room === cove.room && item.begun !== undefined)
    || ("vacuumed:" + cove.room + ":1") in state.done
    || (cove.who !== "topcoat" && first >= 0 && isBegun(first, "liquids"));
  if (done !== undefined || over || now < start - TASK_BEFORE_S) return null;
  const key = (what) => what + ":" + cove.room + ":1";
  const asked = begun === undefined && isTold("coving", "coved") && now >= due;
  const lines = [word(language, asked ? "coat_asked" : "until", { at: whenText(language, asked ? due : by, now, true) })];
  const name = word(language, "cove", {}) + ": " + plan.rooms[cove.room].name;
  const steps = begun === undefined ? ["coving", "coved"] : ["coved"];
  return { key: key("cove"), language, lines, who: cove.who, overdue: asked || now >= by,
    buttons: steps.flatMap((what) => inTime(key(what), what, what === "coving" ? due : by, now)),
    title: name + (!asked && now < start ? ", " + whenText(language, start, now, true) : "") };
}

// Until its floor is poured it says when that may be done.
function primerItem(language, now, { primer, begun, done, start, due, by, opens, closes }) {
  const first = plan.buckets.findIndex((bucket) => bucket.room === primer.room);
  if (now < start - TASK_BEFORE_S || first < 0 || isBegun(first, "liquids")) return null;
  const name = word(language, "primer", {}) + ": " + plan.rooms[primer.room].name;
  const at = (instant, up) => whenText(language, instant, now, up);
  const waits = done !== undefined;
  const asked = begun === undefined && !waits && isTold("priming", "primed") && now >= due;
  const lines = [word(language, "primer_window", { opens: at(opens, true), closes: at(closes, false) })];
  if (asked) lines.unshift(word(language, "coat_asked", { at: at(due, true) }));
  else if (!waits) lines.unshift(word(language, "until", { at: at(by, true) }));
  const pour = taskAt(first, "pour");
  if (waits && pour >= opens && pour <= closes && pour - now > TASK_BEFORE_S) return null;
  if (pour < opens) lines.push(word(language, "primer_wet", {}));
  if (pour > closes) lines.push(word(language, "primer_old", {}));
  const key = (what) => what + ":" + primer.room + ":1";
  const steps = waits ? [] : begun === undefined ? ["priming", "primed"] : ["primed"];
  const buttons = steps.flatMap((what) => inTime(key(what), what, what === "priming" ? due : by, now));
  return { key: key("primer"), language, lines, who: "primer", title: name + (!asked && now < start ? ", " + at(start, true) : ""),
    overdue: asked || (!waits && now >= by) || pour < opens || pour > closes, buttons };
}

function coatItem(language, now, item) {
  const { coat, opens, closes, start, due, by, begun, done } = item;
  if (done !== undefined || now < start - TASK_BEFORE_S) return null;
  const at = (instant, up) => whenText(language, instant, now, up);
  const lines = [];
  const asked = begun === undefined && coatsTold() && now >= due;
  if (begun !== undefined || (!asked && start <= now && now < by)) {
    lines.push(word(language, "until", { at: at(by, true) }));
  }
  if (asked) lines.push(word(language, "coat_asked", { at: at(due, true) }));
  const batches = begun === undefined ? [] : mixedBatches(coat);
  if (batches.length) {
    const ends = batches[batches.length - 1] + coat.pot_s;
    const values = { number: batches.length, count: coat.batches, at: at(ends, false) };
    lines.push(now < ends ? word(language, "pot", values) + ", " + countdown(language, ends, now) : word(language, "pot_over", values));
  }
  if (begun === undefined) {
    lines.push(word(language, "not_before", { at: at(opens, true) })
      + (now < opens ? ", " + countdown(language, opens, now) : ""));
    lines.push(word(language, "not_after", { at: at(closes, false) }) + ", " + countdown(language, closes, now));
    if (now < opens) lines.push(word(language, "coat_wait", {}));
    if (now > closes) lines.push(word(language, "coat_gone", {}));
  } else if (begun > closes || begun < opens) {
    lines.push(word(language, "coat_outside", {}));
  }
  const steps = begun !== undefined ? ["laid"] : coat.coat === 1 ? ["vacuumed", "begun"] : ["begun"];
  const buttons = steps.filter((what) => !(coatKey(coat, what) in state.done))
    .flatMap((what) => inTime(coatKey(coat, what), what, what === "begun" ? due : what === "laid" ? by : Infinity, now));
  if (begun !== undefined) buttons.unshift([coatKey(coat, "mixed") + ":" + (batches.length + 1), "mixed"]);
  const text = coatName(language, coat) + (begun === undefined && !asked && !(start <= now && now < by)
    ? ", " + at(start, true) : "");
  return { key: coatKey(coat, "coat"), language, overdue: now > closes || asked || (begun !== undefined && now >= by),
    title: text, lines, buttons, who: "topcoat" };
}

function taskCard() {
  return element("li", { class: "in-hand task" }, element("p", { class: "hand-top" }, element("strong", {}), element("span", { class: "soft" })),
    element("ul", { class: "task-lines" }), element("p", { class: "hand-buttons" }));
}

function changeTask(card, { language, title, lines, overdue, buttons, who }) {
  card.classList.toggle("is-late", overdue);
  put(card.children[0].children[1], whoName(language, who));
  put(card.children[0].firstElementChild, (overdue ? "▲ " : "") + title);
  fill(card.children[1], lines, () => element("li", {}), put);
  show(card.children[2], buttons.length > 0);
  fill(card.children[2], buttons, () => element("button", { type: "button" }), (button, [key, what, at]) => {
    const text = word(language, "do_" + what, {}) + (at === undefined ? "" : " " + whenText(language, at, now_s(), what !== "did"));
    mark(button, "data-task-done", key);
    mark(button, "data-at", at === undefined ? "" : String(at));
    mark(button, "aria-label", text + ": " + title);
    put(button, text);
  });
}

// A role, or somebody's own name.
function whoName(language, who) {
  return "role." + who in plan.words[language] ? word(language, "role." + who, {}) : who;
}

function updateLate(part) {
  const { language } = part;
  const minutes = Math.round(state.late_s / 60);
  const key = minutes === 0 ? "on_time" : minutes > 0 ? "late_by" : "early_by";
  put(part.lateText, word(language, key, { minutes: Math.abs(minutes) }));
  part.lateText.classList.toggle("is-late", minutes !== 0);
  updateClockOff(part, language);
  const behind = clockOff() === null ? mustWait() || behindPlan() : null;
  show(part.behind, behind !== null);
  if (behind !== null) {
    put(part.behind.children[0], word(language, behind.key, behind));
    put(part.behind.children[1], word(language, "behind_set", { minutes: behind.late }));
    mark(part.behind.children[1], "data-late", String(behind.late));
  }
  const lines = [...adviceLines(language, now_s()), ...effectLines(language)];
  fill(part.effects, lines, () => element("li", {}), put);
}

// A floor that cannot be begun yet moves the plan by as much.
function mustWait() {
  const found = firstToWait(now_s());
  const by_s = found === null ? 0 : Math.max(...found.waits.map((wait) => wait.by_s));
  if (by_s <= 0) return null;
  const minutes = Math.ceil(by_s / 60);
  return { key: "behind_wait", room: plan.rooms[plan.buckets[found.index].room].name, minutes,
    late: Math.round(state.late_s / 60) + minutes };
}

// The bucket ticked last, where its tick came more than a minute after its time.
function behindPlan() {
  // One yet to come is of another phone, whose clock is ahead.
  const ticked = Object.keys(state.poured).map(Number).filter((index) => state.poured[index] <= now_s() + 60);
  if (!ticked.length) return null;
  const last = ticked.reduce((a, b) => (state.poured[a] >= state.poured[b] ? a : b));
  const late = Math.ceil((state.poured[last] - plan.buckets[last].pour) / 60);
  const minutes = late - Math.round(state.late_s / 60);
  if (minutes < 2 || state.poured[last] < now_s() - 600) return null;
  return { key: "behind", number: plan.buckets[last].number, minutes, late };
}

// Ticks a whole hour or more off their times: rather the phone's clock than the crew, which may
// be late besides. One tick is enough where it is hardly late; more must keep step with it.
function clockOff() {
  if (state.clock_right) return null;
  const ticked = logEntries().filter((entry) => entry.event === "poured" && isOwn(entry)).map(({ index }) => index)
    .sort((a, b) => plan.buckets[a].pour - plan.buckets[b].pour).slice(0, 3);
  const off = ticked.map((index) => state.poured[index] - plan.buckets[index].pour - state.late_s);
  const near = RULES.clock_near_s;
  const least = Math.min(...off);
  const steady = off.length > 1 && Math.max(...off) - least <= near / 2;
  const whole = Math.round((least - near / 2) / 3600);
  const half = Math.round(2 * least / 3600) / 2;
  const fits = (hours, most) => hours !== 0 && Math.abs(hours) <= 14
    && least - 3600 * hours >= -near && least - 3600 * hours <= most;
  let hours = null;
  if (off.length && fits(whole, steady ? 2.5 * near : near)) hours = whole;
  else if (off.length > 2 && steady && Math.abs(least - 3600 * half) <= near / 2 && half !== 0) hours = half;
  if (hours === null) return null;
  const { number, pour } = plan.buckets[ticked[0]];
  return { hours, number, at: clockText(pour) };
}

// All that this phone wrote down moves with its clock.
function shiftClock(hours) {
  const by_s = 3600 * hours;
  state.clock_s += by_s;
  for (const entry of logEntries().filter(isOwn)) setAt(entry, entry.at + by_s);
  save();
}

function updateClockOff(part, language) {
  const off = clockOff();
  show(part.clockOff, off !== null);
  if (off === null) return;
  const hours = (Math.trunc(Math.abs(off.hours)) || "") + (off.hours % 1 ? "½" : "");
  put(part.clockOff.children[0], word(language, off.hours > 0 ? "clock_ahead" : "clock_behind", { ...off, hours }));
  put(part.clockOff.children[1], word(language, "clock_set", { hours: (off.hours > 0 ? "−" : "+") + hours }));
  mark(part.clockOff.children[1], "data-hours", String(-off.hours));
}

function effectLines(language) {
  if (state.late_s === 0 && !Object.keys(state.fixed).length && !coatsTold()) return [];
  const lines = [];
  plan.buckets.forEach((bucket, index) => {
    const margin = marginOf(index);
    if (margin >= bucket.margin_s || margin >= Math.floor(plan.policy_s)) return;
    const values = { bucket: bucketName(language, index) };
    if (margin < 0) values.minutes = Math.ceil(-margin / 60);
    else values.minutes = Math.floor(margin / 60);
    lines.push(word(language, margin < 0 ? "effect_short" : "effect_tight", values));
  });
  if (!lines.length && state.late_s !== 0) lines.push(word(language, "effect_none", {}));
  const now = now_s();
  for (const item of movedCoats()) {
    const values = {
      coat: word(language, "coat", { number: item.coat.coat }),
      room: plan.rooms[item.coat.room].name,
    };
    if (item.start > item.closes && item.moved > 0) {
      lines.push(word(language, "effect_coat_lost",
        { ...values, at: whenText(language, item.closes, now, false) }));
    } else if (item.moved > 0) {
      lines.push(word(language, "effect_coat",
        { ...values, at: whenText(language, item.start, now, true) }));
    }
  }
  for (const { room, opens } of movedOpenings()) {
    if (opens > room.open_by && room.opens <= room.open_by) {
      lines.push(word(language, "effect_open",
        { room: room.name, at: whenText(language, opens, now, true) }));
    }
  }
  if (Math.abs(state.late_s) >= 1800) lines.push(word(language, "effect_replan", {}));
  return lines;
}

function nextEvents(language, now) {
  const name = (room) => plan.rooms[room].name;
  const events = plan.ice.map((item) => (
    { at: item.by, text: word(language, "ice", {}) + ": " + item.room }));
  for (const item of firstCalls()) {
    events.push({ at: callAt(item), text: word(language, "crew", {}) + ": " + item.room });
  }
  plan.rooms.forEach((room, place) => {
    const first = plan.buckets.findIndex((bucket) => bucket.room === place);
    if (first >= 0) {
      events.push({
        at: taskAt(first, "liquids"),
        text: word(language, "first", {}) + ": " + room.name,
      });
    }
  });
  for (const { cove, start } of movedCoves()) {
    events.push({ at: start, up: true, text: word(language, "cove", {}) + ": " + name(cove.room) });
  }
  for (const { primer, start } of movedPrimers()) {
    events.push({ at: start, up: true, text: word(language, "primer", {}) + ": " + name(primer.room) });
  }
  for (const item of movedCoats()) {
    const coat = word(language, "coat", { number: item.coat.coat });
    events.push({ at: item.start, up: true, text: coat + ": " + name(item.coat.room) });
  }
  plan.rooms.forEach((room, place) => {
    events.push({ at: walkAt(place), up: true, text: word(language, "walk", {}) + ": " + room.name });
  });
  for (const { room, opens } of movedOpenings()) {
    events.push({ at: opens, up: true, text: word(language, "opens", {}) + ": " + room.name });
  }
  return upcoming(events, now);
}

// When the first of a crew is called to a floor; each role's own call stands in its view.
// Who vacuums or puts up cove stays for the layer after it.
function firstCalls() {
  const seen = new Set();
  return plan.calls.filter((item) => {
    const stage = item.stage === "vacuum" ? "coat 1" : item.stage;
    const keys = [item.room + "|" + stage, item.room + "|" + item.call];
    const known = keys.some((key) => seen.has(key));
    for (const key of keys) seen.add(key);
    return !known;
  });
}

const CALLED_WITH = { topcoat: ["topcoat", "vacuum", "squeegee", "cut-in", "back-roll"] };

function roleEvents(language, role, now) {
  const events = [];
  for (const item of plan.calls) {
    if (!(CALLED_WITH[role] || [role]).includes(item.role)) continue;
    const values = { role: word(language, "role." + item.role, {}), people: item.people };
    events.push({ at: callAt(item), text: word(language, "call", values) + ": " + item.room });
  }
  for (const task of ROLE_TASKS[role] || []) {
    plan.buckets.forEach((bucket, index) => {
      const at = taskAt(index, task);
      if (at !== null) {
        events.push({ at, text: word(language, task, {}) + ": " + bucketName(language, index) });
      }
    });
  }
  for (const item of role === "topcoat" ? movedCoats() : []) {
    const coat = word(language, "coat", { number: item.coat.coat });
    events.push({ at: item.start, up: true, text: coat + ": " + plan.rooms[item.coat.room].name });
  }
  return upcoming(events, now);
}

function upcoming(events, now) {
  return events.filter((event) => event.at > now - 30).sort((a, b) => a.at - b.at).slice(0, MOST_NEXT);
}

function eventRow() {
  return element("li", {}, element("span", { class: "event-at" }),
    element("span", { class: "event-text" }), element("span", { class: "event-in soft" }));
}

function changeEvent(language, now) {
  return (row, event) => {
    put(row.children[0], event.at === null ? "" : whenText(language, event.at, now, event.up === true));
    put(row.children[1], event.text);
    put(row.children[2], event.at === null ? "" : countdown(language, event.at, now));
  };
}

function updateTools(part, now) {
  const { language } = part;
  updateUndo(part);
  show(part.share, Boolean(navigator.share));
  put(part.copy, word(language, copyWords(), {}));
  show(part.rehearsal, rehearsing);
  show(part.noStore, !keeps);
  show(part.follows, plan.night !== null);
  if (plan.night !== null) {
    put(part.follows, word(language, "follows", { at: clockText(plan.night.until) }));
  }
  const first = plan.buckets.length ? plan.buckets[0].liquids : 0;
  const last = plan.buckets.reduce((at, bucket) => Math.max(at, bucket.surface_closes), 0);
  const quiet = now < first - 3600 || now > last;
  show(part.rehearse, plan.buckets.length > 0 && (rehearsing || quiet));
  put(part.rehearse, word(language, rehearsing ? "rehearse_stop" : "rehearse", {}));
}
