"use strict";
(() => {
  const form = JSON.parse(document.getElementById("form").textContent);
  const byId = (id) => document.getElementById(id);
  const order = byId("order");
  order.addEventListener("submit", (event) => event.preventDefault());

  const version = (text) => text.trim().replace(/^v(?=\d)/i, "");
  const show = (id, on) => { byId(id).firstElementChild.hidden = !on; };

  // A version that isn't the one wanted is told beside it, in words.
  const compare = (field) => {
    const now = version(field.value);
    const want = version(field.dataset.want);
    const same = now === "" || want === "" || now === want;
    show(field.id + "-differs", !same);
    if (same) field.removeAttribute("aria-invalid");
    else field.setAttribute("aria-invalid", "true");
  };

  order.addEventListener("input", (event) => {
    if (event.target.dataset.want !== undefined) compare(event.target);
  });
  if (byId("export") === null) return; // only versions are read here, and kept nowhere

  const survey = form.kind === "survey"; // else an install order
  const key = survey ? "survey, " + form.vessel : "install order, " + form.vessel + ", " + form.plan;
  const narrow = matchMedia("(max-width: 46rem)");
  const maxFile = 4 << 20;

  const fields = () => [...order.elements].filter((f) => ["radio", "checkbox", "text"].includes(f.type));
  const nameOf = (field) => (field.type === "radio" ? field.name : field.id);

  // What is filled in, by the ids of ticks and texts and the names of choices.
  const read = () => {
    const all = new Map();
    for (const field of fields()) {
      if (field.type === "text") {
        if (field.value !== field.defaultValue) all.set(field.id, field.value);
      } else if (field.checked) {
        all.set(nameOf(field), field.type === "radio" ? field.value : "yes");
      }
    }
    return all;
  };

  // Only fields of this page are filled in, and only with text that fits them.
  const fill = (all) => {
    let n = 0;
    for (const field of fields()) {
      const value = all.get(nameOf(field));
      const text = typeof value === "string" ? value : "";
      if (field.type === "radio") field.checked = field.value === text;
      else if (field.type === "checkbox") field.checked = text === "yes";
      else field.value = typeof value === "string" ? text.slice(0, field.maxLength) : field.defaultValue;
      if (field.type === "text" ? field.value !== field.defaultValue : field.checked) n++;
    }
    refresh();
    return n;
  };

  const lost = () => {
    byId("kept").hidden = true;
    byId("lost").hidden = false;
  };

  const keep = () => {
    try {
      localStorage.setItem(key, JSON.stringify([...read()]));
    } catch {
      lost();
    }
  };

  const restore = () => {
    try {
      const kept = JSON.parse(localStorage.getItem(key) ?? "[]");
      const pairs = Array.isArray(kept) ? kept.filter((p) => Array.isArray(p) && p.length === 2) : [];
      fill(new Map(pairs));
      localStorage.setItem(key, JSON.stringify([...read()]));
    } catch {
      lost();
    }
  };

  const value = (id) => byId(id)?.value.trim() ?? "";
  const chosen = (name) => fields().find((f) => f.type === "radio" && f.name === name && f.checked)?.value ?? "";

  // A step that doesn't show its version isn't done, unless the note says why.
  const guard = (number, asked) => {
    const after = byId("after-" + number);
    const right = version(after.value) === version(after.dataset.want) || value("note-" + number) !== "";
    if (right) {
      show("reason-" + number, false);
      return;
    }
    for (const field of fields()) {
      if (field.name === "result-" + number && field.value === "done" && field.checked) {
        field.checked = false;
        show("reason-" + number, true);
        if (asked) byId("note-" + number).focus();
      }
    }
  };

  const steps = () => [...order.querySelectorAll(".step")];

  // The bar at the foot names the first step that nobody has said anything of.
  const point = () => {
    const now = byId("now");
    if (now === null) return;
    const next = steps().find((s) => chosen("result-" + s.dataset.number) === "");
    now.textContent = next ? now.dataset.now + ": " + next.dataset.name : now.dataset.all;
    now.href = next ? "#" + next.id : "#export";
    for (const step of steps()) step.toggleAttribute("data-now", step === next);
  };

  const count = () => {
    for (const said of order.querySelectorAll(".count")) {
      const boxes = [...said.closest("section").querySelectorAll("input[type=checkbox]")];
      const n = boxes.filter((b) => b.checked).length;
      if (boxes.length > 0) said.textContent = said.dataset.text.replace("{n}", n).replace("{m}", boxes.length);
    }
  };

  // Minutes from midnight of a time written as 16:30; null: it is none.
  const minuteOf = (text) => {
    const m = /^([01]?\d|2[0-3])[:.]([0-5]\d)$/.exec(text);
    return m ? Number(m[1]) * 60 + Number(m[2]) : null;
  };
  const day = 24 * 60;
  const timeOf = (minute) => {
    const m = ((minute % day) + day) % day;
    return String(Math.floor(m / 60)).padStart(2, "0") + ":" + String(m % 60).padStart(2, "0");
  };

  // How far the work gets in the time that there is: from the first step that
  // nobody has said anything of, by what those before it took, from one safe stop
  // to the next.
  const reach = () => {
    const told = byId("clock");
    if (told === null || byId("until") === null) return;
    const start = minuteOf(value("started")), end = minuteOf(value("until"));
    told.hidden = value("started") === "" || value("until") === "";
    if (told.hidden) return;
    if (start === null || end === null) { told.textContent = told.dataset.bad; return; }
    const until = end > start ? end : end + day;
    const all = steps().map((s) => ({
      number: Number(s.dataset.number), minutes: Number(s.dataset.minutes), stop: Number(s.dataset.stop),
      took: Number.parseInt(value("took-" + s.dataset.number), 10) || 0, said: chosen("result-" + s.dataset.number),
    }));
    let now = start, last = null, i = 0;
    for (; i < all.length && all[i].said !== ""; i++) now += all[i].took || (all[i].said === "put off" ? 0 : all[i].minutes);
    let words = told.dataset.all;
    while (i < all.length) {
      const group = all.slice(i).filter((s) => s.number <= all[i].stop);
      const long = group.reduce((sum, s) => sum + s.minutes, 0);
      const unsaid = group.some((s) => s.minutes === 0);
      if (unsaid || now + long > until) {
        words = (last === null ? "" : told.dataset.last + " ") + (unsaid ? told.dataset.unsaid : last === null ? told.dataset.none : "");
        break;
      }
      now += long;
      last = group[group.length - 1];
      i += group.length;
    }
    const fill = {
      "{step}": last?.number ?? "", "{by}": last ? timeOf(until - last.minutes) : "", "{end}": timeOf(now), "{next}": all[i]?.number ?? "",
    };
    told.textContent = words.trim().replace(/\{\w+\}/g, (hole) => fill[hole] ?? hole);
  };

  const refresh = () => {
    reach();
    for (const field of order.querySelectorAll("input[data-want]")) compare(field);
    for (const step of steps()) guard(step.dataset.number, false);
    for (const button of order.querySelectorAll("button.back")) {
      button.hidden = button.parentElement.querySelector("input:checked") === null;
    }
    point();
    count();
  };

  // The filled-in form, as the shop takes it. Page has every field of this page,
  // so that it can be opened here again.
  const filled = () => {
    const out = structuredClone(form);
    out.by = value("by");
    (survey ? found : done)(out);
    out.page = [...read()].map(([id, value]) => ({ id, value }));
    return JSON.stringify(out, null, 2) + "\n";
  };

  // What a survey found.
  const found = (out) => {
    out.found = value("found");
    out.devices.forEach((device, i) => {
      device.as_filed = byId("filed-" + (i + 1)).checked;
      for (const what of ["serial", "version", "place", "note"]) device[what] = value(what + "-" + (i + 1));
    });
    out.also.forEach((device, i) => {
      for (const what of ["model", "place", "serial", "version"]) device[what] = value("new-" + what + "-" + (i + 1));
    });
  };

  // What was done in the steps and the checks.
  const done = (out) => {
    const now = new Map();
    out.settings_saved = value("start-settings-where");
    // Builds from before who agreed and who was told read a form that has neither.
    for (const who of ["approved_by", "told"]) {
      if (value(who) === "") continue;
      out[who] = value(who);
      out.format = 3;
    }
    for (const step of out.steps) {
      step.before = version(value("before-" + step.number)) || (now.get(step.device) ?? "");
      step.after = version(value("after-" + step.number));
      step.result = chosen("result-" + step.number);
      step.minutes = Number.parseInt(value("took-" + step.number), 10) || 0;
      step.note = value("note-" + step.number);
      if (step.after !== "") now.set(step.device, step.after);
    }
    out.checks.forEach((check, i) => {
      check.result = chosen("check-" + (i + 1));
      check.value = value("value-" + (i + 1));
    });
  };

  const say = (text) => { byId("saved").textContent = text; };
  const clip = (text) => (String(text).length > 60 ? String(text).slice(0, 60) + "…" : String(text));

  const save = () => {
    const file = form.vessel.replace(/[^A-Za-z0-9-]/g, "_") + "-" + (survey ? form.kind : form.plan.slice(0, 8)) + ".json";
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([filled()], { type: "application/json" }));
    link.download = file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 60000);
    say(byId("saved").dataset.saved.replace("{file}", () => file));
  };

  // A file of before the page's own fields were in it has steps and checks alone.
  const fromSteps = (saved) => {
    const all = new Map([
      ["by", saved.by], ["start-settings-where", saved.settings_saved], ["approved_by", saved.approved_by], ["told", saved.told],
    ]);
    for (const step of saved.steps) {
      all.set("before-" + step.number, step.before).set("after-" + step.number, step.after);
      all.set("result-" + step.number, step.result).set("note-" + step.number, step.note);
      if (step.minutes > 0) all.set("took-" + step.number, String(step.minutes));
    }
    saved.checks.forEach((check, i) => all.set("check-" + (i + 1), check.result).set("value-" + (i + 1), check.value));
    return all;
  };

  const open = async (file) => {
    const said = byId("saved").dataset;
    try {
      if (file.size > maxFile) throw new Error("too long");
      const saved = JSON.parse(await file.text());
      const plan = survey ? "" : saved.plan;
      if (typeof saved.vessel !== "string" || typeof plan !== "string" || saved.kind !== form.kind) throw new Error("not ours");
      if (saved.vessel !== form.vessel || !survey && plan !== form.plan) {
        say(said.other.replace("{vessel}", () => clip(saved.vessel)).replace("{plan}", () => clip(plan.slice(0, 16))));
        return;
      }
      const all = Array.isArray(saved.page) ? new Map(saved.page.map((f) => [f.id, f.value])) : fromSteps(saved);
      say(said.opened.replace("{n}", fill(all)));
      keep();
    } catch {
      say(said.bad);
    }
  };

  order.addEventListener("input", (event) => {
    if (event.target.id === "open") return;
    const step = event.target.closest(".step");
    if (step) guard(step.dataset.number, event.target.type === "radio");
    refresh();
    keep();
  });
  order.addEventListener("click", (event) => {
    const back = event.target.closest("button.back");
    if (!back) return;
    const was = back.parentElement.querySelector("input:checked");
    was.checked = false;
    was.focus();
    refresh();
    keep();
  });
  byId("save").addEventListener("click", save);
  byId("open").addEventListener("change", async (event) => {
    if (event.target.files.length === 1) await open(event.target.files[0]);
    event.target.value = "";
  });
  byId("copy").addEventListener("toggle", () => { byId("filled").value = filled(); });

  // On a narrow screen what is only looked up is folded; on paper nothing is.
  const folds = [...document.querySelectorAll("details.fold")];
  if (narrow.matches) folds.forEach((d) => { d.open = false; });
  let closed = [];
  addEventListener("beforeprint", () => {
    closed = folds.filter((d) => !d.open);
    closed.forEach((d) => { d.open = true; });
  });
  addEventListener("afterprint", () => closed.forEach((d) => { d.open = false; }));
  // A link into something folded opens it first.
  document.addEventListener("click", (event) => {
    const to = event.target.closest("a[href^='#']")?.getAttribute("href").slice(1);
    if (to) byId(to)?.querySelector(":scope > details.fold")?.setAttribute("open", "");
  });
  restore();
})();
