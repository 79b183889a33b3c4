// One lane's plot: the least and the greatest over time, or the samples themselves.
// Must never smooth a line. Used by lane.js and trace.js.

import { drawColumns } from "./columns.js";
import { value } from "./words.js";

const AXIS_PX = 66;
const RIGHT_PX = 8;
const PAD = 0.08; // of the height, above and below

const colours = new Map(); // asking the browser each time would cost more than drawing

export function colour(name) {
  const key = `${document.documentElement.dataset.light} ${name}`;
  if (!colours.has(key)) {
    colours.set(key, getComputedStyle(document.documentElement).getPropertyValue(name).trim());
  }
  return colours.get(key);
}

// On a phone the axes are read from an arm's length, too.
export function textPx() {
  return matchMedia("(max-width: 40rem)").matches ? 14 : 12;
}

export const plotEdges = { left: AXIS_PX, right: RIGHT_PX };

function range(unit, low, high) {
  if (unit === "/") return [-0.2, 1.2];
  if (low === null || low === undefined) return [0, 1];
  const room = (high - low) * PAD || Math.abs(high) * PAD || 1;
  return [low - room, high + room];
}

// What is drawn is drawn by columns.js: uPlot has the scales, the axis and the cursor.
const SERIES = { paths: () => null, points: { show: false } };

function drawLine(plot, stepped) {
  drawColumns(plot, plot.data, { stepped, colour: colour("--line"), points: plot.few === true,
    inside: plot.few ? 1 : Number(colour("--line-inside")) });
}

// A count has no unit that the lane's title doesn't tell.
function tickWords(tick, unit) {
  if (unit === "/") return tick === 0 || tick === 1 ? value(tick, unit) : "";
  return value(tick, unit === "count" ? "" : unit);
}

// options: width, height, unit, stepped, from, to (seconds), sync, drawn(plot), moved(plot)
export function makePlot(into, options) {
  const { unit } = options;
  const plot = new uPlot({
    width: options.width,
    height: options.height,
    padding: [6, RIGHT_PX, 4, 0],
    legend: { show: false },
    cursor: {
      sync: options.sync ? { key: options.sync } : undefined,
      drag: { x: false, y: false, setScale: false },
      y: false,
      points: { show: false },
    },
    scales: {
      x: { time: false, auto: false, min: options.from, max: options.to },
      y: { range: (self, low, high) => range(unit, low, high) },
    },
    axes: [
      { show: false },
      {
        size: AXIS_PX,
        font: `${textPx()}px system-ui, sans-serif`,
        stroke: () => colour("--faint"),
        space: 28,
        grid: { stroke: () => colour("--grid"), width: 1 },
        ticks: { show: false },
        values: (self, ticks) => ticks.map((one) => tickWords(one, unit)),
      },
    ],
    series: [{}, { label: "least", ...SERIES }, { label: "greatest", ...SERIES }],
    hooks: {
      draw: [(self) => drawLine(self, options.stepped), ...(options.drawn ? [options.drawn] : [])],
      setCursor: options.moved ? [options.moved] : [],
    },
  }, [[], [], []], into);
  return plot;
}

// Shows data over from..to (seconds).
export function showData(plot, data, from, to) {
  const width = plot.bbox.width / devicePixelRatio;
  plot.few = data[0].length < width / 6;
  plot.batch(() => {
    plot.setData(data, false);
    plot.setScale("x", { min: from, max: to });
  });
}
