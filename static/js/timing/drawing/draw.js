// @ts-check
// Draws rows of lines on a canvas, as a data book does. Knows pixels and windows; no state, no events.
import { scaleLabel, seconds, subscript, busValue } from "../../lib/format.js";
import { levelAt } from "./reading.js";
import { CROWD, CROWD_END_HIGH, CROWD_END_LOW, JUMP_HIGH, JUMP_LOW, RISE, busCells, lowerBound, reduceColumns, reduceEdges } from "./reduce.js";
import { scaleMarks } from "./scale.js";

/** @typedef {import("./scale.js").Scale} Scale */
/** @typedef {import("../columns.js").Window} Window */
/** @typedef {{key: string, name: string, place: string, group: string, line: number|null, bits: number[]|null, radix: string, signed: boolean, top: number, height: number, high: number, low: number, foot: number, volts: {top: number, foot: number}|null}} Row */

/** Ink on white, for figures that leave the page. @param {Palette} colors @returns {Palette} */
export const printed = (colors) => ({
  ...colors, plate: "#ffffff", text: "#1f2a33", quiet: "#5d584b", rule: "#d9d1c0", line: "#1f2a33", stray: "#b83f28", cause: "#7d621a", fine: "#2b6b5d", density: "#b9ae99", focus: "#1f2a33",
});

/** The colours of tokens.css, as they are now. @param {Element} element */
export function palette(element) {
  const style = getComputedStyle(element);
  const of = (/** @type {string} */ name) => style.getPropertyValue(name).trim();
  return {
    plate: of("--color-plate"), text: of("--color-text"), quiet: of("--color-quiet"), rule: of("--color-rule"), line: of("--color-line"),
    stray: of("--color-stray"), cause: of("--color-cause"), fine: of("--color-fine"), density: of("--color-density"), focus: of("--color-focus"),
    sans: of("--sans"), serif: of("--serif"), mono: of("--mono"),
  };
}

/** @typedef {ReturnType<typeof palette>} Palette */

/** To the middle of a device pixel: a hairline is one pixel of ink. @param {number} v @param {number} ratio */
const crisp = (v, ratio) => (Math.round(v * ratio - 0.5) + 0.5) / ratio;

export class Pen {
  /** @param {CanvasRenderingContext2D} context @param {Palette} colors @param {number} ratio device pixels a CSS pixel @param {number} size text px */
  constructor(context, colors, ratio, size) {
    this.c = context; this.colors = colors; this.ratio = ratio; this.size = size;
    this.hatch = context.createPattern ? hatch(context, colors.quiet, ratio) : "hatch";
  }

  /** A remark in the lower right corner. @param {Scale} scale @param {string} text @param {number} height */
  remark(scale, text, height) {
    const { c, colors, size } = this;
    c.font = `${size * 0.8}px ${colors.sans}`; c.textAlign = "right";
    const width = c.measureText(text).width, right = scale.left + scale.width, y = height - size * 0.5;
    c.fillStyle = colors.plate; c.fillRect(right - width - 4, y - size * 0.8, width + 6, size);
    c.fillStyle = colors.quiet; c.fillText(text, right, y);
  }

  /** Grid and scale. @param {Scale} scale @param {number} tickS @param {number} zero @param {number} height @param {string} base what 0 is */
  grid(scale, tickS, zero, height, base) {
    const { c, colors, size } = this;
    c.font = `${size * 0.92}px ${colors.sans}`;
    const { step, marks } = scaleMarks(scale, tickS, zero, size * 8.5);
    c.strokeStyle = colors.rule; c.fillStyle = colors.quiet; c.lineWidth = 1; c.textAlign = "center"; c.textBaseline = "alphabetic";
    c.setLineDash([1, 3]);
    c.beginPath();
    for (const mark of marks) {
      const x = crisp(scale.x(mark.tick), this.ratio);
      c.moveTo(x, size * 2.4); c.lineTo(x, height);
    }
    c.stroke(); c.setLineDash([]);
    // What 0 is stands left of the scale; no mark's label runs against it.
    let free = -Infinity;
    if (base) {
      const from = size * 0.6, most = scale.left - size * 1.5;
      c.textAlign = "left"; c.fillText(base, from, size * 1.7, most);
      free = from + Math.min(c.measureText(base).width, most) + size * 0.6;
      c.textAlign = "center";
    }
    for (const mark of marks) {
      const label = scaleLabel(mark.seconds, step);
      const half = c.measureText(label).width / 2;
      const x = scale.x(mark.tick);
      if (x - half < Math.max(free, scale.left - size * 2) || x + half > scale.left + scale.width + size) continue;
      c.fillText(label, x, size * 1.7);
      free = x + half + size * 0.6;
    }
    return step;
  }

