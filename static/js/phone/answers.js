// @ts-check
/** What will be sent and sealed, drawn from the package and the log; never the form that signs it. */

import { backWords, counted, unsaidOf } from "./closing.js";
import { byId, copyOf, part, write } from "./dom.js";
import { cautionsFor, coverageOf, coverageOfZone, coverageWords, openOf, wordOn } from "./rules.js";
import { timeAt } from "./when.js";
import { amountWords, caughtWords, findingWords, whyWords, word } from "./words.js";

/** @typedef {{title: string, note?: string, more?: string[], gap?: string, zone?: string, verb?: string}} Row
 * @typedef {import("./app.js").App} App */

/** @type {Record<string, Map<string, Element>>} the lines of each list by what they say */
const drawn = {};
let walk = "";

const FEW = 3; // names that are as short as the words for looking at them

/** @param {App} app @param {any[]} photos of the visit that are on this phone only */
export function drawAnswers(app, photos) {
  const { said, lists } = app;
  const zones = /** @type {any[]} */ (app.zones);
  walk = app.address("walk", app.visitId);
  const all = coverageOf(zones, said);
  const meter = byId("coverage");
  meter.max = Math.max(1, all.due);
  meter.value = all.looked;
  text("coverage-words", coverageWords(all));
  text("will-be-sent", sentWords(app, photos));
  rows("zones", zones.map((zone) => zoneRow(app, zone)));
  rows("open", zones.flatMap((zone) => openRow(app, zone)));
  rows("missed", Object.entries(said.not_reached).map(([place, named]) => missedRow(app, place, named)));
  rows("findings", Object.values(said.findings).map((one) => findingRow(app, one, photos)));
  const treatments = Object.values(said.treatments);
  const uses = treatments.map((one) => ({ one, product: productOf(app, one), zone: app.zoneOf(one.zone) }));
  const asked = uses.map(({ one, product, zone }) =>
    cautionsFor(lists.cautions, {
      method: one.method,
      formulation: product?.formulation ?? "",
      zoneKind: zone?.kind ?? "",
      pestGroup: lists.pests.find((/** @type {any} */ pest) => pest.slug === one.target)?.group ?? "",
      surroundings: [one.surface, one.outdoors ? "outdoors" : ""],
    }));
  rows("treatments", uses.map((use, i) => treatmentRow(app, use, asked[i])));
  list("cautions", [...new Set(asked.flat().map((one) => one.text))]);
  byId("caution-box").hidden = !treatments.length;
  text("no-findings", Object.keys(said.findings).length ? "" : "Nothing was found.");
  text("no-treatments", treatments.length ? "" : "No product was applied.");
  drawReadings(app);
}

/** What the signature stands under, in one sentence. @param {App} app */
export function statement({ zones, said }) {
  const many = (/** @type {any} */ all, /** @type {string} */ one) => counted(Object.keys(all).length, one);
  return `${coverageWords(coverageOf(zones, said))}; ${many(said.findings, "finding")}, ${many(said.treatments, "treatment")}; as it stands above.`;
}

/** @param {App} app @param {any[]} photos */
function sentWords({ said, model }, photos) {
  const records = [said.looks, said.readings, said.findings, said.not_reached, said.treatments].flatMap(Object.keys).length;
  const taken = Object.values(said.findings).flatMap((one) => one.photos).length;
  const has = [counted(records, "record"), ...(taken ? [counted(taken, "photo")] : [])].join(", ");
  const left = waitingWords(model.log, photos);
  return `This visit has ${has}; ${left || "all of it is sent"}.`;
}

/** What of a visit is on this phone only. @param {any[]} log @param {any[]} photos */
export function waitingWords(log, photos) {
  const ops = log.filter((op) => op.unsent).length;
  const stuck = photos.filter((one) => one.refused).length;
  const waiting = photos.length - stuck;
  return [
    ops && `${ops} not sent yet`,
    waiting && `${counted(waiting, "photo")} waiting`,
    stuck && `${counted(stuck, "photo")} that the server refused`,
  ].filter(Boolean).join(", ");
}

