// @ts-check
// The timing diagram: what is shown, and one frame that draws it. Setters raise flags; painting happens once a frame.
import { asShown, getJson } from "../lib/fetch.js";
import { fill, make } from "../lib/dom.js";
import { busValue, engineering, scaleLabel, seconds, subscript } from "../lib/format.js";
import { Arrangement } from "./arrangement.js";
import { Columns } from "./columns.js";
import { Pen, palette } from "./drawing/draw.js";
import { EvidenceInView, drawEvidence } from "./drawing/evidence.js";
import { drawJudged } from "./drawing/marks.js";
import { levelWord, readLine } from "./drawing/reading.js";
import { busCells } from "./drawing/reduce.js";
import { Scale, keepWithin, niceStep, scaleZero } from "./drawing/scale.js";
import { Slip } from "./slips/slip.js";
import { drawStrip } from "./drawing/strip.js";

/** A row with volts is this much taller: they need room above the logic line. */
const VOLTS_HEIGHT = 2.2;
/** Moments of other findings are drawn with their lags only while they are few. */
const MOST_LAGS = 6;

/** @typedef {import("./drawing/draw.js").Row} Row */

export class Diagram {
  /**
   * @param {HTMLElement} root @param {string} path of the session's interface @param {any} facts what `…/diagram` says
   * @param {typeof import("./drawing/analog.js")|null} analog where some line has volts
   */
  constructor(root, path, facts, analog) {
    this.root = root; this.path = path; this.facts = facts; this.analog = analog;
    this.start = 0; this.span = Math.max(facts.length, 8);
    this.scroll = 0;
    this.chosen = 0;
    /** @type {any} */ this.finding = null;
    /** @type {any[]} */ this.occurrences = [];
    this.occurrence = 0;
    /** Which occurrence the finding in hand tells of. */ this.opensOn = 0;
    /** How many ticks a moment is shown with. */ this.around = 0;
    /** Layers not drawn. @type {Set<string>} */ this.hidden = new Set();
    this.density = null;
    /** It is known what is to be shown: nothing is asked for before. */
    this.isReady = false;
    /** @type {import("./drawing/overlay.js").Overlay|null} */ this.overlay = null;
    /** A capture whose clock is moved by hand. @type {import("./slips/clock.js").Moving|null} */ this.moving = null;
    /** A moment that was gone to. @type {{start: number, end: number, line: number|null}|null} */ this.marked = null;
    /** The pulse that is chosen, to be judged. @type {import("./drawing/marks.js").Chosen|null} */ this.pulse = null;
    /** Where a dragged line would go. @type {{y: number}|null} */ this.dropping = null;
    /** Draws cut labels whole. @type {any} */ this.whole = null;
    /** How often something was said: what comes late says nothing over it. */
    this.told = 0;
    /** Said last, as it came; and once lines were renamed, how that is told in their names. */
    this.said = ""; this.named = /** @type {((text: string) => string)|null} */ (null);
    this.onmove = () => {};
    /** Something that stays with the session changed. */
    this.onarrange = () => {};
    this.frames = /** @type {number[]} */ ([]);
    this.#build();
    this.arrangement = new Arrangement(facts, () => { this.onarrange(); this.renamed(); this.changed(); });
    /** Once one was measured, or kept. @type {import("./dimensions.js").Dimensions|null} */ this.dimensions = null;
    this.isMeasuring = false;
    /** Once one was asked for. @type {import("./stretch.js").Stretch|null} */ this.stretch = null;
    this.evidence = new EvidenceInView(path, () => this.paint());
    this.columns = new Columns(path, facts.length, () => this.paint(), (error) => this.say(error.message));
    this.#media = matchMedia("(prefers-color-scheme: dark)");
    this.#media.addEventListener("change", () => { this.colors = palette(this.root); this.paint(); });
    const observer = new ResizeObserver(() => this.#resize());
    observer.observe(this.wave);
    this.colors = palette(root);
    this.#resize();
  }

  #media; #dimensions = /** @type {Promise<import("./dimensions.js").Dimensions>|null} */ (null); #scheduled = false; #size = 13; #gutter = 150;

  #build() {
    this.canvas = make("canvas", { tabindex: 0, role: "img", "aria-describedby": "caption", "aria-label": "Timing diagram. Press question mark for the keys." });
    this.stripCanvas = make("canvas", { "aria-hidden": "true" });
    this.pointer = make("p", { class: "pointer", "aria-live": "off" });
    this.words = make("p", { class: "words", id: "caption", role: "status", "aria-live": "polite" });
    this.tools = make("div", { class: "tools", role: "toolbar", "aria-label": "Diagram" });
    this.caption = make("div", { class: "caption" }, this.words, this.tools);
    this.more = make("button", { type: "button", class: "more", hidden: true, onclick: () => { this.scroll += this.height / 2; this.paint(); } });
    this.wave = make("div", { class: "wave" }, this.canvas);
    const foot = make("div", { class: "foot" });
    fill(this.root, make("div", { class: "plate" }, this.wave, make("div", { class: "strip" }, this.stripCanvas, this.more)), this.pointer, this.caption, foot);
    this.slip = new Slip(foot, () => this.canvas.focus());
    this.context = this.canvas.getContext("2d");
    this.stripContext = this.stripCanvas.getContext("2d");
  }

