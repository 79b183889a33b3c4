// The whole night: every channel a lane, one time axis, down to the samples.
// Must never leave a peak out. A view of main.js.

import { button, field, make, select } from "./dom.js";
import { appendFresh, clockData, joinFresh, loadWindow } from "./lane_data.js";
import { Lane } from "./lane.js";
import { happenedLine, showInside } from "./happened.js";
import { sortedFindings } from "./now.js";
import { plotEdges } from "./plot.js";
import { drawBehind, drawRuler } from "./ruler.js";
import { moveBy, Sight } from "./sight.js";
import { listen, loadEvents, nightEnd, nodeRoom, store } from "./store.js";
import { clock, length } from "./words.js";

const CLOCK = { name: "clock", unit: "s", rate_hz: 0 };
const FOLLOW_NS = 120e9;
const RECENT_NS = 20e9; // longer than it takes a sample to the disk
const LANES_FIRST = 8; // taken as in sight until the browser says which are
const CURSOR_KEYS = { ArrowLeft: -0.01, ArrowRight: 0.01 };
const DISK_MS = 1500; // until what was said is on disk
const LANES_AT_ONCE = 32;
const NEAR_PX = 12; // so far from what is pointed at

class NightView {
  constructor(view) {
    this.sight = new Sight(() => [0, Math.max(nightEnd(), 1e9)], () => this.moved());
    this.lanes = store.night.nodes.flatMap((node) => [
      ...node.channels.map((channel) => new Lane(node, channel, "channel")), new Lane(node, CLOCK, "clock")]);
    this.byKey = new Map(this.lanes.map((lane) => [lane.key, lane]));
    this.visible = new Set(this.lanes.slice(0, LANES_FIRST));
    this.first = this.askFor(view.clientWidth - plotEdges.left - plotEdges.right); // before anything is built
    this.asking = null;
    this.again = false;
    this.build(view);
    this.watchSight();
    this.ends = [
      listen("events", () => this.showEvents()), listen("findings", () => this.showEvents()),
      listen("finding", () => this.showEvents()), listen("fresh", (fresh) => this.takeFresh(fresh)),
      listen("line", (line) => (["mark", "gap", "question"].includes(line?.head) ? setTimeout(() => this.tick(), DISK_MS) : null)),
      listen("missed", () => this.catchUp()), listen("light", () => this.redraw()),
    ];
    loadEvents().catch(() => undefined);
    this.refresh = store.self.live ? setInterval(() => this.tick(), 15000) : 0;
    this.moved();
  }

  build(view) {
    this.ruler = make("canvas", { class: "ruler", tabindex: "0", role: "img",
      "aria-label": "The night's time axis. Arrow keys move along it, with Shift they move the cursor; plus and minus zoom, Home shows the whole night." });
    this.where = make("p", { class: "where", role: "status" });
    this.pointed = make("p", { class: "where pointed" });
    this.inside = make("details", { class: "inside" });
    this.list = make("div", { class: "lanes" }, ...this.lanes.map((lane) => lane.element));
    this.stay = make("div", { class: "stay" }, this.where, this.toolbar(), this.pointed, this.ruler);
    view.append(this.stay, this.inside, this.list,
      make("p", { class: "faint" }, "On the time axis: wheel or two fingers zoom, dragging moves. On the lanes: dragging moves, Ctrl and wheel zoom. By keyboard: the axis takes arrows, plus, minus and Home; Shift and an arrow move the cursor, at which each lane tells its value. Touch a bar on the axis to be told what it is. An alert is a filled triangle, what no cause accounts for an open diamond, any other finding a stroke. A question's window is a filled bar, one in which nobody asked an open one."));
    moveBy(this.sight, this.ruler, this.list, () => this.edges());
    this.ruler.addEventListener("click", (event) => this.openNear(event.offsetX, event.offsetY));
    this.ruler.addEventListener("keydown", (event) => {
      const part = event.shiftKey && CURSOR_KEYS[event.key];
      if (!part) return;
      event.preventDefault();
      this.moveCursor(part);
    });
    this.resized = new ResizeObserver(() => this.onResized());
    this.resized.observe(this.list);
  }

  onResized() {
    const width = this.list.clientWidth;
    if (this.width !== undefined && this.width !== width) {
      this.lanes.forEach((lane) => lane.resize());
      this.moved();
    }
    this.width = width;
  }

