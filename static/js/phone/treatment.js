// @ts-check
/**
 * The sheet of a treatment: what for and where, which product, how much; or all fields at once. What
 * is shown of a step stands in `advice.js` and `amount.js`; here are the form, its draft and its record.
 */

import { AdviceStep } from "./advice.js";
import { AmountStep } from "./amount.js";
import { chosen, faultsOf, fill, part, valuesOf, write } from "./dom.js";
import { convert, digits, DoseFault, over, readNumber, shown } from "./dose.js";
import { fillPests } from "./finding.js";
import { NumberPad } from "./numberpad.js";
import { Sheet } from "./sheet.js";
import { newId } from "./visit.js";
import { instantOf } from "./when.js";
import { word } from "./words.js";

const OUTSIDE = new Set(["perimeter", "outdoor_dining", "waste"]);
const CARRIED_FORWARD = ["batch_number", "equipment"];
const STEPS = ["where", "product", "amount"];

export class TreatmentSheet extends Sheet {
  /** @param {HTMLDialogElement} dialog @param {import("./app.js").App} app */
  constructor(dialog, app) {
    super(dialog);
    this.app = app;
    this.id = "";
    this.reEntryOf = "";
    this.day = new Date();
    this.pad = new NumberPad(this.form);
    this.advice = new AdviceStep(this);
    this.amount = new AmountStep(this);
    this.form.addEventListener("change", (event) => this.changed(/** @type {HTMLInputElement} */ (event.target).name));
    this.form.addEventListener("input", (event) => this.amount.typed(/** @type {HTMLInputElement} */ (event.target).name));
    for (const button of this.form.querySelectorAll("[data-fills]")) {
      button.addEventListener("click", () => {
        const field = this.form.querySelector(`#${/** @type {HTMLElement} */ (button).dataset.fills}`);
        /** @type {HTMLInputElement} */ (field).value = button.textContent ?? "";
        this.keepDraft();
      });
    }
    part(this.form, "all-fields").addEventListener("click", () => this.go("all"));
    part(this.form, "step-by-step").addEventListener("click", () => this.go("where"));
    part(this.form, "change-step").addEventListener("click", () => this.go(STEPS[Math.max(0, STEPS.indexOf(this.step) - 1)]));
    part(this.form, "finished-now").addEventListener("click", () => {
      this.field("finished").value = localTime(this.app.now().toISOString());
      this.keepDraft();
      this.amount.draw();
    });
  }

  /** @param {{zone?: any, treatment?: any}} given */
  show({ zone, treatment }) {
    const { app } = this;
    this.id = treatment?.treatment ?? newId();
    part(this.form, "remove").hidden = !treatment;
    const product = /** @type {any} */ (this.field("product"));
    product.replaceChildren(product.options[0]);
    for (const one of app.lists.products) product.add(new Option(one.name, one.id));
    fillPests(/** @type {any} */ (this.field("target")), app.lists.pests);
    const zones = /** @type {any} */ (this.field("zone"));
    zones.replaceChildren();
    for (const one of app.zones) zones.add(new Option(one.name, one.id));
    const now = app.now();
    this.day = treatment ? new Date(treatment.started_at) : now;
    const at = zone ?? app.zones[0];
    this.advice.zoneOpened(at);
    return this.open({
      key: app.draftKey(`treatment/${treatment ? this.id : (zone?.id ?? "new")}`),
      title: "Treatment",
      subtitle: at?.name ?? "",
      values: treatment
        ? {
            ...treatment,
            amount: plain(treatment.amount),
            area: plain(treatment.area),
            finished_amount: plain(treatment.finished_amount),
            started: localTime(treatment.started_at),
            finished: localTime(treatment.finished_at),
            formulation: this.product(treatment.product)?.formulation ?? "",
            filled_by: "hand",
            spray_by: "hand",
            surroundings: [],
            step: "all",
          }
        : {
            zone: at?.id,
            target: this.advice.likely()[0]?.slug ?? "",
            started: localTime(now.toISOString()),
            outdoors: OUTSIDE.has(at?.kind),
            cautions_confirmed: [],
            surroundings: [],
            // A package from before the guide knows no steps.
            step: app.lists.guide ? "where" : "all",
          },
    });
  }

  /** @param {string} name @returns {HTMLInputElement} */
  field(name) {
    return /** @type {any} */ (this.form.elements.namedItem(name));
  }

