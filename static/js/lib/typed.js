// @ts-check
// Times and numbers as people type them. Pure, but for reading fields.

/**
 * A time as typed: "1.5 ms", "200ns", "3" (seconds), "1,5 µs". Seconds, or null when it is none.
 * @param {string} text
 */
export function parseSeconds(text) {
  const clock = /^\s*(\d+):([0-5]\d):([0-5]\d(?:[.,]\d*)?)\s*$/.exec(text);
  if (clock) return Number(clock[1]) * 3600 + Number(clock[2]) * 60 + Number(clock[3].replace(",", "."));
  const match = /^\s*([+\-−]?\d*(?:[.,]\d*)?(?:e[+\-]?\d+)?)\s*(fs|ps|ns|us|µs|μs|ms|s|)\s*$/i.exec(text);
  if (!match || !/\d/.test(match[1])) return null;
  const value = Number(match[1].replace("−", "-").replace(",", "."));
  const units = { fs: 1e-15, ps: 1e-12, ns: 1e-9, us: 1e-6, "µs": 1e-6, "μs": 1e-6, ms: 1e-3, s: 1, "": 1 };
  return Number.isFinite(value) ? value * units[/** @type {keyof typeof units} */ (match[2].toLowerCase())] : null;
}

/** A number as people type it, with either decimal mark and either minus; null for none. @param {string} text */
export function decimal(text) {
  const plain = text.trim().replace("−", "-").replace(",", ".");
  if (plain === "") return null;
  if (!/^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i.test(plain)) throw new Error(`"${text}" is no number: expected one such as 4.93 or -11,8.`);
  return Number(plain);
}

/**
 * What a field of numbers holds: "5 V" is one where the form has a field for the unit, and it says V.
 * @param {any} field
 */
export function numberIn(field) {
  const unit = field.form?.elements.namedItem("unit")?.value.trim(), text = field.value.trim();
  return decimal(unit && text.endsWith(unit) ? text.slice(0, -unit.length) : text);
}
