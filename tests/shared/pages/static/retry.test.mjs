import assert from "node:assert/strict";
import test from "node:test";

import { growingPause } from "../../../../shared/pages/static/retry.js";

test("the pause doubles up to the longest and begins again after a success", () => {
  const pause = growingPause(4_000, 30_000);
  assert.deepEqual(Array.from({ length: 5 }, () => pause.next()), [4_000, 8_000, 16_000, 30_000, 30_000]);
  pause.reset();
  assert.equal(pause.next(), 4_000);
});
