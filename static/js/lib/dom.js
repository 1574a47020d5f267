// @ts-check
// All writing to the page goes through here: text is set as text, never parsed.

/**
 * Makes an element. Properties starting with "on" become listeners, others attributes; false and null are left out.
 * @param {string} tag
 * @param {Record<string, any>} [properties]
 * @param {...(Node|string|number|null|undefined|false)} children
 * @returns {any}
 */
export function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (value === false || value == null) continue;
    if (name.startsWith("on")) element.addEventListener(name.slice(2), value);
    else element.setAttribute(name, value === true ? "" : String(value));
  }
  fill(element, ...children);
  return element;
}

/** Replaces what an element holds. @param {Element} element @param {...any} children */
export function fill(element, ...children) {
  element.replaceChildren(...children.filter((c) => c != null && c !== false).map((c) => (c instanceof Node ? c : String(c))));
}

/** @param {string} selector @param {ParentNode} [root] @returns {any} */
export const find = (selector, root = document) => root.querySelector(selector);

/** @param {string} selector @param {ParentNode} [root] @returns {any[]} */
export const all = (selector, root = document) => [...root.querySelectorAll(selector)];
