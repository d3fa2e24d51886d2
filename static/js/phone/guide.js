// @ts-check
/**
 * The method guide on the phone: the office's table and the one rule of visits/dosing/guide.py. No
 * document, no network, no clock. tests/js/guide-cases.json, which Python writes, holds both to the
 * same answers.
 *
 * @typedef {{key: string, verdict: string, words: string, zone_kinds?: string[], surfaces?: string[],
 *   pest_groups?: string[], pests?: string[], surroundings?: string[], but_not?: string[],
 *   formulation?: string, method?: string, rank?: number}} Row what it leaves open is not there
 * @typedef {{zone_kind: string, surface: string, pest: string, pest_group: string, surroundings: string[]}} Situation
 * @typedef {{formulation: string, method: string, reason: string, rank: number}} Suggested
 * @typedef {{formulation: string, method: string, reason: string}} RuledOut
 * @typedef {{key: string, words: string, formulation: string, method: string}} Mind
 */

export const LAST_WORD = "The label and the licensed technician decide.";
const NOTHING_SUITS = "The guide knows nothing that suits here. Ask the office before you treat.";

/** Whether a row speaks of a situation. @param {Row} row @param {Situation} at */
export function holds({ zone_kinds = [], surfaces = [], pest_groups = [], pests = [], surroundings = [], but_not = [] }, at) {
  const names = (/** @type {string[]} */ words, /** @type {string} */ word) => !words.length || words.includes(word);
  return (
    names(zone_kinds, at.zone_kind) &&
    names(surfaces, at.surface) &&
    names(pest_groups, at.pest_group) &&
    names(pests, at.pest) &&
    surroundings.every((word) => at.surroundings.includes(word)) &&
    !but_not.some((word) => at.surroundings.includes(word))
  );
}

/** Whether what a row names, if it names any, is what another suggests. @param {Partial<Row>} row @param {Partial<Row>} chosen */
export const speaksOf = ({ formulation = "", method = "" }, chosen) =>
  ["", chosen.formulation].includes(formulation) && ["", chosen.method].includes(method);

/** What the table says of a situation. @param {Situation} at @param {Row[]} rows */
export function advise(at, rows) {
  const held = rows.filter((row) => holds(row, at));
  const bars = held.filter(({ verdict }) => verdict === "rule_out");
  /** @type {Map<string, Row>} */
  const best = new Map();
  const named = ({ formulation = "", method = "" }) => `${formulation}/${method}`;
  for (const row of held.filter(({ verdict }) => verdict === "prefer").sort((a, b) => (a.rank ?? 0) - (b.rank ?? 0))) {
    if (!best.has(named(row)) && !bars.some((bar) => speaksOf(bar, row))) best.set(named(row), row);
  }
  /** @type {Map<string, Row>} */
  const out = new Map();
  for (const row of bars) if (!out.has(named(row))) out.set(named(row), row);
  const chosen = [...best.values()];
  const counts = (/** @type {Row} */ row) =>
    !(row.formulation || row.method) || chosen.some((one) => speaksOf(row, one));
  const said = (/** @type {string} */ wanted) => held.filter((row) => row.verdict === wanted && counts(row));
  return {
    preferred: chosen.map(({ formulation = "", method = "", words, rank = 0 }) => ({ formulation, method, reason: words, rank })),
    ruled_out: [...out.values()].map(({ formulation = "", method = "", words }) => ({ formulation, method, reason: words })),
    cautions: said("caution").map(({ key, words, formulation = "", method = "" }) => ({ key, words, formulation, method })),
    preconditions: [...new Set(said("precondition").map(({ words }) => words))],
    nothing: chosen.length ? "" : NOTHING_SUITS,
    last_word: LAST_WORD,
  };
}

/**
 * What to see to before one formulation is used by one method: rows that name neither count for all.
 * @param {Situation} at @param {Row[]} rows @param {{formulation: string, method: string}} chosen
 */
export function mindFor(at, rows, chosen) {
  const held = rows.filter((row) => holds(row, at) && speaksOf(row, chosen));
  const said = (/** @type {string} */ wanted) => held.filter(({ verdict }) => verdict === wanted);
  return {
    preconditions: [...new Map(said("precondition").map(({ key, words }) => [words, { key, words }])).values()],
    cautions: said("caution").map(({ key, words }) => ({ key, words })),
    against: said("rule_out").map(({ words }) => words)[0] ?? "",
  };
}

/**
 * What suits in a place whose surface nobody has named yet: what suits on any, then each surface's best,
 * the best first.
 * @param {Omit<Situation, "surface">} at @param {string[]} surfaces @param {Row[]} rows
 * @returns {(Suggested & {surface: string})[]}
 */
export function suggestionsFor(at, surfaces, rows) {
  const anywhere = advise({ ...at, surface: "" }, rows).preferred.map((one) => ({ ...one, surface: "" }));
  const known = (/** @type {Suggested} */ one) => anywhere.some(({ formulation, method }) => formulation === one.formulation && method === one.method);
  const each = surfaces.flatMap((surface) =>
    advise({ ...at, surface }, rows)
      .preferred.slice(0, 1)
      .filter((one) => !known(one))
      .map((one) => ({ ...one, surface })),
  );
  return [...anywhere, ...each].sort((a, b) => a.rank - b.rank);
}
