// The line to lightplan: messages both ways, pictures this way. A lost line comes back by itself.

const decoder = new TextDecoder();
const listeners = new Map();

let socket = null;
let tries = 0;
let nextMark = 1;

export const state = {
  connected: false, work: null, kept: null, layout: null, frame: null, closer: null,
  numbers: localStorage.getItem("numbers") === "yes", selected: null, hovered: null,
  busy: {}, looks: null, plans: null, planning: null, setup: null, photos: null, advice: null, ranking: null, kit: null, ledger: null,
};

export function on(kind, heard) {
  if (!listeners.has(kind)) listeners.set(kind, new Set());
  listeners.get(kind).add(heard);
  return () => listeners.get(kind).delete(heard);
}

export function tell(kind, content) {
  for (const heard of [...(listeners.get(kind) || [])]) heard(content);
}

export function say(message) {
  const mark = nextMark++;
  if (socket && socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify({ mark, ...message }));
  else tell("note", { text: "The line to lightplan is down; this was not done." });
  return mark;
}

export function edit(edits, why, gesture) {
  return say({ do: "edits", edits, why, gesture });
}

export function connect() {
  socket = new WebSocket(`ws://${location.host}/socket`);
  socket.binaryType = "arraybuffer";
  socket.onopen = () => {
    tries = 0;
    state.connected = true;
    allFree();
    tell("connected", true);
  };
  socket.onmessage = (event) => {
    if (typeof event.data === "string") heard(JSON.parse(event.data));
    else seen(event.data);
  };
  socket.onclose = () => {
    if (state.connected) tell("connected", false);
    state.connected = false;
    tries += 1;
    setTimeout(connect, Math.min(4000, 250 * 1.6 ** tries));
  };
}

const STAND = ["kept", "layout", "closer", "looks", "plans", "planning", "setup", "photos", "advice", "ranking", "kit", "ledger"];

function heard(message) {
  if (message.is === "work") {
    if (state.work && state.work.open && (state.work.folder !== message.folder || state.work.file !== message.file)) forget();
    state.work = message;
  } else if (message.is === "busy" || message.is === "free") state.busy[message.purpose] = message;
  else if (message.is === "photo" && state.photos) {
    const known = state.photos.photos.find((one) => one.file === message.file);
    if (known) Object.assign(known, message);
  } else if (STAND.includes(message.is)) state[message.is] = message;
  else if (message.is === "cure" && state.closer && state.closer.revision === message.revision) {
    state.closer.findings[message.number] = message.finding;
  }
  tell(message.is, message);
}

// The server may be another one by now. What it still works on it says with its next step.
function allFree() {
  const busy = Object.keys(state.busy);
  state.busy = {};
  state.planning = null;
  for (const purpose of busy) tell("free", { is: "free", purpose });
}

// Another work lies on the table: nothing of the one before may stand beside it.
function forget() {
  for (const name of [...STAND, "frame"]) state[name] = null;
  state.busy = {};
  state.selected = state.hovered = null;
}

// A binary message: the length of its head, the head as JSON, then the pictures.
function seen(data) {
  const length = new DataView(data).getUint32(0, true);
  const head = JSON.parse(decoder.decode(new Uint8Array(data, 4, length)));
  let at = 4 + length;
  head.bodies = head.sizes.map((size) => {
    const body = new Uint8Array(data, at, size);
    at += size;
    return body;
  });
  if (head.is === "frame") {
    state.frame = head;
    tell("frame", head);
  }
}

export async function upload(purpose, file, answers = null) {
  const told = encodeURIComponent(JSON.stringify(answers || {}));
  const answer = await fetch(`/upload/${purpose}`, {
    method: "POST", body: file, headers: { "x-name": encodeURIComponent(file.name || "file"), "x-answers": told },
  });
  const found = await answer.json().catch(() => ({ error: "The file could not be taken." }));
  if (found.error) throw new Error(found.error);
  return found;
}

export function setNumbers(wanted) {
  state.numbers = wanted;
  localStorage.setItem("numbers", wanted ? "yes" : "no");
  document.documentElement.classList.toggle("with-numbers", wanted);
  tell("numbers", wanted);
}

export function select(name) {
  if (state.selected === name) return;
  state.selected = name;
  tell("selected", name);
}

export function hover(name) {
  if (state.hovered === name) return;
  state.hovered = name;
  tell("hovered", name);
}
