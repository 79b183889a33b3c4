// The time axis with findings, marks, gaps and questions on it, and the same behind each lane.
// Must never hide that something is left out, nor print a text over another. Used by night.js.

import { HAPPENED } from "./happened.js";
import { colour, plotEdges, textPx } from "./plot.js";
import { store } from "./store.js";
import { causeWords, clock } from "./words.js";

const STEPS_S = [1e-4, 2e-4, 5e-4, 1e-3, 2e-3, 5e-3, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60,
  120, 300, 600, 900, 1800, 3600, 7200, 14400];
const TICK_PX = 92;
export const RULER_PX = 88;
const BAR_PX = 9;
const FOUND_TOP = 24;
const KIND_TOPS = { mark: 41, gap: 57, question: 73 };
const ROWS_MOST = 3; // of bars that overlap
const TEXT_GAP_PX = 4;
const MARK_BEHIND_PX = 3;

// Times of ticks that are round on the wall clock: [ns], and how many digits they need.
export function ticks(from, to, width) {
  const least = ((to - from) / 1e9) * (TICK_PX / Math.max(width, 1));
  const step = STEPS_S.find((one) => one >= least) || STEPS_S[STEPS_S.length - 1];
  const stepNs = Math.round(step * 1e9);
  const zone = BigInt(-new Date(Number(store.night.base / 1000000n)).getTimezoneOffset()) * 60000000000n;
  const before = Number((store.night.base + zone) % BigInt(stepNs));
  const list = [];
  for (let t = Math.ceil((from + before) / stepNs) * stepNs - before; t <= to; t += stepNs) list.push(t);
  return { list, digits: Math.max(0, Math.ceil(-Math.log10(step))) };
}

function hatch(context, x, y, width, height) {
  context.save();
  context.beginPath();
  context.rect(x, y, width, height);
  context.clip();
  context.beginPath();
  for (let at = x - height; at < x + width; at += 6) {
    context.moveTo(at, y + height);
    context.lineTo(at + height, y);
  }
  context.stroke();
  context.restore();
}

// An alert: a filled triangle. What no cause accounts for: an open diamond. Else: a stroke.
function drawFinding(context, finding, x, y) {
  context.beginPath();
  if (finding.alert) {
    context.moveTo(x - 6, y);
    context.lineTo(x + 6, y);
    context.lineTo(x, y + 11);
    context.fill();
  } else if (finding.cause === "unexplained") {
    context.moveTo(x, y);
    context.lineTo(x + 5, y + 5);
    context.lineTo(x, y + 10);
    context.lineTo(x - 5, y + 5);
    context.closePath();
    context.stroke();
  } else {
    context.moveTo(x, y + 1);
    context.lineTo(x, y + 9);
    context.stroke();
  }
}

function drawTicks(context, sight, at, width) {
  const { list, digits } = ticks(sight.from, sight.to, width);
  context.fillStyle = colour("--faint");
  context.strokeStyle = colour("--grid");
  context.textAlign = "center";
  for (const t of list) {
    context.beginPath();
    context.moveTo(at(t), 18);
    context.lineTo(at(t), RULER_PX);
    context.stroke();
    if (at(t) > plotEdges.left + 24 && at(t) < plotEdges.left + width - 24) {
      context.fillText(clock(store.night.base, t, digits), at(t), 12);
    }
  }
}

// Those in sight: left and width in pixels, never too narrow to be seen.
function* spans(list, sight, at, edges) {
  for (const one of list || []) {
    const [, start, end] = one;
    if (start >= sight.to || end < sight.from) continue;
    const left = Math.min(Math.max(at(start), edges.left), edges.right);
    yield { one, left, width: Math.max(Math.min(at(end), edges.right) - left, edges.least) };
  }
}

// Those that overlap under each other, `most` rows at the most: each gets its row.
function putInRows(bars, most) {
  const ends = [];
  for (const bar of bars.sort((a, b) => a.left - b.left)) {
    let row = ends.findIndex((end) => end < bar.left);
    if (row < 0) row = ends.length < most ? ends.length : ends.indexOf(Math.min(...ends));
    ends[row] = Math.max(ends[row] ?? 0, bar.left + bar.width);
    bar.row = row;
  }
  return Math.max(ends.length, 1);
}

// A few words behind each bar or sign that has the room for them up to the next one, so that no text
// is printed over another.
function writeBehind(context, things, y, right) {
  context.fillStyle = colour("--faint");
  context.textAlign = "left";
  const sorted = things.sort((a, b) => a.left - b.left);
  let end = 0;
  sorted.forEach(({ left, width, text }, i) => {
    end = Math.max(end, left + width);
    const next = i + 1 < sorted.length ? sorted[i + 1].left : right;
    if (text && end + TEXT_GAP_PX + context.measureText(text).width < next - TEXT_GAP_PX) context.fillText(text, end + TEXT_GAP_PX, y);
  });
}

const DRAW = {
  mark(context, x, y, width, height) {
    context.fillStyle = colour("--mark");
    context.fillRect(x, y, width, height);
  },
  gap(context, x, y, width, height) {
    context.strokeStyle = colour("--faint");
    hatch(context, x, y, width, height);
  },
  question(context, x, y, width, height, [what]) {
    context.fillStyle = colour("--text");
    context.strokeStyle = colour("--text");
    if (what === "asked") context.fillRect(x, y, width, height);
    else context.strokeRect(x + 0.5, y + 0.5, width - 1, height - 1);
  },
};

