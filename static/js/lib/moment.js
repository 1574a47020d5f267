// @ts-check
// Moments by the reader's own clock. Pure, but for the zone of the machine it runs on.

/**
 * A moment as the server writes it, `2026-11-25 14:05 UTC`, by the clock of the reader's own zone; null for anything else.
 * @param {string} text
 */
export function localMoment(text) {
  const match = /^(\d{4}-\d{2}-\d{2}) (\d{2}:\d{2}) UTC$/.exec(text.trim());
  if (!match) return null;
  const moment = new Date(`${match[1]}T${match[2]}:00Z`);
  const two = (/** @type {number} */ n) => String(n).padStart(2, "0");
  return `${moment.getFullYear()}-${two(moment.getMonth() + 1)}-${two(moment.getDate())} ${two(moment.getHours())}:${two(moment.getMinutes())}`;
}
