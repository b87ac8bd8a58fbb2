import assert from "node:assert/strict";
import test from "node:test";

import { isInEntries, isRunId, isRunLength, nameAfter, nextRunId } from "../../../../../quotes/office/static/office/measure/names.js";

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
