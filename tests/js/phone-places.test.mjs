import assert from "node:assert/strict";
import { test } from "node:test";

import * as places from "../../static/js/phone/places.js";

const monitor = (number, more = {}) => ({ id: `m${number}`, number, due: true, plan: null, x: null, y: null, label_code: "", last: null, ...more });
const at = (number, x, y, plan = "ground") => monitor(number, { plan, x, y });
const zone = (id, more = {}) => ({ id, name: id, boundary: "within", checkpoints: [], monitors: [], ...more });
const NOTHING = { looks: {}, readings: {}, findings: {}, not_reached: {}, treatments: {}, contact: {} };
const read = (...numbers) => ({
  ...NOTHING,
  readings: Object.fromEntries(numbers.map((number, nth) => [`m${number}`, { condition: "sound", counts: {}, at: `2026-12-08T09:0${nth}:00.000Z` }])),
});
const numbers = (monitors) => monitors.map((one) => one.number);

test("after a finished zone comes the next with open places, and round to what was skipped", () => {
  const zones = [
    zone("cellar", { monitors: [monitor(1)] }),
    zone("kitchen", { monitors: [monitor(2)] }),
    zone("next door", { boundary: "outside", monitors: [monitor(9, { due: false })] }),
    zone("bar", { monitors: [monitor(3)] }),
  ];
  const next = (said, id) => places.nextZone(zones, said, id)?.id;
  assert.equal(next(read(2), "kitchen"), "bar");
  assert.equal(next(read(2, 3), "bar"), "cellar");
  assert.equal(next(read(1, 2, 3), "bar"), undefined);
  assert.equal(next(NOTHING, "bar"), "cellar");
  assert.equal(next({ ...NOTHING, not_reached: { "zone/bar": {} } }, "kitchen"), "cellar");
});

test("one button speaks for a height only where nobody has said a word", () => {
  const place = (id, height, due = true) => ({ id, height, due });
  const kitchen = zone("kitchen", { checkpoints: [place("a", "low"), place("b", "low"), place("c", "low"), place("d", "low", false), place("e", "reach")] });
  const unsaid = (said) => places.unsaidAt(kitchen, said, "low").map((one) => one.id);
  assert.deepEqual(unsaid(NOTHING), ["a", "b", "c"]);
  assert.deepEqual(unsaid({ ...NOTHING, looks: { b: {} }, findings: { f: { checkpoint: "a" } } }), ["c"]);
  assert.deepEqual(unsaid({ ...NOTHING, not_reached: { "zone/kitchen": {} } }), []);
});

test("a place belongs to one zone, and a zone to itself", () => {
  const zones = [zone("kitchen", { checkpoints: [{ id: "hob" }], monitors: [monitor(1)] }), zone("bar")];
  assert.deepEqual(["hob", "m1", "bar", "gone"].map((id) => places.zoneWith(zones, id)?.id), ["kitchen", "kitchen", "bar", undefined]);
});

// --- monitors in their order ----------------------------------------------------------------------

test("nearest first is a chain from the monitor read last", () => {
  const row = [at(1, 0.1, 0.5), at(2, 0.9, 0.5), at(3, 0.5, 0.5), at(4, 0.7, 0.5)];
  const cases = [
    ["from the left", at(9, 0, 0.5), [1, 3, 4, 2]],
    ["from the right", at(9, 1, 0.5), [2, 4, 3, 1]],
    ["from the middle, the lower number of two as near", at(9, 0.6, 0.5), [3, 4, 2, 1]],
    ["from nowhere, by the first", null, [1, 3, 4, 2]],
    ["from one that is on no plan, by the first", monitor(9), [1, 3, 4, 2]],
    ["from another plan, by the first", at(9, 1, 0.5, "cellar"), [1, 3, 4, 2]],
  ];
  for (const [name, from, order] of cases) assert.deepEqual(numbers(places.nearestFirst(row, from, [])), order, name);
});

