// @ts-check
// The sheet calls lines as the diagram does: by the names that a person gave them.
import { all } from "../lib/dom.js";

/** What the file calls a line stays in its title. @param {import("./arrangement.js").Arrangement} arrangement */
export function nameSheet(arrangement) {
  for (const name of all(".sheet b.line-name")) {
    const given = (name.dataset.given ??= name.textContent ?? "");
    const own = arrangement.inOwnNames(given);
    name.textContent = own;
    if (own === given) name.removeAttribute("title"); else name.title = `${given} in the capture`;
  }
}
