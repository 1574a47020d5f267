// @ts-check
// Every key of the diagram, in one table: what is listed under "?" is what is listened to.

/**
 * @typedef {{keys: string[], shown: string, says: string, does: (event: KeyboardEvent) => void}} Key
 * @param {import("./view.js").Diagram} view @param {Record<string, () => any>} actions
 * @returns {Key[]}
 */
export function keyTable(view, actions) {
  const key = () => view.chosenRow()?.key ?? "";
  const choose = (/** @type {number} */ by) => {
    const rows = view.rows();
    view.chosen = Math.max(0, Math.min(rows.length - 1, view.chosen + by));
    const at = rows[view.chosen];
    if (at && at.top < view.size * 3) view.scroll = Math.max(0, view.scroll + at.top - view.size * 3);
    if (at && at.top + at.height > view.height) view.scroll += at.top + at.height - view.height + 4;
    if (at) view.say(view.describe(at));
    view.paint();
  };
  const { arrangement } = view;
  const withFinder = (/** @type {(finder: import("./slips/finder.js").Finder) => any} */ does) => actions.finder().then(does);
  const escape = () => {
    if (view.moving) view.slip.close();
    else if (view.isMeasuring) view.measure();
    else if (view.overlay) view.persist();
    else if (view.slip.title) view.slip.close();
    else if (view.pulse) { view.pulse = null; view.paint(); }
    else if (view.marked) { view.marked = null; view.paint(); }
    else view.drop();
  };
  const entry = (/** @type {string} */ keys, /** @type {string} */ says, /** @type {(event: KeyboardEvent) => void} */ does, shown = keys) => ({ keys: keys.split(" "), shown, says, does });
  return [
    entry("ArrowLeft ArrowRight", "earlier, later (with Shift: by a whole width)", (e) => {
      const by = e.key === "ArrowLeft" ? -1 : 1;
      if (view.moving) view.moving.nudge(by * (e.shiftKey ? 10 : 1));
      else view.pan(by * (e.shiftKey ? 1 : 0.15));
    }, "← →"),
    entry("ArrowUp ArrowDown", "choose a line (with Alt: move it)", (e) => {
      const by = e.key === "ArrowUp" ? -1 : 1;
      if (e.altKey) arrangement.move(key(), by);
      choose(by);
    }, "↑ ↓"),
    entry("+ = - −", "closer, farther", (e) => view.zoom(e.key === "+" || e.key === "=" ? 0.7 : 1 / 0.7), "+ −"),
    entry("Home", "the whole capture", () => view.fit()),
    entry(". ,", "next, previous moment of the finding in hand", (e) => view.goTo(view.occurrence + (e.key === "." ? 1 : -1))),
    entry("PageDown PageUp", "next, previous finding", (e) => actions[e.key === "PageDown" ? "nextFinding" : "previousFinding"](), "PgDn PgUp"),
    entry("o", "all moments of the finding laid on one another, and apart again", () => view.persist()),
    entry("] [", "next, previous edge of the chosen line", (e) => withFinder((finder) => finder.along("edge", e.key === "["))),
    entry("} {", "next, previous stray of the chosen line", (e) => withFinder((finder) => finder.along("stray", e.key === "{"))),
    entry("f", "find: strays, edges, pulses by width, values, patterns", () => withFinder((finder) => finder.open())),
    entry("n p", "next, previous of what was found", (e) => withFinder((finder) => finder.step(e.key === "p"))),
    entry("g", "go to a typed time", () => actions.goTo()),
    entry("j", "judge the chosen pulse: legitimate, or a stray", () => actions.judge()),
    entry("m", "measure from edge to edge", () => view.measure()),
    entry("Backspace", "take away the last dimension line", () => view.dimensions?.undo()),
    entry("c", "count over the chosen stretch, or over what is in view", () => view.withStretch((stretch) => stretch.open())),
    entry("l", "lines as they are shown: names here, order, groups, buses", () => actions.lines()),
    entry("Enter", "name the chosen line in this diagram; while measuring: put an end here; or save a moved clock", () => {
      if (view.moving) return view.moving.keep();
      if (!view.isMeasuring) return actions.rename();
      const tick = view.marked ? view.marked.start : view.start + view.span / 2, line = view.chosenRow()?.line ?? null;
      view.withDimensions((dimensions) => dimensions.putAt(tick, line));
    }),
    entry("h", "hide the chosen line", () => {
      const row = view.chosenRow();
      arrangement.set(key(), { hidden: true });
      if (row && row.line !== null && view.finding?.lines.includes(row.line)) view.say(`${row.name} belongs to the finding in hand: it stays while that is, and is hidden then.`);
    }),
    entry("t T", "the chosen line taller, lower", (e) => arrangement.resize(key(), e.key === "t" ? 1 : -1)),
    entry("r", "the chosen bus in other digits", () => arrangement.nextRadix(key())),
    entry("b", "the chosen bus into its bits", () => arrangement.unfold(key())),
    entry("x", "bits of the chosen bus the other way round", () => arrangement.reverse(key())),
    entry("k", "move the clock of the chosen line's capture: then ← → by a sample, with Shift by ten", () => actions.clock()),
    entry("v", "what evidence is drawn", () => actions.evidence()),
    entry("s", "the figure as a file, or printed", () => actions.figure()),
    entry("Escape", "put away what is open, then the finding", escape, "Esc"),
    entry("?", "this list", () => actions.keys()),
  ];
}

/** @param {import("./view.js").Diagram} view @param {Key[]} table */
export function listenKeys(view, table) {
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey) return;
    const target = /** @type {HTMLElement} */ (event.target);
    // Keys that work a button or a link keep doing so.
    if (target.closest("button, a") && /^(Enter| |Arrow|Page|Home|Backspace)/.test(event.key)) return;
    if (target.closest("input, select, textarea, dialog")) return;
    // Arrow and paging keys scroll the sheet while it has the focus.
    if (target.closest(".sheet") && /^(Arrow|Page|Home|Enter)/.test(event.key)) return;
    const key = table.find((k) => k.keys.includes(event.key));
    if (!key) return;
    event.preventDefault();
    key.does(event);
  });
}
