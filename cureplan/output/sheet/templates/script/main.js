// Puts it together: ticks in the tables, the buttons, the clock.
const sheets = [...document.querySelectorAll(".sheet")];
let panels = [];
let role = "all";
let undo = null;

// The cells of each bucket's row in each language, looked up once.
let rows = [];

function makeRow(row, language) {
  const index = Number(row.dataset.bucket);
  const [head, ...cells] = row.children;
  const name = bucketName(language, index);
  const tick = element("input", { type: "checkbox", "data-tick": index,
    "aria-label": word(language, "poured", {}) + ": " + name });
  head.replaceChildren(element("label", { class: "tick" }, tick, element("span", {}, head.textContent)));
  const tasks = TASKS.map((task, place) => ({ task, cell: cells[place] }));
  for (const { task, cell } of tasks) cell.dataset.task = task;
  const [margin, last] = cells.slice(TASKS.length);
  margin.dataset.margin = index;
  const short = element("button", { type: "button", class: "short-mark", "data-short": index,
    "aria-pressed": "false", "aria-label": word(language, "mark_short", {}) + ": " + name }, "▲");
  last.append(short);
  return { row, index, tick, tasks, margin, short };
}

function updateTables() {
  for (const each of rows) updateRow(each);
}

function updateRow({ row, index, tick, tasks, margin, short }) {
  const poured = index in state.poured;
  row.classList.toggle("is-poured", poured);
  if (tick.checked !== poured) tick.checked = poured;
  mark(short, "aria-pressed", String(index in state.short));
  for (const { task, cell } of tasks) {
    const at = taskAt(index, task);
    if (at !== null) put(cell, clockText(at));
  }
  const left = marginOf(index);
  setState(margin, stateOf(left));
  put(margin, SHAPES[stateOf(left)] + " " + marginText(left));
}

// Asking the browser whether it is visible would have all styles worked out.
function isShown(part) {
  const pick = document.getElementById("pick-" + part.language);
  return pick === null || pick.checked;
}

function update(all) {
  const now = now_s();
  for (const part of panels) if (all === true || isShown(part)) updatePanel(part, now, role);
  alertBeat(now);
}

// Margins of what is mixed and not yet poured fall with the clock.
let tables_at = 0;

function updateTablesNowAndThen() {
  if (Date.now() - tables_at < 10000) return;
  tables_at = Date.now();
  updateTables();
}

// On the full second, so that the seconds shown neither stick nor skip.
function beat() {
  update();
  updateTablesNowAndThen();
  window.setTimeout(beat, 1000 - (Date.now() % 1000));
}

function updateAll() {
  updateTables();
  for (const part of panels) refreshReport(part);
  update(true);
}

// Whatever is tapped can be taken back for a while.
const UNDO_MS = 10000;

function remembered(act) {
  const before = JSON.stringify(state);
  act();
  if (JSON.stringify(state) !== before) undo = { before, until: Date.now() + UNDO_MS, rehearsing };
}

function takeBack() {
  if (undo !== null && undo.rehearsing === rehearsing) state = sound(JSON.parse(undo.before));
  undo = null;
  save();
}

function updateUndo(part) {
  if (undo !== null && Date.now() >= undo.until) undo = null;
  show(part.undo, undo !== null);
}

function clearTicks() {
  state = rehearsing ? fresh() : takenOver();
  save();
}

const HOLD_MS = 1000;
let holding = 0;

function letGo() {
  window.clearTimeout(holding);
  holding = 0;
}

function hold(event) {
  if (event.target.closest("[data-hold]") === null || holding) return;
  if (event.type === "keydown" && event.key !== "Enter" && event.key !== " ") return;
  holding = window.setTimeout(() => {
    remembered(clearTicks);
    updateAll();
  }, HOLD_MS);
}

for (const name of ["pointerdown", "keydown"]) document.addEventListener(name, hold);
for (const name of ["pointerup", "pointercancel", "pointerout", "keyup"]) document.addEventListener(name, letGo);

function rehearse() {
  rehearsing = !rehearsing;
  rehearsal_s = rehearsing ? plan.buckets[0].liquids - 60 - Date.now() / 1000 : 0;
  load();
  if (rehearsing) state = fresh();
}

const DOING = {
  less: () => setLate(state.late_s - 60),
  more: () => setLate(state.late_s + 60),
  more5: () => setLate(state.late_s + 300),
  back: () => setLate(0),
  behind: (button) => setLate(60 * Number(button.dataset.late)),
  older: () => {
    for (const { index } of bucketsInHand(now_s()).older) setPoured(index, true, taskAt(index, "pour"));
  },
  report: writeReport,
  clock: (button) => shiftClock(Number(button.dataset.hours)),
  clockRight: () => { state.clock_right = true; save(); },
};
// These change nothing that could be taken back.
const AROUND = { save: saveLog, share: shareLog, copy: copyLog, rehearse, alerts: toggleAlerts, ring, undo: takeBack };

