"use strict";
// The form: each field is checked and saved as it is left; what could not be is kept here.
const job = document.getElementById("job");
const at = `/jobs/${encodeURIComponent(job.dataset.name)}`;
const STORE = `cureplan-desk:${job.dataset.name}`;
const RETRY_MS = 2000, LOOK_MS = 4000;
let queue = [];
let busy = false;
let waiting = null;

function saved(words) {
  const line = document.getElementById("saved");
  if (line) line.textContent = words;
}

// What was typed and is not in the file: refused by the desk, or the desk out of reach.
// Each names the room or person it is of: where that stands may change.
function drafts() { return desk.kept.get(STORE) || {}; }
function put(all) { if (Object.keys(all).length) desk.kept.put(STORE, all); else desk.kept.drop(STORE); }
const named = (one) => `${one.do || "set"} ${one.key}`;
const stemOf = (key) => (/^(rooms|people)\[\d+\]/.exec(key || "") || [""])[0];
const ownerOf = (key) => (stemOf(key) ? document.querySelector(`[data-stem="${stemOf(key)}"]`) : null);
function withOwner(one) {
  const owner = ownerOf(one.key);
  return owner && owner.dataset.of ? { ...one, of: owner.dataset.of } : one;
}
function keep(changes) {
  const all = drafts();
  for (const one of changes) if (one.key && ("text" in one || "shape" in one)) all[named(one)] = withOwner(one);
  put(all);
}
function settled(changes) {
  const all = drafts();
  for (const one of changes) delete all[named(one)];
  for (const one of changes) {
    const owner = /\]\.name$/.test(one.key || "") && "text" in one ? ownerOf(one.key) : null;
    if (!owner) continue;
    for (const other of Object.values(all)) if (stemOf(other.key) === stemOf(one.key)) other.of = one.text.trim();
    owner.dataset.of = one.text.trim();
  }
  put(all);
}
// A draft of an earlier visit where its room or person stands now; null where it is gone.
function meant(one) {
  const owner = ownerOf(one.key);
  if (!one.of || (owner && owner.dataset.of === one.of)) return one;
  const now = [...document.querySelectorAll("[data-stem]")].filter((each) => each.dataset.of === one.of && each.dataset.stem.split("[")[0] === stemOf(one.key).split("[")[0]);
  return now.length === 1 ? { ...one, key: now[0].dataset.stem + one.key.slice(stemOf(one.key).length) } : null;
}

function box(key) { return [...document.querySelectorAll(".field[data-key]")].find((one) => one.dataset.key === key); }
function textOf(field) {
  const look = field.dataset.look;
  if (look === "several") return [...field.querySelectorAll("input:checked")].map((one) => one.value).join(", ");
  const input = field.querySelector("input, select");
  return look === "yes" ? String(input.checked) : input.value;
}
function putText(field, text) {
  const look = field.dataset.look;
  if (look === "several") {
    const names = text.split(",").map((one) => one.trim());
    for (const one of field.querySelectorAll("input")) one.checked = names.includes(one.value);
    return;
  }
  const input = field.querySelector("input, select");
  if (look === "yes") input.checked = text === "true"; else input.value = text;
}
function tell(key, words) {
  const field = box(key);
  if (!field) return false;
  desk.fault(field.querySelector(".fault"), words);
  const input = field.querySelector("input, select");
  if (input) input.setAttribute("aria-invalid", words ? "true" : "false");
  const details = field.closest("details");
  if (words && details) details.open = true;
  return true;
}

function showFaults(faults) {
  const list = document.getElementById("faults");
  list.replaceChildren(...faults.map((one) => desk.make("li", { "data-key": one.key }, one.words)));
  document.getElementById("faults-part").hidden = faults.length === 0;
  const unsaved = drafts();
  for (const field of document.querySelectorAll(".field[data-key]")) {
    const key = field.dataset.key;
    if (`set ${key}` in unsaved) continue;
    const own = faults.find((one) => one.key === key);
    tell(key, own ? own.short : "");
  }
  for (const room of document.querySelectorAll(".room")) {
    const stem = `rooms[${room.dataset.room}].`;
    const own = faults.find((one) => ["length", "width", "outline", "islands", "stop_lines", "back_wall"].some((key) => one.key.startsWith(stem + key)));
    desk.fault(room.querySelector(".shape-fault"), own ? own.short : "");
  }
}

