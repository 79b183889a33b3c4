// Elements made from names and texts.
// Must never take a text as markup. Used by every view.

export function at(id) {
  return document.getElementById(id);
}

function fill(made, attributes, children) {
  for (const [name, value] of Object.entries(attributes || {})) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

// make("li", {class: "alert"}, "text", element ...)
export function make(name, attributes, ...children) {
  return fill(document.createElement(name), attributes, children);
}

export function draw(name, attributes, ...children) {
  return fill(document.createElementNS("http://www.w3.org/2000/svg", name), attributes, children);
}

export function button(text, onclick, attributes) {
  return make("button", { type: "button", onclick, ...attributes }, text);
}

// A field with its label above it.
export function field(label, input, hint) {
  if (!input.id) input.id = `f-${label.toLowerCase().replace(/[^a-z0-9]+/g, "-")}`;
  return make("div", { class: "field" }, make("label", { for: input.id }, label), input,
    hint ? make("small", {}, hint) : null);
}

export function select(options, value, onchange) {
  const made = make("select", { onchange: () => onchange(made.value) });
  for (const [key, text] of options) made.append(make("option", { value: key }, text));
  made.value = value;
  return made;
}

export function recall(key, fallback) {
  try {
    return localStorage.getItem(key) ?? fallback;
  } catch (refused) {
    return fallback;
  }
}

export function remember(key, value) {
  try {
    localStorage.setItem(key, value);
  } catch (refused) {
    return; // nothing is kept then, and nothing breaks
  }
}
