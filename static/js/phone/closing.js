// @ts-check
/**
 * What closing knows by itself: the time on site, the ink of a signature, what stands in the way, what
 * is sent. No document, no network, no storage, no clock.
 *
 * @typedef {number[][][]} Strokes lists of [x, y] points, fractions of a pad three wide and one high
 * @typedef {{way: string, contact_name: string, contact_job_title: string, summary: string,
 *   signature: Strokes, signature_typed: string, no_signature_reason: string,
 *   minutes_on_site: string, minutes_reason: string}} Given what was typed and drawn; `way` is hand, name or nobody
 */

import { inkOf } from "./ink.js";
import { dayIn, dayWords, timeAt } from "./when.js";

const LEAST_INK = 100; // a third of the pad's width, as the server has it: less is a slip of a glove
const MOST_MINUTES = 7 * 24 * 60;

/** Whole minutes between two instants, half a one rounded up, as the server has it. @param {string} from @param {string} to */
export const minutesBetween = (from, to) => Math.max(0, Math.floor((Date.parse(to) - Date.parse(from) + 30_000) / 60_000));

/** @param {number} count @param {string} one @param {string} [many] */
export const counted = (count, one, many = `${one}s`) => `${count} ${count === 1 ? one : many}`;

/** Such as "52 minutes, from 09:12 to 10:04". @param {string} from @param {string} to instants @param {string} zone */
export function onSiteWords(from, to, zone) {
  const [began, ended] = [from, to].map((at) => dayIn(new Date(at), zone));
  const day = began === ended ? "" : ` on ${dayWords(began)}`;
  return `${counted(minutesBetween(from, to), "minute")}, from ${timeAt(from, zone)}${day} to ${timeAt(to, zone)}`;
}

/**
 * What stands in the way of closing, as [field, sentence]; empty when nothing does.
 * @param {Given} given @param {number} workedOut minutes from start to now @returns {[string, string][]}
 */
export function faultsOfClosing(given, workedOut) {
  /** @type {[string, string][]} */
  const faults = [];
  if (given.way === "hand") {
    if (!given.contact_name.trim()) faults.push(["contact_name", "Say who signs."]);
    if (!given.signature.length) faults.push(["signature", "Have the contact sign, or choose another way."]);
    else if (inkOf(given.signature) < LEAST_INK) {
      faults.push(["signature", "There is hardly any ink. Sign again, or choose another way."]);
    }
  } else if (given.way === "name") {
    if (!given.signature_typed.trim()) faults.push(["signature_typed", "Have the contact write their name, or choose another way."]);
  } else if (!given.no_signature_reason.trim()) faults.push(["no_signature_reason", "Say why nobody signed."]);
  const [minutes, reason] = [given.minutes_on_site.trim(), given.minutes_reason.trim()];
  if (minutes ? !/^\d+$/.test(minutes) || Number(minutes) > MOST_MINUTES : reason) {
    faults.push(["minutes_on_site", "Write the minutes on site as a whole number, such as 45."]);
  } else if (minutes && !reason && Math.abs(Number(minutes) - workedOut) > 1) {
    faults.push(["minutes_reason", `Say why it is not ${counted(workedOut, "minute")}.`]);
  }
  return faults;
}

/**
 * The body of the closing: of the three ways to sign only the one that was chosen, and minutes only
 * where they are not those that are worked out.
 * @param {Given} given without faults @param {number} workedOut @param {number} operations made for the visit before
 */
export function closingOf(given, workedOut, operations) {
  const { way } = given;
  const reason = given.minutes_reason.trim();
  const off = given.minutes_on_site.trim() ? Math.abs(Number(given.minutes_on_site) - workedOut) : 0;
  const corrected = off > (reason ? 0 : 1);
  return {
    contact_name: given.contact_name.trim(),
    contact_job_title: given.contact_job_title.trim(),
    summary: given.summary.trim(),
    signature: way === "hand" ? given.signature : null,
    signature_typed: way === "name" ? given.signature_typed.trim() : "",
    no_signature_reason: way === "nobody" ? given.no_signature_reason.trim() : "",
    minutes_on_site: corrected ? Number(given.minutes_on_site) : null,
    minutes_reason: corrected ? reason : "",
    operations,
  };
}

/** The way in which something was signed before. @param {Record<string, any>} contact */
export const wayOf = (contact) => (contact.signature_typed ? "name" : contact.no_signature_reason ? "nobody" : "hand");

const ASKED = [
  ["batch_number", "Batch or lot"],
  ["dilution", "Rate or dilution"],
  ["equipment", "Equipment"],
  ["finished_at", "Finished"],
  ["situation", "Kind of surface or goods"],
  ["area", "Size of what was treated"],
  ["wind_speed", "Wind speed"],
  ["wind_direction", "Wind from"],
  ["weather", "Weather"],
  ["precautions", "What people were told"],
  ["re_entry", "Re-entry"],
];

/**
 * What the record of a treatment leaves out, as far as this phone can tell: the server, which knows
 * licences and addresses as well, has the last word (`missing`). Labels and order are the server's.
 * @param {any} one @param {any} product of the package
 */
export function unsaidOf(one, product) {
  if (one.missing) return one.missing;
  const sprayed = one.outdoors && ["liquid", "aerosol"].includes(product?.formulation);
  const said = {
    ...one,
    wind_speed: one.wind_speed || !sprayed,
    wind_direction: one.wind_direction || !sprayed,
    weather: one.weather || one.wind_speed || !one.outdoors,
    re_entry: one.re_entry || product?.re_entry,
  };
  const unsaid = ASKED.filter(([name]) => !said[name]).map(([, label]) => label);
  if (one.method === "bait_station") {
    if (!one.monitor) unsaid.push("Bait point");
    if (!one.monitor && !(one.area && one.area_unit === "points")) unsaid.push("Bait at each point");
    if (!one.cautions_confirmed.includes("carcass_search")) unsaid.push("Search for dead rodents");
  }
  return unsaid;
}

/**
 * When people may come back, by the minutes that the label states: counted from the end of the work, or
 * from its start where the end is not written down, as the server does. Nothing where the label states
 * none, or where the record was made by another version of it.
 * @param {any} one a treatment @param {any} product of the package @param {string} zone of the site
 */
export function backWords(one, product, zone) {
  const label = product?.label;
  if (!label || label.re_entry_minutes === null || (one.label && one.label !== label.id)) return "";
  const at = new Date(Date.parse(one.finished_at ?? one.started_at) + label.re_entry_minutes * 60_000);
  return `People may come back from ${timeAt(at.toISOString(), zone)} on ${dayWords(dayIn(at, zone))} (${zone})`;
}

/**
 * The next stop of the day: by its time, of those still to be done.
 * @param {any[]} visits with their `state` on this phone @param {string} today
 */
export function nextStop(visits, today) {
  const order = (/** @type {any} */ one) => `${one.state === "under_way" ? 0 : 1}${one.booked_at_time ?? "99"}`;
  return visits
    .filter((one) => one.state === "under_way" || (one.state === "booked" && one.booked_on === today))
    .sort((a, b) => (order(a) < order(b) ? -1 : 1))[0];
}
