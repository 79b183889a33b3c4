// Questions to the base station and the few changes that can be made.
// Must never send a change but by POST with the page's own header. Used by the views.

export class Refused extends Error {
  constructor(status, text) {
    super(text);
    this.status = status;
  }
}

async function read(response) {
  const text = await response.text();
  let json = null;
  try {
    json = JSON.parse(text);
  } catch (noJson) {
    json = null;
  }
  if (!response.ok) throw new Refused(response.status, json?.error || text.trim() || "refused");
  return json;
}

export async function ask(path, signal) {
  return read(await fetch(path, { signal, credentials: "same-origin" }));
}

// Who may do what here, and the night: first.js has asked already.
export async function askSelf() {
  const asked = await window.firstAnswer;
  window.firstAnswer = null;
  return asked ? read(asked) : ask("/api/self");
}

export async function change(path, body) {
  return read(await fetch(path, {
    method: "POST",
    credentials: "same-origin",
    headers: { "Content-Type": "application/json", "X-Roomwake": "1" },
    body: typeof body === "string" ? body : JSON.stringify(body),
  }));
}