test("nearness is measured on the plan as it is, wide or high", () => {
  const [beside, below] = [at(1, 0.3, 0), at(2, 0, 0.4)];
  const order = (width, height) => numbers(places.nearestFirst([beside, below], at(9, 0, 0), [{ id: "ground", width, height }]));
  assert.deepEqual(order(100, 100), [1, 2]);
  assert.deepEqual(order(200, 100), [2, 1]);
});

test("one plan is walked through before the next, and what has no position comes last", () => {
  const all = [monitor(1), at(2, 0, 0, "cellar"), at(3, 0, 0), at(4, 1, 1, "cellar"), monitor(5), at(6, 0.9, 0.9)];
  assert.deepEqual(numbers(places.nearestFirst(all, at(9, 1, 1), [])), [6, 3, 2, 4, 1, 5]);
  assert.deepEqual(numbers(places.nearestFirst(all, at(9, 0, 0, "cellar"), [])), [2, 4, 3, 6, 1, 5]);
});

const NEAREST = { nearest: true, plans: [] };
const BY_NUMBER = { nearest: false, plans: [] };
const STORE = zone("store", { monitors: [at(1, 0.1, 0), at(2, 0.9, 0), at(3, 0.5, 0)] });
const YARD = zone("yard", { monitors: [at(4, 0.2, 0), at(5, 0.8, 0)] });
const BOTH = [STORE, YARD];

test("reading the next monitor moves none", () => {
  const order = (said) => numbers(places.inOrder(STORE, BOTH, said, NEAREST));
  assert.deepEqual(order(NOTHING), [1, 3, 2]);
  assert.deepEqual(order(read(1)), [1, 3, 2]);
  assert.deepEqual(order(read(1, 3)), [1, 3, 2]);
  assert.deepEqual(order(read(2)), [2, 3, 1]);
  assert.deepEqual(order(read(5)), [2, 3, 1], "nearest to one of another zone on the same plan");
  assert.deepEqual(numbers(places.inOrder(STORE, BOTH, read(2), BY_NUMBER)), [1, 2, 3]);
});

test("what was not reached stays where its word was said", () => {
  const said = { ...read(2), not_reached: { "monitor/m1": { at: "2026-12-08T09:30:00+00:00" } } };
  assert.deepEqual(numbers(places.inOrder(STORE, BOTH, said, NEAREST)), [2, 1, 3]);
});

test("the last reading is the last by the clock, however an instant is written", () => {
  const said = { ...NOTHING, readings: { m1: { at: "2026-12-08T09:00:00.500Z" }, m2: { at: "2026-12-08T08:59:00+00:00" }, m4: { at: "2026-12-08T09:00:00+00:00" } } };
  assert.equal(places.lastRead(BOTH, said).number, 1);
  assert.equal(places.lastRead(BOTH, NOTHING), null);
});

test("the next monitor is the next without a word, in its zone and then in the zones after it", () => {
  const next = (said, id, order = BY_NUMBER) => places.nextMonitor(BOTH, said, id, order)?.number;
  assert.equal(next(NOTHING, "m1"), 2);
  assert.equal(next(read(2), "m1"), 3);
  assert.equal(next(NOTHING, "m3"), 4);
  assert.equal(next(read(4), "m3"), 5);
  assert.equal(next(NOTHING, "m5"), undefined);
  assert.equal(next(NOTHING, "m2", NEAREST), 3);
  assert.equal(next(read(3), "m2", NEAREST), 1);
  assert.equal(next(read(1, 3), "m2", NEAREST), 5);
  assert.equal(next({ ...NOTHING, not_reached: { "zone/yard": {} } }, "m3"), undefined);
  assert.equal(places.nextMonitor([zone("bar", { monitors: [monitor(1), monitor(2, { due: false })] })], NOTHING, "m1", BY_NUMBER), undefined);
});

