// The floor on which is drawn: a metre grid, and what mouse or finger does to it.
// Must never change the site but through its model. Used by plan.js.

import { draw } from "./dom.js";
import { namePlace, points, roomName } from "./house.js";
import { outlineOf, rectangle, snap, tidy } from "./site_model.js";

const LEAST = { width: 14, height: 10 };
const ROOM_LEAST_M = 0.5;
const EDGE_M = 2;
const SIZE_BELOW_M = 0.6; // a room's size under its name

export class SiteDrawing {
  // plan: {model, floor, tool, selected, fault, select(list, index), render()}
  constructor(plan) {
    this.plan = plan;
    this.drag = null;
    this.element = draw("svg", { class: "drawing", tabindex: "0", role: "application",
      "aria-label": "The floor. What is chosen in the lists below is moved by the arrow keys and removed by Delete.",
      "aria-describedby": "drawing-hint" });
    this.element.addEventListener("pointerdown", (event) => this.onDown(event));
    this.element.addEventListener("pointermove", (event) => this.onMove(event));
    this.element.addEventListener("pointerup", (event) => this.onUp(event));
    this.element.addEventListener("pointercancel", () => this.onCancel());
    // Else a quick stroke goes on as a fling, though nothing scrolls, and the tap after it only stops that.
    this.element.addEventListener("touchstart", (event) => event.preventDefault(), { passive: false });
    this.element.addEventListener("keydown", (event) => this.onKey(event));
  }

  // The view stays while something is dragged.
  box() {
    if (this.drag) return this.lastBox;
    const all = this.plan.model.site.rooms.flatMap((room) => room.outline_m);
    const xs = all.map(([x]) => x);
    const ys = all.map(([, y]) => y);
    const left = Math.floor(Math.min(0, ...xs) - EDGE_M / 2);
    const top = Math.floor(Math.min(0, ...ys) - EDGE_M / 2);
    const width = Math.max(LEAST.width, Math.ceil(Math.max(0, ...xs) + EDGE_M - left));
    const height = Math.max(LEAST.height, Math.ceil(Math.max(0, ...ys) + EDGE_M - top));
    this.lastBox = { left, top, width, height };
    return this.lastBox;
  }

  render() {
    const { left, top, width, height } = this.box();
    this.element.setAttribute("viewBox", `${left} ${top} ${width} ${height}`);
    this.element.replaceChildren(this.grid(left, top, width, height), ...this.others(), ...this.rooms(),
      ...this.doors(), ...this.nodes(), ...this.handles());
    if (this.drag?.ghost) {
      this.element.append(draw("polygon", { class: "ghost", points: points(outlineOf(this.drag.ghost)) }),
        draw("text", { class: "size", x: this.drag.ghost.x + 0.1, y: this.drag.ghost.y - 0.15 },
          `${this.drag.ghost.w} x ${this.drag.ghost.d} m`));
    }
  }

  grid(left, top, width, height) {
    let d = "";
    for (let x = left; x <= left + width; x += 1) d += `M${x} ${top}v${height}`;
    for (let y = top; y <= top + height; y += 1) d += `M${left} ${y}h${width}`;
    return draw("path", { class: "grid", d });
  }

  classes(list, index, name) {
    const { selected, fault } = this.plan;
    return `${name}${selected?.list === list && selected.index === index ? " chosen" : ""}${fault?.list === list && fault.index === index ? " fault" : ""}`;
  }

  others() {
    const { model, floor } = this.plan;
    return model.roomsOn(floor - 1).map((room) => draw("polygon", { class: "below", points: points(room.outline_m) }));
  }

  rooms() {
    const { model, floor } = this.plan;
    return model.site.rooms.flatMap((room, i) => {
      if (room.floor !== floor) return [];
      const [x, y] = namePlace(room, model.site.nodes, model.site.doors, SIZE_BELOW_M);
      const box = rectangle(room.outline_m);
      return [draw("polygon", { class: this.classes("rooms", i, "room"), points: points(room.outline_m), "data-list": "rooms", "data-index": i }),
        roomName(room, [x, y]),
        box ? draw("text", { class: "size", x, y: y + SIZE_BELOW_M }, `${box.w} x ${box.d} m`) : null].filter(Boolean);
    });
  }

  doors() {
    const { model, floor } = this.plan;
    return model.site.doors.flatMap((door, i) => {
      const floors = door.between.map((room) => model.floorOf(room));
      if (!floors.includes(floor)) return [];
      const [cx, cy] = door.at_m;
      return [draw("circle", { class: this.classes("doors", i, floors[0] === floors[1] ? "door" : "door stair"), cx, cy, r: 0.28, "data-list": "doors", "data-index": i })];
    });
  }

