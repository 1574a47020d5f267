// The diagram with real mouse, wheel and keys: finding, measuring, lines, evidence, persistence, figures out.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";
import { begun, demoPath, openPage, ready, sample, startServer } from "./bench.mjs";

const { browser, server } = await begun(["--demo"]);
/** The demo's session: its path on the pages, and under /api. */
const place = await demoPath(browser, server);

/** Opens the demo's diagram; `job` gets the page, its canvas, and a reader of the view's state. `expected`: troubles that are meant. */
async function onDiagram(job, { expected = /^$/, ...options } = {}) {
  const { page, troubles } = await openPage(browser, server.url, options);
  await page.goto(server.url + place);
  await page.locator("#headline").waitFor();
  await ready(page);
  const canvas = page.locator("[data-diagram] canvas").first();
  await canvas.focus();
  await job(page, canvas, (/** @type {(view: any) => any} */ read) => page.evaluate(`(${read})(edgewitness.view)`));
  assert.deepEqual(troubles.filter((trouble) => !expected.test(trouble)), []);
  await page.context().close();
}

const caption = (page, pattern) => page.waitForFunction((source) => new RegExp(source).test(document.querySelector("#caption")?.textContent ?? ""), pattern.source);
const names = (state) => state((view) => view.rows().map((row) => row.name));

/** The place on the page of a line's row (share of its height) at a tick, or in the gutter. */
async function placeOf(page, canvas, name, tick = null) {
  const box = await canvas.boundingBox();
  const at = await page.evaluate(([name, tick]) => {
    const { view } = /** @type {any} */ (globalThis).edgewitness;
    const row = view.rows().find((r) => r.name === name);
    return { x: tick === null ? view.scale.left / 2 : view.scale.x(tick), y: (row.high + row.low) / 2 };
  }, [name, tick]);
  return { x: box.x + at.x, y: box.y + at.y };
}

test("a pattern is found, counted, listed and stepped through", async () => {
  await onDiagram(async (page, canvas, state) => {
    await page.keyboard.press("f");
    await page.getByLabel("What", { exact: true }).selectOption("pattern");
    await page.getByLabel("Width, value or pattern").fill("CLEAR_N low while STEP low");
    await page.keyboard.press("Enter");
    const said = page.locator(".finds [role=status]");
    await page.waitForFunction(() => /times in this capture/.test(document.querySelector(".finds")?.textContent ?? ""));
    const count = Number(/^(\d+) times/.exec(await said.innerText())[1]);
    assert.equal(await page.locator(".finds li").count(), count);
    // The same over the interface, as an expression.
    const session = `${server.url}/api${place}`;
    const asked = await (await fetch(`${session}/find?what=pattern&count=true&text=${encodeURIComponent("!CLEAR_N && !STEP")}`)).json();
    assert.equal(asked.count, count);
    await page.locator(".finds li button").nth(1).click();
    await caption(page, /^2 of \d+/);
    assert.equal(await state((view) => view.marked.start), asked.moments[1][0]);
    await page.keyboard.press("Escape");
    assert.equal(await page.locator(".slip").isVisible(), false);
    await page.keyboard.press("n");
    await caption(page, /^3 of \d+/);
    await page.keyboard.press("p");
    await caption(page, /^2 of \d+/);
    // The moments of the finding in hand as a list.
    await page.keyboard.press("f");
    await page.getByLabel("What", { exact: true }).selectOption("moments");
    await page.getByRole("button", { name: "find", exact: true }).last().click();
    const moments = await state((view) => view.occurrenceCount);
    await page.waitForFunction((count) => document.querySelector(".finds")?.textContent?.startsWith(`${count} times`), moments);
    await page.keyboard.press("Escape");
    // A pattern that can't be read is told, and nothing is lost.
    await page.keyboard.press("f");
    await page.getByLabel("What", { exact: true }).selectOption("pattern");
    await page.getByLabel("Width, value or pattern").fill("CLEAR_N low while NOBODY high");
    await page.keyboard.press("Enter");
    await page.locator(".finds", { hasText: "no line NOBODY" }).waitFor();
  }, { expected: /status of 400/ });
});

