// @ts-check
/** The first two steps of a treatment: what for and where, what suits, what to mind, which product. */

import { chosen, copyOf, part, text, valuesOf, write } from "./dom.js";
import { advise, LAST_WORD, mindFor, suggestionsFor } from "./guide.js";
import { licensedOn, offersOf } from "./notices.js";
import { cautionsFor } from "./rules.js";
import { dayIn } from "./when.js";
import { word } from "./words.js";

const FEW_PESTS = 4;
const FEW_OFFERS = 6; // before anybody has said where in the zone it is

export class AdviceStep {
  /** @param {import("./treatment.js").TreatmentSheet} sheet */
  constructor(sheet) {
    this.sheet = sheet;
    this.form = sheet.form;
    /** @type {any} */
    this.zone = null;
    write(this.form, "last-word", LAST_WORD);
    part(this.form, "tick-all").addEventListener("click", () => {
      for (const box of part(this.form, "tick-list").querySelectorAll("input")) box.checked = true;
      sheet.keepDraft();
    });
    // A radio button that is pressed again lets go: where in it may be left open.
    for (const radio of /** @type {NodeListOf<HTMLInputElement>} */ (this.form.querySelectorAll('input[name="surface"]'))) {
      let was = false;
      radio.closest("label")?.addEventListener("pointerdown", () => (was = radio.checked));
      radio.addEventListener("click", () => {
        if (!was) return;
        was = false;
        radio.checked = false;
        sheet.changed("surface");
        sheet.keepDraft();
      });
    }
  }

  /** @param {any} zone */
  zoneOpened(zone) {
    this.zone = zone;
  }

  get lists() {
    return this.sheet.app.lists;
  }

  /** Pests that were seen in this zone on this visit, the last seen first, then those that were read there before. */
  likely() {
    const { app } = this.sheet;
    const zone = this.zone;
    if (!zone) return [];
    const found = Object.values(app.said.findings).filter((one) => one.zone === zone.id && one.pest).reverse();
    const caught = (/** @type {any} */ reading) => Object.entries(reading?.counts ?? {}).filter(([, count]) => count).map(([slug]) => slug);
    const slugs = [
      ...found.map((one) => one.pest),
      ...zone.monitors.flatMap((/** @type {any} */ one) => caught(app.said.readings[one.id])),
      ...zone.monitors.flatMap((/** @type {any} */ one) => caught(one.last)),
    ];
    return [...new Set(slugs)].slice(0, FEW_PESTS).map((slug) => app.pest(slug)).filter(Boolean);
  }

  /** Where it was found, in words, else where in the zone it is. */
  placeWords() {
    const { target, surface } = valuesOf(this.form);
    const found = Object.values(this.sheet.app.said.findings).filter((one) => one.zone === this.zone?.id && one.pest === target).at(-1);
    const checkpoint = this.zone?.checkpoints.find((/** @type {any} */ one) => one.id === found?.checkpoint)?.label;
    return [checkpoint, found?.place, surface && word("surfaces", surface).toLowerCase()].filter(Boolean).join(", ").slice(0, 200);
  }

  /** The situation as the guide asks for it. @returns {import("./guide.js").Situation} */
  situation() {
    const { target, surface, surroundings = [], outdoors } = valuesOf(this.form);
    const zone = this.zone;
    return {
      zone_kind: zone?.kind ?? "other",
      surface,
      pest: target,
      pest_group: this.sheet.app.pest(target)?.group ?? "",
      surroundings: [
        ...surroundings,
        ...(outdoors ? ["outdoors"] : []),
        ...(["shared", "outside"].includes(zone?.boundary) ? [`boundary_${zone.boundary}`] : []),
      ],
    };
  }

  /** The application as it is checked. @returns {import("./notices.js").Planned} */
  planned() {
    const { method, outdoors, wind_speed: wind } = valuesOf(this.form);
    const { app, day } = this.sheet;
    const on = dayIn(day, app.visit.site.time_zone);
    return {
      ...this.situation(), on, method, outdoors, wind,
      boundary: this.zone?.boundary ?? "within",
      licensed: licensedOn(this.lists.competences ?? [], on),
    };
  }

  /** @param {string[]} ticked */
  draw(ticked) {
    this.drawLikely();
    this.drawSuggestions();
    this.drawMinds(ticked);
    this.drawProducts();
  }

  drawLikely() {
    const target = chosen(this.form, "target");
    const box = part(this.form, "likely");
    const pests = this.likely();
    box.hidden = !pests.length;
    box.replaceChildren(
      ...pests.map((pest) => {
        const button = document.createElement("button");
        button.type = "button";
        button.className = "tap";
        button.textContent = pest.name;
        button.setAttribute("aria-pressed", String(pest.slug === target));
        button.addEventListener("click", () => {
          this.sheet.field("target").value = pest.slug;
          this.sheet.changed("target");
          this.sheet.keepDraft();
          box.querySelector('[aria-pressed="true"]')?.focus({ preventScroll: true });
        });
        return button;
      }),
    );
  }

