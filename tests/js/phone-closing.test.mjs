import assert from "node:assert/strict";
import { test } from "node:test";

import * as closing from "../../static/js/phone/closing.js";
import * as ink from "../../static/js/phone/ink.js";

const SIGNATURE = [[[0.1, 0.5], [0.5, 0.2], [0.9, 0.6]]];
const GIVEN = {
  way: "hand", contact_name: "", contact_job_title: "", summary: "", signature: [], signature_typed: "",
  no_signature_reason: "", minutes_on_site: "", minutes_reason: "",
};
const ANA = { contact_name: "Ana Prior", signature: SIGNATURE };

// --- time on site ---------------------------------------------------------------------------------

test("minutes are counted between instants, half a one rounded up", () => {
  const from = (to) => closing.minutesBetween("2026-12-08T09:12:00Z", to);
  assert.equal(from("2026-12-08T10:04:00Z"), 52);
  assert.equal(from("2026-12-08T10:04:29Z"), 52);
  assert.equal(from("2026-12-08T10:04:30Z"), 53);
  assert.equal(from("2026-12-08T09:11:00Z"), 0, "a clock that was set back");
  assert.equal(from("2026-12-08T11:04:00+01:00"), 52);
});

test("time on site is said in the site's zone, whatever its calendar and clocks do meanwhile", () => {
  const words = closing.onSiteWords;
  assert.equal(words("2026-12-08T09:12:00Z", "2026-12-08T10:04:00Z", "Europe/London"), "52 minutes, from 09:12 to 10:04");
  assert.equal(words("2026-12-08T09:12:00Z", "2026-12-08T09:13:00Z", "Europe/Lisbon"), "1 minute, from 09:12 to 09:13");
  assert.equal(words("2026-12-08T23:40:00Z", "2026-12-09T00:32:00Z", "Europe/London"), "52 minutes, from 23:40 on Tue 8 Dec 2026 to 00:32");
  // 29 March 2026, 01:00 UTC: London's clocks go from 01:00 to 02:00. 25 October, 01:00 UTC: back.
  assert.equal(words("2026-03-29T00:50:00Z", "2026-03-29T01:20:00Z", "Europe/London"), "30 minutes, from 00:50 to 02:20");
  assert.equal(words("2026-10-25T00:50:00Z", "2026-10-25T01:20:00Z", "Europe/London"), "30 minutes, from 01:50 to 01:20");
});

// --- what stands in the way -----------------------------------------------------------------------

const fields = (more, workedOut = 52) => closing.faultsOfClosing({ ...GIVEN, ...more }, workedOut).map(([field]) => field);

test("each way to sign asks for its own, and for nothing of the others", () => {
  for (const [more, wanted] of [
    [{}, ["contact_name", "signature"]],
    [{ contact_name: "Ana Prior" }, ["signature"]],
    [{ contact_name: "Ana Prior", signature: [[[0.1, 0.1], [0.12, 0.1]]] }, ["signature"]],
    [{ contact_name: "  ", signature: SIGNATURE }, ["contact_name"]],
    [ANA, []],
    [{ ...ANA, way: "name" }, ["signature_typed"]],
    [{ way: "name", signature_typed: " " }, ["signature_typed"]],
    [{ way: "name", signature_typed: "Ana Prior" }, []],
    [{ ...ANA, signature_typed: "Ana Prior", way: "nobody" }, ["no_signature_reason"]],
    [{ way: "nobody", no_signature_reason: "Premises closed" }, []],
    [{ way: "nobody", no_signature_reason: "Premises closed", signature: [[[0, 0], [0.01, 0]]] }, []],
  ]) {
    assert.deepEqual(fields(more), wanted, JSON.stringify(more));
  }
});

test("ink is as long as the line that was drawn, and a hundred units are enough", () => {
  assert.equal(ink.inkOf([[[0, 0], [1, 0]], [[0, 0], [0, 1]]]), 400);
  assert.equal(ink.inkOf([[[0.5, 0.5]]]), 0);
  const line = (to) => ({ ...ANA, signature: [[[0, 0], [0, to]]] });
  assert.deepEqual(fields(line(1)), []);
  assert.deepEqual(fields(line(0.99)), ["signature"]);
});

