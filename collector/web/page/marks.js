// A mark in one touch: who, where, what; ended, corrected and taken back the same way.
// Must never say "noted" before the base station has it. A view of main.js.

import { change } from "./api.js";
import { button, field, make, recall, remember } from "./dom.js";
import { loadEvents, listen, store } from "./store.js";
import { clock, lasting } from "./words.js";

const WHAT = ["I walked through", "I opened or shut a door", "I used a phone or radio", "I switched a light",
  "I touched a node", "I spoke", "I moved something"];
const DISK_MS = 1500; // until a mark can be read back

function rooms(form) {
  const list = make("fieldset", { class: "choices" }, make("legend", {}, "Where"));
  for (const [id, title] of [["", "Whole house"], ...store.night.rooms.map((room) => [room.id, room.title])]) {
    const input = make("input", { type: "radio", name: "room", value: id, id: `room-${id}`,
      onchange: () => { form.room = id; remember("mark-room", id); } });
    input.checked = id === form.room;
    list.append(input, make("label", { for: `room-${id}` }, title));
  }
  return list;
}

// A mark with what can be done about it; `act` has correct(id, text), end(id) and withdraw(id).
function markItem([id, start, end, room, who, text], act) {
  const where = room ? store.night.roomById.get(room)?.title || room : "whole house";
  const what = (word, done) => button(word, done, { "aria-label": `${word}: mark ${id}, ${text}` });
  return make("li", {}, make("span", { class: "when" }, clock(store.night.base, start)),
    ` ${text} (${where}${who ? `, ${who}` : ""}; ${lasting(start, end)}; mark ${id})`,
    make("div", { class: "row" }, end === Infinity ? what("It is over", () => act.end(id)) : null,
      what("Correct", () => act.correct(id, text)), what("Withdraw", () => act.withdraw(id))));
}

async function showMarks(list, act) {
  await loadEvents();
  list.replaceChildren(...store.events.marks.slice().reverse().map((mark) => markItem(mark, act)));
  if (!store.events.marks.length) list.append(make("li", { class: "faint" }, "No mark yet."));
}

class Marks {
  constructor(view) {
    this.form = { room: recall("mark-room", "") };
    this.correcting = 0; // the mark that the next touch corrects
    this.who = make("input", { maxlength: "32", pattern: "[a-z0-9\\-]*", value: recall("mark-who", ""),
      autocapitalize: "none", onchange: () => remember("mark-who", this.who.value) });
    this.own = make("input", { maxlength: "400" });
    this.seconds = make("input", { type: "number", min: "0", max: "86400", value: "60" });
    this.running = make("input", { type: "checkbox" });
    this.said = make("p", { role: "status", class: "said" });
    this.list = make("ol", { class: "marks" });
    this.build(view);
    this.again();
  }

  build(view) {
    const own = (event) => {
      event.preventDefault();
      if (this.own.value) this.mark(this.own.value);
      this.own.value = "";
    };
    view.append(make("section", {}, make("h2", {}, "Mark what we did"),
      make("p", {}, "What a mark covers is never an alert. One touch on what you did is enough."),
      rooms(this.form),
      make("div", { class: "whats" }, ...WHAT.map((text) => button(text, () => this.mark(text), { class: "big" }))),
      this.said,
      make("form", { class: "row", onsubmit: own }, field("In other words", this.own), make("button", { type: "submit" }, "Mark this")),
      make("div", { class: "row" }, field("Who (a short name)", this.who, "Small letters, digits and dashes."),
        field("How many seconds from now it lasts", this.seconds),
        make("label", { class: "check" }, this.running, "It goes on until I say so"))),
    make("section", {}, make("h2", {}, "Marks so far"), this.list));
  }

  again() {
    showMarks(this.list, {
      correct: (id, text) => this.correct(id, text),
      end: (id) => this.send({ end: id }, () => [`Mark ${id} is over.`]),
      withdraw: (id) => this.withdraw(id),
    }).catch(() => undefined);
  }

  // Says what became of it, and how to try again where it did not.
  async send(asked, words) {
    this.said.replaceChildren("Telling the base station ...");
    try {
      const { id } = await change("/api/mark", asked);
      this.said.replaceChildren(...words(id));
      setTimeout(() => this.again(), DISK_MS);
    } catch (refused) {
      this.said.replaceChildren(`NOT noted: ${refused.message}. `, button("Try again", () => this.send(asked, words)));
    }
  }

  mark(text) {
    const asked = { text, room: this.form.room, who: this.who.value };
    if (this.correcting) {
      asked.correct = this.correcting;
      this.correcting = 0;
      this.send(asked, (id) => [`Mark ${id} is corrected: ${text}. What it was before stays in the night too.`]);
      return;
    }
    if (this.running.checked) asked.running = true;
    else asked.for_s = Number(this.seconds.value) || 0;
    this.running.checked = false;
    this.send(asked, (id) => [`Noted as mark ${id}: ${text}. `, button("Undo", () => this.withdraw(id))]);
  }

  withdraw(id) {
    this.send({ withdraw: id }, () => [`Taken back: mark ${id} stays in the night, but covers nothing.`]);
  }

  correct(id, text) {
    this.correcting = id;
    this.own.value = text;
    this.said.replaceChildren(`Correcting mark ${id}: choose where, then touch what it was, or put it in other words. `,
      button("Leave it as it is", () => { this.correcting = 0; this.own.value = ""; this.said.replaceChildren(); }));
    this.said.scrollIntoView({ block: "center" });
  }
}

export function viewMarks(view) {
  const marks = new Marks(view);
  return listen("line", (line) => (line?.head === "mark" ? setTimeout(() => marks.again(), DISK_MS) : null));
}
