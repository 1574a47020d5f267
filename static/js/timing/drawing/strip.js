// @ts-check
// The whole capture as a strip: how much switches when, where the strays are, and a frame to drag.

/**
 * @param {CanvasRenderingContext2D} c @param {import("./draw.js").Palette} colors @param {number} size
 * @param {{edges: number[], strays: number[]}|null} density
 * @param {{left: number, width: number, height: number}} place
 * @param {{from: number, to: number}} frame shares of the whole, 0 to 1
 * @param {number[]} moments shares of the whole: the occurrences in hand
 */
export function drawStrip(c, colors, size, density, place, frame, moments) {
  const { left, width, height } = place;
  const foot = height - size * 0.7, top = size * 1.3;
  c.clearRect(0, 0, left + width + 40, height);
  c.font = `${size * 0.85}px ${colors.sans}`; c.fillStyle = colors.quiet; c.textAlign = "left";
  c.fillText("whole capture", size * 1.1, foot - size * 0.3);
  if (density) {
    const most = Math.log1p(Math.max(1, ...density.edges));
    const count = density.edges.length, step = width / count;
    c.fillStyle = colors.density;
    density.edges.forEach((edges, i) => {
      if (edges === 0) return;
      const h = Math.max(1, (Math.log1p(edges) / most) * (foot - top));
      c.fillRect(left + i * step, foot - h, Math.max(step - 0.6, 0.7), h);
    });
    c.fillStyle = colors.stray;
    let last = -Infinity;
    density.strays.forEach((strays, i) => {
      const x = left + (i + 0.5) * step;
      if (strays === 0) return;
      c.fillRect(x - 0.6, top - 2, 1.2, foot - top + 2);
      if (x - last < 3) return;
      last = x;
      triangle(c, x, top - 3, 4);
    });
  }
  c.strokeStyle = colors.rule; c.lineWidth = 1;
  c.beginPath(); c.moveTo(left, foot + 0.5); c.lineTo(left + width, foot + 0.5); c.stroke();
  c.fillStyle = colors.cause;
  for (const moment of moments) c.fillRect(left + moment * width - 0.75, foot + 2, 1.5, 5);
  const from = left + frame.from * width, to = left + frame.to * width;
  const shown = Math.max(to - from, 8);
  c.strokeStyle = colors.text; c.lineWidth = 2;
  c.strokeRect((from + to) / 2 - shown / 2, top - 1, shown, foot - top + 4);
}

/** @param {CanvasRenderingContext2D} c @param {number} x @param {number} y @param {number} r */
function triangle(c, x, y, r) {
  c.beginPath(); c.moveTo(x - r, y - r); c.lineTo(x + r, y - r); c.lineTo(x, y + r * 0.5); c.fill();
}
