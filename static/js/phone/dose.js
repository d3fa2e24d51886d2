// @ts-check
/**
 * What a label allows for a measured place, and what was used against it: the sums of visits/dosing on
 * the phone, in fractions, rounded only to be shown. Rates come from the package, worked out for one
 * m², m, m³, point or litre of finished spray. No document, no network, no clock. tests/js/dose-cases.json,
 * which Python writes, holds both to the same answers.
 *
 * @typedef {{n: bigint, d: bigint}} Exact a fraction in lowest terms, its denominator above zero
 * @typedef {{amount: Exact, unit: string}} Quantity
 * @typedef {{id: string, per: string, base: string, measured_in: string, unit: string, least: string | null, most: string | null,
 *   cover: {base: string, amount: string, unit: string} | null, methods: string[], places: string[], words: string, why: string}} Rate
 * @typedef {{unit: string, density: string | null, ready_to_use: boolean, rates: Rate[], why?: string,
 *   actives: {name: string, in_each: string | null, unit: string}[]}} Label
 * @typedef {{least: Quantity | null, most: Quantity, finished: Quantity | null, perLitre: Quantity | null}} Dose
 */

/** What cannot be worked out: the message is for the person who typed, `field` is what to change. */
export class DoseFault extends Error {
  /** @param {"measure" | "amount" | "unit" | "rate"} field @param {string} sentence */
  constructor(field, sentence) {
    super(sentence);
    this.field = field;
  }
}

// --- fractions ------------------------------------------------------------------------------------

/** @param {bigint} a @param {bigint} b @returns {bigint} */
const common = (a, b) => (b ? common(b, a % b) : a);

/** @param {bigint} n @param {bigint} [d] @returns {Exact} */
export function ratio(n, d = 1n) {
  const by = common(n < 0n ? -n : n, d < 0n ? -d : d) || 1n;
  return d < 0n ? { n: -n / by, d: -d / by } : { n: n / by, d: d / by };
}

/** @param {Exact} a @param {Exact} b */
export const times = (a, b) => ratio(a.n * b.n, a.d * b.d);
/** @param {Exact} a @param {Exact} b */
export const over = (a, b) => ratio(a.n * b.d, a.d * b.n);
/** Below, at or above zero as a is below, at or above b. @param {Exact} a @param {Exact} b */
export const compare = (a, b) => Number(a.n * b.d > b.n * a.d) - Number(a.n * b.d < b.n * a.d);

const ONE = ratio(1n);
const HUNDRED = ratio(100n);

/** Exact text of the package, such as 0.5 or 4733/3048. @param {string} text @returns {Exact} */
export function exact(text) {
  const [above, below = "1"] = text.split("/");
  const [whole, part = ""] = above.split(".");
  return ratio(BigInt(whole + part), 10n ** BigInt(part.length) * BigInt(below));
}

/** @param {number} power @returns {Exact} */
const tenTo = (power) => (power < 0 ? ratio(1n, 10n ** BigInt(-power)) : ratio(10n ** BigInt(power)));

/** As much of a fraction as a record keeps: digits with a point. @param {Exact} amount @param {number} [places] */
export function digits({ n, d }, places = 4) {
  const all = String((n * 10n ** BigInt(places)) / d).padStart(places + 1, "0");
  return `${all.slice(0, -places)}.${all.slice(-places)}`.replace(/\.?0+$/, "");
}

// --- units ----------------------------------------------------------------------------------------

/** By unit: what it measures, and how many g, ml, m, m², m³ one of it is.
 * @type {Record<string, [string, string]>} */
const UNITS = {
  mg: ["mass", "0.001"], g: ["mass", "1"], kg: ["mass", "1000"], oz: ["mass", "28.349523125"], lb: ["mass", "453.59237"],
  ml: ["volume", "1"], l: ["volume", "1000"], us_tsp: ["volume", "4.92892159375"], us_tbsp: ["volume", "14.78676478125"],
  us_fl_oz: ["volume", "29.5735295625"], us_pt: ["volume", "473.176473"], us_gal: ["volume", "3785.411784"],
  imp_fl_oz: ["volume", "28.4130625"], imp_gal: ["volume", "4546.09"],
  m: ["length", "1"], ft: ["length", "0.3048"],
  m2: ["area", "1"], ft2: ["area", "0.09290304"], yd2: ["area", "0.83612736"],
  m3: ["void", "1"], ft3: ["void", "0.028316846592"],
  points: ["points", "1"],
};

