// @ts-check
/**
 * Where a walk goes next: the zone after a finished one, monitors in their order, a monitor by its
 * number or label, what may be read as a run. No document, no network, no storage, no clock.
 *
 * @typedef {import("./rules.js").Said} Said
 * @typedef {{nearest: boolean, plans: any[]}} Order
 */

import { coverageOfZone, openOf, wordOn } from "./rules.js";

/** The zone with open places that comes after one, in walking order and round to the first.
 * @param {any[]} zones @param {Said} said @param {string} id @returns {any | undefined} */
export function nextZone(zones, said, id) {
  const here = zones.findIndex((zone) => zone.id === id);
  return [...zones.slice(here + 1), ...zones.slice(0, here + 1)].find((zone) => openOf(coverageOfZone(zone, said)) > 0);
}

/** Checkpoints of a zone at one height that nobody has said a word about. @param {any} zone @param {Said} said @param {string} height @returns {any[]} */
export const unsaidAt = (zone, said, height) =>
  zone.checkpoints.filter((/** @type {any} */ one) => one.height === height && one.due && !wordOn(said, "checkpoint", one.id, zone.id).word);

/** Monitors of a zone that nobody has said a word about. @param {any} zone @param {Said} said @returns {any[]} */
export const unread = (zone, said) =>
  zone.monitors.filter((/** @type {any} */ one) => one.due && !wordOn(said, "monitor", one.id, zone.id).word);

/** The zone of a place. @param {any[]} zones @param {string} id of a checkpoint or monitor, or of the zone itself */
export const zoneWith = (zones, id) =>
  zones.find((zone) => [zone, ...zone.checkpoints, ...zone.monitors].some((/** @type {any} */ one) => one.id === id));

// --- monitors in their order ----------------------------------------------------------------------

/**
 * A chain: each time the one that is nearest on the plan to the one before. From a monitor that is on
 * no plan, or when a plan is through, it goes on with the first that is left. Those without a position
 * come last. @param {any[]} monitors @param {any} from a monitor, or nothing @param {any[]} plans
 */
export function nearestFirst(monitors, from, plans) {
  const left = monitors.filter((one) => one.plan);
  const chain = [];
  for (let here = from; left.length; ) {
    const there = left.filter((one) => one.plan === here?.plan);
    const { width = 1, height = 1 } = plans.find((one) => one.id === here?.plan) ?? {};
    const far = (/** @type {any} */ one) => Math.hypot((one.x - here.x) * width, (one.y - here.y) * height);
    const next = there.length ? there.reduce((best, one) => (far(one) < far(best) ? one : best)) : left[0];
    left.splice(left.indexOf(next), 1);
    chain.push(next);
    here = next;
  }
  return [...chain, ...monitors.filter((one) => !one.plan)];
}

/** The monitor that was read last, in any zone. @param {any[]} zones @param {Said} said */
export function lastRead(zones, said) {
  const at = (/** @type {any} */ one) => Date.parse(said.readings[one.id].at);
  const read = zones.flatMap((zone) => zone.monitors).filter((one) => said.readings[one.id]);
  return read.reduce((last, one) => (last && at(last) > at(one) ? last : one), null);
}

/**
 * The monitors of a zone as they are walked: by number, or those that have a word in the order in which
 * they got it and then the chain from the one read last, so that reading the next one moves none.
 * @param {any} zone @param {any[]} zones @param {Said} said @param {Order} order @returns {any[]}
 */
export function inOrder(zone, zones, said, { nearest, plans }) {
  if (!nearest) return zone.monitors;
  const at = (/** @type {any} */ { id }) => Date.parse((said.readings[id] ?? said.not_reached[`monitor/${id}`])?.at);
  const done = zone.monitors.filter(at).sort((/** @type {any} */ a, /** @type {any} */ b) => at(a) - at(b));
  const rest = zone.monitors.filter((/** @type {any} */ one) => !at(one));
  return [...done, ...nearestFirst(rest, lastRead(zones, said), plans)];
}

