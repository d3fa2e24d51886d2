// @ts-check
/**
 * Talks to the server, and nothing else does. Whether there is a line is what the server says, not
 * what the phone believes.
 */

/** @typedef {import("./rules.js").Operation} Operation @typedef {import("./rules.js").Answer} Answer */

const PATIENCE_MS = 30_000;

/** Why the server could not be asked: `signed_out`, or words for the technician. */
export class LineFault extends Error {
  /** @param {string} why @param {number} [status] */
  constructor(why, status = 0) {
    super(why);
    this.why = why;
    this.status = status;
  }
}

export class Line {
  /** @param {{sync: string, package: string}} addresses */
  constructor(addresses) {
    this.addresses = addresses;
    /** @type {string} kept in memory only: a stored one would be stale after the next sign-in */
    this.token = "";
  }

  /** Who is signed in; also fetches a fresh token. @returns {Promise<{id: string, name: string}>} */
  async session() {
    const answer = await this.ask(this.addresses.sync, {});
    const { person, csrf } = await answer.json();
    this.token = csrf;
    return person;
  }

  /** @param {string} visit @returns {Promise<any>} */
  async package(visit) {
    const answer = await this.ask(`${this.addresses.package}?visit=${visit}`, {});
    return answer.json();
  }

  /**
   * Whose they are is said as well: the server takes nobody's in another's name.
   * @param {Operation[]} operations @param {string} person @returns {Promise<Answer[]>}
   */
  async send(operations, person) {
    const bare = operations.map(({ person: _person, ...op }) => op);
    const body = JSON.stringify({ person, operations: bare });
    const answer = await this.post(this.addresses.sync, () => ({
      body,
      headers: { "Content-Type": "application/json" },
    }));
    return (await answer.json()).answers;
  }

  /**
   * @param {string} address @param {{blob: Blob, taken_at: string, person: string}} photo
   * @returns {Promise<string>}
   */
  async sendPhoto(address, photo) {
    const answer = await this.post(address, () => {
      const form = new FormData();
      form.append("photo", photo.blob, "photo.jpg");
      form.append("taken_at", photo.taken_at);
      form.append("person", photo.person);
      return { body: form };
    });
    return (await answer.json()).sha256;
  }

  /**
   * Posts with the token of this sign-in; an old one is fetched anew, once.
   * @param {string} address @param {() => RequestInit} given
   */
  async post(address, given) {
    if (!this.token) await this.session();
    try {
      return await this.ask(address, { method: "POST", ...given() }, this.token);
    } catch (fault) {
      if (!(fault instanceof LineFault) || fault.why !== "signed_out") throw fault;
      await this.session(); // still signed in: it was only the token
      return this.ask(address, { method: "POST", ...given() }, this.token);
    }
  }

  /** @param {string} address @param {RequestInit} given @param {string} [token] */
  async ask(address, given, token) {
    /** @type {Response} */
    let answer;
    try {
      answer = await fetch(address, {
        credentials: "same-origin",
        redirect: "manual",
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
    if (!answer.ok) throw await fault(answer);
    return answer;
  }
}

/** What the server says, in its own words. @param {Response} answer */
async function fault(answer) {
  const plain = `the server answers ${answer.status}`;
  try {
    const said = await answer.json();
    const why = said.code === "other_person" ? said.code : (said.message ?? said.detail ?? plain);
    return new LineFault(why, answer.status);
  } catch {
    return new LineFault(plain, answer.status);
  }
}