test("next and previous edge and stray of the chosen line", async () => {
  await onDiagram(async (page, canvas, state) => {
    const strays = (await (await fetch(`${server.url}/api${place}/find?what=stray&count=true`)).json());
    assert.ok(strays.count > 60, `${strays.count}`);
    await page.keyboard.press("Home");
    const at = await placeOf(page, canvas, "CLEAR_N");
    await page.mouse.click(at.x, at.y);
    await page.keyboard.press("}");
    await page.waitForFunction(() => /** @type {any} */ (globalThis).edgewitness.view.marked);
    const first = await state((view) => view.marked);
    assert.ok(strays.moments.some(([start, end]) => start === first.start && end === first.end), JSON.stringify(first));
    await page.keyboard.press("}");
    await page.waitForFunction((old) => /** @type {any} */ (globalThis).edgewitness.view.marked.start > old, first.start);
    await page.keyboard.press("{");
    await page.waitForFunction((old) => /** @type {any} */ (globalThis).edgewitness.view.marked.start === old, first.start);
    await page.keyboard.press("]");
    await page.waitForFunction((old) => /** @type {any} */ (globalThis).edgewitness.view.marked.start === old, first.end);
    assert.equal(await state((view) => view.marked.end), first.end);
  });
});

test("a bus value is found in the digits of the figure", async () => {
  await onDiagram(async (page, canvas, state) => {
    await page.keyboard.press("f");
    await page.getByLabel("What", { exact: true }).selectOption("value");
    await page.getByLabel("Width, value or pattern").fill("002");
    await page.keyboard.press("Enter");
    await page.waitForFunction(() => /times in this capture/.test(document.querySelector(".finds")?.textContent ?? ""));
    await page.locator(".finds li button").first().click();
    await caption(page, /^1 of/);
    await page.keyboard.press("Escape");
    const tick = await state((view) => (view.marked.start + Math.min(view.marked.end, view.start + view.span)) / 2);
    const at = await placeOf(page, canvas, "BELL", tick);
    await page.mouse.move(at.x, at.y);
    await page.waitForFunction(() => /BELL = 002₈/.test(document.querySelector(".pointer")?.textContent ?? ""));
  });
});

test("pulses narrower and wider than given are found, by level", async () => {
  await onDiagram(async (page, canvas, state) => {
    const tick = await state((view) => view.facts.tick_s);
    const search = async (kind, width, level, line) => {
      await page.keyboard.press("f");
      await page.getByLabel("What", { exact: true }).selectOption(kind);
      await page.getByLabel("Level", { exact: true }).selectOption(level);
      await page.getByLabel("Line", { exact: true }).selectOption({ label: line });
      await page.getByLabel("Width, value or pattern").fill(width);
      await page.keyboard.press("Enter");
      await page.waitForFunction(() => /in this capture/.test(document.querySelector(".finds")?.textContent ?? ""));
      const said = await page.locator(".finds [role=status]").innerText();
      await page.keyboard.press("Escape");
      return Number(/^(\d+) times/.exec(said)?.[1] ?? (/^Once/.test(said) ? 1 : 0));
    };
    const narrow = await search("narrow", "30 ns", "low-pulse", "CLEAR_N");
    const wide = await search("wide", "30 ns", "low-pulse", "CLEAR_N");
    // The same from the edges themselves.
    const report = await (await fetch(`${server.url}/api${place}/report`)).json();
    const line = report.lines.find((row) => row.line === "CLEAR_N");
    assert.ok(narrow > 90 && wide > 5, `${narrow} narrow, ${wide} wide`);
    assert.ok(Math.abs(narrow + wide - line.edges / 2) <= 1, `${narrow} + ${wide} of ${line.edges} edges`);
    assert.equal(await search("narrow", `${tick} s`, "low-pulse", "CLEAR_N"), 0);
  });
});

