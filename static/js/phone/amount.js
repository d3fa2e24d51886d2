// @ts-check
/** The last step of a treatment: the size of the place, what the label allows for it, what was used. */

import { chosen, copyOf, part, text, valuesOf, write } from "./dom.js";
import { balanceWords } from "./bait.js";
import * as sums from "./dose.js";
import { noticesOf, ratesHere } from "./notices.js";

const COUNTS = [1, 5, 10, 20]; // points that are one tap

/** @typedef {import("./dose.js").Quantity} Quantity @typedef {import("./dose.js").Rate} Rate */

export class AmountStep {
  /** @param {import("./treatment.js").TreatmentSheet} sheet */
  constructor(sheet) {
    this.sheet = sheet;
    this.form = sheet.form;
    this.isExplaining = false;
    part(this.form, "done-anyway").addEventListener("click", () => {
      this.isExplaining = true;
      this.draw();
      sheet.field("explanation").focus();
    });
    part(this.form, "fill-least").addEventListener("click", () => this.fill("least"));
    part(this.form, "fill-most").addEventListener("click", () => this.fill("most"));
    const counts = [...COUNTS.map((count) => [String(count), () => count]), ["−", () => this.points() - 1], ["+", () => this.points() + 1]];
    part(this.form, "counts").append(
      ...counts.map(([label, countOf]) => {
        const button = copyOf("chip-template");
        button.textContent = label;
        button.dataset.count = label;
        button.setAttribute("aria-label", label === "−" ? "One point less" : label === "+" ? "One point more" : `${label} ${label === "1" ? "point" : "points"}`);
        button.addEventListener("click", () => this.setPoints(/** @type {() => number} */ (countOf)()));
        return button;
      }),
    );
  }

  /** @param {Record<string, any>} values */
  opened(values) {
    this.isExplaining = Boolean(values.explanation);
  }

  // --- what was chosen ----------------------------------------------------------------------------

  get label() {
    return this.sheet.product()?.label ?? null;
  }

  /** The lines of the label for this method, or why there is none. @returns {{rates: Rate[], why: string}} */
  rates() {
    const { label } = this;
    if (!label) return { rates: [], why: "" };
    try {
      return { rates: ratesHere(label, this.sheet.advice.planned()), why: "" };
    } catch (fault) {
      return { rates: [], why: messageOf(fault) };
    }
  }

  /** @returns {Rate | null} */
  rate() {
    const { rates } = this.rates();
    return rates.find(({ id }) => id === chosen(this.form, "rate")) ?? rates[0] ?? null;
  }

  /** A product was taken: the units in which its label speaks. */
  productTaken() {
    const set = (/** @type {string} */ name, /** @type {string} */ value) => {
      this.sheet.field(name).value = value;
    };
    set("rate", this.rate()?.id ?? "");
    const rate = this.rate();
    const { filled_by: by } = valuesOf(this.form);
    if (by !== "hand") set("amount", "");
    set("unit", rate?.unit ?? this.sheet.product()?.unit ?? "");
    this.measureIn(rate);
    this.refill();
  }

  /** @param {Rate | null} rate */
  measureIn(rate) {
    const { area, area_unit: unit, finished_unit: sprayUnit } = valuesOf(this.form);
    const wanted = !rate ? "" : rate.per === "finished" ? (rate.cover?.base ?? "") : rate.measured_in;
    if (wanted && (!area || !unit)) this.sheet.field("area_unit").value = wanted;
    if (rate && !sprayUnit) this.sheet.field("finished_unit").value = rate.per === "finished" ? rate.measured_in : "l";
  }

  /** Somebody typed. @param {string} name of the field */
  typed(name) {
    if (name === "amount") this.sheet.field("filled_by").value = this.sheet.field("amount").value ? "hand" : "";
    if (name === "finished_amount") this.sheet.field("spray_by").value = this.sheet.field("finished_amount").value ? "hand" : "";
    if (name === "area" || name === "finished_amount") this.refill();
    if (["amount", "area", "finished_amount", "explanation", "wind_speed"].includes(name)) this.draw();
  }

  /** Somebody chose. @param {string} name of the field */
  chosen(name) {
    if (name === "method") this.productTaken();
    if (name === "area_unit" || name === "finished_unit") this.refill();
    if (name === "unit") this.sheet.field("filled_by").value = "hand";
  }

  points() {
    const typed = Number.parseInt(this.sheet.field("area").value, 10);
    return Number.isFinite(typed) ? typed : 0;
  }

