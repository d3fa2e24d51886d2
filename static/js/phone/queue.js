// @ts-check
/**
 * What may happen to the log: what is sent, what an answer does to it, when to try again, and in what
 * words that stands on the page. No document, no network, no storage, no clock.
 *
 * @typedef {{id: string, device: string, seq: number, visit: string, kind: string,
 *   body: Record<string, any>, base_version: number | null, made_at: string, offset_minutes: number,
 *   clock_ahead: number | null, person: string, unsent?: 1, answer?: Answer,
 *   group?: string, undo?: [string, Record<string, any>][], undoes?: string, words?: string}} Operation
 *   `group` is one tap; `undo` puts back what it changed; `undoes` names the group that is taken back.
 * @typedef {{id: string, verdict: "applied" | "parked" | "wait" | "refused", code?: string,
 *   message?: string, version?: number | null, again?: boolean}} Answer
 */

/**
 * An identifier that sorts by time. Source: RFC 9562, section 5.7.
 * @param {number} milliseconds @param {Uint8Array} random sixteen random bytes
 */
export function uuid7(milliseconds, random) {
  const bytes = Uint8Array.from(random);
  let time = milliseconds;
  for (let i = 5; i >= 0; i -= 1) {
    bytes[i] = time % 256;
    time = Math.floor(time / 256);
  }
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

const SENT = ["id", "device", "seq", "visit", "kind", "body", "base_version", "made_at", "offset_minutes", "clock_ahead"];

/** An operation as it is sent; the same bytes each time. @param {any} op */
export const asSent = (op) => Object.fromEntries(SENT.filter((name) => name in op).map((name) => [name, op[name]]));

/**
 * What the answers do to a batch. Silence is no promise: what was not answered is sent again. A
 * closing that still waits although nothing else of its visit does, goes without the count of what
 * was to come before it.
 * @param {Operation[]} batch @param {Answer[]} answers
 * @returns {{answered: Operation[], changed: Operation[], parked: (Answer & {op: Operation})[],
 *   versions: Record<string, number>}}
 */
export function settle(batch, answers) {
  const answerTo = new Map(answers.map((answer) => [answer.id, answer]));
  const isLeft = (/** @type {Operation} */ op) => (answerTo.get(op.id)?.verdict ?? "wait") === "wait";
  const [left, gone] = [batch.filter(isLeft), batch.filter((op) => !isLeft(op))];
  const answered = gone.map(({ unsent: _unsent, ...op }) => ({ ...op, answer: answerTo.get(op.id) }));
  const parked = answered
    .filter((op) => op.answer?.verdict !== "applied")
    .map((op) => /** @type {any} */ ({ ...op.answer, op }));
  /** @type {Record<string, number>} */
  const versions = {};
  for (const { visit, answer } of answered) versions[visit] = Math.max(versions[visit] ?? 0, answer?.version ?? 0);
  const changed = left
    .filter(
      (op) =>
        op.kind === "visit.close" &&
        answerTo.has(op.id) &&
        op.body.operations !== null &&
        left.every((other) => other === op || other.visit !== op.visit),
    )
    .map((op) => ({ ...op, body: { ...op.body, operations: null } }));
  return { answered, changed, parked, versions };
}

/**
 * How long to wait before the next try: longer each time, at most a minute, with some chance in it
 * so that phones that lost their line together do not come back together.
 * @param {number} tries @param {number} chance between 0 and 1 @returns {number} milliseconds
 */
export function retryDelay(tries, chance) {
  const most = Math.min(60_000, 1000 * 2 ** Math.min(tries, 10));
  return Math.round(most * (0.5 + chance / 2));
}

const ASKS = /** @type {Record<string, string>} */ ({
  signed_out: "sign in to send",
  other_person: "somebody else is signed in",
});

/**
 * How things stand between the phone and the server, always in words.
 * @param {{waiting: number, photos: number, sending: boolean, fault: string, saved: string,
 *   sent: string}} how `saved` and `sent` are times of day, or empty
 * @returns {{tone: "" | "sound" | "late", words: string}}
 */
export function standing({ waiting, photos, sending, fault, saved, sent }) {
  const left = [
    waiting ? `${waiting} not sent yet` : "",
    photos ? `${photos} photo${photos === 1 ? "" : "s"} waiting` : "",
  ].filter(Boolean);
  const why = fault ? (ASKS[fault] ?? fault) : sending && left.length ? "sending now" : "";
  const tone = fault ? "late" : left.length ? "" : "sound";
  if (!left.length && fault) return { tone, words: `No line: ${why}. What you record is kept on this phone.` };
  if (!left.length) return { tone, words: sent ? `Sent ${sent}` : "Nothing waits to be sent" };
  return { tone, words: `${`Saved on this phone ${saved}`.trim()}; ${left.join(", ")}${why ? ` (${why})` : ""}` };
}

// The least room that is left before it is said, and about what a photo takes (bytes).
const LITTLE_ROOM = 60_000_000;
const A_PHOTO = 400_000;

/**
 * Words for a phone that is nearly full, or nothing. Browsers only estimate what is left.
 * @param {{quota?: number, usage?: number}} room
 */
export function roomWords({ quota, usage }) {
  if (!quota) return "";
  const left = Math.max(0, quota - (usage ?? 0));
  if (left > LITTLE_ROOM) return "";
  const most = Math.floor(left / A_PHOTO);
  return `This phone is nearly full: room for about ${most} more photo${most === 1 ? "" : "s"}. Send what waits, or free some space.`;
}
