// @ts-check
// A reading sheet shows the effect of a change at once: the form asks for the page anew with what was said.
import { all } from "./lib/dom.js";

for (const form of all("form[data-effect]")) {
  // Names come several at a time: they wait for the button, or for Enter.
  form.addEventListener("change", (/** @type {any} */ event) => { if (!event.target.name?.startsWith("name.")) form.requestSubmit(); });
  form.addEventListener("formdata", (/** @type {any} */ event) => {
    // What says nothing makes the address longer for nothing; line names matter only beside thresholds.
    for (const [name, value] of [...event.formData.entries()]) {
      const levels = name.startsWith("line.") ? event.formData.get(`levels.${name.slice(5)}`) : value;
      if (!String(levels ?? "").trim()) event.formData.delete(name);
    }
    // An address without fields means what is kept; a lone empty one means nothing said.
    if ([...event.formData.keys()].length === 0) event.formData.set("form", "");
  });
}
