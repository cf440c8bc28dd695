// Plan view and side view to scale: everything can be dragged, turned, resized, or moved by keys.

import { s, h, into, mm, round } from "./dom.js";
import { on, state, edit, say, select, hover, tell } from "./wire.js";

// Each view projects millimetres [right, away, up] to the drawing, and knows which way is which.
const VIEWS = {
  plan: { flat: ([x, y]) => [x, -y], axes: [0, 1], signs: [1, -1], label: "From above", left: "left", far: "away from you" },
  side: { flat: ([, y, z]) => [y, -z], axes: [1, 2], signs: [1, -1], label: "From the right", left: "towards you", far: "up" },
};
const STEP = { plain: 5, fine: 1, coarse: 50 };
const SEND_MS = 8;
let gestures = 0;

export function drawing(kind) {
  const view = VIEWS[kind];
  const lines = s("g", { class: "ground", "aria-hidden": "true" });
  const family = s("g", { class: "families", "aria-hidden": "true" });
  const rays = s("g", { class: "rays", "aria-hidden": "true" });
  const things = s("g", { class: "things" });
  const names = s("g", { class: "names", "aria-hidden": "true" });
  const handles = s("g", { class: "handles" });
  const svg = s("svg", { class: "drawing", role: "group", "aria-label": `${view.label}, to scale` }, lines, rays, things, family, names, handles);
  const scale = h("p", { class: "scale quiet" });
  const node = h("div", { class: `view ${kind}` },
    h("div", { class: "view-head" }, h("h3", {}, view.label), scale,
      h("div", { class: "zoom" },
        h("button", { type: "button", class: "plain", title: "Closer", "aria-label": `${view.label}: closer`, onclick: () => zoom(0.8) }, "+"),
        h("button", { type: "button", class: "plain", title: "Farther", "aria-label": `${view.label}: farther`, onclick: () => zoom(1.25) }, "−"),
        h("button", { type: "button", class: "plain", title: "All of it", "aria-label": `${view.label}: show all`, onclick: () => { box = null; draw(); } }, "⤢"))),
    svg);

  let box = null;
  let hand = null;

  function fit() {
    const points = everything().map(view.flat);
    const xs = points.map((p) => p[0]);
    const ys = points.map((p) => p[1]);
    const pad = 70;
    const low = [Math.min(...xs) - pad, Math.min(...ys) - pad];
    return { x: low[0], y: low[1], w: Math.max(...xs) + pad - low[0], h: Math.max(...ys) + pad - low[1] };
  }

  function everything() {
    const { things: all, camera, sheet } = state.layout;
    const found = [camera, ...all].flatMap((thing) => thing.rings.flat());
    const w = sheet.width_mm / 2 + 60;
    const d = sheet.height_mm / 2 + 60;
    return [...found, [-w, -d, 0], [w, d, 0], [0, 0, -40]];
  }

  function zoom(factor) {
    const b = box;
    const w = b.w * factor;
    const t = b.h * factor;
    box = { x: b.x + (b.w - w) / 2, y: b.y + (b.h - t) / 2, w, h: t };
    place();
  }

  function place() {
    svg.setAttribute("viewBox", `${box.x} ${box.y} ${box.w} ${box.h}`);
    const width = svg.clientWidth || 400;
    const perPixel = Math.max(box.w / width, box.h / (svg.clientHeight || 300));
    svg.style.setProperty("--px", perPixel);
    const length = [20, 50, 100, 200, 500, 1000].find((one) => one / perPixel > 60) || 1000;
    into(scale, h("i", { class: "bar", style: { width: `${length / perPixel}px` } }), `${length} mm`);
  }

  function draw() {
    const layout = state.layout;
    if (!layout) return;
    if (!box) box = fit();
    place();
    drawGround(layout);
    drawFamilies(layout);
    drawRays(layout);
    drawThings(layout);
    drawHandles();
  }

  const path = (ring, closed = true) => ring.map((p, i) => `${i ? "L" : "M"}${view.flat(p).map((v) => v.toFixed(1)).join(" ")}`).join("") + (closed ? "Z" : "");

  function drawGround(layout) {
    const { sheet, table } = layout;
    const z = table ? -table.drop_mm : -1;
    const halfW = sheet.width_mm / 2;
    const halfD = sheet.height_mm / 2;
    const rect = (w, d, at) => [[-w, -d, at], [w, -d, at], [w, d, at], [-w, d, at]];
    into(lines,
      table ? s("path", { class: "table", d: path(rect(table.width_mm / 2, table.depth_mm / 2, z)) }) : null,
      kind === "plan" ? s("path", { class: "cross", d: `M-2000 0H2000M0 -2000V2000` }) : s("path", { class: "cross", d: `M-3000 ${-z}H3000` }),
      s("path", { class: "sheet", d: path(rect(halfW, halfD, 0)) }),
      kind === "plan" ? s("text", { class: "hint", x: 0, y: box.y + box.h - 10 * perPixel(), "text-anchor": "middle", "font-size": 11 * perPixel() }, "you stand here") : null);
  }

  const perPixel = () => Number(svg.style.getPropertyValue("--px")) || 1;

  function drawFamilies(layout) {
    into(family, layout.families.flatMap((one) => [
      s("path", { class: `margin ${one.covers_with_margins ? "good" : "short"}`, d: path(one.with_margins) }),
      s("path", { class: `seen ${one.covers ? "good" : "short"}`, d: path(one.seen) })]));
  }

  function drawRays(layout) {
    const wanted = state.hovered || state.selected;
    const lens = layout.camera;
    into(rays,
      lens.view.map((corner) => s("path", { class: "cone", d: path([lens.position_mm, corner], false) })),
      layout.rays.map((ray) => s("path", { class: `ray ${ray.sees === wanted ? "on" : ""}`, d: path(ray.points, false) })));
  }

  function drawThings(layout) {
    const top = (thing) => (kind === "plan" ? Math.max(...thing.rings.flat().map((p) => p[2])) : Math.max(...thing.rings.flat().map((p) => p[0])));
    const all = [...layout.things, layout.camera].sort((a, b) => top(a) - top(b));
    into(names, all.map((thing) => nameOf(thing)));
    const before = document.activeElement && things.contains(document.activeElement) ? document.activeElement.dataset.name : null;
    into(things, all.map((thing) => drawThing(thing)));
    if (before) {
      const again = [...things.children].find((child) => child.dataset.name === before);
      if (again) again.focus({ preventScroll: true });
    }
  }

  function drawThing(thing) {
    const group = s("g", {
      class: `thing ${thing.kind.replace(" ", "-")} ${state.selected === thing.name ? "selected" : ""} ${state.hovered === thing.name ? "hovered" : ""} ${thing.on === false ? "off" : ""} ${thing.locked ? "locked" : ""}`,
      tabindex: 0, role: "button", "aria-label": described(thing), "aria-pressed": state.selected === thing.name,
      onpointerdown: (event) => grab(event, thing, "move"),
      onpointerenter: () => hover(thing.name), onpointerleave: () => hover(null),
      onfocus: () => select(thing.name), onkeydown: (event) => keys(event, thing),
    },
    halo(thing),
    thing.rings.map((ring) => s("path", { class: "body", d: path(ring, ring.length > 2), style: { fill: thing.colour || "" } })),
    s("path", { class: "grip", d: thing.rings.filter((r) => r.length > 2).slice(0, 1).map((ring) => path(ring)).join("") }),
    thing.aim_mm && thing.kind !== "camera" ? s("path", { class: "facing", d: facing(thing) }) : null);
    group.dataset.name = thing.name;
    return group;
  }

  function nameOf(thing) {
    const px = perPixel();
    const [x, y] = view.flat(thing.position_mm);
    const text = s("text", { x, y: y - 9 * px, "text-anchor": "middle", "font-size": 11.5 * px, class: state.selected === thing.name ? "selected" : "" }, thing.name);
    text.dataset.name = thing.name;
    return text;
  }

  function facing(thing) {
    const way = thing.aim_mm.map((v, i) => v - thing.position_mm[i]);
    const size = Math.hypot(...way) || 1;
    const tip = thing.position_mm.map((v, i) => v + (way[i] / size) * 26 * perPixel());
    return path([thing.position_mm, tip], false);
  }

  // How far a thing may be off, where the rig keeps a plan.
  function halo(thing) {
    if (!state.kept || !state.kept.tolerances || (state.kept.plan && state.kept.plan.is_changed)) return null;
    const names = ["x_mm", "y_mm", "z_mm"];
    const [a, b] = view.axes.map((axis) => state.kept.tolerances.find((t) => t.element === thing.name && t.dimension === names[axis]));
    if (!a && !b) return null;
    const [x, y] = view.flat(thing.position_mm);
    const [left, right] = a ? [a.minus, a.plus] : [2, 2];
    const [down, up] = b ? [b.minus, b.plus] : [2, 2];
    return s("rect", { class: "halo", x: x - left, y: y - up, width: left + right, height: up + down, rx: 3 * perPixel() });
  }

  function drawHandles() {
    const thing = found(state.selected);
    into(handles);
    if (!thing || thing.locked || !thing.aim_mm) return;
    const r = 6 * perPixel();
    const [x, y] = view.flat(thing.position_mm);
    const [ax, ay] = view.flat(thing.aim_mm);
    const ring = thing.rings[0];
    const knob = (cx, cy, what, hint) => s("circle", { class: `knob ${what}`, cx, cy, r, onpointerdown: (event) => grab(event, thing, what) }, s("title", {}, hint));
    handles.append(s("path", { class: "tether", d: `M${x} ${y}L${ax} ${ay}` }), knob(ax, ay, "aim", "Drag: what it points at"));
    if (ring && ring.length === 4 && thing.width_mm) {
      for (const [what, i, j] of [["width", 1, 2], ["height", 2, 3]]) {
        const middle = ring[i].map((v, k) => (v + ring[j][k]) / 2);
        const [hx, hy] = view.flat(middle);
        if (Math.hypot(hx - x, hy - y) > 10 * perPixel()) handles.append(knob(hx, hy, what, `Drag: ${what}`));
      }
    }
  }

  const found = (name) => name && [...state.layout.things, state.layout.camera].find((thing) => thing.name === name);

  function at(event) {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [point.x, point.y];
  }

  function grab(event, thing, what) {
    if (event.button) return;
    event.preventDefault();
    event.stopPropagation();
    select(thing.name);
    const target = [...things.children].find((child) => child.dataset.name === thing.name);
    if (target) target.focus({ preventScroll: true });
    if (thing.locked) {
      tell("note", { text: `${thing.name} is locked. Unlock it below to move it.` });
      return;
    }
    svg.setPointerCapture(event.pointerId);
    hand = { id: event.pointerId, from: at(event), thing: structuredClone(thing), what, gesture: ++gestures, sent: 0, moved: false };
  }

  function drag(event) {
    if (!hand || event.pointerId !== hand.id) return;
    const now = at(event);
    const by = [now[0] - hand.from[0], now[1] - hand.from[1]];
    if (!hand.moved && Math.hypot(...by) < 2 * perPixel()) return;
    hand.moved = true;
    hand.last = by;
    if (event.timeStamp - hand.sent < SEND_MS) {
      if (!hand.waiting) hand.waiting = setTimeout(() => hand && send(), SEND_MS);
    } else {
      hand.sent = event.timeStamp;
      send();
    }
    ghost(by);
  }

  // The thing under the hand follows at once; all else follows with the picture.
  function ghost(by) {
    if (hand.what !== "move") return;
    const now = found(hand.thing.name);
    const group = [...things.children].find((child) => child.dataset.name === hand.thing.name);
    if (!now || !group) return;
    const [x0, y0] = view.flat(hand.thing.position_mm);
    const [x1, y1] = view.flat(now.position_mm);
    const shift = `translate(${x0 + by[0] - x1} ${y0 + by[1] - y1})`;
    group.setAttribute("transform", shift);
    [...names.children].find((child) => child.dataset.name === hand.thing.name)?.setAttribute("transform", shift);
  }

  function send() {
    clearTimeout(hand.waiting);
    hand.waiting = 0;
    const { thing, what, last, gesture } = hand;
    const step = [0, 0, 0];
    view.axes.forEach((axis, i) => { step[axis] = view.signs[i] * last[i]; });
    const moved = (from) => from.map((v, i) => round(v + step[i], 0.5));
    if (what === "move") {
      const keeps = thing.kind !== "camera" && thing.kind !== "lamp" && thing.kind !== "window";
      edit([{ do: "move", element: thing.name, position_mm: clear(moved(thing.position_mm)), keeps_direction: keeps }], `moved ${thing.name}`, gesture);
    } else if (what === "aim") {
      edit([{ do: "move", element: thing.name, aim_mm: moved(thing.aim_mm) }], `aimed ${thing.name}`, gesture);
    } else {
      const ring = thing.rings[0];
      const [i, j, k, l] = what === "width" ? [1, 2, 0, 3] : [2, 3, 0, 1];
      const axis = ring[i].map((v, n) => (v + ring[j][n] - ring[k][n] - ring[l][n]) / 2);
      const flat = view.flat(axis);
      const size = Math.hypot(...axis);
      const along = (last[0] * flat[0] + last[1] * flat[1]) / (flat[0] ** 2 + flat[1] ** 2);
      const value = Math.max(20, round(size * (1 + 2 * along), 1));
      edit([{ do: "set", element: thing.name, dimension: `${what}_mm`, value }], `resized ${thing.name}`, gesture);
    }
  }

  const clear = ([x, y, z]) => [x, y, Math.max(0, z)];

  function drop(event) {
    if (!hand || event.pointerId !== hand.id) return;
    if (hand.moved) {
      if (hand.waiting) send();
      say({ do: "let go" });
    }
    hand = null;
    draw();
  }

  svg.addEventListener("pointermove", drag);
  svg.addEventListener("pointerup", drop);
  svg.addEventListener("pointercancel", drop);
  svg.addEventListener("pointerdown", (event) => { if (event.target === svg || lines.contains(event.target)) select(null); });
  svg.addEventListener("wheel", (event) => {
    if (!event.ctrlKey) return;
    event.preventDefault();
    zoom(event.deltaY > 0 ? 1.1 : 0.9);
  }, { passive: false });

  function keys(event, thing) {
    if (event.ctrlKey || event.metaKey) return;
    const step = event.shiftKey ? STEP.fine : event.altKey ? STEP.coarse : STEP.plain;
    const by = [0, 0, 0];
    const [across, along] = view.axes;
    const turn = event.shiftKey ? 0.5 : 2;
    const ways = {
      ArrowLeft: () => { by[across] = -step; }, ArrowRight: () => { by[across] = step; },
      ArrowUp: () => { by[along] = step; }, ArrowDown: () => { by[along] = -step; },
      PageUp: () => { by[2] = step; }, PageDown: () => { by[2] = -step; },
    };
    const sizes = { "[": ["width_mm", -10], "]": ["width_mm", 10], "{": ["height_mm", -10], "}": ["height_mm", 10] };
    const turns = { q: ["turn_deg", -turn], e: ["turn_deg", turn], r: ["lean_deg", turn], f: ["lean_deg", -turn] };
    const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
    if (thing.locked && key !== "l") return;
    if (ways[key]) {
      ways[key]();
      const keeps = !["camera", "lamp", "window"].includes(thing.kind);
      edit([{ do: "nudge", element: thing.name, by_mm: by, keeps_direction: keeps }], `moved ${thing.name}`, `key ${thing.name}`);
    } else if (turns[key] && thing.aim_mm) {
      edit([{ do: "turn", element: thing.name, [turns[key][0]]: turns[key][1] }], `turned ${thing.name}`, `turn ${thing.name}`);
    } else if (sizes[event.key] && thing.width_mm) {
      const [name, change] = sizes[event.key];
      edit([{ do: "nudge", element: thing.name, dimension: name, by: change }], `resized ${thing.name}`, `size ${thing.name}`);
    } else if ((key === "+" || key === "-" || key === "=") && thing.trim_stops !== undefined) {
      edit([{ do: "nudge", element: thing.name, dimension: "trim_stops", by: (key === "-" ? -1 : 1) / 3 }], `power of ${thing.name}`, `power ${thing.name}`);
    } else if (key === "Delete" && thing.kind !== "camera") {
      edit([{ do: "remove", element: thing.name }], `put ${thing.name} aside`);
      select(null);
    } else return;
    event.preventDefault();
  }

  function refresh() {
    draw();
    if (hand && hand.moved) ghost(hand.last);
  }

  const off = [
    on("layout", refresh), on("kept", () => state.layout && draw()),
    on("selected", () => state.layout && !hand && (drawMarks(), drawHandles())),
    on("hovered", () => state.layout && drawMarks()),
  ];

  function drawMarks() {
    for (const child of things.children) {
      child.classList.toggle("selected", child.dataset.name === state.selected);
      child.classList.toggle("hovered", child.dataset.name === state.hovered);
      child.setAttribute("aria-pressed", child.dataset.name === state.selected);
    }
    drawRays(state.layout);
  }

  const watch = new ResizeObserver(() => state.layout && box && (place(), draw()));
  watch.observe(svg);
  if (state.layout) requestAnimationFrame(draw);
  return { node, leave: () => { off.forEach((end) => end()); watch.disconnect(); } };
}

export function described(thing) {
  const [x, y, z] = thing.position_mm;
  const across = Math.abs(x) < 1 ? "in the middle" : `${mm(Math.abs(x))} ${x < 0 ? "left" : "right"}`;
  const along = Math.abs(y) < 1 ? "level with the sheet" : `${mm(Math.abs(y))} ${y < 0 ? "towards you" : "away"}`;
  const what = { lamp: "lamp", window: "window", card: `${thing.finish || ""} board`, camera: "camera" }[thing.kind] || thing.kind;
  return `${thing.name}, ${what}: ${across}, ${along}, ${mm(z)} up`;
}
