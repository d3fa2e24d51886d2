// @ts-check
/**
 * Large keys for a number, below the field that is being filled: a gloved thumb needs no keyboard. A
 * field that wants them has `data-pad`; what is pressed counts as typed.
 */

import { copyOf } from "./dom.js";

/** The decimal sign of this phone's language; both are read. */
const DECIMAL = new Intl.NumberFormat().formatToParts(0.5).find(({ type }) => type === "decimal")?.value ?? ".";

export class NumberPad {
  /** @param {HTMLFormElement} form */
  constructor(form) {
    this.pad = copyOf("pad-template");
    /** @type {HTMLInputElement | null} */
    this.field = null;
    const sign = this.pad.querySelector('[data-key="decimal"]');
    sign.textContent = DECIMAL;
    form.addEventListener("focusin", ({ target }) => {
      const field = /** @type {HTMLInputElement} */ (target);
      if ("pad" in field.dataset) this.show(field);
      else if (!this.pad.contains(field)) this.hide();
    });
    // The field keeps the focus, so that a reader of the screen stays where it is.
    this.pad.addEventListener("pointerdown", (/** @type {Event} */ event) => event.preventDefault());
    this.pad.addEventListener("click", ({ target }) => this.press(/** @type {any} */ (target).closest("[data-key]")?.dataset.key));
  }

  /** @param {HTMLInputElement} field */
  show(field) {
    if (this.field === field && this.pad.isConnected) return;
    this.field = field;
    (field.closest(".with-unit") ?? field).after(this.pad);
  }

  hide() {
    this.field = null;
    this.pad.remove();
  }

  /** @param {string | undefined} key */
  press(key) {
    const { field } = this;
    if (!field || !key) return;
    const { value } = field;
    if (key === "back") field.value = value.slice(0, -1);
    else if (key !== "decimal") field.value = (value + key).slice(0, field.maxLength);
    else if (!/[.,]/.test(value)) field.value = (value || "0") + DECIMAL;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }
}
