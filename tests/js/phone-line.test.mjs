import assert from "node:assert/strict";
import { test } from "node:test";

import { Line } from "../../static/js/phone/line.js";

const KB = 1024;

/** A server that takes photos in pieces, and the requests that it got. */
function serverOf({ held = 0, damaged = 0, cutAt = -1 } = {}) {
  const asked = [];
  const answer = (status, body) => new Response(JSON.stringify(body), { status });
  globalThis.fetch = async (address, { method = "GET", headers, body }) => {
    if (address === "sync") return answer(200, { person: { id: "me" }, csrf: "token", now: "2026-11-25T08:00:00Z" });
    if (method === "GET") {
      asked.push("GET");
      return answer(200, { held, whole: false });
    }
    const [, first, last, total] = /(\d+)-(\d+)\/(\d+)/.exec(headers["Content-Range"]).map(Number);
    asked.push([first, body.byteLength]);
    if (asked.length === cutAt) throw new TypeError("cut");
    if (first !== held) return answer(409, { code: "not_the_next", message: "No.", facts: { held } });
    held = last + 1;
    if (held < total) return answer(200, { held, whole: false });
    if (damaged-- > 0) {
      held = 0;
      return answer(422, { code: "damaged", message: "Damaged." });
    }
    return answer(201, { whole: true, sha256: "" });
  };
  return asked;
}

const send = (size) =>
  new Line({ sync: "sync", package: "package" }).sendPhoto("photo", { blob: new Blob([new Uint8Array(size)]), taken_at: "", person: "me" });

test("a small photo is sent at once, in one piece", async () => {
  const asked = serverOf();
  await send(100 * KB);
  assert.deepEqual(asked, [[0, 100 * KB]]);
});

test("a large one goes in pieces, from where the server has it", async () => {
  const asked = serverOf({ held: 128 * KB });
  await send(300 * KB);
  assert.deepEqual(asked, ["GET", [128 * KB, 128 * KB], [256 * KB, 44 * KB]]);
});

test("a piece that is not the next is no end: it goes on where the server says", async () => {
  const asked = serverOf({ held: 64 * KB });
  await send(100 * KB);
  assert.deepEqual(asked, [[0, 100 * KB], [64 * KB, 36 * KB]]);
});

test("one that was damaged on its way is sent anew, and given up after some tries", async () => {
  const asked = serverOf({ damaged: 1 });
  await send(100 * KB);
  assert.equal(asked.length, 2);

  serverOf({ damaged: 9 });
  await assert.rejects(send(100 * KB), { code: "damaged", status: 422 });
});

test("a line that is cut is told as such, with nothing sent twice", async () => {
  const asked = serverOf({ cutAt: 3 });
  await assert.rejects(send(300 * KB), { why: "no signal" });
  assert.deepEqual(asked, ["GET", [0, 128 * KB], [128 * KB, 128 * KB]]);
});

test("an answer that is not the server's own is no answer", async () => {
  globalThis.fetch = async () => new Response("<h1>Sign in to the hotel's network</h1>");
  await assert.rejects(send(100 * KB), { why: "no signal" });
});
