// @ts-check
/** The sheet that asks why a place was not reached, and whose move it is. */

import { choose, chosen, part, valuesOf } from "./dom.js";
import { usualMove } from "./rules.js";
import { Sheet } from "./sheet.js";

export class NotReachedSheet extends Sheet {
  /** @param {HTMLDialogElement} dialog @param {import("./app.js").App} app */
  constructor(dialog, app) {
    super(dialog);
    this.app = app;
    this.place = { sort: "", id: "", words: "" };
    this.form.addEventListener("change", (event) => {
      const field = /** @type {HTMLInputElement} */ (event.target);
      if (field.name === "reason" && !chosen(this.form, "whose_move")) {
        choose(this.form, "whose_move", usualMove(field.value));
      }
    });
  }

  /** @param {string} sort checkpoint, monitor or zone @param {string} id @param {string} zone its name @param {string} name */
  show(sort, id, zone, name) {
    this.place = { sort, id, words: sort === "zone" ? `${zone}, ${name}` : name };
    const now = this.app.said.not_reached[`${sort}/${id}`];
    part(this.form, "remove").hidden = !now;
    return this.open({
      key: this.app.draftKey(`not-reached/${id}`),
      title: "Not reached",
      subtitle: `${zone}: ${name}`,
      values: { reason: now?.reason ?? "", whose_move: now?.whose_move ?? "", note: now?.note ?? "" },
    });
  }

  async save() {
    const { reason, whose_move, note } = valuesOf(this.form);
    const { sort, id, words } = this.place;
    await this.app.record("not_reached.set", { [sort]: id, reason, whose_move, note }, words);
  }

  async remove() {
    const { sort, id, words } = this.place;
    await this.app.record("not_reached.remove", { [sort]: id }, words);
  }
}
