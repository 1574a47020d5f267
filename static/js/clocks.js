// @ts-check
// Moving a capture's clock by keys: the arrows press the buttons beside the figure, and the figure keeps the focus
// when the page is shown anew.
import { all, find } from "./lib/dom.js";

const KEPT = `moved ${location.pathname}`;

for (const group of all("[data-nudge]")) {
  group.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
    const direction = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (!direction || event.ctrlKey || event.altKey || event.metaKey) return;
    const button = find(`[data-step="${direction * (event.shiftKey ? 10 : 1)}"]`, group);
    if (!button || button.disabled) return;
    event.preventDefault();
    remember(group);
    button.click();
  });
  group.addEventListener("click", () => remember(group));
}

/** @param {any} group */
function remember(group) {
  try {
    sessionStorage.setItem(KEPT, group.dataset.nudge);
  } catch {
    // The focus is then where the browser puts it.
  }
}

try {
  const name = sessionStorage.getItem(KEPT);
  const group = all("[data-nudge]").find((one) => one.dataset.nudge === name);
  if (group) group.focus();
  sessionStorage.removeItem(KEPT);
} catch {
  // Nothing was kept.
}
