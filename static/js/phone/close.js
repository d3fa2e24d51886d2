// @ts-check
/** Check and close: what is missing, what will be sealed, who signs; and the receipt once it is closed. */

import { drawAnswers, statement, text, waitingWords } from "./answers.js";
import { App } from "./app.js";
import { closingOf, counted, faultsOfClosing, minutesBetween, nextStop, onSiteWords, wayOf } from "./closing.js";
import { byId, chosen, fill, part, showFaults, valuesOf, write } from "./dom.js";
import { Pad } from "./pad.js";
import { coverageOf, coverageWords, openOf } from "./rules.js";
import * as store from "./store.js";
import { VisitOnPhone } from "./visit.js";
import { dayIn, dayWords, happenedAt } from "./when.js";

const NOT_BY_DOUBLE_TAP_MS = 600;

class Closing extends App {
  constructor() {
    super(() => look());
    /** @type {any[]} photos that are on this phone only */
    this.photos = [];
    this.gone = false;
  }

  async recall() {
    await super.recall();
    this.gone = Boolean(this.model) && !(await store.visit(this.visitId));
  }

  /** @param {any} how */
  tell(how) {
    super.tell(how);
    look();
  }

  /** A parked closing has a place of its own here. @param {any} one */
  showParked(one) {
    if (one.op?.kind !== "visit.close") super.showParked(one);
  }

  /** The last closing that this phone made, whatever became of it. */
  get lastClosing() {
    return this.model.log.findLast((op) => op.kind === "visit.close");
  }

  /** Minutes from the start to now, which are those on site. */
  get workedOut() {
    const now = this.now().toISOString();
    return minutesBetween(this.said.started_at ?? now, now);
  }
}

const app = new Closing();
const form = /** @type {HTMLFormElement} */ (byId("close-form"));
const pad = new Pad(byId("pad"), () => keepDraft());
/** @type {Promise<void> | undefined} */
let filling;
let filled = false;
let shown = "";
let busy = false;
let asked = { open: 0, at: 0 };

byId("walk-link").href = app.address("walk", app.visitId);
app.open();
setInterval(() => look(), 15_000); // time on site goes on

/** Draws the page as it now stands. */
async function look() {
  if (!app.model || !byId("closing")) return; // or somebody else is signed in now: nothing of this is theirs
  app.photos = (await store.sending().catch(() => [])).filter((one) => one.person === app.person && one.visit === app.visitId);
  if (app.model.state === "closed") await drawNext();
  draw();
}

function draw() {
  const { state } = app.model;
  if (state === "booked") return location.replace(app.address("start", app.visitId));
  const open = state === "under_way" && !app.gone;
  if (open && !filled) {
    filling ??= fillForm().then(() => {
      filled = true;
      draw();
    });
    return;
  }
  const closed = state === "closed";
  text("site", app.visit.site.name);
  byId("closing").hidden = byId("close-button").hidden = !open;
  byId("receipt").hidden = !closed;
  byId("day-link").hidden = open;
  byId("day-link").classList.toggle("primary", !closed || byId("next-link").hidden);
  byId("walk-link").href = closed ? app.addresses.day : app.address("walk", app.visitId);
  byId("walk-link").lastElementChild.textContent = closed ? "My day" : "The walk";
  drawNotClosed(open, closed);
  if (open) {
    drawAnswers(app, app.photos);
    text("statement", statement(app));
    drawTime();
    drawContacts();
  } else byId("next-link").hidden ||= !closed;
  if (closed) drawReceipt();
  if (shown !== state) titled(closed ? "Closed" : "Check and close");
  if (shown === "under_way" && closed) {
    scrollTo(0, 0);
    byId("title").focus();
  }
  shown = state;
}

/** @param {string} words @param {string} [before] for the tab, not for the page */
function titled(words, before = "") {
  text("title", words);
  document.title = `${before}${words} – Kickplate`;
}

/** A closing that was not taken, or a visit that is none to be closed: why, and what happens now. @param {boolean} open @param {boolean} closed */
function drawNotClosed(open, closed) {
  const op = app.lastClosing;
  const parked = app.parked.find((one) => one.op?.kind === "visit.close") ?? (op?.answer && op.answer.verdict !== "applied" ? { ...op.answer, op } : null);
  const why = {
    called_off: `The office has called this visit off${app.visit.state_reason ? `: ${app.visit.state_reason}` : "."}`,
    missed: "The office has recorded this visit as missed.",
  }[/** @type {string} */ (app.model.state)] ?? "This visit is not, or no longer, on your list.";
  let [title, words] = open || closed ? ["", ""] : ["There is nothing to close here", why];
  if (parked && !closed) {
    title = `The closing of ${clock(happenedAt(parked.op))} was not taken`;
    words = `${parked.message} The office has it whole, with what was signed, and places it; you need not write it again. `;
    words += open ? "The visit is open again on this phone; you can close it again." : "Nothing more can be recorded here.";
  }
  const box = byId("not-closed");
  box.hidden = !title;
  write(box, "title", title);
  write(box, "words", words);
}