  get step() {
    return chosen(this.form, "step");
  }

  /** @param {string} [id] @returns {any} */
  product(id = chosen(this.form, "product")) {
    return this.app.lists.products.find((/** @type {any} */ one) => one.id === id);
  }

  /** @returns {any} */
  zone() {
    return this.app.zoneOf(chosen(this.form, "zone"));
  }

  /** @param {Record<string, any>} values */
  filled(values) {
    this.reEntryOf = values.product ?? "";
    this.pad.hide();
    this.offerPoints();
    fill(this.form, { monitor: values.monitor ?? "" });
    this.amount.opened(values);
    this.draw(values.cautions_confirmed ?? []);
  }

  // --- steps --------------------------------------------------------------------------------------

  /** @param {string} step */
  go(step) {
    this.field("step").value = step;
    this.pad.hide();
    this.draw();
    this.dialog.scrollTop = 0;
    part(this.form, step === "where" || step === "all" ? "title" : "so-far-words").focus();
    this.keepDraft();
  }

  /** A suggestion of the guide is followed. @param {{formulation: string, method: string, surface: string}} chosenOne */
  follow({ formulation, method, surface }) {
    fill(this.form, { formulation, method, surface });
    this.go("product");
  }

  /** @param {any} product */
  take(product) {
    fill(this.form, { product: product.id });
    const place = this.field("place");
    if (!place.value) place.value = this.advice.placeWords();
    this.changed("product");
    this.go("amount");
  }

  /** @param {string} name of the field that has changed */
  changed(name) {
    if (name === "product") {
      this.carryForward();
      fill(this.form, { formulation: this.product()?.formulation ?? "" });
      this.amount.productTaken();
    }
    if (name === "zone") {
      fill(this.form, { outdoors: OUTSIDE.has(this.zone()?.kind) });
      this.advice.zoneOpened(this.zone());
    }
    if (name === "zone" || name === "method") this.offerPoints();
    this.amount.chosen(name);
    this.draw();
  }

  /** What hangs on what was chosen. @param {string[]} [ticked] */
  draw(ticked = valuesOf(this.form).cautions_confirmed ?? []) {
    const { step } = this;
    this.advice.draw(ticked);
    this.amount.draw();
    for (const one of /** @type {NodeListOf<HTMLElement>} */ (this.form.querySelectorAll("[data-steps]"))) {
      one.classList.toggle("is-other-step", !(one.dataset.steps ?? "").split(" ").includes(step));
    }
    part(this.form, "step-by-step").hidden = !this.app.lists.guide;
    const so = this.soFar(step);
    write(this.form, "so-far-words", so);
    part(this.form, "so-far").hidden = !so;
    part(this.form, "weather").hidden = !this.field("outdoors").checked;
    part(this.form, "point").hidden = chosen(this.form, "method") !== "bait_station";
    if (step === "all") part(this.form, "rest").open = true;
  }

  /** @param {string} step */
  soFar(step) {
    const { form, app } = this;
    if (!["product", "amount"].includes(step)) return "";
    const how = `${word("formulations", chosen(form, "formulation"))}: ${word("methods", chosen(form, "method")).toLowerCase()}`;
    const surface = chosen(form, "surface") && word("surfaces", chosen(form, "surface")).toLowerCase();
    const against = app.pest(chosen(form, "target"))?.name;
    return [step === "amount" && this.product()?.name, how, surface, against && `against ${against}`].filter(Boolean).join(", ");
  }

  /** What was said of the same product on this visit is there already; else what the van carries. */
  carryForward() {
    const product = this.product();
    if (!product) return;
    const before = Object.values(this.app.said.treatments)
      .reverse()
      .find((one) => one.product === product.id);
    for (const name of CARRIED_FORWARD) {
      const field = this.field(name);
      if (!field.value) field.value = before?.[name] || (name === "batch_number" ? product.batch : "") || "";
    }
    const reEntry = this.field("re_entry");
    const old = this.product(this.reEntryOf);
    if (!reEntry.value || reEntry.value === old?.re_entry) reEntry.value = product.re_entry;
    this.reEntryOf = product.id;
  }

  offerPoints() {
    const select = /** @type {any} */ (this.field("monitor"));
    const held = select.value;
    select.replaceChildren(new Option("None of the numbered points", ""));
    for (const one of this.zone()?.monitors ?? []) {
      if (one.kind === "bait_station") select.add(new Option(`${one.number} ${one.place}`.trim(), one.id));
    }
    select.value = held;
  }

