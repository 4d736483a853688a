// In step with the desk and the other phones. Only in a sheet that a desk serves; it stands
// after all the sheet's own script and uses its words, its state and its log.
const desk = JSON.parse(document.getElementById("desk-data").textContent);
// A phone finds the sheet at the top, the desk's own browser under its job.
const HOME = location.pathname.replace(/\/sheet(\/[0-9a-f]*)?$/, "/");
const BOOK = "cureplan:desk:" + desk.night;
const MOST_AT_ONCE = 200;
const SOON_MS = 1000;
const IDLE_MS = 10000;
const MISSED_MS = 12000;

// What the desk has said, and what it is yet to hear. Entries by id, in the desk's words.
let book = soundBook(read(BOOK));
let reach = "away";
let refusal = "";
let news = null;
let replaying = false;
// The log as it was last agreed with the state: by name its id, null for the plan's own.
let agreed = new Map();
let agreedLate_s = 0;

function soundBook(kept) {
  const book_ = { boot: "", version: 0, you: "", entries: {}, outbox: [], seen: "" };
  if (kept === null || typeof kept !== "object") return book_;
  const isOp = (op) => op && typeof op === "object" && typeof op.id === "string"
    && (["strike", "back"].includes(op.kind) || (op.kind === "add" && op.entry && typeof op.entry.event === "string"));
  const texts = picked(kept, (key) => ["boot", "you", "seen"].includes(key), (value) => typeof value === "string");
  const entries = picked(kept.entries, () => true, (entry) => entry && typeof entry.event === "string");
  const outbox = Array.isArray(kept.outbox) ? kept.outbox.filter(isOp) : [];
  return { ...book_, ...texts, entries, outbox, version: Number.isInteger(kept.version) ? kept.version : 0 };
}

// A second page of this phone may have written there as well: nothing unsent is lost.
function keepBook() {
  const other = soundBook(read(BOOK));
  const own = new Set(book.outbox.map(opName));
  book.outbox.push(...other.outbox.filter((op) => !own.has(opName(op)) && !sent.has(opName(op)) && !isHeard(op)));
  write(BOOK, book);
}

const sent = new Set();
const opName = (op) => op.turn;
const isHeard = (op) => op.kind === "add" && op.id in book.entries;

function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(12));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

const nameOf = (entry) =>
  [Math.floor(entry.at), entry.event, entry.room || "", entry.bucket || "", entry.value || ""].join("|");

// Everything that counts, in the desk's order; what is not sent yet comes last.
function counting() {
  const struck = new Map();
  for (const op of book.outbox) if (op.kind !== "add") struck.set(op.id, op.kind === "strike");
  const isOut = (id, before) => (struck.has(id) ? struck.get(id) : before);
  const heard = Object.values(book.entries)
    .filter((entry) => entry.standing === "counts" && !isOut(entry.id, entry.struck !== ""))
    .sort((a, b) => a.number - b.number);
  const own = book.outbox.filter((op) => op.kind === "add" && !isHeard(op) && !isOut(op.id, false));
  return [...heard, ...own.map((op) => ({ ...op.entry, id: op.id, author: book.you }))].map((entry) => ({
    ...entry, at: Math.floor(Date.parse(entry.at) / 1000), bucket: entry.bucket ? Number(entry.bucket) : null,
  })).filter((entry) => Number.isFinite(entry.at));
}

// The state follows from the entries alone, so that every phone comes to the same.
function replay() {
  const was = state;
  const shift_s = rehearsal_s;
  const places = new Map(plan.buckets.map((_, index) => [bucketKey(index), index]));
  replaying = true;
  state = { ...fresh(), clock_s: was.clock_s, clock_right: was.clock_right };
  begin(places);
  for (const entry of counting()) {
    rehearsal_s = entry.at - Date.now() / 1000 - state.clock_s;
    const index = places.get(entry.room + "|" + entry.bucket);
    if (entry.event === "late") setLate(Number(entry.value) || 0);
    else if (!agreed.has(nameOf(entry))) apply(entry, index);
    if (entry.event !== "late") agreed.set(nameOf(entry), entry.id);
  }
  rehearsal_s = shift_s;
  replaying = false;
  agreedLate_s = state.late_s;
  write(storeName(), state);
}