test("other minutes need a reason, a minute more or less does not", () => {
  const typed = (minutes, reason = "") => fields({ ...ANA, minutes_on_site: minutes, minutes_reason: reason });
  for (const fine of ["", "52", "51", "53", " 52 "]) assert.deepEqual(typed(fine), [], fine);
  for (const off of ["50", "54", "0"]) assert.deepEqual(typed(off), ["minutes_reason"], off);
  assert.deepEqual(typed("54", "  "), ["minutes_reason"]);
  assert.deepEqual(typed("20", "Forgot to close"), []);
  for (const odd of ["-1", "4.5", "an hour", "10081"]) assert.deepEqual(typed(odd, "Forgot"), ["minutes_on_site"], odd);
  assert.deepEqual(typed("", "Forgot to close"), ["minutes_on_site"], "a reason for no minutes");
});

// --- what is sent ---------------------------------------------------------------------------------

const body = (more, workedOut = 52) => closing.closingOf({ ...GIVEN, ...more }, workedOut, 17);

test("the body says one way to sign, trimmed, and how many records came before", () => {
  const all = { contact_name: " Ana Prior ", contact_job_title: "Head chef", summary: " Clean. ", signature: SIGNATURE, signature_typed: "Ana", no_signature_reason: "Nobody" };
  const same = { contact_name: "Ana Prior", contact_job_title: "Head chef", summary: "Clean.", minutes_on_site: null, minutes_reason: "", operations: 17 };
  assert.deepEqual(body({ ...all, way: "hand" }), { ...same, signature: SIGNATURE, signature_typed: "", no_signature_reason: "" });
  assert.deepEqual(body({ ...all, way: "name" }), { ...same, signature: null, signature_typed: "Ana", no_signature_reason: "" });
  assert.deepEqual(body({ ...all, way: "nobody" }), { ...same, signature: null, signature_typed: "", no_signature_reason: "Nobody" });
});

test("minutes are sent only where they were corrected", () => {
  const minutes = (typed, reason = "") => {
    const sent = body({ minutes_on_site: typed, minutes_reason: reason });
    return [sent.minutes_on_site, sent.minutes_reason];
  };
  assert.deepEqual(minutes(""), [null, ""]);
  assert.deepEqual(minutes("52", "Checked"), [null, ""]);
  assert.deepEqual(minutes("53"), [null, ""], "rounding");
  assert.deepEqual(minutes("53", "By my watch"), [53, "By my watch"]);
  assert.deepEqual(minutes("20", " Forgot to close "), [20, "Forgot to close"]);
  assert.deepEqual(minutes("0", "Never got in"), [0, "Never got in"]);
});

test("a scribble of any length fits an operation and keeps the ends of its strokes", () => {
  const long = Array.from({ length: 3 }, (_, k) => Array.from({ length: 2500 }, (_, i) => [i / 2500, k / 3]));
  const thin = ink.thinned(long);
  assert.ok(thin.flat().length <= 900);
  assert.deepEqual(thin.map((one) => [one[0], one.at(-1)]), long.map((one) => [one[0], one.at(-1)]));
  assert.equal(ink.thinned(SIGNATURE), SIGNATURE);
  const dots = Array.from({ length: 600 }, () => [[0.5, 0.5], [0.51, 0.5]]);
  assert.equal(ink.thinned(dots), dots, "nothing is left to leave out");
  const signed = JSON.stringify(body({ signature: thin, summary: "\u{1F40C}".repeat(4000) })); // 8000 as a field counts them
  assert.ok(signed.replaceAll(/[^\0-\x7f]/g, "\\u0000").length < 64_000, "as the server counts, in ASCII");
});

test("a signature that was given before is offered the same way", () => {
  assert.equal(closing.wayOf({}), "hand");
  assert.equal(closing.wayOf({ signature: SIGNATURE, signature_typed: "" }), "hand");
  assert.equal(closing.wayOf({ signature_typed: "Ana" }), "name");
  assert.equal(closing.wayOf({ no_signature_reason: "Nobody" }), "nobody");
});

// --- what a record leaves out ---------------------------------------------------------------------

