// @ts-check
// A chosen stretch and what each line did in it: edges, pulses, rate, duty, the shortest and the longest.
import { make, fill } from "../lib/dom.js";
import { getJson } from "../lib/fetch.js";
import { engineering, seconds } from "../lib/format.js";

export class Stretch {
  /** @param {import("./view.js").Diagram} view */
  constructor(view) {
    this.view = view;
    /** Ticks; null when none is chosen. @type {{from: number, to: number}|null} */
    this.chosen = null;
    this.asked = 0;
  }

  /** While it is drawn by the pointer. @param {number} from @param {number} to ticks */
  choose(from, to) {
    this.chosen = { from: Math.min(from, to), to: Math.max(from, to) };
    this.view.paint();
  }

  clear() {
    this.chosen = null;
    this.view.paint();
  }

  /** Measures the chosen stretch, or else what is in view. */
  async open() {
    const { view } = this;
    if (!this.chosen) this.choose(Math.max(0, view.start), Math.min(view.facts.length, view.start + view.span));
    const { from, to } = /** @type {{from: number, to: number}} */ (this.chosen);
    const start = Math.floor(from), end = Math.max(Math.ceil(to), start + 1);
    const rows = view.rows().filter((row) => row.line !== null);
    const body = make("div", { class: "slip-body" }, make("p", { role: "status" }, "Counting …"));
    const asked = ++this.asked;
    view.slip.open("Stretch", make("p", {}, `From ${view.moment(start, true)}, for ${view.length(end - start)}. Drag with Shift for another; without one, what is in view is counted.`), body);
    view.slip.onclose = () => { view.slip.onclose = () => {}; this.clear(); };
    try {
      const lines = rows.map((row) => row.line).join(",");
      const answer = await getJson(`${view.path}/stretch?start=${start}&end=${end}&lines=${lines}`);
      if (asked === this.asked) fill(body, this.#table(rows, answer));
    } catch (error) { fill(body, make("p", { role: "status" }, /** @type {Error} */ (error).message)); }
  }

  /** @param {any[]} rows @param {any[]} answer */
  #table(rows, answer) {
    const { view } = this;
    const at = (/** @type {any} */ width, /** @type {string} */ what) => (width
      ? make("button", { type: "button", class: "plain-button", title: "go there", onclick: () => view.mark({ start: width.start, end: width.start + width.width_s / view.facts.tick_s, line: what }) }, seconds(width.width_s, 4))
      : "–");
    const heads = ["line", "edges", "strays", "rate", "duty", "high pulses", "shortest", "longest", "low pulses", "shortest", "longest"];
    const cells = (/** @type {any} */ s, /** @type {any} */ row) => [
      s.edges, s.strays, s.rate_hz === null ? "–" : engineering(s.rate_hz, "Hz", 4), s.duty === null ? "–" : `${(100 * s.duty).toPrecision(3)} %`,
      s.high.count, at(s.high.shortest, row.line), at(s.high.longest, row.line), s.low.count, at(s.low.shortest, row.line), at(s.low.longest, row.line),
    ];
    return make("table", { class: "stretch" }, make("thead", {}, make("tr", {}, ...heads.map((head) => make("th", { scope: "col" }, head)))),
      make("tbody", {}, ...answer.map((s, i) => make("tr", {}, make("th", { scope: "row" }, rows[i].name), ...cells(s, rows[i]).map((cell) => make("td", {}, cell))))));
  }

  /** @param {import("./draw.js").Pen} pen @param {import("./scale.js").Scale} scale @param {number} height */
  draw(pen, scale, height) {
    if (!this.chosen) return;
    const { c, colors, size } = pen;
    const from = Math.max(scale.left, scale.x(this.chosen.from)), to = Math.min(scale.left + scale.width, scale.x(this.chosen.to));
    if (to <= from) return;
    c.fillStyle = colors.fine; c.globalAlpha = 0.1; c.fillRect(from, 0, to - from, height); c.globalAlpha = 1;
    pen.dimension(from, to, size * 2.9, seconds((this.chosen.to - this.chosen.from) * this.view.facts.tick_s, 4));
  }
}
