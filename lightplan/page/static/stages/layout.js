// Lay out: everything by hand, the picture follows.

import { h, into, button, points, power, sentence, capital, round } from "../dom.js";
import { on, state, edit, say, select } from "../wire.js";
import { picture } from "../picture.js";
import { drawing, described } from "../drawing.js";
import { needsWork, LOOKS, dropZone, pointing } from "./shared.js";

export function show(place) {
  if (!state.work || !state.work.open) return needsWork(place, "Lay out");
  const shown = picture();
  const plan = drawing("plan");
  const side = drawing("side");
  const verdict = h("section", { class: "verdict", "aria-label": "What is thought of it", "aria-live": "polite" });
  const findings = h("section", { class: "findings", "aria-label": "What to look at" });
  const chosen = h("section", { class: "chosen", "aria-label": "The chosen thing" });
  const solid = button("Turn it in space", () => openSolid(), { class: "quiet-button" });
  place.append(h("h1", { class: "unseen" }, "Lay out"),
    h("div", { class: "two" },
      h("div", { class: "hero" }, shown.node, verdict, findings),
      h("div", { class: "bench" }, plan.node, side.node, h("div", { class: "bench-foot" }, adding(), solid), chosen)));

  async function openSolid() {
    const { view3d } = await import("../view3d.js");
    view3d();
  }

  const off = [
    on("closer", () => { drawVerdict(verdict); drawFindings(findings); drawStale(); }),
    on("kept", () => drawFindings(findings)),
    on("cure", () => drawFindings(findings)),
    on("layout", () => { drawChosen(chosen); drawStale(); }),
    on("selected", () => drawChosen(chosen, true)),
    on("numbers", () => { drawVerdict(verdict); drawChosen(chosen, true); }),
  ];

  function drawStale() {
    const old = !state.closer || state.closer.revision !== state.work.revision;
    verdict.classList.toggle("old", old);
    findings.classList.toggle("old", old);
  }

  drawVerdict(verdict);
  drawFindings(findings);
  drawChosen(chosen, true);
  return () => {
    off.forEach((end) => end());
    [shown, plan, side].forEach((one) => one.leave());
  };
}

const VERDICTS = { keep: "Good as it is", adjust: "Nearly there", retake: "Not yet", "cannot tell": "This cannot be judged" };

function drawVerdict(node) {
  const closer = state.closer;
  const look = state.layout && state.layout.look.kind;
  const choice = h("label", { class: "look" }, "Look ", h("select", { onchange: (event) => edit([{ do: "look", kind: event.target.value }], "chose another look") },
    Object.entries(LOOKS).map(([id, words]) => h("option", { value: id, selected: id === look }, words))));
  if (!closer) {
    into(node, h("p", { class: "mark-line" }, h("strong", {}, "Looking closely …")), choice);
    return;
  }
  into(node,
    h("p", { class: "mark-line" }, h("strong", { class: `verdict-${closer.verdict.replace(" ", "-")}` }, VERDICTS[closer.verdict]),
      h("span", { class: "score" }, closer.score === null ? "" : `${points(closer.score)} of 100`)),
    exposure(), choice,
    h("p", { class: "quiet shutter" }, `Expose ${closer.shutter}.`),
    h("dl", { class: "only-numbers measures" }, Object.entries(closer.measures).map(([name, value]) => [
      h("dt", {}, name.replaceAll("_", " ")), h("dd", {}, Math.abs(value) < 10 ? value.toFixed(2) : value.toFixed(0))])));
}

function exposure() {
  const step = (stops, words, hint) => button(words, () => edit([{ do: "exposure", stops }], "exposed otherwise", "exposure"), { title: hint, class: "plain" });
  return h("span", { class: "exposure", role: "group", "aria-label": "Exposure" }, step(-1 / 3, "Darker", "A third of a stop less light"), step(1 / 3, "Brighter", "A third of a stop more light"));
}

