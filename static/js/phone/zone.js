// @ts-check
/**
 * One zone on the page of the walk. Its places are drawn when it is opened, and drawn anew only where
 * they say something else than before.
 */

import { copyOf, part, text, write } from "./dom.js";
import { inOrder, RUN, unread, unsaidAt, whyNotSame } from "./places.js";
import { isNothing, nothingCaught } from "./reading.js";
import { coverageOfZone, openOf, wordOn } from "./rules.js";
import * as store from "./store.js";
import { dayWords } from "./when.js";
import { caughtWords, findingWords, whyWords } from "./words.js";

const BOUNCE_MS = 500; // a glove may press twice, and the second would take the first back
const SPENT = "is-spent"; // keeps its room, so that nothing moves under a thumb

export class ZoneBox {
  /** @param {any} zone @param {import("./walk.js").Walk} walk */
  constructor(zone, walk) {
    this.zone = zone;
    this.walk = walk;
    this.box = copyOf("zone-template");
    this.box.id = `zone-${zone.id}`;
    write(this.box, "name", zone.name);
    this.summary = this.box.firstElementChild;
    /** @type {any} */
    this.body = null;
    /** @type {Map<string, any>} what stands for each place, by its id */
    this.boxes = new Map();
    /** @type {Map<string, string>} what is drawn of each thing */
    this.drawn = new Map();
    /** @type {WeakMap<Element, number>} when each button was pressed */
    this.pressed = new WeakMap();
    /** @type {any[]} monitors for a run: those without a word when the zone was opened */
    this.run = [];
    /** @type {Set<string>} those of them that were touched */
    this.seen = new Set();
    this.summary.addEventListener("click", () => this.box.open || this.fill());
    this.box.addEventListener("toggle", () => this.box.open && !this.body && this.fill());
    this.box.addEventListener("click", (/** @type {MouseEvent} */ event) => this.tapped(event));
  }

  open() {
    if (!this.box.open) this.fill();
    this.box.open = true;
  }

  // --- drawing ------------------------------------------------------------------------------------

  /** Before it is opened: only now may something come or go that moves the rest. */
  fill() {
    if (!this.body) this.build();
    const left = unread(this.zone, this.walk.said);
    this.run = left.length < RUN || left.every(whyNotSame) ? [] : left;
    for (const all of this.body.querySelectorAll('[data-part="all"]')) all.hidden = true;
    part(this.body, "run").hidden = !this.run.length;
    part(this.body, "chips").replaceChildren(...this.run.filter((one) => !whyNotSame(one)).map(chip));
    const others = this.run.filter(whyNotSame).map((one) => item(`${one.number}: ${whyNotSame(one)}`));
    part(this.body, "others").replaceChildren(...others);
    this.drawBody();
  }

  build() {
    const { zone } = this;
    const outside = zone.boundary === "outside";
    const body = copyOf("zone-body-template");
    this.body = body;
    write(body, "note", zone.boundary === "within" ? "" : [zone.boundary_words, zone.boundary_note].filter(Boolean).join(": "));
    for (const height of outside ? [] : ["low", "reach", "overhead"]) {
      const places = zone.checkpoints.filter((/** @type {any} */ one) => one.height === height);
      if (!places.length) continue;
      const level = copyOf("height-template");
      level.classList.add(height);
      level.dataset.height = height;
      level.firstElementChild.textContent = places[0].height_words;
      level.lastElementChild.before(...places.map((/** @type {any} */ one) => this.place(one, "checkpoint", one.label)));
      part(body, "heights").append(level);
    }
    const monitors = outside ? [] : zone.monitors;
    part(body, "monitors").hidden = !monitors.length;
    part(body, "order").hidden = monitors.filter((/** @type {any} */ one) => one.plan).length < 2;
    for (const one of monitors) {
      const box = this.place(one, "monitor", `monitor ${one.number}`);
      write(box, "number", String(one.number));
      write(box, "name", [one.kind_words, one.place].filter(Boolean).join(", "));
      write(box, "last", lastWords(one));
      part(body, "list").append(box);
    }
    name(body.lastElementChild, zone.name);
    name(part(body, "not-reached"), zone.name);
    this.box.append(body);
    this.recallRun();
  }

