// The whole night in a browser: no peak lost, every way to move, every view for everybody.
// Must never assert on how fast this machine is: figures are bench.mjs's.

import assert from "node:assert/strict";
import fs from "node:fs";
import path from "node:path";
import { after, before, test } from "node:test";
import { DEADLINE_MS, launch, makeFolder, open, pressByKeys, ROOMWAKE, run, serve, serveMade, shown, until, withoutFault } from "./support.mjs";

const NIGHT_S = 28800;
const SPIKE_S = 18000;
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

async function openNight(size = { width: 1280, height: 900 }, more = {}) {
  const context = await browser.newContext({ viewport: size, ...more });
  const page = await open(context, `${served.url}#night`);
  await shown(page);
  return page;
}

function sight(page) {
  return page.evaluate(() => document.querySelector(".lanes").dataset.shown.split(" ").map(Number));
}

// How far the drawn line reaches up in a column, in pixels from the lane's top.
function highest(page, lane, share) {
  return page.evaluate(([key, part]) => {
    const canvas = document.querySelector(`[data-lane="${key}"] canvas`);
    const context = canvas.getContext("2d");
    const left = 66 * devicePixelRatio;
    const wide = canvas.width - left - 8 * devicePixelRatio;
    const x = Math.round(left + wide * part);
    const line = getComputedStyle(document.documentElement).getPropertyValue("--line").trim();
    const [r, g, b] = [1, 3, 5].map((at) => parseInt(line.slice(at, at + 2), 16));
    const { data, width, height } = context.getImageData(x - 3, 0, 7, canvas.height);
    for (let y = 0; y < height; y += 1) {
      for (let i = 0; i < width; i += 1) {
        const at = 4 * (y * width + i);
        if (Math.abs(data[at] - r) < 60 && Math.abs(data[at + 1] - g) < 60 && Math.abs(data[at + 2] - b) < 60 && data[at + 3] > 100) return y;
      }
    }
    return height;
  }, [lane, share]);
}

test("a spike of one sample is seen with the whole night in sight", async () => {
  const page = await openNight();
  await page.locator('[data-lane="n8/magnetic.y"]').scrollIntoViewIfNeeded();
  await page.waitForSelector('[data-lane="n8/magnetic.y"] canvas');
  assert.deepEqual(await sight(page), [0, NIGHT_S * 1e9]);
  await until("the spike's pixels", async () => await highest(page, "n8/magnetic.y", SPIKE_S / NIGHT_S) < 25);
  assert.ok(await highest(page, "n8/magnetic.y", 0.3) > 60, "elsewhere the line is low");
  assert.deepEqual(page.faults, []);
  await page.context().close();
});

test("wheel, drag, keys and buttons move, down to the samples themselves", async () => {
  const page = await openNight();
  const ruler = page.locator(".ruler");
  const box = await ruler.boundingBox();
  const moved = async (what, act) => {
    const old = (await sight(page)).join();
    await act();
    let last = "";
    let same = 0;
    await until(what, async () => {
      const now = (await sight(page)).join();
      same = now === last ? same + 1 : 0;
      last = now;
      return now !== old && same > 5; // it has come to rest
    });
    return sight(page);
  };
  await page.mouse.move(box.x + 66 + (box.width - 74) * (SPIKE_S / NIGHT_S), box.y + 30);
  let [from, to] = await moved("the wheel", () => page.mouse.wheel(0, -100));
  assert.ok(to - from < NIGHT_S * 1e9 * 0.7 && from < SPIKE_S * 1e9 && to > SPIKE_S * 1e9);
  [from, to] = await moved("a drag", async () => {
    await page.mouse.down();
    await page.mouse.move(box.x + 300, box.y + 30, { steps: 4 });
    await page.mouse.up();
  });
  await ruler.focus();
  const wide = to - from;
  [from, to] = await moved("the plus key", () => page.keyboard.press("+"));
  assert.ok(to - from < wide);
  const before = from;
  [from] = await moved("the right arrow", () => page.keyboard.press("ArrowRight"));
  assert.ok(from > before);
  await moved("Home", () => page.keyboard.press("Home"));
  assert.deepEqual(await sight(page), [0, NIGHT_S * 1e9]);
  await moved("the button", () => page.click("text=Closer"));
  for (let i = 0; i < 20; i += 1) {
    await page.keyboard.press("Tab");
    if (await page.evaluate(() => document.activeElement.className === "ruler")) break;
  }
  for (let i = 0; i < 30; i += 1) await page.keyboard.press("+");
  await until("the samples", async () => { const [a, b] = await sight(page); return b - a < 5e9; });
  assert.match(await page.textContent(".where"), /one pixel is \S+ ms/);
  assert.deepEqual(page.faults, []);
  await page.context().close();
});

