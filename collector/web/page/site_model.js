// The site file while it is drawn: every change can be undone.
// Must never drop a field that it does not know. Used by plan.js and its parts.

const STEP_M = 0.25;
const WALL_M = 0.5;
const UNDO_MOST = 500;

const EMPTY = { site: "house", title: "A house", mains_hz: 50, rooms: [], doors: [], nodes: [] };

export function snap(m) {
  return Math.round(m / STEP_M) * STEP_M;
}

export function tidy(m) {
  return Math.round(m * 1000) / 1000;
}

// {x, y, w, d} of an outline that is a rectangle along the grid, else null.
export function rectangle(outline) {
  if (outline.length !== 4) return null;
  const xs = [...new Set(outline.map((point) => point[0]))].sort((a, b) => a - b);
  const ys = [...new Set(outline.map((point) => point[1]))].sort((a, b) => a - b);
  if (xs.length !== 2 || ys.length !== 2) return null;
  return { x: xs[0], y: ys[0], w: tidy(xs[1] - xs[0]), d: tidy(ys[1] - ys[0]) };
}

export function outlineOf({ x, y, w, d }) {
  const [right, bottom] = [tidy(x + w), tidy(y + d)];
  return [[x, y], [right, y], [right, bottom], [x, bottom]];
}

export function holds(outline, [x, y]) {
  let inside = false;
  outline.forEach(([ax, ay], i) => {
    const [bx, by] = outline[(i + 1) % outline.length];
    if (ay > y !== by > y && x < ((bx - ax) * (y - ay)) / (by - ay) + ax) inside = !inside;
  });
  return inside;
}

// The nearest point of an outline, and how far it is.
export function nearest(outline, [x, y]) {
  let best = { far: Infinity, point: outline[0] };
  outline.forEach(([ax, ay], i) => {
    const [bx, by] = outline[(i + 1) % outline.length];
    const size = (bx - ax) ** 2 + (by - ay) ** 2 || 1;
    const part = Math.min(1, Math.max(0, ((x - ax) * (bx - ax) + (y - ay) * (by - ay)) / size));
    const point = [ax + part * (bx - ax), ay + part * (by - ay)];
    const far = Math.hypot(point[0] - x, point[1] - y);
    if (far < best.far) best = { far, point: point.map(tidy) };
  });
  return best;
}

export class SiteModel {
  constructor(site, changed) {
    this.site = site || structuredClone(EMPTY);
    for (const list of ["rooms", "doors", "nodes"]) this.site[list] = this.site[list] || [];
    for (const room of this.site.rooms) {
      room.floor = room.floor || 0;
      room.title = room.title || room.id;
    }
    this.changed = changed;
    this.past = [];
    this.future = [];
    this.kept = this.text();
  }

  text() {
    return JSON.stringify(this.site, null, 1);
  }

  isKept() {
    return this.kept === this.text();
  }

  // One step that can be undone.
  change(how) {
    this.begin();
    how(this.site);
    this.end();
  }

  begin() {
    this.before = this.text();
  }

  end() {
    if (this.before !== this.text()) {
      this.past.push(this.before);
      if (this.past.length > UNDO_MOST) this.past.shift();
      this.future = [];
    }
    this.changed();
  }

  step(from, to) {
    if (!from.length) return;
    to.push(this.text());
    this.site = JSON.parse(from.pop());
    this.changed();
  }

  undo() {
    this.step(this.past, this.future);
  }

  redo() {
    this.step(this.future, this.past);
  }

  freeId(list, stem) {
    const taken = new Set(this.site[list].map((one) => one.id));
    let number = 1;
    while (taken.has(`${stem}${number}`)) number += 1;
    return `${stem}${number}`;
  }

  roomsOn(floor) {
    return this.site.rooms.filter((room) => room.floor === floor);
  }

  addRoom(floor, box) {
    const id = this.freeId("rooms", "room-");
    this.change((site) => site.rooms.push({ id, title: `Room ${id.slice(5)}`, floor, outline_m: outlineOf(box) }));
    return this.site.rooms.length - 1;
  }

  // -1 where no room is there.
  addNode(floor, point) {
    const room = this.roomsOn(floor).find((one) => holds(one.outline_m, point));
    if (!room) return -1;
    const id = this.freeId("nodes", "n");
    const channels = ["x", "y", "z"].map((axis) => ({ name: `magnetic.${axis}`, unit: "T", rate_hz: 50 }));
    this.change((site) => site.nodes.push({ id, room: room.id, position_m: [tidy(point[0]), tidy(point[1]), 1], control: false, channels }));
    return this.site.nodes.length - 1;
  }

  // A door in the wall of two rooms, or a stair between floors; -1 where nothing meets there.
  addDoor(floor, point) {
    const near = this.roomsOn(floor).map((room) => ({ room, ...nearest(room.outline_m, point) }))
      .filter((one) => one.far <= WALL_M).sort((a, b) => a.far - b.far);
    if (near.length >= 2) {
      return this.putDoor(near[0].room, near[1].room, near[0].point);
    }
    const here = this.roomsOn(floor).find((room) => holds(room.outline_m, point));
    const other = this.site.rooms.find((room) => Math.abs(room.floor - floor) === 1 && holds(room.outline_m, point));
    return here && other ? this.putDoor(here, other, point.map(tidy)) : -1;
  }

  putDoor(a, b, point) {
    this.change((site) => site.doors.push({ between: [a.id, b.id], at_m: point }));
    return this.site.doors.length - 1;
  }

  // With a room go its nodes and its doors.
  remove(list, index) {
    this.change((site) => {
      const [gone] = site[list].splice(index, 1);
      if (list !== "rooms") return;
      site.nodes = site.nodes.filter((node) => node.room !== gone.id);
      site.doors = site.doors.filter((door) => !door.between.includes(gone.id));
    });
  }

  renameRoom(index, id) {
    this.change((site) => {
      const before = site.rooms[index].id;
      site.rooms[index].id = id;
      for (const node of site.nodes) if (node.room === before) node.room = id;
      for (const door of site.doors) door.between = door.between.map((one) => (one === before ? id : one));
    });
  }

  // Moves one by (dx, dy); between begin() and end().
  shift(list, index, dx, dy) {
    const one = this.site[list][index];
    const by = ([x, y, ...more]) => [tidy(x + dx), tidy(y + dy), ...more];
    if (list === "rooms") {
      one.outline_m = one.outline_m.map(by);
      for (const node of this.site.nodes) if (node.room === one.id) node.position_m = by(node.position_m);
    } else if (list === "doors") {
      one.at_m = by(one.at_m);
    } else {
      one.position_m = by(one.position_m);
      this.rehouse(one);
    }
  }

  // A node that was moved into another room of its floor belongs there.
  rehouse(node) {
    const floor = this.floorOf(node.room);
    const now = this.roomsOn(floor).find((room) => holds(room.outline_m, node.position_m));
    if (now) node.room = now.id;
  }

  floorOf(room) {
    return this.site.rooms.find((one) => one.id === room)?.floor ?? 0;
  }
}
