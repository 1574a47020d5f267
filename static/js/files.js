// @ts-check
// Forms that send a file as it is, and files that are put into a field as text.
import { all } from "./lib/dom.js";
import { sendBytes } from "./lib/fetch.js";
import { send } from "./log.js";

for (const form of all("form[data-bytes]")) {
  form.addEventListener("submit", (/** @type {Event} */ event) => {
    event.preventDefault();
    const file = form.elements.namedItem("file").files[0];
    const caption = form.elements.namedItem("caption")?.value ?? "";
    const query = new URLSearchParams({ name: file.name, caption });
    send(form, () => sendBytes(`${form.dataset.bytes}?${query}`, file));
  });
}

for (const input of all("input[data-into]")) {
  input.addEventListener("change", async () => {
    const field = input.form.elements.namedItem(input.dataset.into);
    field.value = await input.files[0].text();
    field.dispatchEvent(new Event("input", { bubbles: true }));
  });
}
