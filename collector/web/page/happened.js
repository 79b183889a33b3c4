// What happened beside the samples, in words: marks, gaps, windows of questions.
// Must never leave out who or where. Used by night.js and ruler.js.

import { make } from "./dom.js";
import { findingItem } from "./now.js";
import { nodeRoom, store } from "./store.js";
import { clock, lasting, length, some } from "./words.js";

const MOST = 50; // of a kind in the list

export const HAPPENED = [
  { head: "mark", list: "marks",
    words: ([id, start, end, room, who, text]) => `${text} (${room || "whole house"}${who ? `, ${who}` : ""}, ${lasting(start, end)}, mark ${id})`,
    few: ([, , , , , text]) => text },
  { head: "gap", list: "gaps",
    words: ([node, start, end, reason]) => `${nodeRoom(node)} (${node}), ${length(end - start)}: ${reason}`,
    few: ([node, , , reason]) => `${node}: ${reason}` },
  { head: "question", list: "questions",
    words: ([what, start, end, nth, session, text]) =>
      `${what === "asked" ? `"${text}"` : "nobody asked"}, ${length(end - start)} (window ${nth} of session ${session})`,
    few: ([what, , , , , text]) => (what === "asked" ? text : "nobody asked") },
];

export function happenedLine(kind, one) {
  return `${clock(store.night.base, one[1])} ${kind.head}: ${kind.words(one)}`;
}

function item(kind, one) {
  return make("li", {}, make("span", { class: "when" }, clock(store.night.base, one[1])),
    make("span", { class: "head" }, kind.head), ` ${kind.words(one)}`);
}

// How much of each kind lies between two times, and, once it is opened, what.
export function showInside(into, found, from, to) {
  const inside = HAPPENED.map((kind) => [kind, (store.events?.[kind.list] || []).filter(([, start, end]) => start < to && end >= from)]);
  const counts = inside.filter(([kind, list]) => kind.head !== "question" || list.length)
    .map(([kind, list]) => some(list.length, kind.head === "question" ? "question window" : kind.head));
  into.replaceChildren(make("summary", {}, `In sight: ${[some(found.length, "finding"), ...counts].join(", ")}`));
  into.ontoggle = () => {
    if (!into.open || into.querySelector("ol")) return;
    into.append(make("ol", {}, ...found.slice(0, MOST).map(findingItem),
      ...inside.flatMap(([kind, list]) => list.slice(0, MOST).map((one) => item(kind, one)))));
  };
  into.ontoggle();
}
