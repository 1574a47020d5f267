// @ts-check
// Windows of lines as the server sends them (see server/web/api/windows.rs), and when to ask for which.
import { asShown, getBuffer } from "../lib/fetch.js";

/**
 * @typedef {object} LineWindow
 * @property {number} line position of the line
 * @property {number} entering 0 low, 1 high, 2 never known: just before the window
 * @property {number} first index of the first edge inside
 * @property {number} count edges inside
 * @property {number} [before] the edge next before the window, in ticks from its start
 * @property {number} [after] the edge next after it
 * @property {Float64Array} [edges] ticks from the window's start
 * @property {Uint8Array} [columns] bit 0: level on entering; bits 2–7: edges inside, 63 for that many or more
 * @property {Float64Array} [strays] pairs: start, end
 * @property {Uint32Array} [stray_columns]
 * @property {Float64Array} [stretches] triples: start, end, kind (0 unknown, 1 floating, 2 unrecorded)
 * @property {Float64Array} [flips]
 * @property {Float64Array} [points] pairs: ticks from the window's start, volts
 * @property {Float32Array} [volts] pairs a column: smallest, largest
 */
/** @typedef {{start: number, end: number, columns: number, lines: Map<number, LineWindow>}} Window */

const TYPES = { edges: Float64Array, columns: Uint8Array, strays: Float64Array, stray_columns: Uint32Array, stretches: Float64Array, flips: Float64Array, points: Float64Array, volts: Float32Array };

/** @param {ArrayBuffer} buffer @returns {Window} */
export function decode(buffer) {
  const headLength = new DataView(buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, headLength)));
  const base = 4 + headLength;
  for (const line of head.lines) {
    for (const [name, type] of Object.entries(TYPES)) {
      if (line[name]) line[name] = new type(buffer, base + line[name][0], line[name][1]);
    }
  }
  head.lines = new Map(head.lines.map((/** @type {LineWindow} */ line) => [line.line, line]));
  return head;
}

/** Most columns that are asked for; the server gives 16,384. */
const MOST_COLUMNS = 16000;

/** What is asked for a view: three widths of it in whole ticks, of which there are more close up. @param {number} start @param {number} span @param {number} pixels */
function askedFor(start, span, pixels) {
  const from = Math.floor(start - span), to = Math.ceil(start + 2 * span) + 1;
  return { from, to, columns: Math.min(Math.ceil((pixels * (to - from)) / span), MOST_COLUMNS) };
}

/** Keeps the window around the view, and one of the whole capture under it so that there is always something to draw. */
export class Columns {
  #path; #length; #wanted = null; #busy = false; #changed; #failed;
  /** @type {Window|null} */ whole = null;
  /** @type {Window|null} */ near = null;

  /** @param {string} path of the session's interface @param {number} length ticks @param {() => void} changed @param {(e: Error) => void} failed */
  constructor(path, length, changed, failed) {
    this.#path = path; this.#length = length; this.#changed = changed; this.#failed = failed;
  }

  get isBusy() { return this.#busy; }

  /** @param {number} start @param {number} end @param {number} columns @param {number[]} lines */
  async fetch(start, end, columns, lines) {
    const query = `start=${start}&end=${end}&columns=${columns}&lines=${lines.join(",")}`;
    return decode(await getBuffer(asShown(`${this.#path}/window?${query}`)));
  }

  /**
   * Sees to it that the view can be drawn: three widths of it, one pixel column a device pixel.
   * @param {number} start @param {number} span @param {number} pixels @param {number[]} lines
   */
  want(start, span, pixels, lines) {
    const near = this.near;
    const fits = near && start >= near.start && start + span <= near.end && lines.every((line) => near.lines.has(line));
    const density = near ? (near.columns / (near.end - near.start)) * span : 0;
    if (fits && density >= pixels * 0.95 && density <= pixels * 2.2) return;
    // Nothing better would come: the same again is not asked for.
    const asked = askedFor(start, span, pixels);
    if (fits && near.start === asked.from && near.end === asked.to && near.columns >= asked.columns) return;
    this.#wanted = { start, span, pixels, lines };
    if (!this.#busy) this.#next();
  }

  async #next() {
    this.#busy = true;
    while (this.#wanted) {
      const { start, span, pixels, lines } = this.#wanted;
      this.#wanted = null;
      const { from, to, columns } = askedFor(start, span, pixels);
      try {
        this.near = await this.fetch(from, to, columns, lines);
        this.#changed();
        // What a hand that moves faster than answers come is shown; the first view is not kept waiting for it.
        if (!this.whole || !lines.every((line) => this.whole?.lines.has(line))) {
          this.whole = await this.fetch(0, this.#length + 1, Math.min(pixels, 4000), lines);
        }
      } catch (error) {
        this.#failed(/** @type {Error} */ (error));
        break;
      }
    }
    this.#busy = false;
  }

  /** The best window there is for a line over the view. @param {number} line @param {number} start @param {number} end */
  best(line, start, end) {
    const holds = (/** @type {Window|null} */ w) => w && w.lines.has(line) && w.start <= Math.max(start, 0) && w.end >= Math.min(end, this.#length);
    if (holds(this.near)) return this.near;
    if (this.whole?.lines.has(line)) return this.whole;
    return this.near?.lines.has(line) ? this.near : null;
  }
}
