// The predicted picture: it follows the hand, and turns fine when the hand rests.

import { h, into, capital } from "./dom.js";
import { on, state, hover } from "./wire.js";

const NO_FOIL = 255;
const CLIPPED = 128;

export function picture({ controls = true } = {}) {
  const canvas = h("canvas", { class: "live", role: "img", "aria-label": "Predicted picture" });
  const overlay = h("canvas", { class: "over", "aria-hidden": "true" });
  const fine = h("img", { class: "fine", alt: "", draggable: false });
  const told = h("p", { class: "spot", "aria-live": "off" });
  const frame = h("div", { class: "picture-frame" }, canvas, fine, overlay, told);
  const legend = h("ul", { class: "legend", "aria-label": "What the foil mirrors" });
  const mode = { glare: false };
  const ways = controls ? tabs(mode, () => drawOverlay()) : null;
  const node = h("figure", { class: "picture" }, frame, h("figcaption", {}, ways, legend));

  let drawn = -1;
  async function drawFrame(head) {
    const bitmap = await createImageBitmap(new Blob([head.bodies[0]], { type: "image/jpeg" }));
    if (state.frame !== head && head.revision < drawn) return;
    if (canvas.width !== head.cols || canvas.height !== head.rows) {
      canvas.width = overlay.width = head.cols;
      canvas.height = overlay.height = head.rows;
      frame.style.aspectRatio = `${head.cols} / ${head.rows}`;
      frame.style.setProperty("--shape", head.cols / head.rows); // all of it is seen at once
    }
    canvas.getContext("2d").drawImage(bitmap, 0, 0);
    drawn = head.revision;
    if (!state.closer || state.closer.revision !== head.revision) fine.classList.remove("shown");
    drawOverlay();
    drawLegend();
    document.dispatchEvent(new CustomEvent("picture-drawn", { detail: { mark: head.mark, revision: head.revision } }));
  }

  function drawOverlay() {
    const head = state.frame;
    if (!head || overlay.width !== head.cols) return;
    const context = overlay.getContext("2d");
    const wanted = head.names.indexOf(state.hovered);
    if (!mode.glare && wanted < 0) {
      context.clearRect(0, 0, overlay.width, overlay.height);
      return;
    }
    const image = context.createImageData(head.cols, head.rows);
    const pixels = new Uint32Array(image.data.buffer);
    const inks = head.colours.map((colour, i) => {
      if (mode.glare) return ink(colour, wanted >= 0 && i !== wanted ? 70 : 255);
      return i === wanted ? ink(colour, 175) : 0;
    });
    const paper = mode.glare ? ink([255, 252, 244], 200) : 0;
    const white = mode.glare ? ink([255, 255, 255], 255) : 0;
    const sees = head.bodies[1];
    for (let i = 0; i < sees.length; i++) {
      const value = sees[i];
      if (value === NO_FOIL) pixels[i] = paper;
      else if (white && value & CLIPPED && ((i % head.cols) + ((i / head.cols) | 0)) % 6 < 3) pixels[i] = white;
      else pixels[i] = inks[value & ~CLIPPED];
    }
    context.putImageData(image, 0, 0);
  }

  function drawLegend() {
    const head = state.frame;
    const entries = head.names.map((name, i) => ({ name, share: head.shares[i], colour: head.colours[i] }))
      .filter((entry) => entry.share >= 0.002).sort((a, b) => b.share - a.share);
    const key = JSON.stringify([entries.map((e) => [e.name, Math.round(100 * e.share)]), head.foil_clipped > 0.001, head.paper_clipped > 0.02]);
    if (legend.dataset.key === key) return;
    legend.dataset.key = key;
    into(legend, entries.map((entry) =>
      h("li", {}, h("button", { type: "button", class: "chip", onpointerenter: () => hover(entry.name), onpointerleave: () => hover(null),
        onfocus: () => hover(entry.name), onblur: () => hover(null) },
      h("i", { class: "dot", style: { background: `rgb(${entry.colour})` } }),
      `${capital(entry.name)} `, h("b", {}, `${Math.round(100 * entry.share)} %`)))),
    head.foil_clipped > 0.001 ? h("li", { class: "warn" }, `${percent(head.foil_clipped)} of the foil burns out`) : null,
    head.paper_clipped > 0.02 ? h("li", { class: "warn" }, `${percent(head.paper_clipped)} of the paper burns out`) : null);
  }

  function spot(event) {
    const head = state.frame;
    if (!head) return;
    const box = frame.getBoundingClientRect();
    const col = Math.floor(((event.clientX - box.left) / box.width) * head.cols);
    const row = Math.floor(((event.clientY - box.top) / box.height) * head.rows);
    const value = head.bodies[1][row * head.cols + col];
    const off = value === undefined || value === NO_FOIL;
    const name = off ? null : head.names[value & ~CLIPPED];
    hover(name);
    told.textContent = name ? `This spot mirrors: ${name}${value & CLIPPED ? ", and burns out" : ""}` : "";
    told.classList.toggle("shown", !!name);
  }

  frame.addEventListener("pointermove", spot);
  frame.addEventListener("pointerleave", () => { hover(null); told.classList.remove("shown"); });

  function refine(closer) {
    if (!state.frame || closer.revision !== state.work.revision) return;
    fine.onload = () => {
      if (state.closer === closer && state.work.revision === closer.revision) fine.classList.add("shown");
    };
    fine.src = closer.picture;
  }

  const off = [on("frame", drawFrame), on("closer", refine), on("hovered", drawOverlay)];
  if (state.frame) drawFrame(state.frame);
  if (state.closer) refine(state.closer);
  return { node, leave: () => off.forEach((end) => end()) };
}

function tabs(mode, drawn) {
  const one = (glare, words) => h("label", {},
    h("input", { type: "radio", name: "picture-mode", checked: mode.glare === glare, onchange: () => { mode.glare = glare; drawn(); } }),
    h("span", {}, words));
  return h("fieldset", { class: "choice" }, h("legend", { class: "unseen" }, "Show"),
    one(false, "Picture"), one(true, "What the foil sees"));
}

const ink = ([red, green, blue], alpha) => ((alpha << 24) | (blue << 16) | (green << 8) | red) >>> 0;
const percent = (share) => (share < 0.01 ? "under 1 %" : `${Math.round(100 * share)} %`);
