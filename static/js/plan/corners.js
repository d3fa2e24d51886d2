// @ts-check
/**
 * What a tap on a plan means. Pure: no document, no clock. Corners are shares (0 to 1) of the
 * plan's width and height, from the top left.
 * @typedef {[number, number]} Corner
 */

/**
 * Where a press lies within what is drawn, kept inside it.
 * @param {{x: number, y: number}} press pixels from the drawing's top left
 * @param {{width: number, height: number}} size pixels
 * @returns {Corner}
 */
export function shareOf(press, size) {
  return [within(press.x / size.width), within(press.y / size.height)];
}

/** @param {number} share */
function within(share) {
  return Math.min(Math.max(share, 0), 1);
}

/**
 * The corners as the form writes them: one a line, in per cent.
 * @param {Corner[]} corners
 */
export function asLines(corners) {
  return corners.map(([x, y]) => `${(x * 100).toFixed(2)}, ${(y * 100).toFixed(2)}`).join("\n");
}

/**
 * The corners that lines of the form tell of; lines that cannot be read are left out.
 * @param {string} text
 * @returns {Corner[]}
 */
export function fromLines(text) {
  return text.split("\n").flatMap((line) => {
    const [x, y, ...more] = line.split(",").map((part) => part.trim());
    if (!x || !y || more.length) return [];
    const corner = /** @type {Corner} */ ([Number(x) / 100, Number(y) / 100]);
    return corner.every((share) => share >= 0 && share <= 1) ? [corner] : [];
  });
}

/**
 * The corners as the points of a polygon in a drawing of that size.
 * @param {Corner[]} corners
 * @param {{width: number, height: number}} size
 */
export function asPoints(corners, size) {
  return corners.map(([x, y]) => `${one(x * size.width)},${one(y * size.height)}`).join(" ");
}

/** @param {number} value */
function one(value) {
  return Math.round(value * 10) / 10;
}
