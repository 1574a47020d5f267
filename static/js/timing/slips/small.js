// @ts-check
// Small slips: what evidence is drawn, and going to a typed time.
import { make } from "../../lib/dom.js";
import { parseSeconds } from "../../lib/typed.js";
import { LAYERS } from "../drawing/evidence.js";

/** @param {import("../view.js").Diagram} view */
export function evidenceSlip(view) {
  const box = ([name, says]) => make("label", { class: "layer" }, make("input", { type: "checkbox", checked: !view.hidden.has(name), onchange: (/** @type {any} */ event) => view.showLayer(name, event.target.checked) }), says);
  view.slip.open("Evidence drawn", make("div", { class: "slip-body" }, ...LAYERS.map(box), make("p", { class: "quiet" }, "A stray always keeps its mark.")));
}

/**
 * A typed time → the tick meant, or null. "+200 ns" and "−1 µs" are from the middle of the view. Pure.
 * @param {string} text @param {{start_s: number, tick_s: number}} facts @param {number} middle tick
 */
export function tickOf(text, facts, middle) {
  const value = parseSeconds(text);
  if (value === null) return null;
  return /^\s*[+\-−]/.test(text) ? middle + value / facts.tick_s : (value - facts.start_s) / facts.tick_s;
}

/** @param {import("../view.js").Diagram} view */
export function goToSlip(view) {
  const input = make("input", { "aria-label": "Time with its unit", autocomplete: "off", size: 16 });
  const told = make("span", { class: "quiet", role: "status" }, "such as 1.25 ms; +200 ns or −1 µs from here");
  const form = make("form", { class: "row", onsubmit: (/** @type {Event} */ event) => {
    event.preventDefault();
    const tick = tickOf(input.value, view.facts, view.start + view.span / 2);
    if (tick === null) { told.textContent = "Expected a time with its unit: 1.25 ms, 300 us, 0.5."; return; }
    if (tick < 0 || tick > view.facts.length) { told.textContent = `The capture goes from ${view.moment(0)} to ${view.moment(view.facts.length)}.`; return; }
    view.slip.close();
    view.mark({ start: tick, end: tick, line: null });
    view.say(`At ${view.moment(tick, true)}.`);
  } }, input, make("button", {}, "go there"), told);
  view.slip.open("Go to a time", form);
}