/** @param {App} app @param {any} zone @returns {Row} */
function zoneRow(app, zone) {
  if (zone.boundary === "outside") return { title: zone.name, note: "Outside our remit" };
  const tally = coverageOfZone(zone, app.said);
  return { title: zone.name, note: coverageWords(tally), zone: zone.id };
}

/** Places of a zone that nobody has said a word about. @param {App} app @param {any} zone @returns {Row[]} */
function openRow(app, zone) {
  const silent = (/** @type {"checkpoint" | "monitor"} */ sort) => (/** @type {any} */ one) =>
    one.due && !wordOn(app.said, sort, one.id, zone.id).word;
  const names = [
    ...zone.checkpoints.filter(silent("checkpoint")).map((one) => one.label),
    ...zone.monitors.filter(silent("monitor")).map((one) => `Monitor ${one.number}`),
  ];
  if (!names.length) return [];
  const said = names.length > FEW ? { more: names } : { note: names.join(", ") };
  return [{ title: `${zone.name}: ${counted(names.length, "place")}`, ...said, zone: zone.id, verb: "Go there" }];
}

/** @param {App} app @param {string} place @param {any} named @returns {Row} */
function missedRow(app, place, named) {
  const [sort, id] = place.split("/");
  for (const zone of app.zones) {
    const at = sort === "zone" ? zone.id === id && zone : zone[`${sort}s`].find((one) => one.id === id);
    if (!at) continue;
    const what = sort === "zone" ? "the whole zone" : (at.label ?? `monitor ${at.number}`);
    return { title: `${zone.name}: ${what}`, note: whyWords(named), zone: zone.id };
  }
  return { title: "A place that is no longer on this site", note: whyWords(named) };
}

/** @param {App} app @param {any} one @param {any[]} photos @returns {Row} */
function findingRow(app, one, photos) {
  const zone = app.zoneOf(one.zone);
  const place = zone?.checkpoints.find((/** @type {any} */ at) => at.id === one.checkpoint)?.label;
  const remedy = one.remedy_kind && [`${word("remedies", one.remedy_kind)}${one.remedy ? `: ${one.remedy}` : ""}`, `whose move: ${word("moves", one.whose_move).toLowerCase()}`].join("; ");
  return {
    title: findingWords(one, app.pest(one.pest)),
    note: [
      [zone?.name, place, one.place].filter(Boolean).join(", "),
      one.note,
      remedy,
      `Urgency: ${word("urgencies", one.urgency).toLowerCase()}`,
      photoWords(app, one.photos, photos),
    ].filter(Boolean).join("\n"),
    zone: one.zone,
  };
}

/** How many photos, and where they are. @param {App} app @param {string[]} named by hash @param {any[]} photos */
function photoWords({ visit, model }, named, photos) {
  if (!named.length) return "";
  const fates = named.map((hash) => {
    const kept = photos.find((one) => one.sha256 === hash);
    if (kept) return kept.refused ? `refused by the server (${kept.refused})` : "not sent yet";
    const sent = visit.photos?.[hash] || model.log.some((op) => op.body.photos?.includes(hash));
    return sent ? "sent" : "not arrived yet";
  });
  const tally = [...new Set(fates)].map((fate) => `${fates.filter((one) => one === fate).length} ${fate}`);
  return `${counted(named.length, "photo")}: ${tally.join(", ")}`;
}

/** What was caught, or is broken, is named; the rest is counted. @param {App} app */
function drawReadings(app) {
  const { said } = app;
  const zones = /** @type {any[]} */ (app.zones);
  const named = zones.flatMap((zone) =>
    zone.monitors.flatMap((/** @type {any} */ monitor) => {
      const one = said.readings[monitor.id];
      const caught = one && caughtWords(one, (slug) => app.pest(slug));
      return caught ? [{ title: `Monitor ${monitor.number}: ${caught}`, note: [zone.name, one.renewed && "renewed", one.note].filter(Boolean).join("; "), zone: zone.id }] : [];
    }));
  const read = Object.keys(said.readings).length;
  const rest = read - named.length;
  const nothing = rest && `: nothing caught at ${rest === read ? "any" : rest}`;
  text("read", read ? `${counted(read, "monitor")} read${nothing || ""}.` : "No monitor was read.");
  rows("readings", named);
}

