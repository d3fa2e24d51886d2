// @ts-check
/**
 * One visit on this phone: what the server knows of it, what this phone has made of it since, and what
 * both together say. Every record is kept on the phone first and sent then.
 */

import { uuid7 } from "./queue.js";
import { inverse, stateOf, undoStack, withLog } from "./rules.js";
import * as store from "./store.js";

/** @typedef {import("./queue.js").Operation} Operation @typedef {[string, Record<string, any>]} Saying kind and body */

export class VisitOnPhone {
  /** @param {any} visit of the package @param {string} person @param {Operation[]} log of the visit */
  constructor(visit, person, log) {
    this.visit = visit;
    this.person = person;
    this.log = log.filter((op) => op.person === person);
    /** @type {import("./rules.js").Said | undefined} */
    this.known = undefined;
  }

  /** What is kept of a visit. @param {string} id @param {string} person @returns {Promise<VisitOnPhone | null>} */
  static async kept(id, person) {
    const [visit, log] = await Promise.all([store.visit(id), store.logOf(id)]);
    return visit?.person === person ? new VisitOnPhone(visit, person, log) : null;
  }

  /** What the visit says now. */
  get said() {
    const { visit, log } = this;
    this.known ??= withLog({ closed_at: visit.closed_at, ...visit.said }, visit.version, log);
    return this.known;
  }

  get state() {
    return stateOf(this.visit.state, this.said);
  }

  /** The version that the server has told this phone of. */
  get version() {
    return Math.max(this.visit.version, ...this.log.map((op) => op.answer?.version ?? 0));
  }

  /** When this phone last recorded something here, and when the server last answered, or nothing. */
  get last() {
    const answers = this.log.flatMap((op) => /** @type {any} */ (op.answer)?.at ?? []);
    return { made: this.log.at(-1)?.made_at ?? "", sent: answers.sort().at(-1) ?? "" };
  }

  /**
   * Keep what one tap says. Resolves once it is safe on the phone.
   * @param {Saying[]} sayings @param {{ahead: number | null, words?: string, undoes?: string}} how
   */
  async record(sayings, { ahead, words = "", undoes }) {
    const now = new Date();
    const group = newId();
    let before = this.said;
    const drafts = sayings.map(([kind, body]) => {
      /** @type {any} */
      const op = {
        id: newId(),
        visit: this.visit.id,
        kind,
        body,
        base_version: this.visit.version,
        made_at: now.toISOString(),
        offset_minutes: -now.getTimezoneOffset(),
        clock_ahead: ahead,
        person: this.person,
        group,
        words,
        ...(undoes ? { undoes } : { undo: inverse(before, { kind, body }) }),
      };
      before = withLog(before, 0, [{ ...op, unsent: 1 }]);
      return op;
    });
    this.log.push(...(await store.keep(drafts, newId())));
    this.known = undefined;
  }

  /** The taps that can be taken back, the last one last; none once the visit is closed. */
  get undoable() {
    return this.state === "closed" ? [] : undoStack(this.log);
  }

  /** @param {number | null} ahead */
  async undo(ahead) {
    const last = this.undoable.at(-1);
    if (!last) return;
    const back = [...last].reverse().flatMap((op) => op.undo ?? []);
    await this.record(back, { ahead, undoes: last[0].group, words: last[0].words });
  }
}

/** An identifier made on the phone. */
export const newId = () => uuid7(Date.now(), crypto.getRandomValues(new Uint8Array(16)));