  /** Name and place, in the gutter. @param {Row} row @param {number} width @param {boolean} isChosen */
  label(row, width, isChosen) {
    const { c, colors, size } = this;
    const middle = ((row.volts?.top ?? row.high) + row.low) / 2;
    if (isChosen) { c.fillStyle = colors.focus; c.fillRect(2, row.top + 4, 3, row.height - 8); }
    if (row.group) {
      c.fillStyle = colors.quiet; c.font = `italic ${size * 0.9}px ${colors.serif}`; c.textAlign = "left";
      c.fillText(fitted(c, row.group, width - size * 1.6), size * 0.6, row.top - size * 0.1);
    }
    c.textAlign = "left"; c.fillStyle = colors.text; c.font = `bold ${size}px ${colors.sans}`;
    c.fillText(fitted(c, row.name, width - size * 1.6), size * 1.1, row.place ? middle : middle + size * 0.35);
    if (row.place) {
      c.fillStyle = colors.quiet; c.font = `${size * 0.82}px ${colors.sans}`;
      c.fillText(fitted(c, row.place, width - size * 1.6), size * 1.1, middle + size * 1.2);
    }
  }

  /**
   * A line's levels. @param {Row} row @param {Window} window @param {Scale} scale @param {number} sampleTicks
   * @param {boolean} interpolated
   */
  line(row, window, scale, sampleTicks, interpolated) {
    const line = window.lines.get(/** @type {number} */ (row.line));
    if (!line) return;
    const { c, colors } = this;
    const toX = (/** @type {number} */ tick) => scale.x(window.start + tick);
    const left = scale.left, right = scale.left + scale.width;
    const width = (window.end - window.start) / window.columns;
    const reduced = line.columns
      ? reduceColumns(line.columns, (column) => toX(column * width), left, right, 2.5 / this.ratio)
      : reduceEdges(line.edges ?? [], line.entering, line.flips, toX, left, right, 2.5 / this.ratio);
    if (!interpolated && sampleTicks * scale.pixelsPerTick > 3) this.#softEdges(row, reduced, sampleTicks * scale.pixelsPerTick);
    const y = (/** @type {number} */ level) => crisp(level === 1 ? row.high : level === 0 ? row.low : (row.high + row.low) / 2, this.ratio);
    const crowds = [];
    let level = reduced.level;
    c.strokeStyle = colors.line; c.lineWidth = Math.max(1, Math.round(1.4 * this.ratio)) / this.ratio; c.lineJoin = "round";
    c.beginPath();
    let x = Math.max(left, toX(0));
    const end = Math.min(right, toX(window.end - window.start));
    if (level <= 1) c.moveTo(x, y(level));
    for (let i = 0; i < reduced.xs.length; i++) {
      const at = Math.min(Math.max(reduced.xs[i], left), right);
      const kind = reduced.kinds[i];
      if (kind === CROWD) {
        if (level <= 1) c.lineTo(at, y(level));
        crowds.push(at, Math.min(Math.max(reduced.xs[i + 1], at + 1), right));
        continue;
      }
      const next = i + 1 < reduced.xs.length ? reduced.xs[i + 1] : end;
      if (kind >= CROWD_END_LOW) {
        const isJump = kind === JUMP_LOW || kind === JUMP_HIGH;
        if (isJump && level <= 1) c.lineTo(at, y(level));
        level = kind === CROWD_END_HIGH || kind === JUMP_HIGH ? 1 : 0;
        c.moveTo(at, y(level));
        continue;
      }
      const slope = Math.min(4, Math.max(0, (next - at) * 0.4));
      if (level <= 1) c.lineTo(at, y(level)); else c.moveTo(at, y(level));
      level = kind === RISE ? 1 : 0;
      c.lineTo(at + slope, y(level));
    }
    if (level <= 1 && reduced.kinds[reduced.kinds.length - 1] !== CROWD) c.lineTo(end, y(level));
    c.stroke();
    if (crowds.length) {
      c.fillStyle = colors.line;
      c.globalAlpha = 0.5;
      for (let i = 0; i < crowds.length; i += 2) {
        const from = Math.floor(crowds[i] * this.ratio) / this.ratio;
        c.fillRect(from, row.high - 0.5, Math.max(1 / this.ratio, crowds[i + 1] - from), row.low - row.high + 1);
      }
      c.globalAlpha = 1;
    }
    if (line.stretches) this.#stretches(row, line.stretches, toX, left, right);
  }

