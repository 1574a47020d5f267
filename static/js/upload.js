// @ts-check
// Takes files by drop or picker, and follows the reading; what sends them is fetched once there are any.
import { fill, find, make } from "./lib/dom.js";

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
  if (session && form?.dataset.upload === "reading") watch(session, progress).catch((error) => fail(progress, error.message));
}

/** @param {Element} place @param {string} text @param {number|null} share */
export function tell(place, text, share) {
  fill(place, make("p", { class: "progress" }, text), make("p", { class: "progress" }, make("progress", share === null ? { "aria-label": text } : { max: 1, value: share, "aria-label": text })));
}

/** @param {Element} place @param {string} text */
export const fail = (place, text) => fill(place, make("p", { class: "progress failed", role: "alert" }, text));

/** Follows reading and analysis, then shows the sheet. @param {string} id @param {Element} place @param {boolean} [isNew] there is another capture to see */
export function watch(id, place, isNew = false) {
  return new Promise((resolve, reject) => {
    const events = new EventSource(`/api/sessions/${id}/work`);
    events.addEventListener("step", (event) => {
      const { says, share } = JSON.parse(event.data);
      tell(place, says, share);
    });
    events.addEventListener("ready", () => {
      events.close();
      // A link to a moment stays one; a new capture is seen at what is wrong in it.
      const path = `/sessions/${id}`;
      location.assign(location.pathname === path && !isNew ? path + location.search : path);
      resolve(undefined);
    });
    events.addEventListener("failed", (event) => {
      events.close();
      reject(new Error(JSON.parse(event.data).error));
    });
  });
}
