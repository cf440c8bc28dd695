// What would help: the set with what is owned, and with what could be bought, as pictures with prices.

import { h, into, button, points, capital, sentence } from "../dom.js";
import { on, say, state } from "../wire.js";
import { busyBar, busyState } from "./shared.js";

export function kit() {
  const now = h("div", { "aria-live": "polite" });
  const list = h("ul", { class: "offers" });
  const node = h("section", { class: "kit", "aria-labelledby": "kit-title" }, h("h2", { id: "kit-title" }, "Before you buy anything"),
    h("p", { class: "quiet" }, "What would a board, a tissue or a lamp more do for this product? Each is planned and shown beside the best of what you own."), now, list);
  const draw = () => {
    const working = busyState("kit");
    const { offers, answer } = state.kit || { offers: [], answer: null };
    into(now, working ? busyBar(working, () => say({ do: "stop", purpose: "kit" }))
      : button(answer ? "Ask again" : "What is worth buying?", () => say({ do: "kit" })),
    (answer ? answer.sentences : []).map((words) => h("p", {}, sentence(words))));
    into(list, offers.map(card));
  };
  const off = [on("kit", draw), on("busy", draw), on("free", draw)];
  draw();
  return { node, leave: () => off.forEach((end) => end()) };
}

function card(offer, number) {
  const price = offer.is_owned ? "Costs nothing: you own it" : offer.price === null ? "Price not known" : `Costs ${offer.price}`;
  return h("li", { class: "card offer" }, h("img", { src: offer.picture, alt: `Predicted picture with ${offer.name}` }),
    h("h3", {}, capital(offer.name)),
    h("p", { class: "figures" }, h("strong", {}, `${points(offer.score)} of 100`), offer.is_owned ? null : h("span", { class: "quiet" }, ` ${Math.round(offer.gain)} more than with what you own`)),
    h("p", {}, price), offer.reason ? h("p", { class: "quiet" }, sentence(offer.reason)) : null,
    button(offer.is_owned ? "Lay it out" : "Lay it out as if I had it", () => say({ do: "try offer", number })));
}
