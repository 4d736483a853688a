// Alerts: off until a tap allows them. Each thing the browser cannot do is said in a word.
let alerting = false;
let sounds = null;
let awake = null;
const rung = new Set();
// A page in the background beats only once a minute.
const RUNG_LATE_S = 90;

function alertList(now) {
  const found = plan.ice.map((item, place) => ({ at: item.by, key: "ice:" + place, name: "ice",
    text: (language) => word(language, "ice", {}) + ": " + item.room }))
    .filter((item) => !(item.key in state.done));
  plan.buckets.forEach((bucket, index) => {
    const text = (key) => (language) => word(language, key, {}) + ": " + bucketName(language, index);
    if (!(index in state.poured)) {
      found.push({ at: taskAt(index, "pour"), key: "pour:" + index + ":" + shiftOf(index, "pour"), text: text("pour") });
    } else if (bucket.by !== null && !(bucket.by in state.poured)) {
      found.push({ at: clockEnd(index, CLOCKS[0]) - RULES.edge_soon_s, key: "edge:" + index, text: text("tie") });
    }
  });
  const single = (key, item, { due, begun, done }) => {
    if (begun === undefined && done === undefined) found.push({ at: due, key: key + ":" + item.room + ":" + due,
      text: (language) => word(language, key, {}) + ": " + plan.rooms[item.room].name });
  };
  for (const moved of movedCoves()) single("cove", moved.cove, moved);
  for (const moved of movedPrimers()) single("primer", moved.primer, moved);
  for (const item of movedCoats()) {
    if (item.begun !== undefined) {
      const mixed = mixedBatches(item.coat).pop();
      if (mixed !== undefined && item.done === undefined) {
        found.push({ at: mixed + item.coat.pot_s - RULES.edge_soon_s, key: "pot:" + mixed,
          text: (language) => word(language, "pot_ends", {}) + ": " + coatName(language, item.coat) });
      }
      continue;
    }
    found.push({ at: item.due, key: coatKey(item.coat, "coat") + ":" + item.due,
      text: (language) => coatName(language, item.coat) });
  }
  return found.filter((item) => item.at > now - RUNG_LATE_S).sort((a, b) => a.at - b.at);
}

function ring() {
  if (navigator.vibrate) navigator.vibrate([300, 150, 300]);
  if (sounds === null) return;
  const tone = sounds.createOscillator();
  const volume = sounds.createGain();
  tone.frequency.value = 880;
  volume.gain.value = 0.4;
  tone.connect(volume).connect(sounds.destination);
  tone.start();
  tone.stop(sounds.currentTime + 0.6);
}

function alertBeat(now) {
  if (!alerting) return;
  for (const item of alertList(now)) {
    if (item.at > now || rung.has(item.key)) continue;
    rung.add(item.key);
    ring();
  }
}

async function stayAwake() {
  if (!alerting || awake !== null || !navigator.wakeLock) return;
  try {
    awake = await navigator.wakeLock.request("screen");
    awake.addEventListener("release", () => { awake = null; });
  } catch (error) {
    awake = null;
  }
  update();
}

// Allowed once, they come back after a reload with the first tap: no browser sounds before.
let allowed = false;

function tapped() {
  if (allowed && !alerting) toggleAlerts();
}

function toggleAlerts() {
  alerting = !alerting;
  allowed = alerting;
  keepChoice();
  if (alerting && sounds === null && window.AudioContext) sounds = new AudioContext();
  if (alerting) {
    // What lies behind is not rung for.
    for (const item of alertList(now_s())) if (item.at <= now_s()) rung.add(item.key);
    ring();
    stayAwake();
  } else if (awake !== null) {
    awake.release();
  }
}

function makeAlerts(language) {
  const button = (key) => element("button", { type: "button", class: "plain", "data-do": key });
  const box = element("div", { class: "alerts" }, button("alerts"), button("ring"),
    element("span", { class: "soft" }));
  put(box.children[1], word(language, "alert_test", {}));
  return box;
}

function updateAlerts(part, now) {
  const { language, alerts } = part;
  const [toggle, test, told] = alerts.children;
  put(toggle, word(language, alerting ? "alerts_on" : allowed ? "alerts_wait" : "alerts_off", {}));
  mark(toggle, "aria-pressed", String(alerting));
  show(test, alerting);
  show(told, alerting);
  if (!alerting) return;
  const [next] = alertList(now).filter((item) => item.at > now);
  const words = [];
  if (next) words.push(word(language, "alert_next", { at: whenText(language, next.at, now, false), what: next.text(language) }));
  if (!navigator.vibrate) words.push(word(language, "no_buzz", {}));
  if (sounds === null) words.push(word(language, "no_sound", {}));
  words.push(word(language, awake === null ? "no_wake" : "wake", {}));
  put(told, words.join(" "));
}