  /** @param {number} count */
  setPoints(count) {
    this.sheet.field("area").value = String(Math.max(1, count));
    this.sheet.field("area_unit").value = "points";
    this.refill();
    this.draw();
    this.sheet.keepDraft();
  }

  // --- sums ---------------------------------------------------------------------------------------

  /** What was measured: as the rate is stated, else what it can be reckoned from. @param {Rate} rate @returns {Quantity | null} */
  measure(rate) {
    const { area, area_unit: unit, finished_amount: spray, finished_unit: sprayUnit, spray_by: by } = valuesOf(this.form);
    const size = area.trim() ? { typed: area, unit } : null;
    // Spray that was worked out from the size says no more than the size.
    const made = spray.trim() && by === "hand" ? { typed: spray, unit: sprayUnit } : null;
    const given = rate.per === "finished" ? (made ?? (rate.cover && size)) : (size ?? (rate.cover && made));
    return given ? { amount: sums.readNumber(given.typed), unit: given.unit } : null;
  }

  /** What the label allows here, or nothing, or why it cannot be worked out. */
  dose() {
    const { label } = this;
    const rate = this.rate();
    if (!label || !rate) return { dose: null, measure: null, why: "" };
    try {
      const measure = this.measure(rate);
      return { dose: measure && sums.doseOf(rate, label, measure), measure, why: "" };
    } catch (fault) {
      return { dose: null, measure: null, why: messageOf(fault) };
    }
  }

  /** What was used against the label, or nothing. */
  use() {
    const { label } = this;
    const rate = this.rate();
    const { amount, unit } = valuesOf(this.form);
    if (!label || !rate || !amount.trim()) return null;
    try {
      const measure = this.measure(rate);
      return measure && sums.useOf(rate, label, measure, { amount: sums.readNumber(amount), unit });
    } catch (fault) {
      messageOf(fault);
      return null;
    }
  }

  /** Fill in what the label allows; never more. @param {"least" | "most"} which */
  fill(which) {
    const { dose } = this.dose();
    if (!dose) return;
    const offered = which === "least" && dose.least ? sums.atLeast(dose.least, dose.most) : sums.measuredOut(dose.most);
    this.sheet.field("amount").value = sums.digits(offered.amount);
    this.sheet.field("unit").value = offered.unit;
    this.sheet.field("filled_by").value = which;
    this.draw();
    this.sheet.keepDraft();
  }

  /** A new size: the amount goes along, unless a person typed it; and so does the spray. */
  refill() {
    const { dose } = this.dose();
    const { filled_by: by, spray_by: sprayBy } = valuesOf(this.form);
    if (sprayBy !== "hand") {
      const spray = dose?.finished && !this.label?.ready_to_use ? sums.readable(dose.finished) : null;
      this.sheet.field("finished_amount").value = spray ? sums.digits(spray.amount) : "";
      if (spray) this.sheet.field("finished_unit").value = spray.unit;
    }
    if (by === "hand") return;
    if (!dose) this.sheet.field("amount").value = "";
    else this.fill(by === "most" || !dose.least ? "most" : "least");
  }

  // --- what is shown ------------------------------------------------------------------------------

  draw() {
    const { form, sheet, label } = this;
    const product = sheet.product();
    this.drawLabel(product);
    const rate = this.rate();
    const { rates, why } = this.rates();
    this.drawRates(rates, rate);
    const { dose, measure, why: wrong } = this.dose();
    const isPoints = rate?.per === "point" || (!rate && chosen(form, "area_unit") === "points");
    part(form, "counts").hidden = !isPoints;
    for (const one of part(form, "counts").children) {
      one.setAttribute("aria-pressed", String(one.dataset.count === sheet.field("area").value.trim()));
    }
    text(part(form, "size-words"), isPoints ? "How many points" : rate?.per === "finished" ? "Size treated, if known" : "Size treated");
    part(form, "spray").hidden = Boolean(label?.ready_to_use) && !sheet.field("finished_amount").value;
    part(form, "allowed").hidden = !dose;
    if (dose && rate && measure) {
      const range = sums.shownRange(dose.least, dose.most);
      write(form, "allowed-words", `Label: ${rate.words}. For ${sums.typedWords(measure)}: ${range}.`);
      write(form, "tank-words", sums.tankWords(dose));
      const offers = { "fill-least": dose.least && `Light: ${sums.typedWords(sums.atLeast(dose.least, dose.most))}`, "fill-most": `${dose.least ? "Heavy" : "The most"}: ${sums.typedWords(sums.measuredOut(dose.most))}` };
      const by = chosen(form, "filled_by");
      for (const [name, words] of Object.entries(offers)) {
        write(form, name, words ?? "");
        part(form, name).setAttribute("aria-pressed", String(name === `fill-${by}`));
      }
      part(form, "working").replaceChildren(...this.working(rate, measure, dose).map(item));
    }
    write(form, "no-sum", product ? wrong || why || (rate && !measure ? `Label: ${rate.words}. Give the size to see what that comes to.` : "") : "");
    const use = this.use();
    write(form, "share", use ? `${sums.shownShare(use.share)} of the most that the label allows here.${use.over ? " Over the label: use less." : ""}` : "");
    this.drawNotices();
    this.drawAsked();
  }

