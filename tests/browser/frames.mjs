// Frame times of the diagram while panning and zooming 16 lines with 100 million edges: not a test, as it times.
// `node frames.mjs` starts the benchmark's server (cargo bench --bench window -- serve) unless an address is named:
// `node frames.mjs http://127.0.0.1:7117/sessions/1`. Prints p50, p95, p99 and the worst, script and drawing together:
// each frame's callback, with the canvases read back so that nothing drawn is left for later. Processor time as well as
// time: on a machine that does other work besides, only the first says what a frame costs.
import { spawn } from "node:child_process";
import { ROOT, startBrowser } from "./bench.mjs";

const FRAMES = 1200;

async function benchServer() {
  const child = spawn("cargo", ["bench", "--quiet", "--bench", "window", "--", "serve"], { cwd: ROOT, stdio: ["ignore", "pipe", "inherit"], detached: true });
  const address = await new Promise((resolve, reject) => {
    child.stdout.on("data", (chunk) => { const found = /http:\S+/.exec(String(chunk)); if (found) resolve(found[0]); });
    child.on("exit", (code) => reject(new Error(`the benchmark ended with ${code}`)));
  });
  return { url: `${address}/sessions/1`, stop: () => process.kill(-(/** @type {number} */ (child.pid))) };
}

/** Runs in the page before its scripts: times every animation frame, drawing included. */
function timeFrames() {
  const own = window.requestAnimationFrame.bind(window);
  /** @type {any} */ (window).frameTimes = [];
  window.requestAnimationFrame = (callback) => own((time) => {
    const begun = performance.now();
    callback(time);
    for (const canvas of document.querySelectorAll("canvas")) canvas.getContext("2d")?.getImageData(0, 0, 1, 1);
    /** @type {any} */ (window).frameTimes.push(performance.now() - begun);
  });
}

/** Pans and zooms by wheel until enough frames were drawn. */
async function move(page, box) {
  let n = 0;
  while (await page.evaluate(() => /** @type {any} */ (window).frameTimes.length) < FRAMES) {
    await page.mouse.move(box.x + box.width * (0.3 + 0.6 * Math.abs(Math.sin(n / 9))), box.y + 200);
    const phase = Math.floor(n / 30) % 4;
    if (phase === 0 || phase === 2) await page.mouse.wheel(phase === 0 ? 60 : -60, 0);
    else await page.mouse.wheel(0, phase === 1 ? -90 : 90);
    n++;
  }
}

/** @param {string} what @param {number[]} times ms */
function tell(what, times) {
  times.sort((a, b) => a - b);
  const at = (/** @type {number} */ share) => times[Math.round((times.length - 1) * share)].toFixed(2);
  console.log(`${what} of ${times.length} frames: p50 ${at(0.5)} ms, p95 ${at(0.95)} ms (target 16.7), p99 ${at(0.99)} ms, worst ${at(1)} ms (target 50)`);
}

const server = process.argv[2] ? { url: process.argv[2], stop: () => {} } : await benchServer();
const browser = await startBrowser();
try {
  const page = await (await browser.newContext({ viewport: { width: 1920, height: 1080 } })).newPage();
  await page.addInitScript(timeFrames);
  await page.goto(server.url);
  const canvas = page.locator("[data-diagram] canvas").first();
  await canvas.waitFor();
  await page.waitForFunction(() => /** @type {any} */ (globalThis).edgewitness?.view.columns.near);
  const first = await page.evaluate(() => performance.now());
  /** @type {number[]} */ const again = [];
  for (let visit = 0; visit < 5; visit++) {
    await page.goto("about:blank");
    await page.goto(server.url);
    await page.waitForFunction(() => /** @type {any} */ (globalThis).edgewitness?.view.columns.near);
    again.push(await page.evaluate(() => performance.now()));
  }
  again.sort((a, b) => a - b);
  console.log(`first diagram with its window, after the page was asked for: ${first.toFixed(0)} ms in a browser that was just started, ${again[2].toFixed(0)} ms in one that was here before, median of ${again.length} (target 300)`);
  await page.evaluate(() => { /** @type {any} */ (window).frameTimes.length = 0; });
  await browser.startTracing(page, { categories: ["devtools.timeline"] });
  await move(page, await canvas.boundingBox());
  const trace = JSON.parse((await browser.stopTracing()).toString());
  const frames = trace.traceEvents.filter((event) => event.name === "FireAnimationFrame" && event.tdur !== undefined);
  tell("time", await page.evaluate(() => /** @type {any} */ (window).frameTimes));
  tell("processor time", frames.map((event) => event.tdur / 1000));
} finally {
  await browser.close();
  server.stop();
}
