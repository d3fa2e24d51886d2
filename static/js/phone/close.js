// @ts-check
/** The page that shows what will be sealed and what is missing, and takes the signature. */

import { App } from "./app.js";
import { byId, copyOf, fill, part, showFaults, valuesOf, write } from "./dom.js";
import { Pad } from "./pad.js";
import { coverageOf, coverageOfZone, coverageWords, faultsOfClosing, openOf, wordOn } from "./rules.js";
import * as store from "./store.js";

const app = new App(() => draw());
const form = /** @type {HTMLFormElement} */ (byId("close-form"));
const pad = new Pad(byId("pad"), () => keepDraft());
let filled = false;

byId("walk-link").href = app.address("walk", app.visitId);
app.open();

/** What was typed before, or recorded, stands in the form. */
async function fillForm() {
  const typed = await store.draft(app.draftKey("close")).catch(() => undefined);
  const { signature, ...words } = { ...app.said.contact, ...typed };
  fill(form, words);
  if (signature) pad.show(signature);
  offerContacts();
}

function offerContacts() {
  for (const one of app.visit.site.contacts) {
    const button = copyOf("suggestion-template");
    button.textContent = one.name;
    button.addEventListener("click", () => {
      fill(form, { contact_name: one.name, contact_job_title: one.job_title });
      keepDraft();
    });
    byId("contacts").append(button);
  }
}

// --- what will be sealed --------------------------------------------------------------------------

function draw() {
  const { zones, said } = app;
  if (!filled) fillForm();
  filled = true;
  byId("site").textContent = app.visit.site.name;
  const all = coverageOf(zones, said);
  const meter = byId("coverage");
  meter.max = Math.max(1, all.due);
  meter.value = all.looked;
  byId("coverage-words").textContent = coverageWords(all);
  byId("zones").replaceChildren(...zones.map(zoneRow));
  drawOpen();
  list("missed", Object.entries(said.not_reached).map(([place, named]) => missedWords(place, named)));
  const found = Object.values(said.findings);
  list("findings", found.length ? found.map(findingWords) : ["Nothing was found."]);
  drawReadings();
  drawTreatments();
}

/** @param {any} zone */
function zoneRow(zone) {
  const tally = coverageOfZone(zone, app.said);
  const row = copyOf("row-template");
  write(row, "title", zone.name);
  write(row, "note", zone.boundary === "outside" ? "Outside our remit" : coverageWords(tally));
  if (openOf(tally)) row.classList.add("late");
  if (zone.boundary === "outside") {
    part(row, "open").remove();
    return row;
  }
  const link = document.createElement("a");
  link.className = "button small";
  link.href = `${app.address("walk", app.visitId)}#${zone.id}`;
  link.textContent = openOf(tally) ? "Go there" : "Change";
  link.setAttribute("aria-label", `${link.textContent}: ${zone.name}`);
  part(row, "open").replaceWith(link);
  return row;
}

/** What nobody has said a word about, folded by zone: the number is the news, the names are a look away. */
function drawOpen() {
  const folds = app.zones.flatMap((/** @type {any} */ zone) => {
    const places = openPlaces(zone);
    if (!places.length) return [];
    const fold = document.createElement("details");
    fold.className = "fold open-zone";
    const summary = document.createElement("summary");
    summary.textContent = `${zone.name}: ${places.length}`;
    const names = document.createElement("ul");
    names.className = "bullets";
    names.append(...places.map(item));
    fold.append(summary, names);
    return [fold];
  });
  byId("open").replaceChildren(...folds);
  byId("open-section").hidden = !folds.length;
}

/** Places of a zone that nobody has said a word about. @param {any} zone @returns {string[]} */
function openPlaces(zone) {
  const silent = (/** @type {"checkpoint" | "monitor"} */ sort, /** @type {any} */ one) =>
    one.due && !wordOn(app.said, sort, one.id, zone.id).word;
  return [
    ...zone.checkpoints.filter((/** @type {any} */ one) => silent("checkpoint", one)).map((/** @type {any} */ one) => one.label),
    ...zone.monitors.filter((/** @type {any} */ one) => silent("monitor", one)).map((/** @type {any} */ one) => `Monitor ${one.number}`),
  ];
}

