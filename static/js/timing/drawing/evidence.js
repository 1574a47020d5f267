// @ts-check
// The evidence of findings, drawn into the figure; and the evidence in view, as the server sends it.
import { seconds } from "../../lib/format.js";
import { asShown, getJson } from "../../lib/fetch.js";

/** What can be shown or hidden, in the order of the list. Strays themselves always show. */
export const LAYERS = [
  ["ties", "ties from the edge that causes a stray"], ["lags", "lags as dimension lines"], ["ghosts", "ghosts of pulses that never arrived"],
  ["bursts", "bursts of bounce"], ["dips", "supply dips"], ["limits", "limits broken"], ["others", "evidence of findings not in hand"],
];

/** Which layer a mark belongs to; ties and lags are told apart when drawn. */
const LAYER_OF = /** @type {Record<string, string>} */ ({ missing: "ghosts", burst: "bursts", dip: "dips", violation: "limits" });

/** Volts of a row and of the next one stand at the right end, so wide in letters. */
const VOLTS_LETTERS = 4;

/** Stretches of a row, in pixels. @typedef {{words: [number, number][], brackets: [number, number][]}} Taken */

/**
 * One occurrence: guilty edge, tie, lag, ghost, brackets. `pen` draws; `rowOf` gives the row of a line.
 * @param {import("./draw.js").Pen} pen @param {any[]} marks @param {(line: number) => import("./draw.js").Row|undefined} rowOf
 * @param {import("./scale.js").Scale} scale @param {number} tickS @param {Set<string>} hidden
 * @param {Map<string, Taken>} taken what words and brackets take of each row, by its key, so that none is written over another
 */
export function drawEvidence(pen, marks, rowOf, scale, tickS, hidden, taken) {
  const { c, colors, size } = pen;
  const cause = marks.find((mark) => mark.kind === "cause");
  const causeRow = cause && rowOf(cause.line);
  const right = scale.left + scale.width;
  const takenOf = (/** @type {import("./draw.js").Row} */ row) => {
    const of = taken.get(row.key) ?? { words: [], brackets: [] };
    taken.set(row.key, of);
    return of;
  };
  const within = (/** @type {number} */ x) => x >= scale.left - 1 && x <= right + 1;
  for (const mark of marks) {
    const row = rowOf(mark.line);
    if (!row || hidden.has(LAYER_OF[mark.kind])) continue;
    const x = scale.x(mark.start ?? mark.at), end = scale.x(mark.end ?? mark.at);
    if (mark.kind !== "stray" && (end < scale.left || x > right)) continue;
    /** `margin`: the word stands beside its mark, that far from the right end at least. */
    const word = (/** @type {string} */ text, /** @type {number} */ y, /** @type {number} */ margin = NaN) => {
      c.font = `${size * 0.85}px ${colors.sans}`; c.textAlign = "center";
      const half = c.measureText(text).width / 2, gap = size * 0.5;
      const from = Math.max(x, scale.left), to = Math.min(end, right);
      const { words, brackets } = takenOf(row), isBeside = !Number.isNaN(margin);
      const middles = isBeside ? [to + half + 5, from - half - 5] : [Math.min(Math.max((from + to) / 2, scale.left + half), right - half)];
      const isFree = (/** @type {number} */ at) =>
        at - half >= scale.left - 1 && at + half <= right - (margin || 0) + 1
        && words.every(([a, b]) => at + half + gap <= a || at - half >= b + gap)
        && (!margin || brackets.every(([a, b]) => at + half <= a || at - half >= b));
      const at = middles.find(isFree);
      if (at === undefined) return;
      words.push([at - half, at + half]);
      // Whatever row is below, the word is read.
      c.fillStyle = colors.plate; c.fillRect(at - half - 2, y - size * 0.8, 2 * half + 4, size);
      c.fillStyle = colors.stray; c.fillText(text, at, y);
    };
    if (mark.kind === "missing") {
      c.strokeStyle = c.fillStyle = colors.stray; c.lineWidth = 1.6; c.setLineDash([4, 3]);
      const slope = Math.min(4, (end - x) / 3);
      const [rest, pulse] = mark.is_low ? [row.high, row.low] : [row.low, row.high];
      c.beginPath(); c.moveTo(x - 8, rest); c.lineTo(x, rest); c.lineTo(x + slope, pulse); c.lineTo(end, pulse); c.lineTo(end + slope, rest); c.lineTo(end + 8, rest); c.stroke();
      c.setLineDash([]);
      word("never arrived", row.high - 6);
    } else if (mark.kind === "extra") {
      c.fillStyle = c.strokeStyle = colors.stray; c.lineWidth = 2.6;
      pen.outline(row, x, end, scale.left, right, false);
      word("nobody sent this", row.high - 12);
    } else if (["burst", "dip", "violation", "doubt"].includes(mark.kind)) {
      const from = Math.max(x, scale.left), to = Math.min(Math.max(end, x + 2), right);
      bracket(pen, row, from, to);
      takenOf(row).brackets.push([from - 2, to + 2]);
      // Where rows are low the word stands beside the bracket, not in the row below.
      const isLow = row.top + row.height - row.low < size * 2;
      word(mark.kind === "burst" ? "bounce" : mark.says, row.low + size * (isLow ? 1.05 : 1.9), isLow ? size * VOLTS_LETTERS : NaN);
    } else if (mark.kind === "suspect") {
      if (hidden.has("ties")) continue;
      const middle = (row.high + row.low) / 2;
      word("  this one?", middle + size * 0.3, 0);
      c.strokeStyle = colors.cause; c.lineWidth = 1.5;
      c.beginPath(); c.arc(x, middle, 5, 0, 7); c.stroke();
    } else if (mark.kind === "stray" && cause && causeRow) {
      const from = scale.x(cause.at);
      if (!within(from) || !within(x)) continue;
      if (!hidden.has("ties")) tie(pen, causeRow, row, from, x);
      if (!hidden.has("lags")) pen.dimension(from, x, row.low + size * 1.1, seconds((mark.start - cause.at) * tickS));
    }
  }
}

