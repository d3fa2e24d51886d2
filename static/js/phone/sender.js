// @ts-check
/**
 * Brings the queue to the server: photos first, then operations in the order they were made. Nothing
 * leaves the queue before the server has answered it, and there is always another try.
 */

import { LineFault } from "./line.js";
import { retryDelay, settle } from "./rules.js";
import * as store from "./store.js";

/** @typedef {import("./rules.js").Operation} Operation */

const BATCH = 50;
const ANYWAY_MS = 60_000;

export class Sender {
  /**
   * @param {import("./line.js").Line} line @param {string} person whose operations are sent
   * @param {(visit: string) => string} photoAddress
   * @param {(how: {waiting: number, photos: number, sending: boolean, fault: string}) => void} told
   * @param {(settled: {applied: string[], parked: any[], versions: Record<string, number>}) => void} done
   */
  constructor(line, person, photoAddress, told, done) {
    this.line = line;
    this.person = person;
    this.photoAddress = photoAddress;
    this.told = told;
    this.done = done;
    this.tries = 0;
    this.sending = false;
    this.fault = "";
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.timer = undefined;
  }

  /** Sends whenever there may be a line again: now, on its return, on coming back to the page. */
  start() {
    addEventListener("online", () => this.send());
    document.addEventListener("visibilitychange", () => {
      if (!document.hidden) this.send();
    });
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
      await this.sendPhotos();
      await this.sendOperations();
      this.fault = "";
      this.tries = 0;
    } catch (fault) {
      if (!(fault instanceof LineFault)) throw fault;
      this.fault = fault.why;
      this.tries += 1;
      this.timer = setTimeout(() => this.send(), retryDelay(this.tries, Math.random()));
    } finally {
      this.sending = false;
      await this.tell();
    }
  }

  async sendPhotos() {
    for (const photo of await this.own(store.photos())) {
      try {
        await this.line.sendPhoto(this.photoAddress(photo.visit), photo);
      } catch (fault) {
        // A picture that the server will never take must not stand in the way of the record.
        if (!(fault instanceof LineFault) || ![400, 404, 413, 415, 422].includes(fault.status)) throw fault;
        this.done({ applied: [], parked: [{ id: photo.sha256, message: `A photo was not taken: ${fault.why}` }], versions: {} });
      }
      await store.forgetPhoto(photo.sha256);
      await this.tell();
    }
  }

  async sendOperations() {
    for (;;) {
      const batch = (await this.own(store.queue())).slice(0, BATCH);
      if (!batch.length) return;
      const answers = await this.line.send(batch, this.person);
      const { keep, gone, parked, versions } = settle(batch, answers);
      const left = new Set(gone);
      await store.settled({
        gone: batch.filter((op) => left.has(op.id)),
        changed: keep.filter((op) => !batch.includes(op)),
        parked,
      });
      const stopped = new Set(parked.map(({ id }) => id));
      this.done({ applied: gone.filter((id) => !stopped.has(id)), parked, versions });
      await this.tell();
      if (!gone.length && keep.every((op) => batch.includes(op))) {
        throw new LineFault("the server is not ready for them yet");
      }
    }
  }

  /**
   * Of what is kept, what this person recorded: nobody sends another's.
   * @template {{person?: string}} T @param {Promise<T[]>} kept
   */
  async own(kept) {
    return (await kept).filter((one) => one.person === this.person);
  }

  async tell() {
    const waiting = (await this.own(store.queue())).length;
    const photos = (await this.own(store.photos())).length;
    this.told({ waiting, photos, sending: this.sending, fault: this.fault });
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
      if (navigator.locks) {
        await navigator.locks.request("kickplate-queue", work);
      } else {
        await work();
      }
    } while (again);
  } finally {
    running = false;
  }
}

let running = false;
let again = false;
