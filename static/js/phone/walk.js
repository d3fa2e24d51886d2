// @ts-check
/** The page of the walk: zone after zone, low, reach, overhead, then the monitors. */

import { App } from "./app.js";
import { byId, copyOf, part, write } from "./dom.js";
import { FindingSheet } from "./finding.js";
import { NotReachedSheet } from "./notreached.js";
import { isNothing, nothingCaught, ReadingSheet } from "./reading.js";
import { coverageOf, coverageOfZone, coverageWords, openOf, wordOn } from "./rules.js";
import * as store from "./store.js";
import { TreatmentSheet } from "./treatment.js";
import { dayWords } from "./when.js";

const app = new App(() => paint());
const reading = new ReadingSheet(byId("reading"), app);
const finding = new FindingSheet(byId("finding"), app);
const notReached = new NotReachedSheet(byId("not-reached"), app);
const treatment = new TreatmentSheet(byId("treatment"), app);

/** @type {Map<string, () => void>} what draws each place anew, by its id */
const painters = new Map();

byId("close-link").href = app.address("close", app.visitId);
app.open();

/** Draws everything as it now stands; the first time also builds it. */
function paint() {
  if (!painters.size) build();
  for (const draw of painters.values()) draw();
  const all = coverageOf(app.zones, app.said);
  const meter = byId("coverage");
  meter.max = Math.max(1, all.due);
  meter.value = all.looked;
  meter.className = all.due && all.looked === all.due ? "bar sound" : "bar";
  byId("coverage-words").textContent = coverageWords(all);
  drawTreatments();
  drawUndo();
  byId("client").textContent = app.visit.site.client;
  byId("site").textContent = app.visit.site.name;
}

function build() {
  const { zones } = app;
  for (const zone of zones) byId("zones").append(built(zone));
  painters.set("end", () => {}); // a site without zones is built as well, and only once
  if (!zones.length) {
    app.notice("zones", "No zones", "This site has no zones yet. The office adds them; then open the walk again.");
  }
  const here = location.hash.slice(1);
  const first = zones.find((/** @type {any} */ zone) => zone.id === here) ?? zones.find((/** @type {any} */ zone) => openOf(coverageOfZone(zone, app.said)) > 0);
  if (first) byId(`zone-${first.id}`).open = true;
  if (here && first?.id === here) byId(`zone-${here}`).scrollIntoView();
}

/** One zone with its places. @param {any} zone */
function built(zone) {
  const box = copyOf("zone-template");
  box.id = `zone-${zone.id}`;
  write(box, "name", zone.name);
  const outside = zone.boundary === "outside";
  write(
    box,
    "note",
    zone.boundary === "within" ? "" : [zone.boundary_words, zone.boundary_note].filter(Boolean).join(": "),
  );
  // Before there are places in it, whose buttons are called the same.
  part(box, "find").addEventListener("click", () => finding.show({ zone }));
  part(box, "treat").addEventListener("click", () => treatment.show({ zone }));
  part(box, "shut").addEventListener("click", () => notReached.show("zone", zone.id, zone.name));
  part(box, "reached").addEventListener("click", () => say("not_reached.remove", { zone: zone.id }, "whole zone"));
  const heights = part(box, "heights");
  for (const height of ["low", "reach", "overhead"]) {
    const places = zone.checkpoints.filter((/** @type {any} */ one) => one.height === height);
    if (!places.length || outside) continue;
    const level = copyOf("height-template");
    level.classList.add(height);
    level.querySelector("h3").textContent = places[0].height_words;
    for (const place of places) level.append(builtCheckpoint(zone, place));
    heights.append(level);
  }
  const monitors = part(box, "monitors");
  monitors.hidden = outside || !zone.monitors.length;
  if (!outside) for (const one of zone.monitors) monitors.append(builtMonitor(zone, one));
  painters.set(zone.id, () => paintZone(zone, box));
  return box;
}