/** @param {import("./draw.js").Pen} pen @param {any} causeRow @param {any} row @param {number} from @param {number} x */
function tie({ c, colors }, causeRow, row, from, x) {
  const down = causeRow.top <= row.top;
  const startY = (causeRow.high + causeRow.low) / 2, endY = down ? row.high - 3 : row.low + 3;
  c.strokeStyle = c.fillStyle = colors.cause; c.lineWidth = 1.5;
  c.beginPath(); c.arc(from, startY, 4, 0, 7); c.fill();
  c.setLineDash([4, 3]);
  const bend = (endY - startY) / 2;
  c.beginPath(); c.moveTo(from, startY); c.bezierCurveTo(from, startY + bend, x, endY - bend, x, endY); c.stroke();
  c.setLineDash([]);
}

/** A bracket under a stretch of a line. @param {import("./draw.js").Pen} pen @param {any} row @param {number} from @param {number} to */
function bracket({ c, colors, size }, row, from, to) {
  const y = row.low + size * 0.4;
  c.strokeStyle = c.fillStyle = colors.stray; c.lineWidth = 1.4;
  c.beginPath(); c.moveTo(from, y); c.lineTo(from, y + size * 0.5); c.lineTo(to, y + size * 0.5); c.lineTo(to, y); c.stroke();
}

/** Keeps the evidence of all findings in and around the view. */
export class EvidenceInView {
  #path; #changed; #busy = false; #wanted = /** @type {{start: number, end: number}|null} */ (null);
  #held = { start: 0, end: -1 };
  /** @type {any[]} */ occurrences = [];
  /** How many there are in the stretch held; where they are many, one of each finding in each part of it is listed. */
  count = 0;

  /** @param {string} path @param {() => void} changed */
  constructor(path, changed) { this.#path = path; this.#changed = changed; }

  /** Not all are listed. */
  get isThinned() { return this.count > this.occurrences.length; }

  /** @param {number} start @param {number} span */
  want(start, span) {
    const { start: from, end: to } = this.#held;
    const isTooWide = this.isThinned && span < (to - from) / 6;
    if (start >= from && start + span <= to && !isTooWide) return;
    this.#wanted = { start: Math.floor(start - span), end: Math.ceil(start + 2 * span) };
    if (!this.#busy) this.#next();
  }

  async #next() {
    this.#busy = true;
    while (this.#wanted) {
      const wanted = this.#wanted;
      this.#wanted = null;
      // What can't be had is asked for again at the next move; the windows tell when the server is gone.
      const answer = await getJson(asShown(`${this.#path}/evidence?start=${wanted.start}&end=${wanted.end}`)).catch(() => null);
      if (!answer) break;
      this.#held = wanted; this.count = answer.count; this.occurrences = answer.occurrences;
      this.#changed();
    }
    this.#busy = false;
  }
}
