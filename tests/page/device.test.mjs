// A device and its base station: paired by its code, and told when the base station began anew.
// Must never show what is over as if it went on.

import assert from "node:assert/strict";
import fs from "node:fs";
import path from "node:path";
import { after, before, test } from "node:test";
import { freePort, launch, makeFolder, open, Program, ROOMWAKE, ROOT, withoutFault } from "./support.mjs";

let folder;
let browser;
let ports;

before(async () => {
  folder = makeFolder();
  browser = await launch();
});

after(async () => {
  await browser?.close();
  fs.rmSync(folder, { recursive: true, force: true });
});

// A base station without nodes; each begins a night of its own at the same address.
async function record(night, ...more) {
  ports ||= [await freePort(), await freePort()];
  const station = new Program(ROOMWAKE, ["record", "--site", path.join(ROOT, "deploy/house/site.json"), "--night", path.join(folder, night),
    "--listen", `127.0.0.1:${ports[0]}`, "--http", `127.0.0.1:${ports[1]}`, ...more],
  { ROOMWAKE_KEY: path.join(folder, "base.key"), ROOMWAKE_RUN_DIR: path.join(folder, "run") });
  station.url = (await station.said(/The page: +(\S+)/))[1];
  return station;
}

test("a page over a night that is no more asks to be loaded anew, and shows the next night then", async () => {
  const first = await record("first.sqlite");
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, bypassCSP: true });
  const page = await open(context, `${first.url}#now`);
  await page.waitForSelector("text=/Recording since/");
  await first.stop("SIGINT");
  await page.waitForSelector("text=/NOT RECORDING: the night was ended/");
  const second = await record("second.sqlite");
  await page.waitForSelector("text=/Another night is being recorded now. What you see here is old./");
  assert.match(await page.title(), /^OLD: /);
  await withoutFault(page, "now-old");
  await page.focus("text=Load it anew");
  await page.keyboard.press("Enter");
  await page.waitForSelector("text=/Recording since/");
  assert.doesNotMatch(await page.title(), /^OLD/);
  await context.close();
  assert.equal(await second.stop("SIGINT"), 0);
});

test("a device is paired by keyboard, and told that a base station that began anew does not know it", async () => {
  const first = await record("third.sqlite", "--http-pair");
  const [, look] = await first.said(/paired with (\S+);/);
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 }, bypassCSP: true });
  const page = await context.newPage();
  await page.goto(first.url);
  await page.waitForSelector("#code");
  await withoutFault(page, "pair");
  await page.focus("#code");
  await page.keyboard.type("aaaa-aaaa");
  await page.keyboard.press("Enter");
  await page.waitForSelector("text=/Not paired: that is not the code/");
  await page.keyboard.type(look.toUpperCase());
  await page.keyboard.press("Enter");
  await page.waitForSelector("text=/Recording since/");
  assert.equal(await page.locator("#views >> text=Mark").count(), 0, "who may look only is offered no marks");
  await first.stop("SIGINT");
  const second = await record("fourth.sqlite", "--http-pair");
  await page.waitForSelector("text=/does not know this device any more. What you see here is old./");
  await page.click("text=Load it anew");
  await page.waitForSelector("#code");
  await context.close();
  assert.equal(await second.stop("SIGINT"), 0);
});
