// What the page knows: the night, its findings, how things stand. Views listen for changes.
// Must never hold samples: lanes have their own. Filled by main.js and link.js.

import { ask } from "./api.js";

const LINES_KEPT = 400;
const DISK_MS = 5000; // longer than what was told takes to the disk
const toldAt = new Map();

export const store = {
  self: null, // what may be done here
  night: null, // site and times; base is the night's start in ns, a BigInt
  findings: new Map(),
  events: null,
  standing: null,
  acts: null, // how what the team does stands, by act; null: not begun tonight
  heardAt: 0,
  lost: false,
  strange: "", // why what is shown here is no more what the base station has
  lines: [],
  disturbed: new Map(), // "node quantity" -> {node, quantity, onset, score}
};

const listeners = new Map();

export function listen(topic, heard) {
  if (!listeners.has(topic)) listeners.set(topic, new Set());
  listeners.get(topic).add(heard);
  return () => listeners.get(topic).delete(heard);
}

export function tell(topic, what) {
  for (const heard of [...(listeners.get(topic) || [])]) heard(what);
}

export function takeNight(night) {
  night.base = BigInt(night.base_ns);
  night.byId = new Map(night.nodes.map((node) => [node.id, node]));
  night.roomById = new Map(night.rooms.map((room) => [room.id, room]));
  store.night = night;
  tell("night");
}

// A finding as it was just told. It is on disk a moment later.
export function takeFinding(finding) {
  const known = store.findings.has(finding.id);
  store.findings.set(finding.id, finding);
  toldAt.set(finding.id, Date.now());
  tell("finding", { finding, known });
}

// What the night has. What was told so lately that the night may not have it yet stays as it was told.
export async function loadFindings() {
  const since = Date.now() - DISK_MS;
  const answer = await ask("/api/findings");
  for (const finding of answer.findings) {
    if (!(toldAt.get(finding.id) > since)) store.findings.set(finding.id, finding);
  }
  store.leftOut = answer.left_out;
  tell("findings");
}

export async function loadEvents() {
  store.events = await ask("/api/events");
  for (const mark of store.events.marks) mark[2] ??= Infinity; // it still runs
  tell("events");
}

export function takeLine(line) {
  store.lines.unshift(line);
  if (store.lines.length > LINES_KEPT) store.lines.pop();
  tell("line", line);
}

// The night's end so far, in ns since its start.
export function nightEnd() {
  if (store.night.end !== null) return store.night.end;
  const since = (Date.now() - store.heardAt) * 1e6;
  return store.standing ? store.standing.now + since : 6e10;
}

export function nodeRoom(id) {
  const node = store.night.byId.get(id);
  return node ? store.night.roomById.get(node.room).title : id;
}
