import assert from "node:assert/strict";
import test from "node:test";

import { changedSince, draftStore, entriesOf, toRestore } from "../../../../../quotes/office/static/office/measure/draft.js";

const memory = () => {
  const kept = new Map();
  return { getItem: (key) => kept.get(key) ?? null, setItem: (key, text) => kept.set(key, text), removeItem: (key) => kept.delete(key) };
};

test("the token, the button and the run in view are not entries", () => {
  const pairs = [["csrfmiddlewaretoken", "x"], ["do", "draw"], ["live", "A"], ["runs/0/id", "A"]];
  assert.deepEqual(entriesOf(pairs), [["runs/0/id", "A"]]);
});

test("a draft is read back with its time until it is forgotten", () => {
  const store = memory(), draft = draftStore(() => store, "draft:m");
  assert.equal(draft.read(), null);
  assert.ok(draft.write([["runs/0/id", "A"]], 7));
  assert.deepEqual(draft.read(), { at: 7, entries: [["runs/0/id", "A"]] });
  draft.forget();
  assert.equal(draft.read(), null);
});

test("a browser without a store says that it saved nothing", () => {
  const draft = draftStore(() => { throw new Error("denied"); }, "draft:m");
  assert.equal(draft.write([]), false);
  assert.equal(draft.read(), null);
  draft.forget();
});

test("the version and the page of a draft are not filled in again", () => {
  assert.deepEqual(toRestore({ entries: [["version", "3"], ["page", "p"], ["runs/0/id", "A"]] }), [["runs/0/id", "A"]]);
});

test("an entry that differs from the last answer is changed, a new one too", () => {
  assert.deepEqual(changedSince(new Map([["a", "1"], ["b", "2"]]), [["a", "1"], ["b", "3"], ["c", ""]]), ["b", "c"]);
});
