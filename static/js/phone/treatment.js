// @ts-check
/** The sheet of a treatment: cautions first, then all that its record must say. */

import { chosen, copyOf, fill, part, valuesOf, write } from "./dom.js";
import { fillPests } from "./finding.js";
import { cautionsFor } from "./rules.js";
import { Sheet } from "./sheet.js";
import { newId } from "./visit.js";
import { instantOf } from "./when.js";

const OUTSIDE = new Set(["perimeter", "outdoor_dining", "waste"]);
const CARRIED_FORWARD = ["batch_number", "equipment", "dilution"];
const NUMBERS = ["area", "wind_speed"];

export class TreatmentSheet extends Sheet {
  /** @param {HTMLDialogElement} dialog @param {import("./app.js").App} app */
  constructor(dialog, app) {
    super(dialog);
    this.app = app;
    this.id = "";
    this.reEntryOf = "";
    this.day = new Date();
    this.form.addEventListener("change", (event) => {
      const { name } = /** @type {HTMLInputElement} */ (event.target);
      if (name === "product") this.carryForward();
      if (name === "zone") this.placeOutside();
      this.follow();
    });
    for (const button of this.form.querySelectorAll("[data-fills]")) {
      button.addEventListener("click", () => {
        const field = this.form.querySelector(`#${/** @type {HTMLElement} */ (button).dataset.fills}`);
        /** @type {HTMLInputElement} */ (field).value = button.textContent ?? "";
        this.keepDraft();
      });
    }
  }

  /** @param {{zone?: any, treatment?: any}} given */
  show({ zone, treatment }) {
    const { app } = this;
    this.id = treatment?.treatment ?? newId();
    part(this.form, "remove").hidden = !treatment;
    const product = this.select("product");
    product.replaceChildren(product.options[0]);
    for (const one of app.lists.products) product.add(new Option(one.name, one.id));
    fillPests(this.select("target"), app.lists.pests);
    const zones = this.select("zone");
    zones.replaceChildren();
    for (const one of app.zones) zones.add(new Option(one.name, one.id));
    const now = this.app.now();
    this.day = treatment ? new Date(treatment.started_at) : now;
    return this.open({
      key: app.draftKey(`treatment/${treatment ? this.id : (zone?.id ?? "new")}`),
      title: "Treatment",
      values: treatment
        ? { ...treatment, started: localTime(treatment.started_at), finished: localTime(treatment.finished_at) }
        : {
            zone: zone?.id ?? app.zones[0]?.id,
            area_unit: "points",
            started: localTime(now.toISOString()),
            outdoors: OUTSIDE.has(zone?.kind),
            cautions_confirmed: [],
          },
    });
  }

  /** @param {string} name @returns {HTMLSelectElement} */
  select(name) {
    return /** @type {HTMLSelectElement} */ (this.form.elements.namedItem(name));
  }

  /** @param {Record<string, any>} values */
  filled(values) {
    this.reEntryOf = values.product ?? "";
    this.follow(values.cautions_confirmed ?? []);
    fill(this.form, { monitor: values.monitor ?? "" });
  }

  product() {
    return this.app.lists.products.find((/** @type {any} */ one) => one.id === chosen(this.form, "product"));
  }

  /** What was said of the same product on this visit is there already. */
  carryForward() {
    const product = this.product();
    if (!product) return;
    const before = Object.values(this.app.said.treatments)
      .reverse()
      .find((one) => one.product === product.id);
    for (const name of CARRIED_FORWARD) {
      const field = /** @type {HTMLInputElement} */ (this.form.elements.namedItem(name));
      if (before && !field.value) field.value = before[name];
    }
    const reEntry = /** @type {HTMLInputElement} */ (this.form.elements.namedItem("re_entry"));
    const old = this.app.lists.products.find((/** @type {any} */ one) => one.id === this.reEntryOf);
    if (!reEntry.value || reEntry.value === old?.re_entry) reEntry.value = product.re_entry;
    this.reEntryOf = product.id;
  }

  placeOutside() {
    const zone = this.app.zoneOf(chosen(this.form, "zone"));
    fill(this.form, { outdoors: OUTSIDE.has(zone?.kind) });
  }

  /** What hangs on product, method and zone. @param {string[]} [ticked] */
  follow(ticked = valuesOf(this.form).cautions_confirmed ?? []) {
    const product = this.product();
    const zone = this.app.zoneOf(chosen(this.form, "zone"));
    const method = chosen(this.form, "method");
    const cautions = cautionsFor(this.app.lists.cautions, {
      method,
      formulation: product?.formulation ?? "",
      zoneKind: zone?.kind ?? "",
    });
    const list = part(this.form, "cautions");
    list.replaceChildren();
    const ticks = part(this.form, "tick-list");
    ticks.replaceChildren();
    for (const one of cautions) {
      const line = copyOf(one.confirm ? "caution-tick-template" : "caution-template");
      part(line, "words").textContent = one.text;
      const box = line.querySelector("input");
      if (box) {
        box.value = one.key;
        box.checked = ticked.includes(one.key);
      }
      (one.confirm ? ticks : list).append(line);
    }
    part(this.form, "ticks").hidden = !ticks.childElementCount;
    this.drawLabel(product);
    const baiting = method === "bait_station";
    part(this.form, "point").hidden = !baiting;
    if (baiting) this.offerPoints(zone);
    part(this.form, "weather").hidden = !valuesOf(this.form).outdoors;
  }

  /** @param {any} product */
  drawLabel(product) {
    part(this.form, "label").hidden = !product;
    part(this.form, "unit").textContent = product?.unit ?? "g or ml";
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
        .join(". "),
    );
    const warnings = [
      product.lapsed && "Its authorisation has lapsed.",
      product.is_demo && "Invented for demonstration: no dosing advice.",
    ].filter(Boolean);
    write(this.form, "label-warning", warnings.join(" "));
  }

  /** @param {any} zone */
  offerPoints(zone) {
    const select = this.select("monitor");
    const held = select.value;
    select.replaceChildren(new Option("None of the numbered points", ""));
    for (const one of zone?.monitors ?? []) {
      if (one.kind === "bait_station") select.add(new Option(`${one.number} ${one.place}`.trim(), one.id));
    }
    select.value = held;
  }

  async save() {
    const typed = valuesOf(this.form);
    const started = instantOf(typed.started, this.day);
    const finished = typed.finished ? instantOf(typed.finished, this.day) : null;
    /** @type {Record<string, any>} */
    const body = { treatment: this.id };
    for (const name of [
      "zone", "product", "target", "method", "place", "batch_number", "equipment", "situation",
      "dilution", "outdoors", "precautions", "re_entry", "supervised_person", "note",
    ]) {
      body[name] = typed[name];
    }
    for (const name of NUMBERS) body[name] = figure(typed[name]);
    body.amount = figure(typed.amount);
    body.area_unit = body.area === null ? "" : typed.area_unit;
    body.monitor = typed.method === "bait_station" ? typed.monitor || null : null;
    body.wind_speed = typed.outdoors ? body.wind_speed : null;
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

/** A figure as the server takes it, or nothing. @param {string} typed */
const figure = (typed) => (typed?.trim() ? typed.trim().replace(",", ".") : null);

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
