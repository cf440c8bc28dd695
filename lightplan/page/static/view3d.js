// The set in space, turned by hand: flat faces drawn far to near on a canvas. Nothing from outside.

import { h, button } from "./dom.js";
import { on, state } from "./wire.js";

const LIGHT = [-0.4, -0.5, 0.77];

export function view3d() {
  const canvas = h("canvas", { class: "space", tabindex: 0, role: "img", "aria-label": "The set in space. Drag, or use the arrow keys, to turn it; plus and minus to come closer." });
  const dialog = h("dialog", { class: "space-dialog", "aria-label": "The set in space" },
    h("div", { class: "space-head" }, h("h2", {}, "The set in space"), h("p", { class: "quiet" }, "Drag to turn, wheel to come closer. The lines are what the foil sees."), button("Close", () => dialog.close(), { class: "plain" })), canvas);
  document.body.append(dialog);
  const [right, raised] = (state.layout && state.layout.view) || [-0.55, 0.55];
  let turn = -right; // from where most is seen of what lamps and cards show the sheet
  let tilt = raised;
  let away = 1;
  let grabbed = null;

  function draw() {
    if (!state.layout) return;
    const ratio = devicePixelRatio || 1;
    const width = canvas.clientWidth;
    const height = canvas.clientHeight;
    canvas.width = width * ratio;
    canvas.height = height * ratio;
    const context = canvas.getContext("2d");
    context.scale(ratio, ratio);
    context.clearRect(0, 0, width, height);
    const style = getComputedStyle(document.documentElement);
    const ink = style.getPropertyValue("--ink");
    const all = faces();
    const size = Math.max(400, ...all.flatMap((face) => face.ring).map((p) => Math.hypot(p[0], p[1], p[2])));
    const scale = (Math.min(width, height) * 0.62 * away) / size;
    const project = (p) => {
      const x = p[0] * Math.cos(turn) - p[1] * Math.sin(turn);
      const y = p[0] * Math.sin(turn) + p[1] * Math.cos(turn);
      const z = p[2] - size * 0.22;
      const up = z * Math.cos(tilt) + y * Math.sin(tilt);
      const far = y * Math.cos(tilt) - z * Math.sin(tilt);
      const near = 1 / (1 + far / (5 * size));
      return [width / 2 + x * scale * near, height * 0.56 - up * scale * near, far];
    };
    const drawn = all.map((face) => ({ ...face, at: face.ring.map(project) }));
    for (const face of drawn) face.far = face.at.reduce((sum, p) => sum + p[2], 0) / face.at.length + (face.ground ? 1e6 : 0);
    drawn.sort((a, b) => b.far - a.far);
    for (const face of drawn) {
      context.beginPath();
      face.at.forEach(([x, y], i) => (i ? context.lineTo(x, y) : context.moveTo(x, y)));
      if (face.line) {
        context.strokeStyle = face.colour;
        context.lineWidth = 1.2;
        context.globalAlpha = 0.7;
        context.stroke();
        context.globalAlpha = 1;
        continue;
      }
      context.closePath();
      context.globalAlpha = face.opacity;
      context.fillStyle = face.colour;
      context.fill();
      context.globalAlpha = 1;
      context.strokeStyle = ink;
      context.lineWidth = 0.8;
      context.stroke();
    }
    context.fillStyle = ink;
    context.font = "600 13px system-ui, sans-serif";
    context.textAlign = "center";
    for (const thing of [...state.layout.things, state.layout.camera]) {
      const top = thing.rings.flat().reduce((best, p) => (p[2] > best[2] ? p : best));
      const [x, y] = project([thing.position_mm[0], thing.position_mm[1], top[2]]);
      context.fillText(thing.name, x, y - 8);
    }
  }

  function faces() {
    const { sheet, table, things, camera, rays } = state.layout;
    const rect = (w, d, z) => [[-w, -d, z], [w, -d, z], [w, d, z], [-w, d, z]];
    const style = getComputedStyle(document.documentElement);
    const found = [];
    if (table) found.push({ ring: rect(table.width_mm / 2, table.depth_mm / 2, -table.drop_mm), colour: style.getPropertyValue("--sunken"), opacity: 1, ground: true });
    found.push({ ring: rect(sheet.width_mm / 2, sheet.height_mm / 2, 0), colour: style.getPropertyValue("--night"), opacity: 1 });
    for (const thing of [...things, camera]) {
      const see = ["diffuser", "cone", "tent"].includes(thing.kind) ? 0.35 : 0.9;
      for (const ring of thing.rings) if (ring.length > 2) found.push({ ring, colour: shaded(thing.colour || "#4a4c55", ring), opacity: see });
    }
    for (const ray of rays) found.push({ ring: ray.points, colour: style.getPropertyValue("--foil"), line: true });
    return found;
  }

  function shaded(colour, ring) {
    const [a, b, c] = ring;
    const u = b.map((v, i) => v - a[i]);
    const w = c.map((v, i) => v - a[i]);
    const n = [u[1] * w[2] - u[2] * w[1], u[2] * w[0] - u[0] * w[2], u[0] * w[1] - u[1] * w[0]];
    const size = Math.hypot(...n) || 1;
    const light = 0.72 + 0.28 * Math.abs((n[0] * LIGHT[0] + n[1] * LIGHT[1] + n[2] * LIGHT[2]) / size);
    const part = (i) => Math.round(parseInt(colour.slice(i, i + 2), 16) * light);
    return `rgb(${part(1)}, ${part(3)}, ${part(5)})`;
  }

  canvas.onpointerdown = (event) => { grabbed = [event.clientX, event.clientY, turn, tilt]; canvas.setPointerCapture(event.pointerId); };
  canvas.onpointermove = (event) => {
    if (!grabbed) return;
    turn = grabbed[2] + (event.clientX - grabbed[0]) * 0.008;
    tilt = Math.max(0, Math.min(1.5, grabbed[3] + (event.clientY - grabbed[1]) * 0.006));
    draw();
  };
  canvas.onpointerup = () => { grabbed = null; };
  canvas.onwheel = (event) => { event.preventDefault(); away = Math.max(0.4, Math.min(5, away * (event.deltaY > 0 ? 0.92 : 1.08))); draw(); };
  canvas.onkeydown = (event) => {
    const ways = { ArrowLeft: () => { turn -= 0.1; }, ArrowRight: () => { turn += 0.1; }, ArrowUp: () => { tilt = Math.min(1.5, tilt + 0.08); }, ArrowDown: () => { tilt = Math.max(0, tilt - 0.08); }, "+": () => { away *= 1.1; }, "-": () => { away /= 1.1; } };
    if (!ways[event.key]) return;
    event.preventDefault();
    ways[event.key]();
    draw();
  };
  const off = on("layout", draw);
  const watch = new ResizeObserver(draw);
  watch.observe(canvas);
  dialog.addEventListener("close", () => { off(); watch.disconnect(); dialog.remove(); });
  dialog.showModal();
  canvas.focus();
  draw();
}
