import { needsWork } from "./shared.js";
export function show(place) { return needsWork(place, "Plan"); }