  /** @param {any} one @param {"checkpoint" | "monitor"} sort @param {string} named */
  place(one, sort, named) {
    const box = copyOf(`${sort}-template`);
    box.dataset.id = one.id;
    this.boxes.set(one.id, box);
    write(box, "name", one.label ?? "");
    const left = this.walk.visit.left_open.not_reached.find((/** @type {any} */ was) => was[sort] === one.id);
    write(box, "before", one.due ? left ? `Not reached last time: ${left.reason}` : "" : "Not due on this visit");
    name(box, named);
    return box;
  }

  draw() {
    const tally = coverageOfZone(this.zone, this.walk.said);
    const parts = [tally.due && `${tally.looked} of ${tally.due}`, tally.notReached && `${tally.notReached} not reached`];
    text(part(this.box, "count"), this.zone.boundary === "outside" ? "outside our remit" : parts.filter(Boolean).join(", "));
    this.box.classList.toggle("is-done", tally.due > 0 && !openOf(tally));
    if (this.body && this.box.open) this.drawBody();
  }

  drawBody() {
    const { zone, walk, body } = this;
    if (zone.boundary !== "outside") {
      for (const one of zone.checkpoints) this.drawCheckpoint(one);
      for (const one of zone.monitors) this.drawMonitor(one);
      this.drawAll();
      this.sort();
      this.drawRun();
    }
    write(body, "parked", walk.parkedAt(zone.id));
    const whole = walk.said.not_reached[`zone/${zone.id}`];
    part(body, "not-reached").hidden = !whole;
    part(body, "shut").hidden = Boolean(whole) || zone.boundary === "outside";
    if (whole) write(body, "why", whyWords(whole));
    const found = Object.values(walk.said.findings).filter((one) => one.zone === zone.id);
    this.once("findings", found, () => {
      part(body, "findings").hidden = !found.length;
      part(body, "findings").replaceChildren(...found.map((one) => this.findingRow(one)));
    });
  }

  /** Draw something only if there is something new to it. @param {string} key @param {any} facts @param {() => void} draw */
  once(key, facts, draw) {
    const now = JSON.stringify(facts);
    if (this.drawn.get(key) === now) return;
    this.drawn.set(key, now);
    draw();
  }

  /** @param {any} place */
  drawCheckpoint({ id }) {
    const { said } = this.walk;
    const { word, record, all = [] } = wordOn(said, "checkpoint", id, this.zone.id);
    this.drawPlace(id, word, record, all, (box) => {
      press(box, { look: word === "looked", find: word === "found", miss: word === "not_reached" });
      return all.map((/** @type {any} */ one) => findingWords(one, this.walk.pest(one.pest))).join("; ");
    });
  }

  /** @param {any} monitor */
  drawMonitor({ id, number }) {
    const { word, record } = wordOn(this.walk.said, "monitor", id, this.zone.id);
    this.drawPlace(id, word, record, [], (box) => {
      const isRead = READ.includes(word);
      const nothing = isRead && isNothing(record);
      press(box, { nothing, read: isRead && !nothing, miss: word === "not_reached" });
      const words = isRead && !nothing ? "Change" : "Count";
      write(box, "read-words", words);
      part(box, "read").setAttribute("aria-label", `${words}: monitor ${number}`);
      if (!isRead || nothing) return "";
      return [caughtWords(record, (slug) => this.walk.pest(slug)) || "Nothing caught", record.renewed && "renewed", record.note].filter(Boolean).join(", ");
    });
  }

  /** @param {string} id @param {string} word @param {any} record @param {any[]} all @param {(box: any) => string} draw gives the words for it */
  drawPlace(id, word, record, all, draw) {
    const parked = this.walk.parkedAt(id);
    this.once(id, [word, record, all, parked], () => {
      const box = this.boxes.get(id);
      const note = draw(box);
      write(box, "note", { not_reached: () => whyWords(record), zone: () => "Whole zone not reached" }[word]?.() ?? note);
      text(part(box, "time"), record ? this.walk.time(record.at) : "");
      write(box, "parked", parked);
      box.classList.toggle("is-done", Boolean(word));
    });
  }

  /** One button for a height, where two or more places are without a word. */
  drawAll() {
    for (const level of this.body.querySelectorAll("[data-height]")) {
      const button = level.lastElementChild;
      const left = unsaidAt(this.zone, this.walk.said, level.dataset.height).length;
      if (left > 1) {
        text(button.lastElementChild, `All ${left} looked, nothing`);
        button.setAttribute("aria-label", `All ${left} looked, nothing: ${this.zone.name}, ${level.firstElementChild.textContent}`);
        button.hidden = false;
      }
      button.classList.toggle(SPENT, left < 2);
    }
  }

