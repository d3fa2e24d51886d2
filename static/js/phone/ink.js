// @ts-check
/** The strokes of a signature, as fractions of a pad of 300 by 100. No document, no clock. */

/** @typedef {number[][][]} Strokes */

const MOST_POINTS = 900; // together with the longest summary well below the 64 kB of an operation

/** The ink of a signature, in units of a pad of 300 by 100. @param {Strokes} strokes */
export function inkOf(strokes) {
  let length = 0;
  for (const stroke of strokes) {
    for (let i = 1; i < stroke.length; i += 1) {
      length += Math.hypot((stroke[i][0] - stroke[i - 1][0]) * 300, (stroke[i][1] - stroke[i - 1][1]) * 100);
    }
  }
  return length;
}

/** The same strokes with fewer points, as often as it takes; their ends stay. @param {Strokes} strokes @returns {Strokes} */
export function thinned(strokes) {
  const points = strokes.reduce((sum, stroke) => sum + stroke.length, 0);
  const fewer = strokes.map((stroke) => stroke.filter((_, i) => i % 2 === 0 || i === stroke.length - 1));
  return points <= MOST_POINTS || fewer.every((stroke, i) => stroke.length === strokes[i].length) ? strokes : thinned(fewer);
}
