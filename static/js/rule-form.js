// @ts-check
// The form for a new rule: only the fields that the chosen kind (and of a sequence the chosen step) knows are shown and sent;
// a field for several lines proposes those that hold what is typed.
import { all, fill, find, make } from "./lib/dom.js";
import { lastWord, proposals, withName } from "./lib/line-names.js";

/** Proposals under a field, at most. */
const MOST = 8;

for (const form of all("form[data-kinds-form]")) {
  const kind = /** @type {HTMLSelectElement} */ (find("select[name=kind]", form));
  const step = /** @type {HTMLSelectElement | null} */ (find("select[name=rule]", form));
  /** @param {string | undefined} list @param {string} word */
  const has = (list, word) => (list ?? "").split(" ").includes(word);
  const fit = () => {
    for (const list of all(".proposals", form)) fill(list);
    for (const label of all("label[data-kinds]", form)) {
      const ofStep = label.dataset.steps === undefined || has(label.dataset.steps, step?.value ?? "");
      const fits = has(label.dataset.kinds, kind.value) && ofStep;
      label.hidden = !fits;
      const field = /** @type {HTMLInputElement | null} */ (find("input, select", label));
      if (field) field.disabled = !fits;
    }
  };
  kind.addEventListener("change", fit);
  // What a finding proposes stands in the address.
  const proposed = new URLSearchParams(location.search);
  if (proposed.has("kind")) for (const [name, value] of proposed) {
    const field = /** @type {any} */ (form).elements.namedItem(name);
    if (field && "value" in field) field.value = value;
  }
  step?.addEventListener("change", fit);
  fit();

  const names = all("#line-names option", form).map((option) => option.value);
  for (const field of all("input[data-names]", form)) propose(field, names);
}

/**
 * Shows under the field, as buttons, the names that hold its last word; pressed, one takes that word's place.
 * @param {HTMLInputElement} field
 * @param {string[]} names
 */
function propose(field, names) {
  const list = make("div", { class: "choices proposals" });
  field.closest("label")?.after(list);
  /** @param {string} name */
  const take = (name) => {
    field.value = withName(field.value, name);
    fill(list);
    field.focus();
  };
  field.addEventListener("input", () => {
    const found = proposals(lastWord(field.value), names).slice(0, MOST);
    fill(list, ...found.map((name) => make("button", { type: "button", onclick: () => take(name) }, name)));
  });
}