  /** @param {string} text */
  say(text) { this.told++; this.said = text; this.words.textContent = this.named?.(text) ?? text; }

  /** Lines may go by other names now: then so do sheet and caption. */
  renamed() {
    if (this.named || this.arrangement.items.some((item) => item.name !== item.given)) import("./names.js").then(({ nameLines }) => nameLines(this));
  }

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
      this.density = await getJson(asShown(`${this.path}/density?columns=${Math.max(100, Math.min(2000, Math.round(this.width - this.#gutter)))}`));
      this.paint();
    } catch (error) { this.say(/** @type {Error} */ (error).message); }
  }

  /** @returns {Scale} */
  get scale() { return new Scale(this.start, this.span, this.#gutter, Math.max(this.width - this.#gutter - this.#size * 1.2, 50)); }

  /**
   * Lines of the finding in hand from bottom to top: a victim below the guilty line, a far end below its source.
   * @returns {number[]}
   */
  get evidenceLines() {
    if (this.moving) return this.moving.pair;
    const lines = this.finding?.lines ?? [];
    return this.finding?.topic === "link" ? [...lines].reverse() : lines;
  }

  /** Rows from top to bottom with their places; each tall enough to read, at most as in a book. @returns {Row[]} */
  rows() {
    const list = this.arrangement.rows(this.evidenceLines);
    const top = this.#size * 2.8;
    const room = this.height - top - this.#size * 1.6;
    const isAnalog = (/** @type {any} */ row) => row.line !== null && this.facts.lines[row.line].volts;
    const shares = list.reduce((sum, row) => sum + row.height * (isAnalog(row) ? VOLTS_HEIGHT : 1), 0);
    const headings = list.filter((row) => row.group).length * this.#size * 1.2;
    const base = Math.min(Math.max((room - headings) / Math.max(shares, 1), this.#size * 3), this.#size * 8);
    let y = top - this.scroll;
    return list.map((row) => {
      if (row.group) y += this.#size * 1.2;
      const whole = base * row.height * (isAnalog(row) ? VOLTS_HEIGHT : 1), height = base * row.height;
      // The logic line, derived from the volts, stands at the foot.
      const own = y + whole - height;
      const swing = Math.min(height * 0.42, this.#size * 2.4 * row.height);
      const high = own + (height - swing) * 0.45;
      const isSupply = isAnalog(row) && this.facts.lines[row.line].volts.supply;
      const volts = isAnalog(row) ? { top: y + this.#size * 0.4, foot: isSupply ? y + whole - this.#size * 1.2 : own } : null;
      const low = high + swing, middle = ((volts?.top ?? high) + low) / 2;
      const placed = { ...row, top: y, height: whole, high, low, foot: row.place ? Math.max(low, middle + this.#size * 1.4) : low, volts };
      y += whole;
      return placed;
    });
  }

  chosenRow() { return this.rows()[this.chosen]; }

  /** Waits until what is in view was answered, some frames at most. */
  async settled() {
    for (let frame = 0; frame < 30 && (frame < 2 || this.columns.isBusy); frame++) await new Promise((next) => requestAnimationFrame(next));
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
    const rows = this.rows(), last = rows.at(-1);
    this.scroll = Math.min(this.scroll, last ? Math.max(0, last.top + last.height + this.scroll - this.height + this.#size * 1.6) : 0);
    const below = rows.filter((row) => row.foot > this.height).length;
    this.more.hidden = below === 0;
    this.more.textContent = `${below} more below`;
    const c = this.context;
    c.setTransform(this.ratio, 0, 0, this.ratio, 0, 0);
    c.fillStyle = this.colors.plate; c.fillRect(0, 0, this.width, this.height);
    if (this.pen?.colors !== this.colors || this.pen.ratio !== this.ratio || this.pen.size !== this.#size) this.pen = new Pen(c, this.colors, this.ratio, this.#size);
    this.draw(this.pen, this.height, true);
    this.#strip(this.scale);
    this.frames.push(performance.now() - begun);
    if (this.frames.length > 4000) this.frames.splice(0, 2000);
  }

  /** Draws what is in view. @param {Pen} pen @param {number} height px @param {boolean} isPage with what only a page needs: the focus, and asking for more */
  draw(pen, height, isPage) {
    const { c } = pen;
    const scale = this.scale, rows = this.rows();
    const inSight = rows.filter((row) => row.top + row.height > 0 && row.top < height);
    // A line that the lower edge would cut through is counted among those below; one that has no room at all is drawn as far as it goes.
    const shown = inSight.filter((row, at) => at === 0 || row.foot <= height);
    if (isPage && this.isReady) this.#want(scale, shown);
    const zero = this.zero(scale);
    pen.grid(scale, this.facts.tick_s, zero, height, this.#base(zero));
    c.save();
    c.beginPath(); c.rect(0, this.#size * 2.2, this.width, height); c.clip();
    shown.forEach((row) => pen.label(row, this.#gutter, isPage && rows.indexOf(row) === this.chosen && document.activeElement === this.canvas));
    if (isPage && this.dropping) { c.fillStyle = this.colors.focus; c.fillRect(0, this.dropping.y - 1.5, this.#gutter, 3); }
    c.beginPath(); c.rect(scale.left, this.#size * 2.2, scale.width + 2, height); c.clip();
    this.#mark(pen, scale, height);
    if (this.overlay) this.overlay.draw(pen, shown, scale);
    else for (const row of shown) this.#recorded(pen, row, scale, height);
    const rowOf = (/** @type {number} */ line) => shown.find((row) => row.line === line);
    // Evidence belongs to the clocks as they are kept.
    if (!this.overlay && !this.moving) {
      this.#evidence(pen, rowOf, scale);
      drawJudged(pen, this, scale, rowOf);
    }
    this.dimensions?.draw(pen, scale, rows);
    this.stretch?.draw(pen, scale, height);
    c.restore();
    if (isPage) this.whole?.(pen, rows);
  }

  /** @param {Scale} scale @param {Row[]} shown */
  #want(scale, shown) {
    const lines = [...new Set(shown.flatMap((row) => (row.bits ? row.bits : row.line === null ? [] : [row.line])))].sort((a, b) => a - b);
    if (this.overlay) this.overlay.want(lines);
    else {
      const beside = Math.min(Math.abs(this.moving?.ticks ?? 0), 2 * this.span);
      this.columns.want(this.start - beside, this.span + 2 * beside, Math.round((scale.width * this.ratio * (this.span + 2 * beside)) / this.span), lines);
    }
    if (!this.hidden.has("others") && this.facts.findings.length) this.evidence.want(this.start, this.span);
  }

  /** A row over what was recorded: nothing is known before and after. @param {Pen} pen @param {Row} row @param {Scale} page @param {number} height */
  #recorded(pen, row, page, height) {
    const scale = this.moving?.has(row) ? this.moving.scale(page) : page;
    if (scale.start >= 0 && scale.end <= this.facts.length) return this.#row(pen, row, scale);
    const { c } = pen, from = scale.x(0) - 1;
    c.save();
    c.beginPath(); c.rect(from, 0, Math.max(0, scale.x(this.facts.length) + 1 - from), height); c.clip();
    this.#row(pen, row, scale);
    c.restore();
  }

  /** @param {Pen} pen @param {Row} row @param {Scale} scale */
  #row(pen, row, scale) {
    const window = this.columns.best(row.bits ? row.bits[0] : /** @type {number} */ (row.line), scale.start, scale.end);
    if (!window) return;
    if (row.bits) return pen.bus(row, window, scale);
    const line = this.facts.lines[/** @type {number} */ (row.line)];
    if (row.volts) this.analog?.drawVolts(pen, row, window, scale, line, this.facts.length);
    // A supply has no levels: what is low and high of it says nothing.
    if (line.volts?.supply) return;
    pen.line(row, window, scale, line.sample_ticks, line.interpolated);
    pen.strays(row, window, scale);
  }

  /** The moment in hand, and those of other findings. @param {Pen} pen @param {(line: number) => Row|undefined} rowOf @param {Scale} scale */
  #evidence(pen, rowOf, scale) {
    const held = this.occurrences[this.occurrence];
    /** @type {Map<string, import("./drawing/evidence.js").Taken>} */ const taken = new Map();
    const isInHand = (/** @type {any} */ o) => this.facts.findings[o.finding] === this.finding;
    // What is in hand has the first right to a place for its words.
    if (held) drawEvidence(pen, held.marks, rowOf, scale, this.facts.tick_s, this.hidden, taken);
    if (!this.hidden.has("others")) {
      // A moment as it is taken in hand shows no trouble of other lines: farther away all is seen.
      const isOwn = held && scale.span <= this.around * 1.01 && held.to >= scale.start && held.from <= scale.end;
      const isNear = (/** @type {any} */ o) => this.facts.findings[o.finding].lines.some((/** @type {number} */ line) => this.finding.lines.includes(line));
      const others = this.evidence.occurrences.filter((o) => !(isInHand(o) && held && o.from === held.from) && (!isOwn || isNear(o)));
      const inSight = others.filter((o) => o.to >= scale.start && o.from <= scale.end);
      const hidden = inSight.length > MOST_LAGS ? new Set([...this.hidden, "lags"]) : this.hidden;
      for (const o of inSight) drawEvidence(pen, o.marks, rowOf, scale, this.facts.tick_s, hidden, taken);
      if (this.evidence.isThinned && inSight.length) pen.remark(scale, "more moments of other findings than can be drawn: one for each place; closer shows all", this.height);
    }
  }

  /** A moment that was gone to: a band over all rows. @param {Pen} pen @param {Scale} scale @param {number} height */
  #mark(pen, scale, height) {
    if (!this.marked || this.overlay) return;
    const { c, colors } = pen;
    const from = scale.x(this.marked.start), to = scale.x(this.marked.end);
    c.fillStyle = colors.fine; c.globalAlpha = 0.16;
    c.fillRect(from - 3, 0, Math.max(0, to - from) + 6, height);
    c.globalAlpha = 1;
    c.strokeStyle = colors.fine; c.lineWidth = 1;
    c.beginPath(); c.moveTo(from, 0); c.lineTo(from, height); c.stroke();
  }

  /** The tick the scale counts from: the guilty edge when it is in sight. @param {Scale} scale */
  zero(scale) {
    const evidence = this.occurrences[this.occurrence];
    if (this.overlay) return this.overlay.anchor;
    if (evidence && evidence.from >= scale.start && evidence.from <= scale.end && scale.span < this.facts.length / 4) return evidence.from;
    const { marked, facts } = this, zero = scaleZero(scale, facts.tick_s, facts.start_s);
    // Where it counts from a moment of its own, that is the one that was gone to.
    return marked && this.isInSight(marked.start) && zero !== -facts.start_s / facts.tick_s ? marked.start : zero;
  }

  /** @param {number} zero */
  #base(zero) {
    const at = this.facts.start_s + zero * this.facts.tick_s;
    // To a five-hundredth of the view: what can be seen.
    const step = Math.max(this.facts.tick_s, niceStep(this.span * this.facts.tick_s / 500));
    return Math.abs(at) < this.facts.tick_s / 2 ? "" : `0 is at ${scaleLabel(at, step).replace(/\.?0+ /, " ")}`;
  }

  /** A moment on the session's clock, to the tick; `fine`: whatever the tick. @param {number} tick @param {boolean} [fine] */
  moment(tick, fine = false) {
    const { start_s, tick_s } = this.facts;
    return scaleLabel(start_s + tick * tick_s, fine ? niceStep(tick_s * 0.5) : Math.min(tick_s, niceStep(this.span * tick_s)));
  }

  /** @param {number} tick */
  isInSight(tick) { return tick >= this.start && tick <= this.start + this.span; }

  /** Goes to a moment and marks it; the zoom stays unless it would be too small or too long to see. @param {{start: number, end: number, line: number|null}} moment */
  mark(moment) {
    this.overlay = null;
    this.marked = moment;
    const length = moment.end - moment.start;
    const isSmall = length > 0 && length < this.span / 100, isLong = length > this.span;
    const span = isSmall || isLong ? length * 8 : this.span;
    const at = moment.line === null ? -1 : this.rows().findIndex((row) => row.line === moment.line);
    if (at >= 0) this.chosen = at;
    if (moment.line !== null) this.bringUp([moment.line]);
    const middle = moment.start + length / 2;
    if (span === this.span && this.isInSight(moment.start) && this.isInSight(moment.end)) this.changed();
    else this.show(middle - span * 0.45, span);
  }

  /** Lays the finding's moments on one another, or takes them apart. */
  async persist() {
    if (this.overlay) {
      this.overlay = null;
      this.goTo(this.occurrence);
      return;
    }
    if (this.occurrences.length < 2) return this.say("Take a finding with several moments in hand first: they are laid on one another.");
    const { Overlay } = await import("./drawing/overlay.js");
    this.marked = null;
    this.overlay = new Overlay(this);
    this.changed();
  }

  /** What is done with a stretch: the first fetches what that takes. @param {(stretch: import("./stretch.js").Stretch) => any} does */
  async withStretch(does) {
    const { Stretch } = await import("./stretch.js");
    return does(this.stretch ??= new Stretch(this));
  }

  /** The same with dimension lines. One promise: what is done while they are fetched is done in its order. @param {(dimensions: import("./dimensions.js").Dimensions) => any} does */
  withDimensions(does) {
    this.#dimensions ??= import("./dimensions.js").then(({ Dimensions }) => (this.dimensions = new Dimensions(this)));
    return this.#dimensions.then(does);
  }

  /** Begins to measure, or ends it: clicks and Enter put ends down from now on, whatever is still to be fetched. */
  measure() {
    const on = this.isMeasuring = !this.isMeasuring;
    return this.withDimensions((dimensions) => dimensions.measure(on));
  }

  /** @param {string} name of a layer of evidence @param {boolean} isShown */
  showLayer(name, isShown) {
    if (isShown) this.hidden.delete(name); else this.hidden.add(name);
    this.onarrange();
    this.paint();
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

  /** Takes a finding in hand and goes to one of its moments. @param {string} id @param {number|null} [occurrence] from 0; null: the one that it tells of */
  async take(id, occurrence = null) {
    const finding = this.facts.findings.find((/** @type {any} */ f) => f.id === id);
    if (!finding) return;
    this.marked = null;
    if (this.finding !== finding) {
      this.finding = finding;
      this.overlay = null;
      const answer = await getJson(asShown(`${this.path}/findings/${encodeURIComponent(id)}/occurrences`));
      if (this.finding !== finding) return;
      this.occurrences = answer.occurrences;
      this.occurrenceCount = answer.count;
      this.opensOn = answer.told;
      this.scroll = 0;
    }
    this.goTo(occurrence ?? this.opensOn);
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
    this.marked = null;
    const { from, to, caption } = list[this.occurrence];
    const tie = this.#tieTicks();
    // With as much around it as tells where in the machine's doings it lies.
    const span = this.around = Math.max((to - from) * 8, tie, 16);
    const middle = (from + to) / 2;
    this.say(`Fig. ${this.facts.findings.indexOf(this.finding) + 1}, ${this.occurrence + 1} of ${this.occurrenceCount}. ${caption}`);
    this.bringUp(this.finding?.lines ?? []);
    this.show(middle - span * 0.45, span);
  }

  /** Scrolls to the rows of lines, the first of them at least. @param {number[]} lines */
  bringUp(lines) {
    const rows = this.rows().filter((row) => row.line !== null && lines.includes(row.line));
    const first = rows[0], last = rows.at(-1);
    if (!first || !last || (first.top > this.#size * 2 && last.top + last.height + this.#size * 1.5 < this.height)) return;
    this.scroll = Math.max(0, this.scroll + first.top - this.#size * 4);
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
    const name = row.name === line.name ? row.name : `${row.name} (${line.name})`;
    return `${name}: ${line.edges} edges${strays}${line.place ? `, at ${line.place}` : ""}.`;
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
  if (tick < 0 || tick > view.facts.length) return `${text} not recorded`;
  if (row.bits) {
    const window = view.columns.best(row.bits[0], tick, tick);
    const bits = window && row.bits.map((bit) => window.lines.get(bit)).filter((bit) => bit !== undefined);
    const cells = window && bits && bits.length === row.bits.length ? busCells(bits, tick - window.start, tick - window.start) : null;
    return cells ? `${text} = ${busValue(cells[0].bits, row.radix, row.signed)}${subscript(parseInt(row.radix))}` : `${text}: crowded here`;
  }
  const window = view.columns.best(/** @type {number} */ (row.line), tick, tick);
  const line = window?.lines.get(/** @type {number} */ (row.line));
  if (!window || !line) return text;
  const volts = row.volts && view.analog ? view.analog.readVolts(line, tick - window.start, (window.end - window.start) / window.columns) : "";
  if (volts) text += `   ${volts}  `;
  if (line.columns) return `${text}: crowded here, zoom in to read it`;
  const { level, pulse, period } = readLine(line, tick - window.start);
  text += ` ${levelWord(level)}`;
  if (pulse) text += `   for ${view.length(pulse.end - pulse.start)}`;
  if (period !== null) text += `   period ${view.length(period)}, ${engineering(1 / (period * view.facts.tick_s), "Hz", 4)}`;
  return text;
}
