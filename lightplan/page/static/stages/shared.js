// What several stages need.

import { h, into, button } from "../dom.js";

export function needsWork(place, name) {
  into(place, h("div", { class: "empty" }, h("h1", {}, name),
    h("p", {}, "There is nothing on the table yet. Describe your product, or take one from the shelf and change it."),
    h("p", { class: "row" }, h("a", { class: "button main", href: "#start" }, "Describe my product"), h("a", { class: "button", href: "#keep" }, "To the shelf"))));
  return () => {};
}

export function busyBar(progress, stop) {
  const known = progress.of > 0;
  return h("div", { class: "busy" },
    h("progress", known ? { max: progress.of, value: progress.done, "aria-label": progress.stage } : { "aria-label": progress.stage }),
    h("p", {}, `${progress.stage.charAt(0).toUpperCase()}${progress.stage.slice(1)} … `, progress.note ? h("span", { class: "quiet" }, progress.note) : null),
    stop ? button("Stop", stop) : null);
}
