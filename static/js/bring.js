// @ts-check
// Brings files: captures one after the other with progress, archives of sessions as sessions of their own.
import { find, make } from "./lib/dom.js";
import { sendJson } from "./lib/fetch.js";
import { fail, tell, watch } from "./progress.js";

/** @param {File[]} files @param {string|null} session @param {HTMLFormElement|null} form */
export async function bring(files, session, form) {
  let place = form && find("[data-progress]", form);
  if (!place) {
    const dialog = make("dialog", { "aria-label": "Bringing captures" }, make("h2", {}, "Bringing captures"), make("div", { "data-progress": "", role: "status" }),
      make("button", { type: "button", onclick: () => dialog.close() }, "close"));
    document.body.append(dialog);
    dialog.showModal();
    place = find("[data-progress]", dialog);
  }
  let id = session;
  addEventListener("beforeunload", warn);
  try {
    const { archives, captures } = await sorted(files);
    let restored = null;
    for (const file of archives) restored = (await send("/api/archives", file, place, "")).id;
    if (captures.length === 0) {
      removeEventListener("beforeunload", warn);
      location.assign(`/sessions/${restored}/log`);
      return;
    }
    const condition = /** @type {HTMLInputElement | null} */ (form && find("input[name=condition]", form));
    const chosen = /** @type {HTMLSelectElement | null} */ (form && find("select[name=under]", form));
    let under = chosen?.value ? `&condition=${chosen.value}` : "";
    if (session && condition?.value.trim()) {
      const named = await sendJson(`/api/sessions/${session}/entries/condition`, { title: condition.value.trim() });
      condition.value = "";
      under = `&condition=${named.id}`;
    }
    const ids = [], known = [];
    for (const [index, file] of captures.entries()) {
      const which = captures.length > 1 ? ` (${index + 1} of ${captures.length})` : "";
      const name = `name=${encodeURIComponent(file.name)}`;
      // A session is made once its first capture is there: what breaks off leaves none.
      if (id === null) {
        const begun = await send(`/api/captures?${name}&title=${encodeURIComponent(title(captures))}`, file, place, which);
        id = String(begun.session.id);
        ids.push(begun.capture.id);
      } else {
        const { id: capture, isKnown } = await send(`/api/sessions/${id}/captures?${name}${under}`, file, place, which);
        ids.push(capture);
        if (isKnown) known.push(capture);
      }
    }
    // All bytes are there: the reading goes on whatever becomes of the page.
    removeEventListener("beforeunload", warn);
    // The page says what became of each, and of several runs among them shows the one with the worst in it.
    await watch(/** @type {string} */ (id), place, true, `?dropped=${ids}${known.length > 0 ? `&known=${known}` : ""}`);
  } catch (error) {
    removeEventListener("beforeunload", warn);
    fail(place, /** @type {Error} */ (error).message);
    if (!id) return;
    // The file is kept: what it could not tell by itself may be said there.
    const putAway = () => sendJson(`/api/sessions/${id}`, null, "DELETE").then(() => location.assign("/?sessions"), (error) => fail(place, error.message));
    place.append(make("p", {}, make("a", { href: `/sessions/${id}` }, "Say how it is read, or bring another file"),
      !session && " or ", !session && make("button", { type: "button", onclick: putAway }, "remove")));
  }
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

/** @param {File[]} files */
function title(files) {
  const day = new Date().toLocaleString(undefined, { weekday: "long", day: "numeric", month: "long", hour: "2-digit", minute: "2-digit" });
  return `${files[0].name.replace(/(\.(vcd|csv|tsv|txt|gz))+$/i, "").slice(0, 120)}, ${day}`;
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
      reject(new Error(answer?.error ?? `The server answered ${request.status}.`));
    });
    request.addEventListener("error", () => reject(new Error(`${file.name} could not be sent: the connection broke. Nothing of it was kept; drop it again.`)));
    tell(place, `Bringing ${file.name}${which}`, 0);
    request.send(file);
  });
}
