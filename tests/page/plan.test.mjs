// Drawing a house in a browser: from nothing to a site file that the recorder takes.
// Must never look into the page's own objects: what counts is the file.

import assert from "node:assert/strict";
import fs from "node:fs";
import { createRequire } from "node:module";
import path from "node:path";
import { after, before, test } from "node:test";
import { launch, makeFolder, open, serve, until } from "./support.mjs";

const AXE = fs.readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const SHOTS = process.env.ROOMWAKE_SHOTS || "";
let folder;
let browser;

before(async () => {
  folder = makeFolder();
  browser = await launch();
});

after(async () => {
  await browser?.close();
  fs.rmSync(folder, { recursive: true, force: true });
});

async function openPlan(name, more = {}) {
  const file = path.join(folder, name);
  const served = await serve(["plan", "--site", file]);
  const context = await browser.newContext({ viewport: { width: 1440, height: 1000 }, ...more });
  const page = await open(context, served.url);
  await page.waitForSelector(".drawing");
  return { file, served, context, page, read: () => JSON.parse(fs.readFileSync(file, "utf8")) };
}

// From metres to the screen.
function placer(page) {
  return (x, y) => page.evaluate(([mx, my]) => {
    const svg = document.querySelector(".drawing");
    const at = new DOMPoint(mx, my).matrixTransform(svg.getScreenCTM());
    return { x: at.x, y: at.y };
  }, [x, y]);
}

async function drawRoom(page, at, [x0, y0], [x1, y1]) {
  await page.click("text=Draw a room");
  const [from, to] = [await at(x0, y0), await at(x1, y1)];
  await page.mouse.move(from.x, from.y);
  await page.mouse.down();
  await page.mouse.move(to.x, to.y, { steps: 5 });
  await page.mouse.up();
}

async function tap(page, tool, spot) {
  await page.click(`text=${tool}`);
  const { x, y } = await spot;
  await page.mouse.click(x, y);
}

async function save(page) {
  await page.click("button:text-is('Save')");
  await page.waitForSelector("text=Saved.");
}

test("with the mouse, from nothing to four rooms on two floors, doors, a stair and nodes", async () => {
  const { served, context, page, read } = await openPlan("mouse.json");
  const at = placer(page);
  await drawRoom(page, at, [0, 0], [4, 5]);
  await drawRoom(page, at, [4, 0], [8, 5]);
  await drawRoom(page, at, [8, 0], [11, 3]);
  await page.selectOption("#f-floor", { label: "Another floor below" });
  await drawRoom(page, at, [0, 0], [4, 3]);
  await tap(page, "Put a node", at(2, 1));
  await tap(page, "Put a door", at(1, 2));
  await page.selectOption("#f-floor", { label: "Ground floor" });
  await tap(page, "Put a door", at(4, 2));
  await tap(page, "Put a door", at(8, 2));
  for (const x of [2, 6, 9.5]) await tap(page, "Put a node", at(x, 1.5));
  await page.click(".items button:text('Room 2')");
  await page.fill("#f-name", "Kitchen");
  await page.fill("#f-depth-m", "4.5");
  await page.keyboard.press("Tab");
  await page.waitForSelector("text=The plan is sound");
  if (SHOTS) await page.screenshot({ path: path.join(SHOTS, "plan-dark-1440.png") });
  await save(page);
  const site = read();
  assert.deepEqual(site.rooms.map((room) => [room.title, room.floor]), [["Room 1", 0], ["Kitchen", 0], ["Room 3", 0], ["Room 4", -1]]);
  assert.deepEqual(site.rooms[1].outline_m, [[4, 0], [8, 0], [8, 4.5], [4, 4.5]]);
  assert.deepEqual(site.doors.map((door) => door.between.join()), ["room-4,room-1", "room-1,room-2", "room-2,room-3"]);
  assert.deepEqual(site.nodes.map((node) => node.room), ["room-4", "room-1", "room-2", "room-3"]);
  assert.deepEqual(page.faults, []);
  await context.close();
  assert.equal(await served.stop(), 0);
});

