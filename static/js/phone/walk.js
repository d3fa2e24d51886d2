// @ts-check
/** The page of the walk: zone after zone, low, reach, overhead, then the monitors. */

import { App } from "./app.js";
import { byId, copyOf, part, text, write } from "./dom.js";
import { FindingSheet } from "./finding.js";
import { NotReachedSheet } from "./notreached.js";
import { nextMonitor, nextZone, zoneWith } from "./places.js";
import { ReadingSheet } from "./reading.js";
import { coverageOf, coverageOfZone, coverageWords, openOf } from "./rules.js";
import { SeekSheet } from "./seek.js";
import * as store from "./store.js";
import { amountWords, word } from "./words.js";
import { ZoneBox } from "./zone.js";

const SEEN_MS = 400; // so that the last tick of a zone is seen before the page moves on
const SETTLED_MS = 250;
const MOVE_MS = 1000; // as long as a smooth move may take

export class Walk extends App {
  constructor() {
    super(() => this.paint());
    this.finding = new FindingSheet(byId("finding"), this);
    this.notReached = new NotReachedSheet(byId("not-reached"), this);
    /** @type {import("./treatment.js").TreatmentSheet | undefined} */
    this.treatment = undefined;
    this.reading = new ReadingSheet(byId("reading"), this, (id) => nextMonitor(this.zones, this.said, id, this.order));
    this.seek = new SeekSheet(byId("seek"), this, (monitor) => this.show(monitor));
    /** @type {Map<string, ZoneBox>} */
    this.boxes = new Map();
    /** @type {Map<string, number>} by zone, how many places were open when they were drawn last */
    this.left = new Map();
    /** @type {boolean | undefined} whether monitors go by nearness; unknown at first */
    this.nearest = undefined;
    /** @type {any} a zone that was finished under a sheet */
    this.finished = null;
    this.isBuilt = false;
    this.undoing = false;
    this.treatments = "";
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.holding = undefined;
  }

  get order() {
    return { nearest: Boolean(this.nearest), plans: this.visit.plans ?? [] };
  }

  async recall() {
    const key = `order/${this.person}`; // of a person, not of a visit
    const asked = this.nearest === undefined && store.draft(key).catch(() => undefined);
    await super.recall();
    if (asked) this.nearest = Boolean((await asked)?.nearest);
  }

  /** @param {boolean} nearest */
  sortBy(nearest) {
    this.nearest = nearest;
    this.paint();
    return store.keepDraft(`order/${this.person}`, { nearest }).catch(() => {});
  }

  // --- drawing ------------------------------------------------------------------------------------

  /** Draws what has changed; the first time also builds. */
  paint() {
    if (this.isElsewhere()) return;
    const { zones, said, visit } = this;
    const isFirst = !this.isBuilt;
    if (isFirst) this.build();
    for (const box of this.boxes.values()) box.draw();
    this.left = new Map(zones.map((/** @type {any} */ zone) => [zone.id, openOf(coverageOfZone(zone, said))]));
    const all = coverageOf(zones, said);
    const meter = byId("coverage");
    meter.max = Math.max(1, all.due);
    meter.value = all.looked;
    meter.classList.toggle("sound", all.due > 0 && all.looked === all.due);
    text(byId("coverage-words"), coverageWords(all));
    byId("done").hidden = !all.due || openOf(all) > 0;
    this.drawTreatments();
    const last = this.model.undoable.at(-1);
    undo.classList.toggle("is-spent", !last);
    text(part(undo, "what"), last?.[0].words || (last ? "the last tap" : ""));
    text(byId("client"), visit.site.client);
    text(byId("site"), visit.site.name);
    if (isFirst) this.begin();
  }

  build() {
    this.isBuilt = true;
    byId("close-link").href = this.address("close", this.visitId);
    for (const zone of this.zones) this.boxes.set(zone.id, new ZoneBox(zone, this));
    byId("zones").append(...[...this.boxes.values()].map(({ box }) => box));
    if (!this.zones.length) {
      this.notice("zones", "No zones", "This site has no zones yet. The office adds them; then open the walk again.");
    }
  }

