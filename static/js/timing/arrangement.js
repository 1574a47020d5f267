// @ts-check
// Which lines are shown, in what order, under what name; which bits are folded into buses. Pure state.

/**
 * @typedef {{key: string, name: string, given: string, line: number|null, bits: number[]|null, radix: string, signed: boolean, height: number, hidden: boolean, note: string, group: string}} Item
 */

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
        this.items.push(this.#item(`bus ${bus.name}`, bus.name, null, bus.bits));
      }
      this.items.push(this.#item(`line ${line.name}`, line.name, index, null, Boolean(bus)));
    });
  }

  /** @param {string} key @param {string} name @param {number|null} line @param {number[]|null} bits @param {boolean} [hidden] @returns {Item} */
  #item(key, name, line, bits, hidden = false) {
    return { key, name, given: name, line, bits, radix: "8", signed: false, height: 1, hidden, note: "", group: "" };
  }

  /**
   * What is drawn, top to bottom: lines of the finding in hand first (the guilty one above its victim).
   * @param {number[]} evidence positions of lines
   */
  rows(evidence) {
    const isEvidence = (/** @type {Item} */ item) => item.line !== null && evidence.includes(item.line);
    let items = this.items.filter((item) => !item.hidden || isEvidence(item));
    if (this.evidenceFirst && evidence.length) {
      const order = [...evidence].reverse();
      const first = items.filter(isEvidence).sort((a, b) => order.indexOf(a.line ?? -1) - order.indexOf(b.line ?? -1));
      items = [...first, ...items.filter((item) => !isEvidence(item))];
    }
    return items.map((item) => ({
      key: item.key, name: item.name, line: item.line, bits: item.bits, radix: item.radix, signed: item.signed, height: item.height,
      place: [item.group, item.name === item.given ? "" : item.given, item.note || this.#file(item)].filter(Boolean).join(" · "),
    }));
  }

  /** @param {Item} item */
  #file(item) {
    const line = item.line ?? item.bits?.[0];
    return (line === undefined || line === null ? null : this.facts.lines[line].file) ?? "";
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

  /** Puts an item in another's place. @param {string} key @param {string} before */
  place(key, before) {
    if (key === before) return;
    this.evidenceFirst = false;
    const from = this.items.findIndex((item) => item.key === key);
    const target = this.items.findIndex((item) => item.key === before);
    if (from < 0 || target < 0) return;
    const [item] = this.items.splice(from, 1);
    this.items.splice(target, 0, item);
    this.changed();
  }

  /** @param {string} key @param {Partial<Item>} change */
  set(key, change) {
    const item = this.item(key);
    if (item) Object.assign(item, change);
    this.changed();
  }

  /** Folds lines into a bus, the first the most significant. @param {number[]} bits @param {string} name */
  fold(bits, name) {
    const at = this.items.findIndex((item) => item.line !== null && bits.includes(item.line));
    if (at < 0 || bits.length === 0) return;
    this.items.splice(at, 0, this.#item(`bus ${name} ${bits.join(",")}`, name, null, bits));
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

  /** What is kept with the session. */
  saved() {
    return { evidence_first: this.evidenceFirst, items: this.items.map(({ key, name, given, line, bits, radix, signed, height, hidden, note, group }) => ({ key, name, given, line, bits, radix, signed, height, hidden, note, group })) };
  }

  /** Takes up what was kept; lines are found by the name the file gives them, new ones come last. @param {any} saved */
  restore(saved) {
    if (!Array.isArray(saved?.items)) return;
    const fresh = this.items;
    const positions = new Map(this.facts.lines.map((/** @type {any} */ line, /** @type {number} */ i) => [`line ${line.name}`, i]));
    const known = saved.items.filter((/** @type {Item} */ item) => (item.bits ? item.bits.every((bit) => bit < this.facts.lines.length) : positions.has(item.key)));
    this.items = known.map((/** @type {Item} */ item) => ({ ...item, line: item.bits ? null : positions.get(item.key) }));
    const keys = new Set(this.items.map((item) => item.key));
    this.items.push(...fresh.filter((item) => !keys.has(item.key)));
    this.evidenceFirst = saved.evidence_first !== false;
  }
}
