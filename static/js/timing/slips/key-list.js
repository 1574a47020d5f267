// @ts-check
// The list of the diagram's keys, fetched once it is asked for.
import { make } from "../../lib/dom.js";
import { openDialog } from "../../lib/dialog.js";

/** @param {import("../keys.js").Key[]} table */
export function showKeys(table) {
  openDialog("Keys", make("table", {}, make("tbody", {}, ...table.map((key) =>
    make("tr", {}, make("th", { scope: "row" }, make("kbd", {}, key.shown)), make("td", {}, key.says))))),
  make("p", { class: "quiet" }, "Wheel: closer and farther about the pointer; with Shift: along. Drag: along. Press on a pulse: choose it. Two fingers: closer and farther. With Shift dragged: a stretch to count over. Wheel over the names: up and down. Drag a name: move the line; pressed twice: name it in this diagram."));
}
