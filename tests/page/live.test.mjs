// A live night in a browser: real base station, real broker, simulated nodes. ROOMWAKE_ASLEEP_S=600
// lets the phone that sleeps meanwhile sleep for so long at least.
// Must never assert on how fast this machine is: figures are bench.mjs's.

import assert from "node:assert/strict";
import fs from "node:fs";
import { after, before, test } from "node:test";
import { launch, launchStoppable, makeFolder, open, pressByKeys, shoot, shown, startDemo, until, withoutFault } from "./support.mjs";
import { Phone, Witness } from "./asleep.mjs";

let folder;
let demo;
let browser;
let phone; // asleep while the other tests run
let witness;

before(async () => {
  folder = makeFolder();
  demo = await startDemo(folder);
  witness = new Witness(demo.url);
  phone = new Phone(await launchStoppable(), demo.url);
  await phone.fallAsleep();
  browser = await launch();
});

after(async () => {
  await phone?.browser.close();
  witness?.stop();
  await browser?.close();
  await demo?.stop("SIGINT");
  fs.rmSync(folder, { recursive: true, force: true });
});

const FOUND_ASLEEP = 3;

function context(more = {}) {
  return browser.newContext({ viewport: { width: 1280, height: 900 }, ...more });
}

// As a phone that was put away, or taken out again.
function sleep(page, asleep) {
  return page.evaluate((hidden) => {
    Object.defineProperty(document, "hidden", { value: hidden, configurable: true });
    document.dispatchEvent(new Event("visibilitychange"));
  }, asleep);
}

async function mark(page, text) {
  const done = await page.evaluate(async (words) => {
    const answer = await fetch("/api/mark", { method: "POST", body: JSON.stringify({ text: words, for_s: 1 }),
      headers: { "Content-Type": "application/json", "X-Roomwake": "1" } });
    return answer.status;
  }, text);
  assert.equal(done, 201);
}

function said(page, text) {
  return page.locator("#said li", { hasText: text }).count();
}

test("the page stands as the recording does, and draws what comes", async () => {
  const page = await open(await context({ bypassCSP: true }), demo.url);
  await page.waitForSelector("text=/Recording since .* 6 of 6 nodes are well/");
  await withoutFault(page, "now-live");
  assert.equal(await page.locator("[data-node].well").count(), 6);
  await page.goto(`${demo.url}#night`);
  await shown(page);
  await page.click("text=Follow");
  const newest = () => page.evaluate(() => Number(document.querySelector(".lanes").dataset.newest || 0));
  const first = await until("fresh samples", newest);
  await until("fresher ones", async () => (await newest()) > first + 1);
  assert.deepEqual(page.faults, []);
  await page.context().close();
});

function phoneContext(more = {}) {
  return context({ viewport: { width: 360, height: 760 }, hasTouch: true, isMobile: true, ...more });
}

// Told by its own words, from the first view on.
async function goTonight(page, act) {
  await page.goto(`${demo.url}#tonight`);
  await page.click(`.acts >> text=${act}`);
  await page.waitForSelector(`.act h2:text-is("${act}")`);
}

test("the evening is begun from a phone, stands through a reload, and is seen on another", async () => {
  const page = await open(await phoneContext({ bypassCSP: true }), demo.url);
  const other = await open(await context(), demo.url);
  await goTonight(page, "Walk test");
  await page.tap("text=Begin the walk test");
  await page.waitForSelector("text=/Not begun: a walk has two rooms at least/");
  page.faults.length = 0; // the browser counts what was refused
  for (const room of ["Passage", "Kitchen"]) await page.tap(`.choices >> text=${room}`);
  await page.waitForSelector("text=2. Kitchen");
  await withoutFault(page, "walk-before");
  await page.fill("[data-key=quiet_s]", "0");
  await page.tap("text=Begin the walk test");
  await page.waitForSelector(".say:has-text('Now walk')");
  await goTonight(page, "Preflight");
  await page.tap("text=Begin the preflight");
  await page.waitForSelector(".say:has-text('are there')");
  await page.reload();
  await page.waitForSelector(".say:has-text('are there')");
  const tab = await open(page.context(), demo.url); // of the same browser, by the same stream
  await tab.waitForSelector("#acting:has-text('Walk test: Now walk')");
  await tab.close();
  await other.waitForSelector("#acting:has-text('Walk test: Now walk')");
  assert.deepEqual([...page.faults, ...other.faults], []);
  await page.context().close();
  await other.context().close();
});

