import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import * as dose from "../../static/js/phone/dose.js";

const CASES = JSON.parse(readFileSync(new URL("./dose-cases.json", import.meta.url)));
const quantity = ([amount, unit]) => ({ amount: dose.exact(amount), unit });
const same = (a, b, words) => assert.equal(dose.compare(a, dose.exact(b)), 0, words);

/** What comes of it, or what is wrong and where. */
function told(sum) {
  try {
    return sum();
  } catch (fault) {
    if (!(fault instanceof dose.DoseFault)) throw fault;
    return { fault: fault.field, sentence: fault.message };
  }
}

// --- against the server's sums --------------------------------------------------------------------

test("what a label allows is what the server works out, to the last digit and in the same words", () => {
  assert.ok(CASES.doses.filter(({ most }) => most).length > 30);
  for (const { label, rate, measure, ...wanted } of CASES.doses) {
    const words = JSON.stringify([label, rate, measure]);
    const facts = CASES.labels[label];
    const found = told(() => dose.doseOf(facts.rates[rate], facts, quantity(measure)));
    if (wanted.fault) {
      assert.deepEqual(found, wanted, words);
      continue;
    }
    assert.ok(found.most, `${words}: ${found.sentence}`);
    same(found.most.amount, wanted.most, words);
    assert.equal(found.most.unit, wanted.unit, words);
    assert.equal(dose.shownRange(found.least, found.most), wanted.range, words);
    assert.equal(dose.typedWords(dose.measuredOut(found.most)), wanted.offered, words);
    assert.equal(found.finished ? dose.shown(found.finished) : "", wanted.finished, words);
    assert.equal(found.perLitre ? dose.shownMost(found.perLitre) : "", wanted.per_litre, words);
  }
});

test("what was used is the same share of the most, over it or under the least", () => {
  const verdicts = new Set();
  for (const { label, rate, measure, amount, ...wanted } of CASES.uses) {
    const words = JSON.stringify([label, rate, measure, amount]);
    const facts = CASES.labels[label];
    const found = told(() => dose.useOf(facts.rates[rate], facts, quantity(measure), quantity(amount)));
    if (wanted.fault) {
      assert.deepEqual(found, wanted, words);
      continue;
    }
    same(found.share, wanted.share, words);
    assert.equal(dose.shownShare(found.share), wanted.words, words);
    assert.deepEqual([found.over, found.under], [wanted.over, wanted.under], words);
    verdicts.add(`${found.over} ${found.under}`);
  }
  assert.equal(verdicts.size, 3);
});

test("a typed number is read, or refused, in the same words", () => {
  for (const { typed, number, sentence } of CASES.typed) {
    const found = told(() => dose.readNumber(typed));
    if (sentence) assert.deepEqual(found, { fault: "amount", sentence }, typed);
    else same(found, number, typed);
  }
});

test("every unit is the same amount of every other of its kind", () => {
  for (const { unit, to, one } of CASES.units) same(dose.convert(dose.exact("1"), unit, to), one, `${unit} in ${to}`);
  assert.throws(() => dose.convert(dose.exact("1"), "oz", "us_fl_oz"), /An ounce is a weight/);
});

test("amounts are shown alike", () => {
  for (const { amount, unit, typed, ...ways } of CASES.shown) {
    const given = quantity([amount, unit]);
    for (const [way, words] of Object.entries(ways)) assert.equal(dose.shown(given, way), words);
    assert.equal(dose.typedWords(given), typed);
  }
});

// --- what is only the phone's ---------------------------------------------------------------------

const GEL = CASES.labels["gel by spots"];
const SPRAY = CASES.labels["concentrate over an area"];

test("what is offered is never over the label's most, nor under its least", () => {
  for (const { label, rate, measure, most } of CASES.doses) {
    if (!most) continue;
    const facts = CASES.labels[label];
    const found = dose.doseOf(facts.rates[rate], facts, quantity(measure));
    for (const offered of [dose.measuredOut(found.most), dose.atLeast(found.least ?? found.most, found.most)]) {
      const use = dose.useOf(facts.rates[rate], facts, quantity(measure), offered);
      assert.equal(use.over, false);
      const recorded = dose.exact(dose.digits(offered.amount));
      assert.ok(dose.compare(recorded, offered.amount) <= 0);
    }
  }
});

test("a rate for another method or place is not offered", () => {
  assert.equal(dose.ratesFor(GEL, { method: "gel" }).length, 1);
  assert.equal(dose.ratesFor(GEL, { method: "spot" }).length, 2);
  assert.throws(() => dose.ratesFor({ ...GEL, rates: [GEL.rates[1]] }, { method: "gel" }), /no rate for this method/);
  assert.throws(() => dose.ratesFor({ ...GEL, rates: [] }), /The register has no rate/);
  assert.throws(() => dose.ratesFor({ ...GEL, rates: [], why: "A strength cannot be above 100 %." }), /above 100 %/);
});

test("the working is said in words, spray and tank where there is any", () => {
  const spots = quantity(["10", "points"]);
  assert.deepEqual(dose.workingOf(GEL.rates[0], spots, dose.doseOf(GEL.rates[0], GEL, spots)), [
    "Label: 0.2 g to 0.5 g for each point.",
    "For 10 points: 2 g to 5 g of the product.",
  ]);
  const floor = quantity(["12.5", "m2"]);
  const found = dose.doseOf(SPRAY.rates[0], SPRAY, floor);
  assert.deepEqual(dose.workingOf(SPRAY.rates[0], floor, found), [
    "Label: 0.3 ml to 0.5 ml for each m².",
    "12.5 m² take 500 ml of finished spray.",
    "For 12.5 m²: 3.75 ml to 6.25 ml of the product.",
    "In each litre: at most 12.5 ml.",
  ]);
  assert.equal(dose.tankWords(found), "Make up 500 ml with at most 6.25 ml of the product.");
  assert.equal(dose.tankWords(dose.doseOf(GEL.rates[0], GEL, spots)), "");
});

test("an amount holds so much of each active ingredient, where that is known", () => {
  assert.deepEqual(
    dose.activesIn(GEL, quantity(["5", "g"])).map(([name, held]) => [name, dose.shown(held)]),
    [["indoxacarb", "30 mg"]],
  );
  assert.deepEqual(dose.activesIn(CASES.labels["rate that needs a density"], quantity(["5", "ml"])), []);
  assert.deepEqual(dose.activesIn(GEL, quantity(["5", "ml"])), [], "a weight and a volume");
});

test("a record keeps four places, and no zeros that say nothing", () => {
  for (const [amount, words] of [["2.50", "2.5"], ["8/3", "2.6666"], ["10", "10"], ["0.00004", "0"], ["0.05", "0.05"]]) {
    assert.equal(dose.digits(dose.exact(amount)), words);
  }
});
