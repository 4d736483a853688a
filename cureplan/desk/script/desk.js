"use strict";
// Asking the desk, and what a page does while the desk is out of reach.
const desk = {
  async post(path, data) {
    const answer = await fetch(path, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(data || {}),
    });
    let found = {};
    try { found = await answer.json(); } catch { found = { fault: "The desk gave no sound answer." }; }
    return { status: answer.status, ...found };
  },
  away(words) {
    const line = document.getElementById("away");
    line.textContent = words || "";
    line.hidden = !words;
  },
  fault(line, words) {
    if (!line) return;
    line.textContent = words || "";
    line.hidden = !words;
  },
  make(tag, attributes, ...children) {
    const svg = ["svg", "path", "circle", "line", "text", "g", "rect", "pattern", "defs"].includes(tag);
    const node = svg ? document.createElementNS("http://www.w3.org/2000/svg", tag) : document.createElement(tag);
    for (const [key, value] of Object.entries(attributes || {})) {
      if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
      else node.setAttribute(key, value);
    }
    node.append(...children);
    return node;
  },
  kept: {
    get(key) { try { return JSON.parse(localStorage.getItem(key)); } catch { return null; } },
    put(key, value) { try { localStorage.setItem(key, JSON.stringify(value)); } catch { /* a full store loses no file */ } },
    drop(key) { try { localStorage.removeItem(key); } catch { /* nothing kept */ } },
  },
};