test("a typed time is gone to, and one outside is told", async () => {
  await onDiagram(async (page, canvas, state) => {
    await page.keyboard.press("g");
    await page.getByLabel("Time with its unit").fill("1.25 s");
    await page.keyboard.press("Enter");
    await caption(page, /^At 1\.25/);
    assert.ok(Math.abs(await state((view) => view.facts.start_s + view.marked.start * view.facts.tick_s) - 1.25) < 1e-8);
    assert.ok(await state((view) => view.isInSight(view.marked.start)));
    await page.keyboard.press("g");
    await page.getByLabel("Time with its unit").fill("99 s");
    await page.keyboard.press("Enter");
    await page.getByText(/The capture goes from/).waitFor();
  });
});

test("the pointer reads level, width and period; a dimension goes from edge to edge and stays", async () => {
  await onDiagram(async (page, canvas, state) => {
    // The demo's first stray: CLEAR_N falls some ticks after STEP does.
    const marks = await state((view) => view.occurrences[0].marks);
    const stray = marks.find((mark) => mark.kind === "stray"), cause = marks.find((mark) => mark.kind === "cause");
    const inside = await placeOf(page, canvas, "CLEAR_N", (stray.start + stray.end) / 2);
    await page.mouse.move(inside.x, inside.y);
    const width = await state((view) => view.length(view.occurrences[0].marks[0].end - view.occurrences[0].marks[0].start));
    await page.waitForFunction((width) => document.querySelector(".pointer")?.textContent?.includes(`CLEAR_N low   for ${width}`), width);
    await page.keyboard.press("m");
    const from = await placeOf(page, canvas, "STEP", cause.at), to = await placeOf(page, canvas, "CLEAR_N", stray.start);
    // A little beside the edges: they are snapped to.
    await page.mouse.click(from.x + 3, from.y);
    await page.mouse.click(to.x - 3, to.y);
    await caption(page, /^Measured .* ± .* Hz from STEP to CLEAR_N|^Measured .* ± .*Hz from STEP to CLEAR_N/);
    const dimension = await state((view) => view.dimensions.list.at(-1));
    assert.deepEqual([dimension.a.tick, dimension.b.tick], [cause.at, stray.start]);
    await page.waitForFunction(async () => (await (await fetch(`/api${location.pathname}/view`)).json()).dimensions.length === 1);
    await page.reload();
    await ready(page);
    assert.equal(await page.evaluate(() => /** @type {any} */ (globalThis).edgewitness.view.dimensions.list.length), 1);
    const figure = await (await fetch(`${server.url}${place}/findings/F1/figure.svg`)).text();
    assert.match(figure, /Hz<\/text>/, "the dimension is printed with the figure");
    await page.locator("[data-diagram] canvas").first().focus();
    await page.keyboard.press("Backspace");
    await page.waitForFunction(async () => (await (await fetch(`/api${location.pathname}/view`)).json()).dimensions.length === 0);
  });
});

test("ends that are put down while measuring is still fetched are not lost", async () => {
  await onDiagram(async (page, canvas, state) => {
    const marks = await state((view) => view.occurrences[0].marks);
    const stray = marks.find((mark) => mark.kind === "stray"), cause = marks.find((mark) => mark.kind === "cause");
    const from = await placeOf(page, canvas, "STEP", cause.at), to = await placeOf(page, canvas, "CLEAR_N", stray.start);
    let letGo = () => {};
    const clicked = new Promise((resolve) => { letGo = resolve; });
    await page.route("**/dimensions.js", async (route) => { await clicked; await route.continue(); });
    await page.keyboard.press("m");
    await page.mouse.click(from.x + 3, from.y);
    await page.mouse.click(to.x - 3, to.y);
    assert.equal(await state((view) => view.dimensions), null);
    letGo();
    await caption(page, /^Measured .*Hz from STEP to CLEAR_N/);
    await canvas.focus();
    await page.keyboard.press("Backspace");
    await page.waitForFunction(async () => (await (await fetch(`/api${location.pathname}/view`)).json()).dimensions.length === 0);
  });
});