// A plan made on the night tells by itself what it was made from.
function begin(places) {
  agreed = new Map();
  if (plan.night === null) return;
  Object.assign(state.poured, plan.night.poured);
  for (const entry of plan.night.log) take(state, entry, places);
  for (const index of Object.keys(state.poured)) {
    state.fixed[index] = Object.fromEntries(BEFORE_FLOOR.map((task) => [task, 0]));
  }
  for (const entry of logEntries()) agreed.set(nameOf(entry), null);
}

function apply(entry, index) {
  const { event, at } = entry;
  if (event === "poured") {
    if (index === undefined || index in state.poured) return;
    for (const task of BEFORE_FLOOR) fix(index, task);
    state.poured[index] = at;
  } else if (event === "ran short") {
    if (index !== undefined) state.short[index] = at;
  } else if (event === "lost") {
    if (index !== undefined) applyLost(index, entry);
  } else if (Object.values(DONE_EVENTS).includes(event)) {
    state.done[doneKey(entry)] = at;
  } else {
    const { room, bucket, value, note: words } = entry;
    if (isEvent({ at, event, room, bucket, value })) state.events.push({ at, event, room, bucket, value, note: words });
  }
}

function applyLost(index, entry) {
  const step = /^step (-?\d{1,5}) s$/.exec(entry.note || "");
  (state.lost[index] || (state.lost[index] = [])).push({ at: entry.at, step_s: step ? Number(step[1]) : 0 });
  const { room, number } = plan.buckets[index];
  plan.buckets.forEach((other, place) => {
    if (other.room === room && other.number >= number) delete state.fixed[place];
  });
}

// Whatever the sheet does to its state becomes entries for the desk.
const saveAlone = save;
save = function saveAndTell() {
  if (replaying) return;
  saveAlone();
  if (rehearsing) return;
  const now = new Map(logEntries().map((entry) => [nameOf(entry), entry]));
  const gone = [...agreed].filter(([name, id]) => id !== null && !now.has(name));
  const come = [...now].filter(([name]) => !agreed.has(name));
  for (const [name, id] of gone) {
    agreed.delete(name);
    queue("strike", id);
  }
  for (const [name, entry] of come) {
    const step = entry.event === "lost" ? state.lost[entry.index][entry.which].step_s : 0;
    agreed.set(name, add({ ...entry, note: step ? "step " + step + " s" : entry.note }));
  }
  if (state.late_s !== agreedLate_s) {
    agreedLate_s = state.late_s;
    add({ at: Math.floor(now_s()), event: "late", room: "", bucket: null, value: String(state.late_s), note: "" });
  }
  keepBook();
  if (book.outbox.length) deliver();
};

function add({ at, event, room, bucket, value, note: words }) {
  const entry = { at: stamp(at), event, room, bucket: bucket === null ? "" : String(bucket), value, note: words };
  return queue("add", newId(), entry);
}

// What the last tap said, so that it alone can be taken back when others have spoken since.
let lastOps = [];

function queue(kind, id, entry) {
  const op = { kind, id, turn: newId(), ...(entry ? { entry } : {}) };
  book.outbox.push(op);
  lastOps.push(op);
  return id;
}

const rememberedAlone = remembered;
remembered = function rememberedHere(act) {
  lastOps = [];
  rememberedAlone(act);
};

AROUND.undo = function takeBackHere() {
  if (rehearsing || undo === null || undo.rehearsing) return takeBack();
  undo = null;
  for (const op of [...lastOps].reverse()) queue(op.kind === "strike" ? "back" : "strike", op.id);
  return changed();
};

// Of a log that is everybody's, each phone clears its own part.
const clearAlone = clearTicks;
clearTicks = function clearOwn() {
  if (rehearsing) return clearAlone();
  for (const entry of counting()) if (entry.author === book.you) queue("strike", entry.id);
  return changed();
};

function changed() {
  keepBook();
  replay();
  updateAll();
  deliver();
}

let delivering = false;
let again = 0;

function later(act) {
  window.clearTimeout(again);
  again = window.setTimeout(act, SOON_MS);
}

