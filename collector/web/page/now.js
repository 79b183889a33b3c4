// How the night stands at this moment: the plan, what is disturbed, the findings, the nodes.
// Must never look quiet when nothing is being recorded. A view of main.js.

import { ask } from "./api.js";
import { make } from "./dom.js";
import { drawHouse } from "./house.js";
import { listen, nodeRoom, store } from "./store.js";
import { ago, clock, length } from "./words.js";

const SHOWN = 200;
const SPREAD_MS = 12000; // how long a finding's spread stays on the plan
const HOPS = ["first", "second", "third", "fourth", "fifth"];

export function findingItem(finding) {
  const word = finding.alert ? "ALERT" : finding.mark ? "marked" : "";
  const [when, ...rest] = finding.line.split(" ");
  return make("li", { class: finding.alert ? "alert" : "", "data-finding": finding.id },
    make("span", { class: "when" }, clock(store.night.base, finding.start)),
    word ? make("span", { class: "head" }, word) : null, ` ${rest.join(" ")} `,
    make("a", { href: `#finding/${finding.id}`, "aria-label": `Look closer at the finding of ${when}` },
      "Look closer"));
}

export function sortedFindings() {
  return [...store.findings.values()].sort((a, b) => b.start - a.start || b.id - a.id);
}

function showFindings(list) {
  const all = sortedFindings();
  list.replaceChildren(...all.slice(0, SHOWN).map(findingItem));
  if (!all.length) list.append(make("li", { class: "faint" }, "Nothing yet."));
  const more = all.length - SHOWN + (store.leftOut || 0);
  if (more > 0) list.append(make("li", {}, `${more} more are in the night; the Night view and the exports have them.`));
}

function nodeWords(node) {
  const live = store.standing?.nodes.find((one) => one.id === node.id);
  if (!live) return { words: store.self.live ? "not heard yet" : "", well: false, here: !store.self.live };
  const since = Math.floor((Date.now() - store.heardAt) / 1000);
  const heard = live.heard_s === null ? "" : `; heard ${ago(live.heard_s + since)}`;
  return { words: live.words + heard, well: live.well, here: live.here };
}

function showNodes(list, house) {
  list.replaceChildren(...store.night.nodes.map((node) => {
    const { words, well, here } = nodeWords(node);
    const name = `${nodeRoom(node.id)} (${node.id}${node.control ? ", control" : ""})`;
    const shape = house.node(node.id);
    if (shape) {
      shape.classList.toggle("well", well || !store.self.live);
      shape.classList.toggle("away", !here);
    }
    return make("li", { class: well || !store.self.live ? "" : "ill" },
      make("strong", {}, name), words ? `: ${words}` : "");
  }));
}

function showDisturbed(text, house) {
  const now = [...store.disturbed.values()].sort((a, b) => a.onset - b.onset);
  for (const shape of house.element.querySelectorAll("[data-node]")) {
    shape.classList.toggle("disturbed", now.some((one) => one.node === shape.dataset.node));
  }
  text.textContent = now.length
    ? `Disturbed now: ${now.map((one) => `${nodeRoom(one.node)}, ${one.quantity}, since ${clock(store.night.base, one.onset)}`).join("; ")}.`
    : "Nothing is disturbed now.";
}

function spreadWords(finding, first) {
  if (finding.together) {
    return `On the plan: together, as far as clocks and samples tell: ${finding.order.map(([node]) => nodeRoom(node)).join(", ")}.`;
  }
  const words = finding.order.map(([node, onset], i) =>
    `${HOPS[i] || "then"} ${nodeRoom(node)}${i ? `, ${length(onset - first)} later` : ""}`);
  return `On the plan: ${words.join("; ")}. (The numbers are onsets as measured; whether they can be told apart, the finding says.)`;
}

// The nodes of a finding, numbered in the order of their onsets; not where they were together.
function showSpread(house, text, finding) {
  house.clear("took-part");
  const first = finding.order[0] ? finding.order[0][1] : 0;
  finding.order.forEach(([node, onset], i) => {
    const shape = house.node(node);
    if (!shape) return;
    shape.classList.add("took-part");
    shape.style.setProperty("--after", `${Math.min((onset - first) / 1e9, 8)}s`);
    shape.querySelector(".turn").textContent = finding.together ? "" : String(i + 1);
  });
  text.textContent = spreadWords(finding, first);
}

function showLines(list) {
  list.replaceChildren(...store.lines.map((line) => make("li", {},
    make("span", { class: "when" }, line.time), make("span", { class: "head" }, line.head), ` ${line.text}`)));
}

// Counting a whole night takes a while: one node at a time, so that other questions get in between.
async function showGiven(list) {
  for (const [place, item] of [...list.children].entries()) {
    const { nodes: [node] } = await ask(`/api/nodes?id=${place + 1}`);
    item.append(`: ${node.samples.toLocaleString("en")} samples`,
      node.clock_ns === undefined ? "" : `; its clock within \u00b1 ${length(node.clock_ns)} (half of the time)`);
  }
}

function liveParts(house, parts) {
  let ends = 0;
  const tick = () => {
    showNodes(parts.nodes, house);
    if (ends && Date.now() > ends) {
      house.clear("took-part");
      parts.spread.textContent = "";
      ends = 0;
    }
  };
  const timer = setInterval(tick, 3000);
  return [
    listen("standing", () => showNodes(parts.nodes, house)),
    listen("line", () => showLines(parts.said)),
    listen("disturbed", () => showDisturbed(parts.disturbed, house)),
    listen("finding", ({ finding }) => {
      showFindings(parts.found);
      showSpread(house, parts.spread, finding);
      ends = Date.now() + SPREAD_MS;
    }),
    () => clearInterval(timer),
  ];
}

export function viewNow(view) {
  const house = drawHouse(store.night);
  const parts = {
    disturbed: make("p", { role: "status" }),
    spread: make("p", { class: "faint" }),
    found: make("ol", { id: "found", "aria-live": "polite" }),
    nodes: make("ul", { id: "nodes" }),
    said: make("ol", { id: "said" }),
  };
  const live = store.self.live;
  view.append(
    make("section", { "aria-label": "The house" }, house.element,
      live ? parts.disturbed : null, parts.spread,
      make("p", { class: "faint" }, "A filled round is a node that is well; one with a cross is not; an open square is not heard. A second line round it: the control.")),
    make("section", { class: "found", "aria-labelledby": "found-title" },
      make("h2", { id: "found-title" }, "What was found, newest first"), parts.found),
    make("section", { "aria-labelledby": "nodes-title" },
      make("h2", { id: "nodes-title" }, "The nodes"), parts.nodes));
  showFindings(parts.found);
  showNodes(parts.nodes, house);
  const ends = [listen("findings", () => showFindings(parts.found))];
  if (live) {
    view.append(make("details", {}, make("summary", {}, "What the base station said"), parts.said));
    showDisturbed(parts.disturbed, house);
    showLines(parts.said);
    ends.push(...liveParts(house, parts));
  } else {
    showGiven(parts.nodes).catch(() => undefined);
  }
  return () => ends.forEach((end) => end());
}
