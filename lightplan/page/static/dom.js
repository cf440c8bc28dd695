// Small helpers to build the page. Text is always set as text, never read as markup.

const SVG = "http://www.w3.org/2000/svg";

function dressed(node, given) {
  for (const [name, value] of Object.entries(given || {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "class") node.setAttribute("class", value);
    else if (name === "style") Object.assign(node.style, value);
    else if (name in node && !(node instanceof SVGElement) && name !== "list") node[name] = value;
    else node.setAttribute(name, value === true ? "" : value);
  }
  return node;
}

function filled(node, children) {
  for (const child of children.flat(3)) {
    if (child === null || child === undefined || child === false) continue;
    node.append(child instanceof Node ? child : document.createTextNode(String(child)));
  }
  return node;
}

export function h(tag, given, ...children) {
  return filled(dressed(document.createElement(tag), given), children);
}

export function s(tag, given, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(given || {})) {
    if (value === null || value === undefined || value === false) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else if (name === "style") Object.assign(node.style, value);
    else node.setAttribute(name, value);
  }
  return filled(node, children);
}

export function into(node, ...children) {
  node.replaceChildren();
  return filled(node, children);
}

export function button(words, act, given) {
  return h("button", { type: "button", onclick: act, ...given }, words);
}

// Words of the maker's day for numbers.
export const round = (value, step = 1) => Math.round(value / step) * step;
export const mm = (value) => `${round(value)} mm`;
export const points = (value) => (value === null || value === undefined ? "no score" : `${Math.round(value)}`);

export function power(stops) {
  if (Math.abs(stops) < 0.01) return "full power";
  const share = 2 ** stops;
  const whole = { "-1": "half power", "-2": "a quarter", "-3": "an eighth", 1: "twice its power" };
  const near = whole[round(stops, 0.01)];
  return near || `${share < 0.1 ? (100 * share).toFixed(1) : Math.round(100 * share)} % of its power`;
}

export const capital = (text) => text.charAt(0).toUpperCase() + text.slice(1);
export const sentence = (text) => (/[.!?]$/.test(text) ? capital(text) : `${capital(text)}.`);
