import assert from "node:assert/strict";
import { test } from "node:test";

import * as rules from "../../static/js/phone/rules.js";

const NOTHING = {
  started_at: null,
  looks: {},
  readings: {},
  findings: {},
  not_reached: {},
  treatments: {},
  contact: {},
};

let made = 0;
const op = (kind, body, more = {}) => {
  made += 1;
  return {
    id: `op-${made}`,
    device: "phone",
    seq: made,
    visit: "visit",
    kind,
    body,
    base_version: 1,
    made_at: `2026-12-08T09:${String(made % 60).padStart(2, "0")}:00.000Z`,
    offset_minutes: 0,
    ...more,
  };
};

const unsent = (one) => ({ ...one, unsent: 1 });
const answered = (one, verdict, version) => ({ ...one, answer: { id: one.id, verdict, version } });
const said = (...ops) => ops.reduce(rules.apply, NOTHING);
const look = (id = "door") => op("look.add", { checkpoint: id });
const find = (id, at = "door") => op("finding.set", { finding: id, zone: "kitchen", checkpoint: at, kind: "signs", photos: [] });
const miss = (place) => op("not_reached.set", { ...place, reason: "locked", whose_move: "client" });
const read = (id = "m1", counts = {}) => op("reading.set", { monitor: id, condition: "sound", counts, bait_taken: "", renewed: false, note: "" });

const KITCHEN = {
  id: "kitchen",
  name: "Kitchen",
  boundary: "within",
  checkpoints: [
    { id: "door", height: "low", label: "Door", due: true },
    { id: "shelf", height: "reach", label: "Shelf", due: true },
    { id: "old", height: "reach", label: "No longer due", due: false },
  ],
  monitors: [
    { id: "m1", number: 1, kind: "sticky", due: true },
    { id: "m2", number: 2, kind: "bait_station", due: true },
  ],
};

const wordAt = (state, sort = "checkpoint", id = "door") =>
  rules.wordOn(state, sort, id, "kitchen").word;

test("the last word on a checkpoint stands", () => {
  const sayings = {
    looked: () => look(),
    found: () => find("f1"),
    not_reached: () => miss({ checkpoint: "door" }),
  };
  for (const first of Object.keys(sayings)) {
    for (const last of Object.keys(sayings)) {
      const state = said(sayings[first](), sayings[last]());
      assert.equal(wordAt(state), last, `${first}, then ${last}`);
    }
  }
});

test("a look takes back what was found there, and leaves what was found elsewhere", () => {
  const state = said(find("f1"), find("f2", "shelf"), look());
  assert.deepEqual(Object.keys(state.findings), ["f2"]);
});

test("a reading and not reached replace each other on a monitor", () => {
  assert.equal(wordAt(said(miss({ monitor: "m1" }), read()), "monitor", "m1"), "read");
  assert.equal(wordAt(said(read(), miss({ monitor: "m1" })), "monitor", "m1"), "not_reached");
});

test("a whole zone not reached speaks for what has no word of its own", () => {
  const state = said(look(), miss({ zone: "kitchen" }));
  assert.equal(wordAt(state), "looked");
  assert.equal(wordAt(state, "checkpoint", "shelf"), "zone");
  assert.deepEqual(rules.coverageOfZone(KITCHEN, state), { due: 4, looked: 1, notReached: 3 });
});

test("what is taken back leaves no word", () => {
  const state = said(look(), op("look.remove", { checkpoint: "door" }), read(), op("reading.remove", { monitor: "m1" }));
  assert.deepEqual(state, { ...NOTHING });
});

test("what is unsent is applied in the order it was made, not in which it is kept", () => {
  const first = unsent(look());
  const second = unsent(miss({ checkpoint: "door" }));
  assert.equal(wordAt(rules.withLog(NOTHING, 1, [second, first])), "not_reached");
});

test("what the server applied counts until the package holds it; what it parked never does", () => {
  const applied = answered(look(), "applied", 7);
  assert.equal(wordAt(rules.withLog(NOTHING, 6, [applied])), "looked");
  assert.equal(wordAt(rules.withLog(NOTHING, 7, [applied])), "");
  assert.equal(wordAt(rules.withLog(NOTHING, 6, [answered(look(), "parked", 7)])), "");
});

