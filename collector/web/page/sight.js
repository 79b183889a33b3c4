// Which part of the night is in sight, and how it moves: wheel, drag, pinch and keys.
// Must never leave the night, nor zoom beyond what a sample is. Used by night.js.

const LEAST_NS = 1e6;
const STEP = 1.6;

export class Sight {
  // limits() gives [first, last]; changed() is called after each move.
  constructor(limits, changed) {
    this.limits = limits;
    this.changed = changed;
    [this.from, this.to] = limits();
    this.follow = false;
  }

  set(from, to) {
    const [first, last] = this.limits();
    const most = Math.max(last - first, LEAST_NS);
    const wide = Math.min(Math.max(to - from, LEAST_NS), most);
    this.from = Math.round(Math.min(Math.max(from, first), Math.max(last - wide, first)));
    this.to = Math.round(this.from + wide);
    this.changed();
  }

  whole() {
    this.follow = false;
    this.set(...this.limits());
  }

  // `where` from 0 (left) to 1: what stays in its place.
  zoom(factor, where = 0.5) {
    this.follow = false;
    const fixed = this.from + (this.to - this.from) * where;
    const wide = (this.to - this.from) * factor;
    this.set(fixed - wide * where, fixed + wide * (1 - where));
  }

  pan(part) {
    this.follow = false;
    const by = (this.to - this.from) * part;
    this.set(this.from + by, this.to + by);
  }

  centre(ns, wide = this.to - this.from) {
    this.follow = false;
    this.set(ns - wide / 2, ns + wide / 2);
  }
}

function onWheel(sight, edges, everywhere) {
  return (event) => {
    const box = edges();
    const where = Math.min(1, Math.max(0, (event.clientX - box.left) / box.width));
    if (Math.abs(event.deltaX) > Math.abs(event.deltaY) || event.shiftKey) {
      event.preventDefault();
      sight.pan((event.deltaX || event.deltaY) / box.width);
    } else if (everywhere || event.ctrlKey || event.metaKey) {
      event.preventDefault();
      sight.zoom(event.deltaY > 0 ? STEP : 1 / STEP, where);
    }
  };
}

// One finger or the mouse drags; two fingers pinch. Up and down stays the page's.
function onPointers(target, sight, edges) {
  const held = new Map();
  let moved = false;
  const span = () => {
    const [a, b] = [...held.values()];
    return { apart: Math.max(Math.abs(a - b), 10), middle: (a + b) / 2 };
  };
  target.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    held.set(event.pointerId, event.clientX);
    moved = false;
  });
  target.addEventListener("pointermove", (event) => {
    if (!held.has(event.pointerId)) return;
    const box = edges();
    const before = held.size === 2 ? span() : null;
    const x = held.get(event.pointerId);
    if (!moved && Math.abs(event.clientX - x) < 4) return;
    moved = true;
    if (!target.hasPointerCapture(event.pointerId)) target.setPointerCapture(event.pointerId);
    held.set(event.pointerId, event.clientX);
    if (before) {
      const after = span();
      sight.zoom(before.apart / after.apart, (after.middle - box.left) / box.width);
    } else if (held.size === 1) {
      sight.pan((x - event.clientX) / box.width);
    }
  });
  const drop = (event) => held.delete(event.pointerId);
  target.addEventListener("pointerup", drop);
  target.addEventListener("pointercancel", drop);
  target.addEventListener("click", (event) => {
    if (moved) event.stopPropagation();
  }, true);
}

// What moves the sight is not the browser's: else a quick stroke goes on as a fling, though nothing
// scrolls, and the next tap only stops that.
function keepTouches(target) {
  let begun = null;
  target.addEventListener("touchstart", (event) => { begun = event.touches[0]; }, { passive: true });
  target.addEventListener("touchmove", (event) => {
    const [now] = event.touches;
    const sideways = Math.abs(now.clientX - begun.clientX) > Math.abs(now.clientY - begun.clientY);
    if (event.cancelable && (sideways || event.touches.length > 1)) event.preventDefault();
  }, { passive: false });
}

const KEYS = {
  ArrowLeft: (sight) => sight.pan(-0.2),
  ArrowRight: (sight) => sight.pan(0.2),
  PageUp: (sight) => sight.pan(-0.9),
  PageDown: (sight) => sight.pan(0.9),
  "+": (sight) => sight.zoom(1 / STEP),
  "=": (sight) => sight.zoom(1 / STEP),
  "-": (sight) => sight.zoom(STEP),
  Home: (sight) => sight.whole(),
};

// `edges` gives the box of the plots' time axis on the screen.
export function moveBy(sight, ruler, lanes, edges) {
  ruler.addEventListener("wheel", onWheel(sight, edges, true), { passive: false });
  lanes.addEventListener("wheel", onWheel(sight, edges, false), { passive: false });
  for (const target of [ruler, lanes]) {
    onPointers(target, sight, edges);
    keepTouches(target);
  }
  ruler.addEventListener("keydown", (event) => {
    const move = KEYS[event.key];
    if (!move || event.ctrlKey || event.altKey || event.metaKey || event.shiftKey && event.key !== "+") return;
    event.preventDefault();
    move(sight);
  });
}
