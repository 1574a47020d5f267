// @ts-check
// Persistence: all occurrences of the finding in hand laid on one another, aligned at the edge that causes each.
import { asShown, getJson } from "../../lib/fetch.js";
import { lowerBound } from "./reduce.js";

/** The moment an occurrence is aligned at, as the server takes it. @param {any} occurrence */
export function anchorOf(occurrence) {
  for (const mark of occurrence.marks) {
    if (mark.kind === "cause" || mark.kind === "suspect") return mark.at;
    if (mark.kind === "missing") return mark.sent;
  }
  return occurrence.from;
}

/**
 * One trace as a path of corners: [tick from the anchor, level], from `start` to `end`. Pure.
 * @param {number[]} trace level on entering, then edges @param {number} start @param {number} end
 */
export function corners(trace, start, end) {
  const edges = trace.slice(1);
  let at = lowerBound(edges, (edge) => edge < start);
  let level = trace[0] ^ (at & 1);
  const path = [[start, level]];
  for (; at < edges.length && edges[at] <= end; at++) {
    path.push([edges[at], level]);
    level ^= 1;
    path.push([edges[at], level]);
  }
  path.push([end, level]);
  return path;
}

export class Overlay {
  #busy = false;
  /** @type {any} */ laid = null;

  /** @param {import("../view.js").Diagram} view the occurrence in hand is where the view stands */
  constructor(view) { this.view = view; }

  get anchor() { return anchorOf(this.view.occurrences[this.view.occurrence]); }

  /** Sees to it that what is in view was read around every anchor. @param {number[]} lines */
  async want(lines) {
    const { view, laid, anchor } = this;
    const before = Math.ceil(anchor - view.start), after = Math.ceil(view.start + view.span - anchor);
    const holds = laid && before <= laid.before && after <= laid.after && lines.every((line) => laid.byLine.has(line));
    const isWide = laid && laid.before + laid.after > 12 * (before + after);
    if ((holds && !isWide) || this.#busy) return;
    this.#busy = true;
    try {
      const reach = (/** @type {number} */ ticks) => Math.min(Math.max(16, 2 * ticks), view.facts.length + 16);
      const query = `before=${reach(before)}&after=${reach(after)}&lines=${lines.join(",")}`;
      const answer = await getJson(asShown(`${view.path}/findings/${encodeURIComponent(view.finding.id)}/overlay?${query}`));
      answer.byLine = new Map(answer.lines.map((/** @type {any} */ line) => [line.line, line]));
      this.laid = answer;
      view.say(this.says());
      view.paint();
    } catch (error) {
      view.say(/** @type {Error} */ (error).message);
    }
    this.#busy = false;
  }

  says() {
    const { laid, view } = this;
    const all = laid.laid < laid.count ? `${laid.laid} of ${laid.count} moments` : `${laid.count} moments`;
    const left = laid.lines.reduce((/** @type {number} */ most, /** @type {any} */ line) => Math.max(most, line.left_out), 0);
    const out = left ? ` ${left} could not be laid on every line: too many edges here, or nothing recorded.` : "";
    const cause = view.occurrences[view.occurrence].marks.find((/** @type {any} */ mark) => mark.kind === "cause" || mark.kind === "suspect");
    const at = cause ? `the edge of ${view.facts.lines[cause.line].name}` : "their first moment";
    return `${all} laid on one another, aligned at ${at}. ${view.finding.title}.${out}`;
  }

  /** @param {import("./draw.js").Pen} pen @param {import("./draw.js").Row[]} rows @param {import("./scale.js").Scale} scale */
  draw(pen, rows, scale) {
    const { c, colors } = pen;
    const { laid, anchor, view } = this;
    if (!laid) return;
    const x0 = scale.x(anchor);
    c.strokeStyle = colors.cause; c.lineWidth = 1; c.setLineDash([2, 3]);
    c.beginPath(); c.moveTo(x0, 0); c.lineTo(x0, view.height); c.stroke(); c.setLineDash([]);
    const start = Math.max(scale.start - anchor, -laid.before), end = Math.min(scale.end - anchor, laid.after);
    for (const row of rows) {
      for (const line of row.bits ?? [row.line]) {
        const traces = laid.byLine.get(line)?.traces ?? [];
        c.strokeStyle = line === view.finding.lines[0] ? colors.stray : colors.line;
        c.lineWidth = 1.3; c.globalAlpha = Math.min(1, Math.max(0.05, 2.2 / Math.max(traces.length, 1)));
        for (const trace of traces) {
          c.beginPath();
          corners(trace, start, end).forEach(([tick, level], i) => {
            const x = scale.x(anchor + tick), y = level ? row.high : row.low;
            if (i === 0) c.moveTo(x, y); else c.lineTo(x, y);
          });
          c.stroke();
        }
        c.globalAlpha = 1;
      }
    }
  }
}