test("a phone whose clock was fast shows when things happened", () => {
  const three = 3 * 86_400;
  const late = op("look.add", { checkpoint: "door" }, { made_at: "2026-12-11T09:00:00.000Z", clock_ahead: three });
  assert.equal(said(late).looks.door.at, "2026-12-08T09:00:00.000Z");
});

test("a visit is under way once it was started here, and closed once it was closed here", () => {
  const start = op("visit.start", {});
  const close = op("visit.close", { contact_name: "Ana" });
  assert.equal(rules.stateOf("booked", NOTHING), "booked");
  assert.equal(rules.stateOf("booked", said(start)), "under_way");
  assert.equal(rules.stateOf("under_way", said(start, close)), "closed");
  assert.equal(rules.stateOf("called_off", said(start)), "called_off");
  assert.equal(said(start, close).contact.contact_name, "Ana");
});

test("a second start does not move the first", () => {
  assert.equal(said(op("visit.start", {}, { made_at: "2026-12-08T08:00:00.000Z" }), op("visit.start", {})).started_at, "2026-12-08T08:00:00.000Z");
});

const tap = (group, ops, more = {}) => ops.map((one) => ({ ...unsent(one), group, undo: [["look.remove", one.body]], ...more }));

test("taps are taken back one by one, the last one first", () => {
  const log = [...tap("a", [look()]), ...tap("b", [look("shelf"), look("sill")]), ...tap("c", [look("beam")])];
  const tops = () => rules.undoStack(log).map((group) => [group[0].group, group.length]);
  assert.deepEqual(tops(), [["a", 1], ["b", 2], ["c", 1]]);
  log.push({ ...op("look.remove", { checkpoint: "beam" }), group: "d", undoes: "c" });
  assert.deepEqual(tops(), [["a", 1], ["b", 2]]);
  log.push({ ...op("look.remove", {}), group: "e", undoes: "b" }, { ...op("look.remove", {}), group: "e", undoes: "b" });
  assert.deepEqual(tops(), [["a", 1]]);
});

test("what was parked cannot be taken back, as it changed nothing", () => {
  const [one] = tap("a", [look()]);
  assert.deepEqual(rules.undoStack([{ ...one, answer: { id: one.id, verdict: "parked" } }]), []);
});

test("an unknown kind from a newer page changes nothing", () => {
  assert.deepEqual(said(op("visit.dream", {})), NOTHING);
});

test("coverage counts each due place once, and tells what is open", () => {
  const state = said(look(), find("f1"), find("f2"), read("m1"), miss({ monitor: "m2" }), look("old"));
  const tally = rules.coverageOf([KITCHEN], state);
  assert.deepEqual(tally, { due: 4, looked: 2, notReached: 1 });
  assert.equal(rules.openOf(tally), 1);
  assert.equal(rules.coverageWords(tally), "2 of 4 looked at, 1 not reached, 1 open");
});

test("a blocked monitor was not read", () => {
  const blocked = op("reading.set", { ...read().body, condition: "blocked" });
  assert.deepEqual(rules.coverageOfZone(KITCHEN, said(blocked)), { due: 4, looked: 0, notReached: 1 });
});

test("undo puts everything back", () => {
  const befores = [said(), said(look()), said(find("f1")), said(miss({ checkpoint: "door" })), said(read("m1", { wasp: 2 })), said(miss({ monitor: "m1" }))];
  const acts = [look, () => op("look.remove", { checkpoint: "door" }), () => find("f9"), () => find("f1"), () => op("finding.remove", { finding: "f1" }), () => miss({ checkpoint: "door" }), () => miss({ zone: "kitchen" }), () => read("m1"), () => op("reading.remove", { monitor: "m1" }), () => miss({ monitor: "m1" })];
  const words = (state) =>
    [["checkpoint", "door"], ["checkpoint", "shelf"], ["monitor", "m1"]].map(([sort, id]) => wordAt(state, sort, id)).concat(Object.keys(state.findings), JSON.stringify(state.readings.m1?.counts ?? null));
  for (const before of befores) {
    for (const act of acts) {
      const done = act();
      const back = rules.inverse(before, done).map(([kind, body]) => op(kind, body));
      const after = [done, ...back].reduce(rules.apply, before);
      assert.deepEqual(words(after), words(before), `${done.kind} ${JSON.stringify(done.body)}`);
    }
  }
});

