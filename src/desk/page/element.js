// Elements: making nodes of the page. No markup is ever built from text, so nothing a file or a table says can become markup.

const SVG = "http://www.w3.org/2000/svg";

/**
 * Makes an element.
 * @param {string} tag its name, with classes behind dots: "p.line.small"
 * @param {object} [props] attributes; `on` holds listeners, `data` data attributes; null leaves an attribute out, and so does false where it is none of ARIA's
 * @param {...(Node|string|null|false|Array)} children what it holds
 */
export function make(tag, props = {}, ...children) {
  const [name, ...classes] = tag.split(".");
  const node = document.createElement(name);
  if (classes.length) node.className = classes.join(" ");
  for (const [key, value] of Object.entries(props)) {
    if (value === null || value === undefined || (value === false && !key.startsWith("aria-"))) continue;
    if (key === "on") for (const [event, listener] of Object.entries(value)) node.addEventListener(event, listener);
    else if (key === "data") Object.assign(node.dataset, value);
    else if (key === "value" || key === "checked" || key === "disabled" || key === "indeterminate") node[key] = value;
    else node.setAttribute(key, value === true && !key.startsWith("aria-") ? "" : String(value));
  }
  fill(node, children);
  return node;
}

/** Appends children, lists among them, and skips what is absent. */
export function fill(node, children) {
  for (const child of children.flat(Infinity)) {
    if (child !== null && child !== undefined && child !== false) node.append(child);
  }
  return node;
}

/** Replaces all that a node holds. */
export function refill(node, ...children) {
  node.replaceChildren();
  return fill(node, children);
}

/**
 * Fetches the sprite, to be put into the page: from a file of its own each drawing would be fetched anew, and be an empty box once
 * the server has stopped. Nothing where it cannot be had, which keeps nobody from the words.
 */
export async function sprite() {
  try {
    const text = await (await fetch("/page/icons.svg")).text();
    const all = document.importNode(new DOMParser().parseFromString(text, "image/svg+xml").documentElement, true);
    all.setAttribute("hidden", "");
    for (const one of all.querySelectorAll("symbol")) one.id = `icon-${one.id}`;
    return all;
  } catch {
    return null;
  }
}

/** A drawing from the sprite; it says nothing to a screen reader, the words beside it do. */
export function icon(name) {
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("class", "icon");
  svg.setAttribute("aria-hidden", "true");
  const use = document.createElementNS(SVG, "use");
  use.setAttribute("href", `#icon-${name}`);
  svg.append(use);
  return svg;
}

/** An SVG node with attributes. */
export function draw(tag, attributes = {}, ...children) {
  const node = document.createElementNS(SVG, tag);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, String(value));
  fill(node, children);
  return node;
}

/** A button with an icon, words, or both. */
export function button(words, act, { icon: sign, quiet = false, kind = "", ...more } = {}) {
  const props = { type: "button", on: { click: act }, ...more };
  if (quiet) Object.assign(props, { "aria-label": words, title: words });
  return make(`button${kind ? `.${kind}` : ""}`, props, sign && icon(sign), quiet ? null : make("span", {}, words));
}

let counter = 0;

/** An id that no other element has. */
export function fresh(stem) {
  counter += 1;
  return `${stem}-${counter}`;
}

/** A field with its label above and room for what is wrong with it. */
export function field(label, input, { hint, key } = {}) {
  input.id ||= fresh("field");
  if (key) input.dataset.key = key;
  const wrong = make("p.wrong", { id: `${input.id}-wrong`, role: "alert" });
  const said = hint && make("p.hint", { id: `${input.id}-hint` }, hint);
  input.setAttribute("aria-describedby", [said && said.id, wrong.id].filter(Boolean).join(" "));
  return make("div.field", {}, make("label", { for: input.id }, label), input, said, wrong);
}

/** Radio buttons as a group with a legend. `choices`: [{value, label, line?, drawing?, stamp?, disabled?}]; a `quiet` legend is only heard. */
export function choice(legend, choices, chosen, act, { kind = "list", name = fresh("choice"), quiet = false } = {}) {
  return make(`fieldset.choice.${kind}`, {}, make(quiet ? "legend.unseen" : "legend", {}, legend),
    choices.map(({ value, label, line, drawing, stamp, disabled = false }) => {
      const input = make("input", {
        type: "radio", name, value, disabled, checked: value === chosen, on: { change: () => act(value) },
      });
      return make("label", {}, input, drawing,
        make("span.words", {}, make("b", {}, label), stamp, line && make("small", {}, line)));
    }));
}