/** A time of day at the site; with its day unless that is today. @param {string} at */
function clock(at) {
  const day = dayIn(new Date(at), app.zone);
  return `${app.time(at)}${day === dayIn(app.now(), app.zone) ? "" : ` on ${dayWords(day)}`}`;
}

// --- the form: no redrawing touches what is typed and drawn in it ------------------------------------

/** What was typed before, or was to be sealed, or was recorded, stands in the form. */
async function fillForm() {
  const typed = await store.draft(app.draftKey("close")).catch(() => undefined);
  const { signature, ...words } = { ...app.said.contact, ...app.lastClosing?.body, ...typed };
  fill(form, { ...words, way: words.way ?? wayOf(words) });
  if (signature) pad.show(signature);
  correct(Boolean(words.minutes_on_site || words.minutes_reason));
  drawWay();
}

/** @returns {import("./closing.js").Given} */
const given = () => /** @type {any} */ ({ ...valuesOf(form), signature: pad.strokes });

function keepDraft() {
  if (app.model?.state === "under_way") store.keepDraft(app.draftKey("close"), given()).catch(() => {});
}

function drawTime() {
  const started = app.said.started_at;
  if (started) text("on-site", onSiteWords(started, app.now().toISOString(), app.zone));
}

/** Open the correction of the minutes, or leave them as they are worked out. @param {boolean} open */
function correct(open) {
  byId("correction").hidden = !open;
  byId("correct").setAttribute("aria-expanded", String(open));
  byId("correct").textContent = open ? "Leave it as worked out" : "Correct it";
  if (!open) fill(form, { minutes_on_site: "", minutes_reason: "" });
}

let named = "";
let somebodyElse = false;

/** The contacts of the site as taps, and fields for somebody else. */
function drawContacts() {
  const { contacts } = app.visit.site;
  const box = byId("contacts");
  const names = JSON.stringify(contacts);
  if (named !== names) {
    named = names;
    box.replaceChildren(...contacts.map((/** @type {any} */ one) => tap(one, one.name, one.job_title)), ...(contacts.length ? [tap(null, "Somebody else", "")] : []));
  }
  const { contact_name: name, contact_job_title: title } = given();
  const at = contacts.findIndex((/** @type {any} */ one) => one.name === name && one.job_title === title);
  const other = !contacts.length || somebodyElse || (at < 0 && Boolean(name || title));
  for (const [i, button] of [...box.children].entries()) {
    button.setAttribute("aria-pressed", String(i === contacts.length ? other : !other && i === at));
  }
  byId("somebody-else").hidden = !other;
}

/** @param {any} contact or none for somebody else @param {string} name @param {string} title */
function tap(contact, name, title) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "tap";
  button.append(name);
  if (title) button.append(Object.assign(document.createElement("small"), { textContent: title }));
  button.addEventListener("click", () => {
    somebodyElse = !contact;
    fill(form, { contact_name: contact?.name ?? "", contact_job_title: contact?.job_title ?? "" });
    drawContacts();
    keepDraft();
    if (somebodyElse) byId("contact_name").focus();
  });
  return button;
}

/** One way to sign at a time. */
function drawWay() {
  const way = chosen(form, "way");
  for (const one of /** @type {NodeListOf<HTMLElement>} */ (form.querySelectorAll("[data-way]"))) one.hidden = one.dataset.way !== way;
  byId("statement-box").hidden = way === "nobody";
}

form.addEventListener("input", keepDraft);
form.addEventListener("change", () => {
  drawWay();
  drawContacts();
});
byId("wipe").addEventListener("click", () => pad.wipe());
byId("correct").addEventListener("click", () => {
  correct(byId("correction").hidden);
  keepDraft();
});
for (const button of /** @type {NodeListOf<HTMLElement>} */ (form.querySelectorAll("[data-fills]"))) {
  button.addEventListener("click", () => {
    fill(form, { [button.dataset.fills ?? ""]: button.textContent });
    keepDraft();
  });
}

// --- closing ----------------------------------------------------------------------------------------

