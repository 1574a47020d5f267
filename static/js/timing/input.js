// @ts-check
// Wheel, drag, touch on the diagram and its strip.
import { pulseAt } from "./drawing/marks.js";

/** @param {import("./view.js").Diagram} view */
export function listen(view) {
  wheel(view);
  pointers(view);
  strip(view);
}

/** @param {import("./view.js").Diagram} view */
function wheel(view) {
  view.canvas.addEventListener("wheel", (/** @type {WheelEvent} */ event) => {
    event.preventDefault();
    const unit = event.deltaMode === 1 ? 24 : event.deltaMode === 2 ? view.height : 1;
    const dx = event.deltaX * unit, dy = event.deltaY * unit;
    if (event.offsetX < view.scale.left && !event.ctrlKey) { view.scroll = Math.max(0, view.scroll + dy); view.paint(); }
    else if (event.shiftKey || Math.abs(dx) > Math.abs(dy)) view.pan((dx || dy) / view.scale.width);
    else view.zoom(Math.exp(Math.max(-300, Math.min(300, dy)) * (event.ctrlKey ? 0.01 : 0.0022)), event.offsetX);
  }, { passive: false });
}

/** One pointer drags, two pinch, a still one measures. @param {import("./view.js").Diagram} view */
function pointers(view) {
  const { canvas } = view;
  /** @type {Map<number, PointerEvent>} */
  const down = new Map();
  /** @type {{start: number, span: number, x: number, y: number, scroll: number, row: any, tick: number, isStretch: boolean, clock: number|null, moved: boolean}|null} */
  let grab = null;
  /** @type {{distance: number, tick: number, span: number}|null} */
  let pinch = null;

  /** Where the capture in hand stands, in samples, when one of its lines is taken hold of. @param {PointerEvent} event */
  const clockAt = (event) => {
    const row = event.offsetX >= view.scale.left ? view.rowAt(event.offsetY) : null;
    return row && view.moving?.has(row) ? view.moving.samples : null;
  };

  canvas.addEventListener("pointerdown", (/** @type {PointerEvent} */ event) => {
    if (event.button !== 0) return;
    canvas.setPointerCapture(event.pointerId);
    down.set(event.pointerId, event);
    if (down.size === 2) {
      const [a, b] = [...down.values()];
      pinch = { distance: Math.max(20, Math.abs(a.offsetX - b.offsetX)), tick: view.scale.tick((a.offsetX + b.offsetX) / 2), span: view.span };
    }
    grab = { start: view.start, span: view.span, x: event.offsetX, y: event.offsetY, scroll: view.scroll, row: event.offsetX < view.scale.left ? view.rowAt(event.offsetY) : null, tick: view.scale.tick(event.offsetX), isStretch: event.shiftKey && event.offsetX >= view.scale.left, clock: clockAt(event), moved: false };
  });

  canvas.addEventListener("pointermove", (/** @type {PointerEvent} */ event) => {
    if (down.has(event.pointerId)) down.set(event.pointerId, event);
    if (pinch && down.size === 2) {
      const [a, b] = [...down.values()];
      const span = pinch.span * (pinch.distance / Math.max(20, Math.abs(a.offsetX - b.offsetX)));
      const share = ((a.offsetX + b.offsetX) / 2 - view.scale.left) / view.scale.width;
      view.show(pinch.tick - share * span, span);
      return;
    }
    if (grab && down.size === 1) {
      const dx = event.offsetX - grab.x, dy = event.offsetY - grab.y;
      if (!grab.moved && Math.hypot(dx, dy) < 4) return;
      grab.moved = true;
      canvas.classList.add("grabbing");
      if (grab.clock !== null) { view.moving?.drag(grab.clock, (dx / view.scale.width) * view.span); return; }
      if (grab.row) { view.dropping = { y: dropLine(view, grab.row.key, event.offsetY) }; view.paint(); return; }
      if (grab.isStretch) { const { tick } = grab, to = view.scale.tick(event.offsetX); view.withStretch((stretch) => stretch.choose(tick, to)); return; }
      view.scroll = Math.max(0, grab.scroll - dy);
      view.show(grab.start - (dx / view.scale.width) * grab.span, grab.span);
      return;
    }
    view.dimensions?.follow(event.offsetX, event.offsetY);
    view.read(event.offsetX, event.offsetY);
  });

  const up = (/** @type {PointerEvent} */ event) => {
    down.delete(event.pointerId);
    canvas.classList.remove("grabbing");
    pinch = null;
    if (!grab) return;
    const { moved, row, isStretch } = grab;
    grab = null; view.dropping = null;
    if (event.type === "pointercancel") { view.paint(); return; }
    if (row && moved) {
      const target = rowNear(view, event.offsetY);
      view.arrangement.place(row.key, target.key, view.evidenceLines);
      view.paint();
    } else if (isStretch && moved) view.withStretch((stretch) => stretch.open());
    else if (!moved) {
      const rows = view.rows();
      const at = rows.findIndex((r) => event.offsetY >= r.top && event.offsetY < r.top + r.height);
      if (at >= 0) view.chosen = at;
      if (event.offsetX < view.scale.left) view.pulse = null;
      else if (view.isMeasuring) view.withDimensions((dimensions) => dimensions.put(event.offsetX, event.offsetY));
      else {
        view.pulse = pulseAt(view, rows[at], view.scale.tick(event.offsetX));
        if (view.slip.title === "Judge a pulse") import("./slips/judge.js").then(({ judgeSlip }) => judgeSlip(view));
      }
      view.paint();
    }
  };
  canvas.addEventListener("pointerup", up);
  canvas.addEventListener("pointercancel", up);
  canvas.addEventListener("pointerleave", () => { view.pointer.textContent = ""; });
  canvas.addEventListener("dblclick", (/** @type {MouseEvent} */ event) => {
    if (event.offsetX < view.scale.left) { const row = view.rowAt(event.offsetY); if (row) import("./slips/lines.js").then(({ linesSlip }) => linesSlip(view, row.key)); }
    else if (!view.isMeasuring) view.zoom(0.25, event.offsetX);
  });
  canvas.addEventListener("focus", () => view.paint());
  canvas.addEventListener("blur", () => view.paint());
}

