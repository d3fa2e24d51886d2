// @ts-check
/** What the pages of one visit share: the visit on this phone, and what is said beside its records. */

import { byId } from "./dom.js";
import { LineFault } from "./line.js";
import { Phone } from "./phone.js";
import * as store from "./store.js";
import { VisitOnPhone } from "./visit.js";

/** @typedef {import("./visit.js").Saying} Saying */

export class App extends Phone {
  /** @param {() => void} changed draws the page as it now stands, once there is a visit */
  constructor(changed) {
    super(() => this.model && changed());
    this.visitId = location.pathname.split("/").at(-3) ?? "";
    /** @type {VisitOnPhone} */
    this.model = /** @type {any} */ (null);
    /** @type {any[]} what the office has to place, until the technician has read it */
    this.parked = [];
  }

  async open() {
    await super.open();
    if (this.model || !this.person) return;
    try {
      const found = await this.line.packageOf(this.visitId);
      await store.keepPackage(found, { person: this.person, at: new Date().toISOString(), tag: "", whole: false });
      await this.recall();
      this.changed();
    } catch (fault) {
      if (!(fault instanceof LineFault)) throw fault;
      this.cannotOpen(fault);
    }
  }

  async recall() {
    await super.recall();
    const kept = this.lists && (await VisitOnPhone.kept(this.visitId, this.person));
    if (!kept) return;
    this.model = kept;
    this.last = kept.last;
    this.zone = this.visit.site.time_zone;
    this.parked = await store.parkedOf(this.visitId).catch(() => []);
    for (const one of this.parked) this.showParked(one);
  }

  get visit() {
    return this.model.visit;
  }

  get said() {
    return this.model.said;
  }

  get zones() {
    return this.visit.zones;
  }

  /** @param {string} id */
  zoneOf(id) {
    return this.zones.find((/** @type {any} */ one) => one.id === id);
  }

  /** @param {string} slug */
  pest(slug) {
    return this.lists.pests.find((/** @type {any} */ one) => one.slug === slug);
  }

  /** The name of a draft: one person's, of one visit. @param {string} name */
  draftKey(name) {
    return `${this.person}/${this.visitId}/${name}`;
  }

  /** Keep a record on the phone, draw it, and send it. @param {string} kind @param {Record<string, any>} body @param {string} [words] */
  record(kind, body, words) {
    return this.recordAll([[kind, body]], words);
  }

  /** The same for all that one tap says. @param {Saying[]} sayings @param {string} [words] what they are about */
  async recordAll(sayings, words) {
    const { model } = this;
    await model.record(sayings, { ahead: this.ahead, words });
    await this.recorded(model);
  }

  /** Take the last tap back. */
  async undo() {
    const { model } = this;
    await model.undo(this.ahead);
    await this.recorded(model);
  }

  /** @param {VisitOnPhone} model the one that took the record: a refresh may have put another in its place */
  async recorded(model) {
    if (this.model !== model) await this.recall();
    this.last = this.model.last;
    this.tabs.postMessage("recorded");
    this.changed();
    this.sender.send();
    navigator.storage?.persist?.();
  }

  /** @param {import("./phone.js").Settled} settled */
  settled(settled) {
    const { answered, parked, versions } = settled;
    const known = this.model?.version ?? 0;
    const mine = answered.filter((op) => op.visit === this.visitId);
    if (this.model) {
      const answerTo = new Map(mine.map((op) => [op.id, op]));
      this.model.log = this.model.log.map((op) => answerTo.get(op.id) ?? op);
      this.model.known = undefined;
    }
    for (const one of parked.filter(({ op }) => op.visit === this.visitId)) {
      this.parked.push(one);
      this.showParked(one);
    }
    super.settled(settled);
    // Another phone, or the office, has said something since: look at it again.
    if (parked.length || (versions[this.visitId] ?? 0) > known + mine.length) this.refresh(true);
  }

  /** A record that the office has to place, and why. @param {any} one */
  showParked(one) {
    if (document.querySelector(`[data-notice="${one.id}"]`)) return;
    this.notice(one.id, "Kept for the office to place", one.message, [
      ["I have read it", () => this.readParked(one)],
    ]);
  }

  /** @param {any} one */
  async readParked(one) {
    this.parked = this.parked.filter((other) => other !== one);
    await store.forgetParked(one.id).catch(() => {});
    this.changed();
  }

  /** Why a record of a place is not on the visit, or nothing. @param {string} id of a checkpoint, monitor, finding … */
  parkedAt(id) {
    const one = this.parked.find(({ op }) => Object.values(op.body).includes(id));
    return one ? `Kept for the office to place: ${one.message}` : "";
  }

  /** @param {LineFault} fault */
  cannotOpen(fault) {
    const words = {
      404: "This visit is not, or no longer, on your list.",
      0: "It is not kept on this phone. Open it where there is a signal; from then on it needs none.",
    }[fault.status];
    byId("coverage-words")?.replaceChildren();
    this.notice("closed", "This visit cannot be opened here", words ?? `The server says: ${fault.why}.`, [
      ["Try again", () => location.reload()],
      ["My day", () => location.assign(this.addresses.day)],
    ]);
  }
}
