// The clock of one capture moved in the diagram, by keys and by dragging: only what is saved changes the session, and
// that is undone.
import assert from "node:assert/strict";
import { test } from "node:test";
import { begun, demoPath, openPage, ready } from "./bench.mjs";

const { browser, server } = await begun(["--demo"]);

/** Where the capture in hand stands, in samples; null with none in hand. */
const samples = (page) => page.evaluate(() => /** @type {any} */ (globalThis).edgewitness.view.moving?.samples ?? null);
const inHand = (page, told) => page.waitForFunction((told) => document.querySelector(".slip [role=status]")?.textContent?.includes(told), told);

test("a capture's clock is moved by keys and by dragging, put back, saved, and undone", async () => {
  const place = await demoPath(browser, server);
  const { page, troubles } = await openPage(browser, server.url + place);
  await page.locator("#headline").waitFor();
  await ready(page);
  const api = `${server.url}/api${place}`;
  const offset = async () => (await (await fetch(`${api}/report`)).json()).captures[1].offset_s;
  const kept = await offset();
  const canvas = page.locator("[data-diagram] canvas").first();
  await canvas.focus();

  // By keys; Escape puts it back, and nothing was changed.
  await page.keyboard.press("k");
  await inHand(page, "tower.csv stands where it was saved");
  const { capture, sample_s: sample, lines } = await page.evaluate(() => /** @type {any} */ (globalThis).edgewitness.view.facts.clocks[0]);
  for (const key of ["ArrowRight", "ArrowRight", "Shift+ArrowLeft"]) await page.keyboard.press(key);
  assert.equal(await samples(page), -8);
  await inHand(page, "8 samples earlier");
  await page.keyboard.press("Escape");
  assert.equal(await samples(page), null);
  assert.equal(await offset(), kept);

  // By dragging one of its lines: by whole samples, and only its own lines.
  await page.keyboard.press("k");
  await page.waitForFunction(([span]) => { const { view } = /** @type {any} */ (globalThis).edgewitness; return view.moving && Math.abs(view.span * view.facts.tick_s - span) < span * 0.01 && view.columns.near?.start <= view.start; }, [60 * sample]);
  const grip = await page.evaluate(([line]) => {
    const { view } = /** @type {any} */ (globalThis).edgewitness;
    const row = view.rows().find((r) => r.line === line), other = view.rows().find((r) => r.line !== null && !view.moving.lines.has(r.line));
    return { x: view.scale.left + 100, y: (row.high + row.low) / 2, other: (other.high + other.low) / 2, pixels: (view.scale.width / view.span) / view.facts.tick_s };
  }, [await page.evaluate(() => /** @type {any} */ (globalThis).edgewitness.view.moving.pair[0])]);
  const box = await canvas.boundingBox();
  await page.mouse.move(box.x + grip.x, box.y + grip.y);
  await page.mouse.down();
  await page.mouse.move(box.x + grip.x + 5.3 * sample * grip.pixels, box.y + grip.y, { steps: 4 });
  await page.mouse.up();
  assert.equal(await samples(page), 5);
  const start = await page.evaluate(() => /** @type {any} */ (globalThis).edgewitness.view.start);
  await page.mouse.move(box.x + grip.x, box.y + grip.other);
  await page.mouse.down();
  await page.mouse.move(box.x + grip.x + 60, box.y + grip.other, { steps: 4 });
  await page.mouse.up();
  assert.equal(await samples(page), 5);
  assert.notEqual(await page.evaluate(() => /** @type {any} */ (globalThis).edgewitness.view.start), start);
  assert.ok(lines.length > 1);

  // The button says what it does; one step more and less by buttons.
  const slip = page.locator(".slip");
  await slip.getByRole("button", { name: "back to where it was" }).click();
  assert.equal(await samples(page), 0);
  for (let step = 0; step < 5; step++) await slip.getByRole("button", { name: "1 sample later" }).click();
  if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/clock.png` });

  // Saved: the session is read anew with it, and the capture is in hand again.
  await slip.getByRole("button", { name: "1 sample earlier" }).click();
  await Promise.all([page.waitForEvent("load"), slip.getByRole("button", { name: "save this shift" }).click()]);
  await page.locator("#headline").waitFor();
  await inHand(page, "tower.csv stands where it was saved");
  const moved = await page.evaluate(() => /** @type {any} */ (globalThis).edgewitness.view.facts.clocks[0]);
  assert.equal(moved.capture, capture);
  assert.ok(Math.abs(moved.shift_s - 4 * sample) < 1e-15, `${moved.shift_s}`);
  assert.ok(Math.abs((await offset()) - kept - 4 * sample) < 1e-12);

  // Undone.
  await Promise.all([page.waitForEvent("load"), page.getByRole("button", { name: /^undo: clock/ }).click()]);
  await page.locator("#headline").waitFor();
  await inHand(page, "tower.csv stands where it was saved");
  assert.equal(await offset(), kept);
  assert.deepEqual(troubles, []);
  await page.context().close();
});

test("what is typed under one capture and not saved stands under that one again, and under no other", async () => {
  const place = await demoPath(browser, server);
  const { page, troubles } = await openPage(browser, `${server.url + place}/clocks`);
  await page.waitForLoadState("networkidle");
  const typed = (/** @type {string} */ name) => page.evaluate((name) => [...document.querySelectorAll("section.clock form")].map((form) => /** @type {any} */ (form).elements[name].value), name);
  const saved = { on: await typed("on"), shift: await typed("shift_s") };
  assert.equal(saved.on.length, 2);
  const write = async (/** @type {number} */ nth, /** @type {string} */ name, /** @type {string} */ text) => {
    const form = page.locator("section.clock").nth(nth);
    await form.locator("details").evaluate((details) => { /** @type {any} */ (details).open = true; });
    await form.locator(`[name=${name}]`).fill(text);
  };
  const anew = async () => {
    await page.reload();
    await page.waitForLoadState("networkidle");
    await page.waitForFunction(() => /** @type {any} */ (document.querySelector("section.clock [name=on]")).value === "NOTE=CH7");
  };
  await write(0, "on", "NOTE=CH7");
  await anew();
  assert.deepEqual(await typed("on"), ["NOTE=CH7", saved.on[1]]);
  await write(1, "shift_s", "2e-6");
  await anew();
  assert.deepEqual(await typed("on"), ["NOTE=CH7", saved.on[1]]);
  assert.deepEqual(await typed("shift_s"), [saved.shift[0], "2e-6"]);
  assert.deepEqual(troubles, []);
  await page.context().close();
});
