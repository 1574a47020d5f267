// @ts-check
// The pulse that is chosen, and those that a person judged, in the figure.
import { readLine } from "./reading.js";

/** @typedef {{line: number, start: number, end: number, level: number|null}} Chosen ticks */

/** What a mark says. @param {boolean} stray */
export const judgedWord = (stray) => (stray ? "a stray" : "legitimate");

/**
 * The pulse of a row at a moment; null where none is known to begin and end, or the lines are drawn too close to tell.
 * @param {import("../view.js").Diagram} view @param {any} row @param {number} tick @returns {Chosen|null}
 */
export function pulseAt(view, row, tick) {
  if (!row || row.line === null) return null;
  const window = view.columns.best(row.line, tick, tick);
  const line = window?.lines.get(row.line);
  if (!window || !line || line.columns) return null;
  const { level, pulse } = readLine(line, tick - window.start);
  return pulse && { line: row.line, start: window.start + pulse.start, end: window.start + pulse.end, level };
}

/** The chosen pulse, and those that were judged. @param {import("./draw.js").Pen} pen @param {import("../view.js").Diagram} view @param {import("./scale.js").Scale} scale @param {(line: number) => import("./draw.js").Row|undefined} rowOf */
export function drawJudged(pen, view, scale, rowOf) {
  const { c, colors, size } = pen;
  for (const mark of view.facts.marks) {
    const row = mark.start === null ? undefined : rowOf(mark.line);
    if (!row || !view.isInSight(mark.start)) continue;
    // Above its own line, beside the sign of a stray: below it the next line's signs begin.
    const says = `marked ${judgedWord(mark.stray)}`, y = row.high - 4;
    c.font = `${size * 0.8}px ${colors.sans}`; c.textAlign = "left";
    const x = scale.x(mark.start) + 7, width = c.measureText(says).width;
    c.fillStyle = colors.plate; c.fillRect(x - 2, y - size * 0.8, width + 4, size);
    c.fillStyle = colors.text; c.fillText(says, x, y);
  }
  const { pulse } = view;
  const row = pulse && rowOf(pulse.line);
  if (!pulse || !row) return;
  const from = Math.max(scale.x(pulse.start), scale.left - 2), to = Math.min(scale.x(pulse.end), scale.left + scale.width + 2);
  c.strokeStyle = colors.focus; c.lineWidth = 1.6;
  c.strokeRect(from - 2, row.high - 5, Math.max(to - from, 2) + 4, row.low - row.high + 10);
}
