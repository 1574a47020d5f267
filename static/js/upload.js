// @ts-check
// Takes files by drop or picker; what sends them, and what follows the reading, is fetched once there is need.
import { find } from "./lib/dom.js";

/** @param {HTMLFormElement|null} form @param {string|null} session where the files go; a new session when null */
export function startUpload(form, session) {
  const input = form && find("input[type=file]", form);
  const take = (/** @type {FileList|null|undefined} */ files) => { if (files?.length) import("./bring.js").then(({ bring }) => bring([...files], session, form)); };
  input?.addEventListener("change", () => take(input.files));
  form?.addEventListener("submit", (event) => event.preventDefault());
  const hasFiles = (/** @type {DragEvent} */ event) => event.dataTransfer?.types.includes("Files");
  addEventListener("dragover", (event) => { if (hasFiles(event)) { event.preventDefault(); document.body.classList.add("dropping"); } });
  addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.body.classList.remove("dropping"); });
  addEventListener("drop", (event) => {
    if (!hasFiles(event)) return;
    event.preventDefault();
    document.body.classList.remove("dropping");
    take(event.dataTransfer?.files);
  });
  const progress = form && find("[data-progress]", form);
  if (session && form?.dataset.upload === "reading") import("./progress.js").then(({ watch, fail }) => watch(session, progress).catch((error) => fail(progress, error.message)));
  // What the page before could not take, said there.
  if (globalThis.sessionStorage?.getItem("notes")) import("./notes.js").then(({ showKept }) => showKept());
}
