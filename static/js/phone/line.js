// @ts-check
/**
 * Talks to the server, and nothing else does. Whether there is a line is what the server says, not
 * what the phone believes.
 */

import { asSent } from "./queue.js";

/** @typedef {import("./queue.js").Operation} Operation @typedef {import("./queue.js").Answer} Answer */

const PATIENCE_MS = 30_000;
const PIECE = 128 * 1024; // bytes of a photo at a time, so that a thin line gets on as well

/** Why the server could not be asked: `signed_out`, `other_person`, or words for the technician. */
export class LineFault extends Error {
  /** @param {string} why @param {number} [status] @param {string} [code] @param {any} [facts] */
  constructor(why, status = 0, code = "", facts = {}) {
    super(why);
    this.why = why;
    this.status = status;
    this.code = code;
    this.facts = facts;
  }
}

export class Line {
  /** @param {{sync: string, package: string}} addresses */
  constructor(addresses) {
    this.addresses = addresses;
    /** @type {string} kept in memory only: a stored one would be stale after the next sign-in */
    this.token = "";
  }

  /**
   * Who is signed in, and how far this phone's clock is ahead (seconds); also fetches a fresh token.
   * @returns {Promise<{person: {id: string, name: string}, ahead: number}>}
   */
  async session() {
    const asked = Date.now();
    const answer = await this.ask(this.addresses.sync, {});
    const { person, csrf, now } = await read(answer);
    this.token = csrf;
    return { person, ahead: Math.round(((asked + Date.now()) / 2 - Date.parse(now)) / 1000) };
  }

  /**
   * The package of the days to come, or null if it still is the one with this tag.
   * @param {string} [tag] @returns {Promise<{found: any, tag: string} | null>}
   */
  async package(tag) {
    const answer = await this.ask(this.addresses.package, tag ? { headers: { "If-None-Match": tag } } : {}, "", [304]);
    return answer.status === 304 ? null : { found: await read(answer), tag: answer.headers.get("ETag") ?? "" };
  }

  /** The package of one visit, whatever its day. @param {string} visit @returns {Promise<any>} */
  async packageOf(visit) {
    return read(await this.ask(`${this.addresses.package}?visit=${visit}`, {}));
  }

  /** A picture. @param {string} address */
  async picture(address) {
    return (await this.ask(address, { headers: { Accept: "image/*" } })).blob();
  }

  /**
   * Whose they are is said as well: the server takes nobody's in another's name.
   * @param {Operation[]} operations @param {string} person @returns {Promise<Answer[]>}
   */
  async send(operations, person) {
    const body = JSON.stringify({ person, operations: operations.map(asSent) });
    const answer = await this.post(this.addresses.sync, "POST", { body, headers: { "Content-Type": "application/json" } });
    return (await read(answer)).answers;
  }

  /**
   * Sends a photo in pieces, from where the server has it already.
   * @param {string} address @param {{blob: Blob, taken_at: string, person: string}} photo
   */
  async sendPhoto(address, { blob, taken_at: taken, person }) {
    const whose = { "X-Person": person };
    // What fits into one piece is sent without asking.
    let { held, whole } = blob.size > PIECE ? await read(await this.ask(address, { headers: whose })) : { held: 0 };
    for (let again = 0; !whole; ) {
      const to = Math.min(held + PIECE, blob.size);
      const headers = {
        ...whose,
        "Content-Type": "application/octet-stream",
        "Content-Range": `bytes ${held}-${to - 1}/${blob.size}`,
        ...(taken ? { "X-Taken-At": taken } : {}),
      };
      const body = await blob.slice(held, to).arrayBuffer();
      try {
        ({ held, whole } = await read(await this.post(address, "PUT", { body, headers })));
      } catch (fault) {
        again += 1;
        if (!(fault instanceof LineFault) || again > 3) throw fault;
        if (fault.code === "damaged") held = 0;
        else if (fault.facts?.held !== undefined) held = fault.facts.held;
        else throw fault;
      }
    }
  }

  /**
   * Sends with the token of this sign-in; an old one is fetched anew, once.
   * @param {string} address @param {string} method @param {RequestInit} given
   */
  async post(address, method, given) {
    if (!this.token) await this.session();
    try {
      return await this.ask(address, { method, ...given }, this.token);
    } catch (fault) {
      if (!(fault instanceof LineFault) || fault.why !== "signed_out") throw fault;
      await this.session(); // still signed in: it was only the token
      return this.ask(address, { method, ...given }, this.token);
    }
  }

  /** @param {string} address @param {RequestInit} given @param {string} [token] @param {number[]} [fine] more answers that are fine */
  async ask(address, given, token, fine = []) {
    /** @type {Response} */
    let answer;
    try {
      answer = await fetch(address, {
        credentials: "same-origin",
        redirect: "manual",
        cache: "no-store",
        signal: AbortSignal.timeout(PATIENCE_MS),
        ...given,
        headers: { Accept: "application/json", ...given.headers, ...(token ? { "X-CSRFToken": token } : {}) },
      });
    } catch {
      throw new LineFault("no signal");
    }
    if (answer.type === "opaqueredirect" || answer.status === 401 || answer.status === 403) {
      throw new LineFault("signed_out", answer.status);
    }
    if (answer.status === 429) throw new LineFault("the server asks to wait", 429);
    if (answer.status >= 500) throw new LineFault("the server has a fault", answer.status);
    if (!answer.ok && !fine.includes(answer.status)) throw await faultOf(answer);
    return answer;
  }
}

/** An answer that breaks off, or that is somebody else's on the way, is none. @param {Response} answer @returns {Promise<any>} */
async function read(answer) {
  try {
    return await answer.json();
  } catch {
    throw new LineFault("no signal");
  }
}

/** What the server says, in its own words. @param {Response} answer */
async function faultOf(answer) {
  const plain = `the server answers ${answer.status}`;
  try {
    const { code, message, detail, facts } = await answer.json();
    const why = code === "other_person" ? code : (message ?? detail ?? plain);
    return new LineFault(why, answer.status, code, facts);
  } catch {
    return new LineFault(plain, answer.status);
  }
}
