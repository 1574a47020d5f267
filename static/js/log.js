// @ts-check
// Forms and buttons that send and show the page anew. What is typed is put aside with every keystroke,
// so that a page that dies loses nothing.
import { all, find } from "./lib/dom.js";
import { sendJson } from "./lib/fetch.js";

/** Fetched where there are numbers to type, awaited by what is sent: forms listen at once. */
const typed = find("[data-kind=number]") ? import("./lib/typed.js") : null;

/** Says it at the nearest place for it. @param {Element} element @param {string} sentence */
function tell(element, sentence) {
  let at = /** @type {Element | null} */ (element);
  while (at && !find(".told", at)) at = at.parentElement;
  if (at) find(".told", at).textContent = sentence;
}

/** @param {HTMLElement} element @param {any} answer whose id takes the place of {id} in the next address */
function done(element, answer) {
  try {
    if (element.dataset.done) sessionStorage.setItem("done", element.dataset.done);
  } catch {
    // The page comes anew all the same.
  }
  const next = element.dataset.then?.replace("{id}", String(answer?.id));
  if (next) location.assign(next);
  else location.reload();
}

/** @param {any} field */
async function valueOf(field) {
  const { kind } = field.dataset;
  if (field.type === "checkbox") return field.checked;
  if (kind === "number") return (await typed)?.numberIn(field);
  // An entry's number, or names parted by commas.
  if (kind === "ids") return [...field.selectedOptions].map((/** @type {any} */ option) => Number(option.value));
  if (kind === "id") return field.value === "" ? null : Number(field.value);
  if (kind === "list") return field.value.split(",").map((/** @type {string} */ name) => name.trim()).filter(Boolean);
  return field.value;
}

/** What a form says, as an object: numbers as numbers, an empty number as null. @param {HTMLFormElement} form */
async function bodyOf(form) {
  const body = JSON.parse(form.dataset.base ?? "{}");
  for (const field of /** @type {any[]} */ ([...form.elements])) {
    if (!field.name || field.disabled || field.type === "file") continue;
    body[field.name] = await valueOf(field);
  }
  return body;
}

/** Where a form's draft is kept: forms of a page that send to one address name their finding or `data-draft`. @param {HTMLFormElement} form */
const draftKey = (form) => `draft ${location.pathname} ${form.dataset.method ?? "POST"} ${form.dataset.send} ${form.dataset.draft ?? find("[name=finding]", form)?.value ?? ""}`;

/** @param {HTMLFormElement} form */
function keepDraft(form) {
  try {
    const key = draftKey(form), kept = () => JSON.parse(localStorage.getItem(key) ?? "{}");
    for (const [name, value] of Object.entries(kept())) {
      const field = /** @type {any} */ (form.elements.namedItem(name));
      if (field && field.value !== value) {
        field.value = value;
        form.closest("details")?.setAttribute("open", "");
      }
    }
    form.addEventListener("input", (event) => {
      const field = /** @type {any} */ (event.target);
      if (!field.name || field.type === "file") return;
      localStorage.setItem(key, JSON.stringify({ ...kept(), [field.name]: field.value }));
    });
  } catch {
    // A browser that keeps nothing: the forms work all the same.
  }
}

/** @param {any} element @param {() => Promise<any>} work */
export async function send(element, work) {
  tell(element, "");
  element.disabled = true;
  try {
    done(element, await work());
  } catch (error) {
    tell(element, /** @type {Error} */ (error).message);
    element.disabled = false;
  }
}

for (const form of all("form[data-send]")) {
  keepDraft(form);
  form.addEventListener("submit", (/** @type {Event} */ event) => {
    event.preventDefault();
    send(form, async () => {
      const answer = await sendJson(form.dataset.send, await bodyOf(form), form.dataset.method ?? "POST");
      try {
        localStorage.removeItem(draftKey(form));
      } catch {
        // Nothing was kept.
      }
      return answer;
    });
  });
}

for (const button of all("button[data-send]")) {
  button.addEventListener("click", () => {
    const body = JSON.parse(button.dataset.base ?? "null");
    if (button.dataset.now && body) body[button.dataset.now] = Date.now();
    send(button, () => sendJson(button.dataset.send, body, button.dataset.method ?? "POST"));
  });
}

if (find("time, a[data-zone]")) import("./times.js");
// What the page before did, said there.
if (globalThis.sessionStorage?.getItem("done")) import("./done.js");