  /** A visit that is not under way has another page, or only words. */
  isElsewhere() {
    const { state } = this.model;
    if (state === "under_way") return false;
    const page = { booked: "start", closed: "close" }[state];
    if (page) location.replace(this.address(page, this.visitId));
    else if (!byId("walk").hidden) {
      const why = state === "called_off" ? "The office has called this visit off" : "This visit is not open any more";
      this.notice("closed", why, this.visit.state_reason || "Ask the office what comes next.", [
        ["My day", () => location.assign(this.addresses.day)],
      ]);
    }
    for (const id of ["walk", "undo", "close-link"]) byId(id).hidden = true;
    return true;
  }

  drawTreatments() {
    const all = Object.values(this.said.treatments);
    const now = JSON.stringify(all);
    if (this.treatments === now) return;
    this.treatments = now;
    byId("treatments").hidden = !all.length;
    byId("treatment-list").replaceChildren(
      ...all.map((one) => {
        const row = copyOf("row-template");
        const product = this.lists.products.find((/** @type {any} */ kept) => kept.id === one.product);
        const zone = this.zoneOf(one.zone);
        const title = `${product?.name ?? "Product"}, ${zone?.name ?? ""}`;
        write(row, "title", title);
        write(row, "note", [amountWords(one, product), word("methods", one.method), one.place].join(", "));
        part(row, "open").setAttribute("aria-label", `Change: ${title}`);
        part(row, "open").addEventListener("click", () => this.treat({ zone, treatment: one }));
        return row;
      }),
    );
  }

  // --- where the walk is --------------------------------------------------------------------------

  /** Open where an address points, else where the last word was said, else the first zone with open places. */
  begin() {
    if (this.goToAddress()) return;
    const { zones, said } = this;
    const last = this.model.log.map(({ body }) => placeIn(body)).filter(Boolean).at(-1);
    const was = last && zoneWith(zones, last);
    const here = was && this.left.get(was.id) ? was : nextZone(zones, said, was?.id);
    const box = this.boxes.get(here?.id);
    box?.open();
    if (here && here !== zones[0]) box?.summary.scrollIntoView();
  }

