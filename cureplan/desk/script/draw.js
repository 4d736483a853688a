"use strict";
// A room on squared paper: corners, islands and stop lines dragged or typed. Metres inside.
class Drawing {
  constructor(holder) {
    this.holder = holder;
    this.number = holder.dataset.room;
    const shape = JSON.parse(holder.dataset.shape);
    const us = document.getElementById("job").dataset.us === "yes";
    this.us = us;
    this.square = us ? 0.3048 : 0.5;
    this.snap = us ? 0.0762 : 0.05;
    if (shape) { this.take(shape); this.build(); return; }
    holder.querySelector(".plain-shape").addEventListener("click", () => {
      this.take({ corners: [[0, 0], [15, 0], [15, 20], [0, 20]].map((p) => p.map((v) => v * this.square)), islands: [], lines: [], wall: [0, 1] });
      this.build();
      this.save();
    });
  }
  take(shape) {
    this.corners = shape.corners.map((p) => [...p]);
    this.islands = shape.islands.map((ring) => ring.map((p) => [...p]));
    this.lines = shape.lines.map((line) => line.map((p) => [...p]));
    this.wall = shape.wall;
  }

  // Lengths as the trade writes them.
  text(metres) {
    if (!this.us) return `${Number(metres.toFixed(3))} m`;
    const eighths = Math.round(metres / 0.0254 * 8);
    const feet = Math.floor(eighths / 96);
    const inches = Math.floor((eighths - feet * 96) / 8);
    let part = eighths % 8, of = 8;
    while (part && part % 2 === 0) { part /= 2; of /= 2; }
    const rest = [inches || (!part && !feet) ? String(inches) : "", part ? `${part}/${of}` : ""].filter(Boolean).join(" ");
    return [feet ? `${feet} ft` : "", rest ? `${rest} in` : ""].filter(Boolean).join(" ");
  }
  near(value) { return Math.round(value / this.snap) * this.snap; }
  static side(ring, i) { const j = (i + 1) % ring.length; return [ring[j][0] - ring[i][0], ring[j][1] - ring[i][1]]; }
  static square(ring) { return ring.every((_, i) => Drawing.side(ring, i).some((d) => Math.abs(d) < 1e-6)); }

  build() {
    const tool = (words, act) => desk.make("button", { class: "plain", type: "button", onclick: () => { act(); this.origin(); this.draw(); this.save(); } }, words);
    this.svg = desk.make("svg", { class: "drawing", role: "group", "aria-label": "The room on squared paper; drag its corners, or move them with the arrow keys" });
    this.sides = desk.make("div", { class: "sides" });
    this.extras = desk.make("div", { class: "tools" });
    this.holder.replaceChildren(
      desk.make("div", { class: "tools" },
        tool("Rectangle", () => this.rectangle()), tool("L-shape", () => this.ell()),
        tool("Add a corner", () => this.corner()), tool("Add an island", () => this.island()),
        tool("Add a drain or joint", () => this.line())),
      this.svg, this.extras, this.sides);
    this.draw();
  }
  bounds(points = this.corners) {
    const xs = points.map((p) => p[0]), ys = points.map((p) => p[1]);
    return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
  }
  rectangle() {
    const [a, b, c, d] = this.bounds();
    this.corners = [[a, b], [c, b], [c, d], [a, d]];
    this.wall = [0, 1];
  }
  ell() {
    const [a, b, c, d] = this.bounds();
    const x = this.near((a + c) / 2), y = this.near((b + d) / 2);
    this.corners = [[a, b], [c, b], [c, y], [x, y], [x, d], [a, d]];
    this.wall = [0, 1];
    this.islands = this.islands.filter((ring) => ring.every((p) => this.inside(p)));
  }
  corner() {
    // In the middle of the longest side, a little notch that can be dragged.
    const lengths = this.corners.map((_, i) => Math.hypot(...Drawing.side(this.corners, i)));
    const i = lengths.indexOf(Math.max(...lengths));
    const [dx, dy] = Drawing.side(this.corners, i);
    const p = this.corners[i];
    this.corners.splice(i + 1, 0, [this.near(p[0] + dx / 2), this.near(p[1] + dy / 2)]);
    this.wall = this.wall.map((w) => (w > i ? w + 1 : w));
    if (Math.abs(this.wall[0] - this.wall[1]) !== 1) this.wall = [0, 1];
  }
  inside([x, y]) {
    let within = false;
    this.corners.forEach((p, i) => {
      const q = this.corners[(i + 1) % this.corners.length];
      if ((p[1] > y) !== (q[1] > y) && x < (q[0] - p[0]) * (y - p[1]) / (q[1] - p[1]) + p[0]) within = !within;
    });
    return within;
  }
  island() {
    const [a, b, c, d] = this.bounds();
    const w = this.near(Math.min(3 * this.square, (c - a) / 4)), h = this.near(Math.min(2 * this.square, (d - b) / 4));
    let best = null;
    for (let x = a; x + w <= c; x += this.square) {
      for (let y = b; y + h <= d; y += this.square) {
        const ring = [[x, y], [x + w, y], [x + w, y + h], [x, y + h]].map((p) => p.map((v) => this.near(v)));
        const free = ring.every((p) => this.inside([p[0] + 1e-3 * Math.sign(x + w / 2 - p[0]), p[1] + 1e-3 * Math.sign(y + h / 2 - p[1])]));
        const taken = this.islands.some((other) => { const o = this.bounds(other); return x < o[2] && o[0] < x + w && y < o[3] && o[1] < y + h; });
        const far = Math.hypot(x + w / 2 - (a + c) / 2, y + h / 2 - (b + d) / 2);
        if (free && !taken && (best === null || far < best[0])) best = [far, ring];
      }
    }
    if (best) this.islands.push(best[1]);
  }
  line() {
    const [a, b, c, d] = this.bounds();
    const y = this.near(b + (d - b) * (this.lines.length + 1) / (this.lines.length + 2));
    this.lines.push([[a, y], [c, y]]);
  }
  // Lengths are written from the room's own corner, never below nought.
  origin() {
    const [a, b] = this.bounds();
    for (const ring of [this.corners, ...this.islands, ...this.lines]) for (const p of ring) { p[0] -= a; p[1] -= b; }
  }

