// @ts-check
// A slip of paper under the figure: one thing at a time is asked for or listed on it. Not modal; Escape puts it away.
import { find, make, fill } from "../../lib/dom.js";

export class Slip {
  /** @param {HTMLElement} place @param {() => void} closed where the focus goes */
  constructor(place, closed) {
    this.element = make("section", { class: "slip", hidden: true, "aria-label": "Slip" });
    this.closed = closed;
    /** What is open, by its heading. */
    this.title = "";
    this.onclose = () => {};
    place.append(this.element);
    this.element.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
      if (event.key === "Escape") { event.stopPropagation(); this.close(); }
    });
  }

  /** @param {string} title @param {...any} children */
  open(title, ...children) {
    // What was open for something else is put away first.
    if (this.title && this.title !== title) this.onclose();
    this.title = title;
    this.element.hidden = false;
    this.element.setAttribute("aria-label", title);
    fill(this.element, make("div", { class: "slip-head" }, make("h2", {}, title), make("button", { type: "button", onclick: () => this.close() }, "put away")), ...children);
    find("input, select, textarea, .slip-body button", this.element)?.focus();
  }

  close() {
    if (this.element.hidden) return;
    this.element.hidden = true;
    this.title = "";
    fill(this.element);
    this.onclose();
    this.closed();
  }
}
