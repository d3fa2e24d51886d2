import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { test } from "node:test";

import * as guide from "../../static/js/phone/guide.js";

const { rows, cases } = JSON.parse(readFileSync(new URL("./guide-cases.json", import.meta.url)));
const KITCHEN = { zone_kind: "kitchen", surface: "crack", pest: "german-cockroach", pest_group: "cockroach", surroundings: [] };

test("the phone's rule says of every case what the server's says", () => {
  assert.ok(cases.length > 40);
  for (const { situation, advice } of cases) {
    assert.deepEqual(guide.advise(situation, rows), advice, JSON.stringify(situation));
  }
});

test("what a row leaves open is left out of the package, and changes nothing", () => {
  const open = (value) => value === "" || value === 0 || (Array.isArray(value) && !value.length);
  const thin = rows.map((row) => Object.fromEntries(Object.entries(row).filter(([, value]) => !open(value))));
  for (const { situation, advice } of cases) assert.deepEqual(guide.advise(situation, thin), advice);
});

test("before dust is used, its own cautions are read and those of a spray are not", () => {
  const dust = guide.mindFor(KITCHEN, rows, { formulation: "dust", method: "dust_by_hand" });
  const spray = guide.mindFor(KITCHEN, rows, { formulation: "liquid", method: "spray" });
  assert.ok(dust.cautions.some(({ key }) => key === "plate_electrics"));
  assert.ok(!spray.cautions.some(({ key }) => key === "plate_electrics"));
  assert.ok(dust.preconditions.some(({ key }) => key === "food-away-open"));
});

test("a formulation that is ruled out says why, whoever chooses it all the same", () => {
  const near = { ...KITCHEN, surroundings: ["electrics"] };
  assert.match(guide.mindFor(near, rows, { formulation: "aerosol", method: "spot" }).against, /live electrical/);
  assert.equal(guide.mindFor(KITCHEN, rows, { formulation: "gel", method: "gel" }).against, "");
});

test("before a surface is named, each one's best is offered, the best first, and each says where", () => {
  const { surface: _, ...somewhere } = KITCHEN;
  const found = guide.suggestionsFor(somewhere, ["floor_edge", "crack", "equipment"], rows);
  assert.deepEqual(found.map(({ surface, formulation }) => [surface, formulation]), [
    ["crack", "dust"],
    ["equipment", "gel"],
    ["floor_edge", "gel"],
  ]);
  assert.deepEqual(guide.suggestionsFor(somewhere, ["station"], rows), []);
});

test("what suits on any surface is offered once, and not again for each", () => {
  const ants = { ...KITCHEN, pest: "garden-ant", pest_group: "ant" };
  const found = guide.suggestionsFor(ants, ["open_surface", "equipment", "crack"], rows);
  assert.deepEqual(found.map(({ surface, formulation }) => [surface, formulation]), [["crack", "dust"], ["", "gel"]]);
});
