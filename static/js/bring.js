// @ts-check
// Brings files: captures one after the other with progress, archives of sessions as sessions of their own. A file that
// is refused stops no other; what is to be said of it stands at the top of the page that follows.
import { find, make } from "./lib/dom.js";
import { getJson, sendJson } from "./lib/fetch.js";
import { fail, tell, watch } from "./progress.js";
import { keepNotes, showNotes } from "./notes.js";

/** @typedef {import("./notes.js").Note} Note */

/** @param {File[]} files @param {string|null} session @param {HTMLFormElement|null} form */
export async function bring(files, session, form) {
  let place = form && find("[data-progress]", form), dialog = /** @type {any} */ (null);
  if (!place) {
    dialog = make("dialog", { "aria-label": "Bringing captures" }, make("h2", {}, "Bringing captures"), make("div", { "data-progress": "", role: "status" }),
      make("button", { type: "button", onclick: () => dialog.close() }, "close"));
    document.body.append(dialog);
    dialog.showModal();
    place = find("[data-progress]", dialog);
  }
  let id = session, restored = null;
  const ids = [], known = [], refused = /** @type {{ file: File, error: any }[]} */ ([]);
  /** Null where the file is refused, which is kept in mind. @param {string} address @param {File} file @param {string} which */
  const sent = (address, file, which) => send(address, file, place, which).catch((error) => void refused.push({ file, error }));
  addEventListener("beforeunload", warn);
  try {
    const { archives, captures } = await sorted(files);
    for (const file of archives) restored = (await sent("/api/archives", file, ""))?.id ?? restored;
    const condition = /** @type {HTMLInputElement | null} */ (form && find("input[name=condition]", form));
    const chosen = /** @type {HTMLSelectElement | null} */ (form && find("select[name=under]", form));
    let under = chosen?.value ? `&condition=${chosen.value}` : "";
    if (session && condition?.value.trim() && captures.length > 0) {
      const named = await sendJson(`/api/sessions/${session}/entries/condition`, { title: condition.value.trim() });
      condition.value = "";
      under = `&condition=${named.id}`;
    }
    for (const [index, file] of captures.entries()) {
      const which = captures.length > 1 ? ` (${index + 1} of ${captures.length})` : "";
      const name = `name=${encodeURIComponent(file.name)}`;
      // A session is made once its first capture is there: what breaks off leaves none.
      if (id === null) {
        const begun = await sent(`/api/captures?${name}&title=${encodeURIComponent(title(file))}`, file, which);
        if (!begun) continue;
        id = String(begun.session.id);
        ids.push(begun.capture.id);
      } else {
        const kept = await sent(`/api/sessions/${id}/captures?${name}${under}`, file, which);
        if (!kept) continue;
        ids.push(kept.id);
        if (kept.isKnown) known.push(kept.id);
      }
    }
    // What is known of the whole machine holds before the captures are read.
    const notes = [];
    for (const { file, error } of refused) notes.push(await noteOf(file, error, id));
    // All bytes are there: the reading goes on whatever becomes of the page.
    removeEventListener("beforeunload", warn);
    const isTaken = notes.some((note) => note.isTaken);
    if (ids.length === 0 && !isTaken && (session || restored === null)) {
      dialog?.close();
      place.replaceChildren();
      // The start page has its file box in sight; in a session it is far below.
      showNotes(notes, session ? null : place);
      return;
    }
    keepNotes(notes);
    if (ids.length > 0) {
      // The page says what became of each, and of several runs among them shows the one with the worst in it. It says as
      // well what could not be read, and how that may be said.
      const more = `?dropped=${ids}${known.length > 0 ? `&known=${known}` : ""}`;
      await watch(/** @type {string} */ (id), place, true, more).catch(() => location.assign(`/sessions/${id}${more}`));
    } else location.assign(isTaken ? `/sessions/${id}` : `/sessions/${restored}/log`);
  } catch (error) {
    removeEventListener("beforeunload", warn);
    fail(place, /** @type {Error} */ (error).message);
  }
}

/**
 * What is to be said of a file that was refused. A setup or a harness sheet is taken at once where the session has none.
 * @param {File} file @param {any} error @param {string|null} id @returns {Promise<Note>}
 */
