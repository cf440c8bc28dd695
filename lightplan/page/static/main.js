// The frame of the page: which stage is shown, what is open, undo and redo, notices.

import { h, into, button, s } from "./dom.js";
import { connect, on, say, edit, setNumbers, state } from "./wire.js";

const STAGES = [
  ["start", "Start", "What it is, what you own"],
  ["look", "Look", "Choose by eye"],
  ["layout", "Lay out", "By hand, with the picture"],
  ["plan", "Plan", "Let it be found"],
  ["build", "Build", "Step by step"],
  ["shoot", "Shoot", "Test shots, advice"],
  ["pick", "Pick", "The best frames"],
  ["keep", "Keep", "For next month"],
];

const place = document.getElementById("stage");
const titles = document.getElementById("work-title");
const saved = document.getElementById("saved");
const undo = document.getElementById("undo");
const redo = document.getElementById("redo");
const notices = document.getElementById("notice");
let leave = () => {};
let shown = null;

function drawStages() {
  const items = STAGES.map(([id, name, hint], index) =>
    h("li", {},
      h("a", { href: `#${id}`, title: hint, "aria-current": id === shown ? "step" : null },
        h("span", { class: "number", "aria-hidden": "true" }, index + 1), name)));
  into(document.getElementById("stages"), h("ol", {}, items));
  const current = document.querySelector("#stages [aria-current]");
  if (current) current.scrollIntoView({ block: "nearest", inline: "center" });
}

async function show(id, focus) {
  const found = STAGES.find(([name]) => name === id) ? id : "start";
  if (found === shown) return;
  shown = found;
  drawStages();
  leave();
  leave = () => {};
  const stage = await import(`./stages/${found}.js`);
  if (shown !== found) return;
  into(place);
  place.dataset.stage = found;
  const name = STAGES.find(([one]) => one === found)[1];
  document.title = state.work && state.work.open ? `${name} · ${state.work.title}` : `lightplan · ${name}`;
  leave = stage.show(place) || (() => {});
  if (focus) place.focus({ preventScroll: true });
  window.scrollTo(0, 0);
}

function follow() {
  const id = location.hash.slice(1);
  if (id) show(id, true);
  else show(state.work && state.work.open ? "layout" : "start", false);
}

function drawWork(work) {
  const isOpen = work && work.open;
  titles.textContent = isOpen ? work.title : "lightplan";
  titles.disabled = !isOpen;
  undo.disabled = !isOpen || !work.undo;
  redo.disabled = !isOpen || !work.redo;
  undo.title = isOpen && work.undo ? `Undo: ${work.undo} (Ctrl+Z)` : "Nothing to undo";
  redo.title = isOpen && work.redo ? `Redo: ${work.redo} (Ctrl+Shift+Z)` : "Nothing to redo";
  saved.textContent = !isOpen ? "" : work.saved ? `saved in ${work.file}` : "saving …";
  if (!shown && state.connected) follow();
}

let noticeTimer = 0;
function notice(text, { kind = "", actions = [], stays = false } = {}) {
  clearTimeout(noticeTimer);
  into(notices, h("div", { class: `bubble ${kind}` }, h("p", {}, text), actions,
    button("×", () => into(notices), { class: "plain", "aria-label": "Close this notice" })));
  if (!stays) noticeTimer = setTimeout(() => into(notices), 7000);
}

function renameWork() {
  const old = state.work.title;
  const field = h("input", { type: "text", value: old, maxLength: 120, "aria-label": "Title of this work" });
  titles.replaceWith(field);
  field.focus();
  field.select();
  let closed = false;
  const done = (keep) => {
    if (closed) return;
    closed = true;
    const text = field.value.trim();
    field.replaceWith(titles);
    if (keep && text && text !== old) edit([{ do: "title", text }], "renamed the work");
    titles.focus();
  };
  field.addEventListener("blur", () => done(true));
  field.addEventListener("keydown", (event) => {
    if (event.key === "Enter" || event.key === "Escape") {
      event.preventDefault(); // or the same key would press the button that takes the focus
      done(event.key === "Enter");
    }
    event.stopPropagation();
  });
}

function icon(path) {
  return s("svg", { viewBox: "0 0 24 24", width: 20, height: 20, "aria-hidden": "true" },
    s("path", { d: path, fill: "none", stroke: "currentColor", "stroke-width": 2, "stroke-linecap": "round", "stroke-linejoin": "round" }));
}

undo.append(icon("M9 7 L4 12 L9 17 M4 12 H15 a5 5 0 0 1 0 10 h-3"));
redo.append(icon("M15 7 L20 12 L15 17 M20 12 H9 a5 5 0 0 0 0 10 h3"));
undo.onclick = () => say({ do: "undo" });
redo.onclick = () => say({ do: "redo" });
titles.onclick = () => state.work && state.work.open && renameWork();
const numbers = document.getElementById("numbers");
numbers.checked = state.numbers;
numbers.onchange = () => setNumbers(numbers.checked);
setNumbers(state.numbers);

document.addEventListener("keydown", (event) => {
  const typing = event.target.matches("input:not([type=range]):not([type=checkbox]), textarea, select");
  if (!(event.ctrlKey || event.metaKey) || typing) return;
  const key = event.key.toLowerCase();
  if (key === "z" || key === "y") {
    event.preventDefault();
    say({ do: key === "y" || event.shiftKey ? "redo" : "undo" });
  }
});

on("work", drawWork);
on("connected", (is) => {
  document.documentElement.classList.toggle("line-down", !is);
  if (!is) notice("lightplan does not answer. Nothing is lost; the page goes on as soon as it is back.", { kind: "bad", stays: true });
  else if (shown) notice("lightplan is back.");
});
on("note", (message) => notice(message.text));
on("refused", (message) => notice(message.text, { kind: "bad" }));
on("fault", (message) => notice(message.text, { kind: "bad" }));
on("elsewhere", (message) => notice(
  `Another program changed ${message.file}. Which shall stand? Neither is lost: undo brings the other back.`,
  { stays: true, actions: [
    button("Take its change", () => { say({ do: "elsewhere", take: "theirs" }); into(notices); }, { class: "main" }),
    button("Keep mine", () => { say({ do: "elsewhere", take: "mine" }); into(notices); }),
  ] }));
on("go", (message) => { location.hash = message.stage; });
window.addEventListener("hashchange", follow);
drawStages();
connect();