/** @type {Record<string, string>} */
export const UNIT_WORDS = {
  mg: "mg", g: "g", kg: "kg", oz: "oz (weight)", lb: "lb", ml: "ml", l: "l", us_tsp: "US tsp", us_tbsp: "US tbsp",
  us_fl_oz: "US fl oz", us_pt: "US pt", us_gal: "US gal", imp_fl_oz: "imperial fl oz", imp_gal: "imperial gal",
  m: "m", ft: "ft", m2: "m²", ft2: "ft²", yd2: "yd²", m3: "m³", ft3: "ft³", points: "points",
};

/** @type {Record<string, string>} */
const KIND_WORDS = {
  mass: "a weight", volume: "a volume of liquid", length: "a length", area: "an area", void: "the size of a void",
  points: "a number of points",
};

/** @param {string} unit */
export function kindOf(unit) {
  if (!unit) throw new DoseFault("unit", "Choose a unit.");
  const known = UNITS[unit];
  if (!known) throw new DoseFault("unit", `“${unit}” is no unit that is used here. Choose one of the list.`);
  return known[0];
}

/** The same amount in another unit of its kind, exactly. @param {Exact} amount @param {string} unit @param {string} to @returns {Exact} */
export function convert(amount, unit, to) {
  if (kindOf(unit) !== kindOf(to)) throw new DoseFault("unit", kindsDiffer(unit, to));
  return over(times(amount, exact(UNITS[unit][1])), exact(UNITS[to][1]));
}

/** @param {Quantity} quantity @param {string} unit @returns {Quantity} */
const inUnit = (quantity, unit) => ({ amount: convert(quantity.amount, quantity.unit, unit), unit });

/** Why an amount in one unit is none in the other. @param {string} unit @param {string} to */
function kindsDiffer(unit, to) {
  const [kind, other] = [kindOf(unit), kindOf(to)];
  if (other === "volume" && unit === "oz") {
    return "An ounce is a weight, and this is measured as a volume. Choose US fl oz or imperial fl oz.";
  }
  if (kind === "volume" && to === "oz") {
    return `A volume was given, and this is measured by weight: an ounce is no fluid ounce. Weigh it, and give it in ${UNIT_WORDS.oz}.`;
  }
  return `${UNIT_WORDS[unit]} measures ${KIND_WORDS[kind]}, ${UNIT_WORDS[to]} measures ${KIND_WORDS[other]}.`;
}

const LONGEST_NUMBER = 20;

/**
 * What somebody typed as an amount, zero or more: 12.5 or 12,5. What could be read in two ways is
 * refused: a thousandfold dose would follow from a wrong guess.
 * @param {string} typed @returns {Exact}
 */
export function readNumber(typed) {
  const text = typed.trim();
  const refuse = (/** @type {string} */ why) => new DoseFault("amount", why);
  if (!text) throw refuse("Type a number.");
  if (text.length > LONGEST_NUMBER) throw refuse("That is more digits than anything here is measured to.");
  if (/^[-−–]/.test(text)) throw refuse("An amount cannot be below zero.");
  const [, whole, part] = /** @type {RegExpMatchArray} */ (/^([^.]*)\.?(.*)$/s.exec(text.replaceAll(",", ".")));
  const all = text.replace(/[,.\s]/g, "");
  if (!/^[0-9]+$/.test(all)) throw refuse(`“${text}” is no number. Type digits; choose the unit beside it.`);
  if (whole + part !== all) throw refuse(`“${text}” can be read in more than one way. Write 1234.5, without separators.`);
  if (text.includes(",") && part.length === 3 && /[^0]/.test(whole)) {
    throw refuse(`“${text}” can be read in more than one way. Write ${whole}${part} or ${whole}.${part}.`);
  }
  return ratio(BigInt(all), 10n ** BigInt(part.length));
}

