// Building elements by hand: nothing on this page is ever parsed from text.

const SVG = "http://www.w3.org/2000/svg";

/**
 * An element. Functions become listeners, `true` an empty attribute; `false`, null and undefined
 * leave the attribute out.
 * @param {string} tag
 * @param {Object<string, *>} [props]
 * @param {...(Node|string|null|undefined|false|Array)} children
 */
export function h(tag, props, ...children) {
  return dress(document.createElement(tag), props, children);
}

/** The same for drawings. */
export function s(tag, props, ...children) {
  return dress(document.createElementNS(SVG, tag), props, children);
}

function dress(element, props, children) {
  for (const [name, value] of Object.entries(props ?? {})) {
    if (typeof value === "function") element.addEventListener(name, value);
    else if (value === true) element.setAttribute(name, "");
    else if (value !== false && value != null) element.setAttribute(name, value);
  }
  element.append(...children.flat(Infinity).filter((child) => child != null && child !== false));
  return element;
}

/** Sets attributes of an element that stands already; null takes one away. */
export function set(element, attributes) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value == null || value === false) element.removeAttribute(name);
    else element.setAttribute(name, value === true ? "" : value);
  }
  return element;
}

/** Tells those who listen to the page. The same words twice are spoken twice. */
export function say(words) {
  const said = document.getElementById("said");
  said.replaceChildren(h("p", {}, words));
}

/** A link that looks like a button. */
export function linkButton(href, words, kind = "") {
  return h("a", { class: `button ${kind}`, href }, words);
}

export function button(words, onClick, props = {}) {
  return h("button", { type: "button", click: onClick, ...props }, words);
}

/**
 * What went wrong and what to do, as the server says it.
 * @param {{message: string, hint?: string}} trouble
 */
export function troubleBox(trouble, ...more) {
  return h("div", { class: "trouble", role: "alert" },
    h("p", { class: "what" }, trouble.message),
    trouble.hint && h("p", {}, trouble.hint),
    more);
}

/** Opens the file dialog by a button that can be reached by keys and read aloud. */
export function fileButton(words, onFiles, { several = false, kind = "" } = {}) {
  const input = h("input", {
    type: "file", accept: "image/jpeg,image/png,image/webp,image/tiff,application/dicom,.jpg,.jpeg,.png,.webp,.tif,.tiff,.dcm,.dicom",
    multiple: several, hidden: true, "aria-hidden": "true", tabindex: "-1",
    change: () => {
      const files = [...input.files];
      input.value = "";
      if (files.length) onFiles(files);
    },
  });
  return h("span", { class: "file" }, input, button(words, () => input.click(), { class: kind }));
}
