// @ts-check
/**
 * What the pages of a visit share: the visit on this phone, the sender, and the line at the bottom
 * that says how things stand.
 */

import { byId, copyOf, write } from "./dom.js";
import { Line } from "./line.js";
import { standing, timeAt } from "./rules.js";
import { Sender } from "./sender.js";
import * as store from "./store.js";
import { VisitOnPhone } from "./visit.js";

export class App {
  /** @param {HTMLElement} root the element that carries the addresses @param {() => void} changed */
  constructor(root, changed) {
    const { visit, person, sync, package: packageAddress, photo, signIn } = /** @type {any} */ (root.dataset);
    this.visitId = visit;
    this.signIn = signIn;
    this.changed = changed;
    this.line = new Line({ sync, package: packageAddress });
    this.person = person;
    this.sender = new Sender(
      this.line,
      person,
      (of) => photo.replace(visit, of),
      (how) => this.tell(how),
      (settled) => this.settled(settled),
    );
    /** @type {any} */
    this.package = null;
    /** @type {VisitOnPhone} */
    this.model = /** @type {any} */ (null);
    /** @type {Set<(op: string, parked: any) => void>} */
    this.heard = new Set();
  }

  /** Fetch the package, remember what waits on the phone, and begin to send it. */
  async open() {
    this.package = await this.line.package(this.visitId);
    this.model = new VisitOnPhone(this.package.visits[0], this.person);
    try {
      await this.model.recall();
    } catch {
      this.warn("This browser keeps nothing", "Records are sent at once and are lost if the page closes first. Use another browser, or leave private browsing.");
    }
    for (const one of await store.parkedOf(this.visitId).catch(() => [])) this.showParked(one);
    this.changed();
    await this.sender.start();
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

  /** @param {string} instant */
  time(instant) {
    return timeAt(instant, this.visit.site.time_zone);
  }

  /** @param {string} id */
  zone(id) {
    return this.zones.find((/** @type {any} */ one) => one.id === id);
  }

  /** @param {string} slug */
  pest(slug) {
    return this.package.pests.find((/** @type {any} */ one) => one.slug === slug);
  }

  /** Keep a record on the phone, draw it, and send it. @param {string} kind @param {Record<string, any>} body */
  async record(kind, body) {
    const kept = await this.model.record(kind, body);
    this.changed();
    this.sender.send();
    return kept;
  }

  /** @param {{applied: string[], parked: any[], versions: Record<string, number>}} settled */
  settled({ applied, parked, versions }) {
    this.model.settled(applied, parked.map((one) => one.id), versions);
    for (const one of parked) this.showParked(one);
    for (const id of applied) this.heard.forEach((hear) => hear(id, null));
    for (const one of parked) this.heard.forEach((hear) => hear(one.id, one));
    this.changed();
  }

  /** @param {{waiting: number, photos: number, sending: boolean, fault: string}} how */
  tell(how) {
    const { tone, words } = standing({ ...how, at: this.model?.lastAt ?? "" });
    const saved = byId("saved");
    if (saved.textContent !== words) saved.textContent = words;
    saved.className = `saved ${tone}`;
    if (how.fault === "signed_out") {
      const link = document.createElement("a");
      link.href = `${this.signIn}?next=${encodeURIComponent(location.pathname)}`;
      link.textContent = "Sign in";
      saved.append(" ", link);
    }
  }

  /** A record that the office has to place, and why. @param {any} one */
  showParked(one) {
    if (document.querySelector(`[data-notice="${one.id}"]`)) return;
    const notice = this.warn("Kept for the office to place", one.message);
    notice.dataset.notice = one.id;
    notice.querySelector("button").addEventListener("click", () => store.forgetParked(one.id).catch(() => {}));
  }

  /** @param {string} title @param {string} words @returns {any} */
  warn(title, words) {
    const notice = copyOf("notice-template");
    notice.classList.add("soon");
    write(notice, "title", title);
    write(notice, "words", words);
    notice.querySelector("button").addEventListener("click", () => notice.remove());
    byId("notices").append(notice);
    return notice;
  }
}

/** What to say when the page cannot be opened at all. @param {any} fault @param {App} app */
export function cannotOpen(fault, app) {
  const saved = byId("saved");
  saved.className = "saved late";
  if (fault.why === "signed_out") {
    app.tell({ waiting: 0, photos: 0, sending: false, fault: "signed_out" });
  } else {
    saved.textContent = `Cannot be opened: ${fault.why ?? fault.message}. `;
    const again = document.createElement("button");
    again.type = "button";
    again.className = "button small";
    again.textContent = "Try again";
    again.addEventListener("click", () => location.reload());
    saved.append(again);
  }
  byId("coverage-words").textContent = "";
}