function drawFindings(node) {
  const closer = state.closer;
  if (!closer) return into(node);
  const next = state.kept && !state.kept.plan && closer.verdict !== "keep" ? h("div", { class: "card next-step" },
    h("p", {}, h("b", {}, "This is only a first set-up."), " Let lightplan try every look that this foil and stock can carry, and choose by eye."),
    h("a", { class: "button main", href: "#look" }, "Show me the looks")) : null;
  if (!closer.findings.length) return into(node, next, h("p", { class: "quiet" }, "Nothing to complain about. Next: let lightplan find how exactly it must stand, under Plan."));
  return into(node, next, h("h2", {}, "What to look at"), h("ol", {}, closer.findings.map((finding, number) =>
    h("li", {},
      h("p", { class: "what" }, sentence(finding.what)),
      finding.cause ? h("p", { class: "why" }, sentence(finding.cause)) : h("p", { class: "why" }, "Looking for the cause …"),
      finding.can ? h("p", { class: "act" },
        button(capital(finding.move), () => say({ do: "cure", number, revision: closer.revision, why: finding.move }), { class: number || next ? "" : "main" }),
        finding.gain >= 0.5 ? h("span", { class: "quiet" }, ` worth ${Math.round(finding.gain)} points`) : null)
        : finding.move ? h("p", { class: "why" }, sentence(finding.move)) : null))));
}

function adding() {
  const ways = [["white board", "White board", 420, 297], ["black board", "Black board", 420, 297], ["silver board", "Silver board", 420, 297],
    ["diffuser", "Tissue", 600, 600], ["lamp", "Lamp", 400, 400], ["window", "Window", 900, 1200]];
  const owned = ((state.kept && state.kept.owned) || []).map((one) => [one.kind, `${one.name} (yours)`, one.width_mm, one.height_mm]);
  const choice = h("select", { "aria-label": "Add a thing", onchange: () => {
    const picked = [...owned, ...ways][choice.selectedIndex - 1];
    choice.selectedIndex = 0;
    if (!picked) return;
    const [kind, words, width_mm, height_mm] = picked;
    const name = words.replace(" (yours)", "").toLowerCase();
    edit([{ do: "add", kind, name, width_mm, height_mm }], `added ${name}`);
  } }, h("option", {}, "Add …"), owned.length ? h("optgroup", { label: "What you own" }, owned.map((one) => h("option", {}, one[1]))) : null,
  h("optgroup", { label: "Anything" }, ways.map((one) => h("option", {}, one[1]))));
  return choice;
}

let chosenKey = "";
function drawChosen(node, anew) {
  const thing = state.layout && [...state.layout.things, state.layout.camera].find((one) => one.name === state.selected);
  if (!thing) {
    chosenKey = "";
    return into(node, h("p", { class: "quiet" }, "Drag anything in the drawings, or press Tab to go from thing to thing and the arrow keys to move it. ",
      h("button", { type: "button", class: "link", onclick: (event) => event.target.replaceWith(keysHelp()) }, "All keys")),
    (state.layout ? state.layout.limits : []).map((limit) => h("p", { class: "warn" }, sentence(limit.sentence))));
  }
  const key = `${thing.name}/${thing.kind}/${thing.on}/${thing.locked}`;
  if (!anew && key === chosenKey && node.contains(document.activeElement)) return refresh(node, thing);
  if (!anew && key === chosenKey) return refresh(node, thing);
  chosenKey = key;
  const of = (name) => thing.dimensions.includes(name);
  const place = (axis, words, minus, plus) => field(thing, words, `${["x", "y", "z"][axis]}_mm`, `${minus} ↔ ${plus}`);
  return into(node,
    h("div", { class: "chosen-head" }, h("h2", {}, thing.name), h("span", { class: "quiet" }, described(thing).split(": ")[0].split(", ")[1]),
      thing.kind === "camera" ? null : [
        thing.on === undefined ? null : button(thing.on ? "Switch off" : "Switch on", () => edit([{ do: "power", element: thing.name, on: !thing.on }], `switched ${thing.name} ${thing.on ? "off" : "on"}`), { class: "plain" }),
        button(thing.locked ? "Unlock" : "Lock", () => edit([{ do: "lock", element: thing.name, locked: !thing.locked }], `${thing.locked ? "unlocked" : "locked"} ${thing.name}`), { class: "plain" }),
        button("Copy", () => edit([{ do: "copy", element: thing.name }], `copied ${thing.name}`), { class: "plain" }),
        button("Put aside", () => { edit([{ do: "remove", element: thing.name }], `put ${thing.name} aside`); select(null); }, { class: "plain" })]),
    h("div", { class: "fields" },
      place(0, "Right", "left", "right"), place(1, "Away", "towards you", "away"), place(2, "Up", "down", "up"),
      of("width_mm") ? field(thing, "Wide", "width_mm") : null, of("height_mm") ? field(thing, "High", "height_mm") : null,
      of("hole_mm") ? field(thing, "Hole", "hole_mm") : null,
      of("trim_stops") && !thing.is_window ? powerField(thing) : null,
      h("div", { class: "only-numbers fields" }, of("aim_x_mm") ? [field(thing, "Aim right", "aim_x_mm"), field(thing, "Aim away", "aim_y_mm"), field(thing, "Aim up", "aim_z_mm")] : null)),
    of("trim_stops") && !thing.is_window ? lightOf(thing) : null,
    thing.held_by ? h("p", { class: "quiet" }, HOLDERS[thing.held_by]) : null,
    (state.layout.limits.filter((limit) => limit.elements.includes(thing.name))).map((limit) => h("p", { class: "warn" }, sentence(limit.sentence))));
}

