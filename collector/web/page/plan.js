// Drawing the house: rooms, doors and nodes, checked as they are drawn, kept as a site file.
// Must never keep a plan that is not valid, nor lose one unasked. A view of main.js.

import { ask, change } from "./api.js";
import { button, field, make, select } from "./dom.js";
import { SiteDrawing } from "./site_draw.js";
import { chosenForm, renewForm, siteForm } from "./site_forms.js";
import { SiteModel } from "./site_model.js";
import { floorName } from "./words.js";

const CHECK_MS = 250;
const TOOLS = [["choose", "Choose and move"], ["room", "Draw a room"], ["door", "Put a door"], ["node", "Put a node"]];
const HINTS = {
  choose: "Touch what you want to change, or drag it.",
  room: "Drag from corner to corner. The grid is one metre; it snaps to a quarter.",
  door: "Touch the wall that two rooms share; for a stair, a place where one room is above another.",
  node: "Touch the place in a room.",
};

function itemName(list, one) {
  if (list === "doors") return `${one.between[0]} to ${one.between[1]}`;
  return list === "rooms" ? one.title : `${one.id} in ${one.room}`;
}

class Plan {
  constructor(view, site) {
    this.floor = 0;
    this.tool = "choose";
    this.selected = null;
    this.fault = null;
    this.model = new SiteModel(site, () => this.onChanged());
    this.drawing = new SiteDrawing(this);
    this.build(view);
    this.onKey = (event) => this.onShortcut(event);
    this.onLeave = (event) => { if (!this.model.isKept()) event.preventDefault(); };
    addEventListener("keydown", this.onKey);
    addEventListener("beforeunload", this.onLeave);
    this.onChanged();
  }

  build(view) {
    this.tools = make("div", { class: "tools", role: "toolbar", "aria-label": "Tools" });
    for (const [tool, text] of TOOLS) {
      this.tools.append(button(text, () => this.setTool(tool), { "data-tool": tool }));
    }
    this.undoing = button("Undo", () => this.model.undo());
    this.redoing = button("Redo", () => this.model.redo());
    this.saving = button("Save", () => this.save(), { class: "main" });
    this.floors = make("div", { class: "floor-choice" });
    this.tools.append(this.undoing, this.redoing, this.saving, this.floors);
    this.hint = make("p", { id: "drawing-hint", class: "faint" });
    this.check = make("p", { role: "status", class: "said" });
    this.lists = make("div", { class: "lists" });
    this.form = make("div", {});
    this.site = make("div", {});
    view.append(make("section", { class: "wide" }, this.tools, this.hint, this.drawing.element, this.check),
      make("section", {}, this.form), make("section", {}, this.lists), make("section", {}, this.site));
    this.setTool("choose");
  }

  setTool(tool) {
    this.tool = tool;
    this.hint.textContent = HINTS[tool];
    for (const one of this.tools.querySelectorAll("[data-tool]")) {
      one.setAttribute("aria-pressed", String(one.dataset.tool === tool));
    }
  }

  select(list, index) {
    this.selected = list ? { list, index } : null;
    this.render();
  }

  added(list, index, otherwise) {
    if (index < 0) {
      this.check.textContent = otherwise;
      return;
    }
    if (list === "rooms") this.setTool("choose");
    this.select(list, index);
  }

  remove() {
    const { list, index } = this.selected;
    this.selected = null;
    this.model.remove(list, index);
  }

  showFloors() {
    const floors = [...new Set([...this.model.site.rooms.map((room) => room.floor), this.floor, 0])].sort((a, b) => b - a);
    const list = [...floors.map((floor) => [String(floor), floorName(floor)]),
      [String(Math.max(...floors) + 1), "Another floor above"], [String(Math.min(...floors) - 1), "Another floor below"]];
    renewForm(this.floors, field("Floor", select(list, String(this.floor), (value) => {
      this.floor = Number(value);
      this.render();
    })));
  }