  /** The time before an edge in which it may have happened. @param {Row} row @param {any} reduced @param {number} width */
  #softEdges(row, reduced, width) {
    const { c, colors } = this;
    c.fillStyle = colors.quiet; c.globalAlpha = 0.16;
    reduced.xs.forEach((/** @type {number} */ x, /** @type {number} */ i) => {
      if (reduced.kinds[i] <= RISE) c.fillRect(x - width, row.high - 2, width, row.low - row.high + 4);
    });
    c.globalAlpha = 1;
  }

  /** @param {Row} row @param {Float64Array} stretches @param {(t: number) => number} toX @param {number} left @param {number} right */
  #stretches(row, stretches, toX, left, right) {
    const { c, colors } = this;
    for (let i = 0; i < stretches.length; i += 3) {
      const x = Math.max(toX(stretches[i]), left), end = Math.min(toX(stretches[i + 1]), right);
      if (end <= left || x >= right) continue;
      const width = Math.max(end - x, 1);
      c.fillStyle = colors.plate; c.fillRect(x, row.high - 3, width, row.low - row.high + 6);
      c.strokeStyle = colors.line; c.lineWidth = 1;
      if (stretches[i + 2] === 0) {
        c.fillStyle = this.hatch; c.fillRect(x, row.high, width, row.low - row.high);
        c.strokeRect(x, crisp(row.high, this.ratio), width, row.low - row.high);
      } else {
        const y = crisp(stretches[i + 2] === 1 ? (row.high + row.low) / 2 : row.low, this.ratio);
        c.setLineDash(stretches[i + 2] === 1 ? [7, 5] : [1, 5]);
        c.beginPath(); c.moveTo(x, y); c.lineTo(x + width, y); c.stroke();
        c.setLineDash([]);
      }
    }
  }

  /** A bus: hexagonal cells with the value, its radix as subscript. @param {Row} row @param {Window} window @param {Scale} scale */
  bus(row, window, scale) {
    const { c, colors, size } = this;
    const bits = /** @type {number[]} */ (row.bits).map((bit) => window.lines.get(bit)).filter((bit) => bit !== undefined);
    if (bits.length === 0) return;
    const left = Math.max(scale.left, scale.x(window.start));
    const right = Math.min(scale.left + scale.width, scale.x(window.end));
    const cells = busCells(bits, scale.tick(left) - window.start, scale.tick(right) - window.start);
    const middle = (row.high + row.low) / 2;
    c.strokeStyle = colors.line; c.lineWidth = 1.3;
    if (!cells || cells.length > scale.width) {
      c.fillStyle = colors.line; c.globalAlpha = 0.3; c.fillRect(left, row.high, right - left, row.low - row.high); c.globalAlpha = 1;
      c.strokeRect(left, row.high, right - left, row.low - row.high);
      return;
    }
    c.font = `${size * 0.95}px ${colors.mono}`; c.textAlign = "center"; c.textBaseline = "alphabetic";
    const texts = [];
    c.beginPath();
    cells.forEach((cell, i) => {
      const from = i === 0 ? left : scale.x(window.start + cell.at);
      const to = i + 1 < cells.length ? scale.x(window.start + cells[i + 1].at) : right;
      const tip = Math.min(4, (to - from) / 2);
      c.moveTo(from, middle); c.lineTo(from + tip, row.high); c.lineTo(to - tip, row.high); c.lineTo(to, middle);
      c.lineTo(to - tip, row.low); c.lineTo(from + tip, row.low); c.closePath();
      const value = busValue(cell.bits, row.radix, row.signed) + subscript(parseInt(row.radix));
      if (c.measureText(value).width + 10 < to - from) texts.push([value, (from + to) / 2]);
    });
    c.stroke();
    c.fillStyle = colors.text;
    for (const [value, x] of texts) c.fillText(/** @type {string} */ (value), /** @type {number} */ (x), middle + size * 0.33);
  }

  /** Every stray of a line: one pixel of ink at least, and a mark above. @param {Row} row @param {Window} window @param {Scale} scale */
  strays(row, window, scale) {
    const line = row.line === null ? undefined : window.lines.get(row.line);
    if (!line) return;
    const { c, colors } = this;
    const left = scale.left, right = scale.left + scale.width;
    c.fillStyle = colors.stray; c.strokeStyle = colors.stray; c.lineWidth = 2.6;
    const y = row.high - 6;
    let last = -Infinity;
    const mark = (/** @type {number} */ x) => {
      if (x < left || x > right || x - last < 2) return;
      last = x;
      c.beginPath(); c.moveTo(x - 4, y - 5); c.lineTo(x + 4, y - 5); c.lineTo(x, y); c.fill();
    };
    if (line.strays) {
      for (let i = firstPair(line.strays, scale.tick(left) - window.start); i < line.strays.length; i += 2) {
        const x = scale.x(window.start + line.strays[i]), end = scale.x(window.start + line.strays[i + 1]);
        if (x > right) break;
        mark((x + end) / 2);
        const { isLow, reach } = strayShape(line, line.strays[i], line.strays[i + 1]);
        this.outline(row, x, end, left, right, isLow, reach);
      }
    }
    const width = (window.end - window.start) / window.columns;
    for (const column of line.stray_columns ?? []) {
      const x = scale.x(window.start + (column + 0.5) * width);
      mark(x);
      if (x >= left && x <= right) c.fillRect(x - 0.5, row.high - 2, Math.max(1, width * scale.pixelsPerTick), row.low - row.high + 4);
    }
  }

  /** A stray drawn over its line, heavier. @param {Row} row @param {number} x @param {number} end @param {number} left @param {number} right @param {boolean} isLow the level it goes to @param {number} [reach] how far: 1 is all the way */
  outline(row, x, end, left, right, isLow, reach = 1) {
    const { c } = this;
    if (end < left || x > right) return;
    const width = end - x;
    if (width < 3) { c.fillRect(Math.max(left, x - 0.5), row.high - 2, Math.max(1.2, width), row.low - row.high + 4); return; }
    // Away from the level it should have kept and back, as the line itself is drawn.
    const slope = Math.min(4, width * 0.4);
    const rest = isLow ? row.high : row.low, away = rest + ((isLow ? row.low : row.high) - rest) * reach;
    c.beginPath(); c.moveTo(x - 5, rest); c.lineTo(x, rest); c.lineTo(x + slope, away); c.lineTo(end, away); c.lineTo(end + slope, rest); c.lineTo(end + slope + 5, rest);
    c.stroke();
  }

  /** A dimension line: arrows between two moments, outside when they are close. @param {number} a @param {number} b @param {number} y @param {string} text */
  dimension(a, b, y, text) {
    const { c, colors, size } = this;
    const from = Math.min(a, b), to = Math.max(a, b);
    c.strokeStyle = c.fillStyle = colors.text; c.lineWidth = 1;
    c.font = `${size * 0.9}px ${colors.sans}`; c.textBaseline = "middle";
    const width = c.measureText(text).width;
    y = crisp(y, this.ratio);
    c.beginPath();
    for (const x of [from, to]) { c.moveTo(crisp(x, this.ratio), y - size * 0.7); c.lineTo(crisp(x, this.ratio), y + size * 0.5); }
    const outside = to - from < 26;
    const inside = !outside && to - from > width + 30;
    if (outside) { c.moveTo(from - 22, y); c.lineTo(from, y); c.moveTo(to, y); c.lineTo(to + 22, y); }
    else if (inside) { c.moveTo(from, y); c.lineTo((from + to - width) / 2 - 4, y); c.moveTo((from + to + width) / 2 + 4, y); c.lineTo(to, y); }
    else { c.moveTo(from, y); c.lineTo(to, y); }
    c.stroke();
    for (const [x, way] of [[from, outside ? -1 : 1], [to, outside ? 1 : -1]]) {
      c.beginPath(); c.moveTo(x, y); c.lineTo(x + way * 6, y - 2.5); c.lineTo(x + way * 6, y + 2.5); c.fill();
    }
    c.textAlign = inside ? "center" : "left";
    c.fillText(text, inside ? (from + to) / 2 : to + (outside ? 26 : 6), y);
    c.textBaseline = "alphabetic";
  }
}