  draw() {
    const [a, b, c, d] = this.bounds();
    const pad = 1.5 * this.square;
    this.svg.setAttribute("viewBox", `${a - pad} ${b - pad} ${c - a + 2 * pad} ${d - b + 2 * pad}`);
    this.svg.style.setProperty("--text", `${Math.max((c - a) / 26, (d - b) / 16)}px`);
    const r = Math.max(c - a, d - b) / 60;
    const parts = [];
    // The paper is wider than the room.
    const [left, right] = [a - pad - (d - b), c + pad + (d - b)];
    for (let x = Math.floor(left / this.square) * this.square; x <= right; x += this.square) parts.push(desk.make("line", { class: "square", x1: x, x2: x, y1: b - pad, y2: d + pad }));
    for (let y = Math.floor((b - pad) / this.square) * this.square; y <= d + pad; y += this.square) parts.push(desk.make("line", { class: "square", y1: y, y2: y, x1: left, x2: right }));
    const path = (ring) => `M${ring.map((p) => p.join(" ")).join("L")}Z`;
    parts.push(desk.make("path", { class: "floor", d: path(this.corners) }));
    const [w, v] = this.wall.map((i) => this.corners[i]);
    if (w && v) parts.push(desk.make("line", { class: "begin", x1: w[0], y1: w[1], x2: v[0], y2: v[1] }));
    this.islands.forEach((ring, k) => {
      const node = desk.make("path", { class: "island", d: path(ring), tabindex: 0, role: "button", "aria-label": `Island ${k + 1}` });
      this.movable(node, ring, (dx, dy) => ring.forEach((p) => { p[0] += dx; p[1] += dy; }), () => this.islands.splice(k, 1));
      parts.push(node);
    });
    for (const line of this.lines) parts.push(desk.make("line", { class: "drain", x1: line[0][0], y1: line[0][1], x2: line[1][0], y2: line[1][1] }));
    this.corners.forEach((p, i) => {
      const [dx, dy] = Drawing.side(this.corners, i);
      const long = Math.hypot(dx, dy) || 1;
      const label = desk.make("text", { x: p[0] + dx / 2 - dy / long * r * 2.2, y: p[1] + dy / 2 + dx / long * r * 2.2 });
      label.textContent = String.fromCharCode(65 + i % 26);
      parts.push(label);
    });
    const grips = (ring, words) => ring.forEach((p, i) => {
      const grip = desk.make("circle", { class: "grip", cx: p[0], cy: p[1], r, tabindex: 0, role: "button", "aria-label": `${words} ${i + 1}` });
      this.movable(grip, ring, (dx, dy) => this.shift(ring, i, dx, dy), () => {
        if (ring === this.corners && ring.length > 3) { ring.splice(i, 1); this.wall = [0, 1]; }
      });
      parts.push(grip);
    });
    this.islands.forEach((ring, k) => grips(ring, `Island ${k + 1}, corner`));
    this.lines.forEach((line, k) => grips(line, `Drain or joint ${k + 1}, end`));
    grips(this.corners, "Corner");
    this.svg.replaceChildren(...parts);
    this.fields();
  }
  shift(ring, i, dx, dy) {
    const p = ring[i];
    if (ring.length > 2 && Drawing.square(ring)) {
      // Right angles stay: each neighbour follows along the side they share.
      for (const j of [(i + 1) % ring.length, (i + ring.length - 1) % ring.length]) {
        if (Math.abs(ring[j][0] - p[0]) < 1e-6) ring[j][0] += dx; else ring[j][1] += dy;
      }
    }
    p[0] += dx; p[1] += dy;
  }
  movable(node, ring, move, remove) {
    node.addEventListener("pointerdown", (event) => {
      event.preventDefault();
      const toRoom = this.svg.getScreenCTM().inverse();
      const at = (e) => new DOMPoint(e.clientX, e.clientY).matrixTransform(toRoom);
      const begin = at(event);
      const before = [this.corners, this.islands, this.lines].map((rings) => JSON.stringify(rings));
      let done = [0, 0];
      const dragged = (e) => {
        const now = at(e);
        const step = [this.near(now.x - begin.x), this.near(now.y - begin.y)];
        if (step[0] === done[0] && step[1] === done[1]) return;
        move(step[0] - done[0], step[1] - done[1]);
        done = step;
        this.draw();
      };
      const dropped = () => {
        removeEventListener("pointermove", dragged);
        removeEventListener("pointerup", dropped);
        removeEventListener("pointercancel", dropped);
        const after = [this.corners, this.islands, this.lines].map((rings) => JSON.stringify(rings));
        if (String(after) !== String(before)) { this.origin(); this.draw(); this.save(); }
      };
      addEventListener("pointermove", dragged);
      addEventListener("pointerup", dropped);
      addEventListener("pointercancel", dropped);
    });
    node.addEventListener("keydown", (event) => {
      const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
      const label = node.getAttribute("aria-label");
      if (event.key in steps) move(...steps[event.key].map((v) => v * this.snap));
      else if (event.key === "Delete" || event.key === "Backspace") remove();
      else return;
      event.preventDefault();
      this.origin();
      this.draw();
      const same = [...this.svg.querySelectorAll("[tabindex]")].find((one) => one.getAttribute("aria-label") === label);
      if (same) same.focus();
      saved("Not saved yet");
      clearTimeout(this.later);
      this.later = setTimeout(() => this.save(), 600);
    });
  }
  fields() {
    if (this.sides.contains(document.activeElement) && this.sides.children.length === this.corners.length + 1) {
      this.corners.forEach((_, i) => { this.sides.children[i].querySelector("input").value = this.text(Math.hypot(...Drawing.side(this.corners, i))); });
    } else {
      const all = this.corners.map((_, i) => {
        const name = String.fromCharCode(65 + i % 26);
        const id = `side-${this.number}-${i}`;
        const input = desk.make("input", { id, value: this.text(Math.hypot(...Drawing.side(this.corners, i))), autocomplete: "off" });
        input.value = input.getAttribute("value");
        input.addEventListener("change", () => this.typed(i, input));
        return desk.make("div", {}, desk.make("label", { for: id }, `Side ${name}`), input);
      });
      const begins = desk.make("select", { id: `wall-${this.number}` }, ...this.corners.map((_, i) => {
        const option = desk.make("option", { value: i }, `Side ${String.fromCharCode(65 + i % 26)}`);
        const j = (i + 1) % this.corners.length;
        if (this.wall.includes(i) && this.wall.includes(j)) option.setAttribute("selected", "");
        return option;
      }));
      begins.addEventListener("change", () => {
        const i = Number(begins.value);
        this.wall = [i, (i + 1) % this.corners.length];
        this.draw();
        this.save();
      });
      this.sides.replaceChildren(...all, desk.make("div", {}, desk.make("label", { for: `wall-${this.number}` }, "The pour begins at"), begins));
    }
    const drop = (list, k, words) => desk.make("button", { class: "plain", type: "button", onclick: () => { list.splice(k, 1); this.draw(); this.save(); } }, words);
    this.extras.replaceChildren(
      ...this.islands.map((_, k) => drop(this.islands, k, `Remove island ${k + 1}`)),
      ...this.lines.map((_, k) => drop(this.lines, k, `Remove drain or joint ${k + 1}`)));
  }
  // A side typed anew moves the next wall along; with right angles they stay right.
  async typed(i, input) {
    const fault = this.holder.parentElement.querySelector(".shape-fault");
    const answer = await desk.post("/length", { text: input.value }).catch(() => ({ fault: "The desk is out of reach." }));
    desk.fault(fault, answer.fault ? `Side ${String.fromCharCode(65 + i % 26)}: ${answer.fault}` : "");
    if (answer.fault || !(answer.m > 0)) { if (!answer.fault) desk.fault(fault, "a side is longer than nothing"); return; }
    const n = this.corners.length;
    const [dx, dy] = Drawing.side(this.corners, i);
    const long = Math.hypot(dx, dy) || 1;
    const by = [dx / long * (answer.m - long), dy / long * (answer.m - long)];
    const moved = Drawing.square(this.corners) ? [(i + 1) % n, (i + 2) % n] : [(i + 1) % n];
    for (const k of moved) { this.corners[k][0] += by[0]; this.corners[k][1] += by[1]; }
    this.origin();
    this.draw();
    this.save();
  }
  save() {
    const texts = (ring) => ring.map((p) => p.map((v) => this.text(Math.max(0, v))));
    const [a, b, c, d] = this.bounds();
    const plain = [[a, b], [c, b], [c, d], [a, d]].every((p, i) => this.corners.length === 4 && Math.hypot(p[0] - this.corners[i][0], p[1] - this.corners[i][1]) < 1e-6);
    const wall = this.wall.map((i) => i + 1);
    const shape = plain ? { width: this.text(c - a), length: this.text(d - b) } : { outline: texts(this.corners) };
    shape.islands = this.islands.map(texts);
    shape.stop_lines = this.lines.map(texts);
    if (wall[0] !== 1 || wall[1] !== 2) shape.back_wall = wall;
    const fault = this.holder.parentElement.querySelector(".shape-fault");
    send([{ do: "shape", key: `rooms[${this.number}].name`, shape }], (answer) => { if (answer.fault) desk.fault(fault, answer.fault); });
  }
}
document.addEventListener("DOMContentLoaded", () => {
  for (const holder of document.querySelectorAll(".shape[data-room]")) new Drawing(holder);
});

