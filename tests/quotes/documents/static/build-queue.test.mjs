import assert from "node:assert/strict";
import test from "node:test";

import { describe, entriesAfter, marksAfter } from "../../../../quotes/documents/static/documents/build-queue.js";

test("a mark that was set again while the request was on its way is sent again", () => {
  const sent = { "A-P1": { done: true, at: 1 }, "A-P2": { done: true, at: 2 } };
  const saved = { ...sent, "A-P2": { done: false, at: 5 }, "A-P3": { done: true, at: 6 } };
  assert.deepEqual(Object.keys(marksAfter(saved, sent)), ["A-P2", "A-P3"]);
});

test("a recorded entry leaves the queue, a rejected one keeps its errors, one that was not sent stays", () => {
  const left = entriesAfter([{ id: "1" }, { id: "2" }, { id: "3" }], { 1: [], 2: ["Enter a quantity."] });
  assert.deepEqual(left, [{ id: "2", faults: ["Enter a quantity."] }, { id: "3" }]);
});

test("an entry is shown with what it has", () => {
  assert.equal(describe({ kindWord: "used", quantity: "2", role: "post", location: "", note: "bent" }), "used, 2 post, bent");
  assert.equal(describe({ words: "Undo entry: post" }), "Undo entry: post");
});
