// Start: one question at a time. Every one may be answered with "I do not know".

import { h, into, button } from "../dom.js";
import { on, say } from "../wire.js";
import { picture } from "../icons.js";
import { dropZone, pointing } from "./shared.js";

const PHOTOGRAPHS = "image/*,.dng,.cr2,.cr3,.nef,.arw,.raf,.orf,.rw2";
const UNITS = { mm: 1, cm: 10, inches: 25.4 };
const kept = { answers: {}, at: -1, artwork: null, colour: null, layer: null, parts: null, turned: false, photo: null, unit: "mm" };
let questions = null;

export function show(place) {
  const node = h("div", { class: "start" });
  place.append(node);
  const draw = () => (kept.at < 0 ? welcome(node, draw) : kept.at < questions.length ? ask(node, draw) : ready(node, draw));
  const off = [
    on("questions", (message) => { questions = message.questions; draw(); }),
    on("connected", (is) => is && !questions && say({ do: "questions" })),
    on("go", () => { kept.at = -1; kept.answers = {}; kept.artwork = kept.colour = kept.layer = kept.parts = kept.photo = null; kept.turned = false; }),
    on("refused", () => node.classList.remove("making")),
    on("stock", (message) => { kept.answers.stock_reflectance = message.reflectance; draw(); }),
  ];
  if (questions) draw();
  else say({ do: "questions" });
  return () => off.forEach((end) => end());
}

function welcome(node, draw) {
  into(node, h("div", { class: "welcome" },
    h("p", { class: "kicker" }, "For foil, leaf and metal on paper"),
    h("h1", {}, "See the picture before you set up a single lamp"),
    h("p", { class: "lead" }, "Foil is a mirror printed on paper: it shows whatever stands around it. Answer a few short questions, and lightplan shows what your camera will see, and how to make the metal shine."),
    h("p", { class: "row" },
      button("Describe my product", () => { kept.at = 0; draw(); }, { class: "main big" }),
      h("a", { class: "button big", href: "#keep" }, "Take one from the shelf")),
    h("p", { class: "quiet" }, "It takes about two minutes. Nothing leaves this computer.")));
}

function ask(node, draw) {
  const question = questions[kept.at];
  const next = () => { kept.at += 1; draw(); };
  const answer = (value) => { kept.answers[question.id] = value; next(); };
  const bodies = { choice, size, artwork, camera, lamps, counts };
  into(node, h("section", { class: "question", "aria-labelledby": "asked" },
    h("ol", { class: "path", "aria-label": `Question ${kept.at + 1} of ${questions.length}` }, questions.map((one, i) => h("li", { class: i < kept.at ? "past" : i === kept.at ? "now" : "" }))),
    h("h1", { id: "asked", tabindex: -1 }, question.asks),
    h("p", { class: "quiet" }, question.help),
    bodies[question.kind](question, answer, next, draw),
    h("div", { class: "row foot" },
      button("Back", () => { kept.at -= 1; draw(); }),
      ["lamps", "counts"].includes(question.kind) ? button("Go on", next, { class: "main" }) : null,
      button(question.kind === "artwork" ? "I have none at hand" : "I do not know", () => answer("unknown"), { class: "plain" }))));
  node.querySelector("h1").focus({ preventScroll: true });
}

function tiles(options, chosen, act) {
  return h("div", { class: "tiles" }, options.map((option) =>
    h("button", { type: "button", class: `tile ${option.id === chosen ? "chosen" : ""}`, onclick: () => act(option), "aria-pressed": String(option.id === chosen) },
      picture(option), h("span", { class: "words" }, option.words), option.note ? h("span", { class: "quiet" }, option.note) : null)));
}

function choice(question, answer, next, draw) {
  const shown = tiles(question.options, kept.answers[question.id], (option) => answer(option.id));
  return question.id === "stock" ? h("div", {}, shown, stockPhoto(draw)) : shown;
}

function size(question, answer) {
  const unit = h("select", { "aria-label": "Unit", onchange: () => { kept.unit = unit.value; } }, Object.keys(UNITS).map((one) => h("option", { selected: one === kept.unit }, one)));
  const field = (words) => h("input", { type: "number", min: 0.1, step: "any", inputMode: "decimal", "aria-label": words, placeholder: words.toLowerCase() });
  const wide = field("Width");
  const high = field("Height");
  const form = h("form", { class: "row measure", onsubmit: (event) => {
    event.preventDefault();
    const by = UNITS[unit.value];
    if (Number(wide.value) > 0 && Number(high.value) > 0) answer({ width_mm: Number(wide.value) * by, height_mm: Number(high.value) * by });
  } }, wide, "×", high, unit, h("button", { type: "submit", class: "main" }, "That is it"));
  return h("div", {}, tiles(question.options, null, (option) => answer(option.id)), h("p", { class: "or" }, "or measured with a ruler, as it lies before you"), form);
}

