// Shoot: test shots dropped in or landing in a folder; what is off, and the one move to make.

import { h, into, button, capital, sentence, points } from "../dom.js";
import { on, say, state } from "../wire.js";
import { twoSets } from "../sets.js";
import { care, needsWork, busyBar, busyState, photoDrop } from "./shared.js";

const MOST_SEEN = 3;

export function show(place) {
  if (!state.work || !state.work.open) return needsWork(place, "Shoot");
  const told = h("section", { class: "advice", "aria-live": "polite" });
  const strip = h("ul", { class: "strip", "aria-label": "Photographs" });
  const story = h("section", { class: "ledger", "aria-label": "The story of this shoot" });
  const where = h("p", { class: "quiet where" });
  const careful = care();
  place.append(h("div", { class: "stage-head" }, h("div", {}, h("h1", {}, "Shoot, and see what is off"),
    h("p", { class: "quiet" }, "Drop a test shot. lightplan compares it with the picture that it promised, and names the one thing to move."))),
  photoDrop(), told, strip, where, story, careful.node);
  const items = new Map();
  const draw = () => {
    const photos = (state.photos && state.photos.photos) || [];
    into(where, state.photos ? `Photographs that land in this folder show up by themselves: ${state.photos.folder}` : "");
    items.clear();
    into(strip, [...photos].reverse().map((photo) => {
      items.set(photo.file, item(photo));
      return items.get(photo.file);
    }));
  };
  const drawOne = (photo) => { // of hundreds, one has got its picture
    const old = items.get(photo.file);
    if (!old) return;
    items.set(photo.file, item(photo));
    old.replaceWith(items.get(photo.file));
  };
  const drawAdvice = () => {
    const working = busyState("advise");
    into(told, working ? busyBar(working, () => say({ do: "stop", purpose: "advise" })) : state.advice ? advice(state.advice) : null);
  };
  const drawStory = () => into(story, ledger());
  const off = [careful.leave, on("photos", drawStory), on("ledger", drawStory), on("busy", drawStory), on("free", drawStory), on("photos", draw), on("photo", drawOne), on("advice", drawAdvice), on("busy", drawAdvice), on("free", drawAdvice)];
  say({ do: "photos" });
  draw();
  drawAdvice();
  drawStory();
  return () => off.forEach((end) => end());
}

function item(photo) {
  return h("li", {},
    h("button", { type: "button", class: "shot", disabled: !!photo.error, onclick: () => say({ do: "advise", file: photo.file }) },
      photo.thumb ? h("img", { src: photo.thumb, alt: "", loading: "lazy" }) : h("span", { class: "blank" }), h("span", { class: "name" }, photo.file)),
    photo.error ? h("p", { class: "warn" }, photo.error) : h("span", { class: "quiet" }, "Press for advice"));
}

// The whole shoot, frame by frame: what was seen, what was moved, what that won.
function ledger() {
  const photos = (state.photos && state.photos.photos) || [];
  if (photos.length < 2) return null;
  const working = busyState("ledger");
  const told = state.ledger;
  const thumb = (file) => (photos.find((one) => one.file === file) || {}).thumb;
  return [h("h2", {}, "The story of this shoot"),
    working ? busyBar(working, () => say({ do: "stop", purpose: "ledger" })) : h("p", { class: "row" }, button(told ? "Tell it again" : "Tell it, frame by frame", () => say({ do: "ledger" })), told ? h("a", { class: "button", href: told.pdf, target: "_blank", rel: "noopener" }, "To print") : null),
    told ? h("ol", { class: "story" }, told.frames.map((frame) => h("li", {}, thumb(frame.file) ? h("img", { src: thumb(frame.file), alt: "" }) : h("span", { class: "blank" }),
      h("div", {}, h("p", {}, h("b", {}, frame.file), h("span", { class: "quiet" }, ` ${points(frame.score)} of 100`)), h("p", {}, sentence(frame.sentence)), frame.words ? h("p", { class: "quiet" }, frame.words) : null)))) : null,
    told ? told.failed.map((words) => h("p", { class: "warn" }, words)) : null];
}

// Against the plan, or against an earlier photograph: what has drifted since.
function against(report) {
  const others = ((state.photos && state.photos.photos) || []).filter((one) => one.file !== report.file && !one.error);
  if (!others.length) return null;
  return h("label", { class: "against" }, "Compare it with ", h("select", { onchange: (event) => say({ do: "advise", file: report.file, since: event.target.value || null }) },
    h("option", { value: "" }, "the plan"), others.map((one) => h("option", { value: one.file, selected: one.file === report.since }, one.file))));
}

function advice({ report, photo, expected, both, sets }) {
  const move = report.first_move && report.first_move.text ? report.first_move.text : (report.findings.find((one) => one.move) || {}).move;
  return h("div", { class: "advice-two" },
    h("figure", {}, h("img", { src: photo, alt: "Your photograph" }), h("figcaption", {}, "As it was shot", h("span", { class: "quiet" }, ` ${report.file}, ${points(report.score)} of 100`))),
    h("figure", {}, h("img", { src: expected, alt: report.since ? "The earlier photograph" : "The planned picture" }), h("figcaption", {}, report.since ? ["As it was then", h("span", { class: "quiet" }, ` ${report.since}`)] : "As it was planned")),
    both ? h("details", { class: "both" }, h("summary", {}, "Before, and after the move"), h("img", { src: both, alt: "Your photograph beside the expected picture after the move" })) : null,
    sets ? twoSets(sets, report) : null,
    h("div", { class: "card words" },
      against(report),
      report.as_planned ? h("h2", {}, report.since ? "Nothing has drifted" : "It stands as planned") : move ? [h("p", { class: "kicker" }, "Do this first"), h("h2", {}, capital(move))] : h("h2", {}, "What is seen"),
      then(report),
      (report.slips || []).length ? h("ul", {}, report.slips.map((slip) => h("li", {}, slip.what ? sentence(slip.what) : `${capital(slip.element)}: ${slip.value > 0 ? "+" : ""}${Math.round(10 * slip.value) / 10} ${slip.unit}`, slip.put_back ? h("span", { class: "quiet" }, ` To put it back: ${sentence(slip.put_back)}`) : null))) : null,
      seen(report),
      h("ul", { class: "only-numbers quiet" }, report.reasons.map((reason) => h("li", {}, sentence(reason))))));
}

// What the move should win, where one is told; else the whole sentence.
function then(report) {
  const { score_after: after, uncertainty } = report.first_move || {};
  if (after === undefined || after === null) return report.sentence ? h("p", {}, sentence(report.sentence)) : null;
  return h("p", {}, `Now it earns ${points(report.score)} of 100; after the move about ${points(after)}, give or take ${Math.max(1, Math.round(uncertainty))}.`);
}

// What the photograph shows; a cause that was named above is not said again.
function seen(report) {
  const named = new Set((report.slips || []).map((slip) => sentence(slip.what || "")));
  const shown = report.findings.slice(0, MOST_SEEN);
  return shown.length ? [h("h3", {}, "What shows it"), h("ul", {}, shown.map((one) => h("li", {}, sentence(one.what),
    one.cause && !named.has(sentence(one.cause)) ? h("span", { class: "quiet" }, ` ${sentence(one.cause)}`) : null)))] : null;
}
