import assert from "node:assert/strict";
import { test } from "node:test";

import { asLines, asPoints, fromLines, shareOf } from "../../static/js/plan/corners.js";

const size = { width: 400, height: 200 };

test("a press is told in shares of the plan's sides", () => {
  assert.deepEqual(shareOf({ x: 100, y: 50 }, size), [0.25, 0.25]);
});

test("a press on the very edge stays on the plan", () => {
  assert.deepEqual(shareOf({ x: 401, y: -1 }, size), [1, 0]);
});

test("corners that are written can be read again", () => {
  const corners = [[0.1, 0.2], [0.9, 0.2], [0.5, 0.8]];
  assert.deepEqual(fromLines(asLines(corners)), corners);
});

test("lines that are no corner on the plan are left out", () => {
  assert.deepEqual(fromLines("10, 20\n\nnorth\n10\n1,2,3\n120, 5\n, 4"), [[0.1, 0.2]]);
});

test("points are counted in the drawing's own units", () => {
  assert.equal(asPoints([[0.5, 0.5], [1, 0]], { width: 800, height: 333 }), "400,166.5 800,0");
});
