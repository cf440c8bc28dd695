// Small drawings for the questions, in line and flat colour.

import { s } from "./dom.js";

const line = (d, more) => s("path", { d, fill: "none", stroke: "currentColor", "stroke-width": 2, "stroke-linejoin": "round", "stroke-linecap": "round", ...more });
const sheet = (w, h) => [
  s("rect", { x: 32 - w / 2, y: 24 - h / 2, width: w, height: h, rx: 1.5, fill: "var(--sheet)", stroke: "currentColor", "stroke-width": 2 }),
  s("path", { d: `M${32 - w / 4} ${24 + h / 6}L${32 - w / 12} ${24 - h / 4}L${32 + w / 12} ${24 + h / 6}Z`, fill: "var(--gilt)" })];
const fill = (colour) => [s("rect", { x: 10, y: 8, width: 44, height: 32, rx: 2, fill: colour, stroke: "currentColor", "stroke-width": 2 })];

const DRAWN = {
  bookplate: () => [line("M8 12 Q20 6 32 12 Q44 6 56 12 V40 Q44 34 32 40 Q20 34 8 40Z"), line("M32 12V40"), s("rect", { x: 14, y: 17, width: 11, height: 14, fill: "var(--gilt)" })],
  tag: () => [line("M20 6 H44 V42 H20 Z"), s("circle", { cx: 32, cy: 12, r: 2.5, fill: "currentColor" }), line("M32 12 Q40 2 50 6"), s("path", { d: "M32 20 L35 28 L43 28 L37 33 L39 41 L32 36 L25 41 L27 33 L21 28 L29 28Z", fill: "var(--gilt)" })],
  seed: () => [line("M16 8 H48 V42 H16Z M16 14 H48"), s("circle", { cx: 32, cy: 28, r: 7, fill: "var(--gilt)" })],
  plant: () => [line("M26 4 H38 V34 L32 44 L26 34Z"), s("path", { d: "M32 10 q6 5 0 12 q-6 -7 0 -12", fill: "var(--gilt)" })],
  card: () => sheet(46, 32), certificate: () => sheet(30, 42), a4: () => sheet(30, 42), a5: () => sheet(24, 34), a6: () => sheet(18, 25),
  dl: () => sheet(18, 40), business: () => sheet(34, 22), letter: () => sheet(33, 42),
  phone: () => [line("M21 5 H43 V43 H21Z"), s("circle", { cx: 28, cy: 12, r: 4, fill: "var(--gilt)", stroke: "currentColor", "stroke-width": 2 })],
  camera: () => [line("M8 14 H20 L24 9 H40 L44 14 H56 V40 H8Z"), s("circle", { cx: 32, cy: 26, r: 9, fill: "var(--gilt)", stroke: "currentColor", "stroke-width": 2 })],
  softbox: () => [s("path", { d: "M14 6 H50 L42 26 H22Z", fill: "var(--gilt)", stroke: "currentColor", "stroke-width": 2, "stroke-linejoin": "round" }), line("M32 26V44 M24 44H40")],
  panel: () => [s("rect", { x: 12, y: 8, width: 40, height: 24, rx: 2, fill: "var(--gilt)", stroke: "currentColor", "stroke-width": 2 }), line("M32 32V44 M24 44H40"), line("M22 8V32M32 8V32M42 8V32M12 20H52", { "stroke-width": 1 })],
  desk: () => [line("M44 44H24 M34 44V28 L22 16"), s("path", { d: "M26 8 L36 18 L24 28 L14 18Z", fill: "var(--gilt)", stroke: "currentColor", "stroke-width": 2, "stroke-linejoin": "round" })],
  window: () => [s("rect", { x: 14, y: 5, width: 36, height: 38, fill: "var(--sky)", stroke: "currentColor", "stroke-width": 2 }), line("M32 5V43M14 24H50")],
  white: () => fill("#fdfdf8"), black: () => fill("#1b1a19"), tissue: () => [s("rect", { x: 10, y: 8, width: 44, height: 32, rx: 2, fill: "#fdfdf8", "fill-opacity": 0.5, stroke: "currentColor", "stroke-width": 2, "stroke-dasharray": "4 3" })],
  clamp: () => [line("M6 40H58"), line("M14 34V46 M10 34H22 M14 34 L26 12 L46 18"), s("rect", { x: 44, y: 8, width: 6, height: 20, rx: 1, fill: "var(--gilt)", stroke: "currentColor", "stroke-width": 2 })],
  boom: () => [line("M14 44V14 M6 44H22 M10 16 L56 8"), s("path", { d: "M48 10V22H56V9", fill: "var(--gilt)", stroke: "currentColor", "stroke-width": 2, "stroke-linejoin": "round" })],
  string: () => [line("M8 6H56"), line("M22 6V22 M42 6V22", { "stroke-width": 1.5 }), s("rect", { x: 16, y: 22, width: 32, height: 18, rx: 1, fill: "var(--gilt)", stroke: "currentColor", "stroke-width": 2 })],
  tripod: () => [line("M32 20 L18 45 M32 20V45 M32 20 L46 45"), s("rect", { x: 22, y: 6, width: 20, height: 13, rx: 2, fill: "var(--gilt)", stroke: "currentColor", "stroke-width": 2 })],
  night: () => [s("rect", { x: 8, y: 6, width: 48, height: 36, rx: 4, fill: "#20283e" }), s("path", { d: "M36 12 a12 12 0 1 0 8 20 a10 10 0 0 1 -8 -20", fill: "#f0d99c" })],
  dusk: () => [s("rect", { x: 8, y: 6, width: 48, height: 36, rx: 4, fill: "#6c6a84" }), s("path", { d: "M8 34 H56 V38 a4 4 0 0 1 -4 4 H12 a4 4 0 0 1 -4 -4Z", fill: "#c9955b" })],
  day: () => [s("rect", { x: 8, y: 6, width: 48, height: 36, rx: 4, fill: "#bfdcef" }), s("circle", { cx: 32, cy: 24, r: 9, fill: "#f5c64a" })],
};

export function picture(option) {
  const colours = option.colours || [];
  if (option.picture === "swatch") return swatch(colours);
  if (colours.length) return s("svg", { viewBox: "0 0 64 48", "aria-hidden": "true" }, fill(colours[0]));
  const draw = DRAWN[option.picture];
  return draw ? s("svg", { viewBox: "0 0 64 48", "aria-hidden": "true" }, draw()) : null;
}

let swatches = 0;
function swatch(colours) {
  const id = `swatch-${swatches++}`;
  return s("svg", { viewBox: "0 0 64 48", "aria-hidden": "true" },
    s("defs", {}, s("linearGradient", { id, x1: 0, y1: 0, x2: 1, y2: 0.5 }, colours.map((colour, i) => s("stop", { offset: i / (colours.length - 1), "stop-color": colour })))),
    s("rect", { x: 4, y: 4, width: 56, height: 40, rx: 3, fill: `url(#${id})`, stroke: "currentColor", "stroke-opacity": 0.35 }));
}
