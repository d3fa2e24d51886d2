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

test("operations that wait are applied in the order they were made, not in which they are kept", () => {
  const first = look();
  const second = miss({ checkpoint: "door" });
  assert.equal(wordAt(rules.withWaiting(NOTHING, [second, first])), "not_reached");
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
];
const keys = (use) => rules.cautionsFor(CAUTIONS, use).map((one) => one.key);

test("cautions follow method, formulation and kind of zone", () => {
  assert.deepEqual(keys({ method: "spray", formulation: "liquid", zoneKind: "kitchen" }), ["always", "wet", "food"]);
  assert.deepEqual(keys({ method: "gel", formulation: "gel", zoneKind: "kitchen" }), ["always"]);
  assert.deepEqual(keys({ method: "space", formulation: "liquid", zoneKind: "bar" }), ["always", "wet", "space"]);
  assert.deepEqual(keys({ method: "", formulation: "", zoneKind: "kitchen" }), ["always", "food"]);
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

const SIGNATURE = [[[0.1, 0.5], [0.5, 0.2], [0.9, 0.6]]];
const given = (more) => ({ contact_name: "", signature: [], signature_typed: "", no_signature_reason: "", ...more });

test("closing needs ink with a name, a written name, or a reason", () => {
  const field = (more) => rules.faultsOfClosing(given(more))[0]?.[0];
  assert.equal(field({}), "signature");
  assert.equal(field({ contact_name: "Ana" }), "signature");
  assert.equal(field({ contact_name: "Ana", signature: [[[0.1, 0.1], [0.12, 0.1]]] }), "signature");
  assert.equal(field({ signature: SIGNATURE }), "contact_name");
  assert.equal(field({ contact_name: "Ana", signature: SIGNATURE }), undefined);
  assert.equal(field({ signature_typed: "Ana Prior" }), undefined);
  assert.equal(field({ no_signature_reason: "Nobody there" }), undefined);
});

test("ink is as long as the line that was drawn", () => {
  assert.equal(rules.inkOf([[[0, 0], [1, 0]], [[0, 0], [0, 1]]]), 400);
  assert.equal(rules.inkOf([[[0.5, 0.5]]]), 0);
});

// --- the queue ------------------------------------------------------------------------------------

test("identifiers are version 7 and sort by time", () => {
  const random = new Uint8Array(16).fill(255);
  const early = rules.uuid7(1_700_000_000_000, random);
  const late = rules.uuid7(1_700_000_000_001, new Uint8Array(16));
  assert.match(early, /^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
  assert.ok(early < late);
  assert.equal(Number.parseInt(early.replaceAll("-", "").slice(0, 12), 16), 1_700_000_000_000);
});

test("only what was answered leaves the queue", () => {
  const [one, two, three] = [look(), look(), look()];
  const { keep, gone, parked, versions } = rules.settle(
    [one, two, three],
    [
      { id: one.id, verdict: "applied", version: 7 },
      { id: three.id, verdict: "parked", code: "visit_closed", message: "It is closed." },
    ],
  );
  assert.deepEqual(keep, [two]);
  assert.deepEqual(gone, [one.id, three.id]);
  assert.deepEqual(parked.map((answer) => [answer.message, answer.op.id]), [["It is closed.", three.id]]);
  assert.deepEqual(versions, { visit: 7 });
});

test("no answers at all keep everything", () => {
  const queue = [look(), read()];
  assert.deepEqual(rules.settle(queue, []).keep, queue);
});

test("a closing waits with its count while other records are on their way, and without it then", () => {
  const close = op("visit.close", { operations: 3 });
  const other = look();
  const waits = { id: close.id, verdict: "wait" };
  assert.equal(rules.settle([other, close], [waits]).keep[1].body.operations, 3);
  const alone = rules.settle([other, close], [{ id: other.id, verdict: "applied", version: 2 }, waits]);
  assert.equal(alone.keep[0].body.operations, null);
});

test("tries come further apart, with chance in them, at most a minute", () => {
  assert.equal(rules.retryDelay(0, 0), 500);
  assert.equal(rules.retryDelay(3, 1), 8000);
  assert.equal(rules.retryDelay(99, 1), 60_000);
  assert.ok(rules.retryDelay(99, 0) >= 30_000);
});

test("how things stand is always said in words", () => {
  const how = { waiting: 0, photos: 0, sending: false, fault: "", at: "" };
  assert.deepEqual(rules.standing({ ...how, at: "10:42" }), { tone: "sound", words: "Saved 10:42" });
  assert.equal(rules.standing({ ...how, waiting: 2, photos: 1, sending: true }).words, "Sending 2 records and 1 photo…");
  assert.deepEqual(rules.standing({ ...how, waiting: 1, fault: "no signal" }), {
    tone: "late",
    words: "Not sent: no signal. 1 record kept on this phone, trying again.",
  });
  assert.match(rules.standing({ ...how, waiting: 1, fault: "signed_out" }).words, /sign in to send/);
  assert.match(rules.standing({ ...how, fault: "full" }).words, /not kept/);
});

test("times are the site's, days are plain", () => {
  assert.equal(rules.timeAt("2026-12-08T20:30:00Z", "Pacific/Auckland"), "09:30");
  assert.equal(rules.dayWords("2026-02-03"), "Tue 3 Feb 2026");
});