  nodes() {
    const { model, floor } = this.plan;
    return model.site.nodes.flatMap((node, i) => {
      if (model.floorOf(node.room) !== floor) return [];
      const [cx, cy] = node.position_m;
      return [draw("circle", { class: this.classes("nodes", i, "node-dot"), cx, cy, r: 0.24, "data-list": "nodes", "data-index": i }),
        node.control ? draw("circle", { class: "control", cx, cy, r: 0.36 }) : null,
        draw("text", { class: "node-name", x: cx, y: cy + 0.7 }, node.id)].filter(Boolean);
    });
  }

  handles() {
    const { selected, model, floor } = this.plan;
    if (selected?.list !== "rooms" || model.site.rooms[selected.index]?.floor !== floor) return [];
    return model.site.rooms[selected.index].outline_m.map(([cx, cy], i) =>
      draw("circle", { class: "handle", cx, cy, r: 0.22, "data-corner": i }));
  }

  place(event) {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.element.getScreenCTM().inverse());
    return [at.x, at.y];
  }

  onDown(event) {
    if (event.button !== 0) return;
    const { plan } = this;
    const point = this.place(event);
    const { list, index, corner } = event.target.dataset;
    this.element.setPointerCapture(event.pointerId);
    if (plan.tool === "room") {
      this.drag = { from: point.map(snap), ghost: null };
    } else if (plan.tool === "node") {
      plan.added("nodes", plan.model.addNode(plan.floor, point.map(snap)), "A node goes into a room: draw the room first.");
    } else if (plan.tool === "door") {
      plan.added("doors", plan.model.addDoor(plan.floor, point), "A door goes where two rooms touch; a stair where one room is above another.");
    } else if (corner !== undefined) {
      plan.model.begin();
      this.drag = { corner: Number(corner), room: plan.selected.index };
    } else if (list) {
      plan.select(list, Number(index));
      plan.model.begin();
      this.drag = { list, index: Number(index), at: point };
    } else {
      plan.select(null);
    }
  }

  onMove(event) {
    if (!this.drag) return;
    const point = this.place(event);
    if (this.drag.from) {
      const [x0, y0] = this.drag.from;
      const [x1, y1] = point.map(snap);
      this.drag.ghost = { x: Math.min(x0, x1), y: Math.min(y0, y1), w: Math.abs(x1 - x0), d: Math.abs(y1 - y0) };
    } else if (this.drag.corner !== undefined) {
      this.moveCorner(point.map(snap));
    } else {
      const [dx, dy] = [snap(point[0] - this.drag.at[0]), snap(point[1] - this.drag.at[1])];
      if (!dx && !dy) return;
      this.plan.model.shift(this.drag.list, this.drag.index, dx, dy);
      this.drag.at = [this.drag.at[0] + dx, this.drag.at[1] + dy];
    }
    this.render();
  }

  // A rectangle stays one.
  moveCorner([x, y]) {
    const room = this.plan.model.site.rooms[this.drag.room];
    const box = rectangle(room.outline_m);
    const [ox, oy] = room.outline_m[this.drag.corner];
    if (!box) {
      room.outline_m[this.drag.corner] = [x, y];
    } else if (room.outline_m.some(([px]) => px !== ox && Math.abs(px - x) >= ROOM_LEAST_M) &&
               room.outline_m.some(([, py]) => py !== oy && Math.abs(py - y) >= ROOM_LEAST_M)) {
      room.outline_m = room.outline_m.map(([px, py]) => [px === ox ? tidy(x) : px, py === oy ? tidy(y) : py]);
    }
  }

  onUp() {
    const { drag, plan } = this;
    this.drag = null;
    if (!drag) return;
    if (drag.from) {
      if (drag.ghost && drag.ghost.w >= ROOM_LEAST_M && drag.ghost.d >= ROOM_LEAST_M) {
        plan.added("rooms", plan.model.addRoom(plan.floor, drag.ghost));
      } else {
        plan.render();
      }
    } else {
      plan.model.end();
    }
  }

  onCancel() {
    if (this.drag && !this.drag.from) this.plan.model.end();
    this.drag = null;
    this.plan.render();
  }

  onKey(event) {
    const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    const { selected, model } = this.plan;
    if (!selected || event.ctrlKey || event.metaKey) return;
    if (moves[event.key]) {
      event.preventDefault();
      const [dx, dy] = moves[event.key].map((one) => one * 0.25);
      model.change(() => model.shift(selected.list, selected.index, dx, dy));
    } else if (event.key === "Delete" || event.key === "Backspace") {
      event.preventDefault();
      this.plan.remove();
    }
  }
}
