// What the team does before and in the night: each act a place of its own, begun here, followed anywhere.
// Must never keep how an act stands: the base station does. A view of main.js.

import { askForm } from "./ask_form.js";
import { change } from "./api.js";
import { at, button, field, make, recall, remember } from "./dom.js";
import { listen, nightEnd, nodeRoom, store } from "./store.js";

const STATES = { none: "not yet", running: "going on", over: "over", left: "left off", failed: "it failed" };
const TICK_MS = 250;

function number(label, key, value, least, most, hint) {
  return field(label, make("input", { type: "number", inputmode: "decimal", min: least, max: most, value: recall(`act-${key}`, value),
    "data-key": key, onchange: (event) => remember(`act-${key}`, event.target.value) }), hint);
}

function read(form, key) {
  return Number(form.querySelector(`[data-key="${key}"]`).value);
}

function wellItem(good, ...words) {
  const mark = good === null ? "\u2026" : good ? "GO" : "NO GO";
  return make("li", { class: good === false ? "ill" : "" }, make("strong", { class: "verdict" }, mark), ...words);
}

function nodeName(id) {
  return `${nodeRoom(id)} (${id})`;
}

// The reason first, since it is why somebody has to get up again.
function preflightItems(act) {
  const rank = (node) => (node.go === false ? 0 : 1);
  const items = [...act.nodes].sort((a, b) => rank(a) - rank(b)).map(({ id, heard, go, text, lines }) =>
    wellItem(go ?? null, ` ${nodeName(id)}: `, go === undefined ? (heard ? "it is there" : "waiting for it") : "",
      ...(lines || []).map((line) => make("div", { class: go ? "" : "reason" }, line)),
      text ? make("div", { class: "faint" }, text) : null));
  if (act.base) items.push(wellItem(act.base.go, ` Base station: ${act.base.text}`));
  return items;
}

function walkItems(act) {
  const items = act.rooms.flatMap((room, turn) => act.nodes
    .filter(({ id, expected }) => expected && store.night.byId.get(id).room === room)
    .map(({ id, saw, learnt }) => make("li", {}, make("strong", { class: "verdict" }, saw ? "seen" : "\u2026"), ` ${turn + 1}. ${nodeName(id)}: `,
      saw ? `it saw ${saw}` : act.stage === "quiet" ? (learnt ? "ready" : "learning") : act.stage === "walking" ? "waiting for you" : "it saw nothing")));
  const others = act.nodes.filter(({ expected, saw }) => !expected && saw);
  return [...items, ...others.map(({ id, saw }) => make("li", {}, `${nodeName(id)} saw ${saw}, though it is not on the way`))];
}

function walkForm() {
  const way = [];
  const list = make("fieldset", { class: "choices" }, make("legend", {}, "Touch the rooms in the order of your walk"));
  const rooms = store.night.rooms.filter(({ id }) => store.night.nodes.some((node) => node.room === id));
  const shown = rooms.map(({ id, title }) => [id, title, button(title, () => {
    if (way.includes(id)) way.splice(way.indexOf(id), 1);
    else way.push(id);
    for (const [one, text, made] of shown) {
      const turn = way.indexOf(one);
      made.textContent = turn < 0 ? text : `${turn + 1}. ${text}`;
      made.setAttribute("aria-pressed", String(turn >= 0));
    }
  }, { "aria-pressed": "false" })]);
  list.append(...shown.map(([, , made]) => made));
  const form = make("div", {}, list, number("Seconds to stand still first", "quiet_s", "30", "0", "600", "0 uses what has been learnt already."));
  form.asked = () => ({ rooms: way, quiet_s: read(form, "quiet_s") });
  return form;
}

function preflightForm() {
  const form = make("div", {}, number("Hours that the night will have", "hours", "8", "0.1", "1000"));
  form.asked = () => ({ hours: read(form, "hours") });
  return form;
}

function quietForm() {
  const form = make("div", {}, number("Minutes it lasts", "quiet", "10", "0", "1440", "0: until you end it."));
  form.asked = () => (read(form, "quiet") > 0 ? { for_s: read(form, "quiet") * 60 } : {});
  return form;
}

