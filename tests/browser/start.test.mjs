// The start page takes what is dropped there: captures, the archive of a session under any name, and what can't be read.
import assert from "node:assert/strict";
import { test } from "node:test";
import { begun, follow, openPage, ready, sample } from "./bench.mjs";

const { browser, server } = await begun();

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
  await page.waitForLoadState("load");
  assert.match(await page.locator("[role=alert]").first().innerText(), /shopping\.csv/);
  await Promise.all([page.waitForURL(/\?sessions$/), page.getByRole("button", { name: "remove" }).click()]);
  assert.equal((await sessions()).length, 2);
  assert.equal((await sessions("bin")).length, 1);

  // The bin is reached from the start page, and opens archives too.
  await follow(page, page.getByRole("link", { name: "The bin" }));
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

const SETUP = Buffer.from('# the tower\n[rail."+5 V"]\nnominal = "5 V"\ntolerance = "5 %"\n');
const SHEET = Buffer.from("board,connector,pin,signal\ntower,J1,1,STEP\n");
const table = (shift) => Buffer.from(`Time [ns],STEP\n0,0\n${100 + shift},1\n200,0\n300,1\n`);
/** Whether an element is in the window, and in what scrolls within it. */
const isSeen = (locator) => locator.evaluate((element) => {
  const { top, bottom } = element.getBoundingClientRect(), y = (top + bottom) / 2;
  return top >= 0 && bottom <= innerHeight && element.contains(document.elementFromPoint(element.getBoundingClientRect().left + 2, y));
});

test("a file that is no capture stops none beside it, and is taken or told at the top of the session", async () => {
  const { page, troubles } = await openPage(browser, `${server.url}/?sessions`);
  await page.waitForLoadState("networkidle");
  const before = (await sessions()).length;
  // The setup comes first: the session is called after a capture all the same.
  await page.locator("#files").setInputFiles([file("setup.toml", SETUP), file("monday.csv", table(0)), file("harness.csv", SHEET), file("second.toml", Buffer.from("[rail.")), file("tuesday.csv", table(10))]);
  await page.waitForURL(/\/sessions\/\d+/);
  const notes = page.locator("[data-notes]");
  await notes.waitFor();
  const id = /\/sessions\/(\d+)/.exec(page.url())?.[1];
  await page.locator("#headline").waitFor();
  assert.equal((await sessions()).length, before + 1);
  const log = await (await fetch(`${server.url}/api/sessions/${id}`)).json();
  assert.deepEqual(log.captures.map((c) => c.file), ["monday.csv", "tuesday.csv"]);
  assert.match(log.title, /^monday, /);
  assert.equal(log.setup, SETUP.toString());
  assert.match((await (await fetch(`${server.url}/api/sessions/${id}/harness`)).json()).csv, /tower,J1,1,STEP/);
  assert.equal(await notes.getAttribute("role"), "alert");
  const said = await notes.locator("p").allInnerTexts();
  assert.match(said[0], /^setup\.toml was taken as the setup of this session/);
  assert.match(said[1], /^harness\.csv was taken as the harness sheet of this session/);
  assert.match(said[2], /^second\.toml is a setup file, not a capture, and was not kept.* This session has a setup already/);
  assert.ok(await isSeen(notes));
  assert.equal(await page.getByRole("button", { name: /^remove/ }).count(), 0);

  // A page later it is said no more.
  await page.reload();
  await page.waitForFunction(() => globalThis.edgewitness?.view.isReady);
  assert.equal(await notes.count(), 0);

  // Inside the session it is said under the heading, with the way to where it belongs; the file box is far below.
  const box = page.locator("input[type=file][name=files]");
  await box.setInputFiles([file("again.toml", SETUP)]);
  await notes.waitFor();
  assert.match(await notes.innerText(), /again\.toml is a setup file/);
  assert.ok(await isSeen(notes));
  await notes.getByRole("button", { name: "to the file box" }).click();
  assert.ok(await box.evaluate((element) => element === document.activeElement));
  await follow(page, notes.getByRole("link", { name: "The setup of this session" }));
  await page.getByLabel("Setup (limits, families, links; TOML)").waitFor();
  assert.equal(await page.getByLabel("Setup (limits, families, links; TOML)").inputValue(), SETUP.toString());

  // What can't be read is said there too.
  await page.goto(`${server.url}/sessions/${id}`);
  await page.waitForLoadState("networkidle");
  // The address says what was dropped until the diagram puts its view there: it is waited for from before.
  const dropped = page.waitForURL(/dropped=/, { waitUntil: "commit" });
  await box.setInputFiles([file("notes.md", Buffer.from("# Notes\n\nThe hammer sticks.\n"))]);
  await dropped;
  const unread = page.locator("[role=alert]", { hasText: "notes.md" }).first();
  await unread.waitFor();
  assert.ok(await isSeen(unread));
  // Under a condition of its own nothing can be shown beside it: the page says that instead of a line by the file box.
  await page.waitForLoadState("networkidle");
  await page.locator("input[name=condition]").fill("hammer oiled");
  await box.setInputFiles([file("oil.md", Buffer.from("# Oil\n\nA drop of it.\n"))]);
  const trouble = page.locator("main > .plain > [role=alert]", { hasText: "oil.md" });
  await trouble.waitFor();
  assert.ok(await isSeen(trouble));
  assert.deepEqual(troubles.filter((t) => !/400 \(Bad Request\)/.test(t)), []);
  await page.context().close();
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
  await follow(page, page.getByRole("link", { name: "report to print or send" }));
  await page.getByText("2001-09-09 07:16 +05:30").waitFor();
  assert.deepEqual(troubles, []);
  await page.context().close();
});

test("a title of 180 letters without a blank stays on its pages", async () => {
  const title = "Tower".repeat(36);
  const made = await fetch(`${server.url}/api/sessions`, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify({ title }) });
  const { id } = await made.json();
  const { page, troubles } = await openPage(browser, server.url);
  for (const place of [`sessions/${id}`, `sessions/${id}/log`, `sessions/${id}/report.html`, "?sessions"]) {
    await page.goto(`${server.url}/${place}`);
    await page.getByText(title).first().waitFor();
    const [wide, room] = await page.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
    assert.ok(wide <= room, `${place}: ${wide} of ${room}`);
  }
  assert.deepEqual(troubles, []);
  await page.context().close();
});

test("on a page whose scripts come late, what is chosen, typed or dragged once it has loaded is taken", async () => {
  const { page, troubles } = await openPage(browser, server.url, { late: 300 });
  await page.locator("#files").setInputFiles(sample("as-found.vcd"));
  await page.locator("#headline").waitFor();
  const session = new URL(page.url()).pathname;
  await page.goto(`${server.url}${session}/log`);
  const form = page.locator('form[data-send$="/checklist"]');
  await form.locator("textarea").fill("Seat the sequencer -> BEAT runs");
  await Promise.all([page.waitForEvent("load"), form.getByRole("button").click()]);
  assert.equal(await page.locator(".steps > li").count(), 1);
  await page.goto(`${server.url}${session}`);
  await ready(page);
  const box = await page.locator("[data-diagram] canvas").first().boundingBox();
  await page.keyboard.down("Shift");
  await page.mouse.move(box.x + box.width / 2, box.y + 60);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width / 2 + 80, box.y + 60, { steps: 4 });
  await page.mouse.up();
  await page.keyboard.up("Shift");
  await page.locator(".stretch tbody tr").first().waitFor();
  assert.deepEqual(troubles, []);
  await page.context().close();
});
