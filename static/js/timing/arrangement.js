// @ts-check
// Which lines are shown, in what order, under what name; which bits are folded into buses. Pure state.

/**
 * @typedef {{key: string, name: string, given: string, line: number|null, bits: number[]|null, radix: string, signed: boolean, height: number, hidden: boolean, note: string, group: string}} Item
 */

/** Digits of a bus, in the order of their key. */
export const RADICES = [["8", false], ["8+8", false], ["16", false], ["10", false], ["10", true], ["2", false]];
const HEIGHTS = [0.6, 1, 1.6, 2.4, 4];

/** A bus is written as its file writes it, else in octal. @param {{base?: number|null}} bus */
const radixOf = ({ base }) => (RADICES.some(([radix]) => radix === String(base)) ? String(base) : "8");

export class Arrangement {
  /** @param {any} facts @param {() => void} changed */
  constructor(facts, changed) {
    this.facts = facts;
    this.changed = changed;
    this.evidenceFirst = true;
    this.reset();
  }

  /** The order of the captures, vectors folded. */
  reset() {
    const folded = new Map();
    for (const bus of this.facts.buses) for (const bit of bus.bits) folded.set(bit, bus);
    const seen = new Set();
    /** @type {Item[]} */
    this.items = [];
    this.facts.lines.forEach((/** @type {any} */ line, /** @type {number} */ index) => {
      const bus = folded.get(index);
      if (bus && !seen.has(bus)) {
        seen.add(bus);
        this.items.push({ ...this.#item(`bus ${bus.name}`, bus.name, null, bus.bits), radix: radixOf(bus) });
      }
      this.items.push(this.#item(`line ${line.name}`, line.name, index, null, Boolean(bus)));
    });
  }

  /** @param {string} key @param {string} name @param {number|null} line @param {number[]|null} bits @param {boolean} [hidden] @returns {Item} */
  #item(key, name, line, bits, hidden = false) {
    return { key, name, given: name, line, bits, radix: "8", signed: false, height: 1, hidden, note: "", group: "" };
  }

  /**
   * What is drawn, top to bottom: lines of the finding in hand first (the guilty one above its victim). A row's `group`
   * is the heading over it, where a new group begins.
   * @param {number[]} evidence positions of lines, from bottom to top
   */
  rows(evidence) {
    const isEvidence = (/** @type {Item} */ item) => item.line !== null && evidence.includes(item.line);
    let items = this.items.filter((item) => !item.hidden || isEvidence(item));
    if (this.evidenceFirst && evidence.length) {
      const order = [...evidence].reverse();
      const first = items.filter(isEvidence).sort((a, b) => order.indexOf(a.line ?? -1) - order.indexOf(b.line ?? -1));
      items = [...first, ...items.filter((item) => !isEvidence(item))];
    }
    return items.map((item, i) => ({
      key: item.key, name: item.name, line: item.line, bits: item.bits, radix: item.radix, signed: item.signed, height: item.height,
      group: i > 0 && items[i - 1].group === item.group ? "" : item.group,
      place: [item.name === item.given ? "" : item.given, item.note || this.#place(item)].filter(Boolean).join(" · "),
    }));
  }

  /** Where the clip is by the harness sheet, or the file. @param {Item} item */
  #place(item) {
    const line = this.#facts(item);
    return item.bits ? line?.board ?? line?.file ?? "" : line?.place ?? line?.file ?? "";
  }

  /** @param {Item} item */
  #facts(item) {
    const line = item.line ?? item.bits?.[0];
    return line === undefined || line === null ? null : this.facts.lines[line];
  }

  /** @param {string} key */
  item(key) { return this.items.find((item) => item.key === key); }

  /** Moves an item by `by` places among those shown. @param {string} key @param {number} by */
  move(key, by) {
    this.evidenceFirst = false;
    const from = this.items.findIndex((item) => item.key === key);
    if (from < 0) return;
    let to = from;
    for (let left = Math.abs(by); left > 0;) {
      to += Math.sign(by);
      if (to < 0 || to >= this.items.length) return;
      if (!this.items[to].hidden) left--;
    }
    const [item] = this.items.splice(from, 1);
    this.items.splice(to, 0, item);
    this.changed();
  }

  /**
   * Puts an item in another's place among the rows as they are seen: what a finding brought to the top stays there.
   * @param {string} key @param {string} before @param {number[]} [evidence]
   */
  place(key, before, evidence = []) {
    if (key === before) return;
    if (this.evidenceFirst && evidence.length) this.#settle(evidence);
    const from = this.items.findIndex((item) => item.key === key);
    const target = this.items.findIndex((item) => item.key === before);
    if (from < 0 || target < 0) return;
    const [item] = this.items.splice(from, 1);
    this.items.splice(target, 0, item);
    this.changed();
  }

  /** Makes the order that is seen the order that is kept. @param {number[]} evidence */
  #settle(evidence) {
    const shown = this.rows(evidence).map((row) => row.key);
    const place = new Map(shown.map((key, i) => [key, i]));
    const isShown = (/** @type {Item} */ item) => place.has(item.key);
    const ordered = this.items.filter(isShown).sort((a, b) => (place.get(a.key) ?? 0) - (place.get(b.key) ?? 0));
    this.items = [...ordered, ...this.items.filter((item) => !isShown(item))];
    this.evidenceFirst = false;
  }

