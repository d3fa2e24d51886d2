// @ts-check
/**
 * One visit on this phone: what the server knows of it, what still waits to be sent, and what both
 * together say. Every record is kept on the phone first and sent then.
 */

import { apply, inverse, timeAt, uuid7, withWaiting } from "./rules.js";
import * as store from "./store.js";

/** @typedef {import("./rules.js").Operation} Operation */

export class VisitOnPhone {
  /** @param {any} visit of the package @param {string} person */
  constructor(visit, person) {
    this.visit = visit;
    this.person = person;
    this.version = visit.version;
    this.base = visit.said;
    /** @type {Operation[]} */
    this.waiting = [];
    this.lastAt = "";
  }

  /** Read what waits on the phone from before. */
  async recall() {
    const kept = await store.queue();
    this.waiting = kept.filter((op) => op.visit === this.visit.id && op.person === this.person);
  }

  /** What the visit says now. */
  get said() {
    return withWaiting(this.base, this.waiting);
  }

  /**
   * Keep one operation on the phone. Resolves once it is safe there.
   * @param {string} kind @param {Record<string, any>} body
   * @returns {Promise<{op: Operation, undo: [string, Record<string, any>][]}>}
   */
  async record(kind, body) {
    const before = this.said;
    const now = new Date();
    const op = await store.keep(
      {
        id: newId(),
        visit: this.visit.id,
        kind,
        body,
        base_version: this.version,
        made_at: now.toISOString(),
        offset_minutes: -now.getTimezoneOffset(),
        person: this.person,
      },
      newId(),
    );
    this.waiting.push(op);
    this.lastAt = timeAt(op.made_at, this.visit.site.time_zone);
    return { op, undo: inverse(before, op) };
  }

  /**
   * What the server has taken belongs to what it knows; what it parked does not change the visit.
   * @param {string[]} applied @param {string[]} parked @param {Record<string, number>} versions
   */
  settled(applied, parked, versions) {
    const taken = new Set(applied);
    const gone = new Set([...applied, ...parked]);
    for (const op of this.waiting) {
      if (taken.has(op.id)) this.base = apply(this.base, op);
    }
    this.waiting = this.waiting.filter((op) => !gone.has(op.id));
    this.version = Math.max(this.version, versions[this.visit.id] ?? 0);
  }
}

/** An identifier made on the phone. */
export function newId() {
  return uuid7(Date.now(), crypto.getRandomValues(new Uint8Array(16)));
}
