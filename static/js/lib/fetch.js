// @ts-check
// Talking to the server: an answer, or an Error that holds the server's sentence.

/** What the page shows, as the server named it: condition, run, and what they rest on. Empty where the page shows none. */
const SHOWN = globalThis.document?.body?.dataset.shown ?? "";

/** An address that asks for what this page shows, whichever condition another page took in hand since. @param {string} path */
export const asShown = (path) => (SHOWN ? `${path}${path.includes("?") ? "&" : "?"}${SHOWN}` : path);

/** @param {string} path @param {RequestInit} [options] */
async function ask(path, options) {
  let response;
  try {
    response = await fetch(path, options);
  } catch (cause) {
    if (/** @type {any} */ (cause).name === "AbortError") throw cause;
    throw new Error("Edgewitness does not answer. Is it still running in its window?");
  }
  if (response.ok) return response;
  const body = await response.json().catch(() => ({}));
  throw new Error(body.error ?? `The server answered ${response.status}.`);
}

/** @param {string} path @param {AbortSignal} [signal] @returns {Promise<any>} */
export const getJson = async (path, signal) => (await ask(path, { signal })).json();

/** @param {string} path @param {AbortSignal} [signal] */
export const getBuffer = async (path, signal) => (await ask(path, { signal })).arrayBuffer();

/** @param {string} path @param {Blob} bytes @returns {Promise<any>} */
export async function sendBytes(path, bytes) {
  const response = await ask(path, { method: "POST", headers: { "content-type": "application/octet-stream" }, body: bytes });
  return response.status === 204 ? null : response.json();
}

/** `keepalive`: also when the page is being left. @param {string} path @param {any} body @param {string} [method] @param {boolean} [keepalive] @returns {Promise<any>} */
export async function sendJson(path, body, method = "POST", keepalive = false) {
  const response = await ask(path, { method, keepalive, headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
  return response.status === 204 ? null : response.json();
}
