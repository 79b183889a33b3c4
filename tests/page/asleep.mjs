// A phone that sleeps while the night goes on, and a witness of all that is told meanwhile.
// Must never sleep in the page alone: all processes of its browser stand still. Used by live.test.mjs.

import { open, shown, until } from "./support.mjs";

const HOLE_S = 3; // longer than a piece of the slowest channel that is looked at

// Reads the stream as it comes, apart from any browser.
export class Witness {
  constructor(url) {
    this.url = url;
    this.lines = [];
    this.abort = new AbortController();
    this.read().catch((gone) => { this.gone = gone; });
  }

  async read() {
    const answer = await fetch(`${this.url}live`, { signal: this.abort.signal });
    let text = "";
    for await (const bytes of answer.body.pipeThrough(new TextDecoderStream())) {
      text += bytes;
      const events = text.split("\n\n");
      text = events.pop();
      events.forEach((event) => this.take(event));
    }
  }

  take(event) {
    const fields = Object.fromEntries(event.split("\n").map((line) => line.split(/: (.*)/s).slice(0, 2)));
    if (fields.event === "line") this.lines.push(JSON.parse(fields.data).text);
  }

  async findings() {
    return (await (await fetch(`${this.url}api/findings`)).json()).findings;
  }

  // Whether the page's lines are the last of those that were told, all of them while so many are kept.
  isEnd(lines) {
    const told = this.lines.slice(-lines.length);
    return lines.length >= Math.min(this.lines.length, 300) && told.join("\n") === lines.join("\n");
  }

  stop() {
    this.abort.abort();
  }
}

// One tab of it was put away before (as a phone's browser does), the other was open (as a lid that is shut).
export class Phone {
  constructor(browser, url) {
    this.browser = browser;
    this.url = url;
  }

  async fallAsleep() {
    const context = await this.browser.newContext({ viewport: { width: 390, height: 844 } });
    this.now = await open(context, this.url);
    this.night = await open(context, `${this.url}#night`);
    await shown(this.night);
    await this.night.click("text=Follow");
    await until("fresh samples", () => this.night.evaluate(() => document.querySelector(".lanes").dataset.newest));
    await this.hide(true);
    this.browser.signal("SIGSTOP");
    this.asleepAt = Date.now();
  }

  hide(hidden) {
    return this.now.evaluate((away) => {
      Object.defineProperty(document, "hidden", { value: away, configurable: true });
      document.dispatchEvent(new Event("visibilitychange"));
    }, hidden);
  }

  // How long it slept, in ms.
  async wake() {
    this.browser.signal("SIGCONT");
    const slept = Date.now() - this.asleepAt;
    await this.hide(false);
    return slept;
  }

  findings() {
    return this.now.evaluate(() => [...document.querySelectorAll("#found [data-finding]")].map((one) => Number(one.dataset.finding)).sort());
  }

  // From the first to the last.
  lines() {
    return this.now.evaluate(() => [...document.querySelectorAll("#said li")].reverse().map((one) => one.lastChild.textContent.slice(1)));
  }

  // Whether a lane that follows is whole over what it slept through, as far as it is in sight.
  isWhole(sleptMs) {
    return this.night.evaluate(([longest, sleptS]) => {
      const [x, low] = document.querySelector('[data-lane="n-hall/magnetic.x"]').lane.data;
      return x[x.length - 1] - x[0] >= Math.min(sleptS, 40) &&
        !x.some((at, i) => low[i] === null || (i > 0 && at - x[i - 1] > longest));
    }, [HOLE_S, sleptMs / 1000]);
  }

  async faults() {
    return [...this.now.faults, ...this.night.faults];
  }
}