// One kind of what happened; gives back what was drawn and where.
function drawKind(context, kind, sight, at, right) {
  const top = KIND_TOPS[kind.head];
  const bars = [...spans(store.events?.[kind.list], sight, at, { left: plotEdges.left, right, least: 3 })];
  const height = BAR_PX / putInRows(bars, ROWS_MOST);
  for (const { one, left, width, row } of bars) {
    DRAW[kind.head](context, left, top + row * height, width, Math.max(height - (height < BAR_PX ? 0.5 : 0), 1), one);
  }
  writeBehind(context, bars.map(({ one, left, width }) => ({ left, width, text: kind.few(one) })), top + BAR_PX - 1, right);
  return bars.map(({ one, left, width }) => ({ left, right: left + width, y: top + BAR_PX / 2, kind, one }));
}

function drawFindings(context, sight, at, right) {
  const inSight = [...store.findings.values()].filter(({ start }) => start >= sight.from && start < sight.to);
  for (const finding of inSight.sort((a, b) => a.alert - b.alert)) { // alerts over the others
    context.fillStyle = colour("--alert");
    context.strokeStyle = colour("--text");
    drawFinding(context, finding, at(finding.start), FOUND_TOP);
  }
  writeBehind(context, inSight.map(({ start, alert, cause }) => ({ left: at(start) - 6, width: 12,
    text: `${alert ? "ALERT, " : ""}${causeWords(cause)}` })), FOUND_TOP + 9, right);
  return inSight.map((finding) => ({ left: at(finding.start), right: at(finding.start), y: FOUND_TOP + 5, finding }));
}

// Draws the ruler; gives back what is where, for who points at it: left, right, y in pixels, and a
// finding, or one of a kind.
export function drawRuler(canvas, sight) {
  const width = canvas.clientWidth;
  const ratio = devicePixelRatio;
  canvas.width = Math.round(width * ratio);
  canvas.height = RULER_PX * ratio;
  const context = canvas.getContext("2d");
  const wide = width - plotEdges.left - plotEdges.right;
  const right = plotEdges.left + wide;
  const at = (ns) => plotEdges.left + ((ns - sight.from) / (sight.to - sight.from)) * wide;
  context.scale(ratio, ratio);
  context.font = `${textPx()}px system-ui, sans-serif`;
  context.lineWidth = 1;
  drawTicks(context, sight, at, wide);
  const drawn = HAPPENED.flatMap((kind) => drawKind(context, kind, sight, at, right));
  drawn.push(...drawFindings(context, sight, at, right));
  context.fillStyle = colour("--faint");
  context.textAlign = "left";
  [["found", 33], ["marks", 49], ["gaps", 65], ["questions", 81]].forEach(([word, y]) => context.fillText(word, 0, y));
  return drawn;
}

// Marks that cover this room, or the whole house, along the lane's foot; windows of questions along
// its head: whole where something was asked, broken where nothing was.
function drawSaid(plot, sight, at, node) {
  const { ctx: context, bbox } = plot;
  const ratio = devicePixelRatio;
  const edges = { left: bbox.left, right: bbox.left + bbox.width, least: 2 * ratio };
  const { room: here } = store.night.byId.get(node);
  context.fillStyle = colour("--mark");
  for (const { one: [, , , room], left, width } of spans(store.events?.marks, sight, at, edges)) {
    if (!room || room === here) context.fillRect(left, bbox.top + bbox.height, width, MARK_BEHIND_PX * ratio);
  }
  context.strokeStyle = colour("--text");
  for (const { one: [what], left, width } of spans(store.events?.questions, sight, at, edges)) {
    context.setLineDash(what === "asked" ? [] : [3 * ratio, 3 * ratio]);
    context.beginPath();
    context.moveTo(left, bbox.top - 2 * ratio);
    context.lineTo(left + width, bbox.top - 2 * ratio);
    context.stroke();
  }
  context.setLineDash([]);
}

// Behind one lane: where its node was silent, what the team did, the findings that it took part in.
export function drawBehind(plot, node) {
  const { ctx: context, bbox } = plot;
  const at = (ns) => plot.valToPos(ns / 1e9, "x", true);
  const from = plot.scales.x.min * 1e9;
  const to = plot.scales.x.max * 1e9;
  const edges = { left: bbox.left, right: bbox.left + bbox.width, least: 2 };
  context.save();
  context.lineWidth = devicePixelRatio;
  context.strokeStyle = colour("--grid");
  const gaps = (store.events?.gaps || []).filter(([id]) => id === node);
  for (const { left, width } of spans(gaps, { from, to }, at, edges)) hatch(context, left, bbox.top, width, bbox.height);
  drawSaid(plot, { from, to }, at, node);
  for (const finding of store.findings.values()) {
    const mine = finding.order.find(([id]) => id === node);
    if (mine && mine[1] >= from && mine[1] < to) {
      context.strokeStyle = finding.alert ? colour("--alert") : colour("--faint");
      context.setLineDash(finding.alert ? [] : [4 * devicePixelRatio, 4 * devicePixelRatio]);
      context.beginPath();
      context.moveTo(at(mine[1]), bbox.top);
      context.lineTo(at(mine[1]), bbox.top + bbox.height);
      context.stroke();
    }
  }
  context.restore();
}