// --- by number or label ---------------------------------------------------------------------------

// As sites.labels.codes.check_character gives them.
const CODES = [
  ["7K3M9PQR2ABCDXYZ", "2"],
  ["2222222222222222", "2"],
  ["ZZZZZZZZZZZZZZZZ", "J"],
  ["HJKMNPQRSTVWXYZ2", "N"],
];

test("the check character is the one that is printed", () => {
  for (const [code, check] of CODES) assert.equal(places.checkCharacter(code), check, code);
});

const [[CODE, CHECK]] = CODES;
const LABELLED = [
  zone("store", { monitors: [monitor(1, { label_code: CODE }), monitor(2, { label_code: "2222222222222DXZ" })] }),
  zone("yard", { monitors: [monitor(12, { label_code: "HJKMNPQRSTVWX22Z" })] }),
  zone("next door", { boundary: "outside", monitors: [monitor(30, { label_code: "WXWXWXWXWXWXWXWX" })] }),
];
const found = (typed) => {
  const { monitor: one, why } = places.findMonitor(LABELLED, typed);
  return one?.number ?? why;
};

test("a monitor is found by its number, in any zone of the walk", () => {
  assert.equal(found({ number: "1" }), 1);
  assert.equal(found({ number: "012" }), 12);
  assert.equal(found({ number: "30" }), "There is no monitor 30 on this visit.");
  assert.match(found({}), /^Type the number/);
});

test("a monitor is found by the code on its label, or the end of it, in any spelling", () => {
  const cases = [
    [CODE, 1],
    [CODE + CHECK, 1],
    [`7k3m 9pqr 2abc dxyz-${CHECK}`.toLowerCase(), 1],
    [`xyz-${CHECK}`, 1],
    ["X22Z", 12],
    ["22z", 12],
    [`d xyz`, 1],
    ["DXZ", 2],
  ];
  for (const [code, number] of cases) assert.equal(found({ code }), number, code);
});

test("what is no code of this visit is told from a slip of the finger", () => {
  assert.match(found({ code: "yz" }), /at least the last 3/);
  assert.match(found({ code: "7K3O" }), /^No label has O/);
  assert.equal(found({ code: "999" }), "No label of this visit has that code.");
  assert.equal(found({ code: "WXWXWXWXWXWXWXWX" }), "No label of this visit has that code.");
  const other = [..."23456789"].find((one) => one !== CHECK);
  assert.match(found({ code: CODE + other }), /^A character is wrong/);
  assert.match(places.findMonitor([zone("a", { monitors: [monitor(1, { label_code: "AAAAXYZ" }), monitor(2, { label_code: "BBBBXYZ" })] })], { code: "XYZ" }).why, /^Several/);
});

test("the address on a label says its code", () => {
  assert.equal(places.codeIn(`HTTPS://KICKPLATE.EXAMPLE.ORG/SITES/M/${CODE}/`), CODE);
  assert.equal(places.codeIn(`https://kickplate.example.org/sites/m/${CODE.toLowerCase()}`), CODE);
  assert.equal(places.codeIn("https://example.org/menu/"), "");
  assert.equal(places.codeIn(CODE), "");
});

// --- a run ----------------------------------------------------------------------------------------

test("only what held nothing and was sound can be the same as last time", () => {
  const last = { condition: "sound", condition_words: "Sound", words: "", counts: {}, bait_taken: "" };
  const why = (more) => places.whyNotSame({ last: more && { ...last, ...more } });
  assert.equal(why({}), "");
  assert.equal(why({ bait_taken: "none" }), "");
  assert.equal(why({ bait_taken: "part" }), "bait was taken last time: look at it");
  assert.equal(why({ words: "3 German cockroach" }), "3 German cockroach last time: count it");
  assert.equal(why({ condition: "damaged", condition_words: "Damaged" }), "damaged last time: look at it");
  assert.equal(why(null), "not read before: count it");
});