test("two fingers zoom, one pans", async () => {
  const page = await openNight({ width: 390, height: 844 }, { hasTouch: true, isMobile: true });
  const touch = await page.context().newCDPSession(page);
  const box = await page.locator(".ruler").boundingBox();
  const at = (...xs) => xs.map((x, id) => ({ x, y: box.y + 30, id }));
  const send = (type, points) => touch.send("Input.dispatchTouchEvent", { type, touchPoints: points });
  await send("touchStart", at(180, 240));
  for (let i = 1; i <= 6; i += 1) await send("touchMove", at(180 - 10 * i, 240 + 10 * i));
  await send("touchEnd", []);
  await until("the pinch", async () => { const [a, b] = await sight(page); return b - a < NIGHT_S * 0.8e9; });
  const [from] = await sight(page);
  await send("touchStart", at(200));
  for (let i = 1; i <= 6; i += 1) await send("touchMove", at(200 - 12 * i));
  await send("touchEnd", []);
  await until("the pan", async () => (await sight(page))[0] > from);
  const before = await sight(page);
  await send("touchStart", at(200));
  for (let i = 1; i <= 3; i += 1) await send("touchMove", at(200 - 30 * i));
  await send("touchEnd", []);
  await page.tap("text=Closer"); // a tap right after a quick stroke is no end of a fling
  await until("the tap", async () => { const [a, b] = await sight(page); return b - a < (before[1] - before[0]) * 0.8; });
  assert.deepEqual(page.faults, []);
  await page.context().close();
});

test("the cursor tells its time and every lane's value with its unit, by mouse and by keyboard", async () => {
  const page = await openNight();
  const told = async (lane, unit) => unit.test(await page.textContent(`[data-lane="${lane}"] .at-cursor`));
  const box = await page.locator('[data-lane="n1/magnetic.x"] .u-over').boundingBox();
  await page.mouse.move(box.x + box.width / 2, box.y + 20);
  for (const [lane, unit] of [["n1/magnetic.x", / \u00b5T$/], ["n1/magnetic.y", / \u00b5T$/], ["n1/electric", / count$/], ["n1/clock", /^\u00b1 .* ms$/]]) {
    await until(`a value of ${lane}`, () => told(lane, unit));
  }
  const at = () => page.textContent(".pointed");
  assert.match(await at(), /^Cursor at \d\d:\d\d:\d\d$/);
  await page.mouse.move(5, 5);
  await until("no cursor", async () => (await at()) === "");
  await page.focus(".ruler");
  await page.keyboard.press("Shift+ArrowRight");
  await until("the cursor", async () => (await at()) !== "" && (await told("n1/magnetic.x", / \u00b5T$/)));
  const before = await at();
  await page.keyboard.press("Shift+ArrowLeft");
  await until("it moves", async () => (await at()) < before);
  assert.deepEqual(page.faults, []);
  await page.context().close();
});

// Where texts were printed on the time axis when it was drawn last.
function watchTexts() {
  const print = CanvasRenderingContext2D.prototype.fillText;
  const size = Object.getOwnPropertyDescriptor(HTMLCanvasElement.prototype, "height");
  Object.defineProperty(HTMLCanvasElement.prototype, "height", { get: size.get, set(height) {
    this.printed = []; // it is emptied by this
    size.set.call(this, height);
  } });
  CanvasRenderingContext2D.prototype.fillText = function fillText(text, x, y) {
    const wide = this.measureText(text).width;
    const left = x - { left: 0, center: wide / 2, right: wide }[this.textAlign];
    if (this.canvas.printed) this.canvas.printed.push({ text, left, right: left + wide, y });
    print.call(this, text, x, y);
  };
}

