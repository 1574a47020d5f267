// A whole evening in a browser: a new session, the harness sheet, captures by drop and by watched folder, a finding
// confirmed, the condition changed, the capture after it, the verdict, the report as PDF, the archive, the bin, and
// the session restored on another data folder with the same findings.
import assert from "node:assert/strict";
import { copyFileSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { after, before, test } from "node:test";
import { openPage, sample, startBrowser, startServer } from "./bench.mjs";

/** @type {import("playwright-core").Browser} */ let browser;
before(async () => { browser = await startBrowser(); });
after(async () => { await browser?.close(); });

const json = async (page, address) => {
  const answer = await page.request.get(address);
  assert.ok(answer.ok(), `${address}: ${answer.status()}`);
  return answer.json();
};

/** Fills a form's fields and sends it; the page is then shown anew. */
async function send(page, form, fields, button) {
  for (const [name, value] of Object.entries(fields)) {
    const field = form.locator(`[name="${name}"]`);
    if ((await field.evaluate((e) => e.tagName)) === "SELECT") await field.selectOption(value);
    else await field.fill(value);
  }
  await Promise.all([page.waitForEvent("load"), form.getByRole("button", { name: button }).first().click()]);
}

test("an evening at the bench, from an empty page to the restored archive", async () => {
  const watched = mkdtempSync(path.join(tmpdir(), "edgewitness-watched-"));
  const server = await startServer(["--watch", watched]);
  let other = null;
  try {
    const { page, troubles } = await openPage(browser, server.url);
    await send(page, page.locator("form.blank"), { title: "Tower, fourth evening" }, "begin");
    const session = /\/sessions\/(\d+)\//.exec(page.url())?.[1];
    const at = (tail) => `${server.url}/sessions/${session}${tail}`;
    const api = (tail) => `${server.url}/api/sessions/${session}${tail}`;

    // The harness sheet from CSV; a mistake is named by row and column first.
    await page.goto(at("/harness"));
    const sheet = readFileSync(sample("harness.csv"), "utf8");
    const form = page.locator("form", { has: page.locator("textarea[name=csv]") });
    await form.locator("textarea").fill(sheet.replace("J2", ""));
    await form.getByRole("button", { name: "save the sheet" }).click();
    await page.getByText(/row \d+, column connector/).waitFor();
    await send(page, form, { csv: sheet }, "save the sheet");
    assert.match(await page.locator("main").innerText(), /sequencer J2-11/);

    // The condition, and a capture by the picker that a drop uses too.
    await page.goto(at("/log"));
    await send(page, page.locator('form[data-send$="/entries/condition"]'), { title: "as found" }, /^add/);
    await page.goto(at(""));
    await page.locator("#files").setInputFiles(sample("as-found.vcd"));
    await page.locator("#headline").waitFor();
    assert.match(await page.locator("#headline").innerText(), /STEP falling disturbs CLEAR_N/);
    assert.match(await page.locator(".findings").innerText(), /CLEAR_N is at sequencer J2-12/);

    // The second instrument's export appears by itself and joins the run.
    copyFileSync(sample("tower.csv"), path.join(watched, "tower.csv"));
    await page.getByText(/2 captures/).first().waitFor();
    await page.goto(at("/clocks"));
    assert.match(await page.locator("main").innerText(), /Brought to the clock by NOTE/);

    // The link is declared on its page; its losses are listed.
    await page.goto(at("/links"));
    await send(page, page.locator('form[data-send$="/links"]'), { from: "STRIKE_OUT", to: "STRIKE_IN", max_delay: "200 ns" }, "declare");
    assert.match(await page.locator("main").innerText(), /\d+ of \d+ pulses from STRIKE_OUT never reach STRIKE_IN/);

    // Taken back, then the taking back undone.
    await Promise.all([page.waitForEvent("load"), page.getByRole("button", { name: "take the declaration back" }).click()]);
    assert.match(await page.locator("main").innerText(), /No link is declared yet/);
    await Promise.all([page.waitForEvent("load"), page.getByRole("button", { name: /^undo/ }).click()]);
    assert.match(await page.locator("main").innerText(), /STRIKE_OUT to STRIKE_IN/);

    // The finding is suspected where it is read, then confirmed in the log, in the person's words.
    await page.goto(at(""));
    await page.locator("#headline").waitFor();
    const own = page.locator("[data-finding]", { hasText: "follow STEP" }).first();
    await own.locator("details.state summary").click();
    await send(page, own.locator("form.finding-state"), { state: "suspected" }, "save");
    assert.match(await page.locator("[data-finding]", { hasText: "follow STEP" }).first().locator("details.state summary").innerText(), /suspected/);
    await page.goto(at("/log"));
    const finding = page.locator("form.finding-state", { hasText: "follow STEP" });
    assert.equal(await finding.locator("select").inputValue(), "suspected");
    await send(page, finding, { state: "confirmed", cause: "STEP, through the ribbon" }, "save");
    const found = await json(page, api("/report"));

    // Something is changed; the capture after it comes by the watched folder, under the new condition.
    await send(page, page.locator('form[data-send$="/entries/condition"]'), { title: "clear line on its own pair" }, /^add/);
    await page.goto(at(""));
    copyFileSync(sample("clear-moved.vcd"), path.join(watched, "clear-moved.vcd"));
    await page.waitForFunction(() => /clear line on its own pair/.test(document.querySelector(".conditions b")?.textContent ?? ""));

    await page.goto(at("/before-and-after"));
    await page.locator("#headline").waitFor();
    assert.match(await page.locator("#headline").innerText(), /Gone: CLEAR_N struck by STEP\./);
    assert.match(await page.locator("main").innerText(), /before \d\d+ of \d+ = .* after 0 of \d+ = 0 %/);
    assert.equal(await page.locator("svg.history circle.clean").count(), 1);

    // The log holds the findings of every condition, and says under which each stood.
    await page.goto(at("/log"));
    const gone = page.locator("form.finding-state", { hasText: "follow STEP" });
    assert.match(await gone.innerText(), /not found any more · found under "as found", not under "clear line on its own pair"/);
    assert.equal(await gone.locator("select").inputValue(), "confirmed");

    // The report: the newest condition first, what was found earlier with what came of it, the verdict, what is open.
    await page.goto(at("/report.html"));
    const printed = await page.locator("body").innerText();
    for (const part of [/Findings under "clear line on its own pair"/, /Found earlier, and not under "clear line on its own pair"\s+\d+\. CLEAR_N: \d+ of \d+ stray pulses follow STEP falling fault · confirmed/, /Caused by: STEP, through the ribbon/, /Gone: CLEAR_N struck by STEP/, /Still open[^]*follow STEP falling \(confirmed; found under "as found"/]) assert.match(printed, part);
    // It says the same whichever condition is looked at.
    const source = async () => (await page.request.get(at("/report.html"))).text();
    const conditions = (await json(page, api(""))).conditions;
    const written = (await source()).replace(/last changed [^·]*·/, "");
    await page.request.put(api("/condition-in-hand"), { data: { condition: conditions[0].id } });
    assert.equal((await source()).replace(/last changed [^·]*·/, ""), written);
    await page.request.put(api("/condition-in-hand"), { data: { condition: conditions[1].id } });
    // On paper: every figure and table row fits between the margins of either size, so that none is cut.
    await page.emulateMedia({ media: "print" });
    for (const [format, width, height] of /** @type {[string, number, number][]} */ ([["A4", 210 - 30, 297 - 32], ["Letter", 215.9 - 30, 279.4 - 32]])) {
      const px = (/** @type {number} */ mm) => Math.floor((mm * 96) / 25.4);
      await page.setViewportSize({ width: px(width), height: px(height) });
      const cut = await page.evaluate(([width, height]) => [...document.querySelectorAll("figure, svg, img, table, tr, h3, .try")].filter((e) => {
        const box = e.getBoundingClientRect();
        return box.right > width + 1 || (!e.matches("table, svg.history") && box.height > height);
      }).map((e) => e.outerHTML.slice(0, 80)), [px(width), px(height)]);
      assert.deepEqual(cut, [], format);
      const pdf = await page.pdf({ format, preferCSSPageSize: false });
      assert.equal(pdf.subarray(0, 5).toString(), "%PDF-");
      const pages = pdf.toString("latin1").match(/\/Type\s*\/Page\b/g)?.length ?? 0;
      assert.ok(pages >= 3 && pages <= 12, `${pages} pages of ${format}`);
    }
    await page.emulateMedia({ media: null });
    await page.setViewportSize({ width: 1280, height: 720 });

    // Archived, put in the bin, restored on another data folder: the same findings, states and counts.
    const after = await json(page, api("/report"));
    const runs = await json(page, api("/runs"));
    const log = await json(page, api(""));
    const archive = await (await page.request.get(api("/archive"))).body();
    await page.goto(at("/log"));
    await Promise.all([page.waitForURL(/\/bin$/), page.getByRole("button", { name: "put the whole session in the bin" }).click()]);
    assert.match(await page.locator("main").innerText(), /Tower, fourth evening/);

    other = await startServer();
    const restored = await page.request.post(`${other.url}/api/archives`, { data: archive, headers: { "content-type": "application/octet-stream" } });
    assert.ok(restored.ok(), await restored.text());
    const id = (await restored.json()).id;
    const there = (tail) => `${other.url}/api/sessions/${id}${tail}`;
    await json(page, there("/places"));
    assert.deepEqual((await json(page, there("/report"))).findings, after.findings);
    assert.deepEqual((await json(page, there("/runs"))).tallies, runs.tallies);
    const kept = (await json(page, there(""))).finding_states.map(({ finding, state, cause }) => ({ finding, state, cause }));
    assert.deepEqual(kept, log.finding_states.map(({ finding, state, cause }) => ({ finding, state, cause })));
    assert.equal(kept[0].state, "confirmed");
    // The captures of the earlier condition are there as well: taken in hand, they say what they said.
    const asFound = (await json(page, there(""))).conditions[0].id;
    await page.request.put(there("/condition-in-hand"), { data: { condition: asFound } });
    await json(page, there("/places"));
    assert.deepEqual((await json(page, there("/report"))).findings, found.findings);
    assert.deepEqual(troubles.filter((t) => !t.includes("400 (Bad Request)")), []);
  } finally {
    await server.stop();
    await other?.stop();
    rmSync(watched, { recursive: true, force: true });
  }
});
