// @ts-check
// How far the reading of files is, said on the page.
import { fill, make } from "./lib/dom.js";

/** @param {Element} place @param {string} text @param {number|null} share */
export function tell(place, text, share) {
  fill(place, make("p", { class: "progress" }, text), make("p", { class: "progress" }, make("progress", share === null ? { "aria-label": text } : { max: 1, value: share, "aria-label": text })));
}

/** @param {Element} place @param {string} text */
export const fail = (place, text) => fill(place, make("p", { class: "progress failed", role: "alert" }, text));

/** Follows reading and analysis, then shows the sheet. @param {string} id @param {Element} place @param {boolean} [isNew] there is another capture to see @param {string} [more] of the address then */
export function watch(id, place, isNew = false, more = "") {
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
      location.assign(path + (location.pathname === path && !isNew ? location.search : more));
      resolve(undefined);
    });
    events.addEventListener("failed", (event) => {
      events.close();
      reject(new Error(JSON.parse(event.data).error));
    });
  });
}
