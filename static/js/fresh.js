// @ts-check
// While a folder is watched: looks twice a second whether the session rests on other captures than this page
// shows, and shows it anew. Not while somebody writes.
import { asShown, getJson } from "./lib/fetch.js";

const PERIOD_MS = 500;

/** @param {string} session @param {string} shown @param {string} newest */
function stayFresh(session, shown, newest) {
  const look = async () => {
    const isWriting = document.activeElement?.matches("input, textarea, select") ?? false;
    const now = await getJson(asShown(`/api/sessions/${session}/present`)).catch(() => ({ key: shown, newest: null }));
    // What came by the folder is looked at, whatever the address names.
    if (now.newest !== null && String(now.newest) !== newest && !isWriting) location.assign(location.pathname);
    else if (now.key !== shown && now.key !== null && !isWriting) location.reload();
    else setTimeout(look, PERIOD_MS);
  };
  setTimeout(look, PERIOD_MS);
}

const { session, fresh, newest } = document.body.dataset;
if (session && fresh !== undefined) stayFresh(session, fresh, newest ?? "");