  // --- what is recorded ---------------------------------------------------------------------------

  /** @returns {[string, string][]} */
  faults() {
    const faults = [...faultsOf(this.form), ...this.amount.faults()];
    const { wind_speed: wind } = valuesOf(this.form);
    if (wind.trim()) {
      const why = faultOf(wind);
      if (why) faults.push(["wind_speed", why]);
    }
    // What is asked for stands in another step: show all.
    const hidden = faults.some(([name]) => this.form.querySelector(`[name="${name}"]`)?.closest(".is-other-step"));
    if (hidden) this.go("all");
    return faults;
  }

  async save() {
    const typed = valuesOf(this.form);
    const started = instantOf(typed.started, this.day);
    const finished = typed.finished ? instantOf(typed.finished, this.day) : null;
    const product = this.product();
    /** @type {Record<string, any>} */
    const body = { treatment: this.id };
    for (const name of [
      "zone", "product", "target", "method", "surface", "place", "unit", "batch_number", "equipment", "situation",
      "outdoors", "precautions", "re_entry", "supervised_person", "note", "explanation",
    ]) {
      body[name] = typed[name].trim?.() ?? typed[name];
    }
    for (const name of ["amount", "area", "finished_amount"]) body[name] = figure(typed[name]);
    body.area_unit = body.area === null ? "" : typed.area_unit;
    body.finished_unit = body.finished_amount === null ? "" : typed.finished_unit;
    body.dilution = typed.dilution.trim() || rateUsed(product, body);
    body.label = product?.label?.id ?? null;
    body.rate = this.amount.rate()?.id ?? null;
    body.monitor = typed.method === "bait_station" ? typed.monitor || null : null;
    body.wind_speed = typed.outdoors ? figure(typed.wind_speed, 1) : null;
    body.wind_direction = typed.outdoors ? typed.wind_direction : "";
    body.weather = typed.outdoors ? typed.weather : "";
    body.cautions_confirmed = typed.cautions_confirmed ?? [];
    body.started_at = started;
    // Past midnight the end is on the next day.
    body.finished_at = finished && finished < started ? dayLater(finished) : finished;
    body.checkpoint = null;
    await this.app.record("treatment.set", body, `treatment, ${this.app.zoneOf(body.zone)?.name}`);
  }

  async remove() {
    await this.app.record("treatment.remove", { treatment: this.id }, "treatment");
  }
}

/** Such as "0.25 g for each point", from what is recorded. @param {any} product @param {Record<string, any>} body */
function rateUsed(product, { amount, unit, area, area_unit: areaUnit, finished_amount: spray, finished_unit: sprayUnit }) {
  try {
    const used = readNumber(amount);
    const each = (/** @type {import("./dose.js").Exact} */ many) => shown({ amount: over(used, many), unit });
    if (spray) return `${each(convert(readNumber(spray), sprayUnit, "l"))} in each litre`;
    const whole = product?.label?.ready_to_use ? "Ready to use" : "";
    if (!area) return whole;
    return [whole, `${each(readNumber(area))} for each ${areaUnit === "points" ? "point" : word("area_units", areaUnit)}`].filter(Boolean).join(", ");
  } catch (fault) {
    if (fault instanceof DoseFault) return "";
    throw fault;
  }
}

/** A figure as the server takes it, or nothing. @param {string} typed @param {number} [places] */
const figure = (typed, places = 4) => (typed?.trim() ? digits(readNumber(typed), places) : null);

/** Why a number cannot be read, or nothing. @param {string} typed */
export function faultOf(typed) {
  try {
    readNumber(typed);
    return "";
  } catch (fault) {
    if (fault instanceof DoseFault) return fault.message;
    throw fault;
  }
}

/** A figure of the record without the zeros that only its column adds. @param {string | null} given */
const plain = (given) => (given ? String(given).replace(/(\.\d*?)0+$/, "$1").replace(/\.$/, "") : "");

/** @param {string} instant */
function dayLater(instant) {
  return new Date(new Date(instant).getTime() + 86_400_000).toISOString();
}

/** The time of day on this phone, for a field of type time. @param {string | null} instant */
function localTime(instant) {
  if (!instant) return "";
  const at = new Date(instant);
  return [at.getHours(), at.getMinutes()].map((one) => String(one).padStart(2, "0")).join(":");
}
