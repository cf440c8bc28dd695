// Look: the proof sheet of the maker's own product, filled in as the looks are found.

import { h, into, button, points, sentence } from "../dom.js";
import { on, say, state } from "../wire.js";
import { care, needsWork, busyBar, busyState, LOOKS } from "./shared.js";

export function show(place) {
  if (!state.work || !state.work.open) return needsWork(place, "Look");
  const sheet = h("div", { class: "proof", "aria-live": "polite" });
  const busy = h("div");
  place.append(h("div", { class: "stage-head" }, h("div", {}, h("h1", {}, "Choose the look by eye"),
    h("p", { class: "quiet" }, "The same product, set up in every way that its foil and stock can carry. Take the picture that you would hang in your shop.")), busy));
  const careful = care();
  place.append(sheet, careful.node);
  const draw = () => {
    const found = (state.looks && state.looks.looks) || [];
    const working = busyState("looks");
    into(busy, working ? busyBar(working, () => say({ do: "stop", purpose: "looks" })) : button(found.length ? "Find them again" : "Show me the looks", () => say({ do: "looks" }), { class: found.length ? "" : "main big" }));
    into(sheet, found.map((one, place) => cell(one, place === 0)), working ? h("div", { class: "cell waiting-cell" }, h("div", { class: "blank" }), h("p", { class: "quiet" }, `Setting up: ${LOOKS[working.note] || "the next look"} …`)) : null,
      !found.length && !working ? h("p", { class: "quiet" }, "It takes about half a minute; the pictures come one by one.") : null);
  };
  const off = [careful.leave, on("looks", draw), on("busy", draw), on("free", draw)];
  draw();
  return () => off.forEach((end) => end());
}

function cell(one, first) {
  if (!one.can) {
    return h("article", { class: "cell cannot" }, h("h2", {}, LOOKS[one.look] || one.look), h("p", { class: "quiet" }, sentence(one.reason)));
  }
  return h("article", { class: "cell" },
    h("img", { src: one.picture, alt: `${LOOKS[one.look] || one.look}: predicted picture` }),
    h("div", { class: "cell-head" }, h("h2", {}, LOOKS[one.look] || one.look), h("span", { class: `score verdict-${(one.verdict || "").replace(" ", "-")}` }, `${points(one.score)} of 100${one.two_frames ? " in one frame" : ""}`)),
    one.two_frames ? twoFrames(one) : null,
    !one.two_frames && one.metal !== null && one.metal !== undefined ? h("p", {}, one.metal > 0.6 ? "Reads as metal." : one.metal > 0.3 ? "Reads as metal in part." : "Could be taken for ink.") : null,
    h("p", { class: "quiet" }, `Needs ${one.needs.join(", ")}.${one.two_frames ? "" : ` ${Math.round(100 * (one.yield || 0))} of 100 builds come out right.`}`),
    button("Take this look", () => say({ do: "take", from: "looks", number: one.number }), { class: first ? "main" : "" }));
}

// One frame cannot hold foil and paper: the picture is of two, and this is how they are taken.
// Whether it reads as metal and how many builds come out right is known of the one frame alone.
function twoFrames(one) {
  return h("div", { class: "two-frames" }, h("p", {}, one.two_frames),
    h("details", {}, h("summary", {}, "How to take the two"), h("dl", {}, one.two_frames_steps.map(([name, words]) => [h("dt", {}, name), h("dd", {}, words)]))));
}
