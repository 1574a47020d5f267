// Limits, logic and rails in a browser: truth table and sequence with contradictions first, violations that lead into
// the diagram, and a rule that is added by the form and then checked.
import assert from "node:assert/strict";
import { test } from "node:test";
import { begun, follow, openPage } from "./bench.mjs";

const { browser, server } = await begun(["--demo"]);

/** The page of the demo's session with this title, its captures read. */
async function session(title) {
  const { page, troubles } = await openPage(browser, `${server.url}/?sessions`);
  await follow(page, page.getByRole("link", { name: title }));
  await page.locator("#headline").waitFor();
  return { page, troubles };
}

test("the truth table shows what contradicts it first, and leads into the diagram", async () => {
  const { page, troubles } = await session("Key multiplexer");
  assert.match(await page.locator("#headline").innerText(), /KEY_OUT contradicts/);
  await follow(page, page.getByRole("link", { name: "Limits and logic" }));
  assert.match(await page.locator("main").innerText(), /as if SELECT_1 were always high/);
  const rows = await page.locator("table tbody tr").allInnerTexts();
  const wrong = rows.map((row) => row.includes("contradicts"));
  // 64 combinations; half of those with SELECT_1 low pick a key of another level than the one passed: 16.
  assert.equal(rows.length, 64);
  assert.equal(wrong.filter(Boolean).length, 16);
  assert.equal(wrong.lastIndexOf(true), 15);
  await page.locator("summary", { hasText: "when" }).click();
  await follow(page, page.locator("details[open] li a").first());
  await page.locator("[data-diagram] canvas").first().waitFor();
  assert.ok(new URL(page.url()).search.length > 1, page.url());
  assert.deepEqual(troubles, []);
  await page.context().close();
});

test("a rule goes in by the form and is checked", async () => {
  const { page, troubles } = await session("Key multiplexer");
  await follow(page, page.getByRole("link", { name: "Limits and logic" }));
  const form = page.locator("form[data-kinds-form]");
  await form.locator("[name=kind]").selectOption("exclusive");
  assert.equal(await form.locator("[name=is]").isVisible(), false);
  assert.equal(await form.locator("[name=lines]").isVisible(), true);
  // A sequence shows only what its step knows, and a field for several lines proposes those that hold what is typed.
  await form.locator("[name=kind]").selectOption("sequence");
  assert.equal(await form.locator("[name=serial]").isVisible(), false);
  await form.locator("[name=rule]").selectOption("count-up");
  assert.equal(await form.locator("[name=modulus]").isVisible(), true);
  assert.equal(await form.locator("[name=load_from]").isVisible(), false);
  await form.locator("[name=rule]").selectOption("shift-left");
  assert.equal(await form.locator("[name=serial]").isVisible(), true);
  await form.locator("[name=bus]").pressSequentially("ct_1");
  await form.getByRole("button", { name: "SELECT_1", exact: true }).click();
  await form.locator("[name=bus]").pressSequentially(" ct_0");
  await form.getByRole("button", { name: "SELECT_0", exact: true }).click();
  assert.equal(await form.locator("[name=bus]").inputValue(), "SELECT_1 SELECT_0");
  // What is too narrow for a line has its width.
  await form.locator("[name=kind]").selectOption("narrow");
  assert.equal(await form.locator("[name=narrow_below]").isVisible(), true);
  assert.equal(await form.locator("[name=line]").isVisible(), true);
  assert.equal(await form.locator("[name=name]").isVisible(), false);
  // Of a latch the enable and the level at which it is open.
  await form.locator("[name=kind]").selectOption("latch");
  assert.equal(await form.locator("[name=open_at]").isVisible(), true);
  assert.equal(await form.locator("[name=bus]").isVisible(), false);
  await form.locator("[name=kind]").selectOption("pulse-width");
  await form.locator("[name=line]").fill("SELECT_0");
  await form.locator("[name=at_least]").fill("20");
  await form.getByRole("button", { name: "add the rule" }).click();
  await page.waitForFunction(() => (document.querySelector("form[data-kinds-form] .told")?.textContent ?? "") !== "");
  assert.match(await form.locator(".told").innerText(), /^At least: Found "20", expected a time with its unit/);
  await form.locator("[name=at_least]").fill("20 ms");
  await form.getByRole("button", { name: "add the rule" }).click();
  await page.getByText("pulse-width of SELECT_0: broken").waitFor();
  // What was done is said, until something is pressed; then the rule is taken out, and that undone.
  await page.locator(".just-done", { hasText: "the rule is in the setup" }).waitFor();
  await page.locator("h1").click();
  assert.equal(await page.locator(".just-done").count(), 0);
  await form.locator("[name=kind]").selectOption("pulse-width");
  await form.locator("[name=line]").fill("SELECT_O");
  await form.locator("[name=at_least]").fill("20 ms");
  await form.getByRole("button", { name: "add the rule" }).click();
  await page.getByText("did you mean SELECT_0?").waitFor();
  await page.getByRole("button", { name: "pulse-width of SELECT_0: take it out" }).click();
  await page.locator(".just-done", { hasText: "taken out" }).waitFor();
  assert.equal(await page.getByText("pulse-width of SELECT_0: broken").count(), 0);
  await page.getByRole("button", { name: /^undo: rule "pulse-width of SELECT_0" taken out/ }).click();
  await page.getByText("pulse-width of SELECT_0: broken").waitFor();
  // The refused value is told on the console too; nothing else may be.
  assert.ok(troubles.every((t) => /400|422/.test(t)), troubles.join("\n"));
  await page.context().close();
});

test("a sagging rail is named with the line it follows", async () => {
  const { page, troubles } = await session("Supply in the tower");
  assert.match(await page.locator("#headline").innerText(), /VCC_TOWER sags to 4\.\d+ V after LIFT rises/);
  await follow(page, page.getByRole("link", { name: "Limits and logic" }));
  const row = await page.locator("tr", { hasText: "VCC_TOWER" }).innerText();
  assert.match(row, /outside/);
  assert.match(await page.locator("tr", { hasText: "VEE" }).innerText(), /−12/);
  assert.deepEqual(troubles, []);
  await page.context().close();
});
