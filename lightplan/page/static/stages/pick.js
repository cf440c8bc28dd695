// Pick: the ranking with reasons, the same spot in two frames, a verdict of one's own.

import { h, s, into, button, points, sentence } from "../dom.js";
import { on, say, state } from "../wire.js";
import { outline, sameSpot, spotOf, toPhoto } from "../placing.js";
import { needsWork, busyBar, busyState, photoDrop } from "./shared.js";

const VERDICTS = { keep: "Keep", adjust: "Adjust", retake: "Retake", "cannot tell": "Cannot tell" };
const chosen = [];
const large = {};
const pixels = {};
let workOf = null;

export function show(place) {
  if (!state.work || !state.work.open) return needsWork(place, "Pick");
  forgetOthers();
  const busy = h("div");
  const list = h("ol", { class: "ranking" });
  const light = h("section", { class: "lighttable", "aria-label": "Side by side" });
  place.append(h("div", { class: "stage-head" }, h("div", {}, h("h1", {}, "Pick the best"),
    h("p", { class: "quiet" }, "Every frame is judged for the look you chose: first what rules it out, then how well it does. Choose one or two to look closely at the same spot.")), busy), light, list, photoDrop());
  const draw = () => {
    const working = busyState("score");
    const photos = (state.photos && state.photos.photos) || [];
    into(busy, working ? busyBar(working, () => say({ do: "stop", purpose: "score" })) : photos.length ? button("Judge all frames", () => say({ do: "score" }), { class: "main big" }) : null);
    const ranked = (state.ranking && state.ranking.ranked) || [];
    const known = new Set(ranked.map((one) => one.file));
    into(list, ranked.map((one, i) => frame(one, i + 1, photos)), photos.filter((one) => !known.has(one.file)).map((photo) => frame({ file: photo.file, reasons: photo.error ? [photo.error] : ["not judged yet"], error: photo.error }, null, photos)));
  };
  const drawLight = () => into(light, chosen.length ? h("div", { class: "spots" }, chosen.map(loupe)) : null,
    chosen.length ? h("p", { class: "quiet" }, "Move over one frame: both show the same spot of the sheet. Press for its pixels.") : null);
  const placedOf = (file) => (((state.ranking && state.ranking.ranked) || []).find((one) => one.file === file) || {}).placed;

  function frame(one, rank, photos) {
    const photo = photos.find((p) => p.file === one.file) || {};
    const own = state.photos && state.photos.verdicts[one.file];
    const verdict = own ? own.verdict : one.verdict;
    const reason = h("input", { type: "text", placeholder: "why (kept with it)", "aria-label": `Reason for ${one.file}`, value: own ? own.reason : "" });
    const say_ = (word) => say({ do: "verdict", file: one.file, verdict: word, reason: reason.value });
    return h("li", { class: `frame ${chosen.includes(one.file) ? "chosen" : ""}` },
      h("button", { type: "button", class: "shot", "aria-pressed": String(chosen.includes(one.file)), disabled: !!one.error, onclick: () => choose(one.file) }, photo.thumb ? [h("img", { src: photo.thumb, alt: one.file, loading: "lazy" }), overlay(one)] : h("span", { class: "blank" })),
      h("div", { class: "frame-words" },
        h("p", { class: "frame-head" }, rank ? h("span", { class: "rank" }, rank) : null, h("b", {}, one.file), verdict ? h("span", { class: `verdict-${verdict.replace(" ", "-")}` }, `${VERDICTS[verdict]}${own ? " (you)" : ""}`) : null, one.score !== undefined && one.score !== null ? h("span", { class: "quiet" }, `${points(one.score)} of 100`) : null),
        why(one),
        faults(one),
        (one.flags || []).slice(0, 2).map((flag) => h("p", { class: "quiet" }, sentence(flag.sentence || String(flag)))),
        one.error ? null : h("details", {}, h("summary", {}, "I see it otherwise"), h("p", { class: "row" }, reason, button("Keep it", () => say_("keep")), button("Retake it", () => say_("retake")), own ? button("As judged", () => say_(null), { class: "plain" }) : null))));
  }

  function choose(file) {
    const at = chosen.indexOf(file);
    if (at >= 0) chosen.splice(at, 1);
    else { chosen.push(file); if (chosen.length > 2) chosen.shift(); }
    if (chosen.includes(file) && !large[file]) say({ do: "large", file });
    draw();
    drawLight();
  }

  function loupe(file) {
    const placed = placedOf(file);
    const view = h("button", { type: "button", class: "loupe", "aria-label": `${file}, large: press for its pixels` });
    view.dataset.file = file;
    if (large[file]) view.style.backgroundImage = `url(${large[file]})`;
    const spot = (event) => { // the picture lies within the frame with a margin on two sides
      const box = view.getBoundingClientRect();
      const shape = placed ? placed.cols / placed.rows : box.width / box.height;
      const [wide, tall] = [Math.min(box.width, box.height * shape), Math.min(box.height, box.width / shape)];
      const share = (at, middle, size) => Math.min(1, Math.max(0, 0.5 + (at - middle) / size));
      if (!event.detail && event.type === "click") return [0.5, 0.5]; // by key
      return [share(event.clientX, box.left + box.width / 2, wide), share(event.clientY, box.top + box.height / 2, tall)];
    };
    view.onpointermove = (event) => {
      for (const other of light.querySelectorAll(".loupe")) {
        const [x, y] = sameSpot(placed, placedOf(other.dataset.file), spot(event));
        other.classList.add("near");
        other.style.backgroundPosition = `${100 * x}% ${100 * y}%`;
      }
    };
    view.onpointerleave = () => light.querySelectorAll(".loupe").forEach((other) => { other.classList.remove("near"); other.style.backgroundPosition = "center"; });
    view.onclick = (event) => chosen.forEach((other) => say({ do: "pixels", file: other, at: sameSpot(placed, placedOf(other), spot(event)) }));
    const figure = h("figure", {}, view, h("div"), h("figcaption", {}, file));
    figure.dataset.file = file;
    drawPixels(figure);
    return figure;
  }

  function drawPixels(figure) {
    const { file } = figure.dataset;
    if (pixels[file]) into(figure.children[1], h("img", { class: "pixels", src: pixels[file], alt: `${file}, pixel for pixel` }));
  }

  let due = 0;
  const drawSoon = () => { // hundreds of small pictures come one by one
    if (!due) due = setTimeout(() => { due = 0; draw(); }, 250);
  };
  const off = [() => clearTimeout(due), on("photos", draw), on("photo", drawSoon), on("ranking", draw), on("busy", draw), on("free", draw),
    on("large", (message) => { large[message.file] = message.picture; drawLight(); }),
    on("pixels", (message) => {
      pixels[message.file] = message.picture;
      const figure = [...light.querySelectorAll("figure")].find((one) => one.dataset.file === message.file);
      if (figure) drawPixels(figure);
    })];
  say({ do: "photos" });
  draw();
  drawLight();
  return () => off.forEach((end) => end());
}

