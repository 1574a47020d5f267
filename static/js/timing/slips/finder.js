// @ts-check
// Finding things: edges, strays, pulses by width, values of a bus, patterns over lines; the moments as a list.
import { make, fill } from "../../lib/dom.js";
import { asShown, getJson } from "../../lib/fetch.js";
import { parseSeconds } from "../../lib/typed.js";
import { readout } from "../view.js";

const KINDS = [
  ["stray", "strays"], ["edge", "edges"], ["rise", "rises"], ["fall", "falls"], ["narrow", "pulses narrower than"], ["wide", "pulses at least as wide as"],
  ["value", "value of a bus"], ["pattern", "pattern over lines"], ["moments", "moments of the finding in hand"],
];
/** Rows of the list that are made at once. */
const ROWS = 200;

/**
 * A value as typed in a radix → the literal of an expression, or null when it is none. Pure.
 * @param {string} text @param {string} radix "2", "8", "8+8", "10", "16" @param {number} width bits
 */
export function literal(text, radix, width) {
  const clean = text.replace(/[\s_]/g, "").replace("−", "-");
  if (radix === "8+8") {
    const groups = text.trim().split(/\s+/).map((group) => (/^[0-7]+$/.test(group) ? parseInt(group, 8) : NaN));
    const value = groups.reduce((sum, group) => (group > 255 ? NaN : sum * 256 + group), 0);
    return Number.isSafeInteger(value) && value < 2 ** width ? `${width}'d${value}` : null;
  }
  if (radix === "10") {
    if (!/^-?\d+$/.test(clean)) return null;
    const value = BigInt(clean), full = 1n << BigInt(width);
    if (value >= full || value < -full / 2n) return null;
    return `${width}'d${value < 0n ? value + full : value}`;
  }
  const digits = { 2: /^[01]+$/, 8: /^[0-7]+$/, 16: /^[0-9a-f]+$/i }[radix];
  if (!digits?.test(clean)) return null;
  const prefix = { 2: "0b", 8: "0o", 16: "0x" }[radix];
  if (BigInt(prefix + clean) >= 1n << BigInt(width)) return null;
  return `${width}'${{ 2: "b", 8: "o", 16: "h" }[radix]}${clean}`;
}

export class Finder {
  /** @param {import("../view.js").Diagram} view */
  constructor(view) {
    this.view = view;
    this.query = "";
    this.what = "stray"; this.text = "";
    /** @type {{count: number, moments: number[][], lines: number[]}|null} */ this.found = null;
    this.at = -1;
  }

  /** Opens the slip. */
  open() {
    const { view } = this;
    const rows = view.arrangement.rows([]).concat(view.arrangement.items.filter((item) => item.hidden).map((item) => ({ ...item, place: "hidden" })));
    const chosen = view.chosenRow()?.key;
    const kind = make("select", { "aria-label": "What" }, ...KINDS.map(([value, text]) => make("option", { value, selected: value === this.what }, text)));
    const line = make("select", { "aria-label": "Line" });
    const text = make("input", { "aria-label": "Width, value or pattern", value: this.text, autocomplete: "off", spellcheck: "false" });
    const level = make("select", { "aria-label": "Level" }, ...[["pulse", "high or low"], ["high-pulse", "high"], ["low-pulse", "low"]].map(([value, says]) => make("option", { value }, says)));
    const hint = make("span", { class: "quiet" });
    this.list = make("div", { class: "finds" });
    const adapt = () => {
      const is = (/** @type {string[]} */ ...kinds) => kinds.includes(kind.value);
      line.hidden = is("pattern", "moments"); level.hidden = !is("narrow", "wide"); text.hidden = !is("narrow", "wide", "value", "pattern");
      const fits = rows.filter((row) => (is("value") ? row.bits : row.line !== null));
      fill(line, is("stray") && make("option", { value: "" }, "any line"), ...fits.map((row) => make("option", { value: row.key, selected: row.key === chosen && !is("stray") }, row.name)));
      hint.textContent = { narrow: "such as 100 ns", wide: "such as 2 µs", value: "as the figure writes it", pattern: "CLEAR_N low while STEP high · STEP falls while CLEAR_N low · or !CLEAR_N && BELL == 8'o12" }[/** @type {"narrow"} */ (kind.value)] ?? "";
    };
    kind.addEventListener("change", adapt);
    adapt();
    const form = make("form", { class: "row", onsubmit: (/** @type {Event} */ event) => {
      event.preventDefault();
      this.what = kind.value; this.text = text.value;
      this.search(kind.value, view.arrangement.item(line.value) ?? null, text.value, level.value);
    } }, kind, level, line, text, make("button", {}, "find"), hint);
    view.slip.open("Find", form, make("div", { class: "slip-body" }, this.list));
    if (this.found) this.#show();
  }