/** @param {any} zone @param {any} box */
function paintZone(zone, box) {
  const tally = coverageOfZone(zone, app.said);
  write(
    box,
    "count",
    zone.boundary === "outside" ? "outside our remit" : tally.due ? `${tally.looked} of ${tally.due}` : "",
  );
  box.classList.toggle("is-done", tally.due > 0 && openOf(tally) === 0);
  const whole = app.said.not_reached[`zone/${zone.id}`];
  part(box, "not-reached").hidden = !whole;
  part(box, "shut").hidden = Boolean(whole) || zone.boundary === "outside";
  if (whole) write(box, "why", whyWords(whole));
  const found = Object.values(app.said.findings).filter((one) => one.zone === zone.id);
  const list = part(box, "findings");
  list.hidden = !found.length;
  list.replaceChildren(...found.map((one) => findingRow(zone, one)));
}

/** @param {any} zone @param {any} one */
function findingRow(zone, one) {
  const row = copyOf("row-template");
  row.classList.add(one.urgency === "now" ? "late" : "soon");
  write(row, "title", findingWords(one));
  const checkpoint = zone.checkpoints.find((/** @type {any} */ place) => place.id === one.checkpoint);
  const photos = one.photos.length ? `${one.photos.length} photo${one.photos.length > 1 ? "s" : ""}` : "";
  write(row, "note", [checkpoint?.label ?? one.place, one.note, one.remedy, photos].filter(Boolean).join("; "));
  part(row, "open").addEventListener("click", () => finding.show({ zone, checkpoint, finding: one }));
  return row;
}

/** @param {any} one */
function findingWords(one) {
  const kind = labelOf("finding", "kind", one.kind);
  const pest = app.pest(one.pest)?.name;
  const count = one.count ?? "";
  return pest ? `${kind}: ${count} ${pest}`.replace("  ", " ") : kind;
}

/** The words of a choice, as its form writes them. @param {string} form @param {string} name @param {string} value */
function labelOf(form, name, value) {
  const radio = byId(form).querySelector(`input[name="${name}"][value="${value}"]`);
  return radio?.nextElementSibling?.textContent ?? value;
}

/** @param {any} named */
function whyWords(named) {
  const why = labelOf("not-reached", "reason", named.reason);
  const move = labelOf("not-reached", "whose_move", named.whose_move);
  return [`${why}; whose move: ${move.toLowerCase()}`, named.note].filter(Boolean).join("; ");
}

// --- checkpoints ----------------------------------------------------------------------------------

/** @param {any} zone @param {any} place */
function builtCheckpoint(zone, place) {
  const box = copyOf("checkpoint-template");
  write(box, "name", place.label);
  const leftOpen = app.visit.left_open.not_reached.find((/** @type {any} */ one) => one.checkpoint === place.id);
  const state = () => wordOn(app.said, "checkpoint", place.id, zone.id);
  part(box, "look").addEventListener("click", () => look(state(), place));
  part(box, "find").addEventListener("click", () => {
    const { word, record } = state();
    finding.show({ zone, checkpoint: place, finding: word === "found" ? record : null });
  });
  part(box, "miss").addEventListener("click", () => notReached.show("checkpoint", place.id, `${zone.name}: ${place.label}`));
  painters.set(place.id, () => {
    const { word, record, all } = state();
    press(box, { look: word === "looked", find: word === "found", miss: word === "not_reached" });
    let note = leftOpen ? `Not reached last time: ${leftOpen.reason}` : "";
    if (word === "looked") note = `Looked ${app.time(record.at)}`;
    if (word === "found") note = (all ?? []).map(findingWords).join("; ");
    if (word === "not_reached") note = whyWords(record);
    if (word === "zone") note = "Whole zone not reached";
    write(box, "note", note);
    box.classList.toggle("is-done", Boolean(word));
  });
  return box;
}

/** One tap: looked, nothing; a second one takes it back. @param {any} state @param {any} place */
async function look({ word, all }, place) {
  if (word === "looked") {
    await say("look.remove", { checkpoint: place.id }, place.label);
    return;
  }
  if (word === "found") {
    const many = all.length > 1 ? `the ${all.length} findings` : "the finding";
    if (!confirm(`Take back ${many} at “${place.label}” and say: looked, nothing?`)) return;
    for (const one of all) await say("finding.remove", { finding: one.finding }, place.label);
  }
  await say("look.add", { checkpoint: place.id }, place.label);
}

// --- monitors -------------------------------------------------------------------------------------

