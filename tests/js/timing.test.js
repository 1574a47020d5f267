// Pure modules of the timing diagram; node runs them as they are.
import assert from "node:assert/strict";
import test from "node:test";
import { busValue, engineering, scaleLabel, seconds } from "../../static/js/lib/format.js";
import { decimal, numberIn, parseSeconds } from "../../static/js/lib/typed.js";
import { isInCapture, readAddress, writeAddress } from "../../static/js/timing/address.js";
import { Arrangement } from "../../static/js/timing/arrangement.js";
import { Columns, decode } from "../../static/js/timing/columns.js";
import { strayShape } from "../../static/js/timing/drawing/draw.js";
import { inOwnNames, setupOfNames, toldOfNames } from "../../static/js/timing/names.js";
import { CROWD, CROWD_END_HIGH, CROWD_END_LOW, FALL, JUMP_HIGH, RISE, busCells, reduceColumns, reduceEdges } from "../../static/js/timing/drawing/reduce.js";
import { Scale, keepWithin, niceStep, scaleMarks, scaleZero } from "../../static/js/timing/drawing/scale.js";

test("engineering units keep three digits", () => {
  assert.equal(seconds(1.3e-8), "13 ns");
  assert.equal(seconds(0.0012345), "1.23 ms");
  assert.equal(seconds(9.999e-7), "1 µs");
  assert.equal(seconds(-5e-10), "−500 ps");
  assert.equal(seconds(0), "0 s");
  assert.equal(engineering(2e8, "S/s"), "200 MS/s");
});

test("a time is read with any unit the bench uses", () => {
  for (const [text, value] of [["1.5 ms", 1.5e-3], ["200ns", 2e-7], ["3", 3], ["1,5 µs", 1.5e-6], ["-2 us", -2e-6], ["7e-6", 7e-6], ["4 FS", 4e-15]]) {
    assert.ok(Math.abs(parseSeconds(text) - value) <= Math.abs(value) * 1e-12, text);
  }
  for (const text of ["", "ms", "1 parsec", "1.2.3 ms", "--1"]) assert.equal(parseSeconds(text), null, text);
});

test("scale labels carry the digits of their step and no more", () => {
  assert.equal(scaleLabel(1.2e-6, 1e-7), "1.2 µs");
  assert.equal(scaleLabel(3e-9, 5e-10), "3.0 ns");
  assert.equal(scaleLabel(0, 1e-9), "0");
  assert.equal(scaleLabel(0.5, 0.1), "500 ms");
  // Nobody reads kiloseconds: from there on a time is as on a clock, and is read so as well.
  assert.equal(scaleLabel(79_293.25, 0.01), "22:01:33.25");
  assert.equal(scaleLabel(-3_659.9996, 1e-3), "−1:01:00.000");
  assert.equal(parseSeconds("22:01:33.25"), 79_293.25);
});

test("a sentence goes by the names that a person gave, whole ones only", () => {
  const item = (given, name = given) => ({ given, name });
  const says = "D0 - CLEAR+: 4 strays follow STEP falling, none STEP_2; MISSTEP is another.";
  assert.equal(inOwnNames([item("STEP"), item("STEP_2")], says), says);
  const items = [item("STEP", "hammer"), item("STEP_2"), item("D0 - CLEAR+", "$& clear")];
  assert.equal(inOwnNames(items, says), "$& clear: 4 strays follow hammer falling, none STEP_2; MISSTEP is another.");
});

test("how far a name given in the diagram goes is said with it", () => {
  const item = (given, name = given) => ({ given, name });
  assert.equal(toldOfNames([item("STEP"), item("LAMP")]), "");
  assert.equal(toldOfNames([item("STEP"), item("LAMP", "tempo lamp")]), "Shown under another name, here only: LAMP as tempo lamp. The printed report, tables, rules, before and after, and what programs get keep LAMP.");
  assert.match(toldOfNames([item("STEP", "hammer"), item("LAMP", "lamp")]), /^Shown .* STEP as hammer, LAMP as lamp\. .* keep the names of the capture\.$/);
  // TOML's basic strings escape as JSON's do (TOML 1.0.0).
  assert.equal(setupOfNames([item("STEP"), item("CH 3", 'the "lamp"'), item("LIFT", "hammer"), item("tower/NOTE", "note")]), '[read.rename]\n"CH 3" = "the \\"lamp\\""\n"LIFT" = "hammer"');
  assert.equal(setupOfNames([item("STEP")]), "");
});

