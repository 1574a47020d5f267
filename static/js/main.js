// @ts-check
// Finds the hooks on the page and starts what belongs to them.
import { all, find } from "./lib/dom.js";
import { startUpload } from "./upload.js";

document.documentElement.classList.add("has-script");
const session = document.body.dataset.session;
const diagram = find("[data-diagram]");
const uploads = all("[data-upload]");
if (uploads.length || session) startUpload(uploads[0] ?? null, session ?? null);
if (diagram && session) import("./timing/start.js").then(({ startDiagram }) => startDiagram(diagram, session));