// Lines that the terminal broke are whole again.
function whole(text) {
  return text.replace(/\n\s*(?=[a-z])/g, " ");
}

function plainReport(text) {
  return [make("p", { class: "words" }, text.trim())];
}

// What chance brings comes first; what each quantity learnt is there for who asks.
function quietReport(text) {
  const lines = whole(text.replace(/\n {2}/g, "\n\u2022 ")).trim().split("\n");
  const learnt = lines.filter((line) => line.startsWith("\u2022"));
  return [...lines.filter((line) => !learnt.includes(line)).slice(1).map((line) => make("p", {}, line)),
    make("details", {}, make("summary", {}, `${lines[0]} ${learnt.length} quantities`),
      make("ul", {}, ...learnt.map((line) => make("li", {}, line.slice(2)))))];
}

// The sentence of the newest session first, with how many were tried; then what was counted.
function askReport(text) {
  const sessions = text.trim().split("\n\n").map(whole);
  const newest = sessions[sessions.length - 1];
  const from = Math.max(newest.indexOf("In one sentence: "), 0);
  return [make("p", { class: "words answer" }, newest.slice(from).replace("In one sentence: ", "")),
    make("details", {}, make("summary", {}, sessions.length > 1 ? `What was counted, all ${sessions.length} sessions` : "What was counted"),
      ...sessions.map((one) => make("p", { class: "words" }, one)))];
}

const ACTS = [
  { key: "preflight", title: "Preflight", form: preflightForm, begin: "Begin the preflight", end: "Leave it off", items: preflightItems,
    what: "Waits for every node, looks at each for half a minute, and says go or no go with the reason. It takes about 45 seconds and changes nothing." },
  { key: "walk", title: "Walk test", form: walkForm, begin: "Begin the walk test", end: "Leave it off", items: walkItems,
    what: "You stand still first, so that the nodes learn what is usual. Then you walk the rooms in your order, a few seconds in each, and every node is ticked off by what it saw." },
  { key: "quiet", title: "Quiet spell", form: quietForm, begin: "Begin a quiet spell", end: "End it: that is enough", items: () => [], report: quietReport,
    what: "All nodes learn anew what is usual here tonight. Everybody leaves the rooms and keeps still; it goes on longer where it is disturbed." },
  { key: "ask", title: "Questions", form: askForm, begin: "Begin the session", end: "Break it off", items: () => [], report: askReport,
    what: "You put questions aloud when you are told to. In as many other windows, in an order that nobody knows, nobody asks and all keep still. At the end an exact test says whether more came after questions." },
];

function leftWords(act) {
  if (act?.until === undefined) return "";
  const s = Math.max(Math.ceil((act.until - nightEnd()) / 1e9), 0);
  return s >= 60 ? `${Math.floor(s / 60)} min ${s % 60} s` : `${s} s`;
}

function briefWords({ key }) {
  const act = store.acts?.[key];
  if (!act) return STATES.none;
  return `${STATES[act.state]}. ${act.say}`;
}

// A line under the standing that says, in every view, what the team is in the middle of.
export function startActing() {
  const line = make("p", { id: "acting", hidden: true });
  const text = make("a", { href: "#tonight" });
  const left = make("span", { class: "left", role: "timer" });
  const said = make("span", { role: "status" }, text);
  line.append(said, " ", left);
  at("standing").after(line);
  let act = null;
  const tick = () => { left.textContent = leftWords(act); };
  const show = () => {
    const now = ["ask", "walk", "preflight", "quiet"].map((key) => ACTS.find((one) => one.key === key)).find(({ key }) => store.acts[key]?.state === "running");
    act = now ? store.acts[now.key] : null;
    line.hidden = !now || location.hash === `#tonight/${now.key}`;
    line.className = act?.stage === "speak" ? "calls" : "";
    if (now) {
      const words = `${now.title}: ${act.say}`;
      if (text.textContent !== words) text.textContent = words;
      text.href = `#tonight/${now.key}`;
    }
    tick();
  };
  listen("acts", show);
  addEventListener("hashchange", () => (store.acts ? show() : null));
  setInterval(tick, TICK_MS);
}

