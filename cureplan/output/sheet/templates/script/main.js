// Puts it together: ticks in the tables, the buttons, the clock.
const sheets = [...document.querySelectorAll(".sheet")];
let panels = [];
let role = "all";
let clearArmed = 0;

function updateTables() {
  for (const sheet of sheets) {
    for (const row of sheet.querySelectorAll("tr[data-bucket]")) {
      updateRow(row, Number(row.dataset.bucket));
    }
  }
}

function updateRow(row, index) {
  const poured = index in state.poured;
  row.classList.toggle("is-poured", poured);
  row.querySelector("[data-tick]").checked = poured;
  const short = row.querySelector("[data-short]");
  mark(short, "aria-pressed", String(index in state.short));
  for (const cell of row.querySelectorAll("[data-task]")) {
    const at = taskAt(index, cell.dataset.task);
    if (at !== null) put(cell, clockText(at));
  }
  const margin = marginOf(index);
  const cell = row.querySelector("[data-margin]");
  setState(cell, stateOf(margin));
  put(cell.children[0], SHAPES[stateOf(margin)]);
  put(cell.children[1], marginText(margin));
}

function update() {
  const now = now_s();
  for (const part of panels) updatePanel(part, now, role);
}

// On the full second, so that the seconds shown neither stick nor skip.
function beat() {
  update();
  window.setTimeout(beat, 1000 - (Date.now() % 1000));
}

function updateAll() {
  updateTables();
  for (const part of panels) refreshReport(part);
  update();
}

function clearTicks(button, language) {
  if (Date.now() - clearArmed > 4000) {
    clearArmed = Date.now();
    put(button, word(language, "clear_sure", {}));
    window.setTimeout(() => put(button, word(language, "clear", {})), 4000);
    return;
  }
  clearArmed = 0;
  put(button, word(language, "clear", {}));
  state = rehearsing ? fresh() : takenOver();
  save();
}

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
  save: saveLog,
  report: writeReport,
  clear: clearTicks,
  rehearse,
};

const LOG_ACTS = {
  earlier: (entry) => retime(entry, -60),
  later: (entry) => retime(entry, 60),
  strike,
};

document.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (button === null) return;
  const language = button.closest(".sheet").dataset.language;
  if (button.dataset.do) DOING[button.dataset.do](button, language);
  if (button.dataset.pour) setPoured(Number(button.dataset.pour), true);
  if (button.dataset.short) {
    const index = Number(button.dataset.short);
    setShort(index, !(index in state.short));
  }
  if (button.dataset.went) toggleWent(Number(button.dataset.index), button.dataset.went);
  for (const [name, act] of Object.entries(LOG_ACTS)) {
    if (button.dataset[name]) act(logEntries()[Number(button.dataset[name])]);
  }
  updateAll();
});

document.addEventListener("change", (event) => {
  const input = event.target;
  if (input.dataset.tick) setPoured(Number(input.dataset.tick), input.checked);
  if (input.dataset.role) pickRole(input.dataset.role);
  if (input.name === "language") pickLanguage(input.value);
  updateAll();
});

function pickRole(picked) {
  role = picked;
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
  write("cureplan:choice", { role, language: document.documentElement.lang });
}

function recallChoice() {
  const choice = read("cureplan:choice");
  if (choice === null) return;
  if (document.querySelector('[data-role="' + choice.role + '"]')) pickRole(choice.role);
  pickLanguage(choice.language);
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

document.documentElement.classList.add("scripted");
load();
save();
panels = sheets.map(makePanel);
recallChoice();
updateAll();
beat();
document.addEventListener("visibilitychange", update);
document.addEventListener("toggle", update, true);
window.addEventListener("storage", () => {
  load();
  updateAll();
});
