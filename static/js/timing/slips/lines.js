// @ts-check
// The slip of lines, which says how they are shown: under what name, order, hidden or shown, height, notes, groups, buses.
import { make, fill } from "../../lib/dom.js";
import { RADICES } from "../arrangement.js";
import { setupOfNames, toldOfNames } from "../names.js";

const RADIX_WORDS = /** @type {Record<string, string>} */ ({ "8 false": "octal", "8+8 false": "octal by eight bits", "16 false": "hexadecimal", "10 false": "decimal", "10 true": "decimal, signed", "2 false": "binary" });

/** @param {import("../view.js").Diagram} view @param {string} [focus] key of the line whose name is to be typed */
export function linesSlip(view, focus) {
  const { arrangement } = view, pages = view.path.replace(/^\/api/, "");
  const chosen = new Set();
  const list = make("ul", { class: "line-list" });
  const busName = make("input", { "aria-label": "Name of the bus", placeholder: "name of the bus", size: 14 });
  const button = (/** @type {string} */ text, /** @type {() => void} */ does, /** @type {any} */ more = {}) => make("button", { type: "button", onclick: does, ...more }, text);
  const told = make("p", { role: "status" });
  const lasting = make("div");
  const show = () => {
    fill(list, ...arrangement.items.map(entry)); told.textContent = toldOfNames(arrangement.items);
    const says = setupOfNames(arrangement.items);
    fill(lasting, ...(says ? [make("p", {}, "For these names everywhere, add this to the ", make("a", { href: `${pages}/log?setup#setup` }, "setup"), ", and say them in its links and rules and in the harness sheet too:"), make("pre", { "aria-label": "lines for the setup" }, says)] : []));
  };

  /** @param {import("../arrangement.js").Item} item */
  function entry(item) {
    const { key } = item;
    const act = (/** @type {() => void} */ does) => () => { does(); show(); };
    const field = (/** @type {string} */ label, /** @type {"name"|"note"|"group"} */ what, /** @type {number} */ size) => make("input", {
      "aria-label": `${label} of ${item.given}`, placeholder: label, value: what === "name" ? item.name : item[what], size, "data-field": `${what} ${key}`,
      onchange: (/** @type {any} */ event) => { const value = event.target.value.trim(); arrangement.set(key, { [what]: what === "name" ? value || item.given : value }); show(); },
    });
    return make("li", { class: item.hidden ? "is-hidden" : "" },
      item.line !== null && make("input", { type: "checkbox", "aria-label": `${item.given} into a bus`, checked: chosen.has(key), onchange: (/** @type {any} */ e) => (e.target.checked ? chosen.add(key) : chosen.delete(key)) }),
      make("span", { class: "given" }, item.given, item.hidden && " (hidden)"),
      field("name here", "name", 12), field("note", "note", 12), field("group", "group", 9),
      button(item.hidden ? "show" : "hide", act(() => arrangement.set(key, { hidden: !item.hidden })), { "aria-label": `${item.hidden ? "show" : "hide"} ${item.given}` }),
      button("up", act(() => arrangement.move(key, -1)), { "aria-label": `move ${item.given} up` }), button("down", act(() => arrangement.move(key, 1)), { "aria-label": `move ${item.given} down` }),
      button("taller", act(() => arrangement.resize(key, 1)), { "aria-label": `${item.given} taller` }), button("lower", act(() => arrangement.resize(key, -1)), { "aria-label": `${item.given} lower` }),
      ...(item.bits ? busTools(item, act) : []));
  }

  /** @param {import("../arrangement.js").Item} item @param {(does: () => void) => () => void} act */
  function busTools(item, act) {
    const now = `${item.radix} ${item.signed}`;
    return [
      make("select", { "aria-label": `Digits of ${item.given}`, onchange: (/** @type {any} */ event) => {
        const [radix, signed] = RADICES[event.target.selectedIndex];
        arrangement.set(item.key, { radix: /** @type {string} */ (radix), signed: /** @type {boolean} */ (signed) });
      } }, ...RADICES.map(([radix, signed]) => make("option", { selected: `${radix} ${signed}` === now }, RADIX_WORDS[`${radix} ${signed}`]))),
      button("bits the other way round", act(() => arrangement.reverse(item.key))),
      button("into bits", act(() => arrangement.unfold(item.key))),
    ];
  }

  const fold = () => {
    // In the order of the list, the first the most significant.
    const bits = arrangement.items.filter((item) => chosen.has(item.key) && item.line !== null).map((item) => /** @type {number} */ (item.line));
    if (bits.length < 2) { view.say("Tick two lines or more, the most significant first in the list, to fold them into a bus."); return; }
    arrangement.fold(bits, busName.value.trim() || "BUS");
    chosen.clear(); busName.value = "";
    show();
  };
  show();
  view.slip.open("Lines", make("div", { class: "slip-body" },
    make("p", { class: "quiet" }, "What is said here is how lines are shown: in this diagram, on the sheet beside it and in its figures. For a name that holds everywhere, open the capture in the ",
      make("a", { href: `${pages}/log#conditions` }, "bench log"), " and fill in “called” under “How it is read”; for a value change dump say [read.rename] in the ", make("a", { href: `${pages}/log?setup#setup` }, "setup"), "."), told, lasting, list,
    make("div", { class: "row" }, busName, button("ticked lines into a bus", fold),
      button("group by board", () => { if (!arrangement.groupByBoard()) view.say("No board is known yet: the harness sheet says where lines are."); show(); }),
      button("as in the capture", () => { arrangement.reset(); arrangement.evidenceFirst = true; arrangement.changed(); show(); }),
      button("lines of the finding first", () => { arrangement.evidenceFirst = !arrangement.evidenceFirst; arrangement.changed(); }, {}))));
  const input = focus && [...list.querySelectorAll("input")].find((field) => field.dataset.field === `name ${focus}`);
  if (input) { input.focus(); input.select(); }
}
