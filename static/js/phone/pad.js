// @ts-check
/** A pad to sign on with a finger or a mouse: keeps strokes as fractions of its own size, three wide, one high. */

import { thinned } from "./ink.js";

const FINEST = 0.004; // points closer than this add nothing that a paper could show
const MOST_STROKES = 200;

export class Pad {
  /** @param {HTMLCanvasElement} canvas @param {() => void} changed */
  constructor(canvas, changed) {
    this.canvas = canvas;
    this.changed = changed;
    /** @type {number[][][]} */
    this.strokes = [];
    /** @type {number[][] | null} */
    this.now = null;
    canvas.addEventListener("pointerdown", (event) => this.begin(event));
    canvas.addEventListener("pointermove", (event) => this.go(event));
    for (const end of ["pointerup", "pointercancel"]) canvas.addEventListener(end, () => this.lift());
    new ResizeObserver(() => this.paint()).observe(canvas);
  }

  wipe() {
    this.strokes = [];
    this.paint();
    this.changed();
  }

  /** @param {number[][][]} strokes */
  show(strokes) {
    this.strokes = strokes;
    this.paint();
  }

  /** @param {PointerEvent} event */
  begin(event) {
    event.preventDefault();
    // A palm beside the finger, or another button of the mouse, draws nothing.
    if (this.now || !event.isPrimary || event.button || this.strokes.length >= MOST_STROKES) return;
    this.canvas.setPointerCapture(event.pointerId);
    this.now = [this.at(event)];
    this.strokes.push(this.now);
  }

  /** @param {PointerEvent} event */
  go(event) {
    if (!this.now || !event.isPrimary) return;
    const moves = event.getCoalescedEvents?.() ?? [];
    for (const move of moves.length ? moves : [event]) {
      const point = this.at(move);
      const last = this.now[this.now.length - 1];
      if (Math.hypot(point[0] - last[0], point[1] - last[1]) >= FINEST) this.now.push(point);
    }
    this.paint();
  }

  lift() {
    if (!this.now) return;
    const [[x, y]] = this.now;
    if (this.now.length < 2) this.now.push([x > 0.5 ? x - FINEST : x + FINEST, y]); // the dot of an i
    this.now = null;
    this.strokes = thinned(this.strokes);
    this.paint();
    this.changed();
  }

  /** @param {PointerEvent} event */
  at(event) {
    const box = this.canvas.getBoundingClientRect();
    const share = (/** @type {number} */ value, /** @type {number} */ size) =>
      Math.round(Math.min(1, Math.max(0, value / size)) * 10_000) / 10_000;
    return [share(event.clientX - box.left, box.width), share(event.clientY - box.top, box.height)];
  }

  paint() {
    const { canvas } = this;
    const fine = devicePixelRatio || 1;
    const width = Math.round(canvas.clientWidth * fine);
    const height = Math.round(canvas.clientHeight * fine);
    if (canvas.width !== width || canvas.height !== height) {
      canvas.width = width;
      canvas.height = height;
    }
    const ink = canvas.getContext("2d");
    if (!ink) return;
    ink.clearRect(0, 0, width, height);
    ink.strokeStyle = "#1c242b";
    ink.lineWidth = 2 * fine;
    ink.lineCap = ink.lineJoin = "round";
    for (const stroke of this.strokes) {
      ink.beginPath();
      for (const [x, y] of stroke) ink.lineTo(x * width, y * height);
      ink.stroke();
    }
  }
}