/** The row nearest to a height. @param {import("./view.js").Diagram} view @param {number} y */
function rowNear(view, y) {
  const away = (/** @type {any} */ row) => Math.max(row.top - y, y - row.top - row.height, 0);
  return view.rows().reduce((near, row) => (away(row) < away(near) ? row : near));
}

/** Where the dragged line would come to stand. @param {import("./view.js").Diagram} view @param {string} key @param {number} y */
function dropLine(view, key, y) {
  const rows = view.rows(), target = rowNear(view, y);
  const isDown = rows.findIndex((row) => row.key === key) < rows.indexOf(target);
  return isDown ? target.top + target.height : target.top;
}

/** @param {import("./view.js").Diagram} view */
function strip(view) {
  const canvas = view.stripCanvas;
  let held = /** @type {number|null} */ (null);
  const tick = (/** @type {PointerEvent} */ event) => ((event.offsetX - view.scale.left) / view.scale.width) * view.facts.length;
  canvas.addEventListener("pointerdown", (/** @type {PointerEvent} */ event) => {
    canvas.setPointerCapture(event.pointerId);
    const at = tick(event);
    const near = Math.max(view.span, (10 / view.scale.width) * view.facts.length);
    // Within the frame: drag it; elsewhere: bring it here.
    held = Math.abs(at - (view.start + view.span / 2)) <= near / 2 ? at - view.start : view.span / 2;
    view.show(at - held, view.span);
  });
  canvas.addEventListener("pointermove", (/** @type {PointerEvent} */ event) => {
    if (held !== null) view.show(tick(event) - held, view.span);
  });
  for (const name of ["pointerup", "pointercancel"]) canvas.addEventListener(name, () => { held = null; });
  canvas.addEventListener("wheel", (/** @type {WheelEvent} */ event) => {
    event.preventDefault();
    view.zoom(Math.exp(event.deltaY * 0.0022));
  }, { passive: false });
}
