// Drawing a house in a browser: from nothing to a site file that the recorder takes.
// Must never look into the page's own objects: what counts is the file.

import assert from "node:assert/strict";
import fs from "node:fs";
import path from "node:path";
import { after, before, test } from "node:test";
import { launch, makeFolder, open, pressByKeys, serve, until, withoutFault } from "./support.mjs";

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

async function save(page) {
  await page.click("button:text-is('Save')");
  await page.waitForSelector("text=Saved.");
}

// What is done with the mouse or with a finger, each touch, drag and choice counted.
class Hand {
  constructor(page, touch) {
    Object.assign(this, { page, touch, at: placer(page), steps: 0 });
  }

  async press(selector) {
    this.steps += 1;
    await (this.touch ? this.page.tap(selector) : this.page.click(selector));
  }

  async choose(selector, label) {
    this.steps += 1;
    await this.page.selectOption(selector, { label });
  }

  async type(selector, text) {
    this.steps += 1;
    await this.page.fill(selector, text);
    await this.page.keyboard.press("Tab");
  }

  async put(tool, x, y) {
    await this.press(`text=${tool}`);
    this.steps += 1;
    const spot = await this.at(x, y);
    await (this.touch ? this.page.touchscreen.tap(spot.x, spot.y) : this.page.mouse.click(spot.x, spot.y));
  }

  async drawRoom(from, to) {
    await this.press("text=Draw a room");
    this.steps += 1;
    const spots = [await this.at(...from), await this.at((from[0] + to[0]) / 2, (from[1] + to[1]) / 2), await this.at(...to)];
    if (this.touch) return stroke(this.touch, spots);
    await this.page.mouse.move(spots[0].x, spots[0].y);
    await this.page.mouse.down();
    for (const { x, y } of spots.slice(1)) await this.page.mouse.move(x, y);
    await this.page.mouse.up();
    return undefined;
  }
}

async function stroke(touch, spots) {
  const send = (type, touchPoints) => touch.send("Input.dispatchTouchEvent", { type, touchPoints });
  await send("touchStart", [spots[0]]);
  for (const spot of spots.slice(1)) await send("touchMove", [spot]);
  await send("touchEnd", []);
}

// Four rooms on two floors, a name and a size typed, two doors, a stair, four nodes, one the control.
async function drawHouse(hand) {
  await hand.drawRoom([0, 0], [4, 5]);
  await hand.drawRoom([4, 0], [8, 5]);
  await hand.drawRoom([8, 0], [11, 3]);
  await hand.choose("#f-floor", "Another floor below");
  await hand.drawRoom([0, 0], [4, 3]);
  await hand.put("Put a node", 2, 1);
  await hand.press("text=/^It is the control/");
  await hand.put("Put a door", 1, 2);
  await hand.choose("#f-floor", "Ground floor");
  await hand.put("Put a door", 4, 2);
  await hand.put("Put a door", 8, 2);
  for (const x of [2, 6, 9.5]) await hand.put("Put a node", x, 1.5);
  await hand.press(".items button:text('Room 2')");
  await hand.type("#f-name", "Kitchen");
  await hand.type("#f-depth-m", "4.5");
  await hand.page.waitForSelector("text=The plan is sound");
}

const DRAWN = 29; // steps from nothing to the saved plan: five minutes at ten seconds each

for (const [name, more] of [["the mouse", {}], ["a finger", { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true }]]) {
  test(`with ${name}, from nothing to four rooms on two floors, doors, a stair and nodes, in ${DRAWN} steps`, async () => {
    const { served, context, page, read } = await openPlan(`${name.replace(" ", "-")}.json`, { bypassCSP: true, ...more });
    const hand = new Hand(page, more.hasTouch ? await context.newCDPSession(page) : null);
    await drawHouse(hand);
    if (!more.hasTouch) await withoutFault(page, "plan");
    await hand.press("button:text-is('Save')");
    await page.waitForSelector("text=Saved.");
    assert.ok(hand.steps <= DRAWN, `${hand.steps} steps`);
    const site = read();
    assert.deepEqual(site.rooms.map((room) => [room.title, room.floor]), [["Room 1", 0], ["Kitchen", 0], ["Room 3", 0], ["Room 4", -1]]);
    assert.deepEqual(site.rooms[1].outline_m, [[4, 0], [8, 0], [8, 4.5], [4, 4.5]]);
    assert.deepEqual(site.doors.map((door) => door.between.join()), ["room-4,room-1", "room-1,room-2", "room-2,room-3"]);
    assert.deepEqual(site.nodes.map((node) => [node.room, node.control]), [["room-4", true], ["room-1", false], ["room-2", false], ["room-3", false]]);
    assert.deepEqual(page.faults, []);
    await context.close();
    assert.equal(await served.stop(), 0);
  });
}

test("every step is undone and done again, and a fault is shown where it is", async () => {
  const { served, context, page, file, read } = await openPlan("undo.json");
  const hand = new Hand(page, null);
  await hand.drawRoom([0, 0], [4, 4]);
  await hand.put("Put a node", 2, 2);
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
  const press = (name) => pressByKeys(page, new RegExp(`^${name}$`));
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

test("on a phone a tap counts right after a quick stroke, and the editor is without fault in every light", async () => {
  const { served, context, page, read } = await openPlan("finger.json",
    { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true, bypassCSP: true });
  const hand = new Hand(page, await context.newCDPSession(page));
  await hand.drawRoom([0, 0], [5, 4]);
  await page.waitForSelector("text=The plan is sound");
  await hand.press("button:text-is('Save')");
  await page.waitForSelector("text=Saved.");
  assert.deepEqual(read().rooms[0].outline_m, [[0, 0], [5, 0], [5, 4], [0, 4]]);
  await withoutFault(page, "plan-room");
  assert.deepEqual(page.faults, []);
  await context.close();
  assert.equal(await served.stop(), 0);
});