  /** @param {Rate} rate @param {Quantity} measure @param {import("./dose.js").Dose} dose */
  working(rate, measure, dose) {
    const { label } = this;
    const { amount, unit } = valuesOf(this.form);
    const lines = sums.workingOf(rate, measure, dose);
    try {
      const held = amount.trim() ? sums.activesIn(label, { amount: sums.readNumber(amount), unit }) : [];
      return [...lines, ...held.map(([name, quantity]) => `The amount used holds ${sums.shown(quantity)} of ${name}.`)];
    } catch (fault) {
      messageOf(fault);
      return lines;
    }
  }

  /** @param {Rate[]} rates @param {Rate | null} now */
  drawRates(rates, now) {
    part(this.form, "rates").hidden = rates.length < 2;
    part(this.form, "rate-list").replaceChildren(
      ...(rates.length < 2 ? [] : rates).map((one) => {
        const button = document.createElement("button");
        button.type = "button";
        button.className = "tap";
        button.textContent = one.words;
        button.setAttribute("aria-pressed", String(one === now));
        button.addEventListener("click", () => {
          this.sheet.field("rate").value = one.id;
          this.sheet.field("area_unit").value = "";
          this.sheet.field("finished_unit").value = "";
          this.productTaken();
          this.draw();
          this.sheet.keepDraft();
        });
        return button;
      }),
    );
  }

  /** @param {any} product */
  drawLabel(product) {
    part(this.form, "label").hidden = !product;
    if (!product) return;
    write(this.form, "label-facts", `${product.formulation_words}; ${product.actives}; registration ${product.registration_number}`);
    write(this.form, "label-cautions", product.cautions);
    write(
      this.form,
      "label-places",
      [
        product.permitted_places && `Permitted places: ${product.permitted_places}`,
        product.permitted_pests && `Pests: ${product.permitted_pests}`,
      ]
        .filter(Boolean)
        .map((words) => `${String(words).replace(/\.$/, "")}.`)
        .join(" "),
    );
    write(this.form, "label-warning", product.is_demo ? "Invented for demonstration: no dosing advice." : "");
  }

  /** What is against the label, and what is to be minded. */
  notices() {
    const { app } = this.sheet;
    const product = this.sheet.product();
    if (!product) return [];
    const planned = this.sheet.advice.planned();
    const zone = this.sheet.zone();
    const { treating } = app.visit; // a package from before has none
    const { amount, unit } = valuesOf(this.form);
    const actives = product.label?.actives.map((/** @type {any} */ { name }) => name) ?? [];
    const rotation = actives.map((/** @type {string} */ name) => treating?.rotation[planned.pest]?.[name]).filter(Boolean);
    return noticesOf(product, planned, {
      rate: this.rate(),
      measure: this.dose().measure,
      amount: amountOf(amount, unit),
      days: treating?.applied[zone?.id]?.[product.id],
      bait: treating?.bait.is_overdue ? treating.bait.words : "",
      rotation: [...new Map(rotation.map((/** @type {any} */ one) => [one.words, one])).values()],
      unusual: app.lists.unusual?.[planned.zone_kind]?.includes(planned.pest),
    });
  }

  drawNotices() {
    const { form } = this;
    const all = this.notices();
    const stops = all.filter(({ forbidden }) => forbidden);
    const warns = all.filter(({ forbidden }) => !forbidden);
    part(form, "stop").hidden = !stops.length;
    fillList(part(form, "stop-list"), stops);
    part(form, "warn").hidden = !warns.length;
    fillList(part(form, "warn-list"), warns);
    const explains = Boolean(stops.length && this.isExplaining) || Boolean(this.sheet.field("explanation").value);
    part(form, "explain").hidden = !explains;
    part(form, "done-anyway").hidden = explains;
  }

