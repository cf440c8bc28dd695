// Build: the setup sheet on screen, a tick at each step, and on paper.

import { h, into, s, button, capital } from "../dom.js";
import { on, say, state } from "../wire.js";
import { needsWork, busyBar, busyState } from "./shared.js";

export function show(place) {
  if (!state.work || !state.work.open) return needsWork(place, "Build");
  const body = h("div");
  place.append(h("div", { class: "stage-head" }, h("div", {}, h("h1", {}, "Build it, step by step"),
    h("p", { class: "quiet" }, "In this order: what is set first decides all that follows. Measure from the cross of tape under the middle of the sheet."))), body);
  const draw = () => {
    const sheet = state.setup;
    const working = busyState("setup");
    if (working || !sheet) return into(body, working ? busyBar(working) : h("p", { class: "waiting" }, "One moment."));
    return into(body, h("div", { class: "build" }, steps(sheet), side(sheet)));
  };
  const off = [on("setup", draw), on("busy", draw), on("free", draw), on("work", () => wanted())];
  let asked = -1;
  function wanted() {
    if (state.work.revision !== asked) { asked = state.work.revision; say({ do: "setup" }); }
  }
  wanted();
  draw();
  return () => off.forEach((end) => end());
}

function steps(sheet) {
  const key = `ticks ${state.work.file} ${sheet.revision}`;
  const ticked = new Set(JSON.parse(sessionStorage.getItem(key) || "[]"));
  const told = h("p", { class: "quiet", "aria-live": "polite" });
  const count = () => { told.textContent = ticked.size === sheet.steps.length ? "All done. Now the torch test, then a first test shot." : `${ticked.size} of ${sheet.steps.length} done.`; };
  count();
  return h("section", { class: "steps" }, told, h("ol", {}, sheet.steps.map(([name, text, tolerance, where], i) => {
    const box = h("input", { type: "checkbox", checked: ticked.has(i), onchange: () => {
      if (box.checked) ticked.add(i); else ticked.delete(i);
      sessionStorage.setItem(key, JSON.stringify([...ticked]));
      item.classList.toggle("done", box.checked);
      count();
    } });
    const item = h("li", { class: ticked.has(i) ? "done" : "" }, h("label", {}, box, h("span", {}, h("b", {}, capital(name)), where.map((one) => h("span", { class: "where-it-stands" }, capital(one))), h("span", { class: "text" }, text), tolerance ? h("span", { class: "tolerance" }, `How exactly: ${tolerance}.`) : null)));
    return item;
  })));
}

function side(sheet) {
  return h("aside", { class: "build-side" },
    sheet.two_frames.length ? h("div", { class: "card two-frames" }, h("h2", {}, "Two frames, one picture"), h("dl", {}, sheet.two_frames.map(([name, words]) => [h("dt", {}, name), h("dd", {}, words)]))) : null,
    h("div", { class: "card" }, h("h2", {}, "On paper"), h("p", {}, "Two pages with drawings to scale, to lay beside the set."),
      h("p", { class: "row" }, h("a", { class: "button main", href: sheet.pdf, target: "_blank", rel: "noopener" }, "Open the setup sheet"))),
    h("div", { class: "card" }, h("h2", {}, "First exposure"), h("p", {}, sheet.two_frames.length ? `${capital(sheet.shutter)} to begin with, then each frame's own: change the shutter alone. Lock focus and white balance; switch HDR off.` : `${capital(sheet.shutter)}. Lock exposure, focus and white balance; switch HDR off.`)),
    h("div", { class: "card" }, h("h2", {}, "Torch test"), sheet.targets.map(target), sheet.torch.map((note) => h("p", {}, note))),
    sheet.cautions.length ? h("div", { class: "card caution" }, h("h2", {}, "Take care"), h("ul", {}, sheet.cautions.map((one) => h("li", {}, one)))) : null);
}

// A card as it must catch the torch's spots.
function target(one) {
  const scale = 220 / Math.max(one.width_mm, one.height_mm);
  const w = one.width_mm * scale;
  const t = one.height_mm * scale;
  return h("figure", { class: "torch" }, s("svg", { viewBox: `-8 -8 ${w + 16} ${t + 16}`, width: w + 16, height: t + 16, role: "img", "aria-label": `Spots on ${one.name}: ${one.spots.map((p) => `${p.letter} ${Math.round(p.from_left_mm)} from left, ${Math.round(p.from_lower_mm)} from below`).join("; ")}` },
    s("rect", { width: w, height: t, rx: 2, class: "torch-card" }),
    one.spots.map((p) => [s("circle", { cx: p.from_left_mm * scale, cy: t - p.from_lower_mm * scale, r: 9, class: "torch-spot" }), s("text", { x: p.from_left_mm * scale, y: t - p.from_lower_mm * scale + 4, "text-anchor": "middle", class: "torch-letter" }, p.letter)])),
  h("figcaption", { class: "quiet" }, `${capital(one.name)}: where the spots land, ${one.is_level ? "seen from above" : "seen from its front"}.`));
}