  showLists() {
    const part = (title, list, add) => make("div", {}, make("h2", {}, title),
      make("ul", { class: "items" }, ...this.model.site[list].map((one, i) => make("li", {},
        button(itemName(list, one), () => this.choose(list, i), { "aria-pressed": String(this.selected?.list === list && this.selected.index === i) })))),
      add);
    const focused = this.lists.contains(document.activeElement) ? document.activeElement.textContent : null;
    this.lists.replaceChildren(
      part("Rooms", "rooms", button("Add a room of 4 by 3 m", () => this.addRoom())),
      part("Doors", "doors", button("Add a door between two rooms", () => this.addDoor())),
      part("Nodes", "nodes", button("Add a node to the chosen room", () => this.addNode())));
    if (focused !== null) [...this.lists.querySelectorAll("button")].find((one) => one.textContent === focused)?.focus();
  }

  choose(list, index) {
    const one = this.model.site[list][index];
    const room = list === "rooms" ? one.id : list === "doors" ? one.between[0] : one.room;
    this.floor = this.model.floorOf(room);
    this.select(list, index);
  }

  // Beside what is there, so that it touches.
  addRoom() {
    const here = this.model.roomsOn(this.floor).flatMap((room) => room.outline_m.map(([x]) => x));
    this.added("rooms", this.model.addRoom(this.floor, { x: Math.max(0, ...here), y: 0, w: 4, d: 3 }));
  }

  addDoor() {
    const [a, b] = this.model.site.rooms;
    if (!b) {
      this.check.textContent = "A door needs two rooms.";
      return;
    }
    this.added("doors", this.model.putDoor(a, b, [...b.outline_m[0]]));
  }

  addNode() {
    const rooms = this.model.site.rooms;
    const room = this.selected?.list === "rooms" ? rooms[this.selected.index] : rooms[0];
    if (!room) {
      this.check.textContent = "A node needs a room.";
      return;
    }
    const middle = [0, 1].map((axis) => room.outline_m.reduce((sum, point) => sum + point[axis], 0) / room.outline_m.length);
    this.added("nodes", this.model.addNode(room.floor, middle), "The middle of that room is outside of it: put the node by hand.");
  }

  onChanged() {
    if (this.selected && !this.model.site[this.selected.list][this.selected.index]) this.selected = null;
    this.render();
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.look(), CHECK_MS);
  }

  render() {
    this.showFloors();
    this.drawing.render();
    this.showLists();
    this.showForm();
    renewForm(this.site, siteForm(this.model));
    this.undoing.disabled = !this.model.past.length;
    this.redoing.disabled = !this.model.future.length;
  }

  // What the base station finds wrong, where it is.
  takeFault(words) {
    const place = /(rooms|doors|nodes)\[(\d+)\]/.exec(words);
    this.fault = place ? { list: place[1], index: Number(place[2]), words } : { list: null, words };
    const show = place ? button("Show it", () => this.choose(place[1], Number(place[2]))) : null;
    this.check.replaceChildren("To be put right: ", words, ". ", ...(show ? [show] : []));
  }

  async look() {
    const text = this.model.text();
    const before = JSON.stringify(this.fault);
    try {
      const { good, error } = await change("/api/check", text);
      if (good) {
        this.fault = null;
        this.check.textContent = this.model.isKept() ? "Saved." : "The plan is sound; it is not saved yet.";
      } else {
        this.takeFault(error);
      }
    } catch (refused) {
      this.takeFault(refused.message);
    }
    this.drawing.render();
    if (JSON.stringify(this.fault) !== before) this.showForm();
  }

  showForm() {
    renewForm(this.form, chosenForm(this));
  }

  async save() {
    const text = this.model.text();
    try {
      await change("/api/plan", text);
      this.model.kept = text;
      this.fault = null;
      this.check.textContent = "Saved.";
    } catch (refused) {
      this.takeFault(refused.message);
      this.check.prepend("NOT saved. ");
    }
    this.render();
  }

  onShortcut(event) {
    if (!(event.ctrlKey || event.metaKey) || event.target.matches("input, textarea")) return;
    const key = event.key.toLowerCase();
    if (key === "z" || key === "y") {
      event.preventDefault();
      if (key === "y" || event.shiftKey) this.model.redo();
      else this.model.undo();
    }
  }

  leave() {
    clearTimeout(this.timer);
    removeEventListener("keydown", this.onKey);
    removeEventListener("beforeunload", this.onLeave);
  }
}

export function viewPlan(view) {
  let plan = null;
  ask("/api/plan").then((site) => {
    plan = new Plan(view, site);
  }).catch((refused) => view.append(make("p", { class: "trouble" }, `The site file can't be read: ${refused.message}.`)));
  return () => plan?.leave();
}
