// @ts-check
// What a person arranged stays with the session: order of lines, dimension lines, what evidence is hidden.
import { getJson, sendJson } from "../lib/fetch.js";

const REST_MS = 500;

/** What was kept, or an Error. @param {string} path */
export const keptView = (path) => getJson(`${path}/view`).catch((error) => error);

/** Takes up what was kept, then keeps each change once it rests. @param {import("./view.js").Diagram} view @param {any} kept */
export async function keepView(view, kept) {
  const address = `${view.path}/view`;
  // What could not be read is not written over.
  if (kept instanceof Error) { view.say(kept.message); return; }
  view.arrangement.restore(kept.arrangement);
  view.renamed();
  if (kept.dimensions?.length) await view.withDimensions((dimensions) => dimensions.restore(kept.dimensions));
  view.hidden = new Set(kept.hidden);
  let timer = 0, isChanged = false, isSending = false;
  const send = async (/** @type {boolean} */ isLeaving) => {
    clearTimeout(timer);
    // One at a time, so that an earlier state never arrives after a later one; the page that is left doesn't wait.
    if (!isChanged || isSending && !isLeaving) return;
    [isChanged, isSending] = [false, true];
    const body = { arrangement: view.arrangement.saved(), hidden: [...view.hidden], dimensions: view.dimensions?.saved() ?? [] };
    try { await sendJson(address, body, "PUT", isLeaving); } catch (error) {
      [isChanged, isSending] = [true, false];
      view.say(`Not kept: ${/** @type {Error} */ (error).message}`);
      return;
    }
    isSending = false;
    send(false);
  };
  view.onarrange = () => {
    isChanged = true;
    clearTimeout(timer);
    timer = setTimeout(() => send(false), REST_MS);
  };
  addEventListener("pagehide", () => send(true));
}