form.addEventListener("submit", async (event) => {
  event.preventDefault();
  if (busy || app.model?.state !== "under_way") return;
  const faults = faultsOfClosing(given(), app.workedOut);
  tellFaults(faults);
  if (faults.length) return ask(0);
  const open = openOf(coverageOf(app.zones, app.said));
  if (open !== asked.open) return ask(open);
  if (open && performance.now() - asked.at < NOT_BY_DOUBLE_TAP_MS) return; // nobody has read it yet
  busy = true;
  try {
    await alone(close);
  } catch (fault) {
    const why = store.isFull(fault) ? "This phone is full: not kept. Free some space" : `Not kept: ${/** @type {any} */ (fault)?.message ?? fault}`;
    tellFaults([["", `${why}; then close again.`]]);
  } finally {
    busy = false;
  }
});

/** One tab at a time: another may have closed it meanwhile. @param {() => Promise<void>} work */
const alone = (work) => (navigator.locks ? navigator.locks.request(`kickplate-close-${app.visitId}`, work) : work());

async function close() {
  await app.recall();
  if (app.model.state === "under_way") {
    await app.record("visit.close", closingOf(given(), app.workedOut, await store.madeFor(app.visitId)), "closing");
  } else look();
  ask(0);
  await store.forgetDraft(app.draftKey("close")).catch(() => {});
}

/** Ask once whether places may stay without a word. @param {number} open how many */
function ask(open) {
  asked = { open, at: performance.now() };
  byId("ask").textContent = open ? `${counted(open, "place is", "places are")} without a word.` : "";
  byId("close-button").textContent = open ? "Close all the same" : "Close the visit";
}

/** @param {[string, string][]} faults */
function tellFaults(faults) {
  if (faults.some(([field]) => field === "contact_name")) byId("somebody-else").hidden = false;
  titled("Check and close", faults.length ? "Error: " : "");
  showFaults(form, faults);
}

// --- the receipt --------------------------------------------------------------------------------------

function drawReceipt() {
  const { said, visit } = app;
  const op = app.lastClosing;
  const answer = /** @type {any} */ (op?.answer);
  const closedAt = said.closed_at ?? "";
  const sealed = !op?.unsent;
  const box = byId("receipt");
  const at = answer?.verdict === "applied" ? happenedAt({ made_at: answer.at, clock_ahead: op?.clock_ahead }) : "";
  const here = `Closed on this phone ${clock(closedAt)}`;
  const title = !sealed ? here : at ? `Sealed ${clock(at)}` : `Closed ${clock(closedAt)}`;
  if (part(box, "title").textContent !== title) part(box, "title").textContent = title;
  write(box, "words", sealed ? `${at ? `${here}. ` : "It is sealed. "}What was wrong in it is put right by an amendment beside it.` : "It is sealed when it reaches the server.");
  const left = waitingWords(app.model.log, app.photos);
  write(box, "waiting", left && `Still on this phone: ${left}. It is sent by itself where there is a signal.`);
  write(box, "covered", coverageWords(coverageOf(app.zones, said)));
  const { contact } = said;
  const minutes = contact.minutes_on_site ?? (said.started_at ? visit.minutes_on_site : null);
  const workedOut = onSiteWords(said.started_at ?? closedAt, closedAt, app.zone);
  const corrected = (minutes ?? null) !== null && minutes !== minutesBetween(said.started_at ?? closedAt, closedAt);
  write(box, "on-site", corrected ? `${counted(minutes, "minute")}, as corrected; worked out: ${workedOut}` : workedOut);
  write(box, "signed", signedWords(contact));
  box.classList.toggle("is-sealed", sealed);
  part(box, "sealed").hidden = !sealed;
  byId("visit-link").href = app.address("visit", app.visitId);
  store.forgetDraft(app.draftKey("close")).catch(() => {});
}

/** @param {any} contact */
function signedWords({ contact_name: name, signature, signature_typed: typed, no_signature_reason: reason }) {
  if (signature?.length) return `${name}, by hand`;
  return typed ? `${typed}, by writing their name` : `Nobody: ${reason}`;
}

/** The next stop, as this phone knows the day. */
async function drawNext() {
  const visits = await store.visitsOf(app.person).catch(() => []);
  const today = dayIn(app.now(), app.lists.person?.time_zone ?? "UTC");
  const stops = await Promise.all(visits.map(async (one) => ({ ...one, state: (await VisitOnPhone.kept(one.id, app.person))?.state ?? "" })));
  const next = nextStop(stops.filter((one) => one.id !== app.visitId), today);
  const link = byId("next-link");
  link.hidden = !next;
  if (!next) return;
  link.href = app.address(next.state === "booked" ? "start" : "walk", next.id);
  text("next-link", `Next: ${next.site.name}${next.booked_at_time ? `, ${next.booked_at_time.slice(0, 5)}` : ""}`);
}