const HOLDERS = {
  stand: "Held by a light stand.", clamp: "Held by a clamp at the table.", boom: "Held by a boom.", tripod: "Held by a tripod.",
  books: "Leans on books.", string: "Hangs on a string.", table: "Stands on the table by itself.",
};
const AXES = { x_mm: ["position_mm", 0], y_mm: ["position_mm", 1], z_mm: ["position_mm", 2], aim_x_mm: ["aim_mm", 0], aim_y_mm: ["aim_mm", 1], aim_z_mm: ["aim_mm", 2] };
const valueOf = (thing, name) => (AXES[name] ? thing[AXES[name][0]][AXES[name][1]] : thing[name]);

function field(thing, words, dimension, hint) {
  const input = h("input", { type: "number", step: 1, value: round(valueOf(thing, dimension), 0.1), title: hint || null,
    onchange: () => {
      const value = Number(input.value);
      if (Number.isFinite(value) && input.value !== "") edit([{ do: "set", element: thing.name, dimension, value }], `set ${thing.name}`);
    } });
  input.dataset.dimension = dimension;
  return h("label", { class: "field" }, h("span", {}, words), input, h("span", { class: "unit" }, "mm"));
}

function powerField(thing) {
  const words = h("output", {}, power(thing.trim_stops));
  const input = h("input", { type: "range", min: -6, max: 0, step: "any", value: thing.trim_stops, "aria-label": `Power of ${thing.name}`,
    oninput: () => {
      const stops = round(Number(input.value), 1 / 12);
      words.textContent = power(stops);
      edit([{ do: "power", element: thing.name, trim_stops: stops }], `power of ${thing.name}`, `power ${thing.name}`);
    }, onchange: () => say({ do: "let go" }) });
  input.dataset.dimension = "trim_stops";
  return h("label", { class: "field wide" }, h("span", {}, "Power"), input, words);
}

// Watts leave a lamp's light open by half or twice; one photograph of white paper settles it.
function lightOf(thing) {
  const place = h("div", {}, dropZone("camera", "Lay white copy paper 1 m in front of it, square to it, at full power, the room dark. Photograph the paper, and drop the picture here.", "image/*,.dng,.cr2,.cr3,.nef,.arw,.raf,.orf,.rw2",
    (told) => into(place, pointing(told.picture, ["Point at the white paper."], ([paper_at]) => {
      say({ do: "measure lamp", photo: told.mark, element: thing.name, paper_at });
      into(place, h("p", { class: "quiet", "aria-live": "polite" }, "Measured; the picture follows."));
    }))));
  return h("details", { class: "more" }, h("summary", {}, `How much light it gives: ${thing.output.replace(" W", " watts on its box, a guess")}`), place);
}

function refresh(node, thing) {
  for (const input of node.querySelectorAll("[data-dimension]")) {
    if (input === document.activeElement) continue;
    input.value = round(valueOf(thing, input.dataset.dimension), 0.1);
    const words = input.parentElement.querySelector("output");
    if (words) words.textContent = power(thing.trim_stops);
  }
}

function keysHelp() {
  const rows = [["Arrows", "move by 5 mm (with Shift 1 mm, with Alt 50 mm)"], ["Page up, Page down", "raise, lower"], ["Q, E", "turn left, right"],
    ["R, F", "lean back, forward"], ["[ ] and { }", "narrower, wider; lower, higher"], ["+ −", "power, a third of a stop"], ["Delete", "put aside"], ["Ctrl+Z, Ctrl+Shift+Z", "undo, redo"]];
  return h("dl", { class: "keys" }, rows.map(([key, what]) => [h("dt", {}, key), h("dd", {}, what)]));
}
