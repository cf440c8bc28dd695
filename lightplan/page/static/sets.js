// The set as planned and the set as built, from above, side by side at one scale.

import { h, s } from "./dom.js";

export function twoSets([planned, built], { since, slips, words }) {
  const points = [planned, built].flatMap((one) => one.things.flatMap((thing) => thing.rings.flat()));
  const xs = points.map((p) => p[0]);
  const ys = points.map((p) => -p[1]);
  const pad = 60;
  const box = [Math.min(...xs) - pad, Math.min(...ys) - pad, Math.max(...xs) - Math.min(...xs) + 2 * pad, Math.max(...ys) - Math.min(...ys) + 2 * pad];
  const moved = new Set((slips || []).map((slip) => slip.element));
  const one = (set, ghost, words) => h("figure", { class: "set" },
    s("svg", { viewBox: box.join(" "), role: "img", "aria-label": `${words}, from above` },
      s("rect", { class: "sheet", x: -set.sheet.width_mm / 2, y: -set.sheet.height_mm / 2, width: set.sheet.width_mm, height: set.sheet.height_mm }),
      ghost ? ghost.things.flatMap((thing) => thing.rings.map((ring) => s("path", { class: "ghost", d: path(ring) }))) : null,
      set.things.flatMap((thing) => thing.rings.map((ring) => s("path", { class: `body ${ghost && moved.has(thing.name) ? "moved" : ""}`, d: path(ring), style: { fill: thing.colour || "" } }))),
      names(set.things.filter((thing) => thing.rings.length && thing.rings[0].length), box[2] / 38)),
    h("figcaption", {}, words));
  return h("section", { class: "sets", "aria-label": "The set, from above" },
    one(planned, null, words ? words[0] : since ? "The set as it was then" : "The set as planned"),
    one(built, planned, words ? words[1] : since ? "The set as it is now" : "The set as built"));
}

const path = (ring) => ring.map(([x, y], i) => `${i ? "L" : "M"}${x.toFixed(1)} ${(-y).toFixed(1)}`).join("") + (ring.length > 2 ? "Z" : "");

// Names in the middle of things; where two would lie on each other, the second goes below.
function names(things, size) {
  const taken = [];
  return things.map((thing) => {
    const ring = thing.rings.flat();
    const middle = (axis) => ring.reduce((sum, p) => sum + p[axis], 0) / ring.length;
    const x = middle(0);
    let y = -middle(1);
    while (taken.some((one) => Math.abs(one[0] - x) < 6 * size && Math.abs(one[1] - y) < 1.2 * size)) y += 1.2 * size;
    taken.push([x, y]);
    return s("text", { x, y, "text-anchor": "middle", "font-size": size }, thing.name);
  });
}