test("a body made again carries nothing that the phone or the server added", () => {
  assert.deepEqual(rules.bare({ monitor: "m1", at: "now", missing: ["Batch"] }), { monitor: "m1" });
});

// --- forms ----------------------------------------------------------------------------------------

const CAUTIONS = [
  { key: "always", methods: [], formulations: [], zone_kinds: [], unless: [] },
  { key: "wet", methods: [], formulations: ["liquid"], zone_kinds: [], unless: [] },
  { key: "food", methods: [], formulations: [], zone_kinds: ["kitchen"], unless: ["gel"] },
  { key: "space", methods: ["space"], formulations: ["aerosol"], zone_kinds: [], unless: [] },
  { key: "height", methods: [], formulations: [], zone_kinds: ["roof_void"], surroundings: ["height"], unless: [] },
  { key: "rodents", methods: ["bait_station"], formulations: [], zone_kinds: [], unless: [], pest_groups: ["rodent"] },
];
const keys = (use) => rules.cautionsFor(CAUTIONS, use).map((one) => one.key);

test("cautions follow method, formulation and kind of zone", () => {
  assert.deepEqual(keys({ method: "spray", formulation: "liquid", zoneKind: "kitchen" }), ["always", "wet", "food"]);
  assert.deepEqual(keys({ method: "gel", formulation: "gel", zoneKind: "kitchen" }), ["always"]);
  assert.deepEqual(keys({ method: "space", formulation: "liquid", zoneKind: "bar" }), ["always", "wet", "space"]);
  assert.deepEqual(keys({ method: "", formulation: "", zoneKind: "kitchen" }), ["always", "food"]);
  assert.deepEqual(keys({ method: "gel", formulation: "gel", zoneKind: "bar", surroundings: ["height"] }), ["always", "height"]);
  assert.deepEqual(keys({ method: "gel", formulation: "gel", zoneKind: "roof_void" }), ["always", "height"]);
  assert.deepEqual(keys({ method: "gel", formulation: "gel", zoneKind: "bar", surroundings: ["flames"] }), ["always"]);
  const baiting = { method: "bait_station", formulation: "bait_paste", zoneKind: "bar" };
  assert.deepEqual(keys({ ...baiting, pestGroup: "rodent" }), ["always", "rodents"]);
  assert.deepEqual(keys({ ...baiting, pestGroup: "fly" }), ["always"]);
  assert.deepEqual(keys(baiting), ["always", "rodents"]);
});

const PESTS = [
  { slug: "german-cockroach", name: "German cockroach", group: "cockroach" },
  { slug: "house-fly", name: "House fly", group: "fly" },
  { slug: "house-mouse", name: "House mouse", group: "rodent" },
  { slug: "wasp", name: "Wasp", group: "other" },
];

test("a monitor is counted first for what it held, then for what it is there for", () => {
  const slugs = (monitor, counts = {}) => rules.pestsToCount(monitor, PESTS, counts).map((one) => one.slug);
  assert.deepEqual(slugs({ kind: "snap_trap", last: null }), ["house-mouse"]);
  assert.deepEqual(slugs({ kind: "sticky", last: { counts: { wasp: 2 } } }, { "house-fly": 1 }), ["house-fly", "wasp", "german-cockroach"]);
  assert.deepEqual(slugs({ kind: "unheard_of", last: null }, { gone: 1 }), []);
});

test("the next monitor is the next in walking order without a word", () => {
  const zones = [KITCHEN, { ...KITCHEN, id: "bar", monitors: [{ id: "m3", number: 3 }] }];
  assert.equal(rules.nextMonitor(zones, said(read("m2")), "m1").id, "m3");
  assert.equal(rules.nextMonitor(zones, said(read("m3")), "m2"), null);
});
