"use strict";
// The page of a night: its buttons, and the newest state as soon as the desk tells of one.
const live = document.getElementById("night");
const fault = document.getElementById("night-fault");
const base = live.dataset.base;
let asking = false;
let stale = false;

async function refresh() {
  stale = true;
  if (asking) return;
  asking = true;
  while (stale) {
    stale = false;
    try {
      const answer = await fetch(base + "/part");
      if (answer.ok) put(await answer.text());
    } catch (error) {
      say("The desk does not answer.");
    }
  }
  asking = false;
}

// Whoever stands on a button by key stays there.
function put(html) {
  const at = document.activeElement && document.activeElement.dataset;
  live.innerHTML = html;
  if (!at || !at.do) return;
  const same = [...live.querySelectorAll("[data-do]")]
    .find((button) => button.dataset.do === at.do && button.dataset.id === at.id);
  if (same) same.focus();
}

function say(words) {
  fault.textContent = words;
  fault.hidden = !words;
}

async function post(what, sent) {
  say("");
  try {
    const answer = await fetch(base + "/" + what, { method: "POST", body: JSON.stringify(sent) });
    const said = await answer.json();
    if (!answer.ok) say(said.fault);
    else if (said.refused && said.refused.length) say(said.refused.map((one) => one.why).join("; "));
  } catch (error) {
    say("The desk does not answer.");
  }
  refresh();
}

live.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-do]");
  if (button === null) return;
  const { do: what, id, back, on } = button.dataset;
  post(what, { id, back: Boolean(back), on: Boolean(on) });
});

live.addEventListener("change", (event) => {
  if (event.target.id === "night-network" && event.target.value) post("share", { address: event.target.value });
});

document.getElementById("night-file").addEventListener("change", async (event) => {
  const [file] = event.target.files;
  if (file) await post("file", { name: file.name, text: await file.text() });
  event.target.value = "";
});

function listen() {
  const stream = new EventSource(base + "/feed");
  stream.onmessage = refresh;
  stream.onerror = () => {
    stream.close();
    say("The desk does not answer.");
    window.setTimeout(listen, 1000);
  };
  stream.onopen = () => say("");
}

listen();
