// @ts-check
// What is to be said of files that were not taken as captures: at the top of the page, also of the one that follows.
import { find, make } from "./lib/dom.js";

/** @typedef {{ text: string, isTaken: boolean, href?: string, words?: string }} Note what is said, whether the file was taken after all, and the place where one may go on */

const KEPT = "notes";

/** For the page that follows. @param {Note[]} notes */
export function keepNotes(notes) {
  try {
    if (notes.length > 0) sessionStorage.setItem(KEPT, JSON.stringify(notes));
  } catch {
    // A browser that keeps nothing for us: the page comes all the same.
  }
}

/** Says what the page before kept. A page that waits for the reading is followed by another, which says it as well. */
export function showKept() {
  showNotes(JSON.parse(sessionStorage.getItem(KEPT) ?? "[]"), null);
  if (!find("[data-upload=reading]")) sessionStorage.removeItem(KEPT);
}

/** @param {Note[]} notes @param {Element|null} place null: under the heading of the page */
export function showNotes(notes, place) {
  find("[data-notes]")?.remove();
  const box = find("input[type=file][name=files]");
  const toBox = () => { box.scrollIntoView({ block: "center" }); box.focus(); };
  const said = make("div", { "data-notes": "", role: "alert" }, ...notes.map(({ text, href, words, isTaken }) => make("p", { class: isTaken ? "progress" : "progress failed" }, text, href && " ", href && make("a", { href }, words))),
    !place && box && notes.some((note) => !note.isTaken) && make("p", { class: "progress" }, make("button", { type: "button", onclick: toBox }, "to the file box")));
  if (place) place.append(said);
  else (find("h1") ?? find("main").firstElementChild).after(said);
  said.scrollIntoView({ block: "nearest" });
}
