// @ts-check
/**
 * What stands against an application, as far as the phone can judge it: visits/dosing/notices.py over
 * the facts of the package, which tests/js/notice-cases.json holds to the same answers. Stops are what
 * the label or the law forbids; all else is a warning. No document, no network, no clock.
 *
 * @typedef {import("./dose.js").Quantity} Quantity @typedef {import("./dose.js").Rate} Rate
 * @typedef {{code: string, forbidden: boolean, words: string}} Notice
 * @typedef {{on: string, zone_kind: string, surface: string, pest: string, pest_group: string, method: string,
 *   outdoors: boolean, boundary: string, wind: string, licensed: boolean | null}} Planned `on` is a day of the site's calendar
 * @typedef {{rate?: Rate | null, measure?: Quantity | null, amount?: Quantity | null, days?: string[],
 *   bait?: string, rotation?: Notice[], unusual?: boolean}} Known `days` are those on which the product was applied in the
 *   zone; `bait` and `rotation` are the server's words
 */

import { compare, doseOf, DoseFault, exact, figure, ratesFor, readNumber, shown, shownMost, shownShare, useOf } from "./dose.js";

const SHEET_YEARS = 5;
const WIND_KMH = exact("15");
/** @type {Record<string, string>} */
const PLACE_WORDS = {
  indoors: "indoors", food_premises: "food premises", voids: "voids and cracks", outdoors: "outdoors", drains: "drains",
  stations: "locked stations",
};
const OPEN_AIR = ["perimeter", "outdoor_dining"];
const EITHER = ["waste", "delivery"];
const FOOD_ZONES = [
  "kitchen", "wash_up", "bar", "dining", "outdoor_dining", "dry_store", "cold_store", "cellar", "production", "shop_floor",
];
const RODENTICIDES = ["bait_block", "bait_paste"];
const SPRAYED = ["liquid", "aerosol"];
/** @type {Record<string, string>} */
const WITHIN = { crack: "crack", behind_plate: "crack", shelf_gap: "crack", void: "void", drain: "drain" };

/** @param {string} code @param {string} words @returns {Notice} */
const stop = (code, words) => ({ code, forbidden: true, words });
/** @param {string} code @param {string} words @returns {Notice} */
const mind = (code, words) => ({ code, forbidden: false, words });

/** All that stands against it, what is forbidden first. @param {any} product @param {Planned} planned @param {Known} [known] @returns {Notice[]} */
export function noticesOf(product, planned, known = {}) {
  const { label } = product;
  if (!label) return [];
  const found = [
    ...ofLabel(product, planned),
    ...ofPerson(planned),
    ...ofPlace(label, planned),
    ...ofRate(label, planned, known),
    ...ofRepeat(product, planned, known.days ?? []),
    ...ofWind(product, planned),
    ...(known.bait && RODENTICIDES.includes(product.formulation) ? [mind("bait_past_review", `${known.bait} The office writes the review.`)] : []),
    ...(known.rotation ?? []),
    ...(known.unusual ? [mind("unusual_find", "This pest is unusual for this zone: check the identification before you treat.")] : []),
    ...(planned.boundary === "outside"
      ? [mind("outside_remit", "The zone is outside our remit. Whoever owns it has to agree; the office keeps the word.")]
      : []),
  ];
  return [...found.filter(({ forbidden }) => forbidden), ...found.filter(({ forbidden }) => !forbidden)];
}

/** @param {any} product @param {Planned} planned */
function* ofLabel({ name, label }, { on }) {
  if (label.authorised_until && label.authorised_until < on) {
    yield stop(
      "authorisation_expired",
      `The authorisation of ${name} ended on ${dayWords(label.authorised_until)}. Only the authority can renew it: take another product.`,
    );
  }
  if (!label.sheet_on) {
    yield mind("sheet_missing", `No safety data sheet of ${name} is on file. The office gets it from the maker.`);
  } else if (yearsLater(label.sheet_on, SHEET_YEARS) < on) {
    yield mind(
      "sheet_old",
      `The safety data sheet of ${name} is of ${dayWords(label.sheet_on)}, more than ${SHEET_YEARS} years old (our own limit). The office asks the maker for the latest.`,
    );
  }
  const silent = [
    !label.pests.length && !label.pest_groups.length && "pests",
    !label.places.length && "places",
    !label.methods.length && "methods",
    !label.rates.length && "rates",
  ].filter(Boolean);
  if (silent.length) {
    yield mind(
      "register_silent",
      `The register does not say which ${listed(/** @type {string[]} */ (silent))} the label of ${name} names. Read the label itself; the office can enter it.`,
    );
  }
}

