// @ts-check
/**
 * One zone on the page of the walk. Its places are drawn when it is first opened, and drawn anew only
 * where they say something else than before.
 */

import { copyOf, part, write } from "./dom.js";
import { inOrder, RUN, unread, unsaidAt, whyNotSame } from "./places.js";
import { isNothing, nothingCaught } from "./reading.js";
import { coverageOfZone, openOf, wordOn } from "./rules.js";
import * as store from "./store.js";
import { dayWords } from "./when.js";
import { caughtWords, findingWords, whyWords } from "./words.js";

const HEIGHTS = ["low", "reach", "overhead"];
const BOUNCE_MS = 500; // a glove may press twice, and the second would take the first back
const SPENT = "is-spent"; // keeps its place, so that nothing moves under a thumb

/** @typedef {import("./walk.js").Walk} Walk */

export class ZoneBox {
  /** @param {any} zone @param {Walk} walk */
  constructor(zone, walk) {
    this.zone = zone;
    this.walk = walk;
    this.box = copyOf("zone-template");
    this.box.id = `zone-${zone.id}`;
    write(this.box, "name", zone.name);
    /** @type {any} */
    this.body = null;
    /** @type {Map<string, any>} what stands for each place, by its id */
    this.boxes = new Map();
    /** @type {Map<string, string>} what is drawn of it */
    this.drawn = new Map();
    /** @type {WeakMap<Element, number>} */
    this.pressed = new WeakMap();
    /** @type {any[]} monitors that had no word when the zone was opened, if they are enough for a run */
    this.run = [];
    /** @type {Set<string>} those of them that were touched */
    this.seen = new Set();
    this.summary.addEventListener("click", () => this.box.open || this.fill());
    this.box.addEventListener("toggle", () => this.box.open && !this.body && this.fill());
    this.box.addEventListener("click", (/** @type {MouseEvent} */ event) => this.tapped(event));
  }

  get summary() {
    return this.box.firstElementChild;
  }

  get said() {
    return this.walk.said;
  }

  open() {
    if (!this.box.open) this.fill();
    this.box.open = true;
  }

  /** As it is when it is opened: only here does anything come or go that would move the rest. */
  fill() {
    if (!this.body) this.build();
    const left = unread(this.zone, this.said);
    this.run = left.length >= RUN ? left : [];
    part(this.body, "run").hidden = !this.run.length;
    part(this.body, "chips").replaceChildren(...this.run.filter((one) => !whyNotSame(one)).map((one) => this.chip(one)));
    part(this.body, "others").replaceChildren(...this.run.filter(whyNotSame).map((one) => item(`${one.number}: ${whyNotSame(one)}`)));
    for (const all of this.body.querySelectorAll('[data-part="all"]')) all.hidden = true;
    this.drawBody();
  }

  build() {
    const { zone, walk } = this;
    this.body = copyOf("zone-body-template");
    const outside = zone.boundary === "outside";
    write(this.body, "note", zone.boundary === "within" ? "" : [zone.boundary_words, zone.boundary_note].filter(Boolean).join(": "));
    for (const height of outside ? [] : HEIGHTS) {
      const places = zone.checkpoints.filter((/** @type {any} */ one) => one.height === height);
      if (!places.length) continue;
      const level = copyOf("height-template");
      level.classList.add(height);
      level.dataset.height = height;
      level.firstElementChild.textContent = places[0].height_words;
      level.lastElementChild.before(...places.map((/** @type {any} */ one) => this.place(one, "checkpoint", one.label)));
      part(this.body, "heights").append(level);
    }
    const monitors = outside ? [] : zone.monitors;
    part(this.body, "monitors").hidden = !monitors.length;
    part(this.body, "order").hidden = monitors.filter((/** @type {any} */ one) => one.plan).length < 2;
    for (const one of monitors) {
      const box = this.place(one, "monitor", `monitor ${one.number}`);
      write(box, "number", String(one.number));
      write(box, "name", [one.kind_words, one.place].filter(Boolean).join(", "));
      write(box, "last", lastWords(one));
    }
    this.box.append(this.body);
    store.draft(this.runKey).then((draft) => {
      if (!draft?.seen?.length) return;
      this.seen = new Set(draft.seen);
      part(this.body, "run").open = true;
      this.drawRun();
    }, () => {});
    for (const name of ["find", "treat", "shut", "reached"]) named(part(this.body.lastElementChild, name) ?? part(this.body, name), zone.name);
    walk.draft = walk.draft; // eslint-free placeholder
  }
}
