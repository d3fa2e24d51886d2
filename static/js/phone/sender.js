// @ts-check
/**
 * Brings the log to the server: operations in the order they were made, then photos. Nothing counts as
 * sent before the server has answered it, and there is always another try.
 */

import { LineFault } from "./line.js";
import { retryDelay, settle } from "./queue.js";
import * as store from "./store.js";

/** @typedef {import("./queue.js").Operation} Operation */

const BATCH = 50;
const ANYWAY_MS = 60_000;
const MEET_MS = 5 * 60_000;
const NEVER_TAKEN = [400, 404, 409, 413, 415, 422];

export class Sender {
  /**
   * @param {import("./line.js").Line} line @param {string} person whose operations are sent
   * @param {(visit: string, sha256: string) => string} photoAddress
   * @param {{
   *   told: (how: {waiting: number, photos: number, sending: boolean, fault: string}) => void,
   *   met: (session: {person: {id: string, name: string}, ahead: number}) => Promise<void>,
   *   settled: (settled: {answered: Operation[], parked: any[], versions: Record<string, number>}) => void,
   * }} page what hears of it
   */
  constructor(line, person, photoAddress, page) {
    this.line = line;
    this.person = person;
    this.photoAddress = photoAddress;
    this.page = page;
    this.tries = 0;
    this.met = -MEET_MS;
    this.sending = false;
    this.fault = "";
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.timer = undefined;
  }

  /** Sends whenever there may be a line again: now, on its return, on coming back to the page. */
  start() {
    const afresh = () => {
      this.tries = 0; // what went wrong before says nothing of this line
      this.send();
    };
    addEventListener("online", afresh);
    addEventListener("focus", afresh);
    document.addEventListener("visibilitychange", () => document.hidden || afresh());
    setInterval(() => this.send(), ANYWAY_MS); // whatever was missed, there is another try
    return this.send();
  }

  /** Sends what waits. One sender at a time, also between tabs. */
  async send() {
    clearTimeout(this.timer);
    await alone(() => this.round());
  }

  async round() {
    this.sending = true;
    await this.tell();
    try {
      await this.meet();
      /** @type {Map<string, LineFault>} photos for which there is no room at present, and why */
      const later = new Map();
      for (;;) {
        await this.sendOperations();
        const way = (await this.photos()).find(({ visit, sha256 }) => !later.has(visit + sha256));
        if (!way) break;
        const fault = await this.sendPhoto(way);
        if (fault) later.set(way.visit + way.sha256, fault);
      }
      for (const fault of later.values()) throw fault;
      this.fault = "";
      this.tries = 0;
    } catch (fault) {
      if (!(fault instanceof LineFault)) throw fault;
      this.fault = fault.why;
      this.tries += 1;
      this.met = -MEET_MS;
      this.timer = setTimeout(() => this.send(), retryDelay(this.tries, Math.random()));
    } finally {
      this.sending = false;
      await this.tell();
    }
  }

  /** Ask who is signed in and what time it is, unless that was asked just now. */
  async meet() {
    if (performance.now() - this.met < MEET_MS) return;
    const session = await this.line.session();
    if (session.person.id !== this.person) throw new LineFault("other_person");
    await this.page.met(session);
    this.met = performance.now();
  }

  /** Gives back why it has to be tried again later, or nothing. @param {import("./store.js").OnItsWay} way */
  async sendPhoto(way) {
    const photo = await store.photo(way.sha256);
    try {
      if (photo) await this.line.sendPhoto(this.photoAddress(way.visit, way.sha256), { ...photo, person: way.person });
    } catch (fault) {
      const { name, why, status, code } = /** @type {any} */ (fault);
      if (code === "no_room") return /** @type {LineFault} */ (fault);
      const unreadable = name === "NotReadableError" || name === "NotFoundError";
      if (!unreadable && (!NEVER_TAKEN.includes(status) || code === "other_person")) throw fault;
      // A picture that the server will never take, or that the phone cannot read any more, stays here
      // for a person, and lets the others pass.
      await store.refusePhoto(way, unreadable ? "This phone cannot read it any more." : why);
      return this.tell();
    }
    await store.photoSent(way);
    return this.tell();
  }

  async sendOperations() {
    for (;;) {
      const batch = (await this.own(store.unsent())).slice(0, BATCH);
      if (!batch.length) return;
      const at = new Date().toISOString();
      const answers = (await this.line.send(batch, this.person)).map((answer) => ({ ...answer, at }));
      const { answered, changed, parked, versions } = settle(batch, answers);
      await store.settled({ answered, changed, parked });
      this.page.settled({ answered, parked, versions });
      await this.tell();
      if (!answered.length && !changed.length) throw new LineFault("the server is not ready for them yet");
    }
  }

  /**
   * Of what is kept, what this person recorded: nobody sends another's.
   * @template {{person?: string}} T @param {Promise<T[]>} kept
   */
  async own(kept) {
    return (await kept).filter((one) => one.person === this.person);
  }

  /** Photos on their way, without those that the server refused; no picture is read. */
  async photos() {
    return (await this.own(store.sending())).filter((one) => !one.refused);
  }

  async tell() {
    const waiting = (await this.own(store.unsent())).length;
    const photos = (await this.photos()).length;
    this.page.told({ waiting, photos, sending: this.sending, fault: this.fault });
  }
}

/**
 * One at a time: a second call waits for nothing and leaves the work to the first, which is asked
 * to go round once more.
 * @param {() => Promise<void>} work
 */
async function alone(work) {
  if (running) {
    again = true;
    return;
  }
  running = true;
  try {
    do {
      again = false;
      await (navigator.locks ? navigator.locks.request("kickplate-queue", work) : work());
    } while (again);
  } finally {
    running = false;
  }
}

let running = false;
let again = false;
