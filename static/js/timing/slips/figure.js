// @ts-check
// The figure as it stands, out of the page: SVG, PNG, print; black on white with its caption.
import { all, make } from "../../lib/dom.js";
import { Pen, printed } from "../drawing/draw.js";
import { SvgContext } from "../drawing/svg.js";

/** Pixels of a PNG for one of the page. */
const PNG_RATIO = 2;

/** @param {import("../view.js").Diagram} view @param {string} caption */
function layout(view, caption) {
  // The slip that is open for the caption takes room off the diagram, not off the figure; a row is drawn whole or not at all.
  const room = view.height + view.slip.element.offsetHeight;
  const rows = view.rows().filter((row, i) => i === 0 || row.top + row.height <= room);
  const foot = rows.length ? rows[rows.length - 1].top + rows[rows.length - 1].height : view.height;
  const letters = Math.max(20, Math.floor(view.width / (view.size * 0.55)));
  const words = wrap(caption, letters);
  const height = Math.max(foot + view.size, view.size * 6);
  return { height, words, whole: height + (words.length + 1) * view.size * 1.4 };
}

/** @param {string} text @param {number} letters a line */
export function wrap(text, letters) {
  const lines = [""];
  for (const word of text.split(/\s+/)) {
    const last = lines[lines.length - 1];
    if (last && last.length + 1 + word.length > letters) lines.push(word);
    else lines[lines.length - 1] = last ? `${last} ${word}` : word;
  }
  return lines.filter(Boolean);
}

/** @param {import("../view.js").Diagram} view @param {any} context @param {number} ratio @param {string} caption */
function draw(view, context, ratio, caption) {
  const { height, words, whole } = layout(view, caption);
  const pen = new Pen(context, printed(view.colors), ratio, view.size);
  context.fillStyle = "#ffffff";
  context.fillRect(0, 0, view.width, whole);
  view.draw(pen, height, false);
  context.fillStyle = "#1f2a33"; context.textAlign = "left"; context.textBaseline = "alphabetic";
  context.font = `${view.size * 1.1}px ${view.colors.serif}`;
  words.forEach((line, i) => context.fillText(line, view.size * 1.1, height + (i + 1.1) * view.size * 1.4));
  return whole;
}

/** @param {import("../view.js").Diagram} view @param {string} caption @returns {string} */
export function figureSvg(view, caption) {
  const ruler = /** @type {CanvasRenderingContext2D} */ (document.createElement("canvas").getContext("2d"));
  const context = new SvgContext((text, font) => { ruler.font = font; return ruler.measureText(text).width; });
  const whole = draw(view, context, 1, caption);
  return context.document(view.width, whole, caption);
}

/** @param {import("../view.js").Diagram} view @param {string} caption @returns {Promise<Blob>} */
export function figurePng(view, caption) {
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(view.width * PNG_RATIO);
  canvas.height = Math.round(layout(view, caption).whole * PNG_RATIO);
  const context = /** @type {CanvasRenderingContext2D} */ (canvas.getContext("2d"));
  context.setTransform(PNG_RATIO, 0, 0, PNG_RATIO, 0, 0);
  draw(view, context, PNG_RATIO, caption);
  return new Promise((resolve, reject) => canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error("The figure is too large for a PNG: save it as SVG."))), "image/png"));
}

/** @param {Blob} blob @param {string} name */
function save(blob, name) {
  const link = make("a", { href: URL.createObjectURL(blob), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}

/** Prints the figure alone. @param {import("../view.js").Diagram} view @param {string} caption */
function print(view, caption) {
  const plate = make("div", { class: "printed-figure" });
  const parsed = new DOMParser().parseFromString(figureSvg(view, caption), "image/svg+xml");
  plate.append(document.importNode(parsed.documentElement, true));
  document.body.append(plate);
  document.body.classList.add("print-figure");
  addEventListener("afterprint", () => { document.body.classList.remove("print-figure"); plate.remove(); }, { once: true });
  window.print();
}

/** The slip with caption and buttons. @param {import("../view.js").Diagram} view */
export function figureSlip(view) {
  for (const old of all(".printed-figure")) old.remove();
  const caption = make("textarea", { id: "figure-caption", rows: 2 });
  caption.value = view.words.textContent || view.facts.title;
  const name = () => (view.finding ? `figure-${view.facts.findings.indexOf(view.finding) + 1}` : "figure");
  const told = (/** @type {Error} */ error) => view.say(error.message);
  view.slip.open("This figure", make("label", { for: "figure-caption" }, "Caption"), caption, make("div", { class: "row" },
    make("button", { type: "button", onclick: () => save(new Blob([figureSvg(view, caption.value)], { type: "image/svg+xml" }), `${name()}.svg`) }, "save as SVG"),
    make("button", { type: "button", onclick: () => figurePng(view, caption.value).then((blob) => save(blob, `${name()}.png`)).catch(told) }, "save as PNG"),
    make("button", { type: "button", onclick: () => print(view, caption.value) }, "print")));
}
