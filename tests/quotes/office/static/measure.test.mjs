import assert from "node:assert/strict";
import test from "node:test";

import { changedSince, draftStore, entriesOf, isEdited, toRestore } from "../../../../quotes/office/static/office/measure/draft.js";
import { isInEntries, isRunId, isRunLength, nameAfter, nextRunId } from "../../../../quotes/office/static/office/measure/names.js";

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

test("a field that was typed in before the script ran is edited, one as the server sent it is not", () => {
  const text = (value) => ({ name: "runs/0/length_mm", type: "text", value, defaultValue: "" });
  assert.deepEqual([text("18.24"), text("")].map(isEdited), [true, false]);
  const choice = (selectedIndex, chosen) => ({ name: "form", type: "select-one", selectedIndex, options: [0, 1].map((at) => ({ defaultSelected: at === chosen })) });
  assert.deepEqual([choice(0, null), choice(1, 1), choice(1, 0)].map(isEdited), [false, false, true]);
  assert.equal(isEdited({ name: "version", type: "hidden", value: "3", defaultValue: "2" }), false);
});

test("a field after the removed row moves up, one before it stays, one in it is gone", () => {
  assert.equal(nameAfter("runs/2/length_mm", "drop-run:1"), "runs/1/length_mm");
  assert.equal(nameAfter("runs/0/length_mm", "drop-run:1"), "runs/0/length_mm");
  assert.equal(nameAfter("runs/1/gates/0/from_mm", "drop-run:1"), "");
});

test("a removed gate, station or reading moves only the rows of its own list", () => {
  assert.equal(nameAfter("runs/1/gates/2/from_mm", "drop-gate:1/0"), "runs/1/gates/1/from_mm");
  assert.equal(nameAfter("runs/2/gates/2/from_mm", "drop-gate:1/0"), "runs/2/gates/2/from_mm");
  assert.equal(nameAfter("runs/0/levels/1/0", "drop-station:0/1"), "");
  assert.equal(nameAfter("runs/0/book/3/at_mm", "drop-reading:0/1"), "runs/0/book/2/at_mm");
  assert.equal(nameAfter("retrofits/1/bays_mm", "drop-retrofit:0"), "retrofits/0/bays_mm");
});

test("an edit that removes nothing moves nothing", () => {
  for (const edit of ["", "draw", "add-gate:0", "show:1"]) assert.equal(nameAfter("runs/1/id", edit), "runs/1/id");
});

test("run ids go from A to Z, then to A2, and skip those in use", () => {
  assert.equal(nextRunId(new Set()), "A");
  assert.equal(nextRunId(new Set(["A", "C"])), "B");
  assert.equal(nextRunId(new Set("ABCDEFGHIJKLMNOPQRSTUVWXYZ")), "A2");
});

test("the id and the length of a run are known by their names", () => {
  assert.ok(isRunId("runs/12/id") && isRunLength("runs/0/length_mm"));
  assert.ok(!isRunId("retrofits/0/id") && !isRunLength("runs/0/gates/0/length_mm"));
});

test("an edit whose entries are all in the form need not be pressed again", () => {
  assert.ok(["draw", "restore", "show:0"].every(isInEntries));
  assert.ok(!isInEntries("add-gate:0"));
});
