// A mark in one touch: who, where, what.
// Must never say "noted" before the base station has it. A view of main.js.

import { change } from "./api.js";
import { button, field, make, recall, remember } from "./dom.js";
import { loadEvents, listen, store } from "./store.js";
import { clock, length } from "./words.js";

const WHAT = ["I walked through", "I opened or shut a door", "I used a phone or radio", "I switched a light",
  "I touched a node", "I spoke", "I moved something"];
const UNDO_MS = 6000;
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

function markItem([id, start, end, room, who, text]) {
  const where = room ? store.night.roomById.get(room)?.title || room : "whole house";
  return make("li", {}, make("span", { class: "when" }, clock(store.night.base, start)),
    ` ${text} (${where}${who ? `, ${who}` : ""}; ${length(end - start)}; mark ${id})`);
}

async function showMarks(list) {
  await loadEvents();
  list.replaceChildren(...store.events.marks.slice().reverse().map(markItem));
  if (!store.events.marks.length) list.append(make("li", { class: "faint" }, "No mark yet."));
}

// The mark goes when the touch could no longer be taken back; its time is that of the touch.
function hold(said, text, send) {
  const touched = Date.now();
  let timer = 0;
  const finish = () => {
    clearTimeout(timer);
    removeEventListener("pagehide", finish);
    send((Date.now() - touched) / 1000);
  };
  const undo = button("Undo", () => {
    clearTimeout(timer);
    removeEventListener("pagehide", finish);
    said.replaceChildren("Taken back: nothing was marked.");
  });
  timer = setTimeout(finish, UNDO_MS);
  addEventListener("pagehide", finish);
  said.replaceChildren(`${text}: will be marked as of now. `, undo, " ", button("Mark at once", finish));
  undo.focus({ preventScroll: true });
}

export function viewMarks(view) {
  const form = { room: recall("mark-room", ""), seconds: 60 };
  const who = make("input", { maxlength: "32", pattern: "[a-z0-9\\-]*", value: recall("mark-who", ""),
    autocapitalize: "none", onchange: () => remember("mark-who", who.value) });
  const own = make("input", { maxlength: "400" });
  const seconds = make("input", { type: "number", min: "0", max: "86400", value: "60" });
  const said = make("p", { role: "status", class: "said" });
  const list = make("ol", { class: "marks" });
  const again = () => showMarks(list).catch(() => undefined);
  const mark = (text) => {
    const asked = { text, room: form.room, who: who.value, for_s: Number(seconds.value) || 0 };
    hold(said, text, async (ago) => {
      try {
        const { id } = await change("/api/mark", { ...asked, ago_s: ago });
        said.replaceChildren(`Noted as mark ${id}: ${text}.`);
        setTimeout(again, DISK_MS);
      } catch (refused) {
        said.replaceChildren(`NOT noted: ${refused.message}. `, button("Try again", () => mark(text)));
      }
    });
  };
  view.append(make("section", {}, make("h2", {}, "Mark what we did"),
    make("p", {}, "What a mark covers is never an alert. One touch on what you did is enough."),
    rooms(form),
    make("div", { class: "whats" }, ...WHAT.map((text) => button(text, () => mark(text), { class: "big" }))),
    said,
    make("form", { class: "row", onsubmit: (event) => { event.preventDefault(); if (own.value) mark(own.value); own.value = ""; } },
      field("In other words", own), make("button", { type: "submit" }, "Mark this")),
    make("div", { class: "row" }, field("Who (a short name)", who, "Small letters, digits and dashes."),
      field("How many seconds from now it lasts", seconds))),
  make("section", {}, make("h2", {}, "Marks so far"), list));
  again();
  return listen("line", (line) => (line?.head === "mark" ? setTimeout(again, DISK_MS) : null));
}
