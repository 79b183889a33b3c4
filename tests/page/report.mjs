// Looks at a report as a reader's browser shows it: node report.mjs REPORT.html CAPTIONS.vtt OUT-FOLDER
// Prints one JSON object; judges nothing. The page is served from memory: nothing leaves the machine.
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { chromium } from "playwright-core";

const [report, captions, out] = process.argv.slice(2);
const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core"), "utf8");
const files = {
  "/report.html": ["text/html; charset=utf-8", readFileSync(report)],
  "/captions.vtt": ["text/vtt", readFileSync(captions)],
  "/player.html": ["text/html; charset=utf-8",
    '<!DOCTYPE html><html lang="en"><title>t</title><video><track default kind="captions" srclang="en" src="captions.vtt"></video></html>'],
};

const browser = await chromium.launch({
  executablePath: process.env.ROOMWAKE_CHROMIUM || "/usr/bin/chromium", args: ["--no-sandbox"] });
const context = await browser.newContext({ bypassCSP: true, viewport: { width: 1000, height: 800 } });
const requests = [], dialogs = [], errors = [];
await context.route("**/*", (route) => {
  const url = new URL(route.request().url());
  requests.push(url.pathname);
  const file = url.hostname === "report.test" && files[url.pathname];
  return file ? route.fulfill({ contentType: file[0], body: file[1] }) : route.abort();
});
const page = await context.newPage();
page.on("dialog", (dialog) => { dialogs.push(dialog.message()); return dialog.dismiss(); });
page.on("pageerror", (error) => errors.push(String(error)));

async function look(width) {
  await page.setViewportSize({ width, height: 800 });
  await page.goto("http://report.test/report.html");
  return page.evaluate(() => ({
    wider: document.documentElement.scrollWidth > document.documentElement.clientWidth,
    // Text that runs out of its figure.
    spilled: [...document.querySelectorAll("svg text")].filter((text) => {
      const box = text.getBoundingClientRect(), figure = text.ownerSVGElement.getBoundingClientRect();
      return box.left < figure.left - 2 || box.right > figure.right + 2 || box.bottom > figure.bottom + 2;
    }).map((text) => text.textContent).slice(0, 5),
  }));
}

const narrow = await look(380);
const wide = await look(1000);
const loaded = [...requests];
const found = await page.evaluate(() => ({
  title: document.title,
  lang: document.documentElement.lang,
  hacked: window.hacked ?? null,
  scripts: document.scripts.length,
  handlers: [...document.querySelectorAll("*")].filter((element) =>
    [...element.attributes].some((one) => one.name.startsWith("on") ||
      /^\s*javascript:/i.test(one.value))).length,
  headings: [...document.querySelectorAll("h2")].map((one) => one.textContent),
  findings: document.querySelectorAll("h3[id^=f]").length,
  figures: document.querySelectorAll("svg").length,
  text: document.body.innerText,
}));
await page.evaluate(axe);
const violations = await page.evaluate(async () =>
  (await window.axe.run()).violations.map((one) => [one.id, one.nodes.slice(0, 3).map((n) => n.html)]));
for (const format of ["A4", "Letter"]) {
  await page.pdf({ path: `${out}/${format}.pdf`, format, preferCSSPageSize: false });
}

await page.goto("http://report.test/player.html");
const cues = await page.evaluate(() => new Promise((resolve, reject) => {
  const element = document.querySelector("track");
  const done = () => resolve([...element.track.cues].map((cue) =>
    [cue.id, cue.startTime, cue.endTime, cue.getCueAsHTML().textContent]));
  element.addEventListener("load", done);
  element.addEventListener("error", () => reject(new Error("the track was refused")));
  element.track.mode = "showing";
  if (element.readyState === 2) done();
}));
await browser.close();
console.log(JSON.stringify({ narrow, wide, loaded, ...found, dialogs, errors, violations, cues }));
