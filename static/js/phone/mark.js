// @ts-check
/** The sheet in which a photo is drawn on: lines with a finger, rings by a tap or by the cross. */

import { part } from "./dom.js";
import { Pad } from "./pad.js";
import { photoOf } from "./photo.js";
import { Sheet } from "./sheet.js";
import { moved, ringOr, spotWords } from "./spot.js";

// Shares of the longer side, so that a mark looks the same on every photo.
const THICK = 1 / 90;
const EDGE = 1 / 220;
const RING = 1 / 14;

/** Draws on the photo itself, in its own size: what is seen is what is kept. */
class Brush extends Pad {
  /** @type {ImageBitmap | null} */
  picture = null;

  lift() {
    if (!this.now) return;
    this.strokes = [...this.strokes.slice(0, -1), ringOr(this.now)];
    this.now = null;
    this.paint();
    this.changed();
  }

  paint() {
    const { canvas, picture } = this;
    const ink = canvas.getContext("2d");
    if (!ink || !picture) return;
    const { width, height } = canvas;
    const size = Math.max(width, height);
    ink.drawImage(picture, 0, 0);
    ink.lineCap = ink.lineJoin = "round";
    // Brick with a light edge shows on any picture. Edges first: crossing lines stay one mark.
    for (const [colour, thick] of /** @type {const} */ ([["#fffdf8", THICK + 2 * EDGE], ["#9c2f22", THICK]])) {
      ink.strokeStyle = colour;
      ink.lineWidth = size * thick;
      for (const stroke of this.strokes) {
        ink.beginPath();
        if (stroke.length > 1) for (const [x, y] of stroke) ink.lineTo(x * width, y * height);
        else if (stroke !== this.now) ink.arc(stroke[0][0] * width, stroke[0][1] * height, size * RING, 0, 2 * Math.PI);
        ink.stroke();
      }
    }
  }
}

export class MarkSheet extends Sheet {
  over = true;

  /** @param {HTMLDialogElement} dialog */
  constructor(dialog) {
    super(dialog);
    this.brush = new Brush(part(this.form, "picture"), () => this.count());
    /** @type {import("./spot.js").Spot} */
    this.spot = [0.5, 0.5];
    /** @type {(marked: {blob: Blob, sha256: string}) => Promise<void>} */
    this.keep = async () => {};
    const cross = part(this.form, "cross");
    cross.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
      const spot = moved(this.spot, event.key, event.shiftKey);
      if (spot) this.moveTo(spot);
      else if (event.key === "Enter" || event.key === " ") this.ring();
      else return;
      event.preventDefault();
    });
    part(this.form, "ring").addEventListener("click", () => this.ring());
    part(this.form, "undo").addEventListener("click", () => {
      this.brush.show(this.brush.strokes.slice(0, -1));
      this.count();
    });
  }

  /** @param {Blob} blob @param {string} name of the photo @param {(marked: {blob: Blob, sha256: string}) => Promise<void>} keep */
  async show(blob, name, keep) {
    const { brush } = this;
    brush.picture = await createImageBitmap(blob);
    brush.canvas.width = brush.picture.width;
    brush.canvas.height = brush.picture.height;
    brush.canvas.setAttribute("aria-label", name);
    brush.show([]);
    this.keep = keep;
    this.moveTo([0.5, 0.5]);
    this.count();
    await this.open({ key: "", title: `Draw on ${name.toLowerCase()}`, values: {} });
  }

  hide() {
    super.hide();
    const { brush } = this;
    brush.picture?.close();
    brush.picture = null;
    brush.canvas.width = brush.canvas.height = 0; // phones are slow to give a canvas's memory back
  }

  /** There is nothing typed to be kept. */
  keepDraft() {}

  /** @param {import("./spot.js").Spot} spot */
  moveTo(spot) {
    this.spot = spot;
    putAt(part(this.form, "cross"), spot);
  }

  ring() {
    this.brush.show([...this.brush.strokes, [this.spot]]);
    this.count();
  }

  count() {
    const { length } = this.brush.strokes;
    part(this.form, "marks").textContent = length ? `${length} mark${length === 1 ? "" : "s"} on it` : "Nothing is drawn yet";
  }

  /** @returns {[string, string][]} */
  faults() {
    return this.brush.strokes.length ? [] : [["", "Draw something first, or go back."]];
  }

  async save() {
    await this.keep(await photoOf(this.brush.canvas));
  }
}

/** Puts a movable thing where it is, and says so. @param {HTMLElement} handle @param {import("./spot.js").Spot} spot */
export function putAt(handle, [x, y]) {
  handle.style.left = `${x * 100}%`;
  handle.style.top = `${y * 100}%`;
  handle.setAttribute("aria-valuenow", String(Math.round(x * 100)));
  handle.setAttribute("aria-valuetext", spotWords([x, y]));
}