test("a pulse is measured by keys alone", async () => {
  await onDiagram(async (page, canvas, state) => {
    const stray = await state((view) => view.occurrences[0].marks.find((mark) => mark.kind === "stray"));
    await page.keyboard.press("g");
    await page.getByLabel("Time with its unit").fill(await state((view) => `${(view.facts.start_s + view.start * view.facts.tick_s).toFixed(9)} s`));
    await page.keyboard.press("Enter");
    await caption(page, /^At /);
    for (let i = 0; i < 30 && !/^CLEAR_N/.test(await page.locator("#caption").innerText()); i++) await page.keyboard.press(i === 0 ? "ArrowUp" : "ArrowDown");
    await page.keyboard.press("m");
    await page.keyboard.press("]");
    await page.waitForFunction((tick) => /** @type {any} */ (globalThis).edgewitness.view.marked?.start === tick, stray.start);
    await page.keyboard.press("Enter");
    await page.keyboard.press("]");
    await page.waitForFunction((tick) => /** @type {any} */ (globalThis).edgewitness.view.marked?.start === tick, stray.end);
    await page.keyboard.press("Enter");
    await caption(page, /^Measured .* from CLEAR_N to CLEAR_N/);
    const put = await state((view) => view.dimensions.list.at(-1));
    assert.deepEqual([put.a.tick, put.b.tick], [stray.start, stray.end]);
    await page.keyboard.press("Backspace");
  });
});

test("a stretch dragged with Shift is counted over", async () => {
  await onDiagram(async (page, canvas, state) => {
    await page.keyboard.press("Home");
    const box = await canvas.boundingBox();
    const left = await state((view) => view.scale.left);
    await page.keyboard.down("Shift");
    await page.mouse.move(box.x + left + 60, box.y + 120);
    await page.mouse.down();
    await page.mouse.move(box.x + left + 200, box.y + 120, { steps: 4 });
    await page.mouse.move(box.x + left + 360, box.y + 130, { steps: 4 });
    await page.mouse.up();
    await page.keyboard.up("Shift");
    const row = page.locator(".stretch tbody tr", { has: page.locator("th", { hasText: /^STEP$/ }) });
    await row.waitFor();
    const { from, to } = await state((view) => view.stretch.chosen);
    const line = await state((view) => view.facts.lines.findIndex((l) => l.name === "STEP"));
    const all = await (await fetch(`${server.url}/api${place}/find?what=edge&line=${line}&most=5000`)).json();
    const inside = all.moments.filter(([at]) => at >= Math.floor(from) && at < Math.ceil(to)).length;
    assert.ok(inside > 10);
    assert.equal(Number(await row.locator("td").first().innerText()), inside);
    await page.keyboard.press("Escape");
    assert.equal(await state((view) => view.stretch.chosen), null);
  });
});

