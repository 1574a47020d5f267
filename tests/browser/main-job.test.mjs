// The main job in a browser: a capture goes in, the culprit comes out, and the diagram shows the evidence.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { openPage, sample, startBrowser, startServer } from "./bench.mjs";

/** @type {import("playwright-core").Browser} */ let browser;
before(async () => { browser = await startBrowser(); });
after(async () => { await browser?.close(); });

/** Runs `job` on a page of a server of its own, and checks that nothing went wrong on the page meanwhile. */
async function onPage(words, job) {
  const server = await startServer(words);
  try {
    const { page, troubles } = await openPage(browser, server.url);
    await job(page, server);
    assert.deepEqual(troubles, []);
    await page.context().close();
  } finally {
    await server.stop();
  }
}

/** The address once it differs from `before`. */
async function movedFrom(page, before) {
  await page.waitForFunction((old) => location.href !== old, before);
  return page.url();
}

test("the demo says what is wrong, and a finding leads to its evidence", async () => {
  await onPage(["--demo"], async (page) => {
    const headline = await page.locator("#headline").innerText();
    for (const line of ["CLEAR_N", "STEP", "STRIKE"]) assert.ok(headline.includes(line), `${line} in: ${headline}`);
    assert.ok(!headline.includes("BEAT"), headline);

    const finding = page.locator("[data-finding]", { hasText: "CLEAR_N" }).first();
    assert.match(await finding.innerText(), /STEP/);
    await finding.locator("[data-show]").click();
    await page.locator("[data-finding].in-hand", { hasText: "CLEAR_N" }).waitFor();
    const caption = page.locator("#caption");
    await page.waitForFunction(() => /1 of \d+/.test(document.querySelector("#caption")?.textContent ?? ""));
    assert.match(await caption.innerText(), /CLEAR_N/);

    // Next occurrence, by button and by key.
    const first = page.url();
    // Held down while the page takes note of the last move: a slow finger must not lose its click.
    await page.getByRole("button", { name: /^next of \d+$/ }).click({ delay: 500 });
    await page.waitForFunction(() => /\b2 of \d+/.test(document.querySelector("#caption")?.textContent ?? ""));
    const second = await movedFrom(page, first);
    await page.keyboard.press(",");
    await page.waitForFunction(() => /\b1 of \d+/.test(document.querySelector("#caption")?.textContent ?? ""));

    // Zoom by wheel and by key: the span in the address says so.
    const span = () => Number(new URL(page.url()).searchParams.get("span_s"));
    const canvas = page.locator("[data-diagram] canvas").first();
    const box = await canvas.boundingBox();
    await movedFrom(page, second);
    const wide = span();
    const here = page.url();
    await page.mouse.move(box.x + box.width * 0.6, box.y + box.height * 0.4);
    await page.mouse.wheel(0, -400);
    await movedFrom(page, here);
    assert.ok(span() < wide, `${span()} s after the wheel, ${wide} s before`);
    const close = page.url();
    const narrow = span();
    await canvas.focus();
    await page.keyboard.press("-");
    await movedFrom(page, close);
    assert.ok(span() > narrow);

    // Something is drawn: the canvas is not one flat colour.
    const colours = await canvas.evaluate((/** @type {HTMLCanvasElement} */ c) => {
      const { data } = c.getContext("2d").getImageData(0, 0, c.width, c.height);
      return new Set(new Uint32Array(data.buffer)).size;
    });
    assert.ok(colours > 5, `${colours} colours`);
  });
});

test("a file dropped on the start page is read and answered", async () => {
  await onPage([], async (page) => {
    await page.locator("#files").setInputFiles(sample("as-found-changes.csv"));
    await page.locator("#headline").waitFor();
    const headline = await page.locator("#headline").innerText();
    assert.match(headline, /CLEAR_N/);
    assert.match(headline, /STEP/);
    assert.match(page.url(), /\/sessions\/\d+/);
  });
});

test("a file that is no capture is refused with a sentence", async () => {
  await onPage([], async (page) => {
    const buffer = Buffer.from("<!doctype html><p>Log in first</p>\n");
    await page.locator("#files").setInputFiles({ name: "export.csv", mimeType: "text/csv", buffer });
    await page.getByText(/export\.csv: this is no capture but a page of the web/i).waitFor();
    assert.equal(await page.locator("#headline").count(), 0);
  });
});
