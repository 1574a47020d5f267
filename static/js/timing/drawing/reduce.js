// @ts-check
// One line of a window → what to draw: clear transitions, and stretches too crowded to tell edges apart. Pure.

import { levelAt, stretchAt } from "./reading.js";

export const FALL = 0, RISE = 1, CROWD = 2, CROWD_END_LOW = 3, CROWD_END_HIGH = 4, JUMP_LOW = 5, JUMP_HIGH = 6;

/**
 * @typedef {{level: number, xs: number[], kinds: number[]}} Reduced
 * `level` on entering (0, 1, 2 never known); marks ascending in x: FALL and RISE are clear transitions, CROWD starts
 * a crowded stretch that ends at the CROWD_END after it; a JUMP is another level without an edge.
 */

/**
 * Edges given one by one. A lone edge always stays; edges closer than `least` pixels become a crowded stretch.
 * @param {ArrayLike<number>} edges ticks from the window's start, ascending
 * @param {number} entering level before the first of them
 * @param {ArrayLike<number>|undefined} flips
 * @param {(tick: number) => number} toX window ticks → pixels
 * @param {number} left px @param {number} right px @param {number} least px
 * @returns {Reduced}
 */
export function reduceEdges(edges, entering, flips, toX, left, right, least) {
  const count = edges.length, leaps = flips ?? [];
  let i = lowerBound(edges, (tick) => toX(tick) < left);
  let flip = lowerBound(leaps, (tick) => toX(tick) < left);
  const level = (/** @type {number} */ n) => (entering > 1 ? 2 : entering ^ ((n + flip) & 1));
  const reduced = { level: level(i), xs: /** @type {number[]} */ ([]), kinds: /** @type {number[]} */ ([]) };
  const leap = (/** @type {number} */ until) => {
    for (; flip < leaps.length && leaps[flip] < until && toX(leaps[flip]) <= right; ) {
      const x = toX(leaps[flip++]);
      push(reduced, x, level(i) === 1 ? JUMP_HIGH : JUMP_LOW);
    }
  };
  while (i < count) {
    leap(edges[i]);
    const x = toX(edges[i]);
    if (x > right) return reduced;
    let j = i + 1;
    let end = x;
    while (j < count) {
      const next = toX(edges[j]);
      if (next - end >= least) break;
      end = next;
      j++;
    }
    while (flip < leaps.length && leaps[flip] <= edges[j - 1]) flip++;
    if (j - i === 1) push(reduced, x, level(j) === 1 ? RISE : FALL);
    else {
      push(reduced, x, CROWD);
      push(reduced, Math.max(end, x + 1), level(j) === 1 ? CROWD_END_HIGH : CROWD_END_LOW);
    }
    i = j;
  }
  leap(Infinity);
  return reduced;
}

/**
 * Pixel columns with counts. Columns with edges less than `least` pixels apart become one crowded stretch.
 * @param {Uint8Array} columns @param {(column: number) => number} toX left side of a column → pixels
 * @param {number} left px @param {number} right px @param {number} [least] px
 * @returns {Reduced}
 */
export function reduceColumns(columns, toX, left, right, least = 0) {
  const first = toX(0), width = toX(1) - first;
  const from = Math.max(0, Math.floor((left - first) / width));
  const to = Math.min(columns.length, Math.ceil((right - first) / width));
  const reach = Math.max(1, Math.floor(least / width));
  const reduced = { level: from < columns.length ? columns[from] & 1 : 2, xs: /** @type {number[]} */ ([]), kinds: /** @type {number[]} */ ([]) };
  let level = reduced.level;
  for (let c = from; c < to; c++) {
    if ((columns[c] & 1) !== level) {
      level = columns[c] & 1;
      push(reduced, first + c * width, level ? JUMP_HIGH : JUMP_LOW);
    }
    let count = columns[c] >> 2;
    if (count === 0) continue;
    // The last column of the crowd that begins here: on, over gaps that are too small to see.
    let last = c;
    for (let next = c + 1; next < to && next - last <= reach; next++) {
      const more = columns[next] >> 2;
      if (more === 0 || (reach === 1 && (count === 1 || more === 1))) continue;
      count += more;
      last = next;
    }
    if (count === 1) {
      push(reduced, first + (c + 0.5) * width, level ? FALL : RISE);
      level ^= 1;
      continue;
    }
    // The level after a crowd is that on entering the next column; at the end of all it is not known, and not drawn.
    level = last + 1 < columns.length ? columns[last + 1] & 1 : 0;
    push(reduced, first + c * width, CROWD);
    push(reduced, Math.max(first + (last + 1) * width, first + c * width + 1), level ? CROWD_END_HIGH : CROWD_END_LOW);
    c = last;
  }
  return reduced;
}

/** @param {Reduced} reduced @param {number} x @param {number} kind */
function push(reduced, x, kind) {
  reduced.xs.push(x);
  reduced.kinds.push(kind);
}

/** Number of leading entries for which `isBefore` holds. @param {ArrayLike<number>} sorted @param {(v: number) => boolean} isBefore */
export function lowerBound(sorted, isBefore) {
  let low = 0, high = sorted.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (isBefore(sorted[middle])) low = middle + 1;
    else high = middle;
  }
  return low;
}

/**
 * Cells of a bus: moments at which any bit changes, with the bits from there on. Null when some bit is crowded.
 * @param {import("../columns.js").LineWindow[]} bits most significant first
 * @param {number} from ticks from the window's start @param {number} to
 */
export function busCells(bits, from, to) {
  if (bits.some((bit) => bit.columns)) return null;
  const cursors = bits.map((bit) => lowerBound(bit.edges ?? [], (tick) => tick <= from));
  const value = (/** @type {number} */ b, /** @type {number} */ tick) => (stretchAt(bits[b].stretches, tick) !== null ? 2 : levelAt(bits[b], cursors[b], tick));
  // Levels also change without an edge: at leaps, and where they become unknown or known again.
  const others = [...new Set(bits.flatMap((bit) => [...(bit.flips ?? []), ...[...(bit.stretches ?? [])].filter((_, i) => i % 3 < 2)]))].filter((tick) => tick > from && tick < to).sort((a, b) => a - b);
  let other = 0;
  const cells = [{ at: from, bits: bits.map((_, b) => value(b, from)) }];
  for (;;) {
    let next = other < others.length ? others[other] : Infinity;
    bits.forEach((bit, b) => { if (bit.edges && cursors[b] < bit.edges.length) next = Math.min(next, bit.edges[cursors[b]]); });
    if (!(next < to)) return cells;
    bits.forEach((bit, b) => { if (bit.edges && bit.edges[cursors[b]] === next) cursors[b]++; });
    while (others[other] <= next) other++;
    cells.push({ at: next, bits: bits.map((_, b) => value(b, next)) });
  }
}
