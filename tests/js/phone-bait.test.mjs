import assert from "node:assert/strict";
import { test } from "node:test";

import { balanceWords, gramsIn } from "../../static/js/phone/bait.js";

test("grams are read with a point or a comma, and what could be a thousandfold is not", () => {
  for (const [typed, grams] of [["12.5", "12.5"], ["12,5", "12.5"], [" 60 ", "60"], ["0", "0"]]) {
    assert.deepEqual(gramsIn(typed), { grams, why: "" });
  }
  assert.deepEqual(gramsIn("  "), { grams: null, why: "" });
  for (const typed of ["1,234", "-3", "two", "1.234,5", "12 g"]) assert.match(gramsIn(typed).why, /such as 12.5/, typed);
});

test("a point says what lies there by the record, and since when", () => {
  assert.equal(balanceWords({ balance_g: "47.50", since: "2026-11-03" }), "By the record 47.5 g lie here; baited since Tue 3 Nov 2026.");
  assert.equal(balanceWords(undefined), "");
});
