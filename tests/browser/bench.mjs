// Starts the server on a free port and a browser on its pages, for the tests in this folder.
// EDGEWITNESS_BIN names another binary than the debug build; CHROMIUM another browser than Debian's.
import { spawn } from "node:child_process";
import { existsSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { after } from "node:test";
import { fileURLToPath } from "node:url";
import { chromium } from "playwright-core";

export const ROOT = path.resolve(path.dirname(fileURLToPath(import.meta.url)), "../..");
const BINARY = process.env.EDGEWITNESS_BIN ?? path.join(ROOT, "target/debug/edgewitness");
const BROWSER = process.env.CHROMIUM ?? "/usr/bin/chromium";
/** How late every script comes, in ms: what a test presses too early shows with a few hundred of them. */
const SCRIPTS_LATE_MS = Number(process.env.EDGEWITNESS_SCRIPTS_LATE_MS ?? 0);
/** How long a start may take before the test gives up; no test asserts a time. */
const PATIENCE_MS = 60_000;

/** A file of `sample-captures/`. */
export function sample(name) {
  return path.join(ROOT, "sample-captures", name);
}

/**
 * Starts `edgewitness serve` with `words` more, in a data folder of its own unless the words name one.
 * Gives `{ url, data, output(), stop() }`; `stop` ends the server and removes the folder that was made for it.
 */
export async function startServer(words = []) {
  if (!existsSync(BINARY)) throw new Error(`${BINARY} is missing: run cargo build first`);
  const made = words.includes("--data") ? null : mkdtempSync(path.join(tmpdir(), "edgewitness-"));
  const data = made ?? words[words.indexOf("--data") + 1];
  const all = ["serve", "--listen", "127.0.0.1:0", ...(made ? ["--data", made] : []), ...words];
  const child = spawn(BINARY, all, { stdio: ["ignore", "pipe", "pipe"], env: { ...process.env, NO_COLOR: "1" } });
  let output = "";
  const url = await new Promise((resolve, reject) => {
    const timer = setTimeout(() => reject(new Error(`no address after ${PATIENCE_MS} ms:\n${output}`)), PATIENCE_MS);
    const listen = (chunk) => {
      output += chunk;
      const found = /http:\/\/127\.0\.0\.1:\d+/.exec(output);
      if (found) {
        clearTimeout(timer);
        resolve(found[0]);
      }
    };
    child.stdout.on("data", listen);
    child.stderr.on("data", listen);
    child.on("exit", (code) => {
      clearTimeout(timer);
      reject(new Error(`the server ended with ${code}:\n${output}`));
    });
  });
  const stop = async () => {
    if (child.exitCode === null) {
      const ended = new Promise((resolve) => child.once("exit", resolve));
      child.kill("SIGTERM");
      await ended;
    }
    if (made) rmSync(made, { recursive: true, force: true });
  };
  return { url, data, output: () => output, stop, child };
}

/** A headless browser. The sandbox is off, as containers lack what it needs; only our own pages are opened. */
export async function startBrowser() {
  return chromium.launch({ executablePath: BROWSER, args: ["--no-sandbox", "--disable-gpu"] });
}

/** A browser and a server started with `words`, for all tests of a file; both end after the last of them. */
export async function begun(words = []) {
  const browser = await startBrowser();
  const server = await startServer(words).catch(async (error) => {
    await browser.close();
    throw error;
  });
  after(async () => {
    await browser.close();
    await server.stop();
  });
  return { browser, server };
}

/** Waits until the diagram has what it draws. */
export const ready = (page) => page.waitForFunction(() => /** @type {any} */ (globalThis).edgewitness?.view.columns.near);

/**
 * A page of 1280 × 720 that collects what goes wrong: errors of scripts, of the console, requests elsewhere.
 * Every script comes `late` ms late. Gives `{ page, troubles }`.
 */
export async function openPage(browser, url, { late = SCRIPTS_LATE_MS, ...options } = {}) {
  const context = await browser.newContext({ viewport: { width: 1280, height: 720 }, ...options });
  const page = await context.newPage();
  const troubles = [];
  const home = new URL(url).origin;
  page.on("pageerror", (error) => troubles.push(`script: ${error.message}`));
  page.on("console", (message) => message.type() === "error" && troubles.push(`console: ${message.text()}`));
  page.on("request", (request) => {
    const target = request.url();
    if (!target.startsWith(home) && !/^(data|blob):/.test(target)) troubles.push(`request elsewhere: ${target}`);
  });
  if (late > 0) await page.route("**/*.js", async (route) => {
    await new Promise((done) => setTimeout(done, late));
    await route.continue();
  });
  await page.goto(url);
  return { page, troubles };
}

/** Follows a link to another page, until that page's scripts have run: what is pressed before them is lost on it. */
export async function follow(page, link) {
  await Promise.all([page.waitForEvent("load"), link.click()]);
}

/** The path of the demo's session, to which the bare address of `serve --demo` leads. */
export async function demoPath(browser, server) {
  const { page } = await openPage(browser, server.url);
  await page.locator("#headline").waitFor();
  const { pathname } = new URL(page.url());
  await page.context().close();
  return pathname;
}
