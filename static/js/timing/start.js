// @ts-check
// Joins the diagram with the sheet, the tools, the keys and the address.
import { all, fill, find, make } from "../lib/dom.js";
import { getJson } from "../lib/fetch.js";
import { readAddress, writeAddress } from "./address.js";
import { listen } from "./input.js";
import { keyTable, listenKeys, showKeys } from "./keys.js";
import { Diagram } from "./view.js";

/** @param {HTMLElement} root @param {string} session */
export async function startDiagram(root, session) {
  const path = `/api/sessions/${session}`;
  const facts = await getJson(`${path}/diagram`);
  root.hidden = false;
  const view = new Diagram(root, path, facts);
  listen(view);

  const order = facts.findings.map((/** @type {any} */ f) => f.id);
  const step = (/** @type {number} */ by) => {
    const at = view.finding ? order.indexOf(view.finding.id) : by > 0 ? -1 : order.length;
    const id = order[Math.max(0, Math.min(order.length - 1, at + by))];
    if (id) take(id, 0);
  };
  let hasTaken = false;
  /** @param {string} id @param {number} occurrence */
  async function take(id, occurrence) {
    hasTaken = true;
    try {
      await view.take(id, occurrence);
    } catch (error) {
      view.say(/** @type {Error} */ (error).message);
    }
    mark();
    remember(true);
  }
  function mark() {
    for (const item of all("[data-finding]")) {
      const isHere = item.dataset.finding === view.finding?.id;
      item.classList.toggle("in-hand", isHere);
      find("h2 a", item)?.setAttribute("aria-current", isHere ? "true" : "false");
      // The sheet opens at its headline; it scrolls only once the person has taken a finding.
      if (isHere && hasTaken) item.scrollIntoView({ block: "nearest", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
    }
    tools();
  }

  const actions = {
    nextFinding: () => step(1), previousFinding: () => step(-1),
    keys: () => showKeys(table),
  };
  const table = keyTable(view, /** @type {any} */ (actions));
  listenKeys(view, table);
  for (const link of all("[data-show]")) {
    link.addEventListener("click", (/** @type {MouseEvent} */ event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      take(link.dataset.show, 0);
    });
  }

  function tools() {
    const button = (/** @type {string} */ text, /** @type {() => void} */ does, /** @type {any} */ more = {}) => make("button", { type: "button", onclick: does, ...more }, text);
    const count = view.occurrences.length ? view.occurrenceCount : 0;
    fill(view.tools,
      button("previous", () => view.goTo(view.occurrence - 1), { disabled: count < 2 }),
      button(count ? `next of ${count}` : "next", () => view.goTo(view.occurrence + 1), { disabled: count < 2 }),
      button("closer", () => view.zoom(0.5)), button("farther", () => view.zoom(2)), button("whole", () => view.fit()),
      button("measure", () => view.dimensions.measure(!view.dimensions.isMeasuring)),
      button("keys", () => showKeys(table), { "aria-keyshortcuts": "?" }));
  }

  let pending = 0;
  /** @param {boolean} isStep whether Back should come here */
  function remember(isStep) {
    const place = {
      finding: view.finding?.id ?? null, occurrence: view.occurrence,
      at: facts.start_s + view.start * facts.tick_s, span: view.span * facts.tick_s,
    };
    const address = location.pathname + writeAddress(place);
    if (address === location.pathname + location.search) return;
    history[isStep ? "pushState" : "replaceState"](null, "", address);
  }
  view.onmove = () => {
    clearTimeout(pending);
    pending = setTimeout(() => remember(false), 250);
  };
  async function restore() {
    const place = readAddress(location.search);
    if (place.finding) await view.take(place.finding, place.occurrence);
    else if (place.at === null && order.length && facts.findings[0].severity !== "note") await view.take(order[0], 0);
    if (place.at !== null && place.span !== null) view.show((place.at - facts.start_s) / facts.tick_s, place.span / facts.tick_s);
    else if (!view.finding) view.fit();
    mark();
  }
  addEventListener("popstate", () => restore().catch((error) => view.say(error.message)));
  await restore();
  /** @type {any} */ (globalThis).edgewitness = { view };
  return view;
}
