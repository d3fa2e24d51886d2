import assert from "node:assert/strict";
import { test } from "node:test";

import * as queue from "../../static/js/phone/queue.js";

let made = 0;
const op = (kind = "look.add", body = {}, more = {}) => {
  made += 1;
  return { id: `op-${made}`, device: "phone", seq: made, visit: "visit", kind, body, base_version: 1, made_at: "2026-12-08T09:00:00Z", offset_minutes: 0, clock_ahead: null, person: "ana", unsent: 1, ...more };
};

// RFC 9562, section 5.7: 48 bits of Unix time in milliseconds, version 7, variant 10.
test("identifiers are version 7 and sort by time", () => {
  const random = new Uint8Array(16).fill(255);
  const early = queue.uuid7(1_700_000_000_000, random);
  const late = queue.uuid7(1_700_000_000_001, new Uint8Array(16));
  assert.match(early, /^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$/);
  assert.ok(early < late);
  assert.equal(Number.parseInt(early.replaceAll("-", "").slice(0, 12), 16), 1_700_000_000_000);
});

test("the example of the standard comes out", () => {
  // RFC 9562, appendix A.6: 2022-02-22 19:22:22 GMT, rand_a CC3, rand_b 18C4DC0C0C07398F.
  const random = Uint8Array.from([0, 0, 0, 0, 0, 0, 0x0c, 0xc3, 0x18, 0xc4, 0xdc, 0x0c, 0x0c, 0x07, 0x39, 0x8f]);
  assert.equal(queue.uuid7(1_645_557_742_000, random), "017f22e2-79b0-7cc3-98c4-dc0c0c07398f");
});

test("only what was answered counts as sent", () => {
  const [one, two, three] = [op(), op(), op()];
  const { answered, changed, parked, versions } = queue.settle(
    [one, two, three],
    [
      { id: one.id, verdict: "applied", version: 7 },
      { id: three.id, verdict: "parked", code: "visit_closed", message: "It is closed." },
    ],
  );
  assert.deepEqual(answered.map(({ id, unsent }) => [id, unsent]), [[one.id, undefined], [three.id, undefined]]);
  assert.deepEqual(changed, []);
  assert.deepEqual(parked.map((answer) => [answer.message, answer.op.id]), [["It is closed.", three.id]]);
  assert.deepEqual(versions, { visit: 7 });
});

test("no answers at all keep everything", () => {
  assert.deepEqual(queue.settle([op(), op()], []), { answered: [], changed: [], parked: [], versions: {} });
});

test("a closing waits with its count while others are on their way, and goes without it then", () => {
  const close = op("visit.close", { operations: 3 });
  const other = op();
  const waits = { id: close.id, verdict: "wait" };
  assert.deepEqual(queue.settle([other, close], [waits]).changed, []);
  const alone = queue.settle([other, close], [{ id: other.id, verdict: "applied", version: 2 }, waits]);
  assert.equal(alone.changed[0].body.operations, null);
  assert.deepEqual(queue.settle(alone.changed, [waits]).changed, []); // once is enough
});

test("an operation is sent as the same bytes each time, without what is the phone's own", () => {
  const one = op("look.add", { checkpoint: "door" }, { group: "g", undo: [], words: "Door", answer: { id: "x" } });
  const sent = JSON.stringify(queue.asSent(one));
  assert.equal(JSON.stringify(queue.asSent({ answer: 1, ...one, unsent: undefined })), sent);
  assert.deepEqual(Object.keys(queue.asSent(one)), ["id", "device", "seq", "visit", "kind", "body", "base_version", "made_at", "offset_minutes", "clock_ahead"]);
});

test("tries come further apart, with chance in them, at most a minute", () => {
  assert.equal(queue.retryDelay(0, 0), 500);
  assert.equal(queue.retryDelay(3, 1), 8000);
  assert.equal(queue.retryDelay(99, 1), 60_000);
  assert.ok(queue.retryDelay(99, 0) >= 30_000);
});

const words = (how) => queue.standing({ waiting: 0, photos: 0, sending: false, fault: "", saved: "", sent: "", ...how }).words;

test("how things stand is always said in words", () => {
  const cases = [
    [{}, "Nothing waits to be sent"],
    [{ sent: "10:45" }, "Sent 10:45"],
    [{ waiting: 3, saved: "10:42" }, "Saved on this phone 10:42; 3 not sent yet"],
    [{ photos: 2, saved: "10:42", sent: "10:45" }, "Saved on this phone 10:42; 2 photos waiting"],
    [{ waiting: 1, photos: 1, saved: "10:42", sending: true }, "Saved on this phone 10:42; 1 not sent yet, 1 photo waiting (sending now)"],
    [{ waiting: 1, saved: "10:42", fault: "no signal" }, "Saved on this phone 10:42; 1 not sent yet (no signal)"],
    [{ waiting: 1, saved: "10:42", fault: "signed_out" }, "Saved on this phone 10:42; 1 not sent yet (sign in to send)"],
    [{ fault: "no signal", sent: "10:45" }, "No line: no signal. What you record is kept on this phone."],
  ];
  for (const [how, expected] of cases) assert.equal(words(how), expected);
});

test("only a phone that has sent everything looks settled", () => {
  const tone = (how) => queue.standing({ waiting: 0, photos: 0, sending: false, fault: "", saved: "", sent: "", ...how }).tone;
  assert.deepEqual([tone({}), tone({ waiting: 1 }), tone({ photos: 1 }), tone({ fault: "no signal" })], ["sound", "", "", "late"]);
});

test("a phone that is nearly full is told before it is", () => {
  assert.equal(queue.roomWords({}), "");
  assert.equal(queue.roomWords({ quota: 1e9, usage: 1e8 }), "");
  assert.match(queue.roomWords({ quota: 1e9, usage: 1e9 - 1e6 }), /about 2 more photos/);
  assert.match(queue.roomWords({ quota: 1e9, usage: 2e9 }), /about 0 more photos/);
});
