// A witness' trace round a finding's onset, with the onset's uncertainty on it.
// Must never draw an onset finer than it is known. Used by finding.js.

import { make } from "./dom.js";
import { loadWindow } from "./lane_data.js";
import { colour, makePlot, showData } from "./plot.js";
import { nodeRoom, store } from "./store.js";
import { length, value } from "./words.js";

const HEIGHT = 110;

// The onset as a line, and a band of one sigma either side.
function drawOnset(plot, member, start) {
  const { ctx: context, bbox } = plot;
  const at = (ns) => plot.valToPos((ns - start) / 1e9, "x", true);
  const left = Math.max(at(member.onset - member.sd_ns), bbox.left);
  const right = Math.min(at(member.onset + member.sd_ns), bbox.left + bbox.width);
  context.save();
  context.fillStyle = colour("--band");
  context.fillRect(left, bbox.top, Math.max(right - left, 1), bbox.height);
  context.strokeStyle = colour("--alert");
  context.lineWidth = 2 * devicePixelRatio;
  context.beginPath();
  context.moveTo(at(member.onset), bbox.top);
  context.lineTo(at(member.onset), bbox.top + bbox.height);
  context.stroke();
  const middle = bbox.top + 10 * devicePixelRatio;
  context.lineWidth = devicePixelRatio;
  context.beginPath();
  context.moveTo(left, middle);
  context.lineTo(right, middle);
  for (const x of [left, right]) {
    context.moveTo(x, middle - 5 * devicePixelRatio);
    context.lineTo(x, middle + 5 * devicePixelRatio);
  }
  context.stroke();
  context.restore();
}

// Who was first is said only where the finding claims it.
function onsetWords(after, known) {
  if (known) return after ? `${length(after)} after the first` : "the first onset";
  return after ? `${length(after)} after the earliest, as measured` : "the earliest onset, as measured";
}

function words(member, start, known) {
  return `${nodeRoom(member.node)} (${member.node}), ${member.quantity}${member.band === "mains" ? " at the mains frequency" : ""}: ` +
    `${onsetWords(member.onset - start, known)}, \u00b1 ${length(member.sd_ns)} ` +
    `(picking ${length(member.pick_ns)}, sampling ${length(member.sampling_ns)}, clock ${length(member.clock_ns)}); ` +
    `${value(member.value, member.unit)}${member.calibrated ? "" : " (uncalibrated)"}, ${Number((member.score ?? 0).toPrecision(3))} times its noise`;
}

// The part of the night that shows how it began at each witness.
export function windowOf(detail) {
  const onsets = detail.members.map((member) => member.onset);
  const first = Math.min(...onsets);
  const last = Math.max(...onsets);
  const uncertain = Math.max(...detail.members.map((member) => member.sd_ns));
  const room = Math.max(0.4e9, (last - first) * 0.5, uncertain * 4);
  return { start: first, from: first - room, to: last + room * 1.5 };
}

function shift(data, start) {
  return [data[0].map((t) => t - start / 1e9), data[1], data[2]];
}

async function drawTrace(figure, member, channel, sight) {
  const into = figure.querySelector(".plot");
  const key = `${member.node}/${channel.name}`;
  const [answer] = await loadWindow([{ key, rate_hz: channel.rate_hz }], sight.from, sight.to, into.clientWidth - 74);
  const from = (sight.from - sight.start) / 1e9;
  const to = (sight.to - sight.start) / 1e9;
  const plot = makePlot(into, { width: into.clientWidth, height: HEIGHT, unit: channel.unit,
    stepped: channel.rate_hz === 0, from, to, sync: "finding", drawn: (self) => drawOnset(self, member, sight.start) });
  showData(plot, shift(answer.data, sight.start), from, to);
  return plot;
}

// The figures of all witnesses, and what to call at the end.
export function showTraces(into, detail) {
  const sight = windowOf(detail);
  const plots = [];
  for (const member of detail.members) {
    const node = store.night.byId.get(member.node);
    const channels = (node?.channels || []).filter((one) => one.name.split(".")[0] === member.quantity);
    for (const channel of channels) {
      const said = `${channel.name}. ${words(member, sight.start, detail.finding.first !== null)}`;
      const figure = make("figure", { class: "trace" }, make("figcaption", {}, said),
        make("div", { class: "plot", role: "img", "aria-label": `Trace of ${said}` }));
      into.append(figure);
      drawTrace(figure, member, channel, sight).then((plot) => plots.push(plot))
        .catch((refused) => figure.append(make("p", {}, `It can't be read: ${refused.message}`)));
    }
  }
  into.append(make("p", { class: "faint" }, `All traces share one time axis, ${length(sight.to - sight.from)} long; the line is the onset, the bar across it one standard deviation either side.`));
  return () => plots.forEach((plot) => plot.destroy());
}