// What this browser keeps of the sheet, to open where the desk is out of reach, is made anew.
async function keepAnew() {
  if (HOME === "/") await fetch(HOME, { cache: "reload" }).catch(() => null);
}

async function deliver() {
  if (delivering || !book.outbox.length) return;
  delivering = true;
  const ops = book.outbox.slice(0, MOST_AT_ONCE);
  for (const op of ops) sent.add(opName(op));
  try {
    const answer = await fetch(HOME + "log", {
      method: "POST", headers: { "content-type": "application/json" }, cache: "no-store",
      body: JSON.stringify({
        night: desk.night, plan: plan.id, boot: book.boot, since: book.version,
        ops: ops.map(({ kind, id, entry }) => ({ kind, id, ...entry })),
      }),
    });
    const said = await answer.json();
    if (answer.ok) heardOf(ops, said);
    else refused(answer.status, said);
  } catch (error) {
    reach = "away";
  }
  delivering = false;
  showBar();
  if (book.outbox.length) later(deliver);
}

function heardOf(ops, said) {
  const done = new Set(ops.map(opName));
  book.outbox = book.outbox.filter((op) => !done.has(opName(op)));
  if (said.refused.length) refusal = said.refused.map((one) => one.why).join("; ");
  hear(said);
}

// What the desk does not take stays here; it is tried again, as a full disk may have room later.
function refused(status, said) {
  reach = status === 401 ? "gone" : status === 409 ? "other" : "away";
  refusal = typeof said.fault === "string" ? said.fault : "";
  if (reach === "gone") keepAnew();
}

function hear(said) {
  reach = "here";
  if (said.boot !== book.boot) Object.assign(book, { boot: said.boot, entries: {} });
  for (const entry of said.entries) book.entries[entry.id] = entry;
  book.version = said.version;
  if (said.you) book.you = said.you;
  book.outbox = book.outbox.filter((op) => !isHeard(op));
  const fresh_ = said.plan.id !== plan.id;
  if (fresh_ && (news === null || news.id !== said.plan.id)) {
    keepAnew();
    openSoon();
  }
  news = said.plan;
  keepBook();
  if (said.entries.length || !agreed.size) behind = true;
  catchUp();
  showBar();
}

let behind = false;

// A rehearsal is not disturbed; what was said meanwhile is there when it ends.
function catchUp() {
  if (!behind || rehearsing) return;
  behind = false;
  replay();
  updateAll();
}

window.setInterval(catchUp, SOON_MS);

let stream = null;
let heard_at = Date.now();

function listen() {
  if (stream !== null) stream.close();
  stream = new EventSource(HOME + "feed?" + new URLSearchParams({ boot: book.boot, since: String(book.version) }));
  heard_at = Date.now();
  stream.addEventListener("beat", () => { heard_at = Date.now(); });
  stream.onmessage = (event) => {
    heard_at = Date.now();
    hear(JSON.parse(event.data));
    deliver();
  };
  stream.onerror = lost;
}

// The browser's own patience with a desk that is gone differs; ours is a second.
function lost() {
  stream.close();
  if (reach === "here") reach = "away";
  showBar();
  window.setTimeout(listen, SOON_MS);
}

// A network that went away says nothing by itself: then the desk's beat is missed.
window.setInterval(() => {
  if (stream.readyState !== EventSource.CLOSED && Date.now() - heard_at > MISSED_MS) lost();
}, SOON_MS);
window.addEventListener("offline", lost);
window.addEventListener("online", listen);

// The bar at the top: whether the desk hears, what it would not take, a new plan.
const bars = sheets.map((sheet) => {
  const bar = element("div", { class: "desk-bar", role: "status" });
  bar.addEventListener("click", pressBar);
  sheet.prepend(bar);
  return { bar, language: sheet.dataset.language };
});
let touched_at = Date.now();

function say(language, key, values) {
  return desk.words[language][key].replace(/\{(\w+)\}/g, (_, name) => String((values || {})[name]));
}

