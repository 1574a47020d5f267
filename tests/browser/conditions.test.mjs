// Which condition a page shows stays with the page: two tabs look at two of them, and Back comes to the one before.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { follow, openPage, startBrowser, startServer } from "./bench.mjs";

/** @type {import("playwright-core").Browser} */ let browser;
before(async () => { browser = await startBrowser(); });
after(async () => { await browser?.close(); });

/** What a page shows: the condition, the finding in hand, and how many lines and ticks the diagram has. */
async function shown(page) {
  await page.locator("#headline").waitFor();
  await page.waitForFunction(() => globalThis.edgewitness?.view.isReady);
  return page.evaluate(() => {
    const { view } = globalThis.edgewitness;
    const { lines, length } = view.facts;
    return { condition: document.querySelector(".conditions b").textContent, finding: view.finding?.title, lines: lines.length, length };
  });
}

test("two tabs look at two conditions, and Back comes to the finding that was in hand", async () => {
  const server = await startServer(["--demo"]);
  try {
    const { page, troubles } = await openPage(browser, server.url);
    const first = await shown(page);
    const other = await openPage(browser, page.url());
    const title = other.page.locator("[data-show]").nth(1);
    await title.click();
    await other.page.waitForFunction(() => globalThis.edgewitness.view.finding?.id === "F2");
    const before = await shown(other.page);
    assert.equal(before.condition, first.condition);

    await follow(page, page.locator(".conditions a").first());
    await page.waitForFunction((was) => document.querySelector(".conditions b")?.textContent !== was, first.condition);
    const second = await shown(page);
    assert.notDeepEqual([second.lines, second.length], [first.lines, first.length]);
    // The address can be handed on.
    assert.match(page.url(), /[?&]condition=\d+/);

    // The other tab goes on with what it shows: other windows, other moments, another finding.
    await other.page.locator(".tools button", { hasText: "whole" }).click();
    await other.page.locator(".tools button", { hasText: "overlay" }).click();
    await other.page.locator("[data-show]").nth(0).click();
    await other.page.waitForFunction(() => globalThis.edgewitness.view.finding?.id === "F1" && !globalThis.edgewitness.view.columns.isBusy);
    const after = await shown(other.page);
    assert.deepEqual([after.condition, after.lines, after.length], [before.condition, before.lines, before.length]);
    await other.page.reload();
    assert.equal((await shown(other.page)).condition, before.condition);

    // Back: the first condition again, with the finding that was in hand under it.
    await page.goBack();
    await page.waitForFunction((was) => document.querySelector(".conditions b")?.textContent === was, first.condition);
    assert.deepEqual(await shown(page), first);
    assert.deepEqual([...troubles, ...other.troubles], []);
  } finally {
    await server.stop();
  }
});