  /** @param {string} what @param {any} item @param {string} text @param {string} level */
  async search(what, item, text, level) {
    if (what === "moments") {
      const { occurrences, occurrenceCount } = this.view;
      this.found = { count: occurrences.length ? occurrenceCount : 0, moments: occurrences.map((o) => [o.from, o.to]), lines: [] };
      this.item = null; this.at = -1;
      return this.#show();
    }
    let query;
    try { query = this.#query(what, item, text, level); } catch (error) { return this.#tell(/** @type {Error} */ (error).message); }
    this.#tell("Looking …");
    try {
      const answer = await getJson(asShown(`${this.view.path}/find?${query}&count=true`));
      this.query = query;
      this.found = answer; this.item = item;
      this.at = -1;
      this.#show();
    } catch (error) { this.#tell(/** @type {Error} */ (error).message); }
  }

  /** @param {string} what @param {any} item @param {string} text @param {string} level */
  #query(what, item, text, level) {
    const query = new URLSearchParams();
    const line = item?.line ?? null;
    if (what === "narrow" || what === "wide") {
      const width = parseSeconds(text);
      if (width === null || width < 0) throw new Error("Expected a width with its unit, such as 100 ns.");
      query.set("what", level);
      query.set(what === "narrow" ? "below_s" : "at_least_s", String(width));
    } else if (what === "value") {
      if (!item?.bits) throw new Error("There is no bus yet: fold lines into one under “lines”.");
      const value = literal(text, item.radix, item.bits.length);
      if (value === null) throw new Error(`Expected a value of ${item.bits.length} bits in the digits of the figure (radix ${item.radix}).`);
      query.set("what", "pattern");
      query.set("text", `{${item.bits.map((/** @type {number} */ bit) => `\\#${bit} `).join(", ")}} == ${value}`);
    } else query.set("what", what);
    if (what === "pattern") query.set("text", text);
    else if (what !== "value" && line !== null) query.set("line", String(line));
    return query.toString();
  }

  /** @param {string} text */
  #tell(text) { if (this.list) fill(this.list, make("p", { role: "status" }, text)); }

  #show() {
    const { view, found } = this;
    if (!found || !this.list) return;
    const count = found.count;
    if (count === 0) return this.#tell("Found nowhere in this capture.");
    const listed = found.moments.slice(0, ROWS);
    const rest = count > listed.length ? ` The first ${listed.length} are listed; n and p step through all.` : "";
    const row = (/** @type {number[]} */ [start, end], /** @type {number} */ i) => {
      const line = found.lines.length ? ` ${view.facts.lines[found.lines[i]].name}` : "";
      return make("li", {}, make("button", { type: "button", class: "plain-button", onclick: () => this.go(i) }, `${view.moment(start, true)}${line}${end > start ? ` for ${view.length(end - start)}` : ""}`));
    };
    fill(this.list, make("p", { role: "status" }, `${count === 1 ? "Once" : `${count} times`} in this capture.${rest}`), make("ol", {}, ...listed.map(row)));
  }

  /** @param {number} i */
  go(i) {
    const { view, found } = this;
    if (!found || !found.moments[i]) return;
    this.at = i;
    const [start, end] = found.moments[i];
    view.mark({ start, end, line: found.lines[i] ?? this.item?.line ?? null });
    view.say(`${i + 1} of ${found.count}: ${view.moment(start, true)}${end > start ? `, for ${view.length(end - start)}` : ""}.`);
  }

  /** The next or the one before, from where the view stands. @param {boolean} back */
  async step(back) {
    const { view, found } = this;
    if (!found) { this.open(); return; }
    const marked = view.marked;
    const from = marked ? marked.start : view.start + view.span / 2;
    if (found.moments.length === found.count) {
      const at = back ? findLast(found.moments, (m) => m[0] < from) : found.moments.findIndex((m) => m[0] > from);
      if (at >= 0) this.go(at); else view.say(back ? "None before this." : "None after this.");
      return;
    }
    await this.stepTo(this.query, back, from, this.item?.line ?? null);
  }

  /** @param {string} query @param {boolean} back @param {number} from @param {number|null} line */
  async stepTo(query, back, from, line) {
    const { view } = this;
    try {
      const answer = await getJson(asShown(`${view.path}/find?${query}&most=1&back=${back}&from=${Math.floor(from)}`));
      if (answer.moments.length === 0) return view.say(back ? "None before this." : "None after this.");
      const [start, end] = answer.moments[0];
      view.mark({ start, end, line: answer.lines[0] ?? line });
      const row = view.chosenRow();
      view.say(`${view.moment(start, true)}.`);
      const { told } = view;
      await view.settled();
      if (told !== view.told) return;
      view.say(line === null || !row ? `${view.moment(start, true)}.` : `${readout(view, start, row).replace(/ {2,}/g, ", ")}.`);
    } catch (error) { view.say(/** @type {Error} */ (error).message); }
  }

  /** Next or previous edge, or stray, of the chosen line. @param {"edge"|"stray"} what @param {boolean} back */
  along(what, back) {
    const { view } = this;
    const row = view.chosenRow();
    const line = row?.line ?? null;
    if (what === "edge" && line === null) return view.say("Choose a line first: a bus has no edges of its own.");
    const from = view.marked && view.isInSight(view.marked.start) ? view.marked.start : view.start + view.span / 2;
    return this.stepTo(`what=${what}${line === null ? "" : `&line=${line}`}`, back, from, line);
  }
}

/** @template T @param {T[]} list @param {(value: T) => boolean} holds */
function findLast(list, holds) {
  for (let i = list.length - 1; i >= 0; i--) if (holds(list[i])) return i;
  return -1;
}
