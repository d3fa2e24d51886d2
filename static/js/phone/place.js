// @ts-check
/** Where a finding is on the plan of its zone: the plan as it is kept on the phone, and a pin to be moved. */

import { asPoints, shareOf } from "../plan/corners.js";
import { byId, part } from "./dom.js";
import { putAt } from "./mark.js";
import { middleOf, moved, spotWords } from "./spot.js";
import * as store from "./store.js";

const WIDTH = 800; // units of the drawing; pins are made for it
const ZOOMS = [1, 2, 4];
const SVG = "http://www.w3.org/2000/svg";

export class PlanField {
  /** @param {HTMLFormElement} form @param {() => void} changed */
  constructor(form, changed) {
    this.form = form;
    this.changed = changed;
    /** @type {import("./spot.js").Spot | null} */
    this.spot = null;
    /** @type {import("./spot.js").Spot} */
    this.middle = [0.5, 0.5];
    this.zoom = 1;
    /** @type {any} */
    this.zone = null;
    this.fold = part(form, "plan-fold");
    this.plan = part(form, "plan");
    this.pin = part(form, "spot");
    this.fold.addEventListener("toggle", () => this.look(this.zoom));
    this.plan.addEventListener("click", (/** @type {MouseEvent} */ event) => {
      const box = this.plan.getBoundingClientRect();
      this.put(shareOf({ x: event.clientX - box.left, y: event.clientY - box.top }, box));
    });
    this.pin.addEventListener("keydown", (/** @type {KeyboardEvent} */ event) => {
      const spot = this.spot && moved(this.spot, event.key, event.shiftKey);
      if (!spot) return;
      event.preventDefault();
      this.put(spot);
      this.pin.scrollIntoView({ block: "nearest", inline: "nearest" });
    });
    part(form, "closer").addEventListener("click", () => this.look(this.zoom + 1));
    part(form, "further").addEventListener("click", () => this.look(this.zoom - 1));
    part(form, "plan-toggle").addEventListener("click", () => {
      this.put(this.spot ? null : this.middle);
      if (this.spot) this.pin.focus();
    });
  }

  /** @param {import("./app.js").App} app @param {any} zone @param {import("./spot.js").Spot | null} spot */
  async show(app, zone, spot) {
    this.hide();
    this.zone = zone;
    this.draw(spot);
    const facts = app.visit.plans?.find((/** @type {any} */ one) => one.id === zone.plan);
    const kept = facts && (await store.plan(facts.id).catch(() => undefined));
    if (!kept || this.zone !== zone) return;
    const image = /** @type {HTMLImageElement} */ (part(this.form, "plan-image"));
    image.width = facts.width;
    image.height = facts.height;
    image.src = URL.createObjectURL(kept.blob);
    part(this.form, "plan-view").setAttribute("aria-label", facts.title);
    this.middle = middleOf(zone.outline);
    const size = { width: WIDTH, height: Math.round((WIDTH * facts.height) / facts.width) };
    const svg = part(this.form, "plan-svg");
    svg.setAttribute("viewBox", `0 0 ${size.width} ${size.height}`);
    const outline = document.createElementNS(SVG, "polygon");
    outline.setAttribute("class", "zone-outline");
    outline.setAttribute("points", asPoints(zone.outline ?? [], size));
    const monitors = app.zones.flatMap((/** @type {any} */ one) => one.monitors);
    const here = monitors.filter((/** @type {any} */ one) => one.plan === facts.id && one.x !== null);
    svg.replaceChildren(outline, ...here.map((/** @type {any} */ one) => pinOf(one, size)));
    this.fold.open = false;
    this.fold.hidden = false;
    this.zoom = 1;
  }

  hide() {
    this.fold.hidden = true;
    const image = /** @type {HTMLImageElement} */ (part(this.form, "plan-image"));
    if (image.src) URL.revokeObjectURL(image.src);
    image.removeAttribute("src");
  }

  /** @param {import("./spot.js").Spot | null} spot */
  put(spot) {
    this.draw(spot && [round(spot[0]), round(spot[1])]);
    this.changed();
  }

  /** @param {import("./spot.js").Spot | null} spot */
  draw(spot) {
    this.spot = spot;
    this.pin.hidden = !spot;
    if (spot) putAt(this.pin, spot);
    part(this.form, "plan-words").textContent = spot ? `Marked: ${spotWords(spot)}. Tap again to move it.` : "Tap where it is.";
    part(this.form, "plan-toggle").textContent = spot ? "Take it off the plan" : "Mark the middle";
  }

  /** Look closer or from further away, with what matters in the middle. @param {number} zoom */
  look(zoom) {
    this.zoom = Math.min(ZOOMS.length - 1, Math.max(0, zoom));
    this.plan.style.width = `${ZOOMS[this.zoom] * 100}%`;
    const view = part(this.form, "plan-view");
    const [x, y] = this.spot ?? this.middle;
    view.scrollLeft = x * this.plan.clientWidth - view.clientWidth / 2;
    view.scrollTop = y * this.plan.clientHeight - view.clientHeight / 2;
  }
}

/** @param {number} share */
const round = (share) => Math.round(share * 10_000) / 10_000;

/** A monitor's pin. @param {any} monitor @param {{width: number, height: number}} size */
function pinOf({ kind, number, x, y }, size) {
  const shapes = byId("pin-shapes").content;
  const pin = (shapes.querySelector(`[data-kind="${kind}"]`) ?? shapes.querySelector("[data-kind]")).cloneNode(true);
  pin.setAttribute("transform", `translate(${x * size.width} ${y * size.height})`);
  pin.querySelector("text").textContent = number;
  return pin;
}
