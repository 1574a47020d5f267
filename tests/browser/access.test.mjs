// Every page as axe-core sees it, light and dark, and the diagram's slips: no finding that is serious or critical.
// What it does not see: whether the words make sense read aloud, and what is drawn on the canvas.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import path from "node:path";
import { test } from "node:test";
import { ROOT, begun, demoPath, openPage, ready } from "./bench.mjs";

const AXE = readFileSync(path.join(ROOT, "tests/browser/node_modules/axe-core/axe.min.js"), "utf8");
/** Where the walk over all pages begins, and the most it goes through. */
const DOORS = ["/?sessions", "/bin"];
const MOST_PAGES = 60;

const { browser, server } = await begun(["--demo"]);
/** The demo's session. */
const place = await demoPath(browser, server);

/** Findings that are serious or critical, as text. */
async function seriousOn(page) {
  // The page's own policy lets no script in but its own; the one that looks is put in from outside.
  await page.evaluate(AXE);
  const { violations } = await page.evaluate(() => /** @type {any} */ (window).axe.run(document, { resultTypes: ["violations"] }));
  const grave = violations.filter((v) => v.impact === "serious" || v.impact === "critical");
  return grave.map((v) => `${v.id} (${v.impact}): ${v.help}: ${v.nodes.slice(0, 4).map((n) => n.target.join(" ")).join(" | ")}`);
}

/** Every page that links lead to, from the doors on; of sessions, the demo's. */
async function allPages() {
  const seen = new Set(), waiting = [...DOORS, place];
  while (waiting.length) {
    const next = /** @type {string} */ (waiting.pop());
    if (seen.has(next)) continue;
    seen.add(next);
    assert.ok(seen.size <= MOST_PAGES, [...seen].join(" "));
    const response = await fetch(server.url + next);
    assert.equal(response.status, 200, next);
    const paths = [...(await response.text()).matchAll(/<a [^>]*href="(\/[^"?#]*)/g)].map((match) => match[1]);
    const isPage = (path) => path !== "/" && !/^\/(api|static)\/|\.(svg|vcd|csv|parquet)$/.test(path);
    waiting.push(...paths.filter((path) => isPage(path) && (!path.startsWith("/sessions/") || `${path}/`.startsWith(`${place}/`))));
  }
  return [...seen];
}

for (const colorScheme of ["light", "dark"]) {
  test(`no page has a serious finding, ${colorScheme}`, async () => {
    const pages = await allPages();
    for (const known of ["/rules", "/harness", "/log"]) assert.ok(pages.includes(place + known), pages.join(" "));
    for (const path of pages) {
      const { page } = await openPage(browser, server.url, { colorScheme });
      const response = await page.goto(server.url + path);
      assert.equal(response.status(), 200, path);
      if (path === place) await ready(page);
      assert.deepEqual(await seriousOn(page), [], path);
      await page.context().close();
    }
  });
}

test("no slip of the diagram has a serious finding", async () => {
  const { page } = await openPage(browser, server.url);
  await ready(page);
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
  const { page } = await openPage(browser, server.url, { reducedMotion: "reduce" });
  await ready(page);
  const moving = await page.evaluate(() => document.getAnimations().length);
  assert.equal(moving, 0);
});
