// What the diagram reads off, finds, keeps and writes out; node runs these modules as they are.
import assert from "node:assert/strict";
import test from "node:test";
import { readVolts, voltScale } from "../../static/js/timing/drawing/analog.js";
import { Arrangement } from "../../static/js/timing/arrangement.js";
import { Dimensions } from "../../static/js/timing/dimensions.js";
import { wrap } from "../../static/js/timing/slips/figure.js";
import { literal } from "../../static/js/timing/slips/finder.js";
import { anchorOf, corners } from "../../static/js/timing/drawing/overlay.js";
import { readLine } from "../../static/js/timing/drawing/reading.js";
import { busCells } from "../../static/js/timing/drawing/reduce.js";
import { tickOf } from "../../static/js/timing/slips/small.js";
import { SvgContext } from "../../static/js/timing/drawing/svg.js";

const line = (more) => ({ line: 0, entering: 0, first: 0, count: 0, ...more });

test("a pulse reaches out of the window when the edges beside it are known", () => {
  const clock = line({ edges: Float64Array.from([10, 20]), before: -5, after: 60 });
  assert.deepEqual(readLine(clock, 5), { level: 0, pulse: { start: -5, end: 10 }, period: 25 });
  assert.deepEqual(readLine(clock, 15), { level: 1, pulse: { start: 10, end: 20 }, period: 50 });
  assert.deepEqual(readLine(clock, 30), { level: 0, pulse: { start: 20, end: 60 }, period: null });
});

test("no width is read through what is not known", () => {
  const kinds = { 0: 2, 1: 3, 2: 4 };
  for (const [kind, level] of Object.entries(kinds)) {
    const cut = line({ edges: Float64Array.from([10, 60, 70]), stretches: Float64Array.from([30, 40, Number(kind)]) });
    assert.deepEqual(readLine(cut, 35), { level, pulse: null, period: null });
    assert.deepEqual(readLine(cut, 20), { level: 1, pulse: null, period: null });
    assert.deepEqual(readLine(cut, 65), { level: 0, pulse: { start: 60, end: 70 }, period: null });
  }
});

test("a level that leapt while nothing was recorded is the one read", () => {
  const leapt = line({ edges: Float64Array.from([10, 20, 60]), flips: Float64Array.from([50]), stretches: Float64Array.from([30, 50, 2]) });
  assert.equal(readLine(leapt, 25).level, 0);
  assert.equal(readLine(leapt, 40).level, 4);
  assert.equal(readLine(leapt, 55).level, 1);
  assert.equal(readLine(leapt, 65).level, 0);
});

test("a bus has an unknown digit while one bit is unknown", () => {
  const bits = [line({ edges: Float64Array.from([10]) }), line({ entering: 1, edges: new Float64Array(), stretches: Float64Array.from([20, 30, 0]) })];
  assert.deepEqual(busCells(bits, 0, 100), [{ at: 0, bits: [0, 1] }, { at: 10, bits: [1, 1] }, { at: 20, bits: [1, 2] }, { at: 30, bits: [1, 1] }]);
});

test("values are taken in the digits that the figure writes", () => {
  assert.equal(literal("12", "8", 8), "8'o12");
  assert.equal(literal("b3", "16", 8), "8'hb3");
  assert.equal(literal("−1", "10", 8), "8'd255");
  assert.equal(literal("263 012", "8+8", 16), `16'd${0o263 * 256 + 0o12}`);
  for (const [text, radix] of [["8", "8"], ["400", "8"], ["2", "2"], ["256", "10"], ["", "16"], ["400 0", "8+8"]]) assert.equal(literal(text, radix, 8), null, `${text} in ${radix}`);
});

test("a typed time is from the clock's zero, or from here with a sign", () => {
  const facts = { start_s: 1, tick_s: 1e-6 };
  assert.ok(Math.abs(tickOf("1.5 s", facts, 0) - 500_000) < 1e-3);
  assert.ok(Math.abs(tickOf("+2 us", facts, 40) - 42) < 1e-9);
  assert.ok(Math.abs(tickOf("−2 µs", facts, 40) - 38) < 1e-9);
  assert.equal(tickOf("soon", facts, 0), null);
});

test("a moment is laid at its cause, its edges as corners", () => {
  assert.equal(anchorOf({ from: 3, marks: [{ kind: "stray", start: 9 }, { kind: "cause", at: 7 }] }), 7);
  assert.equal(anchorOf({ from: 3, marks: [{ kind: "burst", start: 3 }] }), 3);
  assert.deepEqual(corners([1, -5, 4, 50], 0, 10), [[0, 0], [4, 0], [4, 1], [10, 1]]);
});

