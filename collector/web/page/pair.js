// Pairing this device with the base station by the code that it shows.
// Must never keep the code. A view of main.js.

import { change } from "./api.js";
import { field, make } from "./dom.js";

export function viewPair(view, paired) {
  const code = make("input", { id: "code", autocomplete: "off", autocapitalize: "none",
    spellcheck: "false", maxlength: "12", required: true });
  const said = make("p", { role: "alert" });
  const form = make("form", {
    onsubmit: async (event) => {
      event.preventDefault();
      try {
        await change("/api/pair", { code: code.value });
        paired();
      } catch (refused) {
        said.textContent = `Not paired: ${refused.message}.`;
        code.select();
      }
    },
  }, field("The code that the base station shows", code, "Eight letters and digits; there is one to look and one to mark as well."),
  make("button", { type: "submit" }, "Pair this device"), said);
  view.append(make("section", {}, make("h2", {}, "Pair this device"), form));
  code.focus();
}