// What was chosen belongs to the work it was chosen in.
function forgetOthers() {
  const work = `${state.work.folder}/${state.work.file}`;
  if (work === workOf) return;
  workOf = work;
  chosen.length = 0;
  for (const kept of [large, pixels]) Object.keys(kept).forEach((file) => delete kept[file]);
}

const MOST = 3;

// Where the sheet was found, and where what costs points lies on it.
function overlay(one) {
  if (!one.placed || !state.layout) return null;
  const { rows, cols } = one.placed;
  const size = Math.hypot(rows, cols);
  const at = ([x, y]) => [x * cols, y * rows];
  const r = 0.04 * size;
  const dots = [];
  for (const finding of (one.findings || []).slice(0, MOST)) {
    let [x, y] = at(toPhoto(one.placed, spotOf(finding.where_mm, state.layout.sheet)));
    while (dots.some(([, [otherX, otherY]]) => Math.hypot(otherX - x, otherY - y) < 2 * r)) x += r; // side by side
    dots.push([dots.length + 1, [x, y]]);
  }
  return s("svg", { class: "found", viewBox: `0 0 ${cols} ${rows}`, "aria-hidden": "true", preserveAspectRatio: "xMidYMid slice" },
    s("polygon", { points: outline(one.placed).map((corner) => at(corner).join(",")).join(" ") }),
    dots.map(([number, [x, y]]) => [s("circle", { cx: x, cy: y, r }), s("text", { x, y: y + 0.45 * r, "text-anchor": "middle", "font-size": 1.3 * r }, number)]));
}

// In words where something was found; the reasons with their figures stand behind the switch.
function why(one) {
  const inWords = (one.findings || []).length > 0;
  return (one.reasons || []).slice(0, 2).map((words) => h("p", { class: one.error ? "warn" : inWords ? "quiet only-numbers" : "quiet" }, sentence(words)));
}

function faults(one) {
  const found = (one.findings || []).slice(0, MOST);
  return found.length ? h("ol", { class: "faults" }, found.map((finding) => h("li", {}, sentence(finding.what)))) : null;
}