function showBar() {
  for (const { bar, language } of bars) {
    const lines = barLines(language);
    const wanted = JSON.stringify(lines);
    if (bar.dataset.said === wanted) continue;
    bar.dataset.said = wanted;
    bar.replaceChildren(...lines.map(([look, text, ...buttons]) => element("p", { class: look }, text,
      ...buttons.map(([act, label]) => element("button", { type: "button", class: "plain", "data-desk": act }, label)))));
  }
}

function barLines(language) {
  const count = book.outbox.length;
  const seen = say(language, "seen");
  const reached = { here: "in_step", away: "away", gone: "gone", other: "other" }[reach];
  const lines = [["desk-" + reach, say(language, reached, { name: book.you, count })]];
  if (reach === "here" && count) lines.push(["", say(language, "to_send", { count })]);
  if (refusal) lines.push(["desk-told", say(language, "not_taken", { why: refusal }), ["heard", seen]]);
  for (const [entry, other] of contradictions()) lines.push(contradictionLine(language, entry, other));
  if (news === null) return lines;
  if (news.id !== plan.id) {
    lines.push(["desk-news", say(language, "new_plan"), ["open", say(language, "open_new")]]);
  } else if (news.follows && book.seen !== plan.id) {
    const changes = news.changes[language] || Object.values(news.changes)[0] || [];
    lines.push(["desk-news", say(language, "changed", { what: changes.join(" · ") }), ["seen", seen]]);
  }
  return lines;
}

function contradictionLine(language, entry, other) {
  const said = { what: entryTextAlone(language, entry), who: entry.author, other: other.author,
    at: clockText(entry.at), other_at: clockText(other.at) };
  const button = (one) => ["strike:" + one.id, say(language, "delete_of", { who: one.author })];
  return ["desk-told", say(language, "contradicts", said), button(entry), button(other)];
}

function contradictions() {
  const stampOf = (entry) => ({ ...entry, at: Math.floor(Date.parse(entry.at) / 1000), bucket: Number(entry.bucket) || null });
  const all = Object.values(book.entries);
  return all.filter((entry) => entry.standing === "contradicts" && entry.struck === "").slice(0, 3).map((entry) => {
    const other = all.find((each) => each.number === entry.against) || entry;
    return [stampOf(entry), stampOf(other)];
  });
}

// A phone in a pocket must not go by the old plan; one in a hand is asked first.
function openSoon() {
  window.setInterval(() => {
    if (Date.now() - touched_at > IDLE_MS && reach === "here" && !book.outbox.length) openNew();
  }, SOON_MS);
}

async function openNew() {
  keepBook();
  await keepAnew();
  location.replace(HOME === "/" ? HOME : HOME + "sheet");
}

function pressBar(event) {
  const [act, id] = (event.target.dataset.desk || "").split(":");
  // The button may be gone when the sheet's own ear hears of it.
  if (act) event.stopPropagation();
  if (act === "open") openNew();
  if (act === "seen") book.seen = plan.id;
  if (act === "heard") refusal = "";
  if (act === "strike") {
    queue("strike", id);
    changed();
  }
  if (act) keepBook();
  showBar();
}

for (const name of ["pointerdown", "keydown", "scroll"]) {
  window.addEventListener(name, () => { touched_at = Date.now(); }, { passive: true, capture: true });
}

isOwn = (entry) => {
  const id = agreed.get(nameOf(entry));
  return id !== null && (!(id in book.entries) || book.entries[id].author === book.you);
};

// Each entry of the log says whose it is.
const entryTextAlone = entryText;
entryText = function entryTextAndAuthor(language, entry) {
  const text = entryTextAlone(language, entry);
  const id = agreed.get(nameOf(entry));
  const author = id && book.entries[id] ? book.entries[id].author : "";
  return author && author !== book.you ? text + " · " + author : text;
};

window.addEventListener("storage", (event) => {
  if (event.key !== BOOK || rehearsing) return;
  keepBook();
  replay();
  updateAll();
  deliver();
});

// What was ticked on this phone before it came to the desk is told to it first.
const alone = logEntries();
replay();
for (const entry of alone) {
  if (!agreed.has(nameOf(entry)) && !isPlannedWith(entry)) agreed.set(nameOf(entry), add(entry));
}
keepBook();
replay();
updateAll();
showBar();
listen();
