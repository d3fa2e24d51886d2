// @ts-check
/**
 * A sheet that slides over the walk: one thing at a time. The phone's own back button closes it, what
 * was typed is kept until it is saved, and a second tap on "save" does nothing.
 */

import { faultsOf, fill, part, showFaults, valuesOf, write } from "./dom.js";
import * as store from "./store.js";

const DRAFT_MS = 250;
const BOUNCE_MS = 400;

/** @type {Sheet[]} what is shown, the uppermost last */
const shown = [];

addEventListener("popstate", () => shown.at(-1)?.hide());

export class Sheet {
  /** Whether it lies over another sheet, rather than taking its place. */
  over = false;

  /** @param {HTMLDialogElement} dialog */
  constructor(dialog) {
    this.dialog = dialog;
    this.form = /** @type {HTMLFormElement} */ (dialog.querySelector("form"));
    this.draftKey = "";
    this.saving = false;
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.timer = undefined;
    part(dialog, "back").addEventListener("click", () => this.leave());
    dialog.addEventListener("cancel", (event) => {
      event.preventDefault();
      this.leave();
    });
    this.form.addEventListener("input", () => this.keepDraft());
    this.form.addEventListener("submit", (event) => {
      event.preventDefault();
      this.submit();
    });
    part(this.form, "remove")?.addEventListener("click", () => this.finish(() => this.remove()));
  }

  /**
   * Show the sheet with values, or with what was typed and not saved before.
   * @param {{key: string, title: string, subtitle?: string, values: Record<string, any>}} given
   */
  async open({ key, title, subtitle = "", values }) {
    this.draftKey = key;
    this.form.reset();
    write(this.form, "title", title);
    write(this.form, "subtitle", subtitle);
    showFaults(this.form, []);
    const typed = await store.draft(key).catch(() => undefined);
    fill(this.form, { ...values, ...typed });
    this.filled({ ...values, ...typed });
    if (!this.dialog.open) {
      const below = shown.at(-1);
      if (below && !this.over) below.hide();
      else history.pushState({ sheet: this.dialog.id }, "");
      shown.push(this);
      this.dialog.showModal();
    }
    // The second press of a glove that bounced is not meant for what is shown now.
    this.dialog.classList.add("is-moving");
    setTimeout(() => this.dialog.classList.remove("is-moving"), BOUNCE_MS);
    this.dialog.scrollTop = 0;
    part(this.form, "title").focus();
  }

  /** Close without saving; what was typed is there when it is opened again. */
  leave() {
    history.back();
  }

  hide() {
    if (this.timer) this.keepNow();
    if (shown.includes(this)) shown.splice(shown.indexOf(this), 1);
    this.dialog.close();
  }

  /** After the values are in: what else there is to draw. @param {Record<string, any>} _values */
  filled(_values) {}

  /** What is wrong, as [name, sentence]. @returns {[string, string][]} */
  faults() {
    return faultsOf(this.form);
  }

  /** Record what was typed. @returns {Promise<void>} */
  async save() {}

  /** Take it back. @returns {Promise<void>} */
  async remove() {}

  /** What is kept as a draft. */
  typed() {
    return valuesOf(this.form);
  }

  keepDraft() {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.keepNow(), DRAFT_MS);
  }

  keepNow() {
    this.dropTimer();
    return store.keepDraft(this.draftKey, this.typed()).catch(() => {});
  }

  dropTimer() {
    clearTimeout(this.timer);
    this.timer = undefined;
  }

  submit() {
    const faults = this.faults();
    showFaults(this.form, faults);
    if (!faults.length) this.finish(() => this.save());
  }

  /** @param {() => Promise<any>} work gives the next sheet to open, or nothing to go back to the walk */
  async finish(work) {
    if (this.saving) return;
    this.saving = true;
    const key = this.draftKey;
    try {
      const next = await work();
      this.dropTimer();
      await store.forgetDraft(key).catch(() => {});
      if (next) await next();
      else this.leave();
    } catch (fault) {
      // Nothing was kept: the sheet stays as it is, with all that was typed.
      showFaults(this.form, [["", notKept(fault)]]);
    } finally {
      this.saving = false;
    }
  }
}

/** @param {any} fault */
function notKept(fault) {
  return fault?.name === "QuotaExceededError"
    ? "This phone is full: not kept. Free some space and save again."
    : `Not kept: ${fault?.message ?? fault}. Save again.`;
}
