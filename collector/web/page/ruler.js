// The time axis with findings, marks and gaps on it, and the same behind each lane.
// Must never hide that something is left out. Used by night.js.

import { colour, plotEdges } from "./plot.js";
import { store } from "./store.js";
import { clock } from "./words.js";

const STEPS_S = [1e-4, 2e-4, 5e-4, 1e-3, 2e-3, 5e-3, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60,
  120, 300, 600, 900, 1800, 3600, 7200, 14400];
const TICK_PX = 92;
export const RULER_PX = 72;

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

function inSight(sight, start, end) {
  return start < sight.to && end >= sight.from;
}

function drawSpans(context, sight, at, right) {
  const clip = (x) => Math.min(Math.max(x, plotEdges.left), right);
  for (const [, start, end] of store.events?.gaps || []) {
    if (inSight(sight, start, end)) {
      context.strokeStyle = colour("--faint");
      hatch(context, clip(at(start)), 56, Math.max(clip(at(end)) - clip(at(start)), 2), 10);
    }
  }
  for (const [, start, end] of store.events?.marks || []) {
    if (inSight(sight, start, end)) {
      context.fillStyle = colour("--mark");
      context.fillRect(clip(at(start)), 41, Math.max(clip(at(end)) - clip(at(start)), 3), 9);
    }
  }
}

// Draws the ruler; gives back where findings are, for who points at them.
export function drawRuler(canvas, sight) {
  const width = canvas.clientWidth;
  const ratio = devicePixelRatio;
  canvas.width = Math.round(width * ratio);
  canvas.height = RULER_PX * ratio;
  const context = canvas.getContext("2d");
  const wide = width - plotEdges.left - plotEdges.right;
  const at = (ns) => plotEdges.left + ((ns - sight.from) / (sight.to - sight.from)) * wide;
  const found = [];
  context.scale(ratio, ratio);
  context.font = "12px system-ui, sans-serif";
  context.lineWidth = 1;
  drawTicks(context, sight, at, wide);
  drawSpans(context, sight, at, plotEdges.left + wide);
  context.fillStyle = colour("--alert");
  context.strokeStyle = colour("--text");
  for (const finding of store.findings.values()) {
    if (finding.start >= sight.from && finding.start < sight.to) {
      drawFinding(context, finding, at(finding.start), 24);
      found.push({ x: at(finding.start), finding });
    }
  }
  context.fillStyle = colour("--faint");
  context.textAlign = "left";
  [["found", 33], ["marks", 49], ["gaps", 65]].forEach(([word, y]) => context.fillText(word, 8, y));
  return found;
}

// Behind one lane: where its node was silent, marks, and the findings that it took part in.
export function drawBehind(plot, node) {
  const { ctx: context, bbox } = plot;
  const at = (ns) => plot.valToPos(ns / 1e9, "x", true);
  const clip = (x) => Math.min(Math.max(x, bbox.left), bbox.left + bbox.width);
  const from = plot.scales.x.min * 1e9;
  const to = plot.scales.x.max * 1e9;
  context.save();
  context.lineWidth = devicePixelRatio;
  for (const [id, start, end] of store.events?.gaps || []) {
    if (id === node && start < to && end >= from) {
      context.strokeStyle = colour("--grid");
      hatch(context, clip(at(start)), bbox.top, Math.max(clip(at(end)) - clip(at(start)), 2), bbox.height);
    }
  }
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