test("what overlaps on the time axis is drawn apart, and no text is printed over another", async () => {
  const seen = new Set();
  for (const size of [{ width: 1280, height: 900 }, { width: 360, height: 760 }]) {
    const context = await browser.newContext({ viewport: size });
    await context.addInitScript(watchTexts);
    const page = await open(context, `${served.url}#night`);
    await shown(page);
    await page.waitForSelector("text=/In sight: 60 findings/");
    await page.focus(".ruler");
    for (const key of ["Home", "+", "+", "ArrowRight", "+", "+", "ArrowLeft", "ArrowLeft", "+", "ArrowRight", "ArrowRight"]) {
      await page.keyboard.press(key);
      const printed = await page.evaluate(() => document.querySelector(".ruler").printed);
      const wide = (await page.locator(".ruler").boundingBox()).width;
      printed.forEach((one, i) => {
        seen.add(one.text);
        assert.ok(one.right <= wide, `${one.text} runs out of the axis`);
        for (const other of printed.slice(0, i)) {
          assert.ok(other.y !== one.y || other.right < one.left || one.right < other.left,
            `"${one.text}" over "${other.text}" after ${key} at ${size.width}`);
        }
      });
    }
    assert.deepEqual(page.faults, []);
    await context.close();
  }
  for (const text of ["I walked through", "unexplained"]) assert.ok(seen.has(text), `${text} is never written`);
});

test("two marks at once are two bars, and a touch on one tells what it is", async () => {
  const page = await openNight();
  await page.waitForSelector("text=/In sight: 60 findings, 4 marks/");
  const box = await page.locator(".ruler").boundingBox();
  const x = (second) => 66 + ((box.width - 74) * second) / NIGHT_S;
  const rows = await page.evaluate((at) => { // inked rows of pixels where both are
    const { data } = document.querySelector(".ruler").getContext("2d").getImageData(at, 40, 1, 14);
    return [...Array(14).keys()].map((row) => data[4 * row + 3] > 128).join();
  }, Math.round(x(15200)));
  assert.match(rows, /true,(true,)*(false,)+true/);
  await page.mouse.click(box.x + x(12150), box.y + 46);
  await until("what it is", async () => /mark: I walked through \(whole house, kim, 5 min 0 s, mark 1\)/.test(await page.textContent(".pointed")));
  await page.context().close();
});

test("a finding shows its witnesses, its causes, its chance, and plays over the plan", async () => {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 } });
  const page = await open(context, `${served.url}#finding/1`);
  await page.waitForSelector(".trace canvas");
  assert.equal(await page.locator(".trace").count(), 9);
  const words = await page.textContent("main");
  for (const part of ["Which was first can't be told", "Chance alone brings 0.002", "made for a test: nothing fits",
    "2 ms after the earliest, as measured, \u00b1 1.16 ms (picking 1 ms, sampling 0.5 ms, clock 0.3 ms)"]) {
    assert.ok(words.includes(part), part);
  }
  assert.match(await page.inputValue("input[readonly]"), /#finding\/1$/);
  await page.click("text=Play");
  await until("the play's end", async () => /3 of 3 nodes/.test(await page.textContent("main")) && (await page.locator("button:text('Play')").count()) > 0);
  assert.equal(await page.locator(".node.reached").count(), 3);
  await page.click("text=Finding after");
  await until("the next", async () => /#finding\/2$/.test(page.url()));
  assert.deepEqual(page.faults, []);
  await context.close();
});

