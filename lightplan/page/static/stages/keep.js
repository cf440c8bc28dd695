// Keep: the shelf of pictures, this work's history, copies, import and export.

import { h, into, button } from "../dom.js";
import { on, say, state, upload, tell } from "../wire.js";
import { twoSets } from "../sets.js";
import { LOOKS } from "./shared.js";

let entries = null;
let ticked = [];

export function show(place) {
  const own = h("section", { class: "own" });
  const shelf = h("div", { class: "shelf" });
  const two = h("section", { class: "two-works", "aria-live": "polite" });
  const past = h("section", { class: "past" });
  place.append(h("div", { class: "stage-head" }, h("div", {}, h("h1", {}, "The shelf"), h("p", { class: "quiet" }, "What you kept, and examples to begin with. Opening one lays a copy on the table; nothing here is changed by that."))), own, two, shelf, past);
  const drawOwn = () => {
    if (!state.work || !state.work.open) return into(own);
    const name = h("input", { type: "text", maxLength: 80, placeholder: "a name, such as spring-tags", "aria-label": "Name on the shelf" });
    return into(own, h("div", { class: "card" }, h("h2", {}, state.work.title),
      h("form", { class: "row", onsubmit: (event) => { event.preventDefault(); if (name.value.trim()) say({ do: "save as", name: name.value.trim() }); } }, name, h("button", { type: "submit", class: "main" }, "Keep it on the shelf")),
      h("p", { class: "row" }, button("Go on with a copy", () => say({ do: "copy" })), button("Rig file", () => say({ do: "export" })), button("History", () => say({ do: "history" })), bringIn())));
  };
  const tick = (key, is) => {
    ticked = [...ticked.filter((one) => one !== key), ...(is ? [key] : [])].slice(-2);
    into(two);
    if (ticked.length === 2) say({ do: "compare", keys: ticked });
    drawShelf();
    const box = [...shelf.querySelectorAll("input")].find((one) => one.value === key);
    if (box) box.focus({ preventScroll: true });
  };
  const drawShelf = () => {
    if (!entries) return into(shelf, h("p", { class: "waiting" }, "One moment."));
    const group = (title, some) => some.length ? [h("h2", {}, title), h("ul", { class: "pictures" }, some.map((one) => item(one, tick)))] : null;
    return into(shelf, group("Open lately", entries.filter((one) => one.kind === "recent").slice(0, 8)), group("Yours", entries.filter((one) => one.kind === "preset" && one.yours)), group("Examples", entries.filter((one) => one.kind === "preset" && !one.yours)),
      state.work && state.work.open ? null : h("p", { class: "row" }, bringIn()));
  };
  const off = [
    on("shelf", (message) => { entries = message.entries; ticked = ticked.filter((key) => entries.some((one) => one.key === key)); drawShelf(); }),
    on("shelf picture", (message) => { const one = entries && entries.filter((e) => e.key === message.key); if (one) { one.forEach((e) => { e.picture = message.picture; }); drawShelf(); } }),
    on("compared", (message) => drawTwo(two, message.two)),
    on("work", drawOwn),
    on("history", (message) => drawPast(past, message)),
    on("export", (message) => { const link = h("a", { href: message.address, download: message.name }); document.body.append(link); link.click(); link.remove(); }),
    on("connected", (is) => is && say({ do: "shelf" })),
  ];
  if (state.connected) say({ do: "shelf" });
  drawOwn();
  drawShelf();
  return () => off.forEach((end) => end());
}

function item(one, tick) {
  const open = () => { say(one.kind === "recent" ? { do: "open", what: "recent", number: one.number } : { do: "open", name: one.name }); location.hash = "layout"; };
  const size = one.size_mm ? `${Math.round(one.size_mm[0])} × ${Math.round(one.size_mm[1])} mm` : "";
  return h("li", {}, h("button", { type: "button", class: "shelf-item", disabled: !!one.error, onclick: open },
    one.picture ? h("img", { src: one.picture, alt: "" }) : h("span", { class: "blank" }),
    h("span", { class: "words" }, one.title), h("span", { class: "quiet" }, one.error || [LOOKS[one.look], size].filter(Boolean).join(", "))),
  one.error ? null : h("label", { class: "tick" }, h("input", { type: "checkbox", value: one.key, checked: ticked.includes(one.key), onchange: (event) => tick(one.key, event.target.checked) }), "Compare", h("span", { class: "unseen" }, ` ${one.title}`)));
}

// Two of the shelf beside each other: their pictures, what they need, and both sets from above at one scale.
function drawTwo(node, works) {
  const shown = (one) => h("figure", {}, pictureOf(one.key) ? h("img", { src: pictureOf(one.key), alt: "" }) : h("span", { class: "blank" }),
    h("figcaption", {}, h("h2", {}, one.title), h("p", { class: "quiet" }, `${LOOKS[one.look]}, ${Math.round(one.size_mm[0])} × ${Math.round(one.size_mm[1])} mm. Needs ${one.needs.join(", ")}.`)));
  into(node, h("div", { class: "card" }, h("div", { class: "side-by-side" }, works.map(shown)),
    twoSets(works.map((one) => one.set), { words: works.map((one) => one.title) }),
    h("p", { class: "quiet" }, "Dashed on the right: where things stand on the left."),
    button("Put them back", () => { ticked = []; into(node); say({ do: "shelf" }); }, { class: "plain" })));
  node.scrollIntoView({ behavior: "smooth", block: "start" });
}

const pictureOf = (key) => (entries.find((one) => one.key === key) || {}).picture;

function drawPast(node, { versions, position }) {
  into(node, h("h2", {}, "History of this work"), h("ol", { class: "versions", reversed: true }, [...versions].reverse().map((one) => h("li", { class: one.number === position ? "now" : "" },
    h("time", {}, new Date(1000 * one.at).toLocaleString([], { dateStyle: "medium", timeStyle: "short" })), h("span", {}, one.why),
    one.number === position ? h("span", { class: "quiet" }, "stands now") : button("Go back to it", () => say({ do: "go back", number: one.number }), { class: "plain" })))));
  node.scrollIntoView({ behavior: "smooth", block: "start" });
}

function bringIn() {
  const input = h("input", { type: "file", accept: ".toml", class: "unseen", onchange: async () => {
    try {
      if (input.files[0]) await upload("rig", input.files[0]);
    } catch (error) {
      tell("refused", { text: error.message });
    }
  } });
  return h("label", { class: "button" }, input, "Bring in a rig file");
}