// --- amounts as people read them ------------------------------------------------------------------

const FIGURES = 3;
const TYPED_FIGURES = 9;

/** @typedef {"nearest" | "down" | "up"} Way */

/** To so many significant figures; a half goes up. @param {Exact} amount zero or more @param {number} [figures] @param {Way} [way] @returns {Exact} */
export function rounded(amount, figures = FIGURES, way = "nearest") {
  if (!amount.n) return amount;
  let power = String(amount.n).length - String(amount.d).length;
  if (compare(amount, tenTo(power)) < 0) power -= 1;
  const step = tenTo(power - figures + 1);
  const { n, d } = over(amount, step);
  const rest = n % d;
  const up = rest && (way === "up" || (way === "nearest" && 2n * rest >= d));
  return times(ratio(n / d + (up ? 1n : 0n)), step);
}

/** 12.5, 0.0625, 12300. @param {Exact} amount @param {number} [figures] @param {Way} [way] */
export function figure(amount, figures = FIGURES, way = "nearest") {
  const { n, d } = rounded(amount, figures, way);
  let places = 0;
  while ((n * 10n ** BigInt(places)) % d) places += 1;
  const all = String((n * 10n ** BigInt(places)) / d).padStart(places + 1, "0");
  return places ? `${all.slice(0, -places)}.${all.slice(-places)}` : all;
}

const LADDERS = [["mg", "g", "kg"], ["ml", "l"]];
/** @type {Record<string, string>} */
const SMALLER = { lb: "oz", us_gal: "us_fl_oz", imp_gal: "imp_fl_oz" };

/** In the unit in which it is easiest to measure: 9 mg, not 0.009 g. @param {Quantity} quantity @returns {Quantity} */
export function readable(quantity) {
  const { amount, unit } = quantity;
  const ladder = LADDERS.find((units) => units.includes(unit));
  if (ladder) {
    const large = ladder.slice(1).reverse().find((one) => compare(convert(amount, unit, one), ONE) >= 0);
    return large ? inUnit(quantity, large) : amount.n ? inUnit(quantity, ladder[0]) : quantity;
  }
  return unit in SMALLER && amount.n && compare(amount, ONE) < 0 ? inUnit(quantity, SMALLER[unit]) : quantity;
}

/** A figure of a label or of a person: with all its digits. @param {Exact} amount */
export const asTyped = (amount) => figure(amount, TYPED_FIGURES);

/** 25 ml, 1.5 g, 12 points. @param {Quantity} quantity @param {Way} [way] @param {number} [figures] */
export function shown(quantity, way = "nearest", figures = FIGURES) {
  if (quantity.unit === "points") return typedWords(quantity);
  const best = readable(quantity);
  return `${figure(best.amount, figures, way)} ${UNIT_WORDS[best.unit]}`;
}

/** The most that a label allows: measured out as shown, it is never over. @param {Quantity} quantity */
export const shownMost = (quantity) => shown(quantity, "down");

/** “20 ml to 25 ml”, with as many figures as the least needs to stay below the most. @param {Quantity | null} least @param {Quantity} most */
export function shownRange(least, most) {
  if (!least || compare(convert(least.amount, least.unit, most.unit), most.amount) >= 0) return shownMost(most);
  let figures = FIGURES;
  const meet = () => {
    const [low, high] = [least, most].map(readable);
    const lowest = convert(rounded(low.amount, figures, "up"), low.unit, most.unit);
    return compare(lowest, convert(rounded(high.amount, figures, "down"), high.unit, most.unit)) >= 0;
  };
  while (meet()) figures += 1;
  return `${shown(least, "up", figures)} to ${shown(most, "down", figures)}`;
}

/** What `shownMost` says, as an amount: this is what a technician may be offered. @param {Quantity} most @returns {Quantity} */
export function measuredOut(most) {
  const best = readable(most);
  return { amount: rounded(best.amount, FIGURES, "down"), unit: best.unit };
}

