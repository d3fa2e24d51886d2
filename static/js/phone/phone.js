// @ts-check
/**
 * What all pages of the phone share: whose phone it is, the package of the days to come, the sender, the
 * line at the bottom that says how things stand, and the worker that keeps the pages.
 */

import { byId, copyOf, part, write } from "./dom.js";
import { showsKept } from "./kept.js";
import { Line, LineFault } from "./line.js";
import { roomWords, standing } from "./queue.js";
import { Sender } from "./sender.js";
import * as store from "./store.js";
import { clockWords, timeAt, trueTime } from "./when.js";

const FRESH_MS = 10 * 60_000;
const KEPT_MS = 8 * 86_400_000; // the package is for today and the seven days after it
const ANY_VISIT = "00000000-0000-0000-0000-000000000000";

/** @typedef {{answered: any[], parked: any[], versions: Record<string, number>}} Settled */

export class Phone {
  /** @param {() => void} changed draws the page as it now stands */
  constructor(changed) {
    this.addresses = /** @type {Record<string, string>} */ ({ ...byId("phone").dataset });
    this.changed = changed;
    this.person = /(?:^|; )who=([^;]+)/.exec(document.cookie)?.[1] ?? "";
    this.line = new Line(/** @type {any} */ (this.addresses));
    this.sender = new Sender(
      this.line,
      this.person,
      (visit, sha256) => `${this.address("photo", visit)}${sha256}/`,
      { told: (how) => this.tell(how), met: (session) => this.met(session), settled: (settled) => this.settled(settled) },
    );
    /** @type {any} pests, products, cautions and remedies, with who, and when they were fetched */
    this.lists = null;
    /** @type {number | null} seconds by which this phone's clock is ahead, as far as it is known */
    this.ahead = null;
    this.zone = "UTC";
    this.fault = "";
    this.last = { made: "", sent: "" };
    this.tabs = new BroadcastChannel("kickplate");
    this.tabs.onmessage = () => this.recall().then(this.changed);
  }

  /** The address of a page of a visit. @param {string} page @param {string} visit */
  address(page, visit) {
    return this.addresses[page].replace(ANY_VISIT, visit);
  }

  /** The time by the server's clock, as far as it is known. */
  now() {
    return trueTime(new Date(), this.ahead);
  }

  /** @param {string} instant */
  time(instant) {
    return timeAt(instant, this.zone);
  }

  /** Show what is kept, then ask the server for news and send what waits. */
  async open() {
    keepWorker(this);
    showsKept(this);
    if (!this.person) return this.nobody();
    try {
      await this.recall();
    } catch (fault) {
      this.notice("keeps", "This browser keeps nothing", `Use another browser, or leave private browsing. (${fault})`, []);
      return;
    }
    this.changed();
    await this.sender.start();
    addEventListener("online", () => this.refresh());
    addEventListener("focus", () => this.refresh());
    addEventListener("pageshow", ({ persisted }) => persisted && this.recall().then(this.changed)); // back, to an old picture of it
    setInterval(() => this.refresh(), FRESH_MS);
    await this.refresh();
    await this.tellRoom();
  }

  /** Read what is kept on the phone. */
  async recall() {
    [this.lists, this.ahead] = await Promise.all([store.listsOf(this.person), store.clockAhead()]);
    this.zone = this.lists?.person?.time_zone ?? this.zone;
  }

  /** A phone on which nobody is signed in shows nothing; what is unsent stays until they come back. */
  async nobody() {
    try {
      await this.line.session(); // leaves word of who it is
      if (/(?:^|; )who=/.test(document.cookie)) location.reload();
    } catch (fault) {
      this.sender.fault = fault instanceof LineFault ? fault.why : String(fault);
    }
    await this.sender.tell();
  }

  /** @param {{ahead: number}} session */
  async met({ ahead }) {
    this.ahead = ahead;
    await store.keepClockAhead(ahead).catch(() => {});
    const words = clockWords(ahead);
    if (words) this.notice("clock", "Check the clock", words);
  }

  /** Fetch the package again unless it is fresh. @param {boolean} [now] */
  async refresh(now = false) {
    const age = Date.now() - Date.parse(this.lists?.fetched_at ?? 0);
    if (!this.person || (!now && age >= 0 && age < FRESH_MS)) return;
    const at = new Date().toISOString();
    try {
      const news = await this.line.package(this.lists?.tag);
      this.fault = "";
      if (!news) await store.keepFetched(this.person, at);
      else if (news.found.person.id !== this.person) return this.other();
      else await store.keepPackage(news.found, { person: this.person, at, tag: news.tag, whole: true });
      await store.tidy(this.person, new Date(Date.now() - KEPT_MS).toISOString());
      await this.recall();
      this.changed();
      await this.fetchPlans();
    } catch (fault) {
      if (!(fault instanceof LineFault)) throw fault;
      this.fault = fault.why;
      this.changed();
    }
  }

