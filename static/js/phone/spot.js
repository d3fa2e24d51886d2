// @ts-check
/**
 * Places on a picture as shares of its width and height, from the top left: how keys move them, what
 * they are called, and what a finger meant. No document.
 * @typedef {[number, number]} Spot
 */

const STEP = 0.01;
const FAR = 0.1;
const TAP = 0.03; // a stroke that stays within this was meant as a tap
const WAYS = /** @type {Record<string, Spot>} */ ({ ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] });

/** @param {number} share */
const inside = (share) => Math.round(Math.min(1, Math.max(0, share)) * 10_000) / 10_000;

/**
 * Where a key moves a place, or nothing if it is not one that does.
 * @param {Spot} spot @param {string} key @param {boolean} far @returns {Spot | null}
 */
export function moved([x, y], key, far) {
  const way = WAYS[key];
  const by = far ? FAR : STEP;
  return way ? [inside(x + way[0] * by), inside(y + way[1] * by)] : null;
}

/** Such as "42 % across, 31 % down". @param {Spot} spot */
export const spotWords = ([x, y]) => `${Math.round(x * 100)} % across, ${Math.round(y * 100)} % down`;

/** The middle of what an outline encloses, or of everything. @param {number[][]} [outline] @returns {Spot} */
export function middleOf(outline) {
  if (!outline?.length) return [0.5, 0.5];
  const half = (/** @type {number[]} */ all) => inside((Math.min(...all) + Math.max(...all)) / 2);
  return [half(outline.map(([x]) => x)), half(outline.map(([, y]) => y))];
}

/** A stroke that hardly moved is a tap: one point, which is drawn as a ring. @param {number[][]} stroke */
export const ringOr = (stroke) =>
  stroke.every(([x, y]) => Math.hypot(x - stroke[0][0], y - stroke[0][1]) < TAP) ? [stroke[0]] : stroke;
