// @ts-check
// The form for a new rule: only the fields that the chosen kind knows are shown and sent.
import { all, find } from "./lib/dom.js";

for (const form of all("form[data-kinds-form]")) {
  const kind = /** @type {HTMLSelectElement} */ (find("select[name=kind]", form));
  const fit = () => {
    for (const label of all("label[data-kinds]", form)) {
      const fits = (label.dataset.kinds ?? "").split(" ").includes(kind.value);
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
  fit();
}
