// Times, lengths and values as people read them.
// Must never claim more digits than there are. Used by every view.

const PREFIXES = [[1e9, "G"], [1e6, "M"], [1e3, "k"], [1, ""], [1e-3, "m"], [1e-6, "\u00b5"],
  [1e-9, "n"], [1e-12, "p"]];
const PREFIXED = new Set(["T", "V", "m/s2", "Pa", "s"]);
const UNIT_WORDS = { Cel: "\u00b0C", "/": "", "%RH": "%", "m/s2": "m/s\u00b2" };

function pad(number, digits) {
  return String(number).padStart(digits, "0");
}

// The moment of `ns` since the night's start.
export function moment(base, ns) {
  return new Date(Number((base + BigInt(Math.round(ns))) / 1000000n));
}

// "22:14:03", with as many digits of the second as asked for.
export function clock(base, ns, digits = 0) {
  const date = moment(base, ns);
  const whole = [date.getHours(), date.getMinutes(), date.getSeconds()].map((n) => pad(n, 2)).join(":");
  if (!digits) return whole;
  const total = Number((base + BigInt(Math.round(ns))) % 1000000000n);
  return `${whole}.${pad(total, 9).slice(0, digits)}`;
}

// A length of time to two or three figures.
export function length(ns) {
  const size = Math.abs(ns);
  const s = size / 1e9;
  if (s >= 7200) return `${Math.floor(s / 3600)} h ${Math.round((s % 3600) / 60)} min`;
  if (s >= 120) return `${Math.floor(s / 60)} min ${Math.round(s % 60)} s`;
  if (s >= 1) return `${Number(s.toPrecision(3))} s`;
  if (size >= 1e6) return `${Number((size / 1e6).toPrecision(3))} ms`;
  return `${Number((size / 1e6).toPrecision(2))} ms`;
}

// "1 gap", "2 gaps".
export function some(count, word) {
  return `${count} ${word}${count === 1 ? "" : "s"}`;
}

// How long a mark lasts.
export function lasting(start, end) {
  return end === Infinity ? "still going on" : length(end - start);
}

export function unitWords(unit) {
  return UNIT_WORDS[unit] ?? unit;
}

export function value(number, unit) {
  if (number === null || number === undefined || Number.isNaN(number)) return "no sample";
  if (unit === "/") return number > 0.5 ? "moving" : "still";
  const size = Math.abs(number);
  if (!PREFIXED.has(unit) || size === 0) return `${Number(number.toPrecision(5))} ${unitWords(unit)}`.trim();
  const [factor, prefix] = PREFIXES.find(([least]) => size >= least) || PREFIXES[PREFIXES.length - 1];
  return `${Number((number / factor).toPrecision(5))} ${prefix}${unitWords(unit)}`;
}

export function ago(seconds) {
  if (seconds < 2) return "just now";
  if (seconds < 120) return `${seconds} s ago`;
  return `${Math.floor(seconds / 60)} min ago`;
}

export function rate(perNight) {
  if (perNight === null) return "not known";
  if (perNight < 1e-6) return "less than 0.000001";
  return String(Number(perNight.toPrecision(2)));
}

export function floorName(floor) {
  if (floor === 0) return "Ground floor";
  if (floor > 0) return `Floor ${floor}`;
  return floor === -1 ? "Below ground" : `Below ground, floor ${floor}`;
}

export function causeWords(cause) {
  return cause === "team" ? "the team itself" : cause.replace(/-/g, " ");
}
