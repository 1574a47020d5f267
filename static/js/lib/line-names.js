// @ts-check
// Names of lines in a field that holds several, or an expression: what is being typed, which names hold it, and one put in.

/** What parts names from each other: blanks, commas, and the signs of expressions. */
const PARTS = /[\s,()?:&|~!^{}+<>=]/;

/**
 * What stands after the last blank, comma or sign.
 * @param {string} text
 * @returns {string}
 */
export function lastWord(text) {
  let from = text.length;
  while (from > 0 && !PARTS.test(text[from - 1])) from -= 1;
  return text.slice(from);
}

/**
 * The names that hold a word, in their order; those that begin with it first. None for no word, and none where it is a name already.
 * @param {string} word
 * @param {string[]} names
 * @returns {string[]}
 */
export function proposals(word, names) {
  const wanted = word.toLowerCase();
  if (wanted === "" || names.includes(word)) return [];
  const found = names.filter((name) => name.toLowerCase().includes(wanted));
  const begins = (/** @type {string} */ name) => Number(!name.toLowerCase().startsWith(wanted));
  return found.sort((a, b) => begins(a) - begins(b));
}

/**
 * The text with the name in place of its last word; of a name with blanks all that is typed of its beginning goes.
 * @param {string} text
 * @param {string} name
 * @returns {string}
 */
export function withName(text, name) {
  const typed = text.toLowerCase();
  const isWord = (/** @type {number} */ from) => from === 0 || PARTS.test(text[from - 1]);
  for (let length = Math.min(name.length, text.length); length > 0; length -= 1) {
    const from = text.length - length;
    if (isWord(from) && typed.endsWith(name.slice(0, length).toLowerCase())) return text.slice(0, from) + name;
  }
  return text.slice(0, text.length - lastWord(text).length) + name;
}