  /** Monitors in their order. What was pressed stays where it is on the screen. */
  sort() {
    const { walk, zone, body } = this;
    const list = part(body, "list");
    press(body, { "by-number": !walk.order.nearest, "by-nearness": walk.order.nearest });
    const wanted = inOrder(zone, walk.zones, walk.said, walk.order).map((one) => this.boxes.get(one.id));
    if (wanted.every((one, nth) => list.children[nth] === one)) return;
    const held = /** @type {any} */ (list.contains(document.activeElement) ? document.activeElement : null);
    const top = held?.getBoundingClientRect().top;
    walk.hold();
    list.replaceChildren(...wanted);
    if (!held) return;
    held.focus({ preventScroll: true });
    scrollBy({ top: held.getBoundingClientRect().top - top, behavior: "instant" });
  }

  /** @param {any} one */
  findingRow(one) {
    const row = copyOf("row-template");
    row.dataset.id = one.finding;
    row.classList.add(one.urgency === "now" ? "late" : "soon");
    const title = findingWords(one, this.walk.pest(one.pest));
    write(row, "title", title);
    const label = this.checkpoint(one.checkpoint)?.label;
    const photos = one.photos.length && `${one.photos.length} photo${one.photos.length > 1 ? "s" : ""}`;
    write(row, "note", [label, one.place, one.note, one.remedy, photos].filter(Boolean).join("; "));
    name(row, [title, label].filter(Boolean).join(", "));
    return row;
  }

  /** @param {string} id */
  checkpoint(id) {
    return this.zone.checkpoints.find((/** @type {any} */ one) => one.id === id);
  }

  /** @param {string} id */
  monitor(id) {
    return this.zone.monitors.find((/** @type {any} */ one) => one.id === id);
  }

  // --- a run --------------------------------------------------------------------------------------

  get runKey() {
    return this.walk.draftKey(`run/${this.zone.id}`);
  }

  async recallRun() {
    const draft = await store.draft(this.runKey).catch(() => undefined);
    if (!draft?.seen.length) return;
    this.seen = new Set(draft.seen);
    part(this.body, "run").open = true;
    this.drawRun();
  }

  /** Those that were touched and still have no word. */
  touched() {
    return unread(this.zone, this.walk.said).filter((/** @type {any} */ one) => this.seen.has(one.id) && !whyNotSame(one));
  }

  drawRun() {
    const seen = this.touched();
    const left = unread(this.zone, this.walk.said);
    for (const one of part(this.body, "chips").children) {
      const id = one.dataset.id;
      const isSeen = seen.some((/** @type {any} */ { id: other }) => other === id);
      one.setAttribute("aria-pressed", String(isSeen));
      one.classList.toggle("is-done", left.every((/** @type {any} */ { id: other }) => other !== id));
    }
    text(part(this.body, "run-summary"), `Read a run${seen.length ? ` (${seen.length} seen)` : ""}`);
    text(part(this.body, "same"), `Same as last time: nothing (${seen.length} seen)`);
  }

  // --- what a tap says ----------------------------------------------------------------------------

  /** @param {MouseEvent} event */
  tapped(event) {
    const button = /** @type {any} */ (event.target).closest("button");
    const act = button && ACTS[button.dataset.part];
    if (!act) return;
    const again = event.timeStamp - (this.pressed.get(button) ?? -BOUNCE_MS) < BOUNCE_MS;
    this.pressed.set(button, event.timeStamp);
    if (!again) act(this, button.closest("[data-id]")?.dataset.id, button);
  }
}

const READ = ["read", "blocked"];