  /** Plans of the visits that are kept, each only once. */
  async fetchPlans() {
    for (const visit of await store.visitsOf(this.person)) {
      for (const { id, address, sha256 } of visit.plans ?? []) {
        if ((await store.plan(id))?.sha256 === sha256) continue;
        const blob = await this.line.picture(address);
        await store.keepPlan({ id, sha256, person: this.person, blob }).catch(() => {});
      }
    }
  }

  /** @param {Settled} settled */
  settled({ answered }) {
    this.last.sent = answered.at(-1)?.answer.at ?? this.last.sent;
    this.tabs.postMessage("settled");
    this.changed();
  }

  /** @param {{waiting: number, photos: number, sending: boolean, fault: string}} how */
  tell(how) {
    if (how.fault === "other_person") this.other();
    const clock = (/** @type {string} */ at) => (at ? this.time(at) : "");
    const { tone, words } = standing({ ...how, saved: clock(this.last.made), sent: clock(this.last.sent) });
    const saved = byId("saved");
    if (saved.textContent !== words) saved.textContent = words;
    saved.className = `saved ${tone}`;
    if (how.fault === "signed_out") {
      const link = document.createElement("a");
      link.href = `${this.addresses.signIn}?next=${encodeURIComponent(location.pathname)}`;
      link.textContent = "Sign in";
      saved.append(" ", link);
    }
  }

  /** Somebody else has signed in on this phone: what is shown here is none of theirs. */
  other() {
    for (const one of document.querySelectorAll("dialog[open]")) /** @type {HTMLDialogElement} */ (one).close();
    for (const one of document.querySelectorAll("main > :not(#notices), .bottom-bar > :not(#saved)")) one.remove();
    const go = /** @type {const} */ (["Open your day", () => location.assign(this.addresses.day)]);
    this.notice("other", "Somebody else is signed in now", "What was recorded here is kept on this phone for who recorded it.", [go]);
  }

  /** Gives back the words as well, for who has the page covered. */
  async tellRoom() {
    const words = roomWords((await navigator.storage?.estimate?.()) ?? {});
    if (words) this.notice("room", "Little room left", words);
    return words;
  }

  /**
   * Say something above the page, once, with buttons to answer it.
   * @param {string} id @param {string} title @param {string} words
   * @param {(readonly [string, () => any])[]} [buttons] @returns {any} the notice
   */
  notice(id, title, words, buttons = [["I have read it", () => {}]]) {
    document.querySelector(`[data-notice="${id}"]`)?.remove();
    const notice = copyOf("notice-template");
    notice.dataset.notice = id;
    notice.classList.add("soon");
    write(notice, "title", title);
    write(notice, "words", words);
    for (const [label, work] of buttons) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "button small";
      button.textContent = label;
      button.addEventListener("click", () => {
        notice.remove();
        work();
      });
      part(notice, "buttons").append(button);
    }
    byId("notices").append(notice);
    return notice;
  }
}

/**
 * Register the worker. A newer release waits until somebody asks for it, or no visit is open.
 * @param {Phone} phone
 */
async function keepWorker(phone) {
  const workers = navigator.serviceWorker;
  if (!workers) return;
  const quietly = location.pathname === phone.addresses.day;
  const offer = (/** @type {ServiceWorkerRegistration} */ found) => {
    if (!found.waiting || !workers.controller) return;
    const ask = (/** @type {boolean} */ quiet) => found.waiting?.postMessage({ ask: "take over", quietly: quiet });
    if (quietly) ask(true);
    else {
      phone.notice("release", "A newer Kickplate is ready", "What you typed and recorded stays. It can also wait until the visit is closed.", [
        // Another page may have asked before: then the newer release only waits to be loaded.
        ["Load it now", () => (found.waiting ? ask(false) : location.reload())],
        ["Later", () => {}],
      ]);
    }
  };
  let asked = Boolean(workers.controller);
  workers.addEventListener("controllerchange", () => {
    // The first worker of a phone takes over quietly; a later one because it was asked to.
    if (asked && (quietly || !document.querySelector('[data-notice="release"]'))) location.reload();
    asked = true;
  });
  try {
    const found = await workers.register(phone.addresses.worker, { scope: "/", updateViaCache: "none" });
    offer(found);
    found.addEventListener("updatefound", () =>
      found.installing?.addEventListener("statechange", () => offer(found)),
    );
    document.addEventListener("visibilitychange", () => document.hidden || found.update().catch(() => {}));
  } catch {
    // Some browsers keep no workers (private windows): the pages then need a line to open.
  }
}
