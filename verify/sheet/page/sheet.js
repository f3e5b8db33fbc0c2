"use strict";
(() => {
  const form = JSON.parse(document.getElementById("form").textContent);
  const order = document.getElementById("order");
  const key = "install order, " + form.vessel + ", " + form.plan;
  const byId = (id) => document.getElementById(id);

  // What is filled in: ticks and texts by their ids, results by their names.
  const read = () => {
    const kept = {};
    for (const field of order.elements) {
      if (field.type === "radio") {
        if (field.checked) kept[field.name] = field.value;
      } else if (field.type === "checkbox") {
        if (field.checked) kept[field.id] = true;
      } else if (field.type === "text" && field.value !== field.defaultValue) {
        kept[field.id] = field.value;
      }
    }
    return kept;
  };

  const fill = (kept) => {
    for (const field of order.elements) {
      const value = field.type === "radio" ? kept[field.name] : kept[field.id];
      if (field.type === "radio") field.checked = field.value === value;
      else if (field.type === "checkbox") field.checked = value === true;
      else if (field.type === "text" && typeof value === "string") field.value = value;
    }
  };

  const lost = () => {
    byId("kept").hidden = true;
    byId("lost").hidden = false;
  };

  const keep = () => {
    try {
      localStorage.setItem(key, JSON.stringify(read()));
    } catch {
      lost();
    }
  };

  const restore = () => {
    try {
      const kept = JSON.parse(localStorage.getItem(key) ?? "{}");
      if (typeof kept === "object" && kept !== null) fill(kept);
      localStorage.setItem(key, JSON.stringify(read()));
    } catch {
      lost();
    }
  };

  const version = (text) => text.trim().replace(/^v(?=\d)/i, "");

  // A version that isn't the one wanted is told beside it, in words.
  const compare = (field) => {
    const differs = byId(field.id + "-differs");
    if (differs === null) return;
    const now = version(field.value);
    const want = version(field.dataset.want);
    const same = now === "" || want === "" || now === want;
    differs.firstElementChild.hidden = same;
    if (same) field.removeAttribute("aria-invalid");
    else field.setAttribute("aria-invalid", "true");
  };

  const value = (id) => byId(id)?.value.trim() ?? "";
  const result = (name) => order.querySelector("input:checked[name='" + name + "']")?.value ?? "";
  const readAboard = (device) => {
    for (const field of order.querySelectorAll("input[data-read]")) {
      if (field.dataset.read === device) return version(field.value);
    }
    return "";
  };

  // The filled-in form, as the shop takes it.
  const filled = () => {
    const out = structuredClone(form);
    const now = new Map();
    out.by = value("by");
    out.settings_saved = value("start-settings-where");
    for (const step of out.steps) {
      step.before = now.get(step.device) ?? readAboard(step.device);
      step.after = version(value("after-" + step.number));
      step.result = result("result-" + step.number);
      step.minutes = Number.parseInt(value("took-" + step.number), 10) || 0;
      step.note = value("note-" + step.number);
      if (step.after !== "") now.set(step.device, step.after);
    }
    out.checks.forEach((check, i) => {
      check.result = result("check-" + (i + 1));
      check.value = value("value-" + (i + 1));
    });
    return JSON.stringify(out, null, 2) + "\n";
  };

  const save = () => {
    const file = form.vessel.replace(/[^A-Za-z0-9-]/g, "_") + "-" + form.plan.slice(0, 8) + ".json";
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([filled()], { type: "application/json" }));
    link.download = file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    const said = byId("saved").firstElementChild;
    said.textContent = said.dataset.text.replace("{file}", () => file);
    said.hidden = false;
  };

  order.addEventListener("submit", (event) => event.preventDefault());
  order.addEventListener("input", (event) => {
    compare(event.target);
    keep();
  });
  byId("save")?.addEventListener("click", save);
  byId("copy")?.addEventListener("toggle", () => { byId("filled").value = filled(); });
  restore();
  for (const field of order.querySelectorAll("input[data-want]")) compare(field);
})();
