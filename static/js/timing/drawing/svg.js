// @ts-check
// Writes what a pen draws as an SVG document: the part of a canvas context that the pen uses. Pure but for measuring text.

const NUMBER = (/** @type {number} */ value) => String(Math.round(value * 100) / 100);

/** @param {string} text */
const escaped = (text) => text.replace(/[&<>"']/g, (c) => `&#${c.charCodeAt(0)};`).replace(/[\u0000-\u0008\u000b\u000c\u000e-\u001f\ufffe\uffff]/g, "\ufffd");

export class SvgContext {
  #out = /** @type {string[]} */ ([]);
  #path = "";
  #dash = /** @type {number[]} */ ([]);
  #depth = 0; #open = /** @type {number[]} */ ([]); #clips = 0;
  fillStyle = /** @type {any} */ ("#000"); strokeStyle = "#000"; lineWidth = 1; lineJoin = "miter"; globalAlpha = 1;
  font = "10px sans-serif"; textAlign = "left"; textBaseline = "alphabetic";
  /** The pattern fill of unknown levels has no canvas here. */
  createPattern = null;

  /** @param {(text: string, font: string) => number} width of a text in px */
  constructor(width) { this.width = width; }

  /** @param {string} text */
  measureText(text) { return { width: this.width(text, this.font) }; }
  beginPath() { this.#path = ""; }
  /** @param {number} x @param {number} y */
  moveTo(x, y) { this.#path += `M${NUMBER(x)} ${NUMBER(y)}`; }
  /** @param {number} x @param {number} y */
  lineTo(x, y) { this.#path += `${this.#path ? "L" : "M"}${NUMBER(x)} ${NUMBER(y)}`; }
  /** @param {number[]} points */
  bezierCurveTo(...points) { this.#path += `C${points.map(NUMBER).join(" ")}`; }
  /** Whole circles only. @param {number} x @param {number} y @param {number} r */
  arc(x, y, r) { this.#path += `M${NUMBER(x - r)} ${NUMBER(y)}a${NUMBER(r)} ${NUMBER(r)} 0 1 0 ${NUMBER(2 * r)} 0a${NUMBER(r)} ${NUMBER(r)} 0 1 0 ${NUMBER(-2 * r)} 0`; }
  closePath() { this.#path += "Z"; }
  /** @param {number} x @param {number} y @param {number} w @param {number} h */
  rect(x, y, w, h) { this.#path += `M${NUMBER(x)} ${NUMBER(y)}h${NUMBER(w)}v${NUMBER(h)}h${NUMBER(-w)}Z`; }
  /** @param {number[]} dash */
  setLineDash(dash) { this.#dash = dash; }

  stroke() { if (this.#path) this.#put(`<path d="${this.#path}" ${this.#stroked()}/>`); }
  fill() { if (this.#path) this.#put(`<path d="${this.#path}" fill="${this.#fill()}"${this.#alpha()}/>`); }
  /** @param {number} x @param {number} y @param {number} w @param {number} h */
  fillRect(x, y, w, h) { this.#put(`<rect ${this.#box(x, y, w, h)} fill="${this.#fill()}"${this.#alpha()}/>`); }
  /** @param {number} x @param {number} y @param {number} w @param {number} h */
  strokeRect(x, y, w, h) { this.#put(`<rect ${this.#box(x, y, w, h)} ${this.#stroked()}/>`); }
  /** @param {string} text @param {number} x @param {number} y */
  fillText(text, x, y) {
    const [, style, weight, size, family] = /^(italic )?(bold )?([\d.]+)px (.*)$/.exec(this.font) ?? [];
    const anchor = { center: "middle", right: "end" }[this.textAlign];
    const parts = [`x="${NUMBER(x)}" y="${NUMBER(y)}" font-size="${NUMBER(Number(size))}" font-family="${escaped(family ?? "sans-serif")}"`];
    if (style) parts.push('font-style="italic"');
    if (weight) parts.push('font-weight="bold"');
    if (anchor) parts.push(`text-anchor="${anchor}"`);
    if (this.textBaseline === "middle") parts.push('dominant-baseline="central"');
    this.#put(`<text ${parts.join(" ")} fill="${this.#fill()}"${this.#alpha()}>${escaped(text)}</text>`);
  }

  save() { this.#open.push(this.#depth); }
  restore() {
    const depth = this.#open.pop() ?? 0;
    for (; this.#depth > depth; this.#depth--) this.#out.push("</g>");
  }
  clip() {
    const id = `c${this.#clips++}`;
    this.#out.push(`<clipPath id="${id}"><path d="${this.#path}"/></clipPath><g clip-path="url(#${id})">`);
    this.#depth++;
  }

  /** @param {number} width @param {number} height @param {string} title */
  document(width, height, title) {
    this.#open = [0];
    this.restore();
    const hatch = '<pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse"><path d="M0 7L7 0" stroke="#5d584b"/></pattern>';
    return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${NUMBER(width)} ${NUMBER(height)}" width="${NUMBER(width)}" height="${NUMBER(height)}" role="img"><title>${escaped(title)}</title><defs>${hatch}</defs>${this.#out.join("\n")}</svg>\n`;
  }

  /** @param {string} text */
  #put(text) { this.#out.push(text); }
  #fill() { return this.fillStyle === "hatch" ? "url(#hatch)" : escaped(String(this.fillStyle)); }
  #alpha() { return this.globalAlpha < 1 ? ` opacity="${NUMBER(this.globalAlpha)}"` : ""; }
  #stroked() {
    const dash = this.#dash.length ? ` stroke-dasharray="${this.#dash.map(NUMBER).join(" ")}"` : "";
    return `fill="none" stroke="${escaped(this.strokeStyle)}" stroke-width="${NUMBER(this.lineWidth)}" stroke-linejoin="${this.lineJoin}"${dash}${this.#alpha()}`;
  }
  /** @param {number} x @param {number} y @param {number} w @param {number} h */
  #box(x, y, w, h) { return `x="${NUMBER(x)}" y="${NUMBER(y)}" width="${NUMBER(Math.max(w, 0))}" height="${NUMBER(Math.max(h, 0))}"`; }
}
