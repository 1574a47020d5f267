// node shot.tmp.mjs URL-or-file OUT [WxH] [dark] 
import { startBrowser } from "./bench.mjs";
import { spawn } from "node:child_process";
const [file, out, size = "1280x720", mode = "light", query = ""] = process.argv.slice(2);
const [width, height] = size.split("x").map(Number);
const browser = await startBrowser();
const page = await (await browser.newContext({ viewport: { width, height }, colorScheme: mode })).newPage();
page.on("console", m => { if (m.type()=="error") console.log("console", m.text()); });
page.on("pageerror", e => console.log("pageerror", e.message));
await page.goto(file);
await page.waitForTimeout(1500);
if (query) await page.evaluate(query);
await page.waitForTimeout(700);
await page.screenshot({ path: out });
await browser.close();
