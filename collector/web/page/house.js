// The floor plan as it is drawn: a figure a floor, with rooms, doors and nodes.
// Must never tell a state by colour alone: each has a shape and words. Used by now, finding, plan.

import { draw, make } from "./dom.js";
import { floorName } from "./words.js";

const EDGE_M = 0.6;
const NAME_BELOW_M = 0.8; // a node's name under its shape and the ring round it
const NAME_ABOVE_M = 0.85; // clear of its turn, too
const DOOR_M = 0.22;
const WALL_M = 0.12; // a name's letters don't touch it
const LETTER_WIDE = 0.6; // of its height
const narrow = matchMedia("(max-width: 40rem)");
const CLEAR_M = 0.15;

export function floorsOf(site) {
  return [...new Set(site.rooms.map((room) => room.floor))].sort((a, b) => b - a);
}

export function bounds(rooms) {
  const points = rooms.flatMap((room) => room.outline_m);
  const xs = points.map((point) => point[0]);
  const ys = points.map((point) => point[1]);
  const left = Math.min(...xs) - EDGE_M;
  const top = Math.min(...ys) - EDGE_M;
  return { left, top, width: Math.max(...xs) + EDGE_M - left, height: Math.max(...ys) + EDGE_M - top };
}

// The middle of a room's outline, where its name goes.
export function middle(outline) {
  let area = 0;
  let x = 0;
  let y = 0;
  outline.forEach(([ax, ay], i) => {
    const [bx, by] = outline[(i + 1) % outline.length];
    const cross = ax * by - bx * ay;
    area += cross;
    x += (ax + bx) * cross;
    y += (ay + by) * cross;
  });
  if (Math.abs(area) < 1e-9) return outline[0];
  return [x / (3 * area), y / (3 * area)];
}

// The heights of names and of a node with the ring round it, by house.css.
function sizes() {
  return narrow.matches ? { name: 0.72, node: 0.9, nodeName: 0 } : { name: 0.42, node: 1, nodeName: 0.42 };
}

// How far two boxes {x, y (middle), w, h} are apart; below 0 where they overlap.
function apart(a, b) {
  return Math.max(Math.abs(a.x - b.x) - (a.w + b.w) / 2, Math.abs(a.y - b.y) - (a.h + b.h) / 2);
}

// What a name must not be printed over: nodes with their names, and doors.
function takenBy(nodes, doors) {
  const { node: dot, nodeName } = sizes();
  return [...doors.map(({ at_m: [x, y] }) => ({ x, y, w: 2 * DOOR_M, h: 2 * DOOR_M })),
    ...nodes.flatMap((node) => {
      const [x, y] = node.position_m;
      return [{ x, y, w: dot, h: dot },
        { x, y: y + nodeNameBelow(node, doors) - nodeName / 2, w: node.id.length * nodeName * LETTER_WIDE, h: nodeName }];
    })];
}

// How far below a node its name stands; above it where a door is below.
function nodeNameBelow({ id, position_m: [x, y] }, doors) {
  const { nodeName } = sizes();
  const box = { x, y: y + NAME_BELOW_M - nodeName / 2, w: id.length * nodeName * LETTER_WIDE, h: nodeName };
  const over = doors.some(({ at_m: [dx, dy] }) => apart(box, { x: dx, y: dy, w: 2 * DOOR_M, h: 2 * DOOR_M }) < 0);
  return over ? -NAME_ABOVE_M : NAME_BELOW_M;
}

// Where a room's name goes, with `more` metres of words below it: clear of its nodes, their names and
// doors where there is such a place, within its walls, and as near to its middle as may be.
export function namePlace(room, nodes, doors, more = 0) {
  const centre = middle(room.outline_m);
  const { left, top, width, height } = bounds([room]);
  const [x0, x1, y0, y1] = [left + EDGE_M, left + width - EDGE_M, top + EDGE_M, top + height - EDGE_M];
  const { name } = sizes();
  const wide = Math.min(room.title.length * LETTER_WIDE * name, x1 - x0 - 2 * WALL_M);
  const taken = takenBy(nodes.filter((node) => node.room === room.id), doors);
  const free = ([x, y]) => Math.min(CLEAR_M, ...taken.map((other) => apart(other, { x, y: y - name / 2 + more / 2, w: wide, h: name + more })));
  const inside = (x) => Math.min(Math.max(x, x0 + WALL_M + wide / 2), x1 - WALL_M - wide / 2);
  const across = [centre[0], ...[0.3, 0.7, 0, 1].map((part) => left + width * part)].map(inside);
  const along = [centre[1], ...[0.4, 0.6, 0.3, 0.7, 0.2, 0.8, 0.9].map((part) => top + height * part), y1 - more - WALL_M, y0 + name];
  const places = across.flatMap((x) => along.map((y) => [x, y]))
    .filter(([, y]) => y - name >= y0 && y + more < y1);
  return places.reduce((best, place) => (free(place) > free(best) + 0.01 ? place : best), places[0] || centre);
}