class ActView {
  constructor(view, kind) {
    this.kind = kind;
    this.said = make("p", { role: "alert", class: "said" });
    this.say = make("p", { role: "status", class: "say" });
    this.left = make("p", { role: "timer", class: "left" });
    this.part = make("p", { class: "faint" });
    this.list = make("ol", { class: "ticks" });
    this.report = make("div", { class: "report" });
    this.form = store.self.act && store.self.mark ? kind.form() : null;
    this.beginning = this.form ? button(kind.begin, () => this.send("begin"), { class: "big main" }) : null;
    this.ending = this.form ? button(kind.end, () => this.send("end"), { class: "big" }) : null;
    if (this.form) this.form.look = () => this.send("check");
    this.live = make("div", { class: "standing-act" }, this.say, this.left, this.part, this.ending, this.list, this.report);
    this.before = make("div", { class: "begin-act" }, make("p", {}, kind.what), this.form,
      this.form ? null : make("p", { class: "faint" }, "This device may look only: a device that may mark can begin it."), this.beginning);
    view.append(make("section", { class: "act" }, make("p", {}, make("a", { href: "#tonight" }, "All of tonight")),
      make("h2", {}, kind.title), this.live, this.before, this.said));
    this.ends = [listen("acts", () => this.show())];
    this.timer = setInterval(() => this.tick(), TICK_MS);
    this.show();
  }

  async send(what) {
    const words = { begin: "Not begun", end: "Not ended", check: "The plan can't be held" }[what];
    try {
      const { say } = await change("/api/act", { act: this.kind.key, do: what, ...(what === "end" ? {} : this.form.asked()) });
      this.said.className = "said";
      this.said.textContent = what === "check" ? say : "";
      if (what === "begin") this.form.begun?.();
      if (what === "begin") scrollTo(0, 0);
      if (what === "check") this.form.looked(true);
    } catch (refused) {
      this.said.className = "said trouble";
      this.said.textContent = `${words}: ${refused.message}.`;
    }
    if (this.said.textContent) this.said.scrollIntoView({ block: "nearest" });
  }

  tick() {
    const words = leftWords(this.act);
    const shown = words ? (this.act.stage === "rest" ? `Next moment in ${words}` : `${words} left`) : "";
    if (this.left.textContent !== shown) this.left.textContent = shown;
    this.left.hidden = !shown;
  }

  show() {
    const act = store.acts?.[this.kind.key] || null;
    const running = act?.state === "running";
    this.act = act;
    this.live.hidden = !act;
    this.before.hidden = running;
    if (this.ending) this.ending.hidden = !running || act.own === false;
    if (act) this.showAct(act);
    this.tick();
  }

  showAct(act) {
    const say = act.state === "left" && !act.session ? "It was left off, and says nothing." : act.say;
    if (this.say.textContent !== say) this.say.textContent = say;
    this.live.className = `standing-act ${act.stage === "speak" ? "calls" : ""}`;
    const nth = act.state === "running" && act.count ? `"${act.title}": window ${act.nth} of ${act.count}.` : "";
    this.part.textContent = act.counting ? "The answers are being counted ..." : nth;
    this.list.replaceChildren(...this.kind.items(act));
    if (this.told === act.report) return;
    this.told = act.report;
    this.report.replaceChildren(...(act.report ? (this.kind.report || plainReport)(act.report) : []));
  }

  leave() {
    this.ends.forEach((end) => end());
    clearInterval(this.timer);
  }
}

function showAll(view) {
  const list = make("ol", { class: "acts" });
  const show = () => list.replaceChildren(...ACTS.map((kind) => make("li", {}, make("a", { class: "as-button big", href: `#tonight/${kind.key}` }, kind.title),
    make("p", {}, briefWords(kind)))));
  view.append(make("section", {}, make("h2", {}, "Tonight, in this order"), list,
    make("p", { class: "faint" }, "What is begun goes on in the base station: a page may be closed, and any other shows the same.")));
  show();
  return listen("acts", show);
}

export function viewTonight(view, key) {
  const kind = ACTS.find((one) => one.key === key);
  if (!kind) return showAll(view);
  const shown = new ActView(view, kind);
  return () => shown.leave();
}