  drawSuggestions() {
    const rows = this.lists.guide ?? [];
    const at = this.situation();
    const advice = advise(at, rows);
    const surfaces = [...this.form.querySelectorAll('input[name="surface"]')].map((one) => /** @type {HTMLInputElement} */ (one).value);
    const offers = at.surface
      ? advice.preferred.map((one) => ({ ...one, surface: at.surface }))
      : suggestionsFor(at, surfaces, rows);
    const asked = Boolean(at.pest);
    write(this.form, "nothing", asked ? (offers.length ? "" : advice.nothing) : "Say against which pest.");
    part(this.form, "suggestions").replaceChildren(
      ...(asked ? offers.slice(0, at.surface ? offers.length : FEW_OFFERS) : []).map((one) =>
        offer({
          title: `${word("formulations", one.formulation)}: ${word("methods", one.method).toLowerCase()}`,
          where: at.surface || !one.surface ? "" : word("surfaces", one.surface),
          note: one.reason,
          tap: () => this.sheet.follow(one),
        }),
      ),
    );
    text(part(this.form, "more-words"), at.surface ? word("surfaces", at.surface) : "Not said");
    const out = part(this.form, "out");
    out.hidden = !asked || !advice.ruled_out.length;
    text(part(out, "out-summary"), `What does not suit (${advice.ruled_out.length})`);
    part(out, "out-list").replaceChildren(
      ...advice.ruled_out.map(({ formulation, method, reason }) =>
        item(`${word("formulations", formulation)}${method && `, ${word("methods", method).toLowerCase()}`}: ${reason}`)),
    );
  }

  /** What to see to and to mind before the amount. @param {string[]} ticked */
  drawMinds(ticked) {
    const { form } = this;
    const at = this.situation();
    const method = chosen(form, "method");
    const formulation = this.sheet.product()?.formulation || chosen(form, "formulation");
    const table = cautionsFor(this.lists.cautions, {
      method, formulation, zoneKind: at.zone_kind, pestGroup: at.pest_group, surroundings: at.surroundings,
    }).map((one) => ({ key: one.key, words: one.text, confirm: one.confirm }));
    const known = formulation && method;
    const minds = known ? mindFor(at, this.lists.guide ?? [], { formulation, method }) : { preconditions: [], cautions: [], against: "" };
    // The same may stand in both tables: once is enough, and what is to be confirmed wins, by the key that seals know.
    const firm = new Set(table.filter((one) => one.confirm).map((one) => one.words));
    const own = [...minds.preconditions, ...minds.cautions]
      .filter((one) => !firm.has(one.words))
      .map((one) => ({ ...one, confirm: true }));
    const words = new Set(own.map((one) => one.words));
    const keys = new Set(own.map((one) => one.key));
    const all = [...own, ...table.filter((one) => !keys.has(one.key) && !words.has(one.words))];
    const lines = (/** @type {boolean} */ confirm, /** @type {string} */ template) =>
      all.filter((one) => one.confirm === confirm).map((one) => {
        const line = copyOf(template);
        text(part(line, "words"), one.words);
        const box = line.querySelector("input");
        if (box) {
          box.value = one.key;
          box.checked = ticked.includes(one.key);
        }
        return line;
      });
    const ticks = lines(true, "caution-tick-template");
    part(form, "cautions").replaceChildren(...lines(false, "caution-template"));
    part(form, "tick-list").replaceChildren(...ticks);
    part(form, "ticks").hidden = !ticks.length;
    part(form, "tick-all").hidden = ticks.length < 2;
    write(form, "ruled-out-words", minds.against && `The guide rules this out here: ${minds.against}`);
    part(form, "ruled-out").hidden = !minds.against;
  }

  drawProducts() {
    const formulation = chosen(this.form, "formulation");
    const used = Object.values(this.sheet.app.said.treatments).map((one) => one.product).reverse();
    const { fit, unfit } = offersOf(this.lists.products, { ...this.planned(), formulation }, [...new Set(used)]);
    const button = (/** @type {any} */ { product, why }) =>
      offer({
        title: product.name,
        where: product.carried ? `In your van${product.batch ? `, batch ${product.batch}` : ""}` : "Not in your van",
        note: why || product.actives,
        tap: () => this.sheet.take(product),
      });
    part(this.form, "products").replaceChildren(...fit.map(button));
    write(this.form, "no-product", fit.length ? "" : "No product on this phone fits by its label. Choose another way, or ask the office.");
    part(this.form, "unfit").hidden = !unfit.length;
    text(part(this.form, "unfit-summary"), `Not for this by their labels (${unfit.length})`);
    part(this.form, "unfit-list").replaceChildren(...unfit.map(button));
  }
}

/** @param {{title: string, where: string, note: string, tap: () => void}} given */
function offer({ title, where, note, tap }) {
  const button = copyOf("offer-template");
  text(part(button, "title"), title);
  write(button, "where", where);
  text(part(button, "note"), note);
  button.addEventListener("click", tap);
  return button;
}

/** @param {string} words */
function item(words) {
  const line = document.createElement("li");
  line.textContent = words;
  return line;
}