test("what a pen draws comes out as SVG, text as text", () => {
  const context = new SvgContext(() => 10);
  context.save();
  context.beginPath(); context.rect(0, 0, 50, 20); context.clip();
  context.font = "bold 12px serif";
  context.fillText("<script>alert('1')</script>", 1, 2);
  context.strokeStyle = "red"; context.setLineDash([4, 3]);
  context.beginPath(); context.moveTo(0, 0); context.lineTo(5.123456, 7); context.stroke();
  context.restore();
  const text = context.document(100, 50, "A & B");
  assert.ok(!text.includes("<script"));
  assert.match(text, /font-weight="bold"/);
  assert.match(text, /d="M0 0L5.12 7"[^>]*stroke-dasharray="4 3"/);
  assert.equal(text.match(/<g /g).length, text.match(/<\/g>/g).length);
  assert.match(text, /<title>A &#38; B<\/title>/);
});

test("a caption is set in lines", () => {
  assert.deepEqual(wrap("one two three", 7), ["one two", "three"]);
  assert.deepEqual(wrap("", 7), []);
});

test("volts lie between the rails with the thresholds in sight", () => {
  const volts = { low_v: 0.8, high_v: 2, smallest_v: 4.9, largest_v: 5.1 };
  const y = voltScale({ volts, edges: 4 }, { top: 0, foot: 100 });
  assert.ok(y(0.8) < 100 && y(5.1) > 0 && y(2) > y(5) && y(0.8) > y(2));
  // A line that never makes an edge: its ripple fills the row.
  const own = voltScale({ volts, edges: 0 }, { top: 0, foot: 100 });
  assert.ok(own(4.9) - own(5.1) > 80);
  // A supply is drawn between its limits, wherever its own volts lie.
  const supply = voltScale({ volts: { ...volts, supply: { low_v: 4.75, nominal_v: 5, high_v: 5.25 } }, edges: 4 }, { top: 0, foot: 100 });
  assert.ok(supply(5.25) > 0 && supply(4.75) < 100 && supply(5) > supply(5.25));
});

test("volts are read as a sample, or as the range of a pixel column", () => {
  assert.equal(readVolts(line({ points: Float64Array.from([-5, 1, 5, 4.5]) }), 7, 1), "4.5 V");
  assert.equal(readVolts(line({ points: Float64Array.from([-5, 1, 5, 4.5]) }), 4, 1), "1 V");
  assert.equal(readVolts(line({ volts: Float32Array.from([0, 1, -2, 3]) }), 15, 10), "−2 V to 3 V");
  assert.equal(readVolts(line({ volts: Float32Array.from([NaN, NaN]) }), 5, 10), "");
});

test("dimension lines are kept by moment and by name", () => {
  const facts = { start_s: 0.5, tick_s: 1e-9, lines: [{ name: "A" }, { name: "B" }] };
  const one = new Dimensions({ facts });
  one.list.push({ a: { tick: 10, line: 0, soft: 1e-9 }, b: { tick: 23, line: 1, soft: 1e-9 } }, { a: { tick: 1.5, line: null, soft: 0 }, b: { tick: 4, line: null, soft: 0 } });
  const saved = JSON.parse(JSON.stringify(one.saved()));
  const other = new Dimensions({ facts: { ...facts, lines: [{ name: "B" }, { name: "A" }] } });
  other.restore(saved);
  assert.deepEqual(other.list[0].a.line, 1);
  assert.deepEqual([other.list[0].a.tick, other.list[0].b.tick], [10, 23]);
  assert.equal(other.text(other.list[0]), one.text(one.list[0]));
  assert.match(other.text(other.list[0]), /^13 ns ± 2 ns · 76.92 MHz$/);
  assert.ok(Math.abs(other.list[1].a.tick - 1.5) < 1e-6);
});

const facts = {
  lines: [{ name: "A", board: "tower", place: "tower J1-2" }, { name: "B" }, { name: "Q[1]", board: "driver" }, { name: "Q[0]", board: "driver" }],
  buses: [{ name: "Q[1:0]", bits: [2, 3] }],
};

test("an unfolded vector, a folded bus and their digits come back as they were kept", () => {
  const one = new Arrangement(facts, () => {});
  one.unfold("bus Q[1:0]");
  one.fold([0, 1], "PAIR");
  const pair = one.items.find((item) => item.name === "PAIR").key;
  one.reverse(pair);
  one.nextRadix(pair);
  const other = new Arrangement(facts, () => {});
  other.restore(JSON.parse(JSON.stringify(one.saved())));
  assert.deepEqual(other.rows([]).map((row) => row.name), ["PAIR", "Q[1]", "Q[0]"]);
  assert.deepEqual(other.rows([])[0].bits, [1, 0]);
  assert.equal(other.rows([])[0].radix, "8+8");
});

test("a bus is written in the base of its file, else in octal", () => {
  const radix = (/** @type {any} */ base) => new Arrangement({ ...facts, buses: [{ ...facts.buses[0], base }] }, () => {}).item("bus Q[1:0]").radix;
  assert.deepEqual([16, 10, 2, 8, null, undefined, 7].map(radix), ["16", "10", "2", "8", "8", "8", "8"]);
});

test("lines of a board stand together under its name", () => {
  const arrangement = new Arrangement(facts, () => {});
  arrangement.place("line B", "line A");
  assert.ok(arrangement.groupByBoard());
  assert.deepEqual(arrangement.rows([]).map((row) => [row.name, row.group]), [["B", ""], ["A", "tower"], ["Q[1:0]", "driver"]]);
  assert.equal(arrangement.rows([])[1].place, "tower J1-2");
  assert.equal(new Arrangement({ lines: [{ name: "A" }], buses: [] }, () => {}).groupByBoard(), false);
});

test("a line dragged among those a finding brought up leaves the rest as it was seen", () => {
  const arrangement = new Arrangement(facts, () => {});
  assert.deepEqual(arrangement.rows([0, 1]).map((row) => row.name), ["B", "A", "Q[1:0]"]);
  arrangement.place("bus Q[1:0]", "line A", [0, 1]);
  assert.deepEqual(arrangement.rows([0, 1]).map((row) => row.name), ["B", "Q[1:0]", "A"]);
});
