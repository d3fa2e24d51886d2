// @ts-check
/**
 * What the walk knows by itself: what an operation changes, how to undo it, what has been looked at,
 * what a caution or a signature needs. No document, no network, no storage, no clock.
 *
 * @typedef {import("./queue.js").Operation} Operation
 * @typedef {{started_at: string | null, closed_at?: string | null, looks: Record<string, any>,
 *   readings: Record<string, any>, findings: Record<string, any>,
 *   not_reached: Record<string, any>, treatments: Record<string, any>,
 *   contact: Record<string, any>}} Said
 * @typedef {{due: number, looked: number, notReached: number}} Tally
 */

import { happenedAt } from "./when.js";

// --- what was said --------------------------------------------------------------------------------

/**
 * What a visit says after an operation. The last word on a place stands: it replaces what was said
 * of it before, as it does on the server.
 * @param {Said} said @param {Operation} op @returns {Said}
 */
export function apply(said, op) {
  const { body } = op;
  const at = happenedAt(op);
  const word = { ...body, at };
  switch (op.kind) {
    case "visit.start":
      return { ...said, started_at: said.started_at ?? at };
    case "visit.close":
      return { ...said, closed_at: at, contact: { ...said.contact, ...body } };
    case "look.add":
      return {
        ...without(said, "checkpoint", body.checkpoint),
        looks: { ...said.looks, [body.checkpoint]: word },
      };
    case "look.remove":
      return taken(said, "checkpoint", body.checkpoint);
    case "reading.set": {
      const rest = taken(said, "monitor", body.monitor);
      return { ...rest, readings: { ...rest.readings, [body.monitor]: word } };
    }
    case "reading.remove":
      return taken(said, "monitor", body.monitor);
    case "finding.set": {
      const rest = body.checkpoint ? taken(said, "checkpoint", body.checkpoint) : said;
      return { ...rest, findings: { ...rest.findings, [body.finding]: word } };
    }
    case "finding.remove":
      return { ...said, findings: dropped(said.findings, body.finding) };
    case "not_reached.set": {
      const [sort, id] = placeOf(body);
      const rest = sort === "checkpoint" ? without(said, sort, id) : taken(said, sort, id);
      return { ...rest, not_reached: { ...rest.not_reached, [`${sort}/${id}`]: word } };
    }
    case "not_reached.remove":
      return taken(said, ...placeOf(body));
    case "treatment.set":
      return { ...said, treatments: { ...said.treatments, [body.treatment]: word } };
    case "treatment.remove":
      return { ...said, treatments: dropped(said.treatments, body.treatment) };
    case "contact.set":
      return { ...said, contact: { ...body } };
    default:
      return said;
  }
}

/**
 * What a visit says: what the server knew at some version, and what this phone has made since.
 * @param {Said} base @param {number} version of the visit, as the server gave `base`
 * @param {Operation[]} log @returns {Said}
 */
export function withLog(base, version, log) {
  return log
    .filter((op) => op.unsent || (op.answer?.verdict === "applied" && (op.answer.version ?? 0) > version))
    .sort((a, b) => a.seq - b.seq)
    .reduce(apply, base);
}

/** The state of a visit by what is said of it. @param {string} state by the server @param {Said} said */
export function stateOf(state, said) {
  if (said.closed_at) return "closed";
  return state === "booked" && said.started_at ? "under_way" : state;
}

/**
 * What this phone can take back, the last one last: each a list of operations that were made by one
 * tap. What was parked changed nothing, and what was taken back is gone.
 * @param {Operation[]} log @returns {Operation[][]}
 */
export function undoStack(log) {
  /** @type {Operation[][]} */
  const stack = [];
  for (const op of [...log].sort((a, b) => a.seq - b.seq)) {
    if (op.undoes) {
      const at = stack.findIndex((group) => group[0].group === op.undoes);
      if (at >= 0) stack.splice(at, 1);
    } else if (op.undo?.length && op.answer?.verdict !== "parked") {
      const last = stack[stack.length - 1];
      if (last && last[0].group === op.group) last.push(op);
      else stack.push([op]);
    }
  }
  return stack;
}

/** @param {Record<string, any>} body @returns {[string, string]} */
export function placeOf(body) {
  for (const sort of ["checkpoint", "monitor", "zone"]) {
    if (body[sort]) return [sort, body[sort]];
  }
  return ["", ""];
}