test("lines are dragged, moved, hidden, named, folded into a bus; the session keeps them", async () => {
  await onDiagram(async (page, canvas, state) => {
    const before = await names(state);
    const from = await placeOf(page, canvas, "TEMPO"), to = await placeOf(page, canvas, before[0]);
    await page.mouse.move(from.x, from.y);
    await page.mouse.down();
    await page.mouse.move(to.x, to.y + 20, { steps: 5 });
    await page.mouse.move(to.x, to.y, { steps: 3 });
    await page.mouse.up();
    assert.deepEqual(await names(state), ["TEMPO", ...before.filter((name) => name !== "TEMPO")]);
    // Keys: choose the first, one place down; hide the line that then is chosen.
    await page.keyboard.press("ArrowUp");
    for (let i = 0; i < before.length; i++) await page.keyboard.press("ArrowUp");
    await page.keyboard.press("Alt+ArrowDown");
    assert.equal((await names(state))[1], "TEMPO");
    await page.keyboard.press("h");
    assert.ok(!(await names(state)).includes("TEMPO"));
    // The name by a double click on it; the name that the file gives stays under it.
    const lamp = await placeOf(page, canvas, "LAMP");
    await page.mouse.dblclick(lamp.x, lamp.y);
    await page.waitForFunction(() => document.activeElement?.getAttribute("aria-label") === "name here of LAMP");
    await page.keyboard.type("the tempo lamp");
    await page.keyboard.press("Tab");
    assert.match(await state((view) => view.rows().find((row) => row.name === "the tempo lamp").place), /^LAMP/);
    // It is this diagram's alone, and that is said; where one for everywhere is given is a link away.
    assert.match(await page.locator(".slip [role=status]").innerText(), /here only: LAMP as the tempo lamp\. .* keep LAMP\./);
    assert.ok(await page.evaluate(async () => (await (await fetch(`/api${location.pathname}/report`)).text()).includes('"LAMP"')));
    assert.deepEqual(await page.locator(".slip a").evaluateAll((links) => links.map((link) => link.getAttribute("href"))), [`${place}/log#conditions`, `${place}/log?setup#setup`, `${place}/log?setup#setup`]);
    // A bus of two lines, in other digits, the other way round, and apart again.
    await page.getByLabel("TUNE_A into a bus").check();
    await page.getByLabel("TUNE_B into a bus").check();
    await page.getByLabel("Name of the bus").fill("TUNE");
    await page.getByRole("button", { name: "ticked lines into a bus" }).click();
    assert.ok((await names(state)).includes("TUNE"));
    const bits = await state((view) => view.arrangement.items.find((item) => item.name === "TUNE").bits);
    await page.keyboard.press("Escape");
    const bus = await placeOf(page, canvas, "TUNE");
    await page.mouse.click(bus.x, bus.y);
    await page.keyboard.press("x");
    assert.deepEqual(await state((view) => view.arrangement.items.find((item) => item.name === "TUNE").bits), [...bits].reverse());
    await page.keyboard.press("r");
    assert.equal(await state((view) => view.chosenRow().radix), "8+8");
    await page.keyboard.press("t");
    assert.ok(await state((view) => view.arrangement.items.find((item) => item.name === "TUNE").height) > 1);
    await page.waitForFunction(async () => JSON.stringify(await (await fetch(`/api${location.pathname}/view`)).json()).includes("the tempo lamp"));
    await page.waitForTimeout(700);
    await page.reload();
    await ready(page);
    const kept = await names((read) => page.evaluate(`(${read})(edgewitness.view)`));
    assert.ok(kept.includes("TUNE") && kept.includes("the tempo lamp") && !kept.includes("TEMPO") && !kept.includes("LAMP"), kept.join());
    await page.locator("[data-diagram] canvas").first().focus();
    await page.keyboard.press("l");
    await page.getByRole("button", { name: "group by board" }).click();
    const groups = await page.evaluate(() => /** @type {any} */ (globalThis).edgewitness.view.rows().map((row) => row.group).filter(Boolean));
    assert.ok(groups.includes("sequencer") && groups.includes("memory") && new Set(groups).size === groups.length, groups.join());
    await page.getByRole("button", { name: "as in the capture" }).click();
    await page.waitForFunction(async () => !JSON.stringify(await (await fetch(`/api${location.pathname}/view`)).json()).includes("the tempo lamp"));
  });
});

test("one key lays all moments of a finding on one another; the guilty edges meet", async () => {
  await onDiagram(async (page, canvas, state) => {
    await page.keyboard.press("o");
    await caption(page, /moments laid on one another, aligned at the edge of STEP/);
    const laid = await state((view) => {
      const [victim, aggressor] = view.finding.lines;
      const { byLine, count } = view.overlay.laid;
      return { count, guilty: byLine.get(aggressor).traces.map((trace) => trace.includes(0, 1)), victim: byLine.get(victim).traces.length };
    });
    assert.ok(laid.count > 50 && laid.victim === laid.count, JSON.stringify({ ...laid, guilty: 0 }));
    assert.ok(laid.guilty.every(Boolean), "each has an edge of STEP at its anchor");
    await page.keyboard.press("o");
    await caption(page, /^Fig\. 1, 1 of/);
    assert.equal(await state((view) => view.overlay), null);
  });
});

