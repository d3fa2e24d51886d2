import assert from "node:assert/strict";
import { test } from "node:test";

import * as when from "../../static/js/phone/when.js";

test("times are the site's, days are plain", () => {
  assert.equal(when.timeAt("2026-12-08T20:30:00Z", "Pacific/Auckland"), "09:30");
  assert.equal(when.dayWords("2026-02-03"), "Tue 3 Feb 2026");
  assert.equal(when.dayIn(new Date("2026-12-08T20:30:00Z"), "Pacific/Auckland"), "2026-12-09");
  assert.equal(when.dayIn(new Date("2026-12-08T20:30:00Z"), "Europe/London"), "2026-12-08");
});

test("a clock that is two minutes off is good enough, one that is more is corrected", () => {
  const now = new Date("2026-12-11T09:00:00Z");
  const shown = (ahead) => when.trueTime(now, ahead).toISOString();
  assert.equal(shown(null), "2026-12-11T09:00:00.000Z");
  assert.equal(shown(120), "2026-12-11T09:00:00.000Z");
  assert.equal(shown(3 * 86_400), "2026-12-08T09:00:00.000Z");
  assert.equal(shown(-3600), "2026-12-11T10:00:00.000Z");
});

test("a clock that is wrong is said in words", () => {
  assert.equal(when.clockWords(null), "");
  assert.equal(when.clockWords(-119), "");
  assert.match(when.clockWords(3 * 86_400), /3 days fast/);
  assert.match(when.clockWords(-300), /5 minutes slow/);
  assert.equal(when.spanWords(60), "1 minute");
  assert.equal(when.spanWords(7200), "2 hours");
});