// A room's name, no wider than the room.
export function roomName(room, [x, y]) {
  const xs = room.outline_m.map((point) => point[0]);
  const name = draw("text", { class: "room-name", x, y }, room.title);
  const fit = (Math.max(...xs) - Math.min(...xs)) / (LETTER_WIDE * Math.max(room.title.length, 1));
  name.style.setProperty("--fit", `${fit.toFixed(2)}px`);
  return name;
}

export function points(outline) {
  return outline.map((point) => point.join(",")).join(" ");
}

// Well: a filled round. Ill: a round with a cross. Gone or not heard: an open square. The control
// has a second line round it.
function nodeShape(node, doors) {
  const group = draw("g", { class: "node", "data-node": node.id,
    transform: `translate(${node.position_m[0]} ${node.position_m[1]})` });
  group.append(
    draw("circle", { class: "wave", r: 0.25 }),
    draw("circle", { class: "round", r: 0.16 }),
    draw("rect", { class: "open", x: -0.15, y: -0.15, width: 0.3, height: 0.3 }),
    draw("path", { class: "cross", d: "M-.1-.1L.1.1M-.1.1L.1-.1" }));
  if (node.control) group.append(draw("circle", { class: "control", r: 0.26 }));
  group.append(draw("text", { class: "node-name", x: 0, y: nodeNameBelow(node, doors) }, node.id),
    draw("text", { class: "turn", x: 0.28, y: -0.2 }));
  return group;
}

function doorShape(door) {
  return draw("circle", { class: "door", cx: door.at_m[0], cy: door.at_m[1], r: DOOR_M });
}

function drawFloor(site, floor) {
  const rooms = site.rooms.filter((room) => room.floor === floor);
  const { left, top, width, height } = bounds(rooms);
  const here = new Set(rooms.map((room) => room.id));
  const figure = draw("svg", { viewBox: `${left} ${top} ${width} ${height}`, role: "img",
    class: "house", "aria-label": `${floorName(floor)}: ${rooms.map((room) => room.title).join(", ")}` });
  for (const room of rooms) {
    figure.append(draw("polygon", { class: "room", "data-room": room.id, points: points(room.outline_m) }));
  }
  for (const door of site.doors) {
    if (door.between.some((id) => here.has(id))) figure.append(doorShape(door));
  }
  const names = rooms.map((room) => [room, roomName(room, [0, 0])]);
  figure.append(...names.map(([, name]) => name));
  figure.layNames = () => names.forEach(([room, name]) => {
    const [x, y] = namePlace(room, site.nodes, site.doors);
    name.setAttribute("x", x);
    name.setAttribute("y", y);
  });
  figure.layNames();
  for (const node of site.nodes) {
    if (here.has(node.room)) figure.append(nodeShape(node, site.doors));
  }
  const made = make("figure", { class: "floor" }, figure, make("figcaption", {}, floorName(floor)));
  made.style.setProperty("--wide", String(width));
  return made;
}

// A phone that is turned has letters of another size.
narrow.addEventListener("change", () => {
  for (const figure of document.querySelectorAll("svg.house")) figure.layNames();
});

// {element, node(id), room(id)}: what was drawn, to be marked by classes.
export function drawHouse(site) {
  const element = make("div", { class: "floors" });
  const floors = floorsOf(site);
  element.style.setProperty("--widest", String(Math.max(...floors.map((floor) =>
    bounds(site.rooms.filter((room) => room.floor === floor)).width))));
  for (const floor of floors) element.append(drawFloor(site, floor));
  return {
    element,
    node: (id) => element.querySelector(`[data-node="${id}"]`),
    room: (id) => element.querySelector(`[data-room="${id}"]`),
    clear(...names) {
      for (const one of element.querySelectorAll("[data-node], [data-room]")) {
        one.classList.remove(...names);
      }
      for (const turn of element.querySelectorAll(".turn")) turn.textContent = "";
    },
  };
}
