// Windows of lanes from the base station, as the plots take them.
// Must never draw a line across a gap. Used by lane.js and trace.js.

import { ask } from "./api.js";

const NS = 1e9;
const GAP_PERIODS = 3; // without a sample for so many periods: a gap
const MISSED_NS = 1e9; // longer than a piece and the way to the next

// Samples: x in seconds, nulls where the node gave nothing.
function fromSamples(lane, rateHz) {
  const x = [];
  const y = [];
  const longest = rateHz > 0 ? (GAP_PERIODS / rateHz) * NS : Infinity;
  let t = 0;
  lane.t.forEach((step, i) => {
    if (i > 0 && step > longest) {
      x.push((t + step / 2) / NS);
      y.push(null);
    }
    t += step;
    x.push(t / NS);
    y.push(lane.v[i]);
  });
  return [x, y, y];
}

function fromPixels(lane, from, to) {
  const count = lane.min.length;
  const wide = (to - from) / count;
  const x = lane.min.map((_, i) => (from + (i + 0.5) * wide) / NS);
  return [x, lane.min, lane.max];
}

// A channel that only tells changes keeps its last value until the end of the window.
function holdLast(data, to) {
  const [x, y] = data;
  let last = y.length - 1;
  while (last >= 0 && y[last] === null) last -= 1;
  if (last < 0 || x[x.length - 1] >= to / NS) return data;
  const held = [...y, y[last]];
  return [[...x, to / NS], held, held];
}

// [{lane, data}] for lanes [{key, rate_hz}], in one question.
export async function loadWindow(lanes, from, to, pixels, signal) {
  const px = Math.max(1, Math.min(2048, Math.round(pixels)));
  const path = `/api/window?from=${Math.floor(from)}&to=${Math.ceil(to)}&px=${px}` +
    lanes.map((lane) => `&lane=${lane.key}`).join("");
  const answer = await ask(path, signal);
  return answer.lanes.map((lane, i) => {
    let data = lane.t ? fromSamples(lane, lanes[i].rate_hz) : fromPixels(lane, answer.from, answer.to);
    if (lanes[i].rate_hz === 0) data = holdLast(data, answer.to);
    return { key: lane.lane, data, raw: Boolean(lane.t), calibrated: lane.calibrated };
  });
}

// A node's clock uncertainty over time, as a lane.
export function clockData(clock, node, to) {
  const told = clock.filter(([id]) => id === node);
  const x = told.map(([, t]) => t / NS);
  const y = told.map(([, , sd]) => sd / NS);
  return holdLast([x, y, y], to);
}

// Without the pixels at the end that have no samples yet.
export function withoutTail(data) {
  let end = data[1].length;
  while (end > 0 && data[1][end - 1] === null) end -= 1;
  return data.map((list) => list.slice(0, end));
}

// What was read, and behind it what came fresh and is not on disk yet.
export function joinFresh(read, recent) {
  const data = withoutTail(read);
  const last = data[0].length ? data[0][data[0].length - 1] : -Infinity;
  const from = recent[0].findIndex((t) => t > last);
  return from < 0 ? data : data.map((list, i) => [...list, ...recent[i].slice(from)]);
}

// Fresh pieces behind what is there, after a gap where some were missed; what is before `from` goes.
export function appendFresh(data, [first, last, ...pieces], from, rateHz) {
  const [x, low, high] = [data[0].slice(), data[1].slice(), data[2].slice()];
  const count = pieces.length / 2;
  const step = count > 1 ? (last - first) / count : 0;
  const before = x.length ? x[x.length - 1] * NS : first;
  if (rateHz > 0 && first - before > MISSED_NS + (GAP_PERIODS / rateHz) * NS) {
    x.push((before + first) / 2 / NS);
    low.push(null);
    high.push(null);
  }
  for (let i = 0; i < count; i += 1) {
    const t = (count > 1 ? first + (i + 0.5) * step : last) / NS;
    if (x.length && t <= x[x.length - 1]) continue;
    x.push(t);
    low.push(pieces[2 * i]);
    high.push(pieces[2 * i + 1]);
  }
  let old = 0;
  while (old + 1 < x.length && x[old + 1] < from / NS) old += 1;
  return [x.slice(old), low.slice(old), high.slice(old)];
}
