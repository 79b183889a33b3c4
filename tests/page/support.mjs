// What the browser's tests share: programs, a browser, pages that tell their faults.
// Must never sleep where a condition can be waited for, nor end what it did not start.

import assert from "node:assert/strict";
import { spawn } from "node:child_process";
import fs from "node:fs";
import { createRequire } from "node:module";
import net from "node:net";
import os from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

export const ROOT = path.resolve(path.dirname(fileURLToPath(import.meta.url)), "../..");
export const BUILD = process.env.ROOMWAKE_BUILD || path.join(ROOT, "build");
export const ROOMWAKE = path.join(BUILD, "roomwake");
const FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
  "--disable-background-networking", "--disable-component-update", "--disable-sync"];
export const DEADLINE_MS = 60000;
const AXE = fs.readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const SHOTS = process.env.ROOMWAKE_SHOTS || "";
const SIZES = [[360, 760], [768, 1024], [1440, 900]];

export function makeFolder() {
  return fs.mkdtempSync(path.join(os.tmpdir(), "roomwake-page-"));
}

export function freePort() {
  return new Promise((done) => {
    const probe = net.createServer().listen(0, "127.0.0.1", () => {
      const { port } = probe.address();
      probe.close(() => done(port));
    });
  });
}

export async function until(what, condition, deadlineMs = DEADLINE_MS) {
  const end = Date.now() + deadlineMs;
  for (;;) {
    const value = await condition();
    if (value) return value;
    if (Date.now() > end) throw new Error(`waited ${deadlineMs} ms in vain: ${what}`);
    await new Promise((go) => setTimeout(go, 30));
  }
}

// A program with its output; stop() ends it by its own id.
export class Program {
  constructor(command, args, env = {}) {
    this.output = "";
    this.process = spawn(command, args, { env: { ...process.env, ...env }, stdio: ["ignore", "pipe", "pipe"] });
    for (const stream of [this.process.stdout, this.process.stderr]) {
      stream.on("data", (bytes) => { this.output += bytes; });
    }
    this.ended = new Promise((done) => this.process.on("exit", (code) => { this.code = code; done(code); }));
  }

  said(pattern) {
    return until(`${pattern} in the output:\n${this.output}`, () => {
      const found = pattern.exec(this.output);
      if (!found && this.code !== undefined) throw new Error(`it ended (${this.code}):\n${this.output}`);
      return found;
    });
  }

  async stop(signal = "SIGTERM") {
    if (this.code === undefined) this.process.kill(signal);
    return this.ended;
  }
}

export async function run(command, args, env) {
  const program = new Program(command, args, env);
  const code = await program.ended;
  if (code !== 0) throw new Error(`${command} ${args.join(" ")}: ${code}\n${program.output}`);
  return program.output;
}

// The made night of 12 nodes and 8 hours, served.
export async function serveMade(folder, rate = 4) {
  const night = process.env.ROOMWAKE_MADE_NIGHT || path.join(folder, "made.sqlite");
  const env = { ROOMWAKE_KEY: path.join(folder, "base.key") };
  if (!fs.existsSync(night)) await run(path.join(BUILD, "tests/bench_page"), [night, String(rate)], env);
  return serve(["serve", night]);
}

export async function serve(args) {
  const program = new Program(ROOMWAKE, [...args, "--http", `127.0.0.1:${await freePort()}`]);
  program.url = (await program.said(/The page: (\S+)/))[1];
  return program;
}

// A live night with real broker and simulated nodes: the demo.
export async function startDemo(folder) {
  const program = new Program(path.join(ROOT, "deploy/demo"), [], {
    ROOMWAKE_BUILD: BUILD, TMPDIR: folder, ROOMWAKE_KEY: path.join(folder, "base.key"),
  });
  program.url = (await program.said(/The page: +(\S+)/))[1];
  return program;
}

export function launch() {
  return chromium.launch({ executablePath: process.env.CHROMIUM || "/usr/bin/chromium", args: FLAGS });
}

function parentOf(pid) {
  try {
    return Number(fs.readFileSync(`/proc/${pid}/stat`, "utf8").split(") ").pop().split(" ")[1]);
  } catch (gone) {
    return 0; // it ended meanwhile
  }
}

function childrenOf(pid) {
  return fs.readdirSync("/proc").map(Number).filter((one) => one && parentOf(one) === pid);
}

function familyOf(pid) {
  return [pid, ...childrenOf(pid).flatMap(familyOf)];
}

// A browser with `signal(name)` to all of its processes: stopped and continued, it is a phone that slept.
export async function launchStoppable() {
  const before = new Set(childrenOf(process.pid));
  const browser = await launch();
  const own = childrenOf(process.pid).filter((pid) => !before.has(pid));
  browser.signal = (name) => own.flatMap(familyOf).forEach((pid) => {
    try {
      process.kill(pid, name);
    } catch (gone) {
      assert.equal(gone.code, "ESRCH"); // it ended meanwhile
    }
  });
  assert.equal(own.length, 1);
  return browser;
}

// A page whose errors fail the test that asks for them.
export async function open(context, url) {
  const page = await context.newPage();
  page.faults = [];
  page.setDefaultTimeout(DEADLINE_MS);
  page.on("pageerror", (error) => page.faults.push(error.stack));
  page.on("dialog", (dialog) => { page.faults.push(`a dialog: ${dialog.message()}`); dialog.dismiss(); });
  page.on("console", (message) => { if (message.type() === "error") page.faults.push(message.text()); });
  await page.goto(url);
  await page.waitForSelector("[data-ready]");
  return page;
}

// Waits until the lanes show what is in sight.
export function shown(page) {
  return page.waitForFunction(() => document.querySelector(".lanes")?.dataset.shown !== undefined);
}

export async function shoot(page, name) {
  if (SHOTS) await page.screenshot({ path: path.join(SHOTS, `${name}.png`) });
}

// What is shown now, in each light: without fault for who can't see or point, and no wider than a
// screen of any size. The context must let scripts in (bypassCSP).
export async function withoutFault(page, name) {
  const before = page.viewportSize();
  await page.evaluate(AXE);
  for (const light of ["Dark", "Red", "Day"]) {
    await page.click(`#lights button:text-is('${light}')`);
    const { violations } = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
    assert.deepEqual(violations.map((one) => `${one.id}: ${one.nodes.map((node) => `${node.target} ${node.failureSummary}`)}`), [],
      `${name} in ${light}`);
    for (const [width, height] of SIZES) {
      await page.setViewportSize({ width, height });
      const over = await page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
      assert.ok(over <= 0, `${name} at ${width}: ${over} px too wide`);
      await shoot(page, `${name}-${light.toLowerCase()}-${width}`);
    }
    await page.setViewportSize(before);
  }
}

// By Tab to what has the focus with these words, then Enter.
export async function pressByKeys(page, words) {
  for (let i = 0; i < 200; i += 1) {
    await page.keyboard.press("Tab");
    if (words.test(await page.evaluate(() => document.activeElement.textContent.trim()))) {
      await page.keyboard.press("Enter");
      return;
    }
  }
  throw new Error(`no way by Tab to ${words}`);
}
