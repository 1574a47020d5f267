// What stands out of sight is told, or brought to sight: lines below the figure, the figure of a narrow page, the setup.
import assert from "node:assert/strict";
import { test } from "node:test";
import { begun, follow, openPage } from "./bench.mjs";

const { browser, server } = await begun(["--demo"]);
const ready = (page) => page.waitForFunction(() => globalThis.edgewitness?.view.isReady);

test("lines that have no room in the figure are counted, and brought up", async () => {
  const { page, troubles } = await openPage(browser, server.url);
  await ready(page);
  const more = page.locator(".figure .more");
  await more.waitFor();
  const below = Number(/^(\d+) more below$/.exec(await more.innerText())?.[1]);
  const rows = () => page.evaluate(() => { const { view } = globalThis.edgewitness; return { last: view.rows().at(-1).low, height: view.height, low: view.rows().filter((row) => row.foot > view.height).length }; });
  assert.equal((await rows()).low, below);
  assert.ok(below > 0);
  await more.click();
  await page.waitForFunction(() => document.querySelector(".figure .more").hidden);
  const { last, height } = await rows();
  assert.ok(last <= height, `${last} of ${height}`);
  await page.setViewportSize({ width: 1280, height: 1800 });
  await page.waitForFunction(() => document.querySelector(".figure .more").hidden);
  assert.deepEqual(troubles, []);
});

test("at 1280 by 720 the answer, the two edges and what to try stand in sight, before any statistics", async () => {
  const { page, troubles } = await openPage(browser, server.url, { viewport: { width: 1280, height: 720 } });
  await ready(page);
  const foot = async (selector) => { const { y, height } = await page.locator(selector).first().boundingBox(); return y + height; };
  const [first, advice, detail] = [await foot(".headline .first"), await foot(".finding .try-next p:nth-of-type(2)"), await foot(".finding .detail")];
  assert.ok(first < advice && advice < detail && advice < 600, JSON.stringify({ first, advice, detail }));
  const words = (await page.locator(".headline .first").innerText()).split(/\s+/).length;
  assert.ok(words <= 14, `${words} words`);
  // Nothing of the other fault is drawn into this one's moment; farther away all is.
  const ghosts = () => page.evaluate(() => {
    const { view } = globalThis.edgewitness;
    const said = [], fillText = view.context.fillText;
    view.context.fillText = function (text, ...place) { said.push(text); return fillText.call(this, text, ...place); };
    view.draw(view.pen, view.height, true);
    delete view.context.fillText;
    return said.filter((text) => text === "never arrived").length;
  });
  await page.waitForFunction(() => globalThis.edgewitness.view.evidence.occurrences.length > 0);
  assert.equal(await ghosts(), 0);
  await page.locator(".tools button", { hasText: "farther" }).click();
  await page.waitForTimeout(300);
  assert.ok(await ghosts() > 0);
  assert.deepEqual(troubles, []);
});

test("on a narrow page the figure stands right below the sentence, and a finding that is pressed shows it again", async () => {
  const { page, troubles } = await openPage(browser, server.url, { viewport: { width: 800, height: 700 }, reducedMotion: "reduce" });
  await ready(page);
  const box = (selector) => page.locator(selector).first().boundingBox();
  const [sentence, figure, canvas, first] = [await box("#headline"), await box(".figure"), await box(".figure canvas"), await box(".finding")];
  assert.ok(figure.y >= sentence.y + sentence.height && figure.y < sentence.y + sentence.height + 40, JSON.stringify({ sentence, figure }));
  assert.ok(first.y >= figure.y + figure.height, JSON.stringify({ figure, first }));
  // In sight without scrolling, and as wide as the page.
  assert.ok(canvas.y + canvas.height < 700 && figure.x === 0 && figure.width === 800, JSON.stringify({ canvas, figure }));
  assert.equal(await page.evaluate(() => document.documentElement.scrollWidth), 800);
  await page.locator("[data-show]").last().scrollIntoViewIfNeeded();
  const inSight = () => page.waitForFunction(() => { const { top } = document.querySelector(".figure canvas").getBoundingClientRect(); return top >= 0 && top < innerHeight / 2; });
  assert.ok((await box(".figure canvas")).y < 0);
  await page.locator("[data-show]").last().click();
  await inSight();
  // Wide, both stand side by side.
  await page.setViewportSize({ width: 1280, height: 720 });
  const [sheet, beside] = [await box(".sheet"), await box(".figure")];
  assert.ok(beside.x >= sheet.x + sheet.width && beside.y === sheet.y, JSON.stringify({ sheet, beside }));
  assert.deepEqual(troubles, []);
});

test("after a pulse was judged the picture and what is said are of that pulse", async () => {
  const { page, troubles } = await openPage(browser, server.url);
  await ready(page);
  await page.locator(".tools button", { hasText: "judge" }).click();
  const asked = await page.locator(".slip .row").innerText();
  const pulse = /^(.* on) is/.exec(asked)?.[1];
  assert.ok(pulse, asked);
  await Promise.all([page.waitForEvent("load"), page.getByRole("button", { name: "legitimate" }).click()]);
  await ready(page);
  await page.waitForFunction((says) => document.querySelector(".caption .words")?.textContent === says, `${pulse} is legitimate now: you said so.`);
  const mark = await page.evaluate(() => { const { view } = globalThis.edgewitness; return view.isInSight(view.facts.marks[0].start); });
  assert.ok(mark);
  assert.deepEqual(troubles, []);
});

test("a finding that asks for the setup leads to its form, open", async () => {
  const { page, troubles } = await openPage(browser, `${server.url}/?sessions`);
  // One line that ticks evenly: only the person knows what is too short for it.
  const rows = Array.from({ length: 200 }, (_, row) => `${row},${Math.floor(row / 2) % 2}`);
  const made = await page.request.post(`${server.url}/api/captures?name=tick.csv`, { data: `Time (us),TICK\n${rows.join("\n")}\n`, headers: { "content-type": "application/octet-stream" } });
  await page.goto(`${server.url}/sessions/${(await made.json()).session.id}`);
  await page.locator("#headline").waitFor();
  await follow(page, page.getByRole("link", { name: "The setup of this session" }).first());
  await page.locator("textarea[name=setup]").waitFor();
  assert.ok(await page.locator("textarea[name=setup]").isVisible());
  assert.deepEqual(troubles, []);
});
