// @ts-check
// What each line did in a stretch: edges, pulses, rate, duty, the shortest and the longest.
import { make, fill } from "../../lib/dom.js";
import { asShown, getJson } from "../../lib/fetch.js";
import { engineering, seconds } from "../../lib/format.js";

/** What was asked for last is shown. */
let asked = 0;

/** @param {import("../view.js").Diagram} view @param {import("../stretch.js").Stretch} stretch that is chosen */
export async function countSlip(view, stretch) {
  const { from, to } = /** @type {{from: number, to: number}} */ (stretch.chosen);
  const start = Math.floor(from), end = Math.max(Math.ceil(to), start + 1);
  const rows = view.rows().filter((row) => row.line !== null);
  const body = make("div", { class: "slip-body" }, make("p", { role: "status" }, "Counting …"));
  const mine = ++asked;
  view.slip.open("Stretch", make("p", {}, `From ${view.moment(start, true)}, for ${view.length(end - start)}. Drag with Shift for another; without one, what is in view is counted.`), body);
  view.slip.onclose = () => { view.slip.onclose = () => {}; stretch.clear(); };
  try {
    const lines = rows.map((row) => row.line).join(",");
    const answer = await getJson(asShown(`${view.path}/stretch?start=${start}&end=${end}&lines=${lines}`));
    if (mine === asked) fill(body, table(view, rows, answer));
  } catch (error) { fill(body, make("p", { role: "status" }, /** @type {Error} */ (error).message)); }
}

/** What is not all is never rounded to all. @param {number|null} duty */
function share(duty) {
  if (duty === null) return "–";
  if (duty < 1 && duty > 0.9995) return "> 99.9 %";
  return `${(100 * duty).toPrecision(3)} %`;
}

/** @param {import("../view.js").Diagram} view @param {any[]} rows @param {any[]} answer */
function table(view, rows, answer) {
  const at = (/** @type {any} */ width, /** @type {string} */ what) => (width
    ? make("button", { type: "button", class: "plain-button", title: "go there", onclick: () => view.mark({ start: width.start, end: width.start + width.width_s / view.facts.tick_s, line: what }) }, seconds(width.width_s, 4))
    : "–");
  const heads = ["line", "edges", "strays", "rate", "duty", "high pulses", "shortest", "longest", "low pulses", "shortest", "longest"];
  const cells = (/** @type {any} */ s, /** @type {any} */ row) => [
    s.edges, s.strays, s.rate_hz === null ? "–" : engineering(s.rate_hz, "Hz", 4), share(s.duty),
    s.high.count, at(s.high.shortest, row.line), at(s.high.longest, row.line), s.low.count, at(s.low.shortest, row.line), at(s.low.longest, row.line),
  ];
  return make("table", { class: "stretch" }, make("thead", {}, make("tr", {}, ...heads.map((head) => make("th", { scope: "col" }, head)))),
    make("tbody", {}, ...answer.map((s, i) => make("tr", {}, make("th", { scope: "row" }, rows[i].name), ...cells(s, rows[i]).map((cell) => make("td", {}, cell))))));
}
