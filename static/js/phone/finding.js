// @ts-check
/** The sheet of a finding: what it is, photos, what is recommended. */

import { choose, chosen, copyOf, part, valuesOf } from "./dom.js";
import { small } from "./photo.js";
import { Sheet } from "./sheet.js";
import * as store from "./store.js";
import { newId } from "./visit.js";

const MOST_PHOTOS = 12;

export class FindingSheet extends Sheet {
  /** @param {HTMLDialogElement} dialog @param {import("./app.js").App} app */
  constructor(dialog, app) {
    super(dialog);
    this.app = app;
    this.id = "";
    /** @type {any} */
    this.where = null;
    /** @type {string[]} hashes, in the order in which they were taken */
    this.photos = [];
    /** @type {Map<string, string>} addresses to show them by */
    this.shown = new Map();
    const camera = this.form.querySelector("#finding-photo");
    camera?.addEventListener("change", () => this.taken(/** @type {HTMLInputElement} */ (camera)));
    this.form.addEventListener("change", () => this.follow());
    // A radio button that is pressed again lets go: what is recommended may be left out.
    for (const radio of this.form.querySelectorAll('input[name="remedy_kind"]')) {
      radio.addEventListener("click", () => this.letGo(/** @type {HTMLInputElement} */ (radio)));
    }
    this.held = "";
  }

  /** @param {{zone: any, checkpoint?: any, finding?: any}} where */
  show({ zone, checkpoint = null, finding = null }) {
    this.where = { zone, checkpoint };
    this.id = finding?.finding ?? newId();
    part(this.form, "remove").hidden = !finding;
    const pests = this.form.elements.namedItem("pest");
    fillPests(/** @type {HTMLSelectElement} */ (pests), this.app.lists.pests);
    const place = checkpoint ?? zone;
    return this.open({
      key: this.app.draftKey(`finding/${finding ? this.id : place.id}`),
      title: "Finding",
      subtitle: checkpoint ? `${zone.name}: ${checkpoint.label}` : zone.name,
      values: {
        kind: finding?.kind ?? "",
        pest: finding?.pest ?? "",
        count: finding?.count ?? "",
        urgency: finding?.urgency ?? "soon",
        note: finding?.note ?? "",
        place: finding?.place ?? "",
        remedy_kind: finding?.remedy_kind ?? "",
        remedy: finding?.remedy ?? "",
        whose_move: finding?.whose_move ?? "",
        photos: finding?.photos ?? [],
      },
    });
  }

  /** @param {Record<string, any>} values */
  async filled(values) {
    this.photos = [...values.photos];
    this.held = values.remedy_kind;
    this.follow();
    this.drawPhotos();
    for (const kept of await store.photos().catch(() => [])) {
      if (this.photos.includes(kept.sha256) && !this.shown.has(kept.sha256)) {
        this.shown.set(kept.sha256, URL.createObjectURL(kept.blob));
      }
    }
    this.drawPhotos();
  }

  /** What hangs on what was chosen. */
  follow() {
    const pest = this.app.pest(chosen(this.form, "pest"));
    part(this.form, "droppings").hidden = pest?.group !== "rodent";
    part(this.form, "droppings-words").textContent = this.app.lists.droppings;
    const remedy = chosen(this.form, "remedy_kind");
    part(this.form, "remedy").hidden = !remedy;
    const list = part(this.form, "suggestions");
    list.replaceChildren();
    const kind = chosen(this.form, "kind");
    for (const one of this.app.lists.remedies) {
      if (!remedy || one.kind !== remedy || (one.finding && one.finding !== kind)) continue;
      const button = copyOf("suggestion-template");
      button.textContent = one.text;
      button.addEventListener("click", () => this.suggest(one));
      list.append(button);
    }
  }

  /** @param {HTMLInputElement} radio */
  letGo(radio) {
    if (this.held === radio.value) {
      radio.checked = false;
      this.held = "";
      this.follow();
      this.keepDraft();
    } else {
      this.held = radio.value;
    }
  }

  /** @param {any} one */
  suggest(one) {
    const words = /** @type {HTMLTextAreaElement} */ (this.form.elements.namedItem("remedy"));
    words.value = words.value.trim() ? `${words.value.trim()}\n${one.text}` : one.text;
    if (!chosen(this.form, "whose_move")) choose(this.form, "whose_move", one.whose_move);
    this.keepDraft();
  }

  /** @param {HTMLInputElement} camera */
  async taken(camera) {
    const file = camera.files?.[0];
    camera.value = "";
    if (!file) return;
    const words = part(this.form, "photo-words");
    if (this.photos.length >= MOST_PHOTOS) {
      words.textContent = `A finding takes at most ${MOST_PHOTOS} photos.`;
      return;
    }
    words.textContent = "Keeping the photo…";
    try {
      const { blob, sha256 } = await small(file);
      await store.keepPhoto({
        sha256,
        blob,
        visit: this.app.visitId,
        person: this.app.person,
        taken_at: new Date().toISOString(),
      });
      this.shown.set(sha256, URL.createObjectURL(blob));
      if (!this.photos.includes(sha256)) this.photos.push(sha256);
      words.textContent = "Kept on this phone.";
      this.drawPhotos();
      this.keepDraft();
      this.app.sender.send();
    } catch (fault) {
      words.textContent =
        /** @type {any} */ (fault)?.name === "QuotaExceededError"
          ? "This phone is full: the photo was not kept."
          : "The photo could not be kept. Take it again.";
    }
  }

  drawPhotos() {
    const list = part(this.form, "photos");
    list.replaceChildren();
    this.photos.forEach((sha256, index) => {
      const line = copyOf("photo-template");
      const picture = line.querySelector("img");
      picture.src = this.shown.get(sha256) ?? this.app.visit.photos?.[sha256] ?? "";
      picture.alt = `Photo ${index + 1}`;
      part(line, "remove").addEventListener("click", () => {
        this.photos = this.photos.filter((one) => one !== sha256);
        this.drawPhotos();
        this.keepDraft();
      });
      list.append(line);
    });
  }

  typed() {
    return { ...valuesOf(this.form), photos: this.photos };
  }

  /** @returns {[string, string][]} */
  faults() {
    const faults = super.faults();
    if (chosen(this.form, "remedy_kind") && !chosen(this.form, "whose_move")) {
      faults.push(["whose_move", "Say whose move the remedy is."]);
    }
    return faults;
  }

  async save() {
    const typed = valuesOf(this.form);
    const { zone, checkpoint } = this.where;
    await this.app.record("finding.set", {
      finding: this.id,
      zone: zone.id,
      checkpoint: checkpoint?.id ?? null,
      height: checkpoint?.height ?? "",
      kind: typed.kind,
      pest: typed.pest,
      count: typed.count === "" ? null : Number.parseInt(typed.count, 10),
      urgency: typed.urgency,
      note: typed.note,
      place: typed.place,
      remedy_kind: typed.remedy_kind,
      remedy: typed.remedy_kind ? typed.remedy : "",
      whose_move: typed.remedy_kind ? typed.whose_move : "",
      photos: this.photos,
    });
  }

  async remove() {
    await this.app.record("finding.remove", { finding: this.id });
  }
}

/** @param {HTMLSelectElement} select @param {any[]} pests */
export function fillPests(select, pests) {
  select.replaceChildren(select.options[0]);
  for (const pest of pests) select.add(new Option(pest.name, pest.slug));
}