  toolbar() {
    const quantities = [...new Set(this.lanes.map((lane) => lane.quantity))];
    const rooms = store.night.nodes.map((node) => [node.id, `${nodeRoom(node.id)} (${node.id})`]);
    this.quantity = "";
    this.only = "";
    const bar = make("div", { class: "tools", role: "toolbar", "aria-label": "What is in sight" },
      button("Whole night", () => this.sight.whole()),
      button("Closer", () => this.sight.zoom(1 / 1.6)), button("Wider", () => this.sight.zoom(1.6)),
      button("Earlier", () => this.sight.pan(-0.5)), button("Later", () => this.sight.pan(0.5)),
      button("Finding before", () => this.step(-1)), button("Finding after", () => this.step(1)));
    if (store.self.live) {
      this.following = button("Follow", () => this.setFollow(!this.sight.follow), { "aria-pressed": "false" });
      bar.append(this.following);
    }
    bar.append(
      field("Quantity", select([["", "all quantities"], ...quantities.map((one) => [one, one === "clock" ? "clock uncertainty" : one])], "",
        (value) => { this.quantity = value; this.choose(); })),
      field("Node", select([["", "all nodes"], ...rooms], "", (value) => { this.only = value; this.choose(); })));
    return bar;
  }

  choose() {
    for (const lane of this.lanes) {
      lane.element.hidden = Boolean((this.quantity && lane.quantity !== this.quantity) ||
        (this.only && lane.node !== this.only));
    }
  }

  edges() {
    const box = this.ruler.getBoundingClientRect();
    return { left: box.left + plotEdges.left, width: box.width - plotEdges.left - plotEdges.right };
  }

  watchSight() {
    this.observer = new IntersectionObserver((entries) => {
      let more = false;
      for (const { isIntersecting, target: { lane } } of entries) {
        more = more || (isIntersecting && !this.visible.has(lane));
        if (isIntersecting) this.visible.add(lane);
        else this.visible.delete(lane);
      }
      if (more) this.load(true);
    }, { rootMargin: "120px" });
    for (const lane of this.lanes) this.observer.observe(lane.element);
  }

  setFollow(on) {
    this.sight.follow = on;
    if (on) {
      const end = nightEnd();
      const wide = Math.min(this.sight.to - this.sight.from, FOLLOW_NS);
      this.sight.from = end - wide;
      this.sight.to = end;
      this.moved();
    }
  }

  moved() {
    const { from, to } = this.sight;
    const wide = Math.max(this.edges().width, 1);
    const digits = to - from < 60e9 ? 3 : 0;
    this.where.textContent = `${clock(store.night.base, from, digits)} to ${clock(store.night.base, to, digits)}: ${length(to - from)} in sight, one pixel is ${length((to - from) / wide)}`;
    if (this.following) this.following.setAttribute("aria-pressed", String(this.sight.follow));
    this.drawn = drawRuler(this.ruler, this.sight);
    this.showInside();
    this.load();
    // What is there is stretched at once, and drawn finer when the answer is there.
    cancelAnimationFrame(this.stretching);
    this.stretching = requestAnimationFrame(() => { for (const lane of this.visible) lane.rescale(this.sight); });
  }

  redraw() {
    this.drawn = drawRuler(this.ruler, this.sight);
    for (const lane of this.visible) if (lane.plot) lane.plot.redraw(false, true);
  }

  showEvents() {
    this.redraw();
    for (const lane of this.visible) if (lane.kind === "clock") this.showClock(lane);
    this.showInside();
  }

  showInside() {
    const { from, to } = this.sight;
    showInside(this.inside, sortedFindings().filter((one) => one.start >= from && one.start < to), from, to);
  }

  showClock(lane) {
    lane.ensure(this.sight, (plot) => drawBehind(plot, lane.node), (plot) => this.showCursor(plot));
    lane.show(clockData(store.events?.clock || [], lane.node, nightEnd()), this.sight);
  }

  ensurePlots() {
    for (const lane of this.visible) {
      if (lane.kind === "clock") this.showClock(lane);
      else lane.ensure(this.sight, (plot) => drawBehind(plot, lane.node), (plot) => this.showCursor(plot));
    }
  }

  // The lanes to be asked for now and their answers to come; `news`: only those that show something else.
  askFor(width, news) {
    const { from, to } = this.sight;
    const wanted = [...this.visible].filter((lane) => lane.kind === "channel" && !lane.element.hidden &&
      !(news && lane.shows === `${from} ${to}`)).slice(0, LANES_AT_ONCE);
    this.asking = new AbortController();
    return { wanted, from, to, answers: wanted.length ? loadWindow(wanted, from, to, width, this.asking.signal) : [] };
  }

