// @ts-check
// Finds the hooks on the page and starts what belongs to them.
import { all, find } from "./lib/dom.js";

document.documentElement.classList.add("has-script");
const session = document.body.dataset.session;
const uploads = all("[data-upload]");
if (uploads.length || session) {
  const { startUpload } = await import("./upload.js");
  startUpload(uploads[0] ?? null, session ?? null);
}
const diagram = find("[data-diagram]");
if (diagram && session) {
  const { startDiagram } = await import("./timing/start.js");
  await startDiagram(diagram, session);
}