test("every step is undone and done again, and a fault is shown where it is", async () => {
  const { served, context, page, file, read } = await openPlan("undo.json");
  const at = placer(page);
  await drawRoom(page, at, [0, 0], [4, 4]);
  await tap(page, "Put a node", at(2, 2));
  await page.fill("#f-x-m", "9");
  await page.keyboard.press("Tab");
  await page.waitForSelector("text=/To be put right: .*nodes\\[0\\].position_m/");
  assert.equal(await page.locator(".drawing .node-dot.fault").count(), 1);
  await page.click("button:text-is('Save')");
  await page.waitForSelector("text=NOT saved.");
  assert.ok(!fs.existsSync(file));
  await page.click("text=Undo");
  await page.waitForSelector("text=The plan is sound");
  await page.click("text=Undo");
  await until("no node", async () => (await page.locator(".node-dot").count()) === 0);
  await page.click("text=Undo");
  await until("no room", async () => (await page.locator(".drawing .room").count()) === 0);
  await page.click("text=Redo");
  await page.locator(".drawing").focus();
  await page.keyboard.press("Control+y");
  await until("the node again", async () => (await page.locator(".node-dot").count()) === 1);
  await save(page);
  assert.deepEqual(read().nodes[0].position_m, [2, 2, 1]);
  await context.close();
  assert.equal(await served.stop(), 0);
});

test("by keyboard alone a house is drawn and saved", async () => {
  const { served, context, page, read } = await openPlan("keys.json");
  const press = async (name) => {
    for (let i = 0; i < 120; i += 1) {
      await page.keyboard.press("Tab");
      if (await page.evaluate((text) => document.activeElement.textContent.trim() === text, name)) {
        await page.keyboard.press("Enter");
        return;
      }
    }
    throw new Error(`no way by Tab to ${name}`);
  };
  await press("Add a room of 4 by 3 m");
  await press("Add a room of 4 by 3 m");
  await press("Add a door between two rooms");
  await press("Room 1");
  await press("Add a node to the chosen room");
  await until("the drawing takes the focus", async () => {
    await page.keyboard.press("Tab");
    return page.evaluate(() => document.activeElement.classList.contains("drawing"));
  });
  await page.keyboard.press("ArrowLeft");
  await press("Save");
  await page.waitForSelector("text=Saved.");
  const site = read();
  assert.deepEqual([site.rooms.length, site.doors.length, site.nodes.length], [2, 1, 1]);
  assert.equal(site.nodes[0].position_m[0], 1.75);
  await context.close();
  assert.equal(await served.stop(), 0);
});

test("with a finger on a phone a room is drawn, and the editor is without fault in every light", async () => {
  const { served, context, page, read } = await openPlan("finger.json",
    { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true, bypassCSP: true });
  const touch = await context.newCDPSession(page);
  const at = placer(page);
  await page.tap("text=Draw a room");
  const here = [await at(0, 0), await at(3, 2), await at(5, 4)];
  await touch.send("Input.dispatchTouchEvent", { type: "touchStart", touchPoints: [here[0]] });
  for (const spot of here.slice(1)) await touch.send("Input.dispatchTouchEvent", { type: "touchMove", touchPoints: [spot] });
  await touch.send("Input.dispatchTouchEvent", { type: "touchEnd", touchPoints: [] });
  await page.waitForSelector("text=The plan is sound");
  await page.tap("button:text-is('Save')");
  await page.waitForSelector("text=Saved.");
  assert.deepEqual(read().rooms[0].outline_m, [[0, 0], [5, 0], [5, 4], [0, 4]]);
  await page.evaluate(AXE);
  for (const light of ["Dark", "Red", "Day"]) {
    await page.tap(`#lights button:text-is('${light}')`);
    const { violations } = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
    assert.deepEqual(violations.map((one) => `${one.id} ${one.nodes.map((node) => node.target)}`), [], light);
  }
  for (const width of [360, 768]) {
    await page.setViewportSize({ width, height: 800 });
    assert.ok(await page.evaluate(() => document.documentElement.scrollWidth <= innerWidth), `too wide at ${width}`);
    if (SHOTS) await page.screenshot({ path: path.join(SHOTS, `plan-day-${width}.png`) });
  }
  assert.deepEqual(page.faults, []);
  await context.close();
  assert.equal(await served.stop(), 0);
});
