// What several stages need.

import { h, into, button } from "../dom.js";
import { state, upload } from "../wire.js";

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

export const LOOKS = {
  "bright field": "Bright, with a run", gradient: "From dark to bright", "dark field": "Dark with bright edges",
  split: "Half and half", rainbow: "Rainbow", "bright band": "A bright band", "flat copy": "Flat, for records",
};

export const busyState = (purpose) => {
  const busy = state.busy[purpose];
  return busy && busy.is === "busy" ? busy : null;
};

// Photographs dropped here go into the work's folder, three at a time.
export function photoDrop() {
  const told = h("p", { class: "quiet", "aria-live": "polite" }, "Drop photographs here: JPEG, HEIC, PNG, TIFF or raw.");
  const input = h("input", { type: "file", multiple: true, accept: "image/*,.dng,.cr2,.cr3,.nef,.arw,.raf,.orf,.rw2", class: "unseen", onchange: () => take([...input.files]) });
  const zone = h("label", { class: "drop", ondragover: (event) => { event.preventDefault(); zone.classList.add("over"); }, ondragleave: () => zone.classList.remove("over"),
    ondrop: (event) => { event.preventDefault(); zone.classList.remove("over"); take([...event.dataTransfer.files]); } },
  input, h("span", { class: "button" }, "Choose photographs"), told);
  async function take(files) {
    let done = 0;
    const refused = [];
    const next = async () => {
      const file = files.shift();
      if (!file) return;
      try {
        await upload("photo", file);
      } catch (error) {
        refused.push(`${file.name}: ${error.message}`);
      }
      done += 1;
      told.textContent = `${done} taken.`;
      await next();
    };
    await Promise.all([next(), next(), next()]);
    told.textContent = [`${done - refused.length} taken.`, ...refused].join(" ");
  }
  return zone;
}