/** @param {string} place @param {any} named */
function missedWords(place, named) {
  const [sort, id] = place.split("/");
  for (const zone of app.zones) {
    if (sort === "zone" && zone.id === id) return `${zone.name}: the whole zone${named.note ? `; ${named.note}` : ""}`;
    const at = sort === "zone" ? null : zone[`${sort}s`].find((/** @type {any} */ one) => one.id === id);
    if (at) return `${zone.name}: ${at.label ?? `monitor ${at.number}`}${named.note ? `; ${named.note}` : ""}`;
  }
  return named.note;
}

/** @param {any} one */
function findingWords(one) {
  const zone = app.zoneOf(one.zone);
  const place = zone?.checkpoints.find((/** @type {any} */ at) => at.id === one.checkpoint)?.label ?? one.place;
  const pest = app.pest(one.pest)?.name;
  const what = pest ? `${one.count ?? ""} ${pest}`.trim() : one.note;
  const photos = one.photos.length ? `${one.photos.length} photo${one.photos.length > 1 ? "s" : ""}` : "";
  return [`${zone?.name ?? ""}: ${[place, what].filter(Boolean).join(", ") || "finding"}`, one.remedy, photos]
    .filter(Boolean)
    .join("; ");
}

function drawReadings() {
  const readings = Object.entries(app.said.readings);
  byId("read").textContent = readings.length
    ? `${readings.length} read`
    : "No monitor was read.";
  const monitors = new Map(app.zones.flatMap((/** @type {any} */ zone) => zone.monitors.map((/** @type {any} */ one) => [one.id, one])));
  list(
    "readings",
    readings
      .filter(([, one]) => Object.values(one.counts).some(Boolean) || one.condition !== "sound")
      .map(([id, one]) => {
        const counts = Object.entries(one.counts).map(([slug, count]) => `${count} ${app.pest(slug)?.name ?? slug}`);
        const condition = one.condition === "sound" ? "" : one.condition;
        return `Monitor ${monitors.get(id)?.number}: ${[...counts, condition].filter(Boolean).join(", ")}`;
      }),
  );
}

function drawTreatments() {
  const all = Object.values(app.said.treatments);
  const box = byId("treatments");
  box.replaceChildren();
  if (!all.length) box.append("No product was applied.");
  for (const one of all) {
    const product = app.lists.products.find((/** @type {any} */ kept) => kept.id === one.product);
    const words = document.createElement("p");
    words.textContent = `${product?.name ?? "Product"}, ${one.amount} ${product?.unit ?? ""}, ${app.zoneOf(one.zone)?.name ?? ""}, ${one.place}`;
    box.append(words);
    if (one.missing?.length) {
      const gap = document.createElement("p");
      gap.className = "gap";
      gap.textContent = `The record does not say: ${one.missing.join("; ").toLowerCase()}.`;
      box.append(gap);
    }
  }
}

/** @param {string} words */
function item(words) {
  const line = document.createElement("li");
  line.textContent = words;
  return line;
}

/** @param {string} id @param {string[]} lines */
function list(id, lines) {
  byId(id).replaceChildren(...lines.map(item));
  const section = byId(`${id}-section`);
  if (section) section.hidden = !lines.length;
}

// --- closing --------------------------------------------------------------------------------------

function keepDraft() {
  store.keepDraft(app.draftKey("close"), { ...valuesOf(form), signature: pad.strokes }).catch(() => {});
}

form.addEventListener("input", keepDraft);
byId("wipe").addEventListener("click", () => pad.wipe());
form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (!app.model || app.model.state === "closed") return;
  const typed = valuesOf(form);
  const given = /** @type {any} */ ({ ...typed, signature: pad.strokes });
  const faults = faultsOfClosing(given);
  showFaults(form, faults);
  if (faults.length) return;
  const signature = pad.strokes.length ? pad.strokes : null;
  try {
    const operations = await store.madeFor(app.visitId);
    await app.record("visit.close", { ...typed, signature, operations });
    await store.forgetDraft(app.draftKey("close")).catch(() => {});
  } catch (fault) {
    showFaults(form, [["", `Not kept: ${/** @type {any} */ (fault)?.message ?? fault}. Close again.`]]);
  }
});
