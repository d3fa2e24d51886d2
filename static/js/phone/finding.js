// @ts-check
/** The sheet of a finding: what it is, photos, where it is on the plan, what is recommended. */

import { byId, choose, chosen, copyOf, part, valuesOf, write } from "./dom.js";
import { MarkSheet } from "./mark.js";
import { MOST_BYTES, small, thumb } from "./photo.js";
import { PlanField } from "./place.js";
import { Sheet } from "./sheet.js";
import * as store from "./store.js";
import { newId } from "./visit.js";
import { trueTime } from "./when.js";

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
    /** @type {string[]} hashes of photos that can be brought back while the sheet is open */
    this.spare = [];
    /** @type {Map<string, string>} by the hash of a marked photo, that of the one without the mark */
    this.firsts = new Map();
    /** @type {Map<string, {src: string, note: string, canMark: boolean}>} how photos are shown */
    this.shown = new Map();
    /** Resolves once all photos are kept that were chosen. */
    this.keeping = Promise.resolve();
    this.unkept = "";
    this.mark = new MarkSheet(byId("mark"));
    this.plan = new PlanField(this.form, () => this.keepDraft());
    for (const input of this.form.querySelectorAll('input[type="file"]')) {
      input.addEventListener("change", () => this.taken(/** @type {HTMLInputElement} */ (input)));
    }
    this.form.addEventListener("change", () => this.follow());
    // A radio button that is pressed again lets go: what is recommended may be left out.
    for (const radio of this.form.querySelectorAll('input[name="remedy_kind"]')) {
      radio.addEventListener("click", () => this.letGo(/** @type {HTMLInputElement} */ (radio)));
    }
    this.held = "";
  }

  /** @param {{zone: any, checkpoint?: any, finding?: any}} where */
  async show({ zone, checkpoint = null, finding = null }) {
    await this.keeping; // photos of another finding are still being put beside it
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
        spare: [],
        spot: typeof finding?.x === "number" ? [finding.x, finding.y] : null,
      },
    });
  }

  /** @param {Record<string, any>} values */
  filled(values) {
    this.photos = [...values.photos];
    this.spare = [...values.spare];
    this.firsts.clear();
    this.held = values.remedy_kind;
    this.tell("");
    this.follow();
    this.drawPhotos();
    this.plan.show(this.app, this.where.zone, values.spot);
  }

  hide() {
    super.hide();
    for (const { src } of this.shown.values()) URL.revokeObjectURL(src);
    this.shown.clear();
    this.plan.hide();
    const { spare } = this;
    this.spare = [];
    if (!spare.length) return;
    this.keepNow().then(() => store.forgetLoose(spare)).catch(() => {});
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

  // --- photos -------------------------------------------------------------------------------------

  /** @param {HTMLInputElement} input */
  taken(input) {
    const files = [...(input.files ?? [])];
    input.value = "";
    if (files.length) this.keeping = this.keeping.then(() => this.keepAll(files));
  }

  /** Say how photos stand. @param {string} words */
  tell(words) {
    part(this.form, "photo-words").textContent = words;
    part(this.form, "put-back").hidden = true;
  }

  /** Keep what was taken, one after another, and say so. @param {File[]} files */
  async keepAll(files) {
    const chosen = files.slice(0, Math.max(0, MOST_PHOTOS - this.photos.length));
    const said = new Set();
    this.unkept = "";
    let kept = 0;
    for (const file of chosen) {
      kept += 1;
      this.tell(files.length > 1 ? `Keeping photo ${kept} of ${files.length}…` : "Keeping the photo…");
      try {
        said.add(await this.keepFile(file));
      } catch (fault) {
        kept -= 1;
        this.unkept = store.isFull(fault)
          ? "This phone is full: not every photo was kept. Send what waits or free some space, then take it again."
          : "A photo could not be kept. Take it again.";
        if (store.isFull(fault)) break;
      }
    }
    if (chosen.length < files.length) said.add(`A finding takes at most ${MOST_PHOTOS} photos. Put the others into another finding.`);
    if (kept) said.add(kept === 1 ? "Kept on this phone." : `${kept} photos kept on this phone.`);
    const room = await this.app.tellRoom().catch(() => "");
    this.tell([...said, this.unkept, room].filter(Boolean).join(" "));
  }

  /** Gives back what there is to say of it. @param {File} file */
  async keepFile(file) {
    const { blob, sha256, isRead } = await small(file);
    if (blob.size > MOST_BYTES) return "A picture that is larger than 15 MB was left out.";
    if (this.photos.includes(sha256)) return "One was here already.";
    const now = Date.now();
    await this.keepPhoto(blob, sha256, new Date(Math.min(file.lastModified || now, now)), () => this.photos.push(sha256));
    return isRead ? "" : "One is kept as it came, since this phone cannot show it.";
  }

  /**
   * Keep a photo with the draft that names it, both or neither.
   * @param {Blob} blob @param {string} sha256 @param {Date | string} taken by this phone's clock, or as it was kept
   * @param {() => void} name puts it into the finding
   */
  async keepPhoto(blob, sha256, taken, name) {
    const before = [this.photos, this.spare].map((hashes) => [...hashes]);
    this.shown.set(sha256, { src: "", note: "", canMark: false }); // nobody looks for it before it is kept
    name();
    const at = typeof taken === "string" ? taken : trueTime(taken, this.app.ahead).toISOString();
    try {
      await store.keepPhoto({ sha256, blob, taken_at: at, kept_at: new Date().toISOString() }, this.draftKey, this.typed());
    } catch (fault) {
      [this.photos, this.spare] = before;
      throw fault;
    } finally {
      this.shown.delete(sha256);
    }
    this.drawPhotos();
  }

  drawPhotos() {
    const { photos } = this;
    part(this.form, "photos").replaceChildren(
      ...photos.map((sha256, index) => {
        const line = copyOf("photo-template");
        line.dataset.sha256 = sha256;
        const name = `Photo ${index + 1}`;
        write(line, "name", `${name} of ${photos.length}${this.firsts.has(sha256) ? ", with a mark" : ""}`);
        line.querySelector("img").alt = this.firsts.has(sha256) ? `${name}, with a mark` : name;
        for (const which of line.querySelectorAll(".visually-hidden")) which.textContent = ` (${name.toLowerCase()})`;
        part(line, "mark").addEventListener("click", () => this.drawOn(sha256, name));
        part(line, "unmark").hidden = !this.firsts.has(sha256);
        part(line, "unmark").addEventListener("click", () => this.unmark(sha256));
        part(line, "remove").addEventListener("click", () => this.leaveOut(sha256, name));
        const known = this.shown.get(sha256);
        if (known) showPhoto(line, known);
        return line;
      }),
    );
    this.showing = (this.showing ?? Promise.resolve()).then(() => this.showAll());
  }

  /** Find the pictures of those that are not shown yet: one at a time, and small. */
  async showAll() {
    for (const sha256 of this.photos) {
      if (this.shown.has(sha256)) continue;
      const found = await this.picture(sha256);
      if (!this.dialog.open || !this.photos.includes(sha256)) {
        URL.revokeObjectURL(found.src);
        continue;
      }
      this.shown.set(sha256, found);
      const line = this.form.querySelector(`[data-sha256="${sha256}"]`);
      if (line) showPhoto(line, found);
    }
  }

  /** @param {string} sha256 */
  async picture(sha256) {
    const [photo, ways] = await Promise.all([store.photo(sha256), store.sending()]).catch(() => [undefined, []]);
    const way = ways.find((one) => one.sha256 === sha256 && one.refused);
    const little = photo && (await thumb(photo.blob));
    const src = little ? URL.createObjectURL(little) : photo ? "" : (this.app.visit.photos?.[sha256] ?? "");
    const kept = photo ? "Kept as it came; this phone cannot show it." : "Sent.";
    return { src, note: way ? "The server cannot read this one." : src ? "" : kept, canMark: Boolean(little) };
  }

  /** @param {string} sha256 @param {string} name */
  leaveOut(sha256, name) {
    const at = this.photos.indexOf(sha256);
    this.photos.splice(at, 1);
    this.spare.push(sha256);
    this.drawPhotos();
    this.keepDraft();
    this.tell(`${name} is left out.`);
    const back = part(this.form, "put-back");
    back.hidden = false;
    back.onclick = () => {
      this.spare = this.spare.filter((one) => one !== sha256);
      this.photos.splice(at, 0, sha256);
      this.drawPhotos();
      this.keepDraft();
      this.tell(`${name} is back.`);
    };
    back.focus();
  }

  /** @param {string} sha256 @param {string} name */
  async drawOn(sha256, name) {
    const photo = await store.photo(sha256);
    if (!photo) return;
    await this.mark.show(photo.blob, name, async ({ blob, sha256: marked }) => {
      const first = this.firsts.get(sha256) ?? sha256;
      await this.keepPhoto(blob, marked, photo.taken_at, () => {
        this.photos = this.photos.map((one) => (one === sha256 ? marked : one));
        this.spare.push(sha256);
        this.firsts.set(marked, first);
      });
      this.tell(`The mark on ${name.toLowerCase()} is kept on this phone.`);
    });
  }

  /** @param {string} marked */
  unmark(marked) {
    const first = this.firsts.get(marked) ?? marked;
    this.photos = this.photos.map((one) => (one === marked ? first : one));
    this.spare = [...this.spare.filter((one) => one !== first), marked];
    this.drawPhotos();
    this.keepDraft();
    this.tell("The mark is off.");
    /** @type {any} */ (this.form.querySelector(`[data-sha256="${first}"] [data-part="mark"]`))?.focus();
  }

  // --- what is recorded ---------------------------------------------------------------------------

  typed() {
    return { ...valuesOf(this.form), photos: this.photos, spare: this.spare, spot: this.plan.spot };
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
    const { unkept } = this;
    await this.keeping;
    if (this.unkept !== unkept && this.unkept) throw new Error(this.unkept);
    const typed = valuesOf(this.form);
    const { zone, checkpoint } = this.where;
    const [x, y] = this.plan.spot ?? [null, null];
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
      x,
      y,
    }, this.words);
    await this.forget();
  }

  async remove() {
    await this.keeping;
    await this.app.record("finding.remove", { finding: this.id }, this.words);
    await this.forget();
  }

  get words() {
    const { zone, checkpoint } = this.where;
    return `finding, ${checkpoint?.label ?? zone.name}`;
  }

  /** The draft is done with, and so are photos that no record names. */
  async forget() {
    const done = [...this.photos, ...this.spare];
    this.spare = [];
    await store.forgetDraft(this.draftKey).then(() => store.forgetLoose(done)).catch(() => {});
  }
}

/** @param {any} line @param {{src: string, note: string, canMark: boolean}} found */
function showPhoto(line, { src, note, canMark }) {
  const image = line.querySelector("img");
  image.hidden = !src;
  if (src) image.src = src;
  image.onerror = () => {
    image.hidden = true;
    write(line, "note", "Sent. Shown where there is a signal.");
  };
  write(line, "note", note);
  part(line, "mark").hidden = !canMark;
}

/** @param {HTMLSelectElement} select @param {any[]} pests */
export function fillPests(select, pests) {
  select.replaceChildren(select.options[0]);
  for (const pest of pests) select.add(new Option(pest.name, pest.slug));
}
