// One lane: its name, its value at the cursor, its plot.
// Must never be drawn while it is out of sight. Used by night.js.

import { make } from "./dom.js";
import { makePlot, showData } from "./plot.js";
import { nodeRoom } from "./store.js";
import { length, unitWords, value } from "./words.js";

const HEIGHT = 92;
const UNCALIBRATED = ", uncalibrated";

export class Lane {
  // kind: "channel" or "clock"
  constructor(node, channel, kind) {
    this.node = node.id;
    this.kind = kind;
    this.channel = channel;
    this.key = `${node.id}/${channel.name}`;
    this.rate_hz = channel.rate_hz;
    this.quantity = channel.name.split(".")[0];
    this.plot = null;
    this.data = [[], [], []];
    this.shows = ""; // of which window the data are
    this.recent = [[], [], []]; // the last seconds, as they came
    this.shown = make("span", { class: "at-cursor" });
    const unit = unitWords(channel.unit);
    this.title = `${nodeRoom(node.id)} (${node.id}) ${channel.name}${unit && kind === "channel" ? `, ${unit}` : ""}`;
    this.name = make("span", {}, this.title);
    this.into = make("div", { class: "plot", role: "img", "aria-label": `${this.title}: not read yet` });
    this.element = make("figure", { class: "lane", "data-lane": this.key },
      make("figcaption", {}, this.name, this.shown), this.into);
    this.element.lane = this;
  }

  // Whether numbers in its unit were checked with a known field.
  sayCalibrated(calibrated) {
    if (calibrated || this.title.endsWith(UNCALIBRATED)) return;
    this.title += UNCALIBRATED;
    this.name.textContent = this.title;
  }

  ensure(sight, drawn, moved) {
    if (this.plot) return;
    this.plot = makePlot(this.into, {
      width: this.into.clientWidth,
      height: HEIGHT,
      unit: this.channel.unit,
      stepped: this.rate_hz === 0,
      from: sight.from / 1e9,
      to: sight.to / 1e9,
      sync: "night",
      drawn: (plot) => drawn(plot, this),
      moved: (plot) => {
        this.showValue(plot.cursor.idx);
        moved(plot);
      },
    });
  }

  show(data, sight) {
    this.data = data;
    if (this.plot) showData(this.plot, data, sight.from / 1e9, sight.to / 1e9);
    this.describe();
  }

  // What a screen reader says of it.
  describe() {
    const lows = this.data[1].filter((one) => one !== null);
    const highs = this.data[2].filter((one) => one !== null);
    const words = lows.length
      ? `from ${value(lows.reduce((a, b) => Math.min(a, b)), this.channel.unit)} to ${value(highs.reduce((a, b) => Math.max(a, b)), this.channel.unit)} here`
      : "no samples here";
    this.into.setAttribute("aria-label", `${this.title}: ${words}`);
  }

  rescale(sight) {
    if (this.plot) this.plot.setScale("x", { min: sight.from / 1e9, max: sight.to / 1e9 });
  }

  resize() {
    if (this.plot) this.plot.setSize({ width: this.into.clientWidth, height: HEIGHT });
  }

  showValue(index) {
    const low = this.data[1][index];
    const high = this.data[2][index];
    if (index === null || index === undefined || low === undefined) {
      this.shown.textContent = "";
    } else if (this.kind === "clock") {
      this.shown.textContent = `\u00b1 ${length(low * 1e9)}`;
    } else if (low === null || low === high) {
      this.shown.textContent = value(low, this.channel.unit);
    } else {
      this.shown.textContent = `${value(low, this.channel.unit)} to ${value(high, this.channel.unit)}`;
    }
  }

  destroy() {
    if (this.plot) this.plot.destroy();
    this.plot = null;
  }
}
