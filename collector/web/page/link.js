// The live stream: through the shared worker, or straight where the browser has none.
// Must never show an event twice. Used by main.js.

import { addFindings, loadFindings, store, takeLine, tell } from "./store.js";

const SILENCE_MS = 12500;
const TOPICS = ["standing", "line", "finding", "fresh", "again", "missed"];
let lastId = "";
let worker = null;
let source = null;
const had = new Set();

function onStanding(data) {
  store.standing = data;
  store.heardAt = Date.now();
  store.lost = false;
  tell("standing");
}

function onFresh(data) {
  for (const [node, quantity, onset, ended, score] of data.seen) {
    const key = `${node} ${quantity}`;
    if (ended) store.disturbed.delete(key);
    else store.disturbed.set(key, { node, quantity, onset, score });
  }
  if (data.seen.length) tell("disturbed", data.seen);
  tell("fresh", data);
  if (data.missed) tell("missed");
}

function isNew(id) {
  if (had.has(id)) return false;
  had.add(id);
  lastId = id;
  return true;
}

function take(topic, id, text) {
  const data = text ? JSON.parse(text) : {};
  if (topic === "standing") onStanding(data);
  else if (topic === "fresh") onFresh(data);
  else if (topic === "missed") tell("missed");
  else if (topic === "lost") onLost();
  else if (topic === "again") beginAgain();
  else if (topic === "line" && isNew(id)) takeLine(data);
  else if (topic === "finding" && isNew(id)) {
    const known = store.findings.has(data.id);
    store.findings.set(data.id, data);
    tell("finding", { finding: data, known });
  }
}

function beginAgain() {
  lastId = "";
  had.clear();
  store.lines = [];
  tell("line", null);
  loadFindings().catch(onLost);
}

function onLost() {
  store.lost = true;
  tell("standing");
}

function openStraight() {
  closeStraight();
  store.heardAt = Date.now();
  source = new EventSource(lastId ? `/live?since=${lastId}` : "/live");
  for (const topic of TOPICS) {
    source.addEventListener(topic, (event) => take(topic, event.lastEventId, event.data));
  }
  source.addEventListener("error", onLost);
}

function closeStraight() {
  if (source) source.close();
  source = null;
}

function watch() {
  if (worker) worker.port.postMessage({ word: "watch", since: lastId });
  else openStraight();
}

function leave() {
  if (worker) worker.port.postMessage({ word: "leave" });
  else closeStraight();
}

export function startLink() {
  if (window.SharedWorker) {
    worker = new SharedWorker("/worker.js", { name: "roomwake" });
    worker.port.onmessage = (event) => take(event.data.topic, event.data.id, event.data.data);
  }
  setInterval(() => {
    if (document.hidden || Date.now() - store.heardAt < SILENCE_MS) return;
    onLost();
    if (!worker) openStraight();
  }, 3000);
  document.addEventListener("visibilitychange", () => {
    if (document.hidden) {
      leave();
    } else {
      watch();
      addFindings().catch(() => undefined);
    }
  });
  addEventListener("pagehide", leave);
  addEventListener("pageshow", (event) => (event.persisted ? watch() : null));
  watch();
}