function artwork(question, answer, next, draw) {
  const take = (told) => { kept.artwork = told; kept.colour = kept.layer = kept.parts = null; kept.turned = false; draw(); };
  if (!kept.artwork) {
    const { goods, size } = kept.answers;
    return h("div", {}, dropZone("artwork", "Drop your artwork here: PNG, SVG or PDF.", ".png,.svg,.pdf,.jpg,.jpeg", take),
      h("details", { class: "more" }, h("summary", {}, "No file, but the print itself? Tell the metal from a photograph"),
        dropZone("print", "Lay it on a ground of another colour, photograph it from straight above so that the metal is bright, and drop the picture here.", PHOTOGRAPHS, take, { goods, size })));
  }
  const { name, picture: source, colours, layers, choices } = kept.artwork;
  const pick = (colour, layer = null) => { kept.colour = colour; kept.layer = layer; next(); };
  const other = h("p", {}, button("Take another file", () => { kept.artwork = null; draw(); }, { class: "link" }));
  if (choices.length) return printed(kept.artwork, next, draw, other);
  return h("div", { class: "artwork" }, h("img", { src: source, alt: name }),
    h("div", {}, layers.length ? [h("h2", {}, "Which layer is the metal?"),
      h("div", { class: "row" }, layers.map((layer) => button(layer, () => pick(null, layer), { class: /foil|gold|silver|copper|metal|leaf/i.test(layer) ? "main" : "" })))] : null,
      h("h2", {}, layers.length ? "Or which colour is it?" : "Which colour is the metal?"),
      h("div", { class: "colours" }, colours.map(([colour, share]) => h("button", { type: "button", class: "colour", onclick: () => pick(colour) },
        h("i", { style: { background: colour } }), percent(share)))),
      h("p", {}, button("It is black on white, or white on black: tell it yourself", () => pick(null), { class: "link" })),
      other));
}

const percent = (share) => `${Math.max(1, Math.round(100 * share))} % of it`;

// A photographed print: what counts as metal, to be accepted by eye. Its colours can be pressed away.
function printed({ name, picture: source, choices }, next, draw, other) {
  const parts = kept.parts || (kept.parts = choices.map((one) => one.colour));
  const turned = kept.turned ? "turned" : "";
  const press = (colour) => { kept.parts = parts.includes(colour) ? parts.filter((one) => one !== colour) : [...parts, colour]; draw(); };
  const metal = choices.filter((one) => parts.includes(one.colour));
  return h("div", { class: "print" },
    h("figure", {}, h("img", { src: source, alt: name, class: turned }), h("figcaption", { class: "quiet" }, "Your print")),
    h("figure", {}, h("div", { class: `metal ${turned}` }, choices.map((one) => h("img", { src: one.picture, alt: "", class: metal.includes(one) ? "" : "away" }))),
      h("figcaption", { class: "quiet" }, `Taken for metal: ${Math.round(100 * metal.reduce((sum, one) => sum + one.share, 0))} %`)),
    h("div", {}, h("h2", {}, "Is this the metal, and nothing else?"),
      h("p", { class: "quiet" }, "Press away the colours that are ink or paper."),
      h("div", { class: "colours" }, choices.map((one) => h("button", { type: "button", class: "colour", "aria-pressed": String(parts.includes(one.colour)), onclick: () => press(one.colour) },
        h("i", { style: { background: one.colour } }), percent(one.share)))),
      h("p", { class: "row" }, button("That is the metal", next, { class: "main", disabled: !metal.length }), button("It stands on its head", () => { kept.turned = !kept.turned; draw(); })),
      h("p", { class: "quiet" }, "Not right? Photograph it once more, in softer and brighter light."), other));
}

function camera(question, answer, next, draw) {
  const photo = kept.photo;
  return h("div", {}, tiles(question.options, kept.answers.camera, (option) => answer(option.id)),
    photo ? h("div", { class: "photo-told card" }, h("img", { src: photo.picture, alt: "" }),
      h("div", {}, h("p", {}, photo.equivalent_mm ? `A lens like ${Math.round(photo.equivalent_mm)} mm on a full-frame camera, ${photo.pixels.join(" × ")} pixels.` : `${photo.pixels.join(" × ")} pixels; the file does not say which lens. The usual one is taken.`),
        button("Take this camera", () => answer({ equivalent_mm: photo.equivalent_mm, pixels: photo.pixels, is_phone: photo.is_phone }), { class: "main" }),
        h("p", {}, button("Take another photograph", () => { kept.photo = null; draw(); }, { class: "link" }))))
      : dropZone("camera", "Drop any photograph that it took. Only lens and pixels are read.", PHOTOGRAPHS, (told) => { kept.photo = told; draw(); }));
}

