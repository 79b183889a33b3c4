// One finding with all that is known of it.
// Must never say more than its numbers do. A view of main.js.

import { ask } from "./api.js";
import { button, field, make } from "./dom.js";
import { nodeRoom, store } from "./store.js";
import { showTraces } from "./trace.js";
import { showWalk } from "./walk.js";
import { causeWords, clock, length, rate } from "./words.js";

const WAITS_MS = [500, 1000, 2000]; // a new one takes a moment until it is on disk

async function load(id) {
  for (const wait of [...WAITS_MS, 0]) {
    try {
      return await ask(`/api/finding?id=${id}`);
    } catch (refused) {
      if (refused.status !== 404 || !wait || !store.self.live) throw refused;
      await new Promise((go) => setTimeout(go, wait));
    }
  }
  return null;
}

function orderWords({ finding, brief }) {
  if (finding.first) {
    const percent = 100 * finding.first.probability; // never sure
    return `First was ${nodeRoom(finding.first.node)} (${finding.first.node}), with a probability of ${percent > 99.9 ? "more than 99.9" : percent.toPrecision(3)} %.`;
  }
  if (brief.together) return "Together: the onsets differ by no more than their uncertainties bring, so no order is claimed.";
  return "Which was first can't be told: the onsets are closer together than they are known.";
}

function chanceWords({ finding }) {
  const how = finding.chance.method === "time-slides"
    ? "counted by shifting the nodes' onsets against each other many times" : "from how often each node is disturbed tonight";
  return `Chance alone brings ${rate(finding.chance.per_night)} like it in a night of 8 hours (${how}); p = ${rate(finding.chance.p_value)}.`;
}

function speedWords({ finding }) {
  const speed = finding.speed_m_s;
  if (!speed) return null;
  return make("p", {}, `It moved at ${Number(speed.value.toPrecision(2))} m/s (${Number(speed.low.toPrecision(2))} to ${Number(speed.high.toPrecision(2))}, 95 %).`);
}

function markWords({ brief }) {
  return brief.mark ? make("p", {}, `Mark ${brief.mark} covers it: it is the team's own and never an alert.`) : null;
}

function sourceWords({ finding }) {
  const source = finding.source;
  if (!source) return null;
  return make("p", {}, `By the strengths it came from x ${source.x_m.toFixed(1)} m, y ${source.y_m.toFixed(1)} m, \u00b1 ${source.sd_m.toFixed(1)} m.`);
}

function causeList(detail) {
  const { verdict, reasons } = detail.finding.cause;
  return make("section", {}, make("h2", {}, "Each cause tried"),
    make("p", {}, verdict === "unexplained" ? "None of the causes tested fits: unexplained." : `What fits: ${causeWords(verdict)}.`),
    make("ul", { class: "reasons" }, ...reasons.map((reason) => make("li", {}, reason))));
}

function linkPart() {
  const link = make("input", { readonly: true, value: location.href, onfocus: () => link.select() });
  const copied = make("span", { role: "status" });
  const copy = button("Copy", async () => {
    link.select();
    try {
      await navigator.clipboard.writeText(link.value);
      copied.textContent = "Copied.";
    } catch (refused) {
      copied.textContent = "Selected: copy it with the browser's own command.";
    }
  });
  return make("section", {}, make("h2", {}, "Send it on"),
    make("div", { class: "row" }, field("Link for somebody on this network", link), copy, copied));
}

function neighbours(id) {
  const ids = [...store.findings.values()].sort((a, b) => a.start - b.start).map((one) => one.id);
  const place = ids.indexOf(id);
  const to = (other, text) => (other === undefined ? null : make("a", { href: `#finding/${other}`, class: "as-button" }, text));
  return make("p", { class: "row" }, to(ids[place - 1], "Finding before"), to(ids[place + 1], "Finding after"));
}

function show(view, detail) {
  const { brief } = detail;
  const word = brief.alert ? "ALERT: " : "";
  const traces = make("section", { class: "wide" }, make("h2", {}, "What each witness saw"));
  const walk = make("section", {}, make("h2", {}, "Over the plan"));
  view.replaceChildren(
    make("section", { class: "wide" },
      make("h2", {}, `${word}${causeWords(brief.cause)}, ${clock(store.night.base, brief.start, 3)}`),
      make("p", { class: brief.alert ? "alert" : "" }, brief.line), neighbours(brief.id)),
    make("section", {}, make("h2", {}, "In numbers"), make("p", {}, orderWords(detail)), make("p", {}, chanceWords(detail)),
      speedWords(detail), sourceWords(detail), markWords(detail),
      brief.control ? make("p", {}, "The control node saw it too.") : null,
      detail.dropped ? make("p", {}, `${detail.dropped} more disturbances belong to it.`) : null,
      make("p", {}, `It lasted ${length(brief.end - brief.start)}.`)),
    walk, traces, causeList(detail), linkPart());
  const ends = [showWalk(walk, detail), showTraces(traces, detail)];
  return () => ends.forEach((end) => end());
}

export function viewFinding(view, id) {
  let end = null;
  let left = false;
  view.append(make("p", {}, "Reading ..."));
  load(id).then((detail) => {
    if (!left) end = show(view, detail);
  }).catch((refused) => view.replaceChildren(make("p", { class: "trouble" }, `Finding ${id}: ${refused.message}.`)));
  return () => {
    left = true;
    if (end) end();
  };
}