test("bus values in the radices of front panels", () => {
  const bits = [1, 0, 1, 1, 0, 0, 1, 1];
  assert.equal(busValue(bits, "2"), "10110011");
  assert.equal(busValue(bits, "8"), "263");
  assert.equal(busValue(bits, "16"), "b3");
  assert.equal(busValue(bits, "10"), "179");
  assert.equal(busValue(bits, "10", true), "−77");
  assert.equal(busValue([...bits, ...bits], "8+8"), "263 263");
  assert.equal(busValue([...bits, ...bits], "8"), "131663");
  assert.equal(busValue([1, 2, 0, 0], "8"), "1?");
});

test("marks of the scale are round and apart", () => {
  assert.equal(niceStep(3e-9), 5e-9);
  const scale = new Scale(0, 1000, 100, 800);
  const { step, marks } = scaleMarks(scale, 1e-9, 0, 100);
  assert.equal(step, 2e-7);
  assert.deepEqual(marks.map((m) => Math.round(m.tick)), [0, 200, 400, 600, 800, 1000]);
  assert.equal(scale.tick(scale.x(345)), 345);
});

test("the scale counts from time zero while that takes few digits, else from a round moment at its left", () => {
  // Tick 0 lies at 5 µs of the file's clock, 1 ns a tick: time zero is tick −5000.
  const zero = (start, span) => scaleZero(new Scale(start, span, 0, 800), 1e-9, 5e-6);
  assert.ok(Math.abs(zero(0, 1000) + 5000) < 1e-9);
  const far = zero(1e8 + 123, 100);
  assert.ok(far <= 1e8 + 123 && far > 1e8 - 1000, String(far));
  const roundS = (far + 5000) * 1e-9 / 5e-7;
  assert.ok(Math.abs(roundS - Math.round(roundS)) < 1e-6, String(roundS));
});

test("the view stays at the capture, and never closer than four ticks", () => {
  assert.equal(keepWithin(0, 0.001, 1000).span, 4);
  assert.ok(keepWithin(0, 1e12, 1000).span <= 1250);
  assert.ok(keepWithin(-1e9, 100, 1000).start >= -50);
  assert.ok(keepWithin(1e9, 100, 1000).start <= 950);
});

test("what is in view is asked for once, at any depth", async () => {
  // An answer with one line and no edges, as windows.rs lays it out: length of the head, head.
  const asked = [];
  globalThis.fetch = async (path) => {
    const query = new URLSearchParams(String(path).split("?")[1]);
    asked.push(String(path));
    if (asked.length > 20) throw new Error("it is asked for without end");
    const [start, end, columns] = ["start", "end", "columns"].map((name) => Number(query.get(name)));
    let head = JSON.stringify({ start, end, columns, lines: [{ line: 0, entering: 0, first: 0, count: 0 }] });
    head = head.padEnd(Math.ceil((head.length + 4) / 8) * 8 - 4);
    const bytes = new Uint8Array(4 + head.length);
    new DataView(bytes.buffer).setUint32(0, head.length, true);
    bytes.set(new TextEncoder().encode(head), 4);
    return new Response(bytes);
  };
  for (const [start, span, pixels] of [[123.4, 4, 1500], [123.4, 5, 7000], [0, 1e6, 7000], [-3, 11.7, 300]]) {
    asked.length = 0;
    const columns = new Columns("/api/sessions/1", 1e6, () => columns.want(start, span, pixels, [0]), () => undefined);
    columns.want(start, span, pixels, [0]);
    for (let turn = 0; turn < 200; turn++) await new Promise((next) => setImmediate(next));
    // The view, and the whole capture under it.
    assert.equal(asked.length, 2, `${span} ticks on ${pixels} pixels: ${asked.slice(0, 4).join(" ")}`);
    assert.equal(columns.isBusy, false);
  }
});

test("the view of another capture is not taken up where nothing is", () => {
  const facts = { start_s: 0, tick_s: 1e-9, length: 2000 };
  const place = (at, span) => ({ finding: null, occurrence: 0, at, span });
  assert.ok(isInCapture(place(1e-6, 4e-7), facts));
  assert.ok(isInCapture(place(-2e-8, 2.04e-6), facts));
  assert.ok(!isInCapture(place(0.7, 4e-7), facts));
  assert.ok(!isInCapture(place(null, null), facts));
});