// The night ruler: shifts on a day of 24 hours, to be seen beside what is typed.
class Ruler {
  constructor(holder) { this.holder = holder; this.draw(); document.addEventListener("job-saved", () => this.draw()); }
  draw() {
    const rows = [["crew.pour_shifts", "Pour"], ["crew.topcoat_shifts", "Topcoat"]];
    const svg = desk.make("svg", { class: "shifts", viewBox: "0 0 480 74", role: "img", "aria-label": "The shifts on a day from noon to noon" });
    const x = (minute) => 60 + ((minute - 720 + 2880) % 1440) / 1440 * 410;
    for (let hour = 12; hour <= 36; hour += 6) {
      const at = hour === 36 ? 470 : x((hour % 24) * 60);
      svg.append(desk.make("line", { class: "square", x1: at, x2: at, y1: 4, y2: 52 }));
      const words = desk.make("text", { class: hour === 36 ? "hour last" : "hour", x: at, y: 66 });
      words.textContent = `${String(hour % 24).padStart(2, "0")}:00`;
      svg.append(words);
    }
    rows.forEach(([key, words], row) => {
      const label = desk.make("text", { class: "crew", x: 4, y: 20 + 24 * row });
      label.textContent = words;
      svg.append(label);
      const field = box(key);
      for (const match of (field ? textOf(field) : "").matchAll(/(\d{1,2}):(\d{2}) to (\d{1,2}):(\d{2})/g)) {
        const [from, to] = [Number(match[1]) * 60 + Number(match[2]), Number(match[3]) * 60 + Number(match[4])];
        const left = x(from), right = to % 1440 === 720 ? 470 : x(to % 1440);
        const bars = right > left ? [[left, right]] : [[left, 470], [60, right]];
        for (const [p, q] of bars) svg.append(desk.make("rect", { class: row ? "on-topcoat" : "on-pour", x: p, y: 8 + 24 * row, width: Math.max(1, q - p), height: 16, rx: 3 }));
      }
    });
    this.holder.replaceChildren(svg);
  }
}
document.addEventListener("DOMContentLoaded", () => {
  const ruler = document.getElementById("ruler");
  if (ruler) new Ruler(ruler);
});