test("seven tabs are live at once, and a text is never markup", async () => {
  const shared = await context();
  const tabs = [];
  for (let i = 0; i < 7; i += 1) tabs.push(await open(shared, demo.url));
  await mark(tabs[0], "<img src=x onerror=alert(1)><b>seven</b>");
  for (const tab of tabs) {
    await tab.evaluate(() => { document.querySelector("details").open = true; });
    await until("the line in each tab", async () => (await said(tab, "<b>seven</b>")) === 1);
    assert.equal(await tab.locator("main img, main b").count(), 0);
    assert.deepEqual(tab.faults, []);
  }
  await shared.close();
});

test("who slept is told all that was missed, once", async () => {
  for (const withWorker of [true, false]) {
    const asleep = await context();
    if (!withWorker) await asleep.addInitScript(() => { delete window.SharedWorker; });
    const page = await open(asleep, demo.url);
    const other = await open(await context(), demo.url);
    await page.evaluate(() => { document.querySelector("details").open = true; });
    await page.waitForSelector("#said li");
    await sleep(page, true);
    const name = withWorker ? "shared" : "straight";
    for (let i = 0; i < 20; i += 1) await mark(other, `${name} missed ${i}.`);
    await new Promise((go) => setTimeout(go, 500));
    assert.equal(await said(page, `${name} missed`), 0);
    await sleep(page, false);
    await until("all that was missed", async () => (await said(page, `${name} missed`)) === 20);
    await mark(other, `${name} after.`);
    await until("what comes next", async () => (await said(page, `${name} after.`)) === 1);
    for (let i = 0; i < 20; i += 1) assert.equal(await said(page, `${name} missed ${i}.`), 1);
    assert.deepEqual(page.faults, []);
    await asleep.close();
    await other.context().close();
  }
});

test("a mark is made in one touch on a phone, taken back, corrected, and ended", async () => {
  const page = await open(await context({ viewport: { width: 360, height: 760 }, hasTouch: true, isMobile: true, bypassCSP: true }),
    `${demo.url}#marks`);
  await page.tap("label[for=room-kitchen]"); // what is going on may name rooms, too
  await page.tap("text=I touched a node");
  await page.tap("text=Undo");
  await page.waitForSelector("text=Taken back");
  await page.tap("text=I spoke");
  await page.waitForSelector("text=/Noted as mark \\d+: I spoke/");
  await page.waitForSelector("text=/I spoke \\(Kitchen; 60 s; mark \\d+\\)/");
  await until("what was taken back is gone", async () => (await page.locator(".marks li", { hasText: "touched" }).count()) === 0);
  await page.tap(".marks li:has-text('I spoke') >> text=Correct");
  await page.tap("label[for=room-passage]");
  await page.tap("text=I moved something");
  await page.waitForSelector("text=/I moved something \\(Passage; 60 s; mark \\d+\\)/");
  await page.check("text=It goes on until I say so");
  await page.tap("text=I walked through");
  await page.waitForSelector("text=/I walked through \\(Passage; still going on; mark \\d+\\)/");
  await page.tap("text=It is over");
  await page.waitForSelector("text=/Mark \\d+ is over/");
  await until("it is over", async () => (await page.locator(".marks li", { hasText: "still going on" }).count()) === 0);
  await withoutFault(page, "marks");
  assert.deepEqual(page.faults, []);
  await page.context().close();
});

test("a mark is made and taken back by keyboard alone", async () => {
  const page = await open(await context({ viewport: { width: 1280, height: 900 } }), `${demo.url}#marks`);
  await page.waitForSelector("[name=room]");
  while (await page.evaluate(() => document.activeElement.name !== "room")) {
    await page.keyboard.press("Tab");
  }
  while (!await page.isChecked("[name=room][value=kitchen]")) {
    await page.keyboard.press("ArrowRight");
  }
  await pressByKeys(page, /^I touched a node/);
  await page.waitForSelector("text=/I touched a node \\(Kitchen; 60 s; mark \\d+\\)/");
  await pressByKeys(page, /^Undo/);
  await page.waitForSelector("text=Taken back");
  assert.deepEqual(page.faults, []);
  await page.context().close();
});