/** Without the word on a place. @param {Said} said @param {string} sort @param {string} id */
function taken(said, sort, id) {
  const rest = { ...said, not_reached: dropped(said.not_reached, `${sort}/${id}`) };
  if (sort === "checkpoint") rest.looks = dropped(said.looks, id);
  if (sort === "monitor") rest.readings = dropped(said.readings, id);
  return rest;
}

/** The same, and without findings there. @param {Said} said @param {string} sort @param {string} id */
function without(said, sort, id) {
  const findings = Object.fromEntries(
    Object.entries(said.findings).filter(([, one]) => one.checkpoint !== id),
  );
  return { ...taken(said, sort, id), findings };
}

/** @param {Record<string, any>} all @param {string} key */
function dropped(all, key) {
  const { [key]: _gone, ...rest } = all;
  return rest;
}

/**
 * What is said of a checkpoint or monitor: looked, found, read, blocked, not_reached, zone (the whole
 * zone was not reached) or nothing; with the record behind it.
 * @param {Said} said @param {"checkpoint" | "monitor"} sort @param {string} id @param {string} zone
 */
export function wordOn(said, sort, id, zone) {
  if (sort === "checkpoint") {
    const found = Object.values(said.findings).filter((one) => one.checkpoint === id);
    if (found.length) return { word: "found", record: found[0], all: found };
    if (said.looks[id]) return { word: "looked", record: said.looks[id] };
  } else if (said.readings[id]) {
    const record = said.readings[id];
    return { word: record.condition === "blocked" ? "blocked" : "read", record };
  }
  const named = said.not_reached[`${sort}/${id}`];
  if (named) return { word: "not_reached", record: named };
  const whole = said.not_reached[`zone/${zone}`];
  if (whole) return { word: "zone", record: whole };
  return { word: "", record: null };
}

const SEEN = new Set(["looked", "found", "read"]);
const MISSED = new Set(["not_reached", "zone", "blocked"]);

/**
 * How much of what is due in a zone was looked at. Never rounded, never counted twice.
 * @param {any} zone @param {Said} said @returns {Tally}
 */
export function coverageOfZone(zone, said) {
  const places = [
    ...zone.checkpoints.map((/** @type {any} */ one) => /** @type {const} */ (["checkpoint", one])),
    ...zone.monitors.map((/** @type {any} */ one) => /** @type {const} */ (["monitor", one])),
  ].filter(([, one]) => one.due);
  const words = places.map(([sort, one]) => wordOn(said, sort, one.id, zone.id).word);
  return {
    due: places.length,
    looked: words.filter((word) => SEEN.has(word)).length,
    notReached: words.filter((word) => MISSED.has(word)).length,
  };
}

/** @param {any[]} zones @param {Said} said @returns {Tally} */
export function coverageOf(zones, said) {
  return zones
    .map((zone) => coverageOfZone(zone, said))
    .reduce(
      (sum, one) => ({
        due: sum.due + one.due,
        looked: sum.looked + one.looked,
        notReached: sum.notReached + one.notReached,
      }),
      { due: 0, looked: 0, notReached: 0 },
    );
}

/** Places nobody has said a word about. @param {Tally} tally */
export const openOf = (tally) => tally.due - tally.looked - tally.notReached;

/**
 * The coverage in words; a hundred per cent only for every single place.
 * @param {Tally} tally
 */
export function coverageWords(tally) {
  if (!tally.due) return "Nothing is due to be looked at";
  const parts = [`${tally.looked} of ${tally.due} looked at`];
  if (tally.notReached) parts.push(`${tally.notReached} not reached`);
  if (openOf(tally)) parts.push(`${openOf(tally)} open`);
  return parts.join(", ");
}

/**
 * The operations (kind and body) that put things back as they were before one.
 * @param {Said} before @param {{kind: string, body: Record<string, any>}} op
 * @returns {[string, Record<string, any>][]}
 */
export function inverse(before, op) {
  const { body } = op;
  switch (op.kind) {
    case "look.add":
    case "look.remove":
    case "reading.set":
    case "reading.remove":
    case "not_reached.set":
    case "not_reached.remove": {
      const [sort, id] = placeOf(body);
      return putBack(before, sort, id);
    }
    case "finding.set":
    case "finding.remove": {
      const old = before.findings[body.finding];
      if (old) return [["finding.set", bare(old)]];
      const words = body.checkpoint ? putBack(before, "checkpoint", body.checkpoint) : [];
      return [["finding.remove", { finding: body.finding }], ...words.filter(([kind]) => !kind.endsWith(".remove"))];
    }
    case "treatment.set":
    case "treatment.remove": {
      const old = before.treatments[body.treatment];
      return old
        ? [["treatment.set", bare(old)]]
        : [["treatment.remove", { treatment: body.treatment }]];
    }
    default:
      return [];
  }
}

