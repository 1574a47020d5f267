// Names too long for the column of labels are cut in the middle there: under the pointer, and for the line that is chosen by
// keys, the whole name stands over the waves and is said below.
import assert from "node:assert/strict";
import { test } from "node:test";
import { begun, openPage, ready } from "./bench.mjs";

const { browser, server } = await begun();

const LONG = "TOWER_LEFT_STRIKER_DRIVER_BANK_3_ENABLE_BEFORE_LATCH_N";
const unfolded = (page, names) => page.waitForFunction((names) => /** @type {HTMLElement} */ (document.querySelector("[data-diagram] canvas"))?.dataset.whole === names.join("\n"), names);

test("a name that is cut in its column can be read whole, by pointer and by keys", async () => {
  const rows = [`Time (us),STEP,${LONG}`];
  for (let row = 0; row < 60; row++) rows.push(`${row},${row % 2},${(row >> 2) % 2}`);
  const made = await (await fetch(`${server.url}/api/sessions`, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ title: "Tower" }) })).json();
  await fetch(`${server.url}/api/sessions/${made.id}/captures?name=tower.csv`, { method: "POST", headers: { "content-type": "application/octet-stream" }, body: rows.join("\n") });
  const { page, troubles } = await openPage(browser, `${server.url}/sessions/${made.id}`);
  await page.locator("#headline").waitFor();
  await ready(page);
  const canvas = page.locator("[data-diagram] canvas").first();
  const box = await canvas.boundingBox();
  const places = await page.evaluate(() => /** @type {any} */ (globalThis).edgewitness.view.rows().map((row) => [row.name, (row.high + row.low) / 2]));
  const place = (name) => places.find(([own]) => own === name)[1];
  await unfolded(page, []);

  // By the pointer.
  await page.mouse.move(box.x + 40, box.y + place(LONG));
  await unfolded(page, [LONG]);
  assert.match(await page.locator(".pointer").textContent(), new RegExp(`^${LONG}: `));
  if (process.env.SHOTS) await page.screenshot({ path: `${process.env.SHOTS}/label.png` });
  await page.mouse.move(box.x + 40, box.y + place("STEP"));
  await unfolded(page, []);
  await page.mouse.move(box.x + box.width / 2, box.y + place(LONG));
  await unfolded(page, []);

  // By keys: the line is chosen, shown whole, and said.
  await canvas.focus();
  const at = places.findIndex(([own]) => own === LONG);
  await page.evaluate((at) => { /** @type {any} */ (globalThis).edgewitness.view.chosen = at ? at - 1 : 1; }, at);
  await page.keyboard.press(at ? "ArrowDown" : "ArrowUp");
  await unfolded(page, [LONG]);
  assert.match(await page.locator("#caption").textContent(), new RegExp(`^${LONG}: `));
  // Without the focus nothing lies over the waves.
  await page.evaluate(() => /** @type {HTMLElement} */ (document.activeElement).blur());
  await unfolded(page, []);
  assert.deepEqual(troubles, []);
  await page.context().close();
});
