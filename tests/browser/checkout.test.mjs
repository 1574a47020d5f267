// The checkout list of the bench log: every step can be reached and pressed, done or not.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { openPage, startBrowser, startServer } from "./bench.mjs";

/** @type {import("playwright-core").Browser} */ let browser;
before(async () => { browser = await startBrowser(); });
after(async () => { await browser?.close(); });

test("the second of three steps is marked as passed where it stands", async () => {
  const server = await startServer();
  try {
    const { page, troubles } = await openPage(browser, server.url);
    const made = await page.request.post(`${server.url}/api/sessions`, { data: { title: "Tower, checkout" } });
    await page.goto(`${server.url}/sessions/${(await made.json()).id}/log`);
    const form = page.locator('form[data-send$="/checklist"]');
    await form.locator("textarea").fill("Meter +5 V with the boards out -> 4.75 to 5.25 V\nSeat the sequencer -> BEAT runs\nSeat the striker driver");
    await Promise.all([page.waitForEvent("load"), form.getByRole("button").click()]);
    const steps = page.locator(".steps > li");
    const boxes = await steps.evaluateAll((all) => all.map((step) => step.getBoundingClientRect().toJSON()));
    assert.equal(boxes.length, 3);
    for (const [i, box] of boxes.entries()) assert.ok(i === 0 || box.top >= boxes[i - 1].bottom, `step ${i + 1} lies under the one before: ${JSON.stringify(boxes)}`);
    // A press that something else would catch times out here.
    await Promise.all([page.waitForEvent("load"), steps.nth(1).getByRole("button", { name: "passed" }).click({ timeout: 5000 })]);
    assert.deepEqual(await steps.locator(".outcome").allInnerTexts(), ["not done yet", "passed", "not done yet"]);
    assert.deepEqual(troubles, []);
  } finally {
    await server.stop();
  }
});
