// The live stream: through the shared worker, or straight where the browser has none.
// Must never show an event twice. Used by main.js.

import { ask } from "./api.js";
import { loadFindings, store, takeFinding, takeLine, tell } from "./store.js";

const SILENCE_MS = 12500;
const TOPICS = ["standing", "line", "finding", "fresh", "again", "missed", "acts"];
let lastId = "";
let worker = null;
let source = null;
const had = new Set();
let doubted = false; // whether this device is still paired is being asked

function onStanding(data) {
  store.standing = data;
  store.heardAt = Date.now();
  const wasLost = store.lost;
  store.lost = false;
  if (data.base_ns !== store.night.base_ns) store.strange = "Another night is being recorded now";
  store.disturbed.clear();
  takeSeen(data.disturbed);
  tell("standing");
  if (wasLost) catchUp();
}

function onActs(data) {
  store.acts = data;
  tell("acts");
}

function takeSeen(seen) {
  for (const [node, quantity, onset, ended, score] of seen) {
    const key = `${node} ${quantity}`;
    if (ended) store.disturbed.delete(key);
    else store.disturbed.set(key, { node, quantity, onset, score });
  }
  tell("disturbed");
}

function onFresh(data) {
  if (data.seen.length) takeSeen(data.seen);
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
  if (store.strange && topic !== "standing") return;
  if (topic === "standing") onStanding(data);
  else if (topic === "fresh") onFresh(data);
  else if (topic === "acts") onActs(data);
  else if (topic === "missed") tell("missed");
  else if (topic === "lost") onLost();
  else if (topic === "again") beginAgain();
  else if (topic === "line" && isNew(id)) takeLine(data);
  else if (topic === "finding" && isNew(id)) takeFinding(data);
}

// More was missed than the base station keeps to be told: the night has the findings among it.
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
  if (!doubted) askWhetherPaired();
}

// A base station that was started anew knows no device any more, and a stream does not say why it is refused.
async function askWhetherPaired() {
  doubted = true;
  try {
    const { right } = await ask("/api/self");
    if (right === "none") {
      store.strange = "The base station was started anew and does not know this device any more";
      tell("standing");
    }
  } catch (refused) {
    store.lost = true; // it is not there at all
  }
  doubted = false;
}

// The newest of everything, after a time in which nothing could be told.
function catchUp() {
  loadFindings().catch(() => undefined);
  tell("missed");
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
      catchUp();
    }
  });
  addEventListener("pagehide", leave);
  addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    watch();
    catchUp();
  });
  watch();
}