/** @param {any} zone @param {any} monitor */
function builtMonitor(zone, monitor) {
  const box = copyOf("monitor-template");
  write(box, "number", String(monitor.number));
  write(box, "name", [monitor.kind_words, monitor.place].filter(Boolean).join(", "));
  const { last } = monitor;
  write(box, "last", last ? `Last: ${dayWords(last.read_on)}, ${last.words || "nothing"}${last.condition === "sound" ? "" : ` (${last.condition_words.toLowerCase()})`}` : "Not read before");
  const state = () => wordOn(app.said, "monitor", monitor.id, zone.id);
  const name = `monitor ${monitor.number}`;
  part(box, "nothing").addEventListener("click", async () => {
    const { record, word } = state();
    const isIt = ["read", "blocked"].includes(word) && isNothing(record);
    if (isIt) await say("reading.remove", { monitor: monitor.id }, name);
    else if (!["read", "blocked"].includes(word) || confirm(`Replace what was read at ${name} by: nothing?`)) {
      await say("reading.set", nothingCaught(monitor), name);
    }
  });
  part(box, "read").addEventListener("click", () => reading.show(monitor));
  part(box, "miss").addEventListener("click", () => notReached.show("monitor", monitor.id, `${zone.name}: ${name}`));
  painters.set(monitor.id, () => {
    const { word, record } = state();
    const isRead = word === "read" || word === "blocked";
    const nothing = isRead && isNothing(record);
    press(box, { nothing, read: isRead && !nothing, miss: word === "not_reached" });
    write(box, "read-words", isRead && !nothing ? "Change" : "Count");
    let note = "";
    if (isRead) note = `${readingWords(record)}, ${app.time(record.at)}`;
    if (word === "not_reached") note = whyWords(record);
    if (word === "zone") note = "Whole zone not reached";
    write(box, "note", note);
    box.classList.toggle("is-done", Boolean(word));
  });
  return box;
}

/** @param {any} record */
function readingWords(record) {
  const counts = Object.entries(record.counts)
    .filter(([, count]) => count)
    .map(([slug, count]) => `${count} ${app.pest(slug)?.name ?? slug}`);
  const parts = [counts.join(", ") || "Nothing caught"];
  if (record.condition !== "sound") parts.push(labelOf("reading", "condition", record.condition).toLowerCase());
  if (record.bait_taken) parts.push(`bait: ${labelOf("reading", "bait_taken", record.bait_taken).toLowerCase()}`);
  if (record.renewed) parts.push("renewed");
  return parts.join(", ");
}

/** @param {any} box @param {Record<string, boolean>} pressed */
function press(box, pressed) {
  for (const [name, is] of Object.entries(pressed)) part(box, name).setAttribute("aria-pressed", String(is));
}

// --- treatments -----------------------------------------------------------------------------------

function drawTreatments() {
  const all = Object.values(app.said.treatments);
  byId("treatments").hidden = !all.length;
  byId("treatment-list").replaceChildren(
    ...all.map((one) => {
      const row = copyOf("row-template");
      const product = app.lists.products.find((/** @type {any} */ kept) => kept.id === one.product);
      const zone = app.zoneOf(one.zone);
      write(row, "title", `${product?.name ?? "Product"}, ${zone?.name ?? ""}`);
      write(row, "note", [`${one.amount} ${product?.unit ?? ""}`, labelOf("treatment", "method", one.method), one.place].join(", "));
      part(row, "open").addEventListener("click", () => treatment.show({ zone, treatment: one }));
      return row;
    }),
  );
}

// --- saying and taking back -----------------------------------------------------------------------

const undo = byId("undo");

/** Record something of a place at once. @param {string} kind @param {Record<string, any>} body @param {string} words */
async function say(kind, body, words) {
  try {
    await app.record(kind, body, words);
  } catch (fault) {
    const why = store.isFull(fault) ? "This phone is full. Free some space and tap again." : String(/** @type {any} */ (fault)?.message ?? fault);
    app.notice("not-kept", "Not kept", why);
  }
}

function drawUndo() {
  const last = app.model.undoable.at(-1);
  undo.hidden = !last;
  write(undo, "what", last?.[0].words ?? "");
}

undo.addEventListener("click", () => app.undo());
