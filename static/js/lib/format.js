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
  const [scale, prefix] = PREFIXES.find(([s]) => size >= /** @type {number} */ (s) * 0.9999999) ?? PREFIXES[PREFIXES.length - 1];
  const ratio = step / /** @type {number} */ (scale);
  const decimals = Math.max(0, Math.ceil(-Math.log10(ratio) - 1e-9));
  return `${(value / /** @type {number} */ (scale)).toFixed(Math.min(decimals, 15)).replace("-", "−")} ${prefix}s`;
}

/**
 * A time as typed: "1.5 ms", "200ns", "3" (seconds), "1,5 µs". Seconds, or null when it is none.
 * @param {string} text
 */
export function parseSeconds(text) {
  const match = /^\s*([+\-−]?\d*(?:[.,]\d*)?(?:e[+\-]?\d+)?)\s*(fs|ps|ns|us|µs|μs|ms|s|)\s*$/i.exec(text);
  if (!match || !/\d/.test(match[1])) return null;
  const value = Number(match[1].replace("−", "-").replace(",", "."));
  const units = { fs: 1e-15, ps: 1e-12, ns: 1e-9, us: 1e-6, "µs": 1e-6, "μs": 1e-6, ms: 1e-3, s: 1, "": 1 };
  return Number.isFinite(value) ? value * units[/** @type {keyof typeof units} */ (match[2].toLowerCase())] : null;
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

/** A number as people type it, with either decimal mark and either minus; null for none. @param {string} text */
export function decimal(text) {
  const plain = text.trim().replace("−", "-").replace(",", ".");
  if (plain === "") return null;
  if (!/^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i.test(plain)) throw new Error(`"${text}" is no number: expected one such as 4.93 or -11,8.`);
  return Number(plain);
}
