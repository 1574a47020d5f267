// Style sheets, templates and modules agree: no rule is for a class that nothing has, no class is given that nothing asks for.
import assert from "node:assert/strict";
import { readFileSync, readdirSync } from "node:fs";
import test from "node:test";

const root = new URL("../../", import.meta.url);
/** The text of all files below a folder with this ending. */
const all = (folder, ending) => {
  const names = readdirSync(new URL(folder, root), { recursive: true }).filter((name) => name.endsWith(ending) && !name.includes("node_modules"));
  return names.map((name) => readFileSync(new URL(folder + name, root), "utf8")).join("\n");
};
const sheets = all("static/css/", ".css").replaceAll(/\/\*[^]*?\*\//g, "").replaceAll(/\{[^{}]*\}/g, "{}");
const pages = all("templates/", ".html"), modules = all("static/js/", ".js"), server = all("server/", ".rs");
/** Words that may be classes: those of `class="…"` and of literals of one or two words. */
const given = new Set();
for (const text of [pages, modules, server]) {
  const literals = [...text.matchAll(/(["'`])([\w-]+( [\w-]+)?)\1/g)].map(([, , words]) => words);
  const attributes = [...text.matchAll(/class=\\?"([^"]*)"/g)].map(([, classes]) => classes);
  for (const words of [...literals, ...attributes]) for (const name of words.split(/[^\w-]+/)) given.add(name);
}

test("every class of the style sheets is given somewhere", () => {
  const styled = new Set([...sheets.matchAll(/\.([a-zA-Z][\w-]*)/g)].map(([, name]) => name));
  assert.ok(styled.size > 100, `${styled.size}`);
  assert.deepEqual([...styled].filter((name) => !given.has(name)), []);
});

test("every class that a template gives is asked for by a style sheet, a module or a test of the pages", () => {
  const plain = new Set();
  for (const [, classes] of pages.matchAll(/class="([^"]*)"/g)) {
    for (const name of classes.replaceAll(/\{[{%].*?[%}]\}/g, " ").split(/\s+/)) if (/^[\w-]+$/.test(name)) plain.add(name);
  }
  assert.ok(plain.size > 60, `${plain.size}`);
  // The printed report has its style sheet inside.
  const asking = sheets + pages + modules + all("tests/browser/", ".test.mjs");
  assert.deepEqual([...plain].filter((name) => !new RegExp(`\\.${name}(?![\\w-])`).test(asking)), []);
});
