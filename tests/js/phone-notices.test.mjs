import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import { exact } from "../../static/js/phone/dose.js";
import * as notices from "../../static/js/phone/notices.js";

const { products, cases } = JSON.parse(readFileSync(new URL("./notice-cases.json", import.meta.url)));
const quantity = ([amount, unit]) => ({ amount: exact(amount), unit });
const KITCHEN = {
  on: "2026-12-08", zone_kind: "kitchen", surface: "crack", pest: "german-cockroach", pest_group: "cockroach", method: "gel",
  outdoors: false, boundary: "within", wind: "", licensed: true,
};
const codes = (product, more, known) => notices.noticesOf(product, { ...KITCHEN, ...more }, known).map(({ code }) => code);

test("the phone finds against an application what the server finds, in the same words and order", () => {
  const seen = new Set();
  for (const { product, planned, rate, measure, amount, days, unusual, found } of cases) {
    const facts = products[product];
    const known = {
      rate: rate === null ? null : facts.label.rates[rate], measure: quantity(measure), amount: quantity(amount), days, unusual,
    };
    const own = notices.noticesOf(facts, planned, known).map(({ code, forbidden, words }) => [code, forbidden, words]);
    assert.deepEqual(own, found, JSON.stringify({ product, planned, rate, measure, amount, days }));
    for (const [code] of found) seen.add(code);
  }
  // Every check that a phone can make is among the cases.
  assert.deepEqual([...seen].sort(), [
    "amount_unclear", "authorisation_expired", "count_used_up", "method_not_on_label", "no_rate", "not_licensed",
    "outside_remit", "over_most", "pest_not_on_label", "place_not_on_label", "register_silent", "sheet_missing",
    "sheet_old", "too_soon", "under_least", "unusual_find", "wind_high", "wind_over_label", "wind_unknown",
  ]);
});

test("a product without its label on the phone is not judged", () => {
  assert.deepEqual(notices.noticesOf({ name: "Old", formulation: "gel", label: null }, KITCHEN), []);
});

test("what the server says of bait and of rotation is said where it matters", () => {
  const rotation = [{ code: "rotation_again", forbidden: false, words: "22A again." }];
  const known = { bait: "The review was due on 1 December 2026.", rotation };
  assert.ok(codes(products.gel, {}, known).includes("rotation_again"));
  assert.ok(!codes(products.gel, {}, known).includes("bait_past_review"), "a gel is no bait for rodents");
  const mouse = { pest: "house-mouse", pest_group: "rodent", method: "bait_station", surface: "station", zone_kind: "staff" };
  assert.ok(codes(products.bait, mouse, known).includes("bait_past_review"));
});

// --- which products -------------------------------------------------------------------------------

const shelf = (id, more = {}) => ({ ...products.gel, id, carried: false, ...more });

test("the product used last comes first, then the van, then the rest; never what its label forbids", () => {
  const forbidden = { ...shelf("no"), label: { ...products.gel.label, pests: ["wasp"], pest_groups: [] }, carried: true };
  const all = [shelf("rest"), shelf("van", { carried: true }), forbidden, shelf("first"), shelf("last"), { ...products.spray, id: "spray" }];
  const { fit, unfit } = notices.offersOf(all, { ...KITCHEN, formulation: "gel" }, ["last", "first"]);
  assert.deepEqual(fit.map(({ product }) => product.id), ["last", "first", "van", "rest"]);
  assert.deepEqual(unfit.map(({ product, why }) => [product.id, why]), [
    ["no", "The label does not name this pest. Choose another product."],
  ]);
});

test("a rate for the place comes before one for the method alone, and no rate is a fault", () => {
  const rates = [
    { ...products.gel.label.rates[0], id: "out", places: ["outdoors"] },
    { ...products.gel.label.rates[0], id: "in", places: ["food_premises"] },
  ];
  const ids = (more) => notices.ratesHere({ ...products.gel.label, rates }, { ...KITCHEN, ...more }).map(({ id }) => id);
  assert.deepEqual(ids({ surface: "equipment" }), ["in"]);
  assert.deepEqual(ids({ surface: "equipment", outdoors: true }), ["out"]);
  assert.deepEqual(ids({ surface: "drain" }), ["out", "in"]);
  assert.throws(() => notices.ratesHere({ ...products.gel.label, rates: [] }, KITCHEN), /no rate/);
});

test("a licence counts from its first to its last day, and none on file is not known", () => {
  const held = [{ from: "2026-01-01", until: "2026-06-30" }, { from: "2026-09-01", until: null }];
  const on = (day) => notices.licensedOn(held, day);
  assert.deepEqual(["2025-12-31", "2026-01-01", "2026-06-30", "2026-07-01", "2026-09-01"].map(on), [false, true, true, false, true]);
  assert.equal(notices.licensedOn([], "2026-01-01"), null);
});