  /** @param {string} key @param {Partial<Item>} change */
  set(key, change) {
    const item = this.item(key);
    if (item) Object.assign(item, change);
    this.changed();
  }

  /** @param {string} key @param {number} by */
  resize(key, by) {
    const item = this.item(key);
    if (!item) return;
    const at = HEIGHTS.findIndex((height) => height >= item.height - 1e-9);
    this.set(key, { height: HEIGHTS[Math.max(0, Math.min(HEIGHTS.length - 1, at + by))] });
  }

  /** The next way of writing a bus. @param {string} key */
  nextRadix(key) {
    const item = this.item(key);
    if (!item?.bits) return;
    const at = RADICES.findIndex(([radix, signed]) => radix === item.radix && signed === item.signed);
    const [radix, signed] = RADICES[(at + 1) % RADICES.length];
    this.set(key, { radix: /** @type {string} */ (radix), signed: /** @type {boolean} */ (signed) });
  }

  /** Lines of one board together, in the order in which boards come first; false without any board or file. */
  groupByBoard() {
    const names = this.items.map((item) => this.#facts(item)?.board ?? this.#facts(item)?.file ?? "");
    if (names.every((name) => name === "")) return false;
    this.items.forEach((item, i) => { item.group = names[i]; });
    const order = [...new Set(names)];
    this.items.sort((a, b) => order.indexOf(a.group) - order.indexOf(b.group));
    this.evidenceFirst = false;
    this.changed();
    return true;
  }

  /** Folds lines into a bus, the first the most significant. @param {number[]} bits @param {string} name */
  fold(bits, name) {
    const at = this.items.findIndex((item) => item.line !== null && bits.includes(item.line));
    if (at < 0 || bits.length === 0) return;
    this.items.splice(at, 0, this.#item(`bus ${name} ${bits.map((bit) => this.facts.lines[bit].name).join(",")}`, name, null, bits));
    for (const item of this.items) if (item.line !== null && bits.includes(item.line)) item.hidden = true;
    this.changed();
  }

  /** Shows a bus as its bits again. @param {string} key */
  unfold(key) {
    const at = this.items.findIndex((item) => item.key === key);
    const bus = this.items[at];
    if (!bus?.bits) return;
    const bits = bus.bits.map((bit) => this.items.find((item) => item.line === bit)).filter((item) => item !== undefined);
    this.items = this.items.filter((item) => item !== bus && !bits.includes(item));
    for (const item of bits) item.hidden = false;
    this.items.splice(Math.min(at, this.items.length), 0, ...bits);
    this.changed();
  }

  /** Bits in the other order. @param {string} key */
  reverse(key) {
    const item = this.item(key);
    if (item?.bits) item.bits = [...item.bits].reverse();
    this.changed();
  }

  /** What is kept with the session: lines by the names that their files give them. */
  saved() {
    const items = this.items.map(({ line, bits, ...item }) => ({ ...item, bits: bits && bits.map((bit) => this.facts.lines[bit].name) }));
    return { evidence_first: this.evidenceFirst, items };
  }

  /** Takes up what was kept; lines that are gone are left out, new ones come last. @param {any} saved */
  restore(saved) {
    if (!Array.isArray(saved?.items)) return;
    const fresh = this.items;
    const positions = new Map(this.facts.lines.map((/** @type {any} */ line, /** @type {number} */ i) => [line.name, i]));
    const items = [];
    for (const item of saved.items) {
      const line = item.bits ? null : positions.get(String(item.key).slice("line ".length));
      const bits = item.bits ? item.bits.map((/** @type {string} */ name) => positions.get(name)) : null;
      if (bits ? bits.every((/** @type {any} */ bit) => bit !== undefined) : line !== undefined) items.push({ ...this.#item(item.key, item.given, line, bits), ...item, line, bits });
    }
    const keys = new Set(items.map((item) => item.key));
    // A vector that was unfolded stays so: its bits are known.
    const isKnown = (/** @type {Item} */ item) => keys.has(item.key) || item.bits?.every((bit) => keys.has(`line ${this.facts.lines[bit].name}`));
    this.items = [...items, ...fresh.filter((item) => !isKnown(item))];
    this.evidenceFirst = saved.evidence_first !== false;
  }
}
