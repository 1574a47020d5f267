// @ts-check
// What does not fit into the column of labels: whole over the waves beside it, and said, for the row under the pointer and for
// the one chosen by keys. Not needed before somebody looks, so fetched behind everything else.
import { fitted } from "./draw.js";

/** @param {import("../view.js").Diagram} view */
export function labels(view) {
  const { canvas } = view;
  /** The row whose label the pointer is on. @type {string|null} */
  let hovered = null;
  const rowAt = (/** @type {MouseEvent} */ event) => (event.offsetX < view.scale.left ? view.rowAt(event.offsetY) : undefined);
  const point = (/** @type {import("./draw.js").Row|undefined} */ row) => {
    if (row) view.pointer.textContent = view.describe(row);
    if ((row?.key ?? null) === hovered) return;
    hovered = row?.key ?? null;
    view.paint();
  };
  canvas.addEventListener("pointermove", (event) => point(rowAt(event)));
  canvas.addEventListener("pointerleave", () => point(undefined));
  canvas.addEventListener("click", (event) => {
    const row = rowAt(event);
    if (row) view.say(view.describe(row));
  });
  /** Draws them; the texts that were cut stand on the canvas as well, for who looks at it from outside. @param {import("./draw.js").Pen} pen @param {import("./draw.js").Row[]} rows */
  view.whole = (pen, rows) => {
    const hasFocus = document.activeElement === canvas;
    const whole = rows.filter((row, at) => row.top >= 0 && (row.key === hovered || (hasFocus && at === view.chosen)));
    canvas.dataset.whole = whole.flatMap((row) => wholeLabel(pen, row, view.scale.left, view.width)).join("\n");
  };
  view.paint();
}

/**
 * @param {import("./draw.js").Pen} pen @param {import("./draw.js").Row} row
 * @param {number} width of the column @param {number} right where the plate ends
 */
function wholeLabel({ c, colors, size }, row, width, right) {
  const middle = ((row.volts?.top ?? row.high) + row.low) / 2, left = size * 1.1;
  // As Pen.label has them.
  const texts = [{ text: row.name, font: `bold ${size}px ${colors.sans}`, ink: colors.text, y: row.place ? middle : middle + size * 0.35 }];
  if (row.place) texts.push({ text: row.place, font: `${size * 0.82}px ${colors.sans}`, ink: colors.quiet, y: middle + size * 1.2 });
  const cut = [];
  c.textAlign = "left";
  for (const { text, font, ink, y } of texts) {
    c.font = font;
    const long = c.measureText(text).width;
    if (long <= width - size * 1.6) continue;
    cut.push(text);
    const room = Math.min(long, right - left - size * 0.5);
    c.fillStyle = colors.plate; c.fillRect(left - size * 0.3, y - size, room + size * 0.6, size * 1.35);
    c.strokeStyle = colors.rule; c.lineWidth = 1; c.strokeRect(left - size * 0.3, y - size, room + size * 0.6, size * 1.35);
    c.fillStyle = ink; c.fillText(fitted(c, text, room + 0.5), left, y);
  }
  return cut;
}
