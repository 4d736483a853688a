"use strict";
async function begin(path, name, line) {
  const answer = await desk.post(path, { name }).catch(() => ({ fault: "The desk is out of reach; is its window still open?" }));
  if (answer.go) location.assign(answer.go);
  else desk.fault(line, answer.fault);
}
document.getElementById("new-job").addEventListener("submit", (event) => {
  event.preventDefault();
  begin("/jobs", document.getElementById("new-name").value, document.getElementById("new-fault"));
});
for (const button of document.querySelectorAll(".copy")) {
  button.addEventListener("click", () => {
    if (button.nextElementSibling) return;
    const id = `copy-${button.dataset.name}`;
    const input = desk.make("input", { id, maxlength: 60, value: `${button.dataset.name} 2` });
    const fault = desk.make("p", { class: "fault", role: "alert", hidden: "" });
    const form = desk.make("form", { class: "in-line" },
      desk.make("label", { for: id }, "Name of the copy"), input, desk.make("button", { class: "big" }, "Copy"), fault);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      begin(`/jobs/${encodeURIComponent(button.dataset.name)}/copy`, input.value, fault);
    });
    button.after(form);
    input.focus();
  });
}
