// @ts-check
// Dimension lines that a person puts down: from edge to edge, with time, its uncertainty, and 1/t.
import { engineering, seconds } from "../lib/format.js";
import { lowerBound } from "./drawing/reduce.js";

/** @typedef {{tick: number, line: number|null, soft: number}} End `soft`: ± seconds, half a sampling period */
/** @typedef {{a: End, b: End}} Dimension */

export class Dimensions {
  /** @param {import("./view.js").Diagram} view */
  constructor(view) {
    this.view = view;
    /** @type {Dimension[]} */ this.list = [];
    /** @type {End|null} */ this.from = null;
    /** @type {End|null} */ this.to = null;
    this.words = "";
  }

  /** @param {boolean} on */
  measure(on) {
    if (on) this.words = this.view.words.textContent ?? "";
    this.view.isMeasuring = on; this.from = this.to = null;
    this.view.canvas.classList.toggle("measuring", on);
    this.view.say(on ? "Measuring: click the first edge, then the second; or step along edges with ] and press Enter at each. Escape ends it." : this.words);
    this.view.paint();
  }

  /** The nearest edge of the row at a place, or the place itself when none is near. @param {number} x @param {number} y @returns {End} */
  snap(x, y) {
    const { view } = this;
    const scale = view.scale, row = view.rowAt(y);
    const tick = scale.tick(x);
    const near = row && row.line !== null ? this.nearest(row.line, tick) : null;
    if (near !== null && Math.abs(scale.x(near) - x) < 14) return { tick: near, line: row?.line ?? null, soft: this.#soft(row?.line ?? null) };
    return { tick, line: null, soft: 0 };
  }

  /** @param {number|null} line */
  #soft(line) {
    const facts = this.view.facts;
    return line === null || facts.lines[line].interpolated ? 0 : (facts.lines[line].sample_ticks * facts.tick_s) / 2;
  }

  /** The edge of a line nearest to a tick, of those in the window. @param {number} line @param {number} tick @returns {number|null} */
  nearest(line, tick) {
    const { columns } = this.view;
    const window = columns.best(line, tick, tick);
    const edges = window?.lines.get(line)?.edges;
    if (!window || !edges || edges.length === 0) return null;
    const at = lowerBound(edges, (edge) => window.start + edge < tick);
    const near = [at - 1, at].filter((i) => i >= 0 && i < edges.length).map((i) => window.start + edges[i]);
    return near.reduce((best, edge) => (Math.abs(edge - tick) < Math.abs(best - tick) ? edge : best));
  }

  /** @param {number} x @param {number} y */
  put(x, y) { this.#put(this.snap(x, y)); }

  /** An end by key: at the edge that was stepped to, or else at the middle of the view. @param {number} tick @param {number|null} line */
  putAt(tick, line) {
    const near = line === null ? null : this.nearest(line, tick);
    this.#put(near === tick ? { tick, line, soft: this.#soft(line) } : { tick, line: null, soft: 0 });
    if (this.from) this.view.say(`From ${this.view.moment(tick, true)}. Step to the other edge and press Enter.`);
  }

  /** @param {End} end */
  #put(end) {
    if (!this.from) { this.from = end; this.to = end; }
    else if (this.from.line === null && end.line === null) {
      this.from = this.to = null;
      this.measure(false);
      this.view.say("No edge is near either end: zoom in, or choose nearer to an edge.");
    } else {
      this.list.push({ a: this.from, b: end });
      this.from = this.to = null;
      const last = this.list[this.list.length - 1];
      this.measure(false);
      this.view.say(`Measured ${this.text(last)}${this.names(last)}.`);
      this.view.onarrange();
    }
    this.view.paint();
  }

  /** @param {number} x @param {number} y */
  follow(x, y) {
    if (!this.from) return;
    this.to = this.snap(x, y);
    this.view.paint();
  }

  /** Removes the last one. */
  undo() {
    if (!this.list.pop()) return;
    this.view.onarrange();
    this.view.paint();
  }

  /** What is kept with the session: moments on its clock, lines by name. */
  saved() {
    const { facts } = this.view;
    const name = (/** @type {number|null} */ line) => (line === null ? null : facts.lines[line].name);
    const moment = (/** @type {End} */ end) => facts.start_s + end.tick * facts.tick_s;
    return this.list.map(({ a, b }) => ({ from_s: moment(a), to_s: moment(b), from_line: name(a.line), to_line: name(b.line), uncertainty_s: a.soft + b.soft }));
  }

  /** @param {any[]} saved */
  restore(saved) {
    const { facts } = this.view;
    const end = (/** @type {number} */ s, /** @type {string|null} */ name, /** @type {number} */ soft) => {
      const line = facts.lines.findIndex((/** @type {any} */ l) => l.name === name);
      const ticks = (s - facts.start_s) / facts.tick_s;
      // An end at an edge is a whole tick.
      return { tick: line >= 0 ? Math.round(ticks) : ticks, line: line >= 0 ? line : null, soft };
    };
    this.list = saved.map((d) => ({ a: end(d.from_s, d.from_line, d.uncertainty_s), b: end(d.to_s, d.to_line, 0) }));
  }

  /** @param {Dimension} dimension */
  names({ a, b }) {
    const name = (/** @type {End} */ end) => (end.line === null ? "a moment without an edge" : this.view.facts.lines[end.line].name);
    return ` from ${name(a)} to ${name(b)}`;
  }

  /** @param {Dimension} dimension */
  text({ a, b }) {
    const time = Math.abs(b.tick - a.tick) * this.view.facts.tick_s;
    // Two ends, each uniform within ± its half sample: the most they can be off together.
    const soft = a.soft + b.soft;
    const parts = [seconds(time, 4)];
    if (soft > 0) parts[0] += ` ± ${seconds(soft, 2)}`;
    // What begins or ends at no edge repeats nothing.
    if (time > 0 && a.line !== null && b.line !== null) parts.push(engineering(1 / time, "Hz", 4));
    return parts.join(" · ");
  }

  /** @param {import("./drawing/draw.js").Pen} pen @param {import("./drawing/scale.js").Scale} scale @param {import("./drawing/draw.js").Row[]} rows */
  draw(pen, scale, rows) {
    const used = new Map();
    const open = this.from && this.to ? [{ a: this.from, b: this.to }] : [];
    for (const dimension of [...this.list, ...open]) {
      const x1 = scale.x(dimension.a.tick), x2 = scale.x(dimension.b.tick);
      if (Math.max(x1, x2) < scale.left || Math.min(x1, x2) > scale.left + scale.width) continue;
      const row = rows.find((r) => r.line === (dimension.b.line ?? dimension.a.line)) ?? rows[0];
      if (!row) continue;
      // Several on one row stand under each other.
      const nth = used.get(row) ?? 0;
      used.set(row, nth + 1);
      pen.dimension(x1, x2, row.low + pen.size * (0.9 + 1.3 * nth), this.text(dimension));
    }
  }
}
