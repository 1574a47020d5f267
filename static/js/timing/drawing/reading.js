// @ts-check
// What a line of a window does at a moment: level, pulse, period; honest about what is not known. Pure.
import { lowerBound } from "./reduce.js";

export const UNKNOWN = 2, FLOATING = 3, UNRECORDED = 4;
const WORDS = ["low", "high", "unknown", "floating", "not recorded"];

/** @param {number} level */
export const levelWord = (level) => WORDS[level];

/**
 * The pulse lies between two edges with a known level all the while, else it is null; so is the period, which goes from
 * the edge before to the next one of the same polarity.
 * @typedef {{level: number, pulse: {start: number, end: number}|null, period: number|null}} Reading ticks of the window
 */

/**
 * @param {import("../columns.js").LineWindow} line with its edges one by one
 * @param {number} tick from the window's start
 * @returns {Reading}
 */
export function readLine(line, tick) {
  const edges = line.edges ?? [];
  const at = lowerBound(edges, (edge) => edge <= tick);
  const stretch = stretchAt(line.stretches, tick);
  const level = stretch !== null ? stretch + UNKNOWN : levelAt(line, at, tick);
  const edge = (/** @type {number} */ i) => (i < 0 ? (i === -1 ? line.before : undefined) : i < edges.length ? edges[i] : i === edges.length ? line.after : undefined);
  const start = edge(at - 1), end = edge(at), next = edge(at + 1);
  const isKnown = (/** @type {number|undefined} */ from, /** @type {number|undefined} */ to) => from !== undefined && to !== undefined && !isBlind(line.stretches, from, to);
  return {
    level,
    pulse: isKnown(start, end) ? { start: /** @type {number} */ (start), end: /** @type {number} */ (end) } : null,
    period: isKnown(start, next) ? /** @type {number} */ (next) - /** @type {number} */ (start) : null,
  };
}

/** The level after `count` edges of the window, at `tick`: leaps without an edge are counted too. @param {import("../columns.js").LineWindow} line @param {number} count @param {number} tick */
export function levelAt(line, count, tick) {
  if (line.entering > 1) return UNKNOWN;
  let flips = 0;
  for (const flip of line.flips ?? []) if (flip <= tick) flips++;
  return line.entering ^ ((count + flips) & 1);
}

/** The kind of the stretch that holds a moment: 0 unknown, 1 floating, 2 unrecorded. @param {Float64Array|undefined} stretches @param {number} tick */
export function stretchAt(stretches, tick) {
  for (let i = 0; stretches && i < stretches.length; i += 3) if (stretches[i] <= tick && tick < stretches[i + 1]) return stretches[i + 2];
  return null;
}

/** Whether the level was unknown at some moment between two. @param {Float64Array|undefined} stretches @param {number} from @param {number} to */
function isBlind(stretches, from, to) {
  for (let i = 0; stretches && i < stretches.length; i += 3) if (stretches[i] < to && stretches[i + 1] > from) return true;
  return false;
}
