// @ts-check
/** The sheet of one monitor: counts by a thumb, condition, bait. */

import { balanceWords, gramsIn } from "./bait.js";
import { copyOf, part, valuesOf, write } from "./dom.js";
import { NumberPad } from "./numberpad.js";
import { pestsToCount } from "./rules.js";
import { Sheet } from "./sheet.js";
import { dayWords } from "./when.js";

const WITH_BAIT = new Set(["bait_station", "indicator"]);
const WITHOUT_COUNTS = new Set(["indicator"]);
const GRAMS = ["bait_taken_g", "bait_lifted_g"];

export class ReadingSheet extends Sheet {
  /** @param {HTMLDialogElement} dialog @param {import("./app.js").App} app @param {(id: string) => any} nextOf the monitor to be read after one */
  constructor(dialog, app, nextOf) {
    super(dialog);
    this.app = app;
    this.nextOf = nextOf;
    /** @type {any} */
    this.monitor = null;
    /** @type {any} */
    this.next = null;
    this.pad = new NumberPad(this.form);
    part(this.form, "other").addEventListener("change", () => this.addChosen());
  }

  /** @param {any} monitor */
  show(monitor) {
    this.monitor = monitor;
    const now = this.app.said.readings[monitor.id];
    return this.open({
      key: this.app.draftKey(`reading/${monitor.id}`),
      title: `Monitor ${monitor.number}`,
      subtitle: [monitor.kind_words, monitor.place].filter(Boolean).join(", "),
      values: {
        condition: now?.condition ?? "sound",
        bait_taken: now?.bait_taken ?? "",
        bait_taken_g: plain(now?.bait_taken_g),
        bait_lifted_g: plain(now?.bait_lifted_g),
        renewed: now?.renewed ?? false,
        note: now?.note ?? "",
        counts: now?.counts ?? {},
      },
    });
  }

  /** @param {Record<string, any>} values */
  filled(values) {
    const { monitor, app } = this;
    const last = monitor.last;
    write(this.form, "last", last ? `Last: ${dayWords(last.read_on)}, ${last.words || "nothing caught"}` : "Not read before");
    const counted = part(this.form, "counts");
    counted.replaceChildren();
    counted.hidden = WITHOUT_COUNTS.has(monitor.kind) && !Object.keys(values.counts).length;
    for (const pest of pestsToCount(monitor, app.lists.pests, values.counts)) {
      this.addRow(pest, values.counts[pest.slug] ?? 0);
    }
    const other = part(this.form, "other");
    if (other.options.length === 1) for (const pest of app.lists.pests) other.add(new Option(pest.name, pest.slug));
    part(this.form, "bait").hidden = !WITH_BAIT.has(monitor.kind);
    write(this.form, "balance", balanceWords(app.visit.treating?.points[monitor.id]));
    this.pad.hide();
    part(this.form, "remove").hidden = !app.said.readings[monitor.id];
    this.next = this.nextOf(monitor.id);
    part(this.form, "save").textContent = this.next ? `Save and go to ${this.next.number}` : "Save the reading";
  }

  /** @param {any} pest @param {number} count */
  addRow(pest, count) {
    const row = copyOf("count-template");
    const input = row.querySelector("input");
    input.id = `count-${pest.slug}`;
    input.dataset.pest = pest.slug;
    input.value = String(count);
    part(row, "name").textContent = pest.name;
    part(row, "name").htmlFor = input.id;
    const step = (/** @type {number} */ by) => {
      input.value = String(Math.max(0, Math.min(100_000, (Number.parseInt(input.value, 10) || 0) + by)));
      this.keepDraft();
    };
    for (const [name, by] of /** @type {const} */ ([["less", -1], ["more", 1]])) {
      const button = part(row, name);
      button.setAttribute("aria-label", `${button.getAttribute("aria-label")}: ${pest.name}`);
      button.addEventListener("click", () => step(by));
    }
    input.addEventListener("focus", () => input.select());
    part(this.form, "counts").hidden = false;
    part(this.form, "counts").append(row);
    return input;
  }

  addChosen() {
    const other = part(this.form, "other");
    const there = this.form.querySelector(`[data-pest="${other.value}"]`);
    const input = there ?? this.addRow(this.app.pest(other.value), 1);
    other.value = "";
    /** @type {HTMLElement} */ (input).focus();
    this.keepDraft();
  }

  counts() {
    const rows = /** @type {NodeListOf<HTMLInputElement>} */ (this.form.querySelectorAll("[data-pest]"));
    return Object.fromEntries(
      [...rows]
        .map((input) => [input.dataset.pest, Number.parseInt(input.value, 10) || 0])
        .filter(([, count]) => count),
    );
  }

  typed() {
    return { ...valuesOf(this.form), counts: this.counts() };
  }

  /** @returns {[string, string][]} */
  faults() {
    const typed = valuesOf(this.form);
    const wrong = GRAMS.map((name) => /** @type {[string, string]} */ ([name, gramsIn(typed[name]).why]));
    return [...super.faults(), ...wrong.filter(([, why]) => why)];
  }

  async save() {
    const typed = valuesOf(this.form);
    const { condition, bait_taken: bait, renewed, note } = typed;
    const hasBait = WITH_BAIT.has(this.monitor.kind);
    const [taken, lifted] = GRAMS.map((name) => (hasBait ? gramsIn(typed[name]).grams : null));
    await this.app.record("reading.set", {
      monitor: this.monitor.id,
      condition,
      counts: this.counts(),
      bait_taken: hasBait ? bait : "",
      bait_taken_g: taken,
      bait_lifted_g: lifted,
      renewed,
      note,
    }, this.words);
    const { next } = this;
    return next ? () => this.show(next) : undefined;
  }

  async remove() {
    await this.app.record("reading.remove", { monitor: this.monitor.id }, this.words);
  }

  get words() {
    return `monitor ${this.monitor.number}`;
  }
}

/** The body of "nothing caught". @param {any} monitor */
export const nothingCaught = (monitor) => ({
  monitor: monitor.id,
  condition: "sound",
  counts: {},
  bait_taken: WITH_BAIT.has(monitor.kind) ? "none" : "",
  renewed: false,
  note: "",
});

/** Whether a reading says just that. @param {any} reading */
export const isNothing = (reading) =>
  reading.condition === "sound" &&
  !Object.values(reading.counts).some(Boolean) &&
  ["", "none"].includes(reading.bait_taken) &&
  !GRAMS.some((name) => (reading[name] ?? "") !== "") &&
  !reading.renewed &&
  !reading.note;

/** A figure of the record without the zeros that only its column adds. @param {string | null | undefined} given */
const plain = (given) => (given ? String(Number(given)) : "");