  // One question at a time; the newest sight is asked for when it is answered.
  async load(news = false) {
    if (this.asking && !this.first) {
      this.again = true;
      return;
    }
    const asked = this.first || this.askFor(this.edges().width, news);
    this.first = null;
    try {
      this.ensurePlots(); // while the answer is on its way
      this.showAnswers(asked, await asked.answers);
    } catch (refused) {
      if (refused.name !== "AbortError") this.where.textContent = `The samples can't be read now: ${refused.message}`;
    }
    this.asking = null;
    if (this.again) {
      this.again = false;
      this.load(true);
    }
  }

  showAnswers({ wanted, from, to }, answers) {
    const live = store.self.live && to > nightEnd() - RECENT_NS;
    answers.forEach(({ data, calibrated }, i) => {
      wanted[i].sayCalibrated(calibrated);
      wanted[i].shows = `${from} ${to}`;
      wanted[i].show(live ? joinFresh(data, wanted[i].recent) : data, this.sight);
    });
    cancelAnimationFrame(this.stretching);
    this.list.dataset.shown = `${from} ${to}`;
  }

  // What came while nothing could be told is in the night.
  catchUp() {
    loadEvents().catch(() => undefined);
    if (this.sight.follow) this.setFollow(true);
    else this.load();
  }

  takeFresh(fresh) {
    let newest = this.sight.to;
    for (const [key, ...pieces] of fresh.lanes) {
      const [, last] = pieces;
      newest = Math.max(newest, last);
      const lane = this.byKey.get(key);
      if (!lane) continue;
      lane.recent = appendFresh(lane.recent, pieces, last - RECENT_NS, lane.rate_hz);
      if (this.sight.follow) lane.data = appendFresh(lane.data, pieces, this.sight.from, lane.rate_hz);
    }
    if (!this.sight.follow) return;
    const wide = this.sight.to - this.sight.from;
    this.sight.to = newest;
    this.sight.from = newest - wide;
    if (!this.frame) this.frame = requestAnimationFrame(() => this.drawFresh());
  }

  drawFresh() {
    this.frame = 0;
    this.drawn = drawRuler(this.ruler, this.sight);
    for (const lane of this.visible) if (lane.kind === "channel" && lane.plot) lane.show(lane.data, this.sight);
    this.list.dataset.newest = String(Math.max(...[...this.visible].map((lane) => lane.data[0][lane.data[0].length - 1] || 0)));
  }

  tick() {
    loadEvents().catch(() => undefined);
    if (this.sight.follow) this.load();
  }

  // What is pointed at on the axis: a finding is opened, what else happened is told.
  openNear(x, y) {
    const far = (one) => Math.max(one.left - x, x - one.right, 0) + Math.abs(one.y - y);
    const near = this.drawn.map((one) => [far(one), one]).sort(([a], [b]) => a - b)[0];
    if (!near || near[0] > NEAR_PX) return;
    const { finding, kind, one } = near[1];
    if (finding) location.hash = `finding/${finding.id}`;
    else this.pointed.textContent = happenedLine(kind, one);
  }

  // The cursor's time; each lane tells its own value.
  showCursor(plot) {
    const { left } = plot.cursor;
    if (left === this.cursorAt) return; // another lane has said it
    this.cursorAt = left;
    if (left < 0) {
      this.pointed.textContent = "";
      return;
    }
    const digits = Math.min(Math.max(Math.ceil(-Math.log10((this.sight.to - this.sight.from) / 1e9 / this.edges().width)), 0), 4);
    this.pointed.textContent = `Cursor at ${clock(store.night.base, Math.max(plot.posToVal(left, "x") * 1e9, 0), digits)}`;
  }

  // By keyboard: from where it was, or from the middle, by a part of what is in sight.
  moveCursor(part) {
    const plots = [...this.visible].map((lane) => lane.plot).filter(Boolean);
    if (!plots.length) return;
    const wide = this.edges().width;
    const before = plots[0].cursor.left;
    const left = Math.min(Math.max((before >= 0 ? before : wide / 2) + part * wide, 0), wide);
    for (const plot of plots) plot.setCursor({ left, top: 1 });
  }

  // To the next finding on either side of the middle.
  step(direction) {
    const middle = (this.sight.from + this.sight.to) / 2;
    const ordered = sortedFindings().sort((a, b) => (a.start - b.start) * direction);
    const next = ordered.find((one) => (one.start - middle) * direction > 1e6);
    if (next) this.sight.centre(next.start, Math.min(this.sight.to - this.sight.from, 120e9));
  }

  leave() {
    this.ends.forEach((end) => end());
    clearInterval(this.refresh);
    cancelAnimationFrame(this.stretching);
    if (this.asking) this.asking.abort();
    this.observer.disconnect();
    this.resized.disconnect();
    this.lanes.forEach((lane) => lane.destroy());
  }
}

export function viewNight(view) {
  const night = new NightView(view);
  return () => night.leave();
}
