// @ts-check
// The timing diagram: what is shown, and one frame that draws it. Setters raise flags; painting happens once a frame.
import { getJson } from "../lib/fetch.js";
import { fill, make } from "../lib/dom.js";
import { busValue, scaleLabel, seconds, subscript } from "../lib/format.js";
import { Arrangement } from "./arrangement.js";
import { Columns } from "./columns.js";
import { Dimensions } from "./dimensions.js";
import { Pen, palette } from "./draw.js";
import { busCells, lowerBound } from "./reduce.js";
import { Scale, keepWithin, niceStep, scaleZero } from "./scale.js";
import { drawStrip } from "./strip.js";

/** @typedef {import("./draw.js").Row} Row */

export class Diagram {
  /** @param {HTMLElement} root @param {string} path of the session's interface @param {any} facts what `…/diagram` says */
  constructor(root, path, facts) {
    this.root = root; this.path = path; this.facts = facts;
    this.start = 0; this.span = Math.max(facts.length, 8);
    this.scroll = 0;
    this.chosen = 0;
    /** @type {any} */ this.finding = null;
    /** @type {any[]} */ this.occurrences = [];
    this.occurrence = 0;
    this.layers = { ties: true, strays: true, ghosts: true };
    this.density = null;
    this.overlay = null;
    this.onmove = () => {};
    this.frames = /** @type {number[]} */ ([]);
    this.#build();
    this.arrangement = new Arrangement(facts, () => this.changed());
    this.dimensions = new Dimensions(this);
    this.columns = new Columns(path, facts.length, () => this.paint(), (error) => this.say(error.message));
    this.#media = matchMedia("(prefers-color-scheme: dark)");
    this.#media.addEventListener("change", () => { this.colors = palette(this.root); this.paint(); });
    new ResizeObserver(() => this.#resize()).observe(this.root);
    this.colors = palette(root);
    this.#resize();
  }

  #media; #scheduled = false; #size = 13; #gutter = 150;

  #build() {
    this.canvas = make("canvas", { tabindex: 0, role: "img", "aria-describedby": "caption", "aria-label": "Timing diagram. Press question mark for the keys." });
    this.stripCanvas = make("canvas", { "aria-hidden": "true" });
    this.pointer = make("p", { class: "pointer", "aria-live": "off" });
    this.words = make("p", { class: "words", id: "caption", role: "status", "aria-live": "polite" });
    this.tools = make("div", { class: "tools", role: "toolbar", "aria-label": "Diagram" });
    this.caption = make("div", { class: "caption" }, this.words, this.tools);
    this.wave = make("div", { class: "wave" }, this.canvas);
    fill(this.root, make("div", { class: "plate" }, this.wave, make("div", { class: "strip" }, this.stripCanvas)), this.pointer, this.caption);
    this.context = this.canvas.getContext("2d");
    this.stripContext = this.stripCanvas.getContext("2d");
  }

  /** @param {string} text */
  say(text) { this.words.textContent = text; }

