// The live page: how the recording stands, the nodes, and each line of the base station once.
// Must never put a text into the page but as text.
"use strict";

const LINES_MAX = 400;
const SILENCE_MS = 12500; // 2.5 times the beat of the base station
const FOUND = new Set(["finding", "ALERT", "explained", "mark"]);

const at = (id) => document.getElementById(id);
let source = null;
let lastId = "";
let heardAt = 0;
let nodes = [];
let ended = false;

function element(name, className, text) {
  const made = document.createElement(name);
  made.className = className;
  made.textContent = text;
  return made;
}

function stand(text, trouble) {
  if (at("standing").textContent !== text) at("standing").textContent = text;
  at("standing").className = trouble ? "trouble" : "";
}

function ago(seconds) {
  if (seconds < 2) return "just now";
  if (seconds < 120) return `${seconds} s ago`;
  return `${Math.floor(seconds / 60)} min ago`;
}

function showNodes() {
  const since = Math.floor((Date.now() - heardAt) / 1000);
  at("nodes").replaceChildren(...nodes.map((node) => {
    const line = element("li", node.well ? "" : "ill", "");
    const name = node.control ? `${node.room} (${node.id}, control)` : `${node.room} (${node.id})`;
    const heard = node.heard_s === null ? "" : `, heard ${ago(node.heard_s + since)}`;
    line.append(element("strong", "", `${name}: `), `${node.words}${heard}`);
    return line;
  }));
}

function onStanding(event) {
  const now = JSON.parse(event.data);
  heardAt = Date.now();
  ended = now.ended;
  nodes = now.nodes;
  at("site").textContent = now.site;
  document.title = now.recording ? now.site : `NOT RECORDING: ${now.site}`;
  const well = nodes.filter((node) => node.well).length;
  if (now.recording) {
    stand(`Recording since ${now.since}. ${well} of ${nodes.length} nodes are well.`, false);
  } else {
    stand(`NOT RECORDING: ${now.why}.`, true);
  }
  showNodes();
}

function onLine(event) {
  if (event.lastEventId === lastId) return;
  lastId = event.lastEventId;
  const said = JSON.parse(event.data);
  const found = FOUND.has(said.head);
  const line = element("li", said.head === "ALERT" ? "alert" : "", "");
  line.append(element("span", "when", said.time), element("span", "head", said.head), said.text);
  const list = at(found ? "found" : "said");
  list.prepend(line);
  if (list.childElementCount > LINES_MAX) list.lastElementChild.remove();
  if (found) at("nothing").hidden = true;
}

function beginAgain() {
  lastId = "";
  at("found").replaceChildren();
  at("said").replaceChildren();
  at("nothing").hidden = false;
}

function disconnect() {
  if (source) source.close();
  source = null;
}

function connect() {
  disconnect();
  heardAt = Date.now();
  source = new EventSource(lastId ? `/live?since=${encodeURIComponent(lastId)}` : "/live");
  source.addEventListener("standing", onStanding);
  source.addEventListener("line", onLine);
  source.addEventListener("again", beginAgain);
  source.addEventListener("error", lost);
}

function lost() {
  if (!ended) {
    stand("NOT CONNECTED to the base station: whether it records can't be told here.", true);
  }
  if (source && source.readyState === EventSource.CLOSED) disconnect();
}

setInterval(() => {
  if (document.hidden) return;
  if (!source || Date.now() - heardAt > SILENCE_MS) {
    lost();
    connect();
  } else if (nodes.length) {
    showNodes();
  }
}, 3000);

document.addEventListener("visibilitychange", () => (document.hidden ? disconnect() : connect()));
addEventListener("pagehide", disconnect);
connect();
