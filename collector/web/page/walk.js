// A finding played over the plan: who had its onset when, at the pace that is chosen.
// Must never show an order that the finding does not claim without saying so, nor any where all was
// together. Used by finding.js.

import { button, field, make, recall, remember, select } from "./dom.js";
import { drawHouse } from "./house.js";
import { nodeRoom, store } from "./store.js";
import { length } from "./words.js";

const PACES = [["1", "as it was"], ["0.1", "ten times slower"], ["0.01", "100 times slower"], ["0.001", "1000 times slower"],
  ["10", "ten times faster"]];
const AFTER_S = 1.5; // it goes on so long on the screen after the last onset

function showAt(house, detail, text, ns) {
  const first = detail.brief.start;
  house.clear("took-part", "reached");
  const reached = detail.brief.order.filter(([, onset]) => onset - first <= ns);
  reached.forEach(([node], i) => {
    const shape = house.node(node);
    if (!shape) return;
    shape.classList.add("reached");
    shape.querySelector(".turn").textContent = String(i + 1);
  });
  for (const [room, time] of detail.rooms) {
    if (time - first <= ns) house.room(room)?.classList.add("reached");
  }
  const last = reached[reached.length - 1];
  text.textContent = `${length(ns)} after the first onset: ${reached.length} of ${detail.brief.order.length} nodes${last ? `, last ${nodeRoom(last[0])}` : ""}.${detail.finding.first ? "" : " The numbers are as measured: the order can't be told."}`;
}

// All at once: there is no order to be played.
function showTogether(into, house, detail) {
  const { order } = detail.brief;
  for (const [node] of order) house.node(node)?.classList.add("reached");
  for (const [room] of detail.rooms) house.room(room)?.classList.add("reached");
  const apart = order.length ? order[order.length - 1][1] - order[0][1] : 0;
  into.append(house.element, make("p", {}, `Together, as far as clocks and samples tell: ${order.map(([node]) => nodeRoom(node)).join(", ")}. ` +
    `The onsets were measured within ${length(apart)}, which is no more than their uncertainties bring.`));
}

export function showWalk(into, detail) {
  const house = drawHouse(store.night);
  for (const node of store.night.nodes) house.node(node.id)?.classList.add("well");
  if (detail.brief.together) {
    showTogether(into, house, detail);
    return () => undefined;
  }
  const order = detail.brief.order;
  const whole = Math.max(order.length ? order[order.length - 1][1] - detail.brief.start : 0, 1e6);
  const text = make("p", { role: "status" });
  const slider = make("input", { type: "range", min: "0", max: "1000", value: "1000", oninput: () => stopAt(slider.value / 1000) });
  let pace = recall("pace", whole < 1e9 ? "0.01" : "1");
  let frame = 0;
  const stopAt = (part) => {
    cancelAnimationFrame(frame);
    frame = 0;
    play.textContent = "Play";
    showAt(house, detail, text, part * whole);
  };
  const run = (began) => {
    frame = requestAnimationFrame((now) => {
      const ns = (now - began) * 1e6 * Number(pace);
      slider.value = String(Math.min(1000, (ns / whole) * 1000));
      showAt(house, detail, text, Math.min(ns, whole));
      if (ns / 1e9 > whole / 1e9 + AFTER_S * Number(pace)) stopAt(1);
      else run(began);
    });
  };
  const play = button("Play", () => {
    if (frame) {
      stopAt(slider.value / 1000);
    } else {
      play.textContent = "Stop";
      run(performance.now());
    }
  });
  into.append(house.element, make("div", { class: "row" }, play,
    field("Pace", select(PACES, pace, (chosen) => { pace = chosen; remember("pace", chosen); })),
    field("Moment", slider)), text);
  stopAt(1);
  return () => cancelAnimationFrame(frame);
}
