// @ts-check
// Sheet and caption call lines as the diagram does: by the names that a person gave them.
import { all } from "../lib/dom.js";

/** A sentence with the names that a person gave, whole names only. Pure. @param {import("./arrangement.js").Item[]} items @param {string} text */
export function inOwnNames(items, text) {
  if (items.length === 0) return text;
  const own = new Map(items.map(({ given, name }) => [given, name]));
  const givens = [...own.keys()].sort((a, b) => b.length - a.length).map((given) => given.replace(/[.*+?^${}()|[\]\\]/g, "\\$&"));
  return text.replace(new RegExp(`(?<![\\p{L}\\p{N}_])(?:${givens.join("|")})(?![\\p{L}\\p{N}_])`, "gu"), (given) => own.get(given) ?? given);
}

/** How far the names go that a person gave here; empty where none is given. Pure. @param {import("./arrangement.js").Item[]} items */
export function toldOfNames(items) {
  const own = items.filter(({ given, name }) => name !== given);
  if (own.length === 0) return "";
  const all = own.map(({ given, name }) => `${given} as ${name}`).join(", ");
  return `Shown under another name, here only: ${all}. The printed report, tables, rules, before and after, and what programs get keep ${own.length === 1 ? own[0].given : "the names of the capture"}.`;
}

/** What the setup must say for the names to hold everywhere; empty where none is given. A line of one file among several has a name of that file only. Pure. @param {import("./arrangement.js").Item[]} items */
export function setupOfNames(items) {
  const own = items.filter(({ given, name }) => name !== given && !given.includes("/"));
  return own.length === 0 ? "" : ["[read.rename]", ...own.map(({ given, name }) => `${JSON.stringify(given)} = ${JSON.stringify(name)}`)].join("\n");
}

/** What the file calls a line stays in its title. @param {import("./view.js").Diagram} view */
export function nameLines(view) {
  const named = (/** @type {string} */ text) => inOwnNames(view.arrangement.items, text);
  view.named = named;
  view.words.textContent = named(view.said);
  for (const name of all(".sheet b.line-name")) {
    const given = (name.dataset.given ??= name.textContent ?? "");
    name.textContent = named(given);
    if (name.textContent === given) name.removeAttribute("title"); else name.title = `${given} in the capture, and everywhere but here`;
  }
}