test("a finding that was together is told and shown so, without an order", async () => {
  const context = await browser.newContext({ viewport: { width: 1280, height: 900 } });
  const page = await open(context, `${served.url}#finding/2`);
  await page.waitForSelector(".trace canvas");
  const words = await page.textContent("main");
  for (const part of ["together, as far as clocks and samples tell", "Together: the onsets differ by no more than their uncertainties bring",
    "Together, as far as clocks and samples tell: Room 2, Room 3, Room 4"]) {
    assert.ok(words.includes(part), part);
  }
  assert.ok(!/can't be told|the first/.test(words));
  assert.equal(await page.locator(".node.reached").count(), 3);
  assert.equal((await page.locator(".turn").allTextContents()).join(""), "");
  assert.equal(await page.locator("text=Play").count(), 0);
  assert.deepEqual(page.faults, []);
  await context.close();
});

const READY = { now: "#found li", night: ".lane canvas", "finding/1": ".trace canvas", share: ".takes li" };

test("every view in every light is without fault for who can't see or point, and fits", async () => {
  const context = await browser.newContext({ viewport: { width: 1440, height: 900 }, bypassCSP: true });
  const page = await open(context, `${served.url}#now`);
  for (const view of ["now", "night", "finding/1", "share"]) {
    await page.evaluate((hash) => { location.hash = hash; }, view);
    await page.waitForSelector(READY[view], { timeout: DEADLINE_MS });
    await withoutFault(page, view.replace("/", "-"));
  }
  assert.deepEqual(page.faults, []);
  await context.close();
});

test("what the team did, asked and missed stands on the time axis and in words", async () => {
  const page = await openNight();
  await page.waitForSelector("text=/In sight: 60 findings, 4 marks, 1 gap, 10 question windows/");
  await page.click(".inside summary");
  await until("the words", async () => /mark 2\)[^]*window 2 of/.test(await page.textContent(".inside")));
  const words = await page.textContent(".inside");
  for (const part of ["I walked through (room-1, kim, 5 min 0 s, mark 2)", "Room 4 (n4), 15 min 0 s: the node was off",
    "\"is somebody there?\", 20 s (window 1 of session kitchen)", "nobody asked, 20 s (window 2 of session kitchen)"]) {
    assert.ok(words.includes(part), part);
  }
  const inked = (row, from, to) => page.evaluate(([y, a, b]) => {
    const canvas = document.querySelector(".ruler");
    const at = (second) => 66 + ((canvas.width - 74) * second) / 28800;
    const { data } = canvas.getContext("2d").getImageData(at(a), y, at(b) - at(a) + 3, 8);
    return data.some((part, i) => i % 4 === 3 && part > 0);
  }, [row, from, to]);
  assert.ok(await inked(42, 12000, 12300), "a mark");
  assert.ok(await inked(57, 3600, 4500), "a gap");
  assert.ok(await inked(74, 7280, 8000), "questions");
  assert.ok(!(await inked(74, 100, 1000)), "no question");
  const low = await page.textContent('[data-lane="n4/clock"] figcaption');
  assert.match(low, /n4\) clock/);
  assert.deepEqual(page.faults, []);
  await page.context().close();
});

// WCAG 2.2, "relative luminance" and "contrast ratio".
function contrast(a, b) {
  const light = (colour) => {
    const parts = [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16) / 255)
      .map((part) => (part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4));
    return 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2];
  };
  const [more, less] = [light(a), light(b)].sort((x, y) => y - x);
  return (more + 0.05) / (less + 0.05);
}

