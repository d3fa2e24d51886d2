import assert from "node:assert/strict";
import { test } from "node:test";

import { middleOf, moved, ringOr, spotWords } from "../../static/js/phone/spot.js";

test("an arrow key moves a place by a hundredth, with shift by a tenth, and never off the picture", () => {
  const table = [
    [[0.5, 0.5], "ArrowLeft", false, [0.49, 0.5]],
    [[0.5, 0.5], "ArrowRight", false, [0.51, 0.5]],
    [[0.5, 0.5], "ArrowUp", true, [0.5, 0.4]],
    [[0.5, 0.5], "ArrowDown", true, [0.5, 0.6]],
    [[0.005, 0], "ArrowLeft", false, [0, 0]],
    [[0.95, 1], "ArrowRight", true, [1, 1]],
  ];
  for (const [from, key, far, to] of table) assert.deepEqual(moved(from, key, far), to, key);
});

test("a hundred steps there and back end where they began", () => {
  let spot = [0, 0];
  for (let i = 0; i < 70; i += 1) spot = moved(spot, "ArrowRight", false);
  assert.deepEqual(spot, [0.7, 0]);
  for (let i = 0; i < 70; i += 1) spot = moved(spot, "ArrowLeft", false);
  assert.deepEqual(spot, [0, 0]);
});

test("other keys are left to the page", () => {
  for (const key of ["Tab", "Enter", "a", " "]) assert.equal(moved([0.5, 0.5], key, false), null);
});

test("a place is said in whole per cent", () => {
  assert.equal(spotWords([0.4249, 0.305]), "42 % across, 31 % down");
});

test("the middle is that of the outline's width and height, or of everything without one", () => {
  assert.deepEqual(middleOf([[0.1, 0.2], [0.5, 0.2], [0.5, 0.8]]), [0.3, 0.5]);
  assert.deepEqual(middleOf([]), [0.5, 0.5]);
  assert.deepEqual(middleOf(undefined), [0.5, 0.5]);
});

test("a stroke that trembles on the spot is a ring; one that goes somewhere, or comes back, is a line", () => {
  const there = [[0.5, 0.5], [0.51, 0.505], [0.49, 0.5]];
  assert.deepEqual(ringOr(there), [[0.5, 0.5]]);
  assert.deepEqual(ringOr([[0.5, 0.5]]), [[0.5, 0.5]]);
  for (const away of [[[0.5, 0.5], [0.54, 0.5]], [[0.5, 0.5], [0.6, 0.6], [0.5, 0.5]]]) {
    assert.deepEqual(ringOr(away), away);
  }
});
