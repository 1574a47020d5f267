// Every page as axe-core sees it, light and dark, and the diagram's slips: no finding that is serious or critical.
// What it does not see: whether the words make sense read aloud, and what is drawn on the canvas.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import path from "node:path";
import { after, before, test } from "node:test";
import { ROOT, openPage, startBrowser, startServer } from "./bench.mjs";

const AXE = readFileSync(path.join(ROOT, "tests/browser/node_modules/axe-core/axe.min.js"), "utf8");
/** Where the walk over all pages begins, and the most it goes through. */
const DOORS = ["/?sessions", "/sessions/1", "/bin"];
const MOST_PAGES = 40;

/** @type {import("playwright-core").Browser} */ let browser;
/** @type {any} */ let server;
before(async () => {
  browser = await startBrowser();
  server = await startServer(["--demo"]);
  const page = await (await browser.newContext()).newPage();
  await page.goto(`${server.url}/sessions/1`);
  await page.locator("#headline").waitFor();
  await page.context().close();
});
after(async () => {
  await browser?.close();
  await server?.stop();
});

/** Findings that are serious or critical, as text. */
async function seriousOn(page) {
  // The page's own policy lets no script in but its own; the one that looks is put in from outside.
  await page.evaluate(AXE);
  const { violations } = await page.evaluate(() => /** @type {any} */ (window).axe.run(document, { resultTypes: ["violations"] }));
  const grave = violations.filter((v) => v.impact === "serious" || v.impact === "critical");
  return grave.map((v) => `${v.id} (${v.impact}): ${v.help}: ${v.nodes.slice(0, 4).map((n) => n.target.join(" ")).join(" | ")}`);
}

/** Every page that links lead to, from the doors on. */
async function allPages() {
  const { page } = await openPage(browser, server.url);
  const seen = new Set(), waiting = [...DOORS];
  while (waiting.length) {
    const place = /** @type {string} */ (waiting.pop());
    if (seen.has(place)) continue;
    seen.add(place);
    assert.ok(seen.size <= MOST_PAGES, [...seen].join(" "));
    await page.goto(server.url + place);
    const links = await page.locator("a[href]").evaluateAll((all) => all.map((a) => /** @type {HTMLAnchorElement} */ (a)).filter((a) => a.origin === location.origin && !a.download).map((a) => a.pathname));
    waiting.push(...links.filter((path) => path !== "/" && !/^\/(api|static)\/|\.(svg|vcd|csv|parquet)$/.test(path)));
  }
  await page.context().close();
  return [...seen];
}

for (const colorScheme of ["light", "dark"]) {
  test(`no page has a serious finding, ${colorScheme}`, async () => {
    const pages = await allPages();
    for (const known of ["/sessions/1/rules", "/sessions/1/harness", "/sessions/1/log"]) assert.ok(pages.includes(known), pages.join(" "));
    for (const place of pages) {
      const { page } = await openPage(browser, server.url, { colorScheme });
      const response = await page.goto(server.url + place);
      assert.equal(response.status(), 200, place);
      if (place === "/sessions/1") await page.waitForFunction(() => /** @type {any} */ (globalThis).edgewitness?.view.columns.near);
      assert.deepEqual(await seriousOn(page), [], place);
      await page.context().close();
    }
  });
}

test("no slip of the diagram has a serious finding", async () => {
  const { page } = await openPage(browser, `${server.url}/sessions/1`);
  await page.waitForFunction(() => /** @type {any} */ (globalThis).edgewitness?.view.columns.near);
  for (const [key, title] of [["f", "Find"], ["l", "Lines"], ["c", "Stretch"], ["v", "Evidence drawn"], ["s", "This figure"], ["g", "Go to a time"]]) {
    await page.locator("[data-diagram] canvas").first().focus();
    await page.keyboard.press(key);
    await page.locator(".slip h2", { hasText: title }).waitFor();
    assert.deepEqual(await seriousOn(page), [], title);
    await page.keyboard.press("Escape");
  }
  await page.keyboard.press("?");
  await page.locator("dialog h2").waitFor();
  assert.deepEqual(await seriousOn(page), [], "keys");
});

test("who asked for less motion gets none", async () => {
  const { page } = await openPage(browser, `${server.url}/sessions/1`, { reducedMotion: "reduce" });
  await page.waitForFunction(() => /** @type {any} */ (globalThis).edgewitness?.view.columns.near);
  const moving = await page.evaluate(() => document.getAnimations().length);
  assert.equal(moving, 0);
});