test("what is drawn is as clear as what is written, and the red light is red alone", async () => {
  const page = await openNight();
  for (const light of ["Dark", "Red", "Day"]) {
    await page.click(`#lights button:text-is('${light}')`);
    const colours = await page.evaluate(() => {
      const style = getComputedStyle(document.documentElement);
      const full = (text) => (text.length === 4 ? `#${[...text.slice(1)].map((one) => one + one).join("")}` : text);
      return Object.fromEntries(["back", "raised", "room", "press", "text", "faint", "alert", "line", "wall", "mark", "edge", "grid"]
        .map((name) => [name, full(style.getPropertyValue(`--${name}`).trim())]));
    });
    for (const name of ["text", "faint", "alert"]) {
      for (const behind of ["back", "raised", "room"]) {
        const ratio = contrast(colours[name], colours[behind]);
        assert.ok(ratio >= 4.5, `${light}: ${name} on ${behind} has ${ratio.toFixed(2)}`);
      }
    }
    for (const name of ["line", "wall", "mark"]) { // WCAG 2.2, 1.4.11: what is no text
      const ratio = contrast(colours[name], colours.back);
      assert.ok(ratio >= (light === "Red" && name !== "line" ? 2 : 3), `${light}: ${name} has ${ratio.toFixed(2)}`);
    }
    if (light === "Red") for (const [name, colour] of Object.entries(colours)) assert.match(colour, /^#..0000$/, name);
  }
  await page.context().close();
});

test("names are never markup, in no view", async () => {
  const bad = "<img src=x onerror=alert(1)>";
  const site = { site: "named", title: `${bad}site`, baseline_s: 5, rooms: [{ id: "a", title: `${bad}room`, outline_m: [[0, 0], [4, 0], [4, 4], [0, 4]] }],
    doors: [], nodes: [{ id: "n1", room: "a", position_m: [1, 1, 1], control: false, channels: [{ name: "temperature", unit: "Cel", rate_hz: 1 }] }] };
  fs.writeFileSync(path.join(folder, "named.json"), JSON.stringify(site));
  fs.writeFileSync(path.join(folder, "named.csv"), `time,node,temperature\n${Array.from({ length: 60 }, (_, i) => `${1700000000 + i},n1,20.${i % 7}\n`).join("")}`);
  const night = path.join(folder, "named.sqlite");
  await run(ROOMWAKE, ["import", "--site", path.join(folder, "named.json"), "--csv", path.join(folder, "named.csv"), "--night", night],
    { ROOMWAKE_KEY: path.join(folder, "base.key") });
  const named = await serve(["serve", night]);
  const page = await open(await browser.newContext(), `${named.url}#now`);
  for (const view of ["now", "night", "share"]) {
    await page.evaluate((hash) => { location.hash = hash; }, view);
    await page.waitForSelector(`.view-${view} *`);
    assert.equal(await page.locator("img").count(), 0, view);
  }
  assert.equal(await page.textContent("#site"), `${bad}site`);
  const files = { "Everything in one file": /\.tar$/, "The report": /\.html$/, "Every second, as a table": /\.seconds\.csv$/ };
  for (const [name, ending] of Object.entries(files)) {
    const [taken] = await Promise.all([page.waitForEvent("download"), page.click(`a:text-is("${name}")`)]);
    assert.match(taken.suggestedFilename(), ending);
    const kept = path.join(folder, taken.suggestedFilename());
    await taken.saveAs(kept);
    assert.ok(fs.statSync(kept).size > 1000, kept);
  }
  assert.match(await run("tar", ["-tf", fs.readdirSync(folder).filter((one) => one.endsWith(".tar")).map((one) => path.join(folder, one))[0]]),
    /report\.html[^]*night\.sqlite[^]*samples\.mseed[^]*SHA256SUMS/);
  await page.evaluate(() => { location.hash = "night"; });
  await page.waitForSelector(`text=${bad}room (n1) temperature`);
  assert.deepEqual(page.faults, []);
  await page.context().close();
  await named.stop();
});

test("by keyboard alone a finding is reached, played, and left", async () => {
  const page = await open(await browser.newContext({ viewport: { width: 1280, height: 900 } }), `${served.url}#now`);
  await page.waitForSelector("#found li");
  await pressByKeys(page, /^Look closer/);
  await page.waitForSelector(".trace canvas");
  await pressByKeys(page, /^Play/);
  await until("the play's end", async () => (await page.locator(".node.reached").count()) === 3);
  await pressByKeys(page, /^Night/);
  await shown(page);
  await pressByKeys(page, /^Finding before/);
  await until("the finding", async () => { const [a, b] = await sight(page); return b - a < 200e9; });
  await pressByKeys(page, /^Take away/);
  await page.waitForSelector(".takes");
  assert.deepEqual(page.faults, []);
  await page.context().close();
});

test("what can't be taken away is said in words", async () => {
  const page = await open(await browser.newContext(), `${served.url}#share`);
  await page.route("**/api/export?format=bundle&check=1", (route) => route.fulfill({ status: 503, contentType: "application/json",
    body: JSON.stringify({ error: "/nights/: no room: about 900 MB are needed there for a while" }) }));
  await page.click("a:text-is('Everything in one file')");
  await page.waitForSelector("text=/can't be written now. \\/nights\\/: no room: about 900 MB/");
  await page.context().close();
});
