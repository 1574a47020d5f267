// @ts-check
// Judging a pulse: legitimate, or a stray, whatever its width says. The findings are then worked out anew.
import { make } from "../../lib/dom.js";
import { asShown, sendJson } from "../../lib/fetch.js";
import { shownIn, writeAddress } from "../address.js";
import { judgedWord, pulseAt } from "../drawing/marks.js";
import { levelWord } from "../drawing/reading.js";

/** The pulse meant: the one chosen by the pointer, else the one gone to, else the chosen line's in the middle. @param {import("../view.js").Diagram} view */
function meant(view) {
  if (view.pulse) return view.pulse;
  const { marked } = view;
  const level = (/** @type {any} */ { line, start, end }) => pulseAt(view, view.rows().find((row) => row.line === line), (start + end) / 2)?.level ?? null;
  if (marked && marked.line !== null && marked.end > marked.start) return { line: marked.line, start: marked.start, end: marked.end, level: level(marked) };
  const held = view.occurrences[view.occurrence]?.marks.find((/** @type {any} */ mark) => mark.kind === "stray" || mark.kind === "doubt");
  if (held && view.isInSight(held.start)) return { line: held.line, start: held.start, end: held.end, level: level(held) };
  return pulseAt(view, view.chosenRow(), view.start + view.span / 2);
}

/** Keeps the finding in hand over the page that is made anew. @param {import("../view.js").Diagram} view @param {string} says what was judged */
function keepFinding(view, says) {
  const found = view.facts.findings.find((/** @type {any} */ f) => f.id === view.finding?.id);
  if (!found) return;
  const lines = found.lines.map((/** @type {number} */ line) => view.facts.lines[line].name);
  // What was judged may be missing from the occurrences then: the next one has its place.
  const kept = { topic: found.topic, lines, occurrence: Math.max(0, view.occurrence - 1), says };
  try { sessionStorage.setItem(`judged ${view.path}`, JSON.stringify(kept)); } catch { /* The finding is lost, not the judgement. */ }
}

/** The finding that was in hand when a pulse was judged, if it still stands; told once. @param {import("../view.js").Diagram} view */
export function keptFinding(view) {
  try {
    const kept = JSON.parse(sessionStorage.getItem(`judged ${view.path}`) ?? "null");
    sessionStorage.removeItem(`judged ${view.path}`);
    const names = (/** @type {any} */ f) => JSON.stringify(f.lines.map((/** @type {number} */ line) => view.facts.lines[line].name));
    const found = kept && view.facts.findings.find((/** @type {any} */ f) => f.topic === kept.topic && names(f) === JSON.stringify(kept.lines));
    return found ? { finding: found.id, occurrence: kept.occurrence, says: kept.says } : null;
  } catch { return null; }
}

/** @param {import("../view.js").Diagram} view */
export function judgeSlip(view) {
  const { facts } = view;
  const told = make("p", { role: "alert" });
  const anew = async (/** @type {string} */ says, /** @type {() => Promise<any>} */ does) => {
    try {
      await does();
      told.textContent = "Working out the findings anew …";
      // Another judgement may give other findings, by other numbers: the view is kept, and which lines the finding is about.
      keepFinding(view, says);
      location.assign(location.pathname + writeAddress({ finding: null, occurrence: 0, at: facts.start_s + view.start * facts.tick_s, span: view.span * facts.tick_s }, shownIn(document.body)));
    } catch (error) { told.textContent = /** @type {Error} */ (error).message; }
  };
  const takeBack = (/** @type {any} */ mark) => anew("The judgement is taken back.", () => sendJson(`${view.path}/entries/pulse-mark/${mark.id}`, {}, "DELETE"));
  const pulse = meant(view);
  const held = pulse && facts.marks.find((/** @type {any} */ mark) => mark.line === pulse.line && mark.start === pulse.start);
  const judge = (/** @type {boolean} */ stray) => make("button", { type: "button", disabled: held?.stray === stray, onclick: () => anew(`${words} is ${stray ? "a stray" : "legitimate"} now: you said so.`, () => sendJson(asShown(`${view.path}/marks`), {
    line: facts.lines[pulse.line].name, start_s: facts.start_s + pulse.start * facts.tick_s, stray,
  })) }, stray ? "a stray" : "legitimate");
  const words = pulse && `${facts.lines[pulse.line].name}${pulse.level === null ? "" : ` ${levelWord(pulse.level)}`} for ${view.length(pulse.end - pulse.start)} from ${view.moment(pulse.start, true)} on`;
  if (pulse) { view.pulse = pulse; view.paint(); }
  const question = pulse
    ? make("p", { class: "row" }, `${words} is `, judge(false), judge(true), held && make("button", { type: "button", onclick: () => takeBack(held) }, "take the mark back"))
    : make("p", {}, "Press on a pulse first; where the lines are drawn too close to tell, zoom in. } goes to the next stray.");
  const row = (/** @type {any} */ mark) => make("li", {},
    make("button", { type: "button", class: "plain-button", disabled: mark.start === null, onclick: () => view.mark({ start: mark.start, end: mark.start, line: mark.line }) },
      `${facts.lines[mark.line].name} ${mark.start === null ? "(no pulse starts then any more)" : view.moment(mark.start, true)}`),
    ` ${judgedWord(mark.stray)} `, make("button", { type: "button", onclick: () => takeBack(mark) }, "take back"));
  view.slip.open("Judge a pulse", question, told, make("div", { class: "slip-body" },
    facts.marks.length ? make("ol", { class: "finds" }, ...facts.marks.map(row)) : make("p", { class: "quiet" }, "No pulse is judged yet. A judgement overrules what the widths say; it stays with the session and can be undone in the bench log.")));
  view.slip.onclose = () => { view.slip.onclose = () => {}; view.pulse = null; view.paint(); };
}
