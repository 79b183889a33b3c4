// Taking the night away: each export, the report and all of it in one file, by a button.
// Must never offer what the base station can't write, nor fail without saying why. A view of main.js.

import { ask } from "./api.js";
import { make } from "./dom.js";
import { store } from "./store.js";

const WORDS = {
  bundle: ["Everything in one file", "the report, the night itself, its samples and findings in each format, with check sums", "tar"],
  report: ["The report", "one page with figures, for others to check", "html"],
  json: ["The findings", "JSON", "json"],
  csv: ["Every sample, as a table", "CSV, which can be imported again", "csv"],
  seconds: ["Every second, as a table", "CSV with the least, the mean and the greatest, for a spreadsheet", "seconds.csv"],
  senml: ["Every sample, as SenML", "RFC 8428", "senml.json"],
  webvtt: ["Findings and marks as captions", "WebVTT, for a player", "vtt"],
  mseed: ["Every sample, as miniSEED", "for seismology's tools", "mseed"],
};

// What is written is asked for first: a browser that keeps a file shows no words when it fails.
async function take(said, format, what, file) {
  said.textContent = `${what}: asking the base station ...`;
  try {
    await ask(`/api/export?format=${format}&check=1`);
    make("a", { href: `/api/export?format=${format}`, download: file }).click();
    said.textContent = `${what}: it is on its way, as ${file}. Your browser shows how far it is.`;
  } catch (refused) {
    said.textContent = `${what}: it can't be written now. ${refused.message}.`;
  }
}

function formatItem(format, said) {
  const [what, how, ending] = WORDS[format] || [format, "", format];
  const file = `${store.night.id}.${ending}`;
  const link = make("a", { class: "as-button", href: `/api/export?format=${format}`, download: file,
    onclick: (event) => {
      event.preventDefault();
      link.parentElement.append(said);
      take(said, format, what, file);
    } }, what);
  return make("li", {}, link, make("span", {}, how));
}

export function viewShare(view) {
  const said = make("p", { role: "status", class: "wide" }); // it stands under what was touched
  const known = Object.keys(WORDS);
  const formats = [...store.self.formats].sort((a, b) => known.indexOf(a) - known.indexOf(b));
  view.append(make("section", {}, make("h2", {}, "Take the night away"),
    make("ul", { class: "takes" }, ...formats.map((format) => formatItem(format, said))),
    store.self.live ? make("p", {}, "The night still goes on: what you take now has all up to now. All of it in one file can be had when it is over.") : null,
    make("p", { class: "faint" }, "Whoever gets the night file can prove it unaltered with its seal (roomwake verify).")));
}
