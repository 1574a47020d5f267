// @ts-check
// Joins the diagram with the sheet, the tools, the keys and the address.
import { all, fill, find, make } from "../lib/dom.js";
import { asShown, getJson } from "../lib/fetch.js";
import { isInCapture, readAddress, shownIn, writeAddress } from "./address.js";
import { listen } from "./input.js";
import { keepView, keptView } from "./keep.js";
import { keyTable, listenKeys } from "./keys.js";
import { Diagram } from "./view.js";

/** A view that rested this long is a page of its own for Back. */
const PAGE_MS = 1500;

/** @param {HTMLElement} root @param {string} session */
export async function startDiagram(root, session) {
  const path = `/api/sessions/${session}`;
  const [facts, kept] = await Promise.all([getJson(asShown(`${path}/diagram`)), keptView(path)]);
  root.hidden = false;
  const analog = facts.lines.some((/** @type {any} */ line) => line.volts) ? await import("./drawing/analog.js") : null;
  const view = new Diagram(root, path, facts, analog);
  listen(view);
  await keepView(view, kept);

  const order = facts.findings.map((/** @type {any} */ f) => f.id);
  const step = (/** @type {number} */ by) => {
    const at = view.finding ? order.indexOf(view.finding.id) : by > 0 ? -1 : order.length;
    const id = order[Math.max(0, Math.min(order.length - 1, at + by))];
    if (id) take(id, null);
  };
  let hasTaken = false;
  /** @param {string} id @param {number|null} occurrence null: the one that it tells of */
  async function take(id, occurrence) {
    hasTaken = true;
    try {
      await view.take(id, occurrence);
    } catch (error) {
      view.say(/** @type {Error} */ (error).message);
    }
    mark();
    remember(true);
  }
  function mark() {
    for (const item of all("[data-finding]")) {
      const isHere = item.dataset.finding === view.finding?.id;
      item.classList.toggle("in-hand", isHere);
      find("h2 a", item)?.setAttribute("aria-current", isHere ? "true" : "false");
      // The sheet opens at its headline; it scrolls only once the person has taken a finding.
      // Where the diagram stands among the findings, that is what is to be seen.
      const seen = matchMedia("(min-width: 60rem)").matches ? item : root;
      if (isHere && hasTaken) seen.scrollIntoView({ block: "nearest", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
    }
    tools();
  }

  let finder = /** @type {import("./slips/finder.js").Finder|null} */ (null);
  const actions = {
    nextFinding: () => step(1), previousFinding: () => step(-1),
    keys: () => import("./slips/key-list.js").then(({ showKeys }) => showKeys(table)),
    // What is not needed to look is fetched when it is asked for.
    finder: async () => (finder ??= new (await import("./slips/finder.js")).Finder(view)),
    find: async () => (await actions.finder()).open(),
    goTo: async () => (await import("./slips/small.js")).goToSlip(view), evidence: async () => (await import("./slips/small.js")).evidenceSlip(view),
    lines: async () => (await import("./slips/lines.js")).linesSlip(view), rename: async () => (await import("./slips/lines.js")).linesSlip(view, view.chosenRow()?.key),
    clock: async () => (await import("./slips/clock.js")).takeClock(view),
    judge: async () => (await import("./slips/judge.js")).judgeSlip(view),
    figure: async () => (await import("./slips/figure.js")).figureSlip(view),
  };
  const table = keyTable(view, /** @type {any} */ (actions));
  listenKeys(view, table);
  for (const link of all("[data-show]")) {
    link.addEventListener("click", (/** @type {MouseEvent} */ event) => {
      if (event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      take(link.dataset.show, null);
    });
  }

  // The buttons are made once and only told what holds: one that was replaced under the pointer would lose its click.
  const button = (/** @type {string} */ text, /** @type {() => void} */ does, /** @type {string} */ key = "") => make("button", { type: "button", onclick: does, "aria-keyshortcuts": key || null }, text);
  const previous = button("previous", () => view.goTo(view.occurrence - 1)), next = button("next", () => view.goTo(view.occurrence + 1));
  const overlay = button("overlay", () => view.persist().then(tools), "o");
  fill(view.tools, previous, next, overlay,
    button("closer", () => view.zoom(0.5)), button("farther", () => view.zoom(2)), button("whole", () => view.fit()),
    button("go to", actions.goTo, "g"), button("measure", () => view.measure(), "m"), button("count", () => view.withStretch((stretch) => stretch.open()), "c"),
    button("find", actions.find, "f"), button("judge", actions.judge, "j"), button("lines", actions.lines, "l"), ...(facts.clocks.length ? [button("clock", actions.clock, "k")] : []),
    button("evidence", actions.evidence, "v"), button("figure", actions.figure, "s"),
    button("keys", actions.keys, "?"));

  function tools() {
    const count = view.occurrences.length ? view.occurrenceCount : 0;
    for (const it of [previous, next, overlay]) it.disabled = count < 2;
    const words = count ? `next of ${count}` : "next";
    if (next.textContent !== words) next.textContent = words;
    overlay.setAttribute("aria-pressed", view.overlay ? "true" : "false");
  }

  let pending = 0;
  /** @param {boolean} isStep whether Back should come here */
  function remember(isStep) {
    const place = {
      finding: view.finding?.id ?? null, occurrence: view.occurrence === view.opensOn ? null : view.occurrence,
      at: facts.start_s + view.start * facts.tick_s, span: view.span * facts.tick_s,
    };
    const address = location.pathname + writeAddress(place, shownIn(document.body));
    if (address === location.pathname + location.search) return;
    history[isStep ? "pushState" : "replaceState"](null, "", address);
  }
  let moved = 0;
  view.onmove = () => {
    clearTimeout(pending);
    // The first move after a rest leaves the view it came from as a page to go back to.
    const isPage = performance.now() - moved > PAGE_MS;
    moved = performance.now();
    if (isPage && moved > PAGE_MS) remember(true);
    pending = setTimeout(() => { remember(false); tools(); }, 250);
  };
  // A pulse was judged just before (see judge.js, which knows the same name).
  let wasJudged = false;
  try { wasJudged = sessionStorage.getItem(`judged ${path}`) !== null; } catch { /* Nothing was kept. */ }
  async function restore() {
    const place = { ...readAddress(location.search) };
    // The view of another capture shows nothing here.
    if (!isInCapture(place, facts)) place.at = place.span = null;
    const judged = wasJudged ? (await import("./slips/judge.js")).keptFinding(view) : null;
    if (judged) Object.assign(place, judged);
    wasJudged = false;
    // A link to a finding shows it on the sheet as well; the first stands there anyway.
    hasTaken = hasTaken || (place.finding !== null && place.finding !== facts.opens_on);
    if (place.finding) await view.take(place.finding, place.occurrence);
    else if (place.at === null && facts.opens_on) await view.take(facts.opens_on);
    if (place.at !== null && place.span !== null) view.show((place.at - facts.start_s) / facts.tick_s, place.span / facts.tick_s);
    else if (!view.finding) view.fit();
    // The picture is of what was judged, and so is what is said.
    if (judged) view.say(judged.says);
    view.isReady = true;
    view.paint();
    mark();
    // Back comes to this condition again, whichever is in hand then.
    remember(false);
  }
  // A clock that was in hand before (see clock.js, which knows the same name).
  let hasClock = false;
  try { hasClock = sessionStorage.getItem(`clock ${path}`) !== null; } catch { /* Nothing was kept. */ }
  if (hasClock) import("./slips/clock.js").then(({ takeAgain }) => takeAgain(view));
  addEventListener("popstate", () => restore().catch((error) => view.say(error.message)));
  await restore();
  import("./drawing/labels.js").then(({ labels }) => labels(view));
  // Still figures are for paper: fetched once the diagram stands.
  const stills = () => { for (const image of all(".still img")) image.loading = "eager"; };
  if ("requestIdleCallback" in window) requestIdleCallback(stills); else addEventListener("beforeprint", stills);
  /** @type {any} */ (globalThis).edgewitness = { view };
  return view;
}
