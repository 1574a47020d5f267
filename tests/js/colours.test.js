// Colours are asked for by name: a name that the palette lacks draws in whatever colour was set before.
import assert from "node:assert/strict";
import { readFileSync, readdirSync } from "node:fs";
import test from "node:test";
import { palette } from "../../static/js/timing/drawing/draw.js";

test("every colour that is drawn with is in the palette, and stands in the style sheet", () => {
  const asked = new Set();
  globalThis.getComputedStyle = () => ({ getPropertyValue: (name) => { asked.add(name); return name; } });
  const known = palette(null);
  const folder = new URL("../../static/js/timing/", import.meta.url);
  let uses = 0;
  for (const file of readdirSync(folder, { recursive: true }).filter((file) => file.endsWith(".js"))) {
    for (const [, name] of readFileSync(new URL(file, folder), "utf8").matchAll(/colors\.(\w+)/g)) {
      uses++;
      assert.ok(name in known, `${file}: ${name}`);
    }
  }
  assert.ok(uses > 30, `${uses}`);
  const tokens = readFileSync(new URL("../../static/css/tokens.css", import.meta.url), "utf8");
  for (const name of asked) assert.ok(tokens.includes(`${name}:`), name);
});