test("a lone edge is never dropped, close ones become crowded", () => {
  const edges = [10, 500, 501, 502, 503, 900];
  const reduced = reduceEdges(edges, 0, undefined, (t) => t / 10, 0, 100, 1);
  assert.deepEqual(reduced.kinds, [RISE, CROWD, CROWD_END_HIGH, FALL]);
  assert.deepEqual(reduced.xs.map(Math.round), [1, 50, 51, 90]);
  // Entered in the middle: the level is that after the edges to the left.
  assert.equal(reduceEdges(edges, 0, undefined, (t) => t - 100, 0, 1000, 1).level, 1);
});

test("a level that changed while nothing was recorded is no edge", () => {
  const reduced = reduceEdges([10, 20, 60], 0, [50], (t) => t, 0, 100, 1);
  assert.deepEqual(reduced.kinds, [RISE, FALL, JUMP_HIGH, FALL]);
  assert.deepEqual(reduced.xs, [10, 20, 50, 60]);
});

test("columns: crowded ones join, one edge is a transition", () => {
  const code = (level, count) => level | (count << 2);
  const columns = Uint8Array.from([code(0, 0), code(0, 1), code(1, 0), code(1, 5), code(0, 63), code(1, 0)]);
  const reduced = reduceColumns(columns, (c) => c * 2, 0, 12);
  assert.deepEqual(reduced.kinds, [RISE, CROWD, CROWD_END_HIGH]);
  assert.deepEqual(reduced.xs, [3, 6, 10]);
  assert.equal(reduced.level, 0);
  assert.equal(reduceColumns(Uint8Array.from([code(1, 2), code(1, 0)]), (c) => c, 0, 2).kinds[1], CROWD_END_HIGH);
  assert.equal(reduceColumns(Uint8Array.from([code(1, 3), code(0, 0)]), (c) => c, 0, 2).kinds[1], CROWD_END_LOW);
});

test("columns with edges too close to tell apart are one crowd, and a lone one stays", () => {
  const code = (level, count) => level | (count << 2);
  const columns = Uint8Array.from([code(0, 1), code(1, 0), code(1, 1), code(0, 1), code(1, 0), code(1, 0), code(1, 0), code(1, 0), code(1, 1), code(0, 0)]);
  const reduced = reduceColumns(columns, (c) => c, 0, 10, 2.5);
  assert.deepEqual(reduced.kinds, [CROWD, CROWD_END_HIGH, FALL]);
  assert.deepEqual(reduced.xs, [0, 4, 8.5]);
  assert.deepEqual(reduceColumns(columns, (c) => c * 10, 0, 100, 2.5).kinds, [RISE, FALL, RISE, FALL]);
});

test("columns that begin left of the view are drawn from its first one on", () => {
  const code = (level, count) => level | (count << 2);
  const columns = Uint8Array.from([code(0, 1), code(1, 0), code(1, 0), code(1, 1), code(0, 0), code(0, 1)]);
  // Two pixels a column from −4 on: columns 2 to 4 lie in the view.
  const reduced = reduceColumns(columns, (c) => c * 2 - 4, 0, 6);
  assert.deepEqual([reduced.level, reduced.kinds, reduced.xs], [1, [FALL], [3]]);
});

test("cells of a bus change when any bit does", () => {
  const bit = (entering, edges) => ({ line: 0, entering, first: 0, count: edges.length, edges: Float64Array.from(edges) });
  const cells = busCells([bit(0, [30]), bit(1, [10, 30])], 0, 100);
  assert.deepEqual(cells, [{ at: 0, bits: [0, 1] }, { at: 10, bits: [0, 0] }, { at: 30, bits: [1, 1] }]);
  assert.equal(busCells([{ columns: new Uint8Array(1) }], 0, 1), null);
});