/** @param {Planned} planned */
function* ofPerson({ licensed }) {
  if (licensed !== false) return;
  yield stop(
    "not_licensed",
    "The technician holds no licence valid that day. Somebody who does has to do it or supervise it; the office keeps the licences.",
  );
}

/** @param {any} label @param {Planned} planned */
function* ofPlace(label, planned) {
  const { pest, pest_group: group, method } = planned;
  if (!placesAllow(label.places, planned)) {
    yield stop("place_not_on_label", `The label does not allow this place. It names ${placeWords(label.places)}. Choose another product.`);
  }
  const namesPests = label.pests.length || label.pest_groups.length;
  if (pest && namesPests && !label.pests.includes(pest) && !label.pest_groups.includes(group)) {
    yield stop("pest_not_on_label", "The label does not name this pest. Choose another product.");
  }
  if (method && label.methods.length && !label.methods.includes(method)) {
    yield stop("method_not_on_label", "The label does not name this method. Choose another method or product.");
  }
}

/** @param {any} label @param {Planned} planned @param {Known} known */
function* ofRate(label, planned, { rate, measure, amount }) {
  const methodAllowed = !label.methods.length || label.methods.includes(planned.method);
  const candidates = /** @type {Rate[]} */ (rate ? [rate] : label.rates);
  if (candidates.length && methodAllowed && !candidates.some((one) => fits(one, planned))) {
    yield stop("no_rate", "The label gives no rate for this method in this place. Choose another method or product.");
  }
  if (!rate || !measure || !amount) return;
  try {
    const use = useOf(rate, label, measure, amount);
    if (use.over) {
      yield stop(
        "over_most",
        `That is ${shownShare(use.share)} of what the label allows at most here, ${shownMost(use.dose.most)}. Nobody may go over it: use less, or measure the place again.`,
      );
    }
    if (use.under && use.dose.least) {
      yield mind(
        "under_least",
        `That is less than the label's least here, ${shown(use.dose.least, "up")}: it may not work and can breed resistance. The technician decides.`,
      );
    }
  } catch (fault) {
    if (!(fault instanceof DoseFault)) throw fault;
    yield mind("amount_unclear", `The amount cannot be held against the label. ${fault.message}`);
  }
}

/** What was applied in a place on one day is one application. @param {any} product @param {Planned} planned @param {string[]} applied */
function* ofRepeat({ name, label }, { on }, applied) {
  const days = [...new Set(applied)].filter((day) => day < on).sort();
  const last = days.at(-1);
  if (label.interval_days && last && daysBetween(last, on) < label.interval_days) {
    yield stop(
      "too_soon",
      `${name} was applied here on ${dayWords(last)}; the label asks for ${label.interval_days} days between two applications. Wait, or choose another product.`,
    );
  }
  const most = label.most_a_year;
  if (most !== null && days.filter((day) => daysBetween(day, on) < 365).length >= most) {
    const count = most === 1 ? "once" : `${most} times`;
    yield stop(
      "count_used_up",
      `The label allows ${name} ${count} a year in one place, and that is used up. Choose another product.`,
    );
  }
}

/** @param {any} product @param {Planned} planned */
function* ofWind({ formulation, label }, planned) {
  if (!isOutdoors(planned) || !SPRAYED.includes(formulation)) return;
  const wind = windOf(planned.wind);
  if (!wind) {
    yield mind("wind_unknown", "Sprayed outdoors, and the wind is not written down. Measure it and write it down.");
    return;
  }
  const most = label.wind_most_kmh === null ? null : exact(label.wind_most_kmh);
  if (most && compare(wind, most) > 0) {
    yield stop("wind_over_label", `The wind is ${figure(wind)} km/h; the label allows ${figure(most)} km/h. Wait for less wind.`);
  } else if (!most && compare(wind, WIND_KMH) > 0) {
    yield mind(
      "wind_high",
      `The wind is ${figure(wind)} km/h, and the register has no limit from the label. Above ${figure(WIND_KMH)} km/h (our own limit) spray drifts: read the label, or wait.`,
    );
  }
}

/** @param {string} typed */
function windOf(typed) {
  try {
    return readNumber(typed);
  } catch (fault) {
    if (fault instanceof DoseFault) return null; // said beside its field
    throw fault;
  }
}

