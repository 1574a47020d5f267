// Names of lines proposed while a field is typed into. Values are planted here; no outside source.
import assert from "node:assert/strict";
import { test } from "node:test";
import { lastWord, proposals, withName } from "../../static/js/lib/line-names.js";

const NAMES = ["SEQ.U3.Q3", "SEQ.U3.Q2", "Q3_N", "CH3 MUTE latch Q", "CH3 MUTE"];

test("the last word is what is typed now", () => {
  assert.equal(lastWord("SEQ.U3.Q3 u3"), "u3");
  assert.equal(lastWord("A,"), "");
  assert.equal(lastWord("LE ? D:Q"), "Q");
});

test("names that hold the word are proposed, those that begin with it first", () => {
  assert.deepEqual(proposals("q3", NAMES), ["Q3_N", "SEQ.U3.Q3"]);
  assert.deepEqual(proposals("U3", NAMES), ["SEQ.U3.Q3", "SEQ.U3.Q2"]);
  assert.deepEqual(proposals("", NAMES), []);
  assert.deepEqual(proposals("Q3_N", NAMES), []);
});

test("a name takes the place of the word, and of all that is typed of it", () => {
  assert.equal(withName("SEQ.U3.Q3 u3", "SEQ.U3.Q2"), "SEQ.U3.Q3 SEQ.U3.Q2");
  assert.equal(withName("SEQ.U3.Q3 CH3 MUTE la", "CH3 MUTE latch Q"), "SEQ.U3.Q3 CH3 MUTE latch Q");
  assert.equal(withName("", "CH3 MUTE"), "CH3 MUTE");
  assert.equal(withName("!q3", "Q3_N"), "!Q3_N");
});
