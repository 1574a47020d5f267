// @ts-check
// Ticks ↔ pixels, and the marks of the time scale. Pure.

/** A stretch of time on a width of pixels. Ticks count from the capture's first moment. */
export class Scale {
  /** @param {number} start ticks @param {number} span ticks @param {number} left px @param {number} width px */
  constructor(start, span, left, width) {
    this.start = start;
    this.span = span;
    this.left = left;
    this.width = width;
    this.pixelsPerTick = width / span;
  }
  get end() { return this.start + this.span; }
  /** @param {number} tick */
  x(tick) { return this.left + (tick - this.start) * this.pixelsPerTick; }
  /** @param {number} x */
  tick(x) { return this.start + (x - this.left) / this.pixelsPerTick; }
}

/** 1, 2 or 5 times a power of ten, at least `least`. @param {number} least */
export function niceStep(least) {
  const decade = 10 ** Math.floor(Math.log10(least));
  for (const m of [1, 2, 5, 10]) if (m * decade >= least * 0.999999) return m * decade;
  return least;
}

/**
 * Marks of the scale, in seconds from `zero`, at least `gap` pixels apart.
 * @param {Scale} scale @param {number} tickS seconds a tick @param {number} zero tick that the scale counts from
 * @param {number} gap px
 */
export function scaleMarks(scale, tickS, zero, gap) {
  const step = niceStep((gap / scale.pixelsPerTick) * tickS);
  const first = Math.ceil(((scale.start - zero) * tickS) / step - 1e-9);
  const last = Math.floor(((scale.end - zero) * tickS) / step + 1e-9);
  const marks = [];
  for (let n = first; n <= last && marks.length < 200; n++) marks.push({ seconds: n * step, tick: zero + (n * step) / tickS });
  return { step, marks };
}

/**
 * The tick the scale counts from when no evidence is in hand: 0 when few digits tell the marks apart, else a
 * round moment at the left.
 * @param {Scale} scale @param {number} tickS @param {number} startS seconds of tick 0
 */
export function scaleZero(scale, tickS, startS) {
  const origin = -startS / tickS;
  const farthest = Math.max(Math.abs(scale.start - origin), Math.abs(scale.end - origin));
  if (farthest < scale.span * 2000) return origin;
  const round = niceStep(scale.span * tickS * 5) / tickS;
  return origin + Math.floor((scale.start - origin) / round) * round;
}

/** The view `span` wide, kept within a capture of `length` ticks with a margin. @param {number} start @param {number} span @param {number} length */
export function keepWithin(start, span, length) {
  const widest = Math.max(length, 8) * 1.25;
  const s = Math.min(Math.max(span, 4), widest);
  const margin = s * 0.5;
  return { start: Math.min(Math.max(start, -margin), Math.max(length - s + margin, -margin)), span: s };
}