// --- places ---------------------------------------------------------------------------------------

/** @param {Planned} planned */
const isOutdoors = ({ outdoors, zone_kind: kind }) => outdoors || OPEN_AIR.includes(kind);

/** Whether permitted places have the place among them; none named: they do. @param {string[]} places @param {Planned} planned */
export function placesAllow(places, planned) {
  if (!places.length) return true;
  const within = WITHIN[planned.surface] ?? (planned.zone_kind === "roof_void" ? "void" : "");
  if (within === "drain") return places.includes("drains");
  const sides = sidesOf(planned);
  const inAny = (/** @type {string[]} */ named) => named.some((place) => sides.includes(place));
  const covers = planned.method === "bait_station" && places.includes("stations");
  if (covers || ((within || planned.zone_kind === "roof_void") && places.includes("voids"))) {
    const elsewhere = places.filter((place) => !["stations", "voids", "drains"].includes(place));
    return !elsewhere.length || inAny(elsewhere) || (sides.includes("food_premises") && elsewhere.includes("indoors"));
  }
  return inAny(places);
}

/** @param {Planned} planned */
function sidesOf(planned) {
  if (isOutdoors(planned)) return ["outdoors"];
  if (EITHER.includes(planned.zone_kind)) return ["outdoors", "indoors", "food_premises"];
  return FOOD_ZONES.includes(planned.zone_kind) ? ["food_premises"] : ["indoors", "food_premises"];
}

/** Whether a line of rates is for this method in this place. @param {Rate} rate @param {Planned} planned */
export const fits = (rate, planned) =>
  (!planned.method || !rate.methods.length || rate.methods.includes(planned.method)) && placesAllow(rate.places, planned);

/** The lines of a label to reckon by: those that fit, else those of the method. Throws a `DoseFault` where there is none. @param {any} label @param {Planned} planned @returns {Rate[]} */
export function ratesHere(label, planned) {
  const ofMethod = ratesFor(label, { method: planned.method });
  const fitting = ofMethod.filter((one) => fits(one, planned));
  return fitting.length ? fitting : ofMethod;
}

// --- products and people --------------------------------------------------------------------------

/**
 * The products of a formulation for a situation: the one used last on this visit first of all, then what the
 * van carries, then the others; and those whose label forbids it, with the reason.
 * @param {any[]} products @param {Planned & {formulation: string}} planned @param {string[]} used ids, the last used first
 */
export function offersOf(products, planned, used) {
  const rank = (/** @type {any} */ { id, carried }) => (used.includes(id) ? used.indexOf(id) : used.length + (carried ? 0 : 1));
  const all = products
    .filter(({ formulation }) => !planned.formulation || formulation === planned.formulation)
    .map((product) => ({ product, why: noticesOf(product, { ...planned, licensed: null }).find(({ forbidden }) => forbidden)?.words ?? "" }))
    .sort((a, b) => rank(a.product) - rank(b.product));
  return { fit: all.filter(({ why }) => !why), unfit: all.filter(({ why }) => why) };
}

/** Whether any competence of a technician counts on a day; nothing where none is on file. @param {{from: string, until: string | null}[]} competences @param {string} on @returns {boolean | null} */
export const licensedOn = (competences, on) =>
  competences.length ? competences.some(({ from, until }) => from <= on && (!until || on <= until)) : null;

// --- words ----------------------------------------------------------------------------------------

/** @param {string[]} places */
const placeWords = (places) => listed([...places].sort().map((place) => PLACE_WORDS[place] ?? place));

/** @param {string[]} words */
const listed = (words) => (words.length > 1 ? `${words.slice(0, -1).join(", ")} and ${words.at(-1)}` : words.join(""));

/** @param {string} day */
const utc = (day) => Date.parse(`${day}T00:00:00Z`);

/** @param {string} from @param {string} to */
const daysBetween = (from, to) => Math.round((utc(to) - utc(from)) / 86_400_000);

/** The same day some years later; 1 March for a leap day. @param {string} day @param {number} years */
function yearsLater(day, years) {
  const at = new Date(utc(day));
  at.setUTCFullYear(at.getUTCFullYear() + years);
  return at.toISOString().slice(0, 10);
}

/** 3 December 2026. @param {string} day */
const dayWords = (day) =>
  new Intl.DateTimeFormat("en-GB", { day: "numeric", month: "long", year: "numeric", timeZone: "UTC" }).format(new Date(utc(day)));