/** @param {App} app @param {{one: any, product: any, zone: any}} use @param {any[]} cautions @returns {Row} */
function treatmentRow(app, { one, product, zone }, cautions) {
  const unsaid = unsaidOf(one, product);
  const open = cautions.filter((/** @type {any} */ { key, confirm }) => confirm && !one.cautions_confirmed.includes(key));
  const clock = (/** @type {string} */ at) => timeAt(at, app.visit.site.time_zone);
  const times = [clock(one.started_at), one.finished_at && clock(one.finished_at)].filter(Boolean).join(" to ");
  return {
    title: `${product?.name ?? "A product that is no longer listed"}, ${amountWords(one, product)}`,
    note: [
      [word("methods", one.method), zone?.name, one.place].filter(Boolean).join(", "),
      `Against ${app.pest(one.target)?.name ?? one.target}; ${times}`,
      product?.cautions && `The label: ${product.cautions}`,
      one.dilution && `Rate or dilution: ${one.dilution}`,
      backWords(one, product, app.visit.site.time_zone),
      `Re-entry: ${one.re_entry || product?.re_entry || "not said"}`,
      one.explanation && `Done against the label, because: ${one.explanation}`,
      product?.is_demo && "Invented for demonstration: no dosing advice.",
    ].filter(Boolean).join("\n"),
    gap: [
      unsaid.length && `The record does not say: ${unsaid.join("; ").toLowerCase()}.`,
      ...open.map((/** @type {any} */ { text: words }) => `Not confirmed: ${words}`),
    ].filter(Boolean).join("\n"),
    zone: one.zone,
  };
}

/** @param {App} app @param {any} one */
const productOf = (app, one) => app.lists.products.find((/** @type {any} */ kept) => kept.id === one.product);

/** @param {string} id @param {string} words */
export function text(id, words) {
  const found = byId(id);
  if (found.textContent !== words) found.textContent = words;
  found.hidden = !words;
}

/** Draw of a list only what says something else than before: what is open or has the focus stays so.
 * @param {string} id @param {any[]} facts @param {(fact: any) => Element} build */
function redraw(id, facts, build) {
  const box = byId(id);
  const before = drawn[id] ?? new Map();
  const now = new Map();
  for (const fact of facts) {
    let key = JSON.stringify(fact);
    while (now.has(key)) key += "+"; // two may say the same
    now.set(key, before.get(key) ?? build(fact));
  }
  drawn[id] = now;
  for (const [key, old] of before) if (!now.has(key)) old.remove();
  [...now.values()].forEach((one, i) => box.children[i] === one || box.insertBefore(one, box.children[i] ?? null));
  for (const one of [box, byId(`${id}-section`)]) if (one) one.hidden = !facts.length;
}

/** @param {string} id @param {string[]} lines */
const list = (id, lines) => redraw(id, lines, item);

/** @param {string} words */
function item(words) {
  const line = document.createElement("li");
  line.textContent = words;
  return line;
}

/** @param {string} id @param {Row[]} facts */
const rows = (id, facts) =>
  redraw(id, facts, ({ title, note = "", more, gap = "", zone, verb = "Change" }) => {
    const row = copyOf("answer-template");
    write(row, "title", title);
    write(row, "note", note);
    write(row, "gap", gap);
    row.dataset.zone = zone ?? "";
    part(row, "more").hidden = !more;
    part(row, "more").open = Boolean(byId(id).querySelector(`[data-zone="${zone}"] [open]`));
    part(row, "names").replaceChildren(...(more ?? []).map(item));
    const go = part(row, "go");
    if (!zone) go.remove();
    go.href = `${walk}#${zone}`;
    go.textContent = verb;
    go.setAttribute("aria-label", `${verb}: ${title}`);
    return row;
  });
