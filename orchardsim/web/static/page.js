"use strict";
// The page's own script: sends each change to the program and shows what it answers.

const find = (id) => document.getElementById(id);
const head = find("head");
const plan = head ? head.dataset.plan : "";
let waiting = Promise.resolve();
let told = "";
let outdated = false;
let revision = head ? Number(head.dataset.revision) : 0;

function tell(words) { find("news").textContent = words; }

async function send(url, body, type) {
  const answer = await fetch(url, {
    method: "POST",
    headers: { "content-type": type || "application/json" },
    body: type ? body : JSON.stringify(body),
  }).catch(() => null);
  if (!answer) return { problem: "The program does not answer. Is it still running?" };
  try { return await answer.json(); } catch { return { problem: await answer.text() }; }
}

function show(found) {
  if (found.shown) {
    const opened = [...find("shown").querySelectorAll("details")].map((one) => one.open);
    find("shown").innerHTML = found.shown;
    find("shown").querySelectorAll("details").forEach((one, number) => { one.open = opened[number] || false; });
  }
  if (found.title) { find("title").textContent = found.title; document.title = found.title; }
  if ("revision" in found) revision = found.revision;
  if ("changed" in found) find("changed").hidden = !found.changed;
  if (found.form) {
    const focused = document.activeElement ? document.activeElement.id : "";
    const opened = new Map([...find("form").querySelectorAll("details")].map((one) => [said(one), one.open]));
    find("form").innerHTML = found.form;
    find("form").querySelectorAll("details").forEach((one) => { if (opened.has(said(one))) one.open = opened.get(said(one)); });
    if (focused && find(focused)) find(focused).focus({ preventScroll: true });
  }
}

// An answer that stands is of the plan as it was asked of: say so once the plan is another.
function markOutdated() {
  const answer = find("answer");
  if (!outdated || !answer.firstElementChild || answer.querySelector(".outdated")) return;
  const note = document.createElement("p");
  note.className = "outdated problem";
  note.textContent = "The plan was changed since this answer was asked for: ask again.";
  answer.prepend(note);
}

function said(details) { return details.querySelector("summary").textContent.replace(/\(\d+\)/, ""); }

function later(work) { waiting = waiting.then(work, work); return waiting; }

async function change(field) {
  const found = await send(plan + "/edit", { place: JSON.parse(field.dataset.place), value: field.value, revision });
  const problem = find(field.id + "-problem");
  if (problem) problem.textContent = found.problem || "";
  if (found.problem) field.setAttribute("aria-invalid", "true"); else field.removeAttribute("aria-invalid");
  show(found);
  if (!found.problem) { outdated = true; markOutdated(); }
  const total = find("bill-total");
  tell(found.problem ? "Not taken over: see the field." : "Taken over." + (total ? " Bill: " + total.textContent : ""));
}

async function alter(action, place, more) {
  const part = document.activeElement ? document.activeElement.closest(".part") : null;
  const found = await send(plan + "/edit", place ? { action, place, ...more } : { action });
  show(found);
  tell(found.problem || (action === "back" ? "Taken back." : action === "add" ? "Added." : "Removed."));
  if (!found.problem) { outdated = true; markOutdated(); }
  if (found.problem || !place) return;
  // The button that was pressed is gone: go on at what was added, or at the part that lost a table.
  const within = JSON.stringify(more ? [...place, more.name] : place).slice(0, -1) + ",";
  const fields = [...find("form").querySelectorAll("[data-place]")].filter((one) => one.dataset.place.replaceAll(", ", ",").startsWith(within));
  const last = fields.at(-1);
  const added = last && fields.find((one) => one.closest("fieldset") === last.closest("fieldset"));
  const next = action === "add" ? added : part && find(part.id) && find(part.id).querySelector("summary");
  if (next) { next.focus(); next.scrollIntoView({ block: "center" }); }
}

async function save(body, where) {
  const found = await send(plan + "/save", body);
  find("save-problem").textContent = found.problem || "";
  if (found.open) { location.href = found.open; return; }
  if (found.saved) { show(found); tell("Saved as " + found.saved + "."); }
}

function numbers() {
  const form = find("run");
  return Object.fromEntries(["trials", "years", "seed"].map((name) => [name, Number(form.elements[name].value)]));
}

