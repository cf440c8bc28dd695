// Pick: the ranking with reasons, the same spot in two frames, a verdict of one's own.

import { h, into, button, points, sentence } from "../dom.js";
import { on, say, state } from "../wire.js";
import { needsWork, busyBar, busyState, photoDrop } from "./shared.js";

const VERDICTS = { keep: "Keep", adjust: "Adjust", retake: "Retake", "cannot tell": "Cannot tell" };
const chosen = [];
const large = {};

export function show(place) {
  if (!state.work || !state.work.open) return needsWork(place, "Pick");
  const busy = h("div");
  const list = h("ol", { class: "ranking" });
  const light = h("section", { class: "lighttable", "aria-label": "Side by side" });
  place.append(h("div", { class: "stage-head" }, h("div", {}, h("h1", {}, "Pick the best"),
    h("p", { class: "quiet" }, "Every frame is judged for the look you chose: first what rules it out, then how well it does. Choose one or two to look closely at the same spot.")), busy), light, list, photoDrop());
  const draw = () => {
    const working = busyState("score");
    const photos = (state.photos && state.photos.photos) || [];
    into(busy, working ? busyBar(working, () => say({ do: "stop", purpose: "score" })) : photos.length ? button("Judge all frames", () => say({ do: "score" }), { class: "main big" }) : null);
    const ranked = (state.ranking && state.ranking.ranked) || [];
    const known = new Set(ranked.map((one) => one.file));
    into(list, ranked.map((one, i) => frame(one, i + 1, photos)), photos.filter((one) => !known.has(one.file)).map((photo) => frame({ file: photo.file, reasons: photo.error ? [photo.error] : ["not judged yet"], error: photo.error }, null, photos)));
  };
  const drawLight = () => into(light, chosen.length ? h("div", { class: "spots" }, chosen.map(loupe)) : null, chosen.length ? h("p", { class: "quiet" }, "Move over one frame: both show the same spot.") : null);

  function frame(one, rank, photos) {
    const photo = photos.find((p) => p.file === one.file) || {};
    const own = state.photos && state.photos.verdicts[one.file];
    const verdict = own ? own.verdict : one.verdict;
    const reason = h("input", { type: "text", placeholder: "why (kept with it)", "aria-label": `Reason for ${one.file}`, value: own ? own.reason : "" });
    const say_ = (word) => say({ do: "verdict", file: one.file, verdict: word, reason: reason.value });
    return h("li", { class: `frame ${chosen.includes(one.file) ? "chosen" : ""}` },
      h("button", { type: "button", class: "shot", "aria-pressed": String(chosen.includes(one.file)), disabled: !!one.error, onclick: () => choose(one.file) }, photo.thumb ? h("img", { src: photo.thumb, alt: one.file, loading: "lazy" }) : h("span", { class: "blank" })),
      h("div", { class: "frame-words" },
        h("p", { class: "frame-head" }, rank ? h("span", { class: "rank" }, rank) : null, h("b", {}, one.file), verdict ? h("span", { class: `verdict-${verdict.replace(" ", "-")}` }, `${VERDICTS[verdict]}${own ? " (you)" : ""}`) : null, one.score !== undefined && one.score !== null ? h("span", { class: "quiet" }, `${points(one.score)} of 100`) : null),
        (one.reasons || []).slice(0, 2).map((words) => h("p", { class: one.error ? "warn" : "quiet" }, sentence(words))),
        (one.flags || []).slice(0, 2).map((flag) => h("p", { class: "quiet" }, sentence(flag.sentence || String(flag)))),
        one.error ? null : h("details", {}, h("summary", {}, "I see it otherwise"), h("p", { class: "row" }, reason, button("Keep it", () => say_("keep")), button("Retake it", () => say_("retake")), own ? button("As judged", () => say_(null), { class: "plain" }) : null))));
  }

  function choose(file) {
    const at = chosen.indexOf(file);
    if (at >= 0) chosen.splice(at, 1);
    else { chosen.push(file); if (chosen.length > 2) chosen.shift(); }
    if (chosen.includes(file) && !large[file]) say({ do: "large", file });
    draw();
    drawLight();
  }

  function loupe(file) {
    const source = large[file];
    const view = h("div", { class: "loupe", role: "img", "aria-label": `${file}, large` });
    if (source) view.style.backgroundImage = `url(${source})`;
    view.onpointermove = (event) => {
      const box = view.getBoundingClientRect();
      const x = ((event.clientX - box.left) / box.width) * 100;
      const y = ((event.clientY - box.top) / box.height) * 100;
      for (const other of light.querySelectorAll(".loupe")) { other.classList.add("near"); other.style.backgroundPosition = `${x}% ${y}%`; }
    };
    view.onpointerleave = () => light.querySelectorAll(".loupe").forEach((other) => { other.classList.remove("near"); other.style.backgroundPosition = "center"; });
    return h("figure", {}, view, h("figcaption", {}, file));
  }

  let due = 0;
  const drawSoon = () => { // hundreds of small pictures come one by one
    if (!due) due = setTimeout(() => { due = 0; draw(); }, 250);
  };
  const off = [() => clearTimeout(due), on("photos", draw), on("photo", drawSoon), on("ranking", draw), on("busy", draw), on("free", draw),
    on("large", (message) => { large[message.file] = message.picture; drawLight(); })];
  say({ do: "photos" });
  draw();
  drawLight();
  return () => off.forEach((end) => end());
}