const LOG_ACTS = {
  earlier: (entry) => retime(entry, -60),
  later: (entry) => retime(entry, 60),
  strike,
};

function press(button, language) {
  const { dataset } = button;
  if (dataset.do) DOING[dataset.do](button, language);
  if (dataset.pour) setPoured(Number(dataset.pour), true);
  if (dataset.onTime) setPoured(Number(dataset.onTime), true, taskAt(Number(dataset.onTime), "pour"));
  if (dataset.notMixed) setNotMixed(Number(dataset.notMixed));
  if (dataset.lost) setLost(Number(dataset.lost));
  if (dataset.short) setShort(Number(dataset.short), !(Number(dataset.short) in state.short));
  if (dataset.went) toggleWent(Number(dataset.index), dataset.went);
  if (dataset.taskDone) toggleDone(dataset.taskDone, Number(dataset.at) || undefined);
  for (const [name, act] of Object.entries(LOG_ACTS)) {
    if (dataset[name]) act(logEntries()[Number(dataset[name])]);
  }
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (button === null || button.dataset.do !== "alerts") tapped();
  if (button === null) return;
  const { language } = button.closest(".sheet").dataset;
  const part = panels.find((each) => each.language === language);
  if (button.closest(".hands") && isSettling(part)) return;
  if (button.dataset.do in AROUND) AROUND[button.dataset.do](button, language);
  else remembered(() => press(button, language));
  updateAll();
});

document.addEventListener("change", (event) => {
  const input = event.target;
  if (input.dataset.tick) remembered(() => setPoured(Number(input.dataset.tick), input.checked));
  if (input.dataset.ready) tickReady(input.dataset.ready, input.checked);
  if (input.dataset.role) pickRole(input.dataset.role);
  if (input.name === "language") pickLanguage(input.value);
  updateAll();
});

// Ticked off in every language at once, and kept with the plan.
function tickReady(key, ticked) {
  for (const input of document.querySelectorAll(`[data-ready="${key}"]`)) input.checked = ticked;
  const all = [...document.querySelectorAll("[data-ready]:checked")];
  write("cureplan:ready:" + plan.id, [...new Set(all.map((input) => input.dataset.ready))]);
}

function recallReady() {
  const kept = read("cureplan:ready:" + plan.id);
  if (!Array.isArray(kept)) return;
  for (const input of document.querySelectorAll("[data-ready]")) {
    input.checked = kept.includes(input.dataset.ready);
  }
}

function pickRole(picked) {
  role = picked;
  // A style that asked which box is checked would be worked out anew with every tick.
  for (const sheet of sheets) {
    if (picked === "all") sheet.removeAttribute("data-shows");
    else sheet.setAttribute("data-shows", picked);
  }
  for (const input of document.querySelectorAll("[data-role]")) {
    input.checked = input.dataset.role === picked;
  }
  keepChoice();
}

function pickLanguage(picked) {
  const input = document.getElementById("pick-" + picked);
  if (input === null) return;
  input.checked = true;
  document.documentElement.lang = picked;
  keepChoice();
}

function keepChoice() {
  write("cureplan:choice", { role, language: document.documentElement.lang, alerts: allowed });
}

function recallChoice() {
  const choice = read("cureplan:choice");
  if (choice === null || typeof choice !== "object") return;
  const roles = [...document.querySelectorAll("[data-role]")].map((input) => input.dataset.role);
  allowed = choice.alerts === true;
  if (roles.includes(choice.role)) pickRole(choice.role);
  pickLanguage(String(choice.language));
}

// Paper cannot be unfolded.
let unfolded = [];
window.addEventListener("beforeprint", () => {
  unfolded = [...document.querySelectorAll("details:not([open])")];
  for (const part of unfolded) part.open = true;
});
window.addEventListener("afterprint", () => {
  for (const part of unfolded) part.open = false;
});

// From the first call until the last floor is open the sheet opens on what is to be done.
function openWhereItMatters() {
  const now = now_s();
  const first = Math.min(...plan.calls.map((item) => item.call), ...plan.ice.map((item) => item.by));
  const last = Math.max(...plan.rooms.map((room) => room.opens));
  if (location.hash || now < first || now > last) return;
  history.scrollRestoration = "manual";
  const shown = panels.find((part) => part.sheet.checkVisibility()) || panels[0];
  shown.panel.scrollIntoView();
}

document.documentElement.classList.add("scripted");
load();
save();
panels = sheets.map(makePanel);
rows = sheets.flatMap((sheet) => [...sheet.querySelectorAll("tr[data-bucket]")]
  .map((row) => makeRow(row, sheet.dataset.language)));
recallChoice();
recallReady();
updateAll();
beat();
openWhereItMatters();
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) stayAwake();
  update();
});
document.addEventListener("toggle", () => update(), true);
window.addEventListener("storage", () => {
  load();
  updateAll();
});
