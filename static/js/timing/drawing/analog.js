// @ts-check
// Volts of an analog line above its logic line: samples, or the smallest and largest of each pixel column.
import { engineering } from "../../lib/format.js";

/**
 * The volts that a line is judged by: thresholds, or what a supply should be. A line without either that never makes an
 * edge or a runt has its own range alone, so that ripple is seen. Pure.
 * @param {any} line what the session says of it @returns {number[]}
 */
export const judgedBy = ({ volts, edges, strays }) => (volts.supply ? [volts.supply.low_v, volts.supply.nominal_v, volts.supply.high_v] : edges || strays ? [volts.low_v, volts.high_v] : []);

/**
 * Volts → pixels of a row: the whole range of the line with what it is judged by, and a little room.
 * @param {any} line what the session says of it @param {{top: number, foot: number}} place
 */
export function voltScale(line, place) {
  const own = [line.volts.smallest_v, line.volts.largest_v, ...judgedBy(line)];
  const low = Math.min(...own), high = Math.max(...own);
  const room = (high - low || 1) * 0.06;
  return (/** @type {number} */ value) => place.foot - ((value - low + room) / (high - low + 2 * room)) * (place.foot - place.top);
}

/** The volts of a window at a tick of it, in words: a sample, or the range within a pixel column. @param {import("../columns.js").LineWindow} line @param {number} tick @param {number} width ticks of a column */
export function readVolts(line, tick, width) {
  const { points, volts } = line;
  if (points) {
    let at = 0;
    while (at + 3 < points.length && points[at + 2] <= tick) at += 2;
    return points.length && points[at] <= tick && !Number.isNaN(points[at + 1]) ? engineering(points[at + 1], "V") : "";
  }
  const column = Math.floor(tick / width);
  if (!volts || column < 0 || 2 * column + 1 >= volts.length || Number.isNaN(volts[2 * column])) return "";
  return `${engineering(volts[2 * column], "V")} to ${engineering(volts[2 * column + 1], "V")}`;
}

/**
 * @param {import("./draw.js").Pen} pen @param {import("./draw.js").Row} row @param {import("../columns.js").Window} window
 * @param {import("./scale.js").Scale} scale @param {any} of what the session says of the line
 */
export function drawVolts(pen, row, window, scale, of, last) {
  const line = row.line === null ? undefined : window.lines.get(row.line);
  if (!line || !row.volts) return;
  const { c, colors, size } = pen;
  const y = voltScale(of, row.volts);
  thresholds(pen, scale, of, y);
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
  figures(pen, scale, of, y, last);
}

/** Thresholds as dashed lines; of a supply its limits, and the nominal voltage between them as a fine one. @param {import("./draw.js").Pen} pen @param {import("./scale.js").Scale} scale @param {any} of @param {(v: number) => number} y */
function thresholds({ c, colors }, scale, of, y) {
  const nominal = of.volts.supply?.nominal_v;
  c.strokeStyle = colors.fine; c.lineWidth = 1;
  for (const value of judgedBy(of)) {
    c.setLineDash(value === nominal ? [2, 4] : [6, 4]);
    c.beginPath(); c.moveTo(scale.left, y(value)); c.lineTo(scale.left + scale.width, y(value)); c.stroke();
  }
  c.setLineDash([]);
}

/** Volts of the thresholds and of the ends of the range, at the right. @param {import("./draw.js").Pen} pen @param {import("./scale.js").Scale} scale @param {any} of @param {(v: number) => number} y @param {number} last tick of the capture */
function figures({ c, colors, size }, scale, of, y, last) {
  const { volts } = of;
  // Nothing is drawn behind the last moment.
  const right = Math.min(scale.left + scale.width, scale.x(last));
  c.font = `${size * 0.75}px ${colors.sans}`; c.textAlign = "right";
  /** @type {number[]} */ const taken = [];
  for (const value of [...judgedBy(of), volts.largest_v, volts.smallest_v]) {
    const at = y(value) - 2, text = engineering(value, "V");
    if (taken.some((other) => Math.abs(other - at) < size * 0.9)) continue;
    taken.push(at);
    c.fillStyle = colors.plate; c.fillRect(right - c.measureText(text).width - 5, at - size * 0.7, c.measureText(text).width + 5, size * 0.85);
    c.fillStyle = colors.quiet; c.fillText(text, right - 2, at);
  }
}