/** @type {Record<string, (at: ZoneBox, id: string, button: any) => any>} by the part that was pressed; `id` of the place, or nothing */
const ACTS = {
  /** Looked, nothing; a second tap takes it back. */
  look(at, id) {
    const { zone, walk } = at;
    const { label } = at.checkpoint(id);
    const { word, all = [] } = wordOn(walk.said, "checkpoint", id, zone.id);
    if (word === "looked") return walk.say([["look.remove", { checkpoint: id }]], label);
    const many = all.length > 1 ? `the ${all.length} findings` : "the finding";
    if (all.length && !confirm(`Take back ${many} at “${label}” and say: looked, nothing?`)) return null;
    const gone = all.map(({ finding }) => /** @type {[string, any]} */ (["finding.remove", { finding }]));
    return walk.say([...gone, ["look.add", { checkpoint: id }]], label);
  },

  all({ zone, walk }, _id, button) {
    const level = button.parentElement;
    const left = unsaidAt(zone, walk.said, level.dataset.height);
    if (document.activeElement === button) level.querySelector(".check:nth-last-child(2) button").focus({ preventScroll: true });
    const words = `${left.length} at ${zone.name}, ${level.firstElementChild.textContent.toLowerCase()}`;
    return walk.say(left.map(({ id }) => ["look.add", { checkpoint: id }]), words);
  },

  find(at, id) {
    const checkpoint = at.checkpoint(id);
    const { word, record } = checkpoint ? wordOn(at.walk.said, "checkpoint", id, at.zone.id) : { word: "", record: null };
    at.walk.finding.show({ zone: at.zone, checkpoint, finding: word === "found" ? record : null });
  },

  /** A finding of the list. */
  open(at, id) {
    const finding = at.walk.said.findings[id];
    at.walk.finding.show({ zone: at.zone, checkpoint: at.checkpoint(finding.checkpoint), finding });
  },

  miss(at, id) {
    const [checkpoint, monitor] = [at.checkpoint(id), at.monitor(id)];
    at.walk.notReached.show(checkpoint ? "checkpoint" : "monitor", id, at.zone.name, checkpoint?.label ?? `monitor ${monitor.number}`);
  },

  shut: ({ zone, walk }) => walk.notReached.show("zone", zone.id, zone.name, "the whole zone"),

  reached: ({ zone, walk }) => walk.say([["not_reached.remove", { zone: zone.id }]], `${zone.name}, the whole zone`),

  treat: ({ zone, walk }) => walk.treat({ zone }),

  nothing(at, id) {
    const monitor = at.monitor(id);
    const words = `monitor ${monitor.number}`;
    const { record, word } = wordOn(at.walk.said, "monitor", id, at.zone.id);
    const isRead = READ.includes(word);
    if (isRead && isNothing(record)) return at.walk.say([["reading.remove", { monitor: id }]], words);
    if (isRead && !confirm(`Replace what was read at ${words} by: nothing?`)) return null;
    return at.walk.say([["reading.set", nothingCaught(monitor)]], words);
  },

  read: (at, id) => at.walk.reading.show(at.monitor(id)),

  "by-number": ({ walk }) => walk.sortBy(false),
  "by-nearness": ({ walk }) => walk.sortBy(true),

  /** Touched at the monitor: a draft, and no record. */
  chip(at, id) {
    if (!at.seen.delete(id)) at.seen.add(id);
    text(part(at.body, "run-words"), "");
    at.drawRun();
    return store.keepDraft(at.runKey, { seen: [...at.seen] }).catch(() => {});
  },

  async same(at) {
    const seen = at.touched();
    text(part(at.body, "run-words"), seen.length ? "" : "Touch the number of each monitor that you see, then press this.");
    if (!seen.length) return;
    const many = seen.length === 1 ? `monitor ${seen[0].number}` : `${seen.length} monitors, ${at.zone.name}`;
    if (!(await at.walk.say(seen.map((/** @type {any} */ one) => ["reading.set", nothingCaught(one)]), many))) return;
    at.seen.clear();
    await store.forgetDraft(at.runKey).catch(() => {});
  },
};

/** Each button of a place says which place it is of. @param {any} box @param {string} place */
function name(box, place) {
  for (const button of box.querySelectorAll("button")) button.setAttribute("aria-label", `${button.textContent.trim()}: ${place}`);
}

/** @param {any} box @param {Record<string, boolean>} pressed */
function press(box, pressed) {
  for (const [which, is] of Object.entries(pressed)) part(box, which).setAttribute("aria-pressed", String(is));
}

/** @param {any} monitor */
function chip({ id, number, place }) {
  const button = copyOf("chip-template");
  button.dataset.id = id;
  button.textContent = String(number);
  button.setAttribute("aria-label", [`Monitor ${number}`, place].filter(Boolean).join(", "));
  return button;
}

/** @param {string} words */
function item(words) {
  const line = document.createElement("li");
  line.textContent = words;
  return line;
}

/** @param {any} monitor */
function lastWords({ last }) {
  if (!last) return "Not read before";
  const what = [last.words || "nothing", last.condition === "sound" ? "" : `(${last.condition_words.toLowerCase()})`];
  return `Last: ${dayWords(last.read_on)}, ${what.filter(Boolean).join(" ")}`;
}