async function order(kind, more) {
  tell("Being worked out.");
  await waiting;
  const wrong = find("form").querySelector("[aria-invalid=true]");
  find("work-problem").textContent = wrong ? "A field holds a value that was not taken over: correct it, or empty it, then ask again." : "";
  if (wrong) { tell(""); showField(wrong); return; }
  const found = await send(plan + "/work", { kind, ...numbers(), ...more });
  if (found.problem) { find("work-problem").textContent = found.problem; tell(""); return; }
  find("answer").replaceChildren();
  told = "";
  outdated = false;
  find("progress-line").scrollIntoView({ block: "start" });
  follow();
}

function timeLeft(seconds) {
  if (seconds === null) return "";
  return seconds < 90 ? `, about ${Math.max(1, Math.round(seconds))} s left` : `, about ${Math.round(seconds / 60)} min left`;
}

async function follow() {
  const answer = await fetch("/running").then((one) => one.json()).catch(() => null);
  if (!answer) { find("work-problem").textContent = "The program does not answer. Is it still running?"; return; }
  const bar = find("progress");
  find("stop").disabled = !answer.busy;
  bar.hidden = !answer.busy;
  if (answer.total) { bar.max = answer.total; bar.value = answer.progress; } else { bar.removeAttribute("value"); }
  const mine = plan && answer.name === decodeURIComponent(plan.slice("/plan/".length));
  find("progress-words").textContent = !answer.busy ? "" : answer.total
    ? answer.progress >= answer.total ? "all done; the pages are being written" : `${answer.progress} of ${answer.total} done${timeLeft(answer.seconds_left)}` : "getting ready; the first time the trees are compiled, about a minute";
  if (mine && answer.answer && answer.answer !== told) {
    find("answer").innerHTML = answer.answer;
    // A number of the catalogue has a field only in an entry of one's own.
    find("answer").querySelectorAll("[data-key]").forEach((one) => { one.hidden = !fieldOf(one.dataset.key); });
    if (!told && answer.busy) find("progress-line").scrollIntoView({ block: "start" });
    told = answer.answer;
    markOutdated();
  }
  if (answer.failed) find("work-problem").textContent = answer.failed;
  if (answer.busy) { setTimeout(follow, 250); return; }
  if (answer.stopped) tell("Stopped.");
  if (answer.finished) {
    tell("Finished and kept.");
    find("kept").innerHTML = await fetch(plan + "/kept").then((one) => one.text());
    earlier();
  }
}

function earlier() {
  const choice = find("before");
  const chosen = choice.value;
  choice.length = 1;
  document.querySelectorAll("#kept [data-kind='run']").forEach((row) => {
    choice.add(new Option("the plan of run " + row.dataset.number, row.dataset.number));
  });
  choice.value = chosen;
  if (choice.selectedIndex < 0) choice.selectedIndex = 0;
}

async function bringRecord(file) {
  if (!file) return;
  find("drop-problem").textContent = "";
  tell("Reading " + file.name + " ...");
  const found = await send(plan + "/weather?file=" + encodeURIComponent(file.name), file, "application/octet-stream");
  find("drop-problem").textContent = found.problem || "";
  show(found);
  if (!found.problem) { tell(file.name + " is the plan's record now."); order("weather"); }
}

// The list of keys to try: fetched when it is opened, narrowed by the words that are typed.
async function offerKeys() {
  const list = find("study-key");
  const chosen = list.value;
  list.innerHTML = await fetch(plan + "/study-keys").then((one) => one.text());
  list.value = chosen;
  narrowKeys();
}

function narrowKeys() {
  const words = find("find-key").value.toLowerCase().split(/\s+/).filter(Boolean);
  const list = find("study-key");
  let left = 0;
  for (const table of list.querySelectorAll("optgroup")) {
    let shown = 0;
    for (const one of table.children) {
      const text = `${table.label} ${one.textContent} ${one.dataset.about}`.toLowerCase();
      one.hidden = !words.every((word) => text.includes(word));
      if (one.hidden && one.selected) one.selected = false;
      shown += !one.hidden;
    }
    table.hidden = !shown;
    left += shown;
  }
  const about = list.selectedOptions[0];
  find("study-about").textContent = about ? about.dataset.about : `${left} to choose from`;
}

