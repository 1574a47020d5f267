// @ts-check
// Every key of the diagram, in one table: what is listed under "?" is what is listened to.
import { make } from "../lib/dom.js";
import { openDialog } from "../lib/dialog.js";

/**
 * @typedef {{keys: string[], shown: string, says: string, does: (event: KeyboardEvent) => void}} Key
 * @param {import("./view.js").Diagram} view @param {Record<string, () => void>} actions
 * @returns {Key[]}
 */
export function keyTable(view, actions) {
  const row = () => view.rows()[view.chosen];
  const choose = (/** @type {number} */ by) => {
    const rows = view.rows();
    view.chosen = Math.max(0, Math.min(rows.length - 1, view.chosen + by));
    const at = rows[view.chosen];
    if (at && at.top < view.size * 3) view.scroll = Math.max(0, view.scroll + at.top - view.size * 3);
    if (at && at.top + at.height > view.height) view.scroll += at.top + at.height - view.height + 4;
    if (at) view.say(view.describe(at));
    view.paint();
  };
  return [
    { keys: ["ArrowLeft", "ArrowRight"], shown: "← →", says: "earlier, later (with Shift: by a whole width)", does: (e) => view.pan((e.key === "ArrowLeft" ? -1 : 1) * (e.shiftKey ? 1 : 0.15)) },
    { keys: ["ArrowUp", "ArrowDown"], shown: "↑ ↓", says: "choose a line (with Alt: move it)", does: (e) => {
      const by = e.key === "ArrowUp" ? -1 : 1;
      if (e.altKey && row()) { view.arrangement.move(/** @type {any} */ (row()).key, by); }
      choose(by);
    } },
    { keys: ["+", "=", "-", "−"], shown: "+ −", says: "closer, farther", does: (e) => view.zoom(e.key === "+" || e.key === "=" ? 0.7 : 1 / 0.7) },
    { keys: ["Home"], shown: "Home", says: "the whole capture", does: () => view.fit() },
    { keys: [".", ","], shown: ". ,", says: "next, previous moment of the finding in hand", does: (e) => view.goTo(view.occurrence + (e.key === "." ? 1 : -1)) },
    { keys: ["PageDown", "PageUp"], shown: "PgDn PgUp", says: "next, previous finding", does: (e) => actions[e.key === "PageDown" ? "nextFinding" : "previousFinding"]() },
    { keys: ["m"], shown: "m", says: "measure from edge to edge", does: () => view.dimensions.measure(!view.dimensions.isMeasuring) },
    { keys: ["Backspace"], shown: "Backspace", says: "take away the last dimension line", does: () => view.dimensions.undo() },
    { keys: ["h"], shown: "h", says: "hide the chosen line until the page is loaded again", does: () => { if (row()) view.arrangement.set(/** @type {any} */ (row()).key, { hidden: true }); } },
    { keys: ["Escape"], shown: "Esc", says: "stop measuring, put the finding down", does: () => { if (view.dimensions.isMeasuring) view.dimensions.measure(false); else if (view.overlay) { view.overlay = null; view.paint(); } else view.drop(); } },
    { keys: ["?"], shown: "?", says: "this list", does: () => actions.keys() },
  ];
}

/** @param {import("./view.js").Diagram} view @param {Key[]} table */
export function listenKeys(view, table) {
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey) return;
    const target = /** @type {HTMLElement} */ (event.target);
    if (target.closest("input, select, textarea, dialog, button, a") && event.key !== "?" && !/^[a-z.,]$/i.test(event.key)) return;
    if (target.closest("input, select, textarea, dialog")) return;
    // Arrow and paging keys scroll the sheet while it has the focus.
    if (target.closest(".sheet") && /^(Arrow|Page|Home|Enter)/.test(event.key)) return;
    const key = table.find((k) => k.keys.includes(event.key));
    if (!key) return;
    event.preventDefault();
    key.does(event);
  });
}

/** @param {Key[]} table */
export function showKeys(table) {
  openDialog("Keys", make("table", {}, make("tbody", {}, ...table.map((key) =>
    make("tr", {}, make("th", { scope: "row" }, make("kbd", {}, key.shown)), make("td", {}, key.says))))),
  make("p", { class: "quiet" }, "Wheel: closer and farther about the pointer; with Shift: along. Drag: along. Two fingers: closer and farther. Wheel over the names: up and down. Drag a name: move the line."));
}
