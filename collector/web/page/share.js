// Taking the night away: each export and the report, by a button.
// Must never offer what the base station can't write. A view of main.js.

import { make } from "./dom.js";
import { store } from "./store.js";

const WORDS = {
  json: ["The findings", "JSON", "json"],
  csv: ["Every sample, as a table", "CSV, which can be imported again", "csv"],
  senml: ["Every sample, as SenML", "RFC 8428", "senml.json"],
  webvtt: ["Findings and marks as captions", "WebVTT, for a player", "vtt"],
  mseed: ["Every sample, as miniSEED", "for seismology's tools", "mseed"],
  report: ["The report", "one page with figures, for others to check", "html"],
};

export function viewShare(view) {
  const list = make("ul", { class: "takes" });
  for (const format of store.self.formats) {
    const [what, how, ending] = WORDS[format] || [format, "", format];
    list.append(make("li", {}, make("a", {
      class: "as-button", href: `/api/export?format=${format}`, download: `${store.night.id}.${ending}`,
    }, what), ` ${how}`));
  }
  view.append(make("section", {}, make("h2", {}, "Take the night away"), list,
    store.self.live ? make("p", {}, "The night still goes on: what you take now has all up to now.") : null,
    make("p", { class: "faint" }, "The night file itself is on the base station; whoever gets it can prove it unaltered with its seal (roomwake verify).")));
}