// Changes go one after the other; each says which text this page shows.
function send(changes, then) {
  keep(changes);
  queue.push({ changes, then });
  pump();
}
async function pump() {
  if (busy || waiting || !queue.length) return;
  busy = true;
  const { changes, then } = queue[0];
  saved("Saving ...");
  let answer;
  try {
    answer = await desk.post(`${at}/change`, { rev: job.dataset.rev, changes: changes.map(withOwner) });
  } catch {
    later("The desk is out of reach. What you type is kept here and saved when it is back.");
    return;
  }
  if (answer.status === 507) { later(`${answer.fault}. What you type is kept here and saved when there is room.`); return; }
  busy = false;
  desk.away("");
  if (answer.status === 409 && answer.conflict) { conflict(answer); return; }
  queue.shift();
  if (answer.status === 200) {
    settled(changes);
    took(answer);
    if (then) then(answer);
  } else {
    saved("Not saved: see the words in red");
    if (!(answer.key && tell(answer.key, answer.fault))) {
      if (then) then(answer); else desk.away(answer.fault);
    }
  }
  pump();
}
function later(words) {
  busy = false;
  desk.away(words);
  saved("Not saved yet");
  setTimeout(pump, RETRY_MS);
}
function took(answer) {
  job.dataset.rev = answer.rev;
  saved(`Saved in ${job.dataset.name}.toml`);
  const undo = document.getElementById("undo");
  if (undo) undo.disabled = !answer.undo;
  showFaults(answer.faults);
  document.dispatchEvent(new CustomEvent("job-saved"));
}

function conflict(answer) {
  waiting = answer;
  const rows = new Map();
  for (const one of answer.theirs) rows.set(one.words, [one.was, one.now, ""]);
  for (const one of answer.yours) {
    const row = rows.get(one.words) || ["", one.now, ""];
    rows.set(one.words, [row[0], row[1], one.yours]);
  }
  document.querySelector("#elsewhere-table tbody").replaceChildren(...[...rows].map(([words, cells]) =>
    desk.make("tr", {}, desk.make("th", { scope: "row" }, words), ...cells.map((cell) => desk.make("td", {}, cell)))));
  document.getElementById("elsewhere-words").textContent = answer.conflict + " Nothing of yours is lost; choose:";
  const dialog = document.getElementById("elsewhere");
  dialog.hidden = false;
  dialog.scrollIntoView({ block: "start" });
  document.getElementById("take-theirs").focus();
  saved("Not saved: changed elsewhere");
}

function again() {
  sessionStorage.setItem("scroll", String(scrollY));
  location.reload();
}

if (!job.dataset.broken) {
  document.getElementById("take-theirs").addEventListener("click", () => { desk.kept.drop(STORE); again(); });
  document.getElementById("put-mine").addEventListener("click", () => {
    job.dataset.rev = waiting.rev;
    waiting = null;
    document.getElementById("elsewhere").hidden = true;
    const last = queue[queue.length - 1];
    if (last) last.then = again;
    pump();
  });
  document.addEventListener("change", (event) => {
    const field = event.target.closest(".field[data-key]");
    if (!field) return;
    const key = field.dataset.key;
    tell(key, "");
    const heavy = /^rooms\[\d+\]\.name$|^display$/.test(key);
    send([{ key, text: textOf(field) }], heavy ? (answer) => { if (answer.status === 200) again(); } : null);
  });
  document.getElementById("add-room").addEventListener("click", () => send([{ do: "add room" }], again));
  for (const button of document.querySelectorAll(".remove-room")) {
    button.addEventListener("click", () => send([{ do: "remove room", key: `rooms[${button.dataset.room}].name` }], again));
  }
  for (const button of document.querySelectorAll(".change")) {
    button.addEventListener("click", () => send([{ do: button.dataset.do, key: button.dataset.key }], (answer) => (answer.fault ? desk.away(answer.fault) : again())));
  }
  document.getElementById("undo").addEventListener("click", async () => {
    const answer = await desk.post(`${at}/undo`, { rev: job.dataset.rev });
    if (answer.status === 409 && answer.conflict) conflict(answer); else { desk.kept.drop(STORE); again(); }
  });
  towns();
  weather();
  // What an earlier visit typed and could not save.
  const unsaved = Object.values(drafts());
  desk.kept.drop(STORE);
  for (const one of unsaved) {
    const now = meant(one), field = now && box(now.key);
    if (!now || !field) desk.away(`What was typed for ${one.of || one.key} is not in the job: that is gone from it. It was: ${one.text || JSON.stringify(one.shape)}`);
    else if ("text" in now) { putText(field, now.text); send([{ key: now.key, text: now.text }]); }
    else send([{ do: now.do, key: now.key, shape: now.shape }], again);
  }
  if (!unsaved.length) showFaults([...document.querySelectorAll("#faults li")].map((one) => ({ key: one.dataset.key, words: one.textContent, short: one.textContent })));
  const scroll = sessionStorage.getItem("scroll");
  if (scroll) { scrollTo(0, Number(scroll)); sessionStorage.removeItem("scroll"); }
} else {
  document.getElementById("save-whole").addEventListener("click", async () => {
    const answer = await desk.post(`${at}/text`, { rev: job.dataset.rev, text: document.getElementById("whole").value });
    if (answer.status === 200) { location.reload(); return; }
    // Put on top when saved again; what stood there can be had by Undo.
    if (answer.conflict) job.dataset.rev = answer.rev;
    desk.fault(document.getElementById("whole-fault"), answer.conflict ? `${answer.conflict} Save again to put yours in its place, or load the page to see the other.` : answer.fault);
  });
  const back = document.getElementById("undo");
  if (back) back.addEventListener("click", async () => { await desk.post(`${at}/undo`, { rev: job.dataset.rev }); location.reload(); });
}

