// What is chosen in the plan, as fields to type into: measures, names, channels.
// Must never take a number that is none. Used by plan.js.

import { button, field, make, select } from "./dom.js";
import { outlineOf, rectangle, tidy } from "./site_model.js";

const PRESETS = [
  ["Magnetic field, three axes", ["magnetic.x", "magnetic.y", "magnetic.z"], "T", 50],
  ["Electric field, a bare antenna", ["electric"], "count", 50],
  ["Temperature", ["temperature"], "Cel", 1],
  ["Motion (told when it changes)", ["motion"], "/", 0],
];

function number(label, value, take, more) {
  const input = make("input", { type: "number", step: "any", value: String(value), ...more,
    onchange: () => { if (input.value !== "" && Number.isFinite(Number(input.value))) take(Number(input.value)); } });
  return field(label, input);
}

function text(label, value, take, more) {
  const input = make("input", { value, maxlength: "100", ...more, onchange: () => take(input.value.trim()) });
  return field(label, input);
}

const ID = { pattern: "[a-z0-9\\-]{1,32}", autocapitalize: "none", spellcheck: "false" };

// What a field changes is looked up when it is typed: the site may be another one by then (undo).
function rectangleFields(model, room, box) {
  const set = (name) => (m) => model.change(() => {
    room().outline_m = outlineOf({ ...rectangle(room().outline_m), [name]: tidy(m) });
  });
  return [number("Left, m", box.x, set("x")), number("Top, m", box.y, set("y")),
    number("Width, m", box.w, set("w"), { min: "0.1" }), number("Depth, m", box.d, set("d"), { min: "0.1" })];
}

function cornerFields(model, room) {
  const set = (i, axis) => (m) => model.change(() => { room().outline_m[i][axis] = tidy(m); });
  return room().outline_m.flatMap(([x, y], i) => [
    number(`Corner ${i + 1} x, m`, x, set(i, 0)), number(`Corner ${i + 1} y, m`, y, set(i, 1))]);
}

// Halves the longest wall.
function addCorner(model, room) {
  const outline = room().outline_m;
  const lengths = outline.map(([x, y], i) => {
    const [bx, by] = outline[(i + 1) % outline.length];
    return Math.hypot(bx - x, by - y);
  });
  const i = lengths.indexOf(Math.max(...lengths));
  const [a, b] = [outline[i], outline[(i + 1) % outline.length]];
  model.change(() => outline.splice(i + 1, 0, [tidy((a[0] + b[0]) / 2), tidy((a[1] + b[1]) / 2)]));
}

function roomForm(model, index) {
  const room = () => model.site.rooms[index];
  const { title, id, floor, outline_m: outline } = room();
  const box = rectangle(outline);
  return [text("Name", title, (value) => model.change(() => { room().title = value || room().id; })),
    text("Id", id, (value) => model.renameRoom(index, value), ID),
    number("On floor", floor, (value) => model.change(() => { room().floor = Math.round(value); }), { step: "1" }),
    ...(box ? rectangleFields(model, room, box) : cornerFields(model, room)),
    button("Add a corner", () => addCorner(model, room)),
    box || outline.length < 4 ? null : button("Take the last corner away", () => model.change(() => room().outline_m.pop()))];
}

function doorForm(model, index) {
  const door = () => model.site.doors[index];
  const rooms = model.site.rooms.map((room) => [room.id, room.title]);
  const side = (i) => select(rooms, door().between[i], (id) => model.change(() => { door().between[i] = id; }));
  const move = (axis) => (m) => model.change(() => { door().at_m[axis] = tidy(m); });
  return [field("From", side(0)), field("To", side(1)),
    number("x, m", door().at_m[0], move(0)), number("y, m", door().at_m[1], move(1))];
}

function channelFields(model, node) {
  return PRESETS.flatMap(([label, names, unit, rateHz]) => {
    const { channels } = node();
    const has = names.every((name) => channels.some((one) => one.name === name));
    const rate = channels.find((one) => one.name === names[0])?.rate_hz ?? rateHz;
    const box = make("input", { type: "checkbox", onchange: () => model.change(() => {
      node().channels = node().channels.filter((one) => !names.includes(one.name));
      if (box.checked) node().channels.push(...names.map((name) => ({ name, unit, rate_hz: rateHz })));
    }) });
    box.checked = has;
    const rates = has && rateHz > 0 ? number(`${label}: samples a second`, rate, (hz) => model.change(() => {
      for (const one of node().channels) if (names.includes(one.name)) one.rate_hz = hz;
    }), { min: "0.001" }) : null;
    return [make("label", { class: "check" }, box, label), rates];
  });
}

function nodeForm(model, index) {
  const node = () => model.site.nodes[index];
  const control = make("input", { type: "checkbox", onchange: () => model.change(() => { node().control = control.checked; }) });
  control.checked = Boolean(node().control);
  const move = (axis) => (m) => model.change(() => {
    node().position_m[axis] = tidy(m);
    model.rehouse(node());
  });
  const [x, y, z] = node().position_m;
  return [text("Id", node().id, (id) => model.change(() => { node().id = id; }), ID),
    number("x, m", x, move(0)), number("y, m", y, move(1)), number("Height above the floor, m", z, move(2)),
    make("label", { class: "check" }, control, "It is the control, in a shut room"),
    ...channelFields(model, node)];
}

const FORMS = { rooms: roomForm, doors: doorForm, nodes: nodeForm };
const NAMES = { rooms: "Room", doors: "Door", nodes: "Node" };

export function chosenForm(plan) {
  const { selected, model, fault } = plan;
  if (!selected || !model.site[selected.list][selected.index]) {
    return make("p", { class: "faint" }, "Nothing is chosen.");
  }
  const here = fault?.list === selected.list && fault.index === selected.index;
  return make("form", { class: "fields", onsubmit: (event) => event.preventDefault() },
    make("h2", {}, NAMES[selected.list]), here ? make("p", { class: "trouble" }, fault.words) : null,
    ...FORMS[selected.list](model, selected.index).filter(Boolean),
    button(`Remove this ${NAMES[selected.list].toLowerCase()}`, () => plan.remove()));
}

export function siteForm(model) {
  const { site } = model;
  const set = (name) => (value) => model.change((now) => { now[name] = value; });
  return make("form", { class: "fields", onsubmit: (event) => event.preventDefault() },
    make("h2", {}, "The house"), text("Title", site.title || "", set("title")), text("Site id", site.site, set("site"), ID),
    field("Mains frequency", select([["50", "50 Hz"], ["60", "60 Hz"]], String(site.mains_hz || 50),
      (value) => set("mains_hz")(Number(value)))),
    number("Quiet spell at the start, seconds", site.baseline_s ?? 600, set("baseline_s"), { min: "1" }));
}

function fields(form) {
  return [...form.querySelectorAll("input, select")];
}

function shapeOf(form) {
  return form.textContent + fields(form).map((input) => input.id).join();
}

// Puts a form in the place of the one before. Where both have the same fields only their values
// change, so that what somebody types into is never taken away.
export function renewForm(into, form) {
  const old = into.firstElementChild;
  if (!old || old.tagName !== form.tagName || shapeOf(old) !== shapeOf(form)) {
    into.replaceChildren(form);
    return;
  }
  const renewed = fields(form);
  fields(old).forEach((input, i) => {
    if (input === document.activeElement && input.type !== "checkbox") return;
    input.value = renewed[i].value;
    input.checked = renewed[i].checked;
  });
}
