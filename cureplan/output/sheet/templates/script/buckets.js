// Which buckets are in hand, and their cards.
const SHOWN_BEFORE_S = 20 * 60;
const ASSUMED_POURED_AFTER_S = 120;

function stageOf(index, now) {
  if (now >= taskAt(index, "broadcast")) return "done";
  if (index in state.poured) return "floor";
  if (now >= taskAt(index, "pour") + ASSUMED_POURED_AFTER_S) return "floor";
  if (now >= taskAt(index, "filler")) return "pail";
  return now >= taskAt(index, "liquids") ? "mixing" : "mix";
}

function bucketsInHand(now) {
  const hand = { up: [], floor: [] };
  let nextTaken = false;
  plan.buckets.forEach((bucket, index) => {
    const stage = stageOf(index, now);
    if (stage === "floor") hand.floor.push({ index, stage });
    if (stage === "pail" || stage === "mixing") hand.up.push({ index, stage });
    if (stage === "mix" && !nextTaken) {
      nextTaken = true;
      if (taskAt(index, "liquids") - now < SHOWN_BEFORE_S) hand.up.push({ index, stage });
    }
  });
  return hand;
}

function dueTask(index, stage, now) {
  if (stage === "pail") return { task: "pour", at: taskAt(index, "pour") };
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
  const meters = element("ul", { class: "meters" });
  return element("li", { class: "in-hand" },
    element("p", { class: "hand-top" },
      element("span", { class: "tag" }), element("strong", {}), element("span", { class: "soft" })),
    element("p", { class: "hand-due" }),
    meters,
    element("p", { class: "hand-buttons" },
      element("button", { type: "button", class: "big", "data-pour": "" }),
      element("button", { type: "button", class: "plain", "data-short": "", "aria-pressed": "false" })));
}

function meterRow() {
  return element("li", {},
    element("span", { class: "meter-name" }),
    element("span", { class: "meter-bar", "aria-hidden": "true" }, element("span", {})),
    element("span", { class: "meter-left" }),
    element("button", { type: "button", class: "plain went", "aria-pressed": "false" }));
}

function changeMeter(row, item) {
  const { language, index, clock, now } = item;
  const end = clockEnd(index, clock);
  const left = end - now;
  const whole = plan.buckets[index][clock.end] - plan.buckets[index].filler;
  put(row.children[0], word(language, clock.name, {}));
  row.children[1].firstElementChild.style.width =
    Math.max(0, Math.min(100, (100 * left) / whole)) + "%";
  row.children[1].firstElementChild.className = "fill-" + clock.name;
  const key = left < 0 ? "over" : "left";
  const minutes = left < 0 ? Math.ceil(-left / 60) : Math.floor(left / 60);
  const mood = left < 0 ? "▲ " : left < 120 ? "◆ " : "";
  put(row.children[2], mood + word(language, key, { minutes }));
  row.classList.toggle("ending", left < 120);
  changeWent(row.children[3], item);
}

function changeWent(button, { language, index, clock }) {
  const place = wentAt(index, clock.name);
  const text = place < 0 ? word(language, "ended", {}) :
    word(language, "ended_at", { at: clockText(state.events[place].at) });
  mark(button, "data-went", clock.name);
  mark(button, "data-index", String(index));
  mark(button, "aria-pressed", String(place >= 0));
  mark(button, "aria-label", text + ": " + word(language, clock.name, {}) + ", " + bucketName(language, index));
  put(button, text);
  show(button, index in state.poured);
}

function changeCard(card, item) {
  const { language, index, stage, now } = item;
  const [top, due, meters, buttons] = card.children;
  const bucket = plan.buckets[index];
  put(top.children[0], word(language, labelOf(index, stage, now), {}));
  put(top.children[1], bucketName(language, index));
  const extra = stage === "floor" ? [] : [word(language, "station", { number: bucket.station })];
  if (bucket.iced && stage !== "floor") extra.push(word(language, "iced", {}));
  put(top.children[2], extra.join(", "));
  const next = dueTask(index, stage, now);
  put(due, next === null ? word(language, "done", {}) :
    word(language, next.task, {}) + " " + clockText(next.at) + ", " + countdown(language, next.at, now));
  const running = now >= taskAt(index, "filler");
  const clocks = CLOCKS.filter((clock) => running && bucket[clock.task] !== null);
  fill(meters, clocks.map((clock) => ({ language, index, clock, now })), meterRow, changeMeter);
  changeButtons(buttons, language, index, stage);
}

function changeButtons(buttons, language, index, stage) {
  const [pour, short] = buttons.children;
  mark(pour, "data-pour", String(index));
  put(pour, word(language, "poured", {}));
  const mixed = stage === "pail" || stage === "floor";
  show(pour, mixed && !(index in state.poured));
  pour.className = stage === "floor" ? "plain" : "big";
  mark(short, "data-short", String(index));
  const marked = index in state.short;
  mark(short, "aria-pressed", String(marked));
  put(short, marked ? "▲ " + word(language, "ran_short", {}) : word(language, "mark_short", {}));
  show(short, mixed);
}
