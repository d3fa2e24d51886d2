// @ts-check
/** How the stops of a day are ordered and spoken of. No document, no network, no storage, no clock. */

/** @typedef {{visit: any, state: string, log: any[]}} Model */

/** By day, then by time, those without a time last. @template {Model} T @param {T[]} models @returns {T[]} */
export const inOrder = (models) =>
  [...models].sort(({ visit: a }, { visit: b }) => {
    const key = (/** @type {any} */ one) => `${one.booked_on} ${one.booked_at_time ?? "99"} ${one.id}`;
    return key(a) < key(b) ? -1 : 1;
  });

/** What its tags say, as [tone, words]. @param {Model} model @param {boolean} isNext @returns {[string, string][]} */
export function stateWords({ visit, state, log }, isNext) {
  const waiting = log.filter((op) => op.unsent).length;
  /** @type {[string, string][]} */
  const words = [];
  if (isNext) words.push(["soon", "Next"]);
  if (state === "under_way") words.push(["soon", "Under way"]);
  if (state === "closed") words.push(visit.state === "closed" || !waiting ? ["sound", "Closed"] : ["soon", "Closed on this phone"]);
  if (state === "called_off") words.push(["unknown", "Called off"]);
  if (visit.kind === "call_out") words.push(["soon", "Call-out"]);
  if (waiting) words.push(["late", `${waiting} not sent yet`]);
  return words;
}

/** @param {any} visit */
export function leftOpenWords(visit) {
  const left = visit.left_open.not_reached.length;
  return left ? `${left} place${left === 1 ? "" : "s"} not reached last time` : "";
}