test("a window is read as the server writes it", () => {
  const head = JSON.stringify({ start: 5, end: 9, columns: 4, lines: [{ line: 3, entering: 1, first: 7, count: 1, edges: [0, 2], columns: [16, 3] }] });
  const padded = head.padEnd(Math.ceil((head.length + 4) / 8) * 8 - 4, " ");
  const buffer = new ArrayBuffer(4 + padded.length + 24);
  new DataView(buffer).setUint32(0, padded.length, true);
  new Uint8Array(buffer, 4).set(new TextEncoder().encode(padded));
  new Float64Array(buffer, 4 + padded.length, 2).set([1.5, 2.5]);
  new Uint8Array(buffer, 4 + padded.length + 16, 3).set([9, 8, 7]);
  const line = decode(buffer).lines.get(3);
  assert.deepEqual([...line.edges], [1.5, 2.5]);
  assert.deepEqual([...line.columns], [9, 8, 7]);
});

test("the address keeps a moment, and takes nothing odd", () => {
  const place = { finding: "F2", occurrence: 4, at: 0.0123456789012, span: 1e-6 };
  assert.deepEqual({ ...readAddress(writeAddress(place)) }, place);
  for (const search of ["?finding=<script>", "?at_s=abc&span_s=-1", "?occurrence=NaN"]) {
    assert.deepEqual({ ...readAddress(search) }, { finding: null, occurrence: null, at: null, span: null }, search);
  }
});

const facts = {
  lines: [{ name: "A" }, { name: "B" }, { name: "Q[1]" }, { name: "Q[0]" }],
  buses: [{ name: "Q[1:0]", bits: [2, 3] }],
};

test("vectors come folded, and unfold to their bits", () => {
  const arrangement = new Arrangement(facts, () => {});
  assert.deepEqual(arrangement.rows([]).map((row) => row.name), ["A", "B", "Q[1:0]"]);
  arrangement.unfold("bus Q[1:0]");
  assert.deepEqual(arrangement.rows([]).map((row) => row.name), ["A", "B", "Q[1]", "Q[0]"]);
});

test("the lines of the finding in hand come first, the guilty one on top, even when hidden", () => {
  const arrangement = new Arrangement(facts, () => {});
  arrangement.set("line B", { hidden: true });
  assert.deepEqual(arrangement.rows([1, 3]).map((row) => row.name), ["Q[0]", "B", "A", "Q[1:0]"]);
});

test("an arrangement is kept by names and takes up new lines at the end", () => {
  const arrangement = new Arrangement(facts, () => {});
  arrangement.move("line B", -1);
  arrangement.set("line A", { name: "the clock" });
  const other = new Arrangement({ lines: [{ name: "NEW" }, ...facts.lines], buses: [] }, () => {});
  other.restore(JSON.parse(JSON.stringify(arrangement.saved())));
  const rows = other.rows([]);
  assert.equal(rows[0].name, "B");
  assert.equal(rows[0].line, 2);
  assert.deepEqual([rows[1].name, rows[1].place], ["the clock", "A"]);
  assert.equal(rows.at(-1).name, "NEW");
});

test("a stray goes away from the level its line rests at, a runt half the way", () => {
  const line = /** @type {any} */ ({ line: 0, entering: 1, first: 0, count: 2, edges: Float64Array.of(100, 110) });
  assert.deepEqual(strayShape(line, 100, 110), { isLow: true, reach: 1 });
  assert.deepEqual(strayShape(line, 40, 60), { isLow: true, reach: 0.5 });
  assert.deepEqual(strayShape(line, 300, 310), { isLow: true, reach: 0.5 });
  const rest = /** @type {any} */ ({ line: 0, entering: 0, first: 0, count: 0 });
  assert.deepEqual(strayShape(rest, 5, 9), { isLow: false, reach: 0.5 });
});

test("a number is taken with either decimal mark and either minus, and never in part", () => {
  assert.deepEqual(["-11,8", "−11.8", " 4.93 ", "5", ".5", "1e-3", ""].map(decimal), [-11.8, -11.8, 4.93, 5, 0.5, 0.001, null]);
  for (const text of ["11,8,1", "1.234,5", "5 V", "five", "-"]) assert.throws(() => decimal(text), /is no number/);
  const field = (/** @type {string} */ value, /** @type {string} */ unit) => ({ value, form: { elements: { namedItem: () => ({ value: unit }) } } });
  assert.equal(numberIn(field("5 V", "V")), 5);
  assert.equal(numberIn(field("−11,8", "V")), -11.8);
  assert.throws(() => numberIn(field("5 V", "mV")), /is no number/);
});
