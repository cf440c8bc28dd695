// Plan: let it be found, watch, stop, compare, take one.

import { h, into, button, points, capital, sentence } from "../dom.js";
import { on, say, state } from "../wire.js";
import { kit } from "./kit.js";
import { care, needsWork, busyBar, busyState, LOOKS } from "./shared.js";

export function show(place) {
  if (!state.work || !state.work.open) return needsWork(place, "Plan");
  const now = h("section", { class: "planning", "aria-live": "polite" });
  const list = h("section", { class: "plans", "aria-label": "Plans" });
  place.append(h("div", { class: "stage-head" }, h("div", {}, h("h1", {}, "Let it be found"),
    h("p", { class: "quiet" }, "Lamps and boards are moved as far as your set allows, hundreds of times, until nothing better is found. What is locked stays. Each plan says how exactly it must be built."))), now, list);
  const help = kit();
  const careful = care();
  place.append(help.node, careful.node);
  const draw = () => {
    const working = busyState("plan");
    const picture = state.planning && state.planning.jpeg;
    into(now, working ? h("div", { class: "finding" },
      picture ? h("img", { src: picture, alt: "The best picture so far" }) : h("div", { class: "blank" }),
      h("div", {}, busyBar(working, () => say({ do: "stop", purpose: "plan" })), h("p", { class: "quiet" }, "Stop gives the best so far. You can go on working meanwhile.")))
      : button(plans().length ? "Look for another plan" : "Find the best set-up", () => say({ do: "plan" }), { class: plans().length ? "" : "main big" }));
    into(list, plans().map((plan, number) => card(plan, number)).reverse(), plans().length ? standing() : null);
  };
  const off = [careful.leave, on("plans", draw), on("planning", draw), on("busy", draw), on("free", draw)];
  draw();
  return () => { off.forEach((end) => end()); help.leave(); };
}

// What stands on the table now, to compare with.
function standing() {
  const now = state.closer;
  if (!now) return null;
  return h("article", { class: "plan-card" }, h("img", { src: now.near, alt: "As it stands now" }),
    h("div", {}, h("h2", {}, "As it stands now"), h("p", { class: "figures" }, h("strong", {}, `${points(now.score)} of 100`)),
      h("p", { class: "quiet" }, `Expose ${now.shutter}.`), h("p", { class: "row" }, h("a", { class: "button", href: "#layout" }, "Change it by hand"))));
}

const plans = () => (state.plans && state.plans.plans) || [];

function card(plan, number) {
  if (!plan.can) {
    return h("article", { class: "plan-card" }, h("img", { src: plan.picture, alt: "As it stands" }),
      h("div", {}, h("h2", {}, `No plan for ${LOOKS[plan.look] || plan.look}`), h("p", {}, sentence(plan.reason)), plan.wish ? h("p", {}, sentence(plan.wish)) : null, plan.room ? h("p", {}, plan.room) : null));
  }
  return h("article", { class: "plan-card" }, h("img", { src: plan.picture, alt: `Plan ${number + 1}: predicted picture` }),
    h("div", {},
      h("h2", {}, `Plan ${number + 1}: ${LOOKS[plan.look] || plan.look}`),
      h("p", { class: "figures" }, h("strong", {}, `${points(plan.score)} of 100`), plan.start_score === null ? null : h("span", { class: "quiet" }, ` from ${points(plan.start_score)} as it stood`)),
      h("p", {}, `Built by hand, ${Math.round(100 * plan.yield)} of 100 come out right.`),
      plan.room ? h("p", {}, plan.room) : null,
      plan.tolerances.length ? h("details", { open: number === plans().length - 1 }, h("summary", {}, "Measure these best"), h("ul", {}, plan.tolerances.map((one) => h("li", {}, capital(one))))) : null,
      plan.moves.length ? h("details", {}, h("summary", {}, `What moves (${plan.moves.length})`), h("ul", {}, plan.moves.map((move) => h("li", {}, capital(move))))) : null,
      plan.unknown.length ? h("details", {}, h("summary", {}, "What is not known, and whether it matters"), h("ul", {}, plan.unknown.map((one) => h("li", {}, sentence(one))))) : null,
      plan.small ? h("p", { class: "quiet" }, sentence(plan.small)) : null,
      h("p", { class: "quiet" }, `Expose ${plan.shutter}.`),
      h("p", { class: "row" }, button("Take this plan", () => say({ do: "take", from: "plans", number }), { class: "main" }))));
}