/** A runt passes one threshold only: it is drawn so far toward the other level. */
const RUNT_REACH = 0.5;

/**
 * How a stray is drawn: the level it goes to, and how far. One without an edge of its line is a runt (IEEE Std 181). Pure.
 * @param {import("../columns.js").LineWindow} line @param {number} start @param {number} end ticks from the window's start
 */
export function strayShape(line, start, end) {
  if (line.columns) return { isLow: false, reach: 1 };
  // A window without an edge has no list of them.
  const edges = line.edges ?? new Float64Array(0);
  const after = lowerBound(edges, (edge) => edge <= start + 1e-6);
  const before = lowerBound(edges, (edge) => edge < start - 1 - 1e-6);
  const isRunt = before === edges.length || edges[before] > end + 1;
  const level = levelAt(line, after, start);
  return isRunt ? { isLow: level === 1, reach: RUNT_REACH } : { isLow: level === 0, reach: 1 };
}

/** Place of the first pair that ends at or after `tick`. @param {Float64Array} pairs @param {number} tick */
function firstPair(pairs, tick) {
  let low = 0, high = pairs.length / 2;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (pairs[2 * middle + 1] < tick) low = middle + 1;
    else high = middle;
  }
  return 2 * low;
}

/** Text cut in the middle to a width: ends of names tell lines apart. @param {CanvasRenderingContext2D} c @param {string} text @param {number} width */
export function fitted(c, text, width) {
  if (c.measureText(text).width <= width) return text;
  let keep = text.length;
  while (keep > 2) {
    keep--;
    const short = `${text.slice(0, Math.ceil(keep / 2))}…${text.slice(text.length - Math.floor(keep / 2))}`;
    if (c.measureText(short).width <= width) return short;
    if (keep > 60) keep = 60;
  }
  return "…";
}

/** @param {CanvasRenderingContext2D} context @param {string} color @param {number} ratio */
function hatch(context, color, ratio) {
  const tile = document.createElement("canvas");
  const side = Math.round(7 * ratio);
  tile.width = tile.height = side;
  const c = /** @type {CanvasRenderingContext2D} */ (tile.getContext("2d"));
  c.strokeStyle = color; c.lineWidth = ratio;
  c.beginPath(); c.moveTo(-1, side + 1); c.lineTo(side + 1, -1); c.moveTo(-1, 1); c.lineTo(1, -1); c.moveTo(side - 1, side + 1); c.lineTo(side + 1, side - 1);
  c.stroke();
  const pattern = /** @type {CanvasPattern} */ (context.createPattern(tile, "repeat"));
  pattern.setTransform(new DOMMatrix().scale(1 / ratio));
  return pattern;
}