test("evidence is hidden and shown, and the choice is kept", async () => {
  await onDiagram(async (page, canvas, state) => {
    const inked = () => canvas.evaluate((/** @type {HTMLCanvasElement} */ c) => {
      const ochre = [0x7d, 0x62, 0x1a];
      const { data } = c.getContext("2d").getImageData(0, 0, c.width, c.height);
      let count = 0;
      for (let i = 0; i < data.length; i += 4) if (ochre.every((v, k) => Math.abs(data[i + k] - v) < 3)) count++;
      return count;
    });
    await page.waitForTimeout(300);
    const tied = await inked();
    assert.ok(tied > 20, `${tied} pixels of a tie`);
    await page.keyboard.press("v");
    await page.getByLabel("ties from the edge that causes a stray").uncheck();
    await page.waitForTimeout(200);
    assert.equal(await inked(), 0);
    await page.waitForFunction(async () => (await (await fetch(`/api${location.pathname}/view`)).json()).hidden.includes("ties"));
    await page.getByLabel("ties from the edge that causes a stray").check();
    await page.waitForFunction(async () => (await (await fetch(`/api${location.pathname}/view`)).json()).hidden.length === 0);
  });
});

test("the figure comes out as SVG and PNG with its caption, and is printed alone", async () => {
  await onDiagram(async (page) => {
    await page.keyboard.press("s");
    await page.getByLabel("Caption").fill("CLEAR_N dips <when> STEP falls");
    const download = async (name) => {
      const waiting = page.waitForEvent("download");
      await page.getByRole("button", { name }).click();
      const file = await waiting;
      return { name: file.suggestedFilename(), bytes: readFileSync(await file.path()) };
    };
    const svg = await download("save as SVG");
    assert.equal(svg.name, "figure-1.svg");
    const text = svg.bytes.toString();
    for (const part of ["CLEAR_N", "STEP", "sequencer J2-11", "15 ns", "&#60;when&#62;"]) assert.ok(text.includes(part), part);
    const isWhole = await page.evaluate((text) => !new DOMParser().parseFromString(text, "image/svg+xml").querySelector("parsererror"), text);
    assert.ok(isWhole, "well-formed");
    const png = await download("save as PNG");
    assert.equal(png.name, "figure-1.png");
    assert.deepEqual([...png.bytes.subarray(0, 8)], [0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]);
    assert.ok(png.bytes.readUInt32BE(16) > 1000, "twice the page's pixels");
    await page.evaluate(() => { window.print = () => { /** @type {any} */ (window).printed = document.querySelectorAll("body.print-figure .printed-figure svg text").length; }; });
    await page.getByRole("button", { name: "print" }).click();
    assert.ok(await page.evaluate(() => /** @type {any} */ (window).printed) > 10);
    await page.emulateMedia({ media: "print" });
    assert.ok(await page.locator(".printed-figure svg").isVisible());
    assert.equal(await page.locator(".sheet").isVisible(), false);
    await page.emulateMedia({ media: "screen" });
  }, { acceptDownloads: true });
});

test("a stray that is judged legitimate is none any more; the mark is listed, and taken back", async () => {
  await onDiagram(async (page, canvas, state) => {
    const strays = () => state((view) => view.facts.lines.find((line) => line.name === "CLEAR_N").strays);
    /** Waits for the page that the judgement makes anew, with so many marks on it. */
    const anew = async (/** @type {number} */ marks) => {
      await page.waitForFunction((count) => /** @type {any} */ (globalThis).edgewitness?.view.facts.marks.length === count, marks);
      await ready(page);
    };
    const before = await strays();
    const held = await state((view) => view.occurrences[view.occurrence].marks.find((mark) => mark.kind === "stray"));
    const at = await placeOf(page, canvas, "CLEAR_N", (held.start + held.end) / 2);
    await page.mouse.click(at.x, at.y);
    assert.deepEqual(await state((view) => [view.pulse.start, view.pulse.end]), [held.start, held.end]);
    const view = await state((view) => [view.start, view.span]);
    await page.keyboard.press("j");
    await page.getByRole("button", { name: "legitimate" }).click();
    await anew(1);
    assert.equal(await strays(), before - 1);
    // The finding is still in hand, with one occurrence less; and the view stays where it was.
    assert.deepEqual(await state((view) => [view.finding?.id, view.occurrences.length > 0]), ["F1", true]);
    const now = await state((view) => [view.start, view.span]);
    assert.ok(Math.abs(now[0] - view[0]) < view[1] / 50 && Math.abs(now[1] - view[1]) < view[1] / 50, `${now} of ${view}`);
    await page.keyboard.press("j");
    await page.locator(".slip ol li").waitFor();
    await page.getByRole("button", { name: "take back" }).click();
    await anew(0);
    assert.equal(await strays(), before);
    // What is undone and binned in the bench log is there.
    await page.goto(`${server.url}${place}/log`);
    await page.getByText(/pulse-mark: CLEAR_N/).waitFor();
  });
});