test("the evening's acts come to their outcomes; questions are planned, held and answered by keyboard alone", async () => {
  const page = await open(await context({ bypassCSP: true }), `${demo.url}#tonight/walk`);
  const other = await open(await phoneContext(), demo.url);
  await page.waitForSelector(".ticks li:has-text('seen'):has-text('it saw motion at')", { timeout: 240000 });
  await page.waitForSelector(".say:has-text('GO')");
  await goTonight(page, "Questions");
  await page.fill("[data-key=title]", "First");
  await page.fill("[data-key=questions]", "Is it cold? = yes");
  for (const [key, value] of [["ask_s", "2"], ["window_s", "1"], ["rest_s", "2"]]) await page.fill(`[data-key=${key}]`, value);
  assert.equal(await page.isVisible("text=Begin the session"), false);
  await pressByKeys(page, /^Look at the plan/);
  await page.waitForSelector("text=/1 questions and as many windows in which nobody asks/");
  await withoutFault(page, "ask-plan");
  await pressByKeys(page, /^Begin the session/);
  await page.waitForSelector("[role=timer]:has-text('Next moment in')");
  await page.reload();
  await other.waitForSelector("#acting.calls:has-text('ASK NOW'), #acting.calls:has-text('be still')");
  await goTonight(page, "Preflight");
  await page.waitForSelector(".say:has-text('GO')");
  assert.equal(await page.locator(".ticks li:has(.verdict:text-is('GO'))").count(), 7);
  await withoutFault(page, "preflight-over");
  await goTonight(page, "Quiet spell");
  await page.waitForSelector("text=/chance alone brings about/");
  await withoutFault(page, "quiet");
  await goTonight(page, "Questions");
  await page.waitForSelector(".answer:has-text('Sessions tried in this night: 1')");
  await page.click("summary:has-text('What was counted')");
  await page.waitForSelector("text=from a seed bound before the start; it fits");
  await withoutFault(page, "ask-over");
  assert.deepEqual([...page.faults, ...other.faults], []);
  await page.context().close();
  await other.context().close();
});

test("the sound is off until it is asked for", async () => {
  const page = await open(await context(), demo.url);
  assert.equal(await page.getAttribute("#sound", "aria-pressed"), "false");
  await page.click("#sound");
  assert.equal(await page.textContent("#sound"), "Sound on");
  await page.click("#sound");
  assert.equal(await page.textContent("#sound"), "Sound off");
  assert.deepEqual(page.faults, []);
  await page.context().close();
});

test("a phone whose programs stood still shows all that it slept through, once", async () => {
  await until("findings while it sleeps", async () => (await witness.findings()).length >= FOUND_ASLEEP, 240000);
  const over = Number(process.env.ROOMWAKE_ASLEEP_S || 0) * 1000;
  await until("the sleep's end", () => Date.now() - phone.asleepAt >= over, over + 60000);
  const asleepMs = await phone.wake();
  await until("every finding of the night", async () => {
    const wanted = (await witness.findings()).map((one) => one.id).sort();
    return JSON.stringify(await phone.findings()) === JSON.stringify(wanted);
  });
  await until("every line that is kept", async () => witness.isEnd(await phone.lines()));
  await until("lanes without a hole", () => phone.isWhole(asleepMs));
  console.log(`asleep for ${Math.round(asleepMs / 1000)} s: ${(await phone.findings()).length} findings and ${(await phone.lines()).length} lines are shown, each once`);
  assert.deepEqual(await phone.faults(), []);
});

// The last one: it ends the night.
test("when the recording ends or is lost, the page says so loudly", async () => {
  const page = await open(await context(), demo.url);
  await page.waitForSelector("text=/Recording since/");
  await demo.stop("SIGINT");
  await page.waitForSelector(".trouble:has-text('NOT ')");
  assert.match(await page.title(), /^NOT RECORDING/);
  await shoot(page, "now-ended");
  await page.context().close();
});
