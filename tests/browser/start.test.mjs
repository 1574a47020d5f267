// The start page takes what is dropped there: captures, the archive of a session under any name, and what can't be read.
import assert from "node:assert/strict";
import { after, before, test } from "node:test";
import { openPage, sample, startBrowser, startServer } from "./bench.mjs";

/** @type {import("playwright-core").Browser} */ let browser;
/** @type {any} */ let server;
before(async () => {
  browser = await startBrowser();
  server = await startServer();
});
after(async () => {
  await browser?.close();
  await server?.stop();
});

const sessions = async (tail = "sessions") => (await fetch(`${server.url}/api/${tail}`)).json();
const file = (name, buffer) => ({ name, mimeType: "application/octet-stream", buffer });

test("a capture begins a session as found, its archive opens as another, and what breaks off leaves none", async () => {
  const { page, troubles } = await openPage(browser, server.url);

  // The connection breaks in the middle of the first file: no session is left.
  await page.route("**/api/captures?*", (route) => route.abort());
  // What takes the files is fetched after the page stands.
  await page.waitForLoadState("networkidle");
  await page.locator("#files").setInputFiles(sample("as-found.vcd"));
  await page.getByText(/connection broke/).waitFor();
  assert.deepEqual(await sessions(), []);
  await page.unroute("**/api/captures?*");

  await page.goto(server.url);
  await page.locator("#files").setInputFiles(sample("as-found.vcd"));
  await page.locator("#headline").waitFor();
  const [{ id }] = await sessions();
  const log = await (await fetch(`${server.url}/api/sessions/${id}`)).json();
  assert.deepEqual(log.conditions.map((c) => c.title), ["as found"]);
  assert.equal(log.captures[0].condition, log.conditions[0].id);
  const findings = (await (await fetch(`${server.url}/api/sessions/${id}/report`)).json()).findings;

  // Its archive, under a name that says nothing, is restored as a session of its own.
  const archive = Buffer.from(await (await fetch(`${server.url}/api/sessions/${id}/archive`)).arrayBuffer());
  await page.goto(server.url);
  await page.locator("#files").setInputFiles([file("evening.gz", archive)]);
  await page.waitForURL(/\/sessions\/\d+\/log$/);
  const other = /\/sessions\/(\d+)\//.exec(page.url())?.[1];
  assert.notEqual(other, String(id));
  await page.goto(`${server.url}/sessions/${other}`);
  await page.locator("#headline").waitFor();
  assert.deepEqual((await (await fetch(`${server.url}/api/sessions/${other}/report`)).json()).findings, findings);
  // To the capture's address it is told for what it is, and kept nowhere.
  const refused = await fetch(`${server.url}/api/sessions/${id}/captures?name=evening.gz`, { method: "POST", headers: { "content-type": "application/octet-stream" }, body: archive });
  assert.equal(refused.status, 400);
  assert.match((await refused.json()).error, /archive of a whole session/);

  // What can't be read is kept and told; one press puts it away.
  await page.goto(server.url);
  await page.locator("#files").setInputFiles([file("shopping.csv", Buffer.from("bread, milk\nand a bell rope\n"))]);
  await page.getByRole("button", { name: "remove" }).waitFor();
  assert.match(await page.locator("[role=alert]").first().innerText(), /shopping\.csv/);
  await Promise.all([page.waitForURL(/\?sessions$/), page.getByRole("button", { name: "remove" }).click()]);
  assert.equal((await sessions()).length, 2);
  assert.equal((await sessions("bin")).length, 1);

  // The bin is reached from the start page, and opens archives too.
  await page.getByRole("link", { name: "The bin" }).click();
  await page.locator("input[type=file]").setInputFiles([file("evening.edgewitness.tar.gz", archive)]);
  await Promise.all([page.waitForURL(/\/sessions\/\d+\/log$/), page.getByRole("button", { name: "open the archive" }).click()]);
  assert.equal((await sessions()).length, 3);
  // The demo is offered until it is there.
  await page.goto(server.url);
  await Promise.all([page.waitForURL(/\/sessions\/\d+$/), page.getByRole("button", { name: "open the demo" }).click()]);
  await page.locator("#headline").waitFor();
  await page.goto(`${server.url}/?sessions`);
  assert.equal(await page.getByRole("button", { name: "open the demo" }).count(), 0);
  assert.deepEqual(troubles.filter((t) => !/ERR_FAILED|request elsewhere: blob/.test(t)), []);
});

test("moments stand in the reader's own zone, in the log and in the report", async () => {
  const { page, troubles } = await openPage(browser, `${server.url}/?sessions`, { timezoneId: "Asia/Kolkata" });
  const { id } = await (await fetch(`${server.url}/api/sessions`, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ title: "Zones" }) })).json();
  // POSIX: 10⁹ s is 2001-09-09 01:46:40 UTC; India is five and a half hours ahead all year.
  const remark = { text: "The bell is late.", at_ms: 1e12 };
  await fetch(`${server.url}/api/sessions/${id}/entries/remark`, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(remark) });
  await page.goto(`${server.url}/sessions/${id}/log`);
  const time = page.locator("time", { hasText: "2001-09-09 07:16" });
  await time.waitFor();
  assert.equal(await time.getAttribute("title"), "2001-09-09 01:46 UTC");
  await page.getByRole("link", { name: "report to print or send" }).click();
  await page.getByText("2001-09-09 07:16 +05:30").waitFor();
  assert.deepEqual(troubles, []);
  await page.context().close();
});
