// @ts-check
// Files by drop or picker, several at once: sent one after the other, then read and analysed, with progress.
import { fill, find, make } from "./lib/dom.js";
import { sendJson } from "./lib/fetch.js";

/** @param {HTMLFormElement|null} form @param {string|null} session where the files go; a new session when null */
export function startUpload(form, session) {
  const input = form && find("input[type=file]", form);
  const take = (/** @type {FileList|null|undefined} */ files) => { if (files?.length) bring([...files], session, form); };
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

/** @param {File[]} files @param {string|null} session @param {HTMLFormElement|null} form */
async function bring(files, session, form) {
  let place = form && find("[data-progress]", form);
  if (!place) {
    const dialog = make("dialog", { "aria-label": "Bringing captures" }, make("h2", {}, "Bringing captures"), make("div", { "data-progress": "", role: "status" }),
      make("button", { type: "button", onclick: () => dialog.close() }, "close"));
    document.body.append(dialog);
    dialog.showModal();
    place = find("[data-progress]", dialog);
  }
  let id = session;
  try {
    id ??= String((await sendJson("/api/sessions", { title: title(files) })).id);
    const condition = /** @type {HTMLInputElement | null} */ (form && find("input[name=condition]", form));
    if (session && condition?.value.trim()) {
      await sendJson(`/api/sessions/${session}/entries/condition`, { title: condition.value.trim() });
      condition.value = "";
    }
    for (const [index, file] of files.entries()) await send(id, file, place, files.length > 1 ? ` (${index + 1} of ${files.length})` : "");
    await watch(id, place);
  } catch (error) {
    fail(place, /** @type {Error} */ (error).message);
    // The file is kept: what it could not tell by itself may be said there.
    if (id) place.append(make("p", {}, make("a", { href: `/sessions/${id}` }, "Say how it is read, or bring another file")));
  }
}

/** @param {File[]} files */
function title(files) {
  const day = new Date().toLocaleDateString(undefined, { weekday: "long", day: "numeric", month: "long" });
  return `${files[0].name.replace(/(\.(vcd|csv|tsv|txt|gz))+$/i, "").slice(0, 120)}, ${day}`;
}

/** @param {Element} place @param {string} text @param {number|null} share */
function tell(place, text, share) {
  fill(place, make("p", { class: "progress" }, text), make("p", { class: "progress" }, make("progress", share === null ? { "aria-label": text } : { max: 1, value: share, "aria-label": text })));
}

/** @param {Element} place @param {string} text */
const fail = (place, text) => fill(place, make("p", { class: "progress failed", role: "alert" }, text));

/** @param {string} id @param {File} file @param {Element} place @param {string} which */
function send(id, file, place, which) {
  return new Promise((resolve, reject) => {
    // fetch() does not tell how far an upload has come; this does.
    const request = new XMLHttpRequest();
    request.open("POST", `/api/sessions/${id}/captures?name=${encodeURIComponent(file.name)}`);
    request.setRequestHeader("content-type", "application/octet-stream");
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) tell(place, `Bringing ${file.name}${which}`, event.loaded / event.total);
    });
    request.addEventListener("load", () => {
      if (request.status < 300) return resolve(undefined);
      let sentence = `The server answered ${request.status}.`;
      try { sentence = JSON.parse(request.responseText).error ?? sentence; } catch { /* not JSON: the status says it */ }
      reject(new Error(sentence));
    });
    request.addEventListener("error", () => reject(new Error(`${file.name} could not be sent: the connection broke. Nothing of it was kept; drop it again.`)));
    tell(place, `Bringing ${file.name}${which}`, 0);
    request.send(file);
  });
}

/** Follows reading and analysis, then shows the sheet. @param {string} id @param {Element} place */
function watch(id, place) {
  return new Promise((resolve, reject) => {
    const events = new EventSource(`/api/sessions/${id}/work`);
    events.addEventListener("step", (event) => {
      const { says, share } = JSON.parse(event.data);
      tell(place, says, share);
    });
    events.addEventListener("ready", () => {
      events.close();
      location.assign(`/sessions/${id}`);
      resolve(undefined);
    });
    events.addEventListener("failed", (event) => {
      events.close();
      reject(new Error(JSON.parse(event.data).error));
    });
  });
}