/** The monitor without a word that comes after one. @param {any[]} zones @param {Said} said @param {string} id @param {Order} order @returns {any | undefined} */
export function nextMonitor(zones, said, id, { nearest, plans }) {
  const start = zones.findIndex((zone) => zone.monitors.some((/** @type {any} */ one) => one.id === id));
  const here = zones[start]?.monitors.find((/** @type {any} */ one) => one.id === id);
  for (const zone of zones.slice(start)) {
    const left = unread(zone, said).filter((one) => one !== here);
    const after = (/** @type {any} */ one) => zone !== zones[start] || zone.monitors.indexOf(one) > zone.monitors.indexOf(here);
    const [next] = nearest ? nearestFirst(left, here, plans) : left.filter(after);
    if (next) return next;
  }
  return undefined;
}

// --- by number or label ---------------------------------------------------------------------------

const ALPHABET = "23456789ABCDEFGHJKMNPQRSTVWXYZ"; // as sites/labels/codes.py has it
const LEAST = 3; // characters of an end, so that a slip finds none by chance

/** The sum of the characters from the right, every other one doubled and its digits added. @param {string} text @param {number} first */
const weight = (text, first) =>
  [...text].reverse().reduce((sum, one, nth) => {
    const value = ALPHABET.indexOf(one) * (nth % 2 ? 3 - first : first);
    return sum + Math.floor(value / ALPHABET.length) + (value % ALPHABET.length);
  }, 0);

/** The character that guards the typing of a code: Luhn mod N. @param {string} code */
export const checkCharacter = (code) => ALPHABET[(ALPHABET.length - (weight(code, 2) % ALPHABET.length)) % ALPHABET.length];

/** The code in the address that a label carries, or nothing. @param {string} address */
export const codeIn = (address) => /\/sites\/m\/([^/?#]+)\/?$/i.exec(address)?.[1].toUpperCase() ?? "";

/**
 * A monitor of the visit by its number, or by the code on its label or the end of it.
 * @param {any[]} zones @param {{number?: string, code?: string}} typed
 * @returns {{monitor?: any, why: string}} why there is none
 */
export function findMonitor(zones, { number = "", code = "" }) {
  const all = zones.filter((zone) => zone.boundary !== "outside").flatMap((zone) => zone.monitors);
  if (!code.trim()) {
    const monitor = all.find((one) => one.number === Number(number));
    if (!number.trim()) return { why: "Type the number of the monitor, or the code on its label." };
    return { monitor, why: monitor ? "" : `There is no monitor ${number} on this visit.` };
  }
  const text = code.toUpperCase().replace(/[\s-]/g, "");
  const wrong = [...text].find((one) => !ALPHABET.includes(one));
  if (wrong) return { why: `No label has ${wrong}: a code is made of ${ALPHABET[0]} to 9 and letters without I, L, O and U.` };
  if (text.length < LEAST) return { why: `Type at least the last ${LEAST} characters of the code.` };
  const spelt = (/** @type {any} */ one) => [one.label_code, one.label_code + checkCharacter(one.label_code)];
  const ending = all.filter((one) => spelt(one).some((whole) => whole.endsWith(text)));
  const monitor = ending.length > 1 ? ending.find((one) => spelt(one).includes(text)) : ending[0];
  if (monitor) return { monitor, why: "" };
  if (ending.length) return { why: "Several labels end so. Type more of the code." };
  const whole = all.some((one) => text.length > one.label_code.length);
  if (whole && weight(text, 1) % ALPHABET.length) return { why: "A character is wrong: the last one, which guards the others, does not fit them." };
  return { why: "No label of this visit has that code." };
}

// --- a run ----------------------------------------------------------------------------------------

export const RUN = 4; // monitors without a word in a zone that are worth one

/** Why a monitor cannot be "same as last time: nothing", or nothing if it can. @param {any} monitor */
export function whyNotSame({ last }) {
  if (!last) return "not read before: count it";
  if (last.words) return `${last.words} last time: count it`;
  if (last.condition !== "sound") return `${last.condition_words.toLowerCase()} last time: look at it`;
  return ["", "none"].includes(last.bait_taken ?? "") ? "" : "bait was taken last time: look at it";
}
