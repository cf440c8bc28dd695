// What several stages need.

import { h, into, button } from "../dom.js";
import { on, state, upload } from "../wire.js";

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

// What the set asks care for, folded away where nothing is built yet.
export function care() {
  const node = h("div", { class: "care" });
  const draw = () => {
    const listed = (state.kept && state.kept.cautions) || [];
    into(node, listed.length ? h("details", {}, h("summary", {}, "Take care"), h("ul", {}, listed.map((one) => h("li", {}, one)))) : null);
  };
  draw();
  return { node, leave: on("kept", draw) };
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

// One file, dropped or chosen; what is told of it goes on to `done`.
export function dropZone(purpose, words, accept, done, answers = null) {
  const told = h("p", { class: "quiet" }, words);
  const input = h("input", { type: "file", accept, class: "unseen", onchange: () => input.files[0] && take(input.files[0]) });
  const zone = h("label", { class: "drop", ondragover: (event) => { event.preventDefault(); zone.classList.add("over"); }, ondragleave: () => zone.classList.remove("over"),
    ondrop: (event) => { event.preventDefault(); zone.classList.remove("over"); if (event.dataTransfer.files[0]) take(event.dataTransfer.files[0]); } },
  input, h("span", { class: "button" }, "Choose a file"), told);
  async function take(file) {
    told.textContent = `Reading ${file.name} …`;
    try {
      told.classList.remove("warn");
      done(await upload(purpose, file, answers));
    } catch (error) {
      told.textContent = error.message;
      told.classList.add("warn");
    }
  }
  return zone;
}

// Spots of a photograph, pointed at one after the other; the arrow keys and Enter do it too.
export function pointing(source, asked, done) {
  const found = [];
  const spot = [0.5, 0.5];
  const words = h("p", { "aria-live": "polite" }, asked[0]);
  const cross = h("i", { class: "cross", "aria-hidden": "true" });
  const place = () => Object.assign(cross.style, { left: `${100 * spot[0]}%`, top: `${100 * spot[1]}%` });
  const take = (at) => {
    found.push(at);
    if (found.length === asked.length) done(found);
    else words.textContent = asked[found.length];
  };
  const steps = { ArrowLeft: [-0.02, 0], ArrowRight: [0.02, 0], ArrowUp: [0, -0.02], ArrowDown: [0, 0.02] };
  const image = h("button", { type: "button", class: "pointed", "aria-label": "Your photograph: point at it, or move the cross with the arrow keys and press Enter",
    onclick: (event) => {
      if (event.detail === 0) return take([...spot]); // Enter or the space bar
      const box = image.getBoundingClientRect();
      return take([(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height]);
    },
    onkeydown: (event) => {
      const step = steps[event.key];
      if (!step) return;
      event.preventDefault();
      spot.forEach((v, i) => { spot[i] = Math.min(1, Math.max(0, v + step[i])); });
      place();
    } }, h("img", { src: source, alt: "", draggable: false }), cross);
  place();
  return h("div", { class: "card pointing" }, words, image);
}
