// One live stream for all tabs of a browser, which would else run out of connections.
// Must never drop an event that a tab has not had: each tab says what it has. Started by link.js.
"use strict";

const KEPT = 400;
const SILENCE_MS = 12500; // 2.5 times the beat of the base station
const TOPICS = ["standing", "line", "finding", "fresh", "again", "missed", "acts"];
const tabs = new Set();
let source = null;
let heardAt = 0;
let lastId = "";
let kept = [];
let standing = null;
let acts = null;

function tell(message) {
  for (const tab of tabs) tab.postMessage(message);
}

function close() {
  if (source) source.close();
  source = null;
  standing = null; // it grows old from now on
  acts = null;
}

function take(topic, event) {
  heardAt = Date.now();
  const message = { topic, id: event.lastEventId, data: event.data };
  if (topic === "standing") standing = message;
  if (topic === "acts") acts = message;
  if (topic === "again") {
    kept = [];
    lastId = "";
  }
  if (topic === "line" || topic === "finding") {
    if (event.lastEventId === lastId) return;
    lastId = event.lastEventId;
    kept.push(message);
    if (kept.length > KEPT) kept.shift();
  }
  tell(message);
}

function open() {
  close();
  heardAt = Date.now();
  source = new EventSource(lastId ? `/live?since=${lastId}` : "/live");
  for (const topic of TOPICS) source.addEventListener(topic, (event) => take(topic, event));
  source.addEventListener("error", () => {
    tell({ topic: "lost" });
    if (source && source.readyState === EventSource.CLOSED) close();
  });
}

// What a tab missed, from what is kept; all of it where its last event is not known here.
function catchUp(tab, since) {
  const from = kept.findIndex((message) => message.id === since);
  if (since && from < 0 && kept.length) tab.postMessage({ topic: "again", data: "{}" });
  for (const message of kept.slice(from + 1)) tab.postMessage(message);
  if (standing) tab.postMessage(standing);
  if (acts) tab.postMessage(acts);
}

function listen(tab) {
  tab.onmessage = (message) => {
    if (message.data.word === "watch") {
      tabs.add(tab);
      catchUp(tab, message.data.since);
      if (!source) open();
    } else {
      tabs.delete(tab);
      if (!tabs.size) close();
    }
  };
}

setInterval(() => {
  if (tabs.size && (!source || Date.now() - heardAt > SILENCE_MS)) {
    tell({ topic: "lost" });
    open();
  }
}, 3000);

self.onconnect = (event) => listen(event.ports[0]);