/**
 * @param {Said} before @param {string} sort @param {string} id
 * @returns {[string, Record<string, any>][]}
 */
function putBack(before, sort, id) {
  const findings = Object.values(before.findings).filter(
    (one) => sort === "checkpoint" && one.checkpoint === id,
  );
  if (findings.length) {
    return findings.map((one) => /** @type {[string, any]} */ (["finding.set", bare(one)]));
  }
  const named = before.not_reached[`${sort}/${id}`];
  if (named) return [["not_reached.set", { ...bare(named), [sort]: id }]];
  if (sort === "monitor") {
    const old = before.readings[id];
    return old
      ? [["reading.set", { ...bare(old), monitor: id }]]
      : [["reading.remove", { monitor: id }]];
  }
  if (sort === "checkpoint") {
    return before.looks[id]
      ? [["look.add", { checkpoint: id }]]
      : [["look.remove", { checkpoint: id }]];
  }
  return [["not_reached.remove", { [sort]: id }]];
}

/** A body again, without what only the phone or the server adds. @param {Record<string, any>} word */
export function bare(word) {
  const { at: _at, missing: _missing, ...body } = word;
  return body;
}

// --- forms ----------------------------------------------------------------------------------------

/**
 * The cautions of one application, by the server's own table.
 * @param {any[]} table
 * @param {{method: string, formulation: string, zoneKind: string, surroundings?: string[]}} use
 */
export function cautionsFor(table, { method, formulation, zoneKind, pestGroup = "", surroundings = [] }) {
  return table.filter((one) => {
    if (one.unless.includes(method)) return false;
    if (pestGroup && one.pest_groups?.length && !one.pest_groups.includes(pestGroup)) return false;
    const places = [...one.zone_kinds, ...(one.surroundings ?? [])];
    if (places.length && !places.some((word) => word === zoneKind || surroundings.includes(word))) return false;
    if (!one.methods.length && !one.formulations.length) return true;
    return one.methods.includes(method) || one.formulations.includes(formulation);
  });
}

const USUAL_GROUPS = {
  sticky: ["cockroach", "ant", "stored_product"],
  bait_station: ["rodent"],
  snap_trap: ["rodent"],
  live_trap: ["rodent"],
  indicator: ["rodent", "cockroach"],
  fly_light: ["fly"],
  pheromone: ["stored_product", "cockroach"],
};

/**
 * The pests a monitor is counted for, likeliest first: what it held last time or now, then the
 * first of the groups that such a monitor is there for.
 * @param {any} monitor @param {any[]} pests @param {Record<string, number>} counts
 */
export function pestsToCount(monitor, pests, counts, most = 3) {
  const known = new Map(pests.map((one) => [one.slug, one]));
  const seen = [...Object.keys(counts), ...Object.keys(monitor.last?.counts ?? {})];
  const groups = USUAL_GROUPS[/** @type {keyof USUAL_GROUPS} */ (monitor.kind)] ?? [];
  const usual = groups.map((group) => pests.find((one) => one.group === group)?.slug);
  const slugs = [...new Set([...seen, ...usual])].filter((slug) => slug && known.has(slug));
  return slugs.slice(0, Math.max(most, new Set(seen).size)).map((slug) => known.get(slug));
}

/** The monitor after this one in walking order that has no word yet. @param {any[]} zones
 * @param {Said} said @param {string} id @returns {any | null} */
export function nextMonitor(zones, said, id) {
  const all = zones.flatMap((zone) =>
    zone.monitors.map((/** @type {any} */ monitor) => ({ zone, monitor })),
  );
  const here = all.findIndex(({ monitor }) => monitor.id === id);
  const next = all
    .slice(here + 1)
    .find(({ zone, monitor }) => !wordOn(said, "monitor", monitor.id, zone.id).word);
  return next ? next.monitor : null;
}

/** Whose move "not reached" usually is. @param {string} reason */
export const usualMove = (reason) =>
  ["unsafe", "height", "outside_remit"].includes(reason) ? "us" : "client";
