"use strict";
// The plan beside the form: begun, watched, stopped; and moved about without planning anew.
(() => {
  const POLL_MS = 500;
  const by = (id) => document.getElementById(id);
  if (!by("plan")) return;
  let mine = 0;

  async function show() {
    const answer = await fetch(`${at}/plan`).catch(() => null);
    if (answer && answer.ok) by("plan-part").innerHTML = await answer.text();
    const has = Boolean(document.querySelector("#plan-part .answers"));
    by("play").hidden = !has;
    if (has) move();
  }
  function running(on, words) {
    by("plan").disabled = on;
    by("stop").hidden = !on;
    by("planning").textContent = on ? words : "";
  }
  async function watch() {
    let found;
    try { found = await (await fetch("/planning")).json(); } catch { setTimeout(watch, 4 * POLL_MS); return; }
    const own = found.job === job.dataset.name;
    if (found.running) {
      running(true, own ? `${found.words} ...` : `A plan of ${found.job} is being made`);
      setTimeout(watch, POLL_MS);
      return;
    }
    running(false, "");
    if (own && found.number === mine) {
      desk.fault(by("plan-fault"), found.fault || (found.stopped && !found.plan ? "Stopped before a plan was found." : ""));
      mine = 0;
      show();
    }
  }
  by("plan").addEventListener("click", async () => {
    desk.fault(by("plan-fault"), "");
    // What is still on its way to the file belongs to the plan.
    while (busy || queue.length) await new Promise((done) => setTimeout(done, 50));
    const answer = await desk.post(`${at}/plan`, {}).catch(() => ({ fault: "The desk is out of reach." }));
    if (answer.fault) { desk.fault(by("plan-fault"), answer.fault); return; }
    mine = answer.number;
    running(true, "beginning ...");
    watch();
  });
  by("stop").addEventListener("click", () => { by("planning").textContent = "stopping with the best so far ..."; desk.post("/stop", {}); });
  watch();

  // What if: the latest wish is asked for; those in between are left out.
  const inputs = ["play-minutes", "play-ice", "play-bays", "play-stations", "play-broadcaster", "play-night"].map(by);
  let asking = false, again = false, last = null;
  const change = () => {
    const [minutes, ice, bays, stations, broadcaster, night] = inputs.map((one) => one.value);
    const found = { minutes: Number(minutes) + 1440 * Number(night) };
    if (ice) found.ice = ice;
    if (bays) found.bays = Number(bays);
    if (stations) { found.stations = Number(stations); found.mixer = Number(stations); }
    if (broadcaster) found.broadcaster = Number(broadcaster);
    return found;
  };
  const words = () => inputs.map((one) => {
    if (one.id === "play-minutes") return Number(one.value) ? by("play-shown").textContent : "";
    const name = document.querySelector(`label[for=${one.id}]`).textContent.split(",")[0];
    return one.selectedIndex ? `${name}: ${one.options[one.selectedIndex].textContent}` : "";
  }).filter(Boolean).join("; ") || "as planned";
  const hand = (found) => `${Math.abs(found.margin_min)} min ${found.margin_min < 0 ? "short" : "in hand"} (${found.tightest})`;
  const opens = (found) => `${found.opens}${found.in_time ? "" : ", too late"}`;
  const percent = (found) => `${Math.round(100 * found.chance)} %`;
  function tell(found, said) {
    desk.fault(by("play-fault"), found.fault);
    last = found.fault || found.chance === undefined ? null : { ...found, said };
    by("keep-what-if").disabled = !last;
    const line = (name, text) => [desk.make("dt", {}, name), desk.make("dd", {}, text)];
    by("play-found").replaceChildren(...(found.fault ? [] : [
      ...line("All of it holds", found.chance === undefined ? "..." : `${percent(found)} of nights`),
      ...line("Least in hand", hand(found)), ...line("First bucket", found.first), ...line("Opens", opens(found))]));
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
  for (const one of inputs) one.addEventListener("input", move);
  by("keep-what-if").addEventListener("click", () => {
    if (!last) return;
    by("what-ifs").hidden = false;
    const row = desk.make("tr", {}, desk.make("th", { scope: "row" }, last.said), ...[percent(last), hand(last), opens(last)].map((cell) => desk.make("td", {}, cell)));
    by("what-ifs").querySelector("tbody").append(row);
  });
  if (!by("play").hidden) move();
})();
