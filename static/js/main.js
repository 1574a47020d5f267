// @ts-check
// Finds the hooks on the page and starts what belongs to them.
import { all, find } from "./lib/dom.js";

document.documentElement.classList.add("has-script");
const session = document.body.dataset.session;
const diagram = find("[data-diagram]");
const uploads = all("[data-upload]");
const [timing, upload] = await Promise.all([
  diagram && session ? import("./timing/start.js") : null,
  uploads.length || session ? import("./upload.js") : null,
]);
upload?.startUpload(uploads[0] ?? null, session ?? null);
await timing?.startDiagram(diagram, /** @type {string} */ (session));
