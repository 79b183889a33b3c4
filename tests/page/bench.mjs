// The page's figures: node bench.mjs, over a release build on a quiet machine. By hand, never in CI.
// Must never judge: it prints what was measured. ROOMWAKE_RATE is the made night's samples a second.

import fs from "node:fs";
import path from "node:path";
import zlib from "node:zlib";
import { launch, makeFolder, open, serveMade, shown, startDemo, until } from "./support.mjs";

const PHONES = 10;
const STEPS = 25;
const WATCH_S = 20;
const VIEWS = 9;
const PHONE = { viewport: { width: 390, height: 844 }, deviceScaleFactor: 3, isMobile: true, hasTouch: true };

function part(list, share) {
  const sorted = [...list].sort((a, b) => a - b);
  return sorted[Math.min(sorted.length - 1, Math.floor(sorted.length * share))];
}

function ms(number) {
  return `${Math.round(number)} ms`;
}

// Runs in the page: until what was drawn has had a frame of its own.
function afterFrame(done) {
  requestAnimationFrame(() => requestAnimationFrame(done));
}

// From asking for the page until every lane in sight is drawn.
async function firstView(browser, url, size) {
  const times = [];
  for (let i = 0; i < VIEWS; i += 1) {
    const context = await browser.newContext(size);
    const page = await context.newPage();
    await page.addInitScript(`window.afterFrame = ${afterFrame}`);
    await page.addInitScript(() => {
      new MutationObserver((changes, self) => {
        if (!document.querySelector(".lanes")?.dataset.shown) return;
        self.disconnect();
        window.afterFrame(() => { window.drawnAt = performance.now(); });
      }).observe(document, { attributes: true, subtree: true, attributeFilter: ["data-shown"] });
    });
    await page.goto("about:blank");
    await page.goto(`${url}#night`, { waitUntil: "commit" });
    const time = await page.waitForFunction(() => window.drawnAt);
    times.push(await time.jsonValue());
    await context.close();
  }
  return times;
}

// From a key on the axis until the lanes in sight show what was asked for anew.
async function zoomSteps(browser, url, size) {
  const context = await browser.newContext(size);
  await context.addInitScript(`window.afterFrame = ${afterFrame}`);
  const page = await open(context, `${url}#night`);
  await shown(page);
  const times = [];
  for (let i = 0; i < STEPS; i += 1) {
    times.push(await page.evaluate((key) => new Promise((done) => {
      const lanes = document.querySelector(".lanes");
      const before = performance.now();
      new MutationObserver((changes, self) => {
        self.disconnect();
        window.afterFrame(() => done(performance.now() - before));
      }).observe(lanes, { attributes: true, attributeFilter: ["data-shown"] });
      document.querySelector(".ruler").dispatchEvent(new KeyboardEvent("keydown", { key }));
    }), i < 15 ? "+" : "-"));
    await page.waitForTimeout(150);
  }
  await context.close();
  return times;
}

function cpuSeconds(pid) {
  const fields = fs.readFileSync(`/proc/${pid}/stat`, "utf8").split(") ")[1].split(" ");
  return (Number(fields[11]) + Number(fields[12])) / 100;
}

function stationOf(demo) {
  for (const name of fs.readdirSync("/proc").filter((one) => /^\d+$/.test(one))) {
    try {
      const line = fs.readFileSync(`/proc/${name}/cmdline`, "utf8").split("\0");
      if (line[1] === "record" && line.includes(new URL(demo.url).host)) return name;
    } catch (gone) {
      continue;
    }
  }
  throw new Error("the base station is not there");
}

// Streams read and thrown away, as phones that only watch.
function watchers(url, count) {
  const stops = [];
  for (let i = 0; i < count; i += 1) {
    const stop = new AbortController();
    fetch(`${url}live`, { signal: stop.signal }).then(async (answer) => {
      for await (const bytes of answer.body) void bytes;
    }).catch(() => undefined);
    stops.push(stop);
  }
  return () => stops.forEach((stop) => stop.abort());
}

async function cpuShare(pid) {
  const [cpu, began] = [cpuSeconds(pid), performance.now()];
  await new Promise((go) => setTimeout(go, WATCH_S * 1000));
  return (100 * (cpuSeconds(pid) - cpu)) / ((performance.now() - began) / 1000);
}

// The age of the newest sample when it is drawn.
async function liveAges(browser, url) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 } });
  await context.addInitScript(`window.afterFrame = ${afterFrame}`);
  const page = await open(context, `${url}#night`);
  await shown(page);
  await page.click("text=Follow");
  const ages = await page.evaluate((seconds) => new Promise((done) => {
    const list = [];
    fetch("/api/night").then((answer) => answer.json()).then((night) => {
      const base = Number(BigInt(night.base_ns) / 1000000n);
      new MutationObserver(() => {
        const newest = Number(document.querySelector(".lanes").dataset.newest);
        window.afterFrame(() => list.push(Date.now() - base - newest * 1000));
      }).observe(document.querySelector(".lanes"), { attributes: true, attributeFilter: ["data-newest"] });
      setTimeout(() => done(list), seconds * 1000);
    });
  }), WATCH_S);
  await page.context().close();
  return ages;
}

async function pageBytes(url) {
  let packed = 0;
  for (const name of ["", "page.css", "first.js", "page.js", "worker.js", "plot.js"]) {
    const answer = await fetch(url + name);
    packed += zlib.gzipSync(Buffer.from(await answer.arrayBuffer()), { level: 9 }).length;
  }
  return packed;
}

const folder = makeFolder();
const browser = await launch();
const served = await serveMade(folder, Number(process.env.ROOMWAKE_RATE || 50));
console.log(`the page, compressed: ${((await pageBytes(served.url)) / 1024).toFixed(1)} KiB`);
for (const [name, size] of [["desktop 1280x900", { viewport: { width: 1280, height: 900 } }], ["phone 390x844 at 3x", PHONE]]) {
  const views = await firstView(browser, served.url, size);
  const steps = await zoomSteps(browser, served.url, size);
  console.log(`${name}: first view median ${ms(part(views, 0.5))}, worst ${ms(Math.max(...views))}; zoom step median ${ms(part(steps, 0.5))}, p95 ${ms(part(steps, 0.95))}`);
}
await served.stop();
const demo = await startDemo(folder);
const station = stationOf(demo);
await until("the nodes", () => /n-store .*in time/.test(demo.output));
const alone = await cpuShare(station);
const end = watchers(demo.url, PHONES);
const watched = await cpuShare(station);
end();
console.log(`base station: ${alone.toFixed(2)} % of a core alone, ${watched.toFixed(2)} % with ${PHONES} phones watching`);
const ages = await liveAges(browser, demo.url);
console.log(`live, last sample of a block to its pixel: median ${ms(part(ages, 0.5))}, p95 ${ms(part(ages, 0.95))} of ${ages.length}`);
await browser.close();
await demo.stop("SIGINT");
fs.rmSync(folder, { recursive: true, force: true });