test("the page is light: styles and scripts leave room for the text within 150 kB, unpacked", async () => {
  await onDiagram(async (page) => {
    const names = await page.evaluate(() => performance.getEntriesByType("resource").map((part) => part.name).filter((name) => /\.(js|css)$/.test(name)));
    const sizes = await Promise.all(names.map(async (name) => (await (await fetch(name)).arrayBuffer()).byteLength));
    assert.ok(names.length > 20, names.join(" "));
    const whole = sizes.reduce((sum, size) => sum + size, 0);
    assert.ok(whole < 140_000, `${whole} bytes`);
  });
});

test("every key that is listed is listened to, and two fingers zoom", async () => {
  await onDiagram(async (page, canvas, state) => {
    await page.keyboard.press("?");
    // The list is fetched once it is asked for.
    await page.locator("dialog[open]").waitFor();
    const rows = await page.locator("dialog tr").count();
    assert.ok(rows > 20);
    await page.keyboard.press("Escape");
    const span = await state((view) => view.span);
    const box = await canvas.boundingBox();
    const client = await page.context().newCDPSession(page);
    const touch = (type, ...xs) => client.send("Input.dispatchTouchEvent", { type, touchPoints: xs.map((x, id) => ({ x: box.x + x, y: box.y + 150, id })) });
    await touch("touchStart", 300, 400);
    for (const spread of [20, 60, 100]) await touch("touchMove", 300 - spread, 400 + spread);
    await touch("touchEnd");
    assert.ok(await state((view) => view.span) < span * 0.6, `${await state((view) => view.span)} of ${span}`);
  }, { hasTouch: true });
});

test("the whole capture's frame is dragged, and Back goes to the view before", async () => {
  await onDiagram(async (page, canvas, state) => {
    await page.waitForTimeout(1700);
    const start = await state((view) => view.start);
    const strip = await page.locator(".strip canvas").boundingBox();
    await page.mouse.click(strip.x + strip.width * 0.8, strip.y + strip.height / 2);
    await page.waitForFunction((old) => /** @type {any} */ (globalThis).edgewitness.view.start > old, start);
    await page.waitForTimeout(400);
    await page.goBack();
    await page.waitForFunction((old) => Math.abs(/** @type {any} */ (globalThis).edgewitness.view.start - old) < 2, start);
  });
});

test("volts are drawn over the logic line derived from them, with their thresholds", async () => {
  const own = await startServer();
  try {
    const { page, troubles } = await openPage(browser, own.url);
    await page.locator("#files").setInputFiles(sample("supply.csv"));
    await page.locator("#headline").waitFor();
    await ready(page);
    const facts = await page.evaluate(() => /** @type {any} */ (globalThis).edgewitness.view.facts.lines.map((line) => [line.name, line.volts]));
    const analog = facts.filter(([, volts]) => volts);
    assert.ok(analog.length > 0, JSON.stringify(facts));
    for (const [name, volts] of analog) assert.ok(volts.low_v < volts.high_v && volts.smallest_v < volts.largest_v, name);
    const window = await page.evaluate((name) => {
      const { view } = /** @type {any} */ (globalThis).edgewitness;
      view.fit();
      const line = view.columns.best(view.facts.lines.findIndex((l) => l.name === name), 0, view.facts.length)?.lines.get(view.facts.lines.findIndex((l) => l.name === name));
      return { points: line.points?.length ?? 0, volts: line.volts?.length ?? 0, row: view.rows().find((row) => row.name === name).volts };
    }, analog[0][0]);
    assert.ok(window.points + window.volts > 100 && window.row.foot > window.row.top, JSON.stringify(window));
    assert.deepEqual(troubles, []);
    await page.context().close();
  } finally {
    await own.stop();
  }
});