async function noteOf(file, error, id) {
  const { message, belongs } = error;
  if (!belongs || id === null) return { text: message, isTaken: false };
  const [what, href, words, take] = belongs === "setup"
    ? ["setup", `/sessions/${id}/log?setup#setup`, "The setup of this session", takeSetup]
    : ["harness sheet", `/sessions/${id}/harness`, "The harness sheet of this session", takeSheet];
  try {
    if (await take(id, await file.text())) return { text: `${file.name} was taken as the ${what} of this session, which had none.`, href, words, isTaken: true };
    return { text: `${message} This session has a ${what} already, which was left as it is.`, href, words, isTaken: false };
  } catch (error) {
    return { text: `${file.name} was not taken as the ${what} of this session. ${/** @type {Error} */ (error).message}`, href, words, isTaken: false };
  }
}

/** Whether the session had no setup and has this one now. @param {string} id @param {string} setup */
async function takeSetup(id, setup) {
  const session = await getJson(`/api/sessions/${id}`);
  const was = { title: session.title, job: session.job, setup: session.setup };
  if (was.setup.trim()) return false;
  await sendJson(`/api/sessions/${id}`, { ...was, setup, was }, "PUT");
  return true;
}

/** Whether the session had no harness sheet and has this one now. @param {string} id @param {string} csv */
async function takeSheet(id, csv) {
  // An empty sheet is one row of headings.
  if ((await getJson(`/api/sessions/${id}/harness`)).csv.trim().includes("\n")) return false;
  await sendJson(`/api/sessions/${id}/harness`, { csv }, "PUT");
  return true;
}

/** Asks before the page is left while files come in. @param {BeforeUnloadEvent} event */
function warn(event) { event.preventDefault(); }

/** Archives of sessions apart from captures: told by content, whatever they are called. @param {File[]} files */
async function sorted(files) {
  const are = await Promise.all(files.map(isArchive));
  // What can't be text, as a picture, comes last: the session is called after a file that can be read.
  const texts = await Promise.all(files.map(isText));
  const captures = [...files.filter((_, i) => !are[i] && texts[i]), ...files.filter((_, i) => !are[i] && !texts[i])];
  return { archives: files.filter((_, i) => are[i]), captures };
}

/** Whether a file may be text, or packed text. UTF-16 has a byte order mark. @param {File} file */
async function isText(file) {
  const head = new Uint8Array(await file.slice(0, 4096).arrayBuffer());
  const isPacked = head[0] === 0x1f && head[1] === 0x8b, isMarked = head[0] >= 0xfe && head[1] >= 0xfe;
  return isPacked || isMarked || !head.includes(0);
}

/** @param {File} file */
async function isArchive(file) {
  const head = new Uint8Array(await file.slice(0, 65536).arrayBuffer());
  if (head[0] !== 0x1f || head[1] !== 0x8b) return false;
  // A browser that can't unpack goes by the name that an archive was given.
  if (typeof DecompressionStream === "undefined") return /\.edgewitness\.tar\.gz$/i.test(file.name);
  const reader = new Blob([head]).stream().pipeThrough(new DecompressionStream("gzip")).getReader();
  try {
    const { value } = await reader.read();
    return new TextDecoder().decode(value?.slice(0, 13)) === "session.json\0";
  } catch {
    return false;
  } finally {
    reader.cancel().catch(() => {});
  }
}

/** @param {File} file the session's first */
function title(file) {
  const day = new Date().toLocaleString(undefined, { weekday: "long", day: "numeric", month: "long", hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
  return `${file.name.replace(/(\.(vcd|csv|tsv|txt|gz))+$/i, "").slice(0, 120)}, ${day}`;
}

/** @param {string} address @param {File} file @param {Element} place @param {string} which @returns {Promise<any>} */
function send(address, file, place, which) {
  return new Promise((resolve, reject) => {
    // fetch() does not tell how far an upload has come; this does.
    const request = new XMLHttpRequest();
    request.open("POST", address);
    request.setRequestHeader("content-type", "application/octet-stream");
    request.upload.addEventListener("progress", (event) => {
      if (event.lengthComputable) tell(place, `Bringing ${file.name}${which}`, event.loaded / event.total);
    });
    request.addEventListener("load", () => {
      let answer = null;
      try { answer = JSON.parse(request.responseText); } catch { /* not JSON: the status says it */ }
      if (request.status < 300) return resolve({ ...answer, isKnown: request.status === 200 });
      reject(Object.assign(new Error(answer?.error ?? `${file.name}: the server answered ${request.status}.`), { belongs: answer?.belongs }));
    });
    request.addEventListener("error", () => reject(new Error(`${file.name} could not be sent: the connection broke. Nothing of it was kept; drop it again.`)));
    tell(place, `Bringing ${file.name}${which}`, 0);
    request.send(file);
  });
}