const WHOLE = {
  method: "gel", monitor: null, batch_number: "L1", dilution: "Ready", equipment: "Gun", finished_at: "2026-12-08T09:50:00Z",
  situation: "Steel", area: "12", area_unit: "points", outdoors: false, wind_speed: null, wind_direction: "", weather: "",
  precautions: "Told", re_entry: "", cautions_confirmed: [],
};
const GEL = { formulation: "gel", re_entry: "At once" };
const unsaid = (more, product = GEL) => closing.unsaidOf({ ...WHOLE, ...more }, product);

test("what the record of a treatment leaves out is named, as the server names it", () => {
  assert.deepEqual(unsaid({}), []);
  assert.deepEqual(unsaid({ batch_number: "", area: null, finished_at: null }), ["Batch or lot", "Finished", "Size of what was treated"]);
  assert.deepEqual(unsaid({}, { ...GEL, re_entry: "" }), ["Re-entry"]);
  assert.deepEqual(unsaid({ outdoors: true }), ["Weather"]);
  assert.deepEqual(unsaid({ outdoors: true, wind_speed: "8" }), []);
  assert.deepEqual(unsaid({ outdoors: true, weather: "Dry" }, { ...GEL, formulation: "liquid" }), ["Wind speed", "Wind from"]);
  assert.deepEqual(unsaid({}, { ...GEL, formulation: "liquid" }), [], "a spray indoors has no wind");
  assert.deepEqual(unsaid({ method: "bait_station", area_unit: "m2" }), ["Bait point", "Bait at each point", "Search for dead rodents"]);
  assert.deepEqual(unsaid({ method: "bait_station", monitor: "m1", cautions_confirmed: ["carcass_search"] }), []);
  assert.deepEqual(unsaid({ batch_number: "", missing: ["Licence valid that day"] }), ["Licence valid that day"], "the server knows more");
});

// --- what comes next ------------------------------------------------------------------------------

test("the next stop is one that was begun, then the earliest of today", () => {
  const stop = (id, state, time, day = "2026-12-08") => ({ id, state, booked_on: day, booked_at_time: time });
  const next = (...visits) => closing.nextStop(visits, "2026-12-08")?.id;
  assert.equal(next(), undefined);
  assert.equal(next(stop("a", "closed", "08:00:00"), stop("b", "called_off", "09:00:00")), undefined);
  assert.equal(next(stop("late", "booked", null), stop("b", "booked", "11:00:00"), stop("a", "booked", "10:00:00")), "a");
  assert.equal(next(stop("a", "booked", "10:00:00"), stop("left", "under_way", null, "2026-12-07")), "left");
  assert.equal(next(stop("tomorrow", "booked", "08:00:00", "2026-12-09")), undefined);
});

// --- when people may come back --------------------------------------------------------------------

test("people may come back so long after the end of the work, by the site's own clock and calendar", () => {
  const product = { label: { id: "v2", re_entry_minutes: 120 } };
  const one = { label: "v2", started_at: "2026-12-08T22:30:00Z", finished_at: "2026-12-08T22:45:00Z" };
  const words = (more, zone = "Europe/London") => closing.backWords({ ...one, ...more }, product, zone);
  assert.equal(words({}), "People may come back from 00:45 on Wed 9 Dec 2026 (Europe/London)");
  assert.equal(words({}, "America/New_York"), "People may come back from 19:45 on Tue 8 Dec 2026 (America/New_York)");
  assert.equal(words({ finished_at: null }), "People may come back from 00:30 on Wed 9 Dec 2026 (Europe/London)");
  // 25 October 2026, 01:00 UTC: London's clocks go back an hour.
  assert.equal(
    words({ finished_at: "2026-10-25T00:30:00Z" }),
    "People may come back from 02:30 on Sun 25 Oct 2026 (Europe/London)",
  );
});

test("where the label states no minutes, or another version of it, no time is worked out", () => {
  const one = { label: "v2", started_at: "2026-12-08T22:30:00Z", finished_at: null };
  const at = (label) => closing.backWords(one, { label }, "Europe/London");
  assert.equal(at({ id: "v2", re_entry_minutes: null }), "");
  assert.equal(at({ id: "v3", re_entry_minutes: 60 }), "");
  assert.equal(at(null), "");
  assert.equal(closing.backWords(one, undefined, "Europe/London"), "");
});