// The stock from a photograph beside white copy paper: point at the one, then at the other.
function stockPhoto(draw) {
  if (kept.answers.stock_reflectance) {
    return h("div", { class: "card measured" }, h("p", {}, "Measured from your photograph. ", button("Take it", () => { kept.answers.stock = kept.answers.stock || "unknown"; kept.at += 1; draw(); }, { class: "main" }), " ",
      button("Use a swatch instead", () => { delete kept.answers.stock_reflectance; draw(); }, { class: "link" })));
  }
  if (!kept.stockPhoto) {
    return h("details", { class: "more" }, h("summary", {}, "Tell it from a photograph beside white copy paper"),
      dropZone("camera", "Lay the stock beside white copy paper in even light, photograph both, and drop the picture here.", "image/*", (told) => { kept.stockPhoto = told; draw(); }));
  }
  return h("div", {}, pointing(kept.stockPhoto.picture, ["Point at the stock.", "Now point at the white paper."], ([stock_at, paper_at]) => {
    say({ do: "measure stock", photo: kept.stockPhoto.mark, stock_at, paper_at });
    kept.stockPhoto = null;
  }), h("p", {}, button("Take another photograph", () => { kept.stockPhoto = null; draw(); }, { class: "link" })));
}

function lamps(question) {
  const list = Array.isArray(kept.answers.lamps) ? kept.answers.lamps : (kept.answers.lamps = []);
  const shown = h("ul", { class: "owned" });
  const redraw = () => into(shown, list.map((lamp, i) => {
    const of = question.options.find((one) => one.id === lamp.kind);
    const number = (name, words, unit) => h("label", {}, words, h("input", { type: "number", min: 1, step: 1, value: lamp[name], oninput: (event) => { lamp[name] = Number(event.target.value) || undefined; } }), unit);
    return h("li", {}, picture(of), h("b", {}, of.words), lamp.kind === "window" ? null : number("watts", "", "W"), number("width_mm", "", "×"), number("height_mm", "", "mm"),
      button("Take away", () => { list.splice(i, 1); redraw(); }, { class: "plain" }));
  }));
  redraw();
  const add = (option) => { list.push({ kind: option.id, watts: option.means.watts, width_mm: option.means.width_mm, height_mm: option.means.height_mm }); redraw(); };
  return h("div", {}, tiles(question.options, null, add), h("p", { class: "or" }, "Press once for each that you have."), shown);
}

function counts(question) {
  const given = kept.answers[question.id];
  const all = given && typeof given === "object" ? given : (kept.answers[question.id] = {});
  return h("ul", { class: "counts" }, question.options.map((option) => {
    const count = h("output", { "aria-live": "polite" }, all[option.id] || 0);
    const by = (step) => { all[option.id] = Math.max(0, Math.min(9, (all[option.id] || 0) + step)); count.textContent = all[option.id]; };
    return h("li", {}, picture(option), h("span", { class: "words" }, option.words, option.note ? h("span", { class: "quiet" }, ` ${option.note}`) : null),
      button("−", () => by(-1), { "aria-label": `One less: ${option.words}` }), count, button("+", () => by(1), { "aria-label": `One more: ${option.words}` }));
  }));
}

function ready(node, draw) {
  const title = h("input", { type: "text", maxLength: 120, placeholder: "as you call it", value: kept.answers.title || "", "aria-label": "Name of this work" });
  const go = () => {
    node.classList.add("making");
    if (title.value.trim()) kept.answers.title = title.value.trim();
    say({ do: "start", answers: kept.answers, artwork: kept.artwork ? kept.artwork.mark : null, colour: kept.colour, layer: kept.layer, parts: kept.parts, turned: kept.turned });
  };
  into(node, h("section", { class: "question" },
    h("h1", { tabindex: -1 }, "That is all. What shall it be called?"),
    h("p", { class: "quiet" }, "What you did not know is taken as usual, and marked in the rig file. You can change everything later."),
    h("form", { class: "row measure", onsubmit: (event) => { event.preventDefault(); go(); } }, title, h("button", { type: "submit", class: "main big" }, "Show me the picture")),
    h("p", { class: "quiet making-told" }, "Setting up board, lamps and camera …"),
    h("div", { class: "row foot" }, button("Back", () => { kept.at -= 1; draw(); }))));
  title.focus();
}
