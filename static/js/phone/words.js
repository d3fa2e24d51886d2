// @ts-check
/** What records say, in the words of their forms; a page that shows them carries the words. */

import { byId } from "./dom.js";

/** @type {Record<string, [string, string][]>} */
const WORDS = JSON.parse(byId("words").textContent);

/** The words of a choice. @param {string} of which choice, such as "reasons" @param {string} value */
export const word = (of, value) => WORDS[of].find(([key]) => key === value)?.[1] ?? value;

/** Why a place was not reached, and whose move it is. @param {any} named */
export const whyWords = ({ reason, whose_move: move, note }) =>
  [`${word("reasons", reason)}; whose move: ${word("moves", move).toLowerCase()}`, note].filter(Boolean).join("; ");

/** Such as "Signs: 3 German cockroach". @param {any} one @param {any} pest of the package, if any */
export const findingWords = (one, pest) =>
  [word("findings", one.kind), [one.count, pest?.name].filter((part) => part || part === 0).join(" ")].filter(Boolean).join(": ");

/** What a monitor showed, or nothing if that is not worth a word. @param {any} one @param {(slug: string) => any} pest */
export function caughtWords(one, pest) {
  const counts = Object.entries(one.counts).filter(([, count]) => count);
  return [
    ...counts.map(([slug, count]) => `${count} ${pest(slug)?.name ?? slug}`),
    one.condition === "sound" ? "" : word("conditions", one.condition).toLowerCase(),
    ["", "none"].includes(one.bait_taken) ? "" : `bait: ${word("bait", one.bait_taken).toLowerCase()}`,
    Number(one.bait_taken_g) ? `${Number(one.bait_taken_g)} g of bait taken` : "",
    Number(one.bait_lifted_g) ? `${Number(one.bait_lifted_g)} g of bait lifted` : "",
  ].filter(Boolean).join(", ");
}

/** Such as "2.5 g": what was used of a product. @param {any} one @param {any} product of the package, if any */
export const amountWords = ({ amount, unit }, product) => `${Number(amount)} ${word("units", unit || (product?.unit ?? ""))}`.trim();
