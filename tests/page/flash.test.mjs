// In the dark nothing flashes while the page loads over a slow network: every frame of it is looked at.
// Must never look at the end alone.

import assert from "node:assert/strict";
import fs from "node:fs";
import { after, before, test } from "node:test";
import { launch, makeFolder, open, serveMade } from "./support.mjs";

const SLOW = { offline: false, latency: 150, downloadThroughput: 40000, uploadThroughput: 40000 };
const BRIGHT = 110; // of 255: brighter than any surface of the dark pages, darker than their text
const TEXT_MOST = 0.2; // of the pixels may be as bright as text
let folder;
let served;
let browser;

before(async () => {
  folder = makeFolder();
  served = await serveMade(folder);
  browser = await launch();
});

after(async () => {
  await browser?.close();
  await served?.stop();
  fs.rmSync(folder, { recursive: true, force: true });
});

// The frames that the browser painted until the page was there, as PNGs: from a black page elsewhere,
// which is gone before ours is there, or again.
async function framesOf(page, view, again) {
  if (!again) await page.goto("data:text/html,<html style='background:black'>");
  const session = await page.context().newCDPSession(page);
  const frames = [];
  session.on("Page.screencastFrame", ({ data, sessionId }) => {
    frames.push(data);
    session.send("Page.screencastFrameAck", { sessionId }).catch(() => undefined); // it is over
  });
  await session.send("Network.enable");
  await session.send("Network.setCacheDisabled", { cacheDisabled: true });
  await session.send("Network.emulateNetworkConditions", SLOW);
  await session.send("Page.startScreencast", { format: "png", everyNthFrame: 1, maxWidth: 640, maxHeight: 480 });
  if (again) await page.reload({ waitUntil: "commit" });
  else await page.goto(`${served.url}#${view}`, { waitUntil: "commit" });
  await page.waitForSelector("[data-ready]");
  await page.waitForTimeout(300); // frames that are still on their way
  await session.send("Page.stopScreencast");
  return frames;
}

// Of each frame: how much of it is bright, and how bright its green and blue become at the most.
function looked(judge, frames) {
  return judge.evaluate(async ([list, bright]) => {
    const found = [];
    for (const data of list) {
      const image = new Image();
      image.src = `data:image/png;base64,${data}`;
      await image.decode();
      const canvas = Object.assign(document.createElement("canvas"), { width: image.width, height: image.height });
      const context = canvas.getContext("2d");
      context.drawImage(image, 0, 0);
      const pixels = context.getImageData(0, 0, image.width, image.height).data;
      let over = 0;
      let other = 0;
      for (let i = 0; i < pixels.length; i += 4) {
        if (Math.max(pixels[i], pixels[i + 1], pixels[i + 2]) > bright) over += 1;
        other = Math.max(other, pixels[i + 1], pixels[i + 2]);
      }
      found.push({ bright: over / (pixels.length / 4), other });
    }
    return found;
  }, [frames, BRIGHT]);
}

const LOADS = [["now", false], ["night", true], ["night", false]];

for (const [light, name, loads] of [["dark", "Dark", LOADS], ["red", "Red", LOADS.slice(0, 2)]]) {
  test(`nothing flashes while the page loads in the ${light} light`, async () => {
    const context = await browser.newContext({ viewport: { width: 640, height: 480 } });
    const page = await open(context, `${served.url}#now`);
    await page.click(`#lights button:text-is('${name}')`);
    const judge = await context.newPage();
    await page.bringToFront();
    for (const [view, again] of loads) {
      const frames = await looked(judge, await framesOf(page, view, again));
      assert.ok(frames.length > 1, `${frames.length} frames of ${view}`);
      for (const { bright, other } of frames) {
        assert.ok(bright < TEXT_MOST, `${Math.round(100 * bright)} % of a frame of ${view} is bright`);
        if (light === "red") assert.ok(other <= 24, `a frame of ${view} has green or blue of ${other}`);
      }
    }
    assert.deepEqual(page.faults, []);
    await context.close();
  });
}
