// @ts-check
// While a folder is watched: looks twice a second whether the session rests on other captures than this page
// shows, and shows it anew. Not while somebody writes.
import { getJson } from "./lib/fetch.js";

const PERIOD_MS = 500;

/** @param {string} session @param {string} shown */
function stayFresh(session, shown) {
  const look = async () => {
    const isWriting = document.activeElement?.matches("input, textarea, select") ?? false;
    const { key } = await getJson(`/api/sessions/${session}/present`).catch(() => ({ key: shown }));
    if (key !== shown && key !== null && !isWriting) location.reload();
    else setTimeout(look, PERIOD_MS);
  };
  setTimeout(look, PERIOD_MS);
}

const { session, fresh } = document.body.dataset;
if (session && fresh !== undefined) stayFresh(session, fresh);