  #resize() {
    this.ratio = devicePixelRatio || 1;
    for (const canvas of [this.canvas, this.stripCanvas]) {
      const box = canvas.parentElement.getBoundingClientRect();
      canvas.width = Math.round(box.width * this.ratio);
      canvas.height = Math.round(box.height * this.ratio);
    }
    const box = this.wave.getBoundingClientRect();
    this.width = box.width; this.height = box.height;
    this.#size = parseFloat(getComputedStyle(document.documentElement).fontSize) * 0.8;
    this.#gutter = Math.min(Math.max(this.#size * 12, 110), this.width * 0.3);
    if (this.width > 0 && !this.density) this.#fetchDensity();
    this.paint();
  }

  get size() { return this.#size; }

  async #fetchDensity() {
    this.density = { edges: [], strays: [] };
    try {
      this.density = await getJson(`${this.path}/density?columns=${Math.max(100, Math.min(2000, Math.round(this.width - this.#gutter)))}`);
      this.paint();
    } catch (error) { this.say(/** @type {Error} */ (error).message); }
  }

  /** @returns {Scale} */
  get scale() { return new Scale(this.start, this.span, this.#gutter, Math.max(this.width - this.#gutter - this.#size * 1.2, 50)); }

  /** Rows from top to bottom with their places; each at least tall enough to read, at most as in a book. @returns {Row[]} */
  rows() {
    const list = this.arrangement.rows(this.finding?.lines ?? []);
    const top = this.#size * 2.8;
    const room = this.height - top - this.#size;
    const base = Math.min(Math.max(room / Math.max(list.length, 1), this.#size * 3), this.#size * 5.6);
    let y = top - this.scroll;
    return list.map((row) => {
      const height = base * row.height;
      const swing = Math.min(height * 0.42, this.#size * 2.1 * row.height);
      const high = y + (height - swing) * 0.45;
      const placed = { ...row, top: y, height, high, low: high + swing };
      y += height;
      return placed;
    });
  }

  /** Something else is to be seen: draw, and tell who keeps the address. */
  changed() { this.paint(); this.onmove(); }

  /** Draws at the next frame. */
  paint() {
    if (this.#scheduled) return;
    this.#scheduled = true;
    requestAnimationFrame(() => { this.#scheduled = false; this.#frame(); });
  }

  #frame() {
    const begun = performance.now();
    if (!(this.width > 0 && this.height > 0)) return;
    const scale = this.scale, rows = this.rows();
    const last = rows[rows.length - 1];
    const most = last ? Math.max(0, last.top + last.height + this.scroll - this.height + this.#size) : 0;
    if (this.scroll > most) { this.scroll = most; return this.#frame(); }
    const shown = rows.filter((row) => row.top + row.height > 0 && row.top < this.height);
    const lines = [...new Set(shown.flatMap((row) => (row.bits ? row.bits : row.line === null ? [] : [row.line])))].sort((a, b) => a - b);
    this.columns.want(this.start, this.span, Math.round(scale.width * this.ratio), lines);
    const c = this.context;
    c.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    c.fillStyle = this.colors.plate; c.fillRect(0, 0, this.width, this.height);
    const pen = new Pen(c, this.colors, this.ratio, this.#size);
    const evidence = this.occurrences[this.occurrence];
    const zero = this.zero(scale);
    pen.grid(scale, this.facts.tick_s, zero, this.height, this.#base(zero));
    c.save();
    c.beginPath(); c.rect(0, this.#size * 2.2, this.width, this.height); c.clip();
    shown.forEach((row) => {
      pen.label(row, this.#gutter, rows.indexOf(row) === this.chosen && document.activeElement === this.canvas);
    });
    c.beginPath(); c.rect(scale.left, this.#size * 2.2, scale.width + 2, this.height); c.clip();
    for (const row of shown) {
      const window = this.columns.best(row.bits ? row.bits[0] : /** @type {number} */ (row.line), scale.start, scale.end);
      if (!window) continue;
      if (row.bits) pen.bus(row, window, scale);
      else {
        const line = this.facts.lines[/** @type {number} */ (row.line)];
        pen.line(row, window, scale, line.sample_ticks, line.interpolated);
        if (this.layers.strays) pen.strays(row, window, scale);
      }
    }
    const rowOf = (/** @type {number} */ line) => rows.find((row) => row.line === line);
    if (this.overlay) this.overlay.draw(pen, rowOf, scale);
    else if (evidence && this.layers.ties) pen.evidence(evidence.marks.filter((/** @type {any} */ m) => this.layers.ghosts || m.kind !== "missing"), rowOf, scale, this.facts.tick_s);
    this.dimensions.draw(pen, scale, rows);
    c.restore();
    this.#strip(scale);
    this.frames.push(performance.now() - begun);
    if (this.frames.length > 4000) this.frames.splice(0, 2000);
  }

  /** The tick the scale counts from: the guilty edge when it is in sight. @param {Scale} scale */
  zero(scale) {
    const evidence = this.occurrences[this.occurrence];
    if (evidence && evidence.from >= scale.start && evidence.from <= scale.end && scale.span < this.facts.length / 4) return evidence.from;
    return scaleZero(scale, this.facts.tick_s, this.facts.start_s);
  }

  /** @param {number} zero */
  #base(zero) {
    const at = this.facts.start_s + zero * this.facts.tick_s;
    return Math.abs(at) < this.facts.tick_s / 2 ? "" : `0 is at ${this.moment(zero)}`;
  }

  /** A moment on the session's clock, to the tick. @param {number} tick */
  moment(tick) {
    return scaleLabel(this.facts.start_s + tick * this.facts.tick_s, Math.min(this.facts.tick_s, niceStep(this.span * this.facts.tick_s)));
  }

  /** @param {Scale} scale */
  #strip(scale) {
    const c = this.stripContext, length = Math.max(this.facts.length, 1);
    c.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    const place = { left: scale.left, width: scale.width, height: this.stripCanvas.height / this.ratio };
    const frame = { from: Math.max(0, this.start / length), to: Math.min(1, (this.start + this.span) / length) };
    drawStrip(c, this.colors, this.#size, this.density, place, frame, this.occurrences.slice(0, 3000).map((o) => o.from / length));
  }

  /** Shows `span` ticks from `start`. @param {number} start @param {number} span */
  show(start, span) {
    const kept = keepWithin(start, span, this.facts.length);
    this.start = kept.start; this.span = kept.span;
    this.changed();
  }

  /** Zooms about the place `x`. @param {number} factor below 1: closer @param {number} [x] px */
  zoom(factor, x) {
    const scale = this.scale;
    const at = x === undefined ? scale.start + scale.span / 2 : scale.tick(Math.max(x, scale.left));
    const span = keepWithin(0, this.span * factor, this.facts.length).span;
    this.show(at - (at - this.start) * (span / this.span), span);
  }

  /** @param {number} share of the width, positive: later */
  pan(share) { this.show(this.start + this.span * share, this.span); }

  fit() {
    const margin = this.facts.length * 0.01;
    this.show(-margin, this.facts.length + 2 * margin);
  }

  /** Takes a finding in hand and goes to one of its moments. @param {string} id @param {number} [occurrence] from 0 */
  async take(id, occurrence = 0) {
    const finding = this.facts.findings.find((/** @type {any} */ f) => f.id === id);
    if (!finding) return;
    if (this.finding !== finding) {
      this.finding = finding;
      this.overlay = null;
      const answer = await getJson(`${this.path}/findings/${encodeURIComponent(id)}/occurrences`);
      if (this.finding !== finding) return;
      this.occurrences = answer.occurrences;
      this.occurrenceCount = answer.count;
      this.scroll = 0;
    }
    this.goTo(occurrence);
  }

  /** @param {number} occurrence from 0 */
  goTo(occurrence) {
    const list = this.occurrences;
    if (list.length === 0) {
      this.occurrence = 0;
      this.say(this.finding ? `${this.finding.title}.` : "");
      this.fit();
      return;
    }
    this.occurrence = ((occurrence % list.length) + list.length) % list.length;
    const { from, to, caption } = list[this.occurrence];
    const tie = this.#tieTicks();
    // The evidence, and as much around it as tells where in the machine's doings it lies.
    const span = Math.max((to - from) * 8, tie, 16);
    const middle = (from + to) / 2;
    this.say(`Fig. ${this.facts.findings.indexOf(this.finding) + 1}, ${this.occurrence + 1} of ${this.occurrenceCount}. ${caption}`);
    this.show(middle - span * 0.45, span);
  }

  /** Wide enough that a sampling period is some pixels only. */
  #tieTicks() {
    const lines = this.finding?.lines ?? [];
    return 40 * Math.max(0, ...lines.map((/** @type {number} */ line) => this.facts.lines[line].sample_ticks));
  }

  /** Puts the finding down. */
  drop() {
    this.finding = null; this.occurrences = []; this.occurrence = 0; this.overlay = null;
    this.changed();
  }

  /** The row at a place of the canvas. @param {number} y */
  rowAt(y) { return this.rows().find((row) => y >= row.top && y < row.top + row.height); }

  /** @param {number} ticks */
  length(ticks) { return seconds(ticks * this.facts.tick_s, 4); }

  /** A row in words. @param {any} row */
  describe(row) {
    if (row.line === null) return `${row.name}, a bus of ${row.bits.length} bits.`;
    const line = this.facts.lines[row.line];
    const strays = line.strays ? `, ${line.strays} strays` : "";
    return `${row.name}: ${line.edges} edges${strays}.`;
  }

  /** Says what lies under the pointer. @param {number} x @param {number} y */
  read(x, y) {
    const scale = this.scale;
    if (x < scale.left || x > scale.left + scale.width) { this.pointer.textContent = ""; return; }
    this.pointer.textContent = readout(this, scale.tick(x), this.rowAt(y));
  }
}

/** What a row does at a moment. @param {Diagram} view @param {number} tick @param {Row|undefined} row */
export function readout(view, tick, row) {
  let text = view.moment(tick);
  if (!row) return text;
  text += `   ${row.name}`;
  if (row.bits) {
    const window = view.columns.best(row.bits[0], tick, tick);
    const bits = window && row.bits.map((bit) => window.lines.get(bit)).filter((bit) => bit !== undefined);
    const cells = window && bits && bits.length === row.bits.length ? busCells(bits, tick - window.start, tick - window.start) : null;
    return cells ? `${text} = ${busValue(cells[0].bits, row.radix, row.signed)}${subscript(parseInt(row.radix))}` : `${text}: crowded here`;
  }
  const window = view.columns.best(/** @type {number} */ (row.line), tick, tick);
  const line = window?.lines.get(/** @type {number} */ (row.line));
  if (!window || !line) return text;
  if (line.columns) return `${text}: crowded here, zoom in to read it`;
  const edges = line.edges ?? [];
  const at = lowerBound(edges, (edge) => window.start + edge <= tick);
  const level = line.entering > 1 ? 2 : line.entering ^ (at & 1);
  text += ` ${["low", "high", "unknown"][level]}`;
  if (at > 0 && at < edges.length) text += `   for ${view.length(edges[at] - edges[at - 1])}`;
  if (at > 0 && at + 1 < edges.length) text += `   period ${view.length(edges[at + 1] - edges[at - 1])}`;
  return text;
}