/** The least, rounded up so that it is not under; never above the most. @param {Quantity} least @param {Quantity} most @returns {Quantity} */
export function atLeast(least, most) {
  const best = readable(least);
  const up = { amount: rounded(best.amount, FIGURES, "up"), unit: best.unit };
  return compare(convert(up.amount, up.unit, most.unit), most.amount) > 0 ? measuredOut(most) : up;
}

/** A share of the label's most; only the whole itself is ever shown as 100 %. @param {Exact} share */
export function shownShare(share) {
  let figures = FIGURES;
  while (compare(share, ONE) && !compare(rounded(share, figures), ONE)) figures += 1;
  return `${figure(times(share, HUNDRED), figures)} %`;
}

/** “1 US gal”, with all the digits that it has. @param {Quantity} quantity */
export const typedWords = ({ amount, unit }) =>
  `${asTyped(amount)} ${unit === "points" && compare(amount, ONE) === 0 ? "point" : UNIT_WORDS[unit]}`;

// --- what a label allows --------------------------------------------------------------------------

const NO_RATE =
  "The register has no rate of this label, so no amount can be worked out. Read the label; the office can enter its rates.";

/**
 * The lines of rates for a method and a permitted place; empty words ask for any.
 * @param {Label} label @param {{method?: string, place?: string}} [where] @returns {Rate[]}
 */
export function ratesFor(label, { method = "", place = "" } = {}) {
  if (!label.rates.length) throw new DoseFault("rate", label.why || NO_RATE);
  const fits = (/** @type {string[]} */ named, /** @type {string} */ word) => !word || !named.length || named.includes(word);
  const found = label.rates.filter((one) => fits(one.methods, method) && fits(one.places, place));
  if (!found.length) {
    throw new DoseFault("rate", "The label has no rate for this method in this place. Choose another method or product.");
  }
  return found;
}

/** The least and the most product for a place, and what goes with it. @param {Rate} rate @param {Label} label @param {Quantity} measure @returns {Dose} */
export function doseOf(rate, label, measure) {
  const { many, finished } = placeOf(rate, measure);
  if (rate.most === null) throw new DoseFault("rate", rate.why || NO_RATE);
  const most = { amount: times(exact(rate.most), many), unit: rate.unit };
  const least = rate.least === null ? null : { amount: times(exact(rate.least), many), unit: rate.unit };
  const isLiquid = kindOf(rate.unit) === "volume";
  if (label.ready_to_use) return { least, most, finished: isLiquid ? most : finished, perLitre: null };
  if (!finished) return { least, most, finished, perLitre: null };
  const litres = convert(finished.amount, finished.unit, "l");
  if (isLiquid && compare(convert(most.amount, most.unit, "l"), litres) > 0) {
    throw new DoseFault(
      "rate",
      "That would be more product than finished spray. The office has to look at the label's rate, strength and cover.",
    );
  }
  const unit = isLiquid ? "ml" : "g";
  return { least, most, finished, perLitre: { amount: over(convert(most.amount, most.unit, unit), litres), unit } };
}

/** How often the rate is in the place, over the finished spray where the label says so. @param {Rate} rate @param {Quantity} measure */
function placeOf(rate, measure) {
  const kind = kindOf(measure.unit);
  const { cover } = rate;
  if (kind === "mass") {
    throw new DoseFault(
      "measure",
      measure.unit === "oz" ? kindsDiffer("oz", "l") : "A place is measured as an area, a length, a void, points or finished spray.",
    );
  }
  if (measure.amount.n <= 0n) throw new DoseFault("measure", "The measure must be above zero.");
  if (kind === "points" && measure.amount.d > 1n) throw new DoseFault("measure", "Points are counted: give a whole number.");
  /** @param {NonNullable<Rate["cover"]>} over */
  const sprayOver = ({ amount, unit, base }) => ({ amount: times(exact(amount), convert(measure.amount, measure.unit, base)), unit });
  if (kind === kindOf(rate.base)) {
    const finished = rate.per === "finished" ? measure : cover ? sprayOver(cover) : null;
    return { many: convert(measure.amount, measure.unit, rate.base), finished };
  }
  if (cover && rate.per === "finished" && kind === kindOf(cover.base)) {
    const finished = sprayOver(cover);
    return { many: convert(finished.amount, finished.unit, rate.base), finished };
  }
  if (cover && kind === "volume") {
    const covered = over(convert(measure.amount, measure.unit, cover.unit), exact(cover.amount));
    return { many: convert(covered, cover.base, rate.base), finished: measure };
  }
  throw new DoseFault("measure", whyNot(rate, kind));
}

