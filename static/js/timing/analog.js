// @ts-check
// Volts of an analog line above its logic line: samples, or the smallest and largest of each pixel column.
import { engineering } from "../lib/format.js";

/** Volts → pixels of a row: the whole range of the line with its thresholds, and a little room. @param {any} facts @param {{top: number, foot: number}} place */
export function voltScale(facts, place) {
  const low = Math.min(facts.smallest_v, facts.low_v), high = Math.max(facts.largest_v, facts.high_v);
  const room = (high - low || 1) * 0.06;
  return (/** @type {number} */ volts) => place.foot - ((volts - low + room) / (high - low + 2 * room)) * (place.foot - place.top);
}

/**
 * @param {import("./draw.js").Pen} pen @param {import("./draw.js").Row} row @param {import("./columns.js").Window} window
 * @param {import("./scale.js").Scale} scale @param {any} facts thresholds and range of the line
 */
export function drawVolts(pen, row, window, scale, facts) {
  const line = row.line === null ? undefined : window.lines.get(row.line);
  if (!line || !row.volts) return;
  const { c, colors, size } = pen;
  const y = voltScale(facts, row.volts);
  thresholds(pen, scale, facts, y);
  c.strokeStyle = c.fillStyle = colors.line; c.lineWidth = 1.2; c.lineJoin = "round";
  if (line.points) {
    const points = line.points;
    const isSparse = (points.length / 2 / (window.end - window.start)) * scale.span < scale.width / 8;
    c.beginPath();
    let isDown = false;
    for (let i = 0; i < points.length; i += 2) {
      if (Number.isNaN(points[i + 1])) { isDown = false; continue; }
      const x = scale.x(window.start + points[i]);
      if (x < scale.left - scale.width || x > scale.left + 2 * scale.width) { isDown = false; continue; }
      if (isDown) c.lineTo(x, y(points[i + 1])); else c.moveTo(x, y(points[i + 1]));
      isDown = true;
    }
    c.stroke();
    // Where samples are far apart, each is marked: what lies between was not measured.
    if (isSparse) for (let i = 0; i < points.length; i += 2) {
      const x = scale.x(window.start + points[i]);
      if (x >= scale.left && x <= scale.left + scale.width) c.fillRect(x - size * 0.1, y(points[i + 1]) - size * 0.1, size * 0.2, size * 0.2);
    }
  } else if (line.volts) {
    const width = (window.end - window.start) / window.columns, step = Math.max(width * scale.pixelsPerTick, 1 / pen.ratio);
    const from = Math.max(0, Math.floor((scale.start - window.start) / width)), to = Math.min(window.columns, Math.ceil((scale.end - window.start) / width));
    for (let i = from; i < to; i++) {
      const top = y(line.volts[2 * i + 1]), foot = y(line.volts[2 * i]);
      if (foot >= top) c.fillRect(scale.x(window.start + i * width), top - 0.6, step, foot - top + 1.2);
    }
  }
}

/** @param {import("./draw.js").Pen} pen @param {import("./scale.js").Scale} scale @param {any} facts @param {(v: number) => number} y */
function thresholds({ c, colors, size }, scale, facts, y) {
  c.strokeStyle = colors.fine; c.fillStyle = colors.quiet; c.lineWidth = 1; c.textAlign = "right";
  c.font = `${size * 0.75}px ${colors.sans}`;
  c.setLineDash([6, 4]);
  c.beginPath();
  for (const volts of [facts.low_v, facts.high_v]) { c.moveTo(scale.left, y(volts)); c.lineTo(scale.left + scale.width, y(volts)); }
  c.stroke();
  c.setLineDash([]);
  const isRoomy = Math.abs(y(facts.low_v) - y(facts.high_v)) > size * 0.9;
  for (const volts of isRoomy ? [facts.low_v, facts.high_v] : [facts.high_v]) c.fillText(engineering(volts, "V"), scale.left + scale.width - 2, y(volts) - 2);
}
