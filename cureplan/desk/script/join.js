"use strict";
// A code from the address of the QR picture is put in its field, and out of the address.
const form = document.getElementById("join");
const asked = new URLSearchParams(location.search).get("code");
if (asked) form.elements.code.value = asked;
history.replaceState(null, "", "/");
(asked ? form.elements.name : form.elements.code).focus();

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  const fault = form.querySelector(".fault");
  fault.hidden = true;
  const said = { code: form.elements.code.value, name: form.elements.name.value };
  try {
    const answer = await fetch("/join", { method: "POST", body: JSON.stringify(said) });
    if (answer.ok) {
      // What the browser still keeps may be the sheet of another night.
      await fetch("/", { cache: "reload" });
      return location.replace("/");
    }
    fault.textContent = answer.status === 403 ? form.dataset.wrong
      : answer.status === 429 ? form.dataset.many : (await answer.json()).fault;
  } catch (error) {
    fault.textContent = String(error.message);
  }
  fault.hidden = false;
  return undefined;
});
