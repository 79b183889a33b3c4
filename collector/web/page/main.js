// The page as a whole: what may be done here, which view is shown, how the recording stands.
// Must never show an old standing as a new one. The first module that runs.

import { askSelf } from "./api.js";
import { at, button, make } from "./dom.js";
import { viewFinding } from "./finding.js";
import { soundAlert, startLights, startSound } from "./light.js";
import { startLink } from "./link.js";
import { viewMarks } from "./marks.js";
import { viewNight } from "./night.js";
import { viewNow } from "./now.js";
import { viewPair } from "./pair.js";
import { viewPlan } from "./plan.js";
import { viewShare } from "./share.js";
import { listen, loadFindings, store, takeNight } from "./store.js";
import { startActing, viewTonight } from "./tonight.js";
import { clock, length } from "./words.js";

let leave = null;

function views() {
  const list = [];
  if (store.self.night) {
    list.push(["now", store.self.live ? "Now" : "The house", viewNow], ["night", "Night", viewNight]);
    if (store.self.act) list.push(["tonight", "Tonight", viewTonight]);
    if (store.self.mark) list.push(["marks", "Mark", viewMarks]);
    if (store.self.formats.length) list.push(["share", "Take away", viewShare]);
  }
  if (store.self.plan) list.push(["plan", "Plan", viewPlan]);
  return list;
}

function showNav(current) {
  at("views").replaceChildren(...views().map(([key, text]) =>
    make("a", { href: `#${key}`, "aria-current": key === current ? "page" : null }, text)));
}

function show() {
  const [key, argument] = location.hash.slice(1).split("/");
  const known = views();
  const view = at("view");
  if (leave) leave();
  leave = null;
  view.replaceChildren();
  view.className = "";
  if (key === "finding" && store.self.night) {
    showNav("now");
    leave = viewFinding(view, Number(argument)) || null;
  } else {
    const [name, , enter] = known.find(([one]) => one === key) || known[0];
    showNav(name);
    view.className = `view-${name}`;
    leave = enter(view, argument) || null;
  }
  scrollTo(0, 0);
}

function stand(text, trouble) {
  const shown = at("standing");
  if (shown.textContent !== text) shown.textContent = text;
  shown.className = trouble ? "trouble" : "";
}

// What is shown is no more what the base station has: nothing of it may look new.
function askToReload() {
  const why = `${store.strange}.`;
  if (at("standing").dataset.strange === why) return;
  stand("", true);
  at("standing").dataset.strange = why;
  at("standing").append(`${why} What you see here is old. `, button("Load it anew", () => location.reload()));
  document.title = `OLD: ${store.night.title}`;
}

function showStanding() {
  const now = store.standing;
  if (store.strange) {
    askToReload();
    return;
  }
  if (store.lost && !(now && now.ended)) {
    stand("NOT CONNECTED to the base station: whether it records can't be told here.", true);
  } else if (!now) {
    stand("Asking the base station ...", false);
  } else if (now.recording) {
    const well = now.nodes.filter((node) => node.well).length;
    stand(`Recording since ${now.since}. ${well} of ${now.nodes.length} nodes are well.`, false);
  } else {
    stand(`NOT RECORDING: ${now.why}.`, true);
  }
  document.title = now && now.recording && !store.lost ? store.night.title : `NOT RECORDING: ${store.night.title}`;
}

function startNight() {
  at("site").textContent = store.night.title;
  document.title = store.night.title;
  if (store.self.live) {
    startSound();
    startActing();
    listen("standing", showStanding);
    listen("finding", ({ finding, known }) => (finding.alert && !known ? soundAlert() : null));
    startLink();
    return;
  }
  const { base, end } = store.night;
  const date = new Date(Number(base / 1000000n)).toLocaleDateString("en-GB", { dateStyle: "long" });
  stand(end === null
    ? `A night that was not closed, begun on ${date} at ${clock(base, 0)}.`
    : `The night of ${date}, ${clock(base, 0)} to ${clock(base, end)} (${length(end)}). It is over.`, false);
}

// The lanes don't wait for the findings, which they take when they come.
function isNightWanted() {
  return location.hash.startsWith("#night");
}

async function loadFound() {
  try {
    await loadFindings();
  } catch (refused) {
    if (!store.self.live) stand(`The findings can't be read: ${refused.message}.`, true);
  }
}

async function begin() {
  store.self = await askSelf();
  if (store.self.right === "none") {
    stand("This device is not paired yet.", false);
    at("view").replaceChildren();
    viewPair(at("view"), begin);
    return;
  }
  if (store.self.night) {
    takeNight(store.self.night);
    startNight();
    if (!isNightWanted()) await loadFound();
  } else {
    stand("Drawing a house: nothing is being recorded.", false);
  }
  addEventListener("hashchange", show);
  show();
  if (store.self.night && isNightWanted()) loadFound();
  document.documentElement.dataset.ready = "yes";
}

startLights();
begin().catch((refused) => {
  stand(`The base station does not answer: ${refused.message}.`, true);
  setTimeout(() => location.reload(), 5000);
});