/** @param {Rate} rate @param {string} kind */
function whyNot({ per, base, cover }, kind) {
  const wanted = KIND_WORDS[kindOf(base)];
  if (per === "finished") {
    return cover
      ? `The rate is for finished spray. Give its volume, or ${KIND_WORDS[kindOf(cover.base)]} that it goes over.`
      : "The rate is for finished spray, and the register does not say how much goes over a place. Give the volume of finished spray.";
  }
  if (kind === "volume") {
    return `The rate is for ${wanted}, and the register does not say how much of it spray covers. Give ${wanted}.`;
  }
  return `The rate is for ${wanted}; ${KIND_WORDS[kind]} was given.`;
}

/**
 * An amount of product that was used in a place, against the label: never refused, only said.
 * @param {Rate} rate @param {Label} label @param {Quantity} measure @param {Quantity} amount
 */
export function useOf(rate, label, measure, amount) {
  const dose = doseOf(rate, label, measure);
  const used = asMost(dose.most, label, amount);
  const least = dose.least;
  return {
    dose,
    share: over(used, dose.most.amount),
    over: compare(used, dose.most.amount) > 0,
    under: least !== null && compare(used, least.amount) < 0,
  };
}

/** What somebody measured, in the unit in which the most stands. @param {Quantity} most @param {Label} label @param {Quantity} given */
function asMost(most, label, { amount, unit }) {
  const kind = kindOf(unit);
  if (unit === "oz" && (kindOf(most.unit) === "volume" || label.unit === "ml")) throw new DoseFault("unit", kindsDiffer("oz", "l"));
  if (kind !== "mass" && kind !== "volume") throw new DoseFault("unit", kindsDiffer(unit, most.unit));
  if (amount.n <= 0n) throw new DoseFault("amount", "The amount must be above zero.");
  if (kind === kindOf(most.unit)) return convert(amount, unit, most.unit);
  if (label.density === null) {
    throw new DoseFault(
      "unit",
      `${kindsDiffer(unit, most.unit)} Give ${KIND_WORDS[kindOf(most.unit)]}, or have the office enter the product's density.`,
    );
  }
  const density = exact(label.density); // kg/l, and so g/ml
  return kind === "mass"
    ? convert(over(convert(amount, unit, "g"), density), "ml", most.unit)
    : convert(times(convert(amount, unit, "ml"), density), "g", most.unit);
}

/** What an amount of product holds of each active ingredient, as far as it is known. @param {Label} label @param {Quantity} amount @returns {[string, Quantity][]} */
export function activesIn(label, amount) {
  if (kindOf(amount.unit) !== kindOf(label.unit)) return [];
  const own = convert(amount.amount, amount.unit, label.unit);
  return label.actives
    .filter((one) => one.in_each !== null)
    .map((one) => [one.name, { amount: times(own, exact(/** @type {string} */ (one.in_each))), unit: one.unit }]);
}

/** How the most came about, such as “0.5 g × 10 points = 5 g”. @param {Rate} rate @param {Quantity} measure @param {Dose} dose */
export function workingOf(rate, measure, { least, most, finished, perLitre }) {
  const spray = finished && finished !== measure && finished !== most ? `${shown(finished)} of finished spray` : "";
  return [
    `Label: ${rate.words}.`,
    spray && `${typedWords(measure)} take ${spray}.`,
    `For ${typedWords(measure)}: ${shownRange(least, most)} of the product.`,
    perLitre && `In each litre: at most ${shownMost(perLitre)}.`,
  ].filter(Boolean).map(String);
}

/** Litres with what a tank holds: how much product goes into it. @param {Dose} dose */
export const tankWords = ({ most, finished }) =>
  finished && finished !== most ? `Make up ${shown(finished)} with at most ${shownMost(most)} of the product.` : "";

