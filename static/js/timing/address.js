// @ts-check
// The view in the address: a link to a moment can be kept, and Back goes to the view before. Read and written here only.

/**
 * @typedef {{finding: string|null, occurrence: number|null, at: number|null, span: number|null}} Place
 * `at`, `span`: seconds; occurrence from 0, null: the one that the finding tells of
 */

/** @param {string} search @returns {Readonly<Place>} */
export function readAddress(search) {
  const query = new URLSearchParams(search);
  const number = (/** @type {string} */ name) => {
    const text = query.get(name);
    const value = text === null || text.trim() === "" ? NaN : Number(text);
    return Number.isFinite(value) ? value : null;
  };
  const finding = query.get("finding");
  const span = number("span_s"), asked = number("occurrence");
  return Object.freeze({
    finding: finding && /^F\d{1,6}$/.test(finding) ? finding : null,
    occurrence: asked === null ? null : Math.max(0, Math.trunc(asked) - 1),
    at: number("at_s"),
    span: span !== null && span > 0 ? span : null,
  });
}

/** Whether the view lies in a capture: that of a longer one may not. @param {Place} place @param {any} facts */
export function isInCapture({ at, span }, { start_s, tick_s, length }) {
  const middle = at === null || span === null ? NaN : at + span / 2;
  return middle >= start_s && middle <= start_s + length * tick_s;
}

/** The condition and run that a page shows, as its address has them. @param {HTMLElement} body @returns {string} */
export function shownIn(body) {
  const query = new URLSearchParams(body.dataset.shown ?? "");
  // What it rests on is left out: the address holds when something is changed.
  query.delete("of");
  return query.toString();
}

/** @param {Place} place @param {string} [shown] the condition that it is a place of @returns {string} */
export function writeAddress(place, shown = "") {
  const query = new URLSearchParams(shown);
  if (place.finding) query.set("finding", place.finding);
  if (place.finding && place.occurrence !== null) query.set("occurrence", String(place.occurrence + 1));
  if (place.at !== null && place.span !== null) {
    query.set("at_s", String(Number(place.at.toPrecision(17))));
    query.set("span_s", String(Number(place.span.toPrecision(6))));
  }
  const text = query.toString();
  return text ? `?${text}` : "";
}
