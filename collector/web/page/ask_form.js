// The plan of a question session, made on the page: what is asked, what counts, what is expected.
// Must never leave out what decides the outcome: the base station checks it before anything begins.

import { button, field, make, recall, remember, select } from "./dom.js";
import { nodeRoom, store } from "./store.js";

const SKIPPED = ["battery"]; // no answer comes by it

function kept(name, key, fallback, attributes) {
  const made = make(name, { ...attributes, "data-key": key, oninput: () => remember(`ask-${key}`, made.value) });
  made.value = recall(`ask-${key}`, fallback);
  return made;
}

function figure(key, fallback, least, most) {
  return kept("input", key, fallback, { type: "number", inputmode: "decimal", min: least, max: most });
}

// "Is it cold? = yes": a known answer; "Knock twice = 2": so many responses are asked for.
function readQuestion(line) {
  const [, text, what] = /^(.*?)(?:\s*=\s*(yes|no|[1-9]))?$/.exec(line.trim());
  if (!what) return { text };
  return what === "yes" || what === "no" ? { text, answer: what } : { text, pattern: Number(what) };
}

function quantities() {
  const all = new Set(store.night.nodes.flatMap((node) => node.channels.map(({ name }) => name.split(".")[0])));
  return [...all].filter((one) => !SKIPPED.includes(one));
}

function counts() {
  const chosen = recall("ask-counts", quantities().includes("electric") ? "electric" : quantities()[0]).split(" ");
  const list = make("fieldset", { class: "choices" }, make("legend", {}, "What counts as a response"));
  for (const one of quantities()) {
    const input = make("input", { type: "checkbox", id: `counts-${one}`, value: one,
      onchange: () => remember("ask-counts", [...list.querySelectorAll(":checked")].map(({ value }) => value).join(" ")) });
    input.checked = chosen.includes(one);
    list.append(input, make("label", { for: input.id }, one));
  }
  return list;
}

export function askForm() {
  const parts = {
    title: kept("input", "title", "", { maxlength: "120" }),
    questions: kept("textarea", "questions", "", { rows: "4" }),
    counts: counts(),
    node: select([["", "at any node"], ...store.night.nodes.map(({ id }) => [id, `${nodeRoom(id)} (${id})`])], "", () => undefined),
    ask_s: figure("ask_s", "8", "0.1", "600"), window_s: figure("window_s", "20", "0.1", "600"), rest_s: figure("rest_s", "10", "0.1", "600"),
    response: figure("response", "50", "0", "100"), chance: figure("chance", "10", "0", "100"),
  };
  const looked = (good) => { form.parentElement.classList.toggle("looked", good); };
  const form = make("div", { class: "plan", oninput: () => looked(false), onchange: () => looked(false) },
    field("A name for it", parts.title), field("The questions, one a line", parts.questions,
      "A known answer may follow: = yes, = no. Or how many responses are asked for: = 2."),
    parts.counts, field("Where", parts.node),
    make("div", { class: "row" }, field("Seconds to ask", parts.ask_s), field("Seconds to wait", parts.window_s), field("Least rest", parts.rest_s)),
    make("p", {}, "Said before, so that nobody can choose afterwards:"),
    make("div", { class: "row" }, field("Of 100 questions you expect answered", parts.response), field("Of 100 by chance", parts.chance)),
    button("Look at the plan", () => form.look(), { class: "big" }));
  form.asked = () => ({ plan: JSON.stringify({
    title: parts.title.value, channels: [...parts.counts.querySelectorAll(":checked")].map(({ value }) => value),
    ...(parts.node.value ? { nodes: [parts.node.value] } : {}),
    ask_s: Number(parts.ask_s.value), window_s: Number(parts.window_s.value), rest_s: Number(parts.rest_s.value),
    expect_response: Number(parts.response.value) / 100, expect_by_chance: Number(parts.chance.value) / 100,
    questions: parts.questions.value.split("\n").filter((line) => line.trim()).map(readQuestion),
  }) });
  form.looked = looked;
  form.begun = () => looked(false);
  return form;
}
