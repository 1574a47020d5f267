// @ts-check
// A capture's clock moved by hand against the others: its lines follow the pointer or the keys by whole samples, and
// only what is kept changes the session. The files stay as they are.
import { make } from "../../lib/dom.js";
import { asShown, getJson, sendJson } from "../../lib/fetch.js";
import { seconds } from "../../lib/format.js";
import { Scale } from "../drawing/scale.js";

/** @typedef {{capture: number, file: string, with: number|null, on: string[], shift_s: number, sample_s: number, lines: number[]}} Clock */

/** Samples of the capture in hand across the view: each can be told from the next, and the edge has room. */
const SAMPLES_IN_VIEW = 60;
/** The capture in hand survives the page being shown anew. @param {import("../view.js").Diagram} view */
const KEPT = (view) => `clock ${view.path}`;

export class Moving {
  /** @param {import("../view.js").Diagram} view @param {Clock} clock */
  constructor(view, clock) {
    this.view = view; this.clock = clock;
    this.lines = new Set(clock.lines);
    this.samples = 0;
    /** The shared line as this capture and another have it, or the capture's first line: brought to the top. */
    this.pair = this.#pair();
    this.told = make("p", { role: "status" });
    this.isSending = false;
  }

  /** How far its lines are drawn from where they are, in ticks. */
  get ticks() { return (this.samples * this.clock.sample_s) / this.view.facts.tick_s; }

  #pair() {
    const { lines } = this.view.facts;
    const [there, here = there] = (this.clock.on[0] ?? "").split("=").map((name) => name.trim());
    const find = (/** @type {string} */ name, /** @type {boolean} */ own) => lines.findIndex((/** @type {any} */ line, /** @type {number} */ i) => this.lines.has(i) === own && (line.name === name || line.name.endsWith(`/${name}`)));
    const pair = [find(here, true), find(there, false)];
    return pair.every((line) => line >= 0) ? pair : [this.clock.lines[0]];
  }

  /** Goes to an edge of the shared line near the middle of the view, as close as tells samples apart. */
  async goToEdge() {
    const { view } = this;
    const span = (SAMPLES_IN_VIEW * this.clock.sample_s) / view.facts.tick_s;
    const middle = Math.floor(view.start + view.span / 2);
    let at = middle;
    for (const back of [false, true]) {
      const { moments } = await getJson(asShown(`${view.path}/find?what=edge&line=${this.pair[0]}&most=1&back=${back}&from=${middle}`));
      if (moments.length) { at = moments[0][0]; break; }
    }
    if (view.moving !== this) return;
    view.show(at - span / 2, span);
    view.bringUp(this.pair);
  }

  /** The scale its lines are drawn with. @param {Scale} scale */
  scale(scale) { return new Scale(scale.start - this.ticks, scale.span, scale.left, scale.width); }

  /** @param {any} row */
  has(row) { return this.lines.has(row.bits ? row.bits[0] : row.line); }

  /** @param {number} samples by so many more; positive: later */
  nudge(samples) { this.place(this.samples + samples); }

  /** A drag from where it was `from` by `ticks`: to the nearest whole sample. @param {number} from samples @param {number} ticks */
  drag(from, ticks) { this.place(from + Math.round((ticks * this.view.facts.tick_s) / this.clock.sample_s)); }

  /** @param {number} samples */
  place(samples) {
    this.samples = samples;
    const { file, shift_s, sample_s } = this.clock;
    const own = samples * sample_s;
    const how = samples === 0 ? `${file} stands where it was saved` : `${file} ${Math.abs(samples)} ${Math.abs(samples) === 1 ? "sample" : "samples"} ${samples > 0 ? "later" : "earlier"} (${seconds(own)})`;
    this.told.textContent = `${how}; by hand in all ${seconds(shift_s + own)}. A sample is ${seconds(sample_s)}.`;
    this.view.say(this.told.textContent);
    this.view.paint();
  }

  open() {
    const { view, clock } = this;
    const button = (/** @type {string} */ text, /** @type {() => void} */ does, /** @type {any} */ more = {}) => make("button", { type: "button", onclick: does, ...more }, text);
    const step = (/** @type {number} */ by) => button(`${by > 0 ? "+" : "−"}${Math.abs(by)}`, () => this.nudge(by), { "aria-label": `${Math.abs(by)} ${Math.abs(by) === 1 ? "sample" : "samples"} ${by > 0 ? "later" : "earlier"}` });
    const undo = view.facts.last_move;
    view.slip.open(`Clock of ${clock.file}`, make("div", { class: "slip-body" }, this.told,
      make("p", { class: "row" }, step(-10), step(-1), step(1), step(10), button("save this shift", () => this.keep()), button("back to where it was", () => this.place(0)), undo && button(`undo: ${undo}`, () => this.#send("undo", `${view.path}/undo`, null, "POST"))),
      make("p", { class: "quiet" }, "Drag one of its lines, or ← → by a sample, with Shift by ten. Enter saves the shift in the session, and all findings are worked out anew with it; Escape leaves all as it was. The file itself is not changed.")));
    view.slip.onclose = () => { view.slip.onclose = () => {}; this.drop(); };
    // The arrow keys belong to the diagram.
    view.canvas.focus();
    this.place(0);
    this.goToEdge().catch((error) => view.say(error.message));
  }

  keep() {
    const { capture, with: other, on, shift_s, sample_s } = this.clock;
    if (this.samples === 0) { this.view.slip.close(); return; }
    this.#send("save", `${this.view.path}/clocks`, { capture, with: other, on, shift_s: shift_s + this.samples * sample_s }, "PUT");
  }

  /** @param {string} what @param {string} address @param {any} body @param {string} method */
  async #send(what, address, body, method) {
    if (this.isSending) return;
    this.isSending = true;
    try {
      await sendJson(address, body, method);
      try { sessionStorage.setItem(KEPT(this.view), String(this.clock.capture)); } catch { /* Then it is not in hand afterwards. */ }
      location.reload();
    } catch (error) {
      this.isSending = false;
      this.told.textContent = `Could not ${what} it: ${/** @type {Error} */ (error).message}`;
    }
  }

  /** Puts it out of hand; what was not kept goes back. */
  drop() {
    this.view.moving = null;
    this.view.paint();
  }
}

/** Takes the capture of the chosen line in hand, or the only one there is. @param {import("../view.js").Diagram} view @param {number} [capture] */
export function takeClock(view, capture) {
  const clocks = /** @type {Clock[]} */ (view.facts.clocks);
  const row = view.chosenRow();
  const line = row?.bits ? row.bits[0] : row?.line;
  const clock = clocks.find((c) => (capture === undefined ? c.lines.includes(line) : c.capture === capture)) ?? (clocks.length === 1 ? clocks[0] : undefined);
  if (!clock) {
    view.say(clocks.length ? "Choose a line of the capture that is to be moved first (↑ ↓): the first capture's clock is the session's." : "There is one capture on one clock here: nothing to move against another.");
    return;
  }
  if (view.moving) view.slip.close();
  const moving = new Moving(view, clock);
  view.moving = moving;
  moving.open();
}

/** Takes up what was in hand before the page was shown anew. @param {import("../view.js").Diagram} view */
export function takeAgain(view) {
  let capture = null;
  try { capture = sessionStorage.getItem(KEPT(view)); sessionStorage.removeItem(KEPT(view)); } catch { /* Nothing was kept. */ }
  if (capture !== null) takeClock(view, Number(capture));
}
