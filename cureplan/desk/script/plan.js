"use strict";
// The plan beside the form: begun, watched, stopped; and moved about without planning anew.
(() => {
  const POLL_MS = 500, NEWS_MS = 30_000;
  const by = (id) => document.getElementById(id);
  if (!by("plan")) return;
  let mine = 0, watching = false, seen = 0;

  async function fill() {
    const answer = await fetch(`${at}/plan`).catch(() => null);
    if (answer && answer.ok) by("plan-part").innerHTML = await answer.text();
  }
  // The desk looks at the weather by itself: what it found is shown without being asked for.
  async function hear() {
    const found = await fetch(`${at}/news`).then((answer) => answer.json()).catch(() => null);
    const shown = by("plan-part").querySelector(".news");
    if (found && found.at && !(shown && shown.dataset.at === found.at)) fill();
  }
  setInterval(hear, NEWS_MS);
  // On paper nothing can be opened.
  let opened = [];
  addEventListener("beforeprint", () => {
    opened = [...by("plan-part").querySelectorAll("details:not([open])")];
    for (const one of opened) one.open = true;
  });
  addEventListener("afterprint", () => { for (const one of opened) one.open = false; });

  async function show() {
    await fill();
    const has = Boolean(document.querySelector("#plan-part .answers"));
    by("play").hidden = by("news").hidden = !has;
    if (!has) return;
    // What was moved is asked of the plan that lies here now.
    aside = null;
    by("anew").hidden = true;
    move();
    released();
  }
  document.addEventListener("job-saved", () => {
    const part = by("plan-part");
    if (!part.querySelector(".answers") || part.querySelector(".stale")) return;
    part.prepend(desk.make("p", { class: "stale" }, "The job was changed since this plan was made; the plan stays until you plan anew."));
  });
  function refused(words) {
    desk.fault(by("plan-fault"), words);
    if (/\bweather\b/.test(words || "")) by("plan-fault").append(" ", desk.make("a", { href: "#drop" }, "Drop a weather file"));
  }
  function running(on, words) {
    by("plan").disabled = by("news").disabled = on;
    by("stop").hidden = !on;
    by("planning").textContent = on ? words : "";
  }
  async function watch() {
    if (watching) return;
    watching = true;
    for (let wait_ms = 0; wait_ms >= 0;) {
      await new Promise((done) => setTimeout(done, wait_ms));
      wait_ms = await look();
    }
    watching = false;
  }
  // How soon to look again; below 0 where nothing is being made.
  async function look() {
    let found;
    try { found = await (await fetch("/planning")).json(); } catch { return 4 * POLL_MS; }
    const own = found.job === job.dataset.name, aside = found.what === "what if";
    running(found.running && !aside, own ? `${found.words} ...` : `A plan of ${found.job} is being made`);
    if (own && aside) anew(found);
    if (own && found.running && found.shown && seen !== found.number) { seen = found.number; show(); }
    if (found.running) return POLL_MS;
    if (own && found.number === mine) {
      if (found.what === "plan" && found.plan) unmoved();
      refused(found.fault || (found.stopped && !found.plan ? "Stopped before a plan was found." : ""));
      mine = 0;
      show();
    }
    return -1;
  }
  async function begin(what) {
    refused("");
    // What is still on its way to the file belongs to the plan.
    while (busy || queue.length) await new Promise((done) => setTimeout(done, 50));
    const answer = await desk.post(`${at}/${what}`, {}).catch(() => ({ fault: "The desk is out of reach." }));
    if (answer.fault) { refused(answer.fault); return; }
    mine = answer.number;
    running(true, "beginning ...");
    watch();
  }
  by("plan").addEventListener("click", () => begin("plan"));
  by("news").addEventListener("click", () => begin("news"));
  by("stop").addEventListener("click", () => { by("planning").textContent = "stopping with the best so far ..."; desk.post("/stop", {}); });
  watch();

  // What if: the latest wish is asked for; those in between are left out.
  const inputs = ["play-minutes", "play-ice", "play-bays", "play-stations", "play-broadcaster", "play-night"].map(by);
  const dragged = {}, draggedCoats = {};
  let asking = false, again = false, last = null;
  const change = () => {
    const [minutes, ice, bays, stations, broadcaster, night] = inputs.map((one) => one.value);
    const found = { minutes: Number(minutes) + 1440 * Number(night) };
    if (ice) found.ice = ice;
    if (bays) found.bays = Number(bays);
    if (stations) { found.stations = Number(stations); found.mixer = Number(stations); }
    if (Object.keys(dragged).length) found.rooms = { ...dragged };
    if (Object.keys(draggedCoats).length) found.coats = { ...draggedCoats };
    if (broadcaster) found.broadcaster = Number(broadcaster);
    return found;
  };
  const words = () => inputs.map((one) => {
    if (one.id === "play-minutes") return Number(one.value) ? by("play-shown").textContent : "";
    const name = document.querySelector(`label[for=${one.id}]`).textContent.split(",")[0];
    return one.selectedIndex ? `${name}: ${one.options[one.selectedIndex].textContent}` : "";
  }).concat(Object.entries({ ...dragged, ...draggedCoats }).map(([name, minutes]) => `${name.replace(/\|(\d+)$/, ", topcoat $1")} ${minutes > 0 ? "+" : "−"}${Math.abs(minutes)} min`)).filter(Boolean).join("; ") || "as planned";
  const hand = (found) => `${Math.abs(found.margin_min)} min ${found.margin_min < 0 ? "short" : "in hand"} (${found.tightest})`;
  const opens = (found) => `${found.opens}${found.in_time ? "" : ", too late"}`;
  const percent = (found) => `${Math.min(99, Math.floor(100 * found.chance + 1e-9))} %`;
  const line = (name, text) => [desk.make("dt", {}, name), desk.make("dd", {}, text)];
  const lines = (found, chance) => [...line("All of it holds", chance), ...line("Least in hand", hand(found)), ...line("First bucket", found.first), ...line("Opens", opens(found))];
  function tell(found, said) {
    desk.fault(by("play-fault"), found.fault);
    if (found.rooms) strips(found);
    last = found.fault || found.chance === undefined ? null : { ...found, said };
    by("keep-what-if").disabled = !last;
    by("play-found").replaceChildren(...(found.fault ? [] : lines(found, found.chance === undefined ? "..." : `${percent(found)} of nights`)));
  }
  // Planned anew when the hand lets go; what is moved meanwhile takes its place.
  const LET_GO_MS = 300;
  let aside = null, letGo = null;
  function released() {
    clearTimeout(letGo);
    letGo = setTimeout(planAnew, LET_GO_MS);
  }
  async function planAnew() {
    const said = words(), wish = change(), was = aside;
    if (held || (was ? was.said : "as planned") === said) return;
    aside = { said, number: 0, found: null };
    desk.fault(by("anew-fault"), "");
    by("anew").hidden = said === "as planned";
    by("anew-found").replaceChildren();
    if (by("anew").hidden) { if (was && !was.found) desk.post("/stop", { number: was.number }); aside = null; return; }
    by("anew-words").textContent = "beginning ...";
    const mineNow = aside;
    const answer = await desk.post(`${at}/what-if`, wish).catch(() => ({ fault: "The desk is out of reach." }));
    if (aside !== mineNow) return;
    if (answer.fault) { by("anew-words").textContent = ""; desk.fault(by("anew-fault"), answer.fault); return; }
    aside.number = answer.number;
    watch();
  }
  function anew(found) {
    if (!aside || aside.number !== found.number) return;
    by("anew-stop").hidden = !found.running;
    by("anew-words").textContent = found.running ? `${found.words} ...` : "";
    if (found.running) return;
    const fault = found.fault || (found.what_if ? "" : "Stopped before a plan was found.");
    desk.fault(by("anew-fault"), fault);
    aside.found = found.what_if ? { ...found.what_if, in_time: true } : { fault };
    if (!fault) by("anew-found").replaceChildren(...lines(aside.found, `${percent(aside.found)} of nights`));
    for (const one of kept()) if (one.said === aside.said) keepRow({ ...one, anew: aside.found });
  }
  by("anew-stop").addEventListener("click", () => desk.post("/stop", { number: aside ? aside.number : 0 }));
  // Each pour and each coat as a bar on the hours; where it may not go, the desk puts it where it may.
  const STEP_MIN = 5;
  let held = null;
  const pourStrip = { box: "strip", axis: [Infinity, -Infinity], dragged, bars: (found) => found.rooms.map((room) => ({
    ...room, key: room.name, label: room.name, short: room.margin_min < 0, told: `${room.margin_min} min in hand` })) };
  const coatStrip = { box: "coat-strip", axis: [Infinity, -Infinity], dragged: draggedCoats, bars: (found) => found.coats.map((coat) => ({
    ...coat, key: `${coat.name}|${coat.coat}`, label: `${coat.name}: topcoat ${coat.coat}`, short: coat.late, told: coat.late ? "too late" : "in its window" })) };
  function strip(one, found) {
    const bars = one.bars(found);
    if (!bars.length) return;
    const focused = document.activeElement && document.activeElement.dataset ? document.activeElement.dataset.pour : null;
    // The hours stay where they are while a bar moves over them.
    const { axis } = one;
    const [soonest, latest] = [Math.min(...bars.map((bar) => bar.start_s)), Math.max(...bars.map((bar) => bar.end_s))];
    if (soonest < axis[0] || latest > axis[1]) {
      axis[0] = Math.floor(soonest / 3600 - 3) * 3600;
      axis[1] = Math.ceil(latest / 3600 + 4) * 3600;
    }
    const [first, last_s] = axis;
    const x = (s) => 6 + (s - first) / (last_s - first) * 328;
    const high = 44 * bars.length + 4;
    const svg = desk.make("svg", { class: "strip", viewBox: `0 0 340 ${high}` });
    const every_s = last_s - first > 24 * 3600 ? 6 * 3600 : 3600;
    for (let s = first; s <= last_s; s += every_s) svg.append(desk.make("line", { class: "square", x1: x(s), x2: x(s), y1: 0, y2: high }));
    bars.forEach((item, row) => {
      const label = desk.make("text", { x: 4, y: 14 + 44 * row });
      label.textContent = `${item.label.length > 32 ? `${item.label.slice(0, 31)}…` : item.label}, ${item.at}`;
      const bar = desk.make("rect", {
        class: item.short ? "pour-bar is-short" : "pour-bar", x: x(item.start_s), y: 19 + 44 * row, rx: 3, height: 24,
        width: Math.max(10, x(item.end_s) - x(item.start_s)), tabindex: 0, role: "slider", "data-pour": item.key,
        "aria-label": item.label, "aria-valuenow": one.dragged[item.key] || 0, "aria-valuemin": -600, "aria-valuemax": 600,
        "aria-valuetext": `from ${item.at}, ${item.told}`,
      });
      const shift = (minutes) => {
        if (minutes) one.dragged[item.key] = minutes; else delete one.dragged[item.key];
        pins(found);
        move();
      };
      bar.addEventListener("keydown", (event) => {
        const step = { ArrowLeft: -STEP_MIN, ArrowRight: STEP_MIN }[event.key];
        if (!step) return;
        event.preventDefault();
        shift((one.dragged[item.key] || 0) + step);
        released();
      });
      bar.addEventListener("pointerdown", (event) => {
        event.preventDefault();
        const begin = event.clientX, before = one.dragged[item.key] || 0;
        const perPixel = (last_s - first) / 60 / (328 / 340 * svg.getBoundingClientRect().width);
        held = item.key;
        const go = (e) => {
          const minutes = Math.round((e.clientX - begin) * perPixel / STEP_MIN) * STEP_MIN;
          bar.setAttribute("x", x(item.start_s + 60 * minutes));
          if (before + minutes !== (one.dragged[item.key] || 0)) shift(before + minutes);
        };
        const end = () => {
          removeEventListener("pointermove", go);
          removeEventListener("pointerup", end);
          removeEventListener("pointercancel", end);
          held = null;
          move();
          released();
        };
        addEventListener("pointermove", go);
        addEventListener("pointerup", end);
        addEventListener("pointercancel", end);
      });
      svg.append(label, bar);
    });
    by(one.box).replaceChildren(svg);
    const same = focused && svg.querySelector(`[data-pour="${CSS.escape(focused)}"]`);
    if (same) same.focus();
  }
  function strips(found) {
    if (held) return;
    for (const one of [pourStrip, coatStrip]) strip(one, found);
    pins(found);
  }
  // A pin is a line of the job file: the room, or its coat, is not begun before that hour.
  function pins(found) {
    const names = [...document.querySelectorAll(".field[data-key]")].filter((one) => /^rooms\[\d+\]\.name$/.test(one.dataset.key));
    const pin = (one, moved, key, what, suffix) => moved[key] > 0 ? [desk.make("button", {
      class: "plain", type: "button",
      onclick: () => {
        const own = names.find((field) => textOf(field) === one.name);
        if (!own) return;
        const line = own.dataset.key.replace(/name$/, suffix);
        putText(box(line), one.wall);
        send([{ key: line, text: one.wall }]);
        delete moved[key];
        pins(found);
        released();
      },
    }, `Hold ${what} until ${one.at}`)] : [];
    by("pins").replaceChildren(
      ...found.rooms.flatMap((room) => pin(room, dragged, room.name, room.name, "not_before")),
      ...found.coats.flatMap((coat) => pin(coat, draggedCoats, `${coat.name}|${coat.coat}`, `topcoat ${coat.coat} of ${coat.name}`, `topcoat_${coat.coat}_not_before`)));
  }
  async function move() {
    const m = Number(by("play-minutes").value);
    by("play-shown").textContent = m ? `${m < 0 ? "−" : "+"}${Math.floor(Math.abs(m) / 60)} h ${Math.abs(m) % 60} min` : "0 min";
    if (asking) { again = true; return; }
    asking = true;
    const said = words();
    const wish = change();
    const ask = (more) => desk.post(`${at}/move`, { ...wish, ...more }).catch(() => ({ fault: "The desk is out of reach." }));
    let found = await ask({});
    tell(found, said);
    // The chance takes longer, and is not worth asking where the hand has moved on.
    if (!found.fault && !again) {
      found = { ...found, ...await ask({ chance: true }) };
      tell(found, said);
    }
    asking = false;
    if (again) { again = false; move(); }
  }
  for (const one of inputs) {
    one.addEventListener("input", move);
    one.addEventListener("change", released);
  }
  // A plan that was made anew has what was asked of the one before, or was asked without.
  function unmoved() {
    for (const one of inputs) { if (one.options) one.selectedIndex = 0; else one.value = 0; }
    for (const one of [pourStrip, coatStrip]) {
      for (const key of Object.keys(one.dragged)) delete one.dragged[key];
      one.axis.splice(0, 2, Infinity, -Infinity);
    }
  }
  // Side by side, as long as this window is open.
  const KEPT = `cureplan-what-ifs:${job.dataset.name}`, MOST_KEPT = 12;
  function kept() { try { return JSON.parse(sessionStorage.getItem(KEPT)) || []; } catch { return []; } }
  function put(rows) {
    try { sessionStorage.setItem(KEPT, JSON.stringify(rows.slice(-MOST_KEPT))); } catch { /* shown all the same */ }
    by("what-ifs").hidden = !rows.length;
    // On a phone each row stands by itself, its columns' names in it: roles stay what they are.
    const cell = (text, name) => desk.make("td", { role: "cell", "data-name": name }, text);
    const across = (text) => desk.make("td", { role: "cell", colspan: 4, "data-name": text ? "Planned anew" : "" }, text);
    const over = (found) => !found ? [across("")] : found.fault ? [across(found.fault)] : [cell(percent(found), "Planned anew: chance"), cell(hand(found), "least in hand"), cell(found.first, "first bucket"), cell(opens(found), "opens")];
    by("what-ifs").querySelector("tbody").replaceChildren(...rows.map((one) => desk.make("tr", { role: "row" },
      desk.make("th", { role: "rowheader", scope: "row" }, one.said),
      cell(percent(one.moved), "Moved as it is: chance"), cell(hand(one.moved), "least in hand"), cell(opens(one.moved), "opens"), ...over(one.anew),
      desk.make("td", { role: "cell" }, desk.make("button", { class: "plain", type: "button", "aria-label": `Remove: ${one.said}`, onclick: () => put(kept().filter((row) => row.said !== one.said)) }, "×")))));
  }
  function keepRow(row) {
    const rows = kept(), place = rows.findIndex((one) => one.said === row.said);
    if (place < 0) rows.push(row); else rows[place] = row;
    put(rows);
  }
  by("keep-what-if").addEventListener("click", () => {
    if (!last) return;
    const { said, ...moved } = last;
    keepRow({ said, moved, anew: aside && aside.said === said ? aside.found : null });
  });
  put(kept());
  if (!by("play").hidden) move();
})();