  /** A zone, or a monitor that is read at once. Gives back whether there is one in the address. */
  goToAddress() {
    const [monitor, zone] = [/^#monitor-(.+)$/.exec(location.hash)?.[1], this.boxes.get(location.hash.slice(1))];
    zone?.open();
    zone?.summary.scrollIntoView();
    if (!monitor) return Boolean(zone);
    history.replaceState(null, "", location.pathname);
    const box = this.boxes.get(zoneWith(this.zones, monitor)?.id);
    const found = box?.zone.boundary === "outside" ? null : box?.monitor(monitor);
    if (!found) this.notice("label", "Not on this visit", "That label belongs to a monitor that is not on this visit.");
    else this.show(found);
    return Boolean(found);
  }

  /** The sheet of a monitor, its zone open behind it. @param {any} monitor */
  show(monitor) {
    this.boxes.get(zoneWith(this.zones, monitor.id).id)?.open();
    return this.reading.show(monitor);
  }

  /** The sheet of a treatment is a script of its own, which most walks never need. @param {{zone?: any, treatment?: any}} given */
  async treat(given) {
    const dialog = byId("treatment");
    try {
      const { TreatmentSheet } = await import(dialog.dataset.script);
      this.treatment ??= /** @type {import("./treatment.js").TreatmentSheet} */ (new TreatmentSheet(dialog, this));
    } catch {
      this.notice("treatment", "The form for a treatment is not on this phone yet", "Open the walk where there is a signal, then try again.", [
        ["Open the walk again", () => location.reload()],
      ]);
      return;
    }
    await this.treatment.show(given);
  }

  /** Show a place: its zone is opened, and nothing moves if it is in sight already. @param {string} id @returns {any} what stands for it */
  bring(id) {
    const box = this.boxes.get(zoneWith(this.zones, id)?.id);
    if (!box) return null;
    box.open();
    this.hold();
    const found = box.boxes.get(id) ?? box.summary;
    found.scrollIntoView({ block: "nearest", behavior: pace() });
    return found;
  }

  /** Say which zone is done and go on to the next. @param {any} done */
  goOn(done) {
    if (document.querySelector("dialog[open]")) {
      this.finished = done;
      return;
    }
    this.finished = null;
    const next = nextZone(this.zones, this.said, done.id);
    this.announce(next ? `${done.name} done. Next: ${next.name}.` : "Every place has its word. Next: Check and close.");
    this.hold(SEEN_MS + MOVE_MS);
    setTimeout(() => this.moveTo(done, next), SEEN_MS);
  }

  /** Fold the zone that is done and glide to the next, which starts from where it is on the screen. @param {any} done @param {any} next */
  moveTo(done, next) {
    if (this.left.get(done.id)) return; // taken back meanwhile
    const box = this.boxes.get(next?.id);
    const target = box?.summary ?? byId("done");
    const top = () => target.getBoundingClientRect().top;
    const before = top();
    /** @type {ZoneBox} */ (this.boxes.get(done.id)).box.open = false;
    box?.open();
    scrollBy({ top: top() - before, behavior: "instant" });
    target.focus({ preventScroll: true });
    target.scrollIntoView({ block: box ? "start" : "center", behavior: pace() });
    addEventListener("scrollend", () => this.hold(SETTLED_MS), { once: true });
  }

  /** For a moment nothing on the page can be pressed, as it moves. @param {number} [milliseconds] */
  hold(milliseconds = SETTLED_MS) {
    clearTimeout(this.holding);
    byId("walk").classList.add("is-moving");
    this.holding = setTimeout(() => byId("walk").classList.remove("is-moving"), milliseconds);
  }

  /** A sheet is closed: the walk stands where it led to. @param {Event} event */
  sheetClosed({ target }) {
    if (!this.isBuilt || document.querySelector("dialog[open]")) return;
    bar.classList.add("is-moving"); // a second press on "save" is not one on what lies below
    setTimeout(() => bar.classList.remove("is-moving"), SEEN_MS);
    if (this.finished) this.goOn(this.finished);
    else if (target === this.reading.dialog) part(this.bring(this.reading.monitor.id), "read").focus({ preventScroll: true });
  }

  /** @param {string} words for who hears the page */
  announce(words) {
    text(byId("told"), words);
  }

  // --- saying and taking back ---------------------------------------------------------------------

  /** Record at once what one tap says. Gives back whether it is kept. @param {import("./visit.js").Saying[]} sayings @param {string} words */
  async say(sayings, words) {
    try {
      await this.recordAll(sayings, words);
      return true;
    } catch (fault) {
      this.notKept(fault);
      return false;
    }
  }

  /** @param {any} fault */
  notKept(fault) {
    this.notice("not-kept", "Not kept", store.isFull(fault) ? "This phone is full. Free some space and tap again." : String(fault?.message ?? fault));
  }

  /** @param {import("./visit.js").VisitOnPhone} model */
  async recorded(model) {
    const before = this.left;
    await super.recorded(model);
    const done = !this.undoing && this.zones.find((/** @type {any} */ { id }) => before.get(id) && !this.left.get(id));
    if (done) this.goOn(done);
  }

  /** Take the last tap back, and show where. */
  async undo() {
    const last = this.model.undoable.at(-1);
    if (!last || this.undoing) return;
    this.undoing = true;
    try {
      await super.undo();
      this.announce(`Taken back: ${last[0].words || "the last tap"}.`);
      if (!last[0].kind.startsWith("treatment")) this.bring(placeIn(last[0].body));
    } catch (fault) {
      this.notKept(fault);
    } finally {
      this.undoing = false;
    }
  }
}

/** The place that a record is of. @param {Record<string, any>} body @returns {string} */
const placeIn = ({ checkpoint, monitor, zone }) => checkpoint || monitor || zone || "";

/** How a move is made. @returns {"smooth" | "instant"} */
const pace = () => (matchMedia("(prefers-reduced-motion: reduce)").matches ? "instant" : "smooth");

history.scrollRestoration = "manual"; // the walk goes on while a sheet is open: back must not take it back
const undo = byId("undo");
const bar = undo.parentElement;
const walk = new Walk();
undo.addEventListener("click", () => walk.undo());
byId("seek-button").addEventListener("click", () => walk.model && walk.seek.show());
addEventListener("hashchange", () => walk.model && walk.goToAddress());
for (const dialog of document.querySelectorAll("dialog")) dialog.addEventListener("close", (event) => walk.sheetClosed(event));
walk.open();