  /** On the fold: what the record still asks for. */
  drawAsked() {
    const { form } = this;
    const values = valuesOf(form);
    const asked = [
      ["place", "place treated"], ["batch_number", "batch"], ["equipment", "equipment"], ["finished", "time finished"],
      ["situation", "kind of surface"], ["precautions", "what people were told"], ["re_entry", "re-entry"],
      ...(values.method === "bait_station" ? [["monitor", "bait point"]] : []),
    ];
    const left = asked.filter(([name]) => !values[name]?.trim?.()).map(([, words]) => words);
    text(part(form, "still-asked"), left.length ? `Still asked for: ${left.join(", ")}` : "Nothing more is asked for");
    this.drawBalance(values);
  }

  /** @param {Record<string, any>} values */
  drawBalance(values) {
    write(this.form, "balance", balanceWords(this.sheet.app.visit.treating?.points[values.monitor]));
  }

  // --- what is wrong ------------------------------------------------------------------------------

  /** @returns {[string, string][]} */
  faults() {
    const values = valuesOf(this.form);
    /** @type {[string, string][]} */
    const faults = [];
    const read = (/** @type {string} */ name, /** @type {string} */ unit, /** @type {string} */ zero) => {
      try {
        const amount = sums.readNumber(values[name]);
        if (amount.n <= 0n) faults.push([name, zero]);
        else if (sums.compare(sums.exact(sums.digits(amount)), amount)) faults.push([name, "Give at most four digits after the decimal sign."]);
        else if (amount.n / amount.d >= 100_000_000n) faults.push([name, "That is more than any van carries."]);
        if (!values[unit]) faults.push([unit, "Choose a unit."]);
      } catch (fault) {
        faults.push([name, messageOf(fault)]);
      }
    };
    read("amount", "unit", "The amount must be above zero.");
    if (values.area.trim()) read("area", "area_unit", "The measure must be above zero.");
    if (values.finished_amount.trim()) read("finished_amount", "finished_unit", "The measure must be above zero.");
    if (!faults.length) this.sumFaults(faults);
    if (this.notices().some(({ forbidden }) => forbidden) && !values.explanation.trim()) {
      this.isExplaining = true;
      this.draw();
      faults.push(["explanation", "This is against the label. If it was done all the same, say why."]);
    }
    return faults;
  }

  /** What the sum itself finds wrong with a figure or its unit. @param {[string, string][]} faults */
  sumFaults(faults) {
    const { label } = this;
    const rate = this.rate();
    if (!label || !rate) return;
    const { amount, unit } = valuesOf(this.form);
    try {
      const measure = this.measure(rate);
      if (measure) sums.useOf(rate, label, measure, { amount: sums.readNumber(amount), unit });
    } catch (fault) {
      if (!(fault instanceof sums.DoseFault)) throw fault;
      const size = rate.per === "finished" && !rate.cover ? "finished_amount" : "area";
      const field = { measure: size, amount: "amount", unit: "unit", rate: "" }[fault.field];
      // A sum that the register cannot do is no reason to keep a record out.
      if (field) faults.push([field, fault.message]);
    }
  }
}

/** What was typed, or nothing as long as it is no amount. @param {string} typed @param {string} unit @returns {Quantity | null} */
function amountOf(typed, unit) {
  try {
    const amount = typed.trim() && unit ? sums.readNumber(typed) : null;
    return amount && amount.n > 0n ? { amount, unit } : null;
  } catch (fault) {
    messageOf(fault); // said beside its field
    return null;
  }
}

/** The sentence of a sum that cannot be done. @param {unknown} fault */
function messageOf(fault) {
  if (fault instanceof sums.DoseFault) return fault.message;
  throw fault;
}

/** @param {any} list @param {{words: string}[]} lines */
function fillList(list, lines) {
  const now = lines.map(({ words }) => words);
  const was = [...list.children].map((one) => one.textContent);
  // What is said already is not said again to who hears the page.
  if (now.join("\n") !== was.join("\n")) list.replaceChildren(...now.map(item));
}

/** @param {string} words */
function item(words) {
  const line = document.createElement("li");
  line.textContent = words;
  return line;
}