// Another window or an editor may change the file while this page is open.
setInterval(async () => {
  if (document.hidden || busy || waiting || queue.length) return;
  try {
    const answer = await fetch(`${at}/rev`);
    const found = answer.ok ? (await answer.json()).rev : null;
    desk.away("");
    if (found && found !== job.dataset.rev && !busy && !queue.length) {
      const line = document.getElementById("away");
      line.replaceChildren("This job was changed elsewhere. ", desk.make("button", { class: "plain", onclick: again }, "Show it as it is now"));
      line.hidden = false;
    }
  } catch {
    desk.away("The desk is out of reach. What you type is kept here and saved when it is back.");
  }
}, LOOK_MS);

function towns() {
  const input = document.getElementById("town");
  const list = document.getElementById("towns");
  input.addEventListener("change", async () => {
    const answer = await desk.post("/towns", { text: input.value }).catch(() => ({ towns: [] }));
    desk.fault(document.getElementById("town-fault"), input.value && !answer.towns.length ? "no town of this name is known; write latitude, longitude and time zone below" : "");
    list.replaceChildren(...answer.towns.map((town) => desk.make("li", {}, desk.make("button", {
      class: "plain",
      onclick: () => {
        list.replaceChildren();
        input.value = town.name;
        const changes = ["latitude", "longitude", "time_zone"].map((key) => ({ key: `site.${key}`, text: town[key] }));
        for (const one of changes) putText(box(one.key), one.text);
        send(changes, () => tell("site.elevation", "towns are listed without their height: a phone's map tells it, and the forecast hangs on it"));
      },
    }, town.name))));
  });
}

function weather() {
  const drop = document.getElementById("drop");
  const shown = document.getElementById("hours");
  const fault = document.getElementById("drop-fault");
  const lines = (found) => shown.replaceChildren(...found.map((line) => desk.make("li", {}, line)));
  async function give(file) {
    if (file.size > Number(drop.dataset.most)) { lines([]); desk.fault(fault, `This is more than the ${drop.dataset.most / 1000} kB the desk reads here; is it weather?`); return; }
    desk.fault(fault, "");
    lines(["Reading ..."]);
    const answer = await fetch(`${at}/weather?file=${encodeURIComponent(file.name)}`, { method: "POST", body: file })
      .then(async (got) => (got.headers.get("content-type") || "").includes("json") ? got.json() : { fault: await got.text() })
      .catch(() => ({ fault: "The desk is out of reach." }));
    if (answer.fault) { lines([]); desk.fault(fault, answer.fault); return; }
    lines(answer.understood);
    putText(box("weather.source"), "file");
    putText(box("weather.file"), file.name);
    took(answer);
  }
  drop.addEventListener("dragover", (event) => { event.preventDefault(); drop.classList.add("over"); });
  drop.addEventListener("dragleave", () => drop.classList.remove("over"));
  drop.addEventListener("drop", (event) => {
    event.preventDefault();
    drop.classList.remove("over");
    if (event.dataTransfer.files.length) give(event.dataTransfer.files[0]);
  });
  const chosen = document.getElementById("drop-file");
  chosen.addEventListener("change", () => { if (chosen.files.length) give(chosen.files[0]); });
  document.getElementById("look-hours").addEventListener("click", async () => {
    lines(["Looking ..."]);
    const answer = await desk.post(`${at}/hours`, {}).catch(() => ({ fault: "The desk is out of reach." }));
    if (answer.fault) { lines([]); desk.fault(fault, answer.fault); } else { desk.fault(fault, ""); lines(answer.understood); }
  });
}
