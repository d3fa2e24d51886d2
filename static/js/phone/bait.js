// @ts-check
/** Bait at a point, in words and in grams as they are typed. No document, no network, no clock. */

import { dayWords } from "./when.js";

/** @param {{balance_g: string, since: string} | undefined} point of the package @returns {string} */
export const balanceWords = (point) =>
  point ? `By the record ${Number(point.balance_g)} g lie here; baited since ${dayWords(point.since)}.` : "";

/**
 * Grams as the record keeps them, or nothing, or why they cannot be read: a comma and three digits could
 * be a thousandfold.
 * @param {string} typed @returns {{grams: string | null, why: string}}
 */
export function gramsIn(typed) {
  const text = typed.trim();
  if (!text) return { grams: null, why: "" };
  if (/^\d{1,6}([.,]\d{1,2})?$/.test(text)) return { grams: text.replace(",", "."), why: "" };
  return { grams: null, why: "Write grams as a figure with two digits after the sign at most, such as 12.5." };
}
