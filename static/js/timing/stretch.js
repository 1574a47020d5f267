// @ts-check
// A chosen stretch; what each line did in it is counted when it is asked for.
import { seconds } from "../lib/format.js";

export class Stretch {
  /** @param {import("./view.js").Diagram} view */
  constructor(view) {
    this.view = view;
    /** Ticks; null when none is chosen. @type {{from: number, to: number}|null} */
    this.chosen = null;
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
    (await import("./slips/count.js")).countSlip(view, this);
  }

  /** @param {import("./drawing/draw.js").Pen} pen @param {import("./drawing/scale.js").Scale} scale @param {number} height */
  draw(pen, scale, height) {
    if (!this.chosen) return;
    const { c, colors, size } = pen;
    const from = Math.max(scale.left, scale.x(this.chosen.from)), to = Math.min(scale.left + scale.width, scale.x(this.chosen.to));
    if (to <= from) return;
    c.fillStyle = colors.fine; c.globalAlpha = 0.1; c.fillRect(from, 0, to - from, height); c.globalAlpha = 1;
    pen.dimension(from, to, size * 2.9, seconds((this.chosen.to - this.chosen.from) * this.view.facts.tick_s, 4));
  }
}
