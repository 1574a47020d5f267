// @ts-check
// Times as people read and write them. Pure.

const PREFIXES = [[1e9, "G"], [1e6, "M"], [1e3, "k"], [1, ""], [1e-3, "m"], [1e-6, "µ"], [1e-9, "n"], [1e-12, "p"], [1e-15, "f"]];

/**
 * A value with an SI prefix, `digits` significant digits, trailing zeros dropped.
 * @param {number} value @param {string} unit @param {number} [digits]
 */
export function engineering(value, unit, digits = 3) {
  if (value === 0 || !Number.isFinite(value)) return `${value === 0 ? 0 : value} ${unit}`;
  const size = Math.abs(value);
  // What rounds up to 1000 takes the next prefix.
  const [scale, prefix] = PREFIXES.find(([s]) => size >= /** @type {number} */ (s) * (1 - 0.5 * 10 ** -digits)) ?? PREFIXES[PREFIXES.length - 1];
  let text = (value / /** @type {number} */ (scale)).toPrecision(digits);
  if (text.includes("e")) text = String(Number(text));
  if (text.includes(".")) text = text.replace(/\.?0+$/, "");
  return `${text.replace("-", "−")} ${prefix}${unit}`;
}

/** @param {number} value @param {number} [digits] */
export const seconds = (value, digits = 3) => engineering(value, "s", digits);

/**
 * A time on a scale whose marks are `step` apart: no more decimals than the step needs.
 * @param {number} value seconds @param {number} step seconds
 */
export function scaleLabel(value, step) {
  if (Math.abs(value) < step * 1e-6) return "0";
  const size = Math.max(Math.abs(value), step);
  if (size >= 1000) return clockTime(value, Math.min(15, Math.max(0, Math.ceil(-Math.log10(step) - 1e-9))));
  const [scale, prefix] = PREFIXES.find(([s]) => size >= /** @type {number} */ (s) * 0.9999999) ?? PREFIXES[PREFIXES.length - 1];
  const ratio = step / /** @type {number} */ (scale);
  const decimals = Math.max(0, Math.ceil(-Math.log10(ratio) - 1e-9));
  return `${(value / /** @type {number} */ (scale)).toFixed(Math.min(decimals, 15)).replace("-", "−")} ${prefix}s`;
}

/** Hours, minutes and seconds: nobody reads kiloseconds. @param {number} value seconds @param {number} decimals */
function clockTime(value, decimals) {
  const size = Number(Math.abs(value).toFixed(decimals)), minutes = Math.floor(size / 60);
  const two = (/** @type {number} */ n) => String(n).padStart(2, "0");
  const rest = (size - 60 * minutes).toFixed(decimals).padStart(decimals ? decimals + 3 : 2, "0");
  return `${value < 0 ? "−" : ""}${Math.floor(minutes / 60)}:${two(minutes % 60)}:${rest}`;
}

const SUBSCRIPTS = "₀₁₂₃₄₅₆₇₈₉";
/** @param {number} radix */
export const subscript = (radix) => String(radix).replace(/\d/g, (d) => SUBSCRIPTS[Number(d)]);

/**
 * The value of a bus in digits. `bits`: most significant first, 0, 1, or anything else for unknown.
 * A digit with an unknown bit is "?". Radix "8+8" is split octal: two-digit... groups of eight bits, each in octal.
 * @param {number[]} bits @param {string} radix "2", "8", "8+8", "10", "16" @param {boolean} [signed]
 */
export function busValue(bits, radix, signed = false) {
  if (radix === "10") {
    if (bits.some((b) => b > 1)) return "?";
    let value = bits.reduce((sum, bit) => sum * 2n + BigInt(bit), 0n);
    if (signed && bits[0] === 1) value -= 1n << BigInt(bits.length);
    return String(value).replace("-", "−");
  }
  if (radix === "8+8") {
    const groups = [];
    for (let end = bits.length; end > 0; end -= 8) groups.unshift(busValue(bits.slice(Math.max(0, end - 8), end), "8"));
    return groups.join(" ");
  }
  const width = { 2: 1, 8: 3, 16: 4 }[radix] ?? 1;
  let text = "";
  for (let end = bits.length; end > 0; end -= width) {
    const digit = bits.slice(Math.max(0, end - width), end);
    text = (digit.some((b) => b > 1) ? "?" : parseInt(digit.join(""), 2).toString(16)) + text;
  }
  return text;
}
