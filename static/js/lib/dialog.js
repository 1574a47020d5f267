// @ts-check
import { make } from "./dom.js";

/** Opens a dialog; it is gone once closed. @param {string} title @param {...any} children @returns {HTMLDialogElement} */
export function openDialog(title, ...children) {
  const dialog = make("dialog", { "aria-label": title },
    make("button", { type: "button", class: "close", onclick: () => dialog.close() }, "close"),
    make("h2", {}, title), ...children);
  dialog.addEventListener("close", () => dialog.remove());
  document.body.append(dialog);
  dialog.showModal();
  return dialog;
}
