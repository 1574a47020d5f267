// @ts-check
// What the page before did, said in the corner until something is pressed; log.js keeps it, under the same name.
import { make } from "./lib/dom.js";

const place = make("p", { class: "just-done", role: "status" });
const sentence = sessionStorage.getItem("done");
sessionStorage.removeItem("done");
document.body.append(place);
// A status is read aloud when it changes, not when it is made.
requestAnimationFrame(() => { place.textContent = sentence; });
for (const event of ["pointerdown", "keydown"]) addEventListener(event, () => place.remove(), { once: true });