async function bringMeasured(file) {
  if (!file) return;
  find("measured-problem").textContent = "";
  tell("Reading " + file.name + " ...");
  const found = await send(plan + "/measurements?file=" + encodeURIComponent(file.name), file, "application/octet-stream");
  find("measured-problem").textContent = found.problem || "";
  if (found.problem) tell(""); else {
    order("fit", { measurements: found.file, following: find("following").checked, waiting: find("waiting").checked });
  }
}

// The field of a key, as the program names it: blocks are counted from one, and what holds for all stands at the first.
function fieldOf(key) {
  const named = (place, counted) => place.reduce((text, part) => typeof part === "number"
    ? text + (counted ? " " + (part + 1) : "") : text + (text ? "." : "") + part, "");
  const fields = [...find("form").querySelectorAll("[data-place]")];
  return [true, false].map((counted) => fields.find((one) => named(JSON.parse(one.dataset.place), counted) === key)).find(Boolean);
}

function stateIt(key) {
  showField(fieldOf(key));
}

function showField(field) {
  for (let one = field.parentElement; one; one = one.parentElement) if (one.tagName === "DETAILS") one.open = true;
  field.focus();
  field.scrollIntoView({ block: "center" });
}

async function goOn(number) {
  const found = await send(plan + "/kept/" + number + "/learned", {});
  find("work-problem").textContent = found.problem || "";
  if (found.open) location.href = found.open;
}

function planPage() {
  document.addEventListener("change", (event) => {
    if (event.target.dataset.place) later(() => change(event.target));
  });
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    if (button.dataset.add) later(() => alter("add", JSON.parse(button.dataset.add)));
    if (button.dataset.remove) later(() => alter("remove", JSON.parse(button.dataset.remove)));
    if (button.dataset.key) stateIt(button.dataset.key);
    if (button.dataset.learned) later(() => goOn(button.dataset.learned));
    if (button.dataset.own) {
      const name = button.parentElement.querySelector("input").value;
      const like = button.parentElement.querySelector("select").value;
      later(() => alter("add", [button.dataset.own], { name, like }));
    }
    if (button.dataset.work === "compare") {
      order("compare", find("before").value ? { before: Number(find("before").value) } : {});
    } else if (button.dataset.work) order(button.dataset.work);
  });
  find("back").addEventListener("click", () => later(() => alter("back")));
  find("save").addEventListener("click", () => later(() => save({})));
  find("save-as").addEventListener("submit", (event) => { event.preventDefault(); later(() => save({ name: find("as").value })); });
  find("run").addEventListener("submit", (event) => { event.preventDefault(); order("run"); });
  find("study").addEventListener("submit", (event) => {
    event.preventDefault();
    const form = event.target.elements;
    order("study", { key: form.key.value, levels: form.levels.value });
  });
  find("try").addEventListener("toggle", () => { if (find("try").open) offerKeys(); });
  find("find-key").addEventListener("input", narrowKeys);
  find("study-key").addEventListener("change", narrowKeys);
  find("stop").addEventListener("click", () => send("/running/stop", {}));
  const drop = find("drop");
  for (const name of ["dragenter", "dragover"]) drop.addEventListener(name, (event) => { event.preventDefault(); drop.classList.add("over"); });
  for (const name of ["dragleave", "drop"]) drop.addEventListener(name, (event) => { event.preventDefault(); drop.classList.remove("over"); });
  drop.addEventListener("drop", (event) => later(() => bringRecord(event.dataTransfer.files[0])));
  find("measured-file").addEventListener("change", (event) => later(() => bringMeasured(event.target.files[0])));
  find("record-file").addEventListener("change", (event) => later(() => bringRecord(event.target.files[0])));
  window.addEventListener("beforeunload", (event) => { if (!find("changed").hidden) event.preventDefault(); });
  earlier();
  fetch("/running").then((one) => one.json()).then((one) => { if (one.busy) follow(); });
}

function choosePage() {
  if (find("start")) find("start").addEventListener("submit", async (event) => {
    event.preventDefault();
    const form = event.target.elements;
    const found = await send("/start", { start: form.start.value, name: form.name.value });
    find("start-problem").textContent = found.problem || "";
    if (found.open) location.href = found.open;
  });
  find("bring").addEventListener("change", async (event) => {
    const file = event.target.files[0];
    if (!file) return;
    const found = await send("/bring?file=" + encodeURIComponent(file.name), file, "application/octet-stream");
    find("bring-problem").textContent = found.problem || "";
    if (found.open) location.href = found.open;
  });
}

if (head) planPage();
else if (find("choose")) choosePage();
