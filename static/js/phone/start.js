// @ts-check
/** What to know at the door; one button starts the visit. */

import { App } from "./app.js";
import { byId, copyOf, part, write } from "./dom.js";
import { isFull } from "./store.js";
import { dayIn, dayWords, timeAt } from "./when.js";

const app = new App(() => draw());
const go = byId("go");
const WORDS = /** @type {Record<string, string>} */ ({
  booked: "Start the visit",
  under_way: "Go on with the walk",
  closed: "See what was closed",
});
app.open();

function draw() {
  const { visit, model } = app;
  const { site, left_open: left } = visit;
  const { state } = model;
  byId("client").textContent = site.client;
  byId("site").textContent = site.name;
  byId("what").textContent = [visit.line || visit.kind_words, dayWords(visit.booked_on), visit.booked_at_time?.slice(0, 5)].filter(Boolean).join(", ");
  const reported = [visit.reported_by, visit.reported_at && timeAt(visit.reported_at, site.time_zone)].filter(Boolean).join(", ");
  say("off", state === "called_off" ? `The office has called this visit off: ${visit.state_reason}` : "");
  say("hazards", site.hazards);
  say("reported", visit.reported_problem);
  write(byId("reported"), "by", reported);
  say("office", visit.office_note);
  drawAccess(site);
  list("actions", (visit.actions ?? []).map(actionWords));
  byId("left-last").textContent = left.closed_at ? `${dayWords(dayIn(new Date(left.closed_at), site.time_zone))}, ${left.by}` : "No visit was closed here before.";
  list("missed", left.not_reached.map((/** @type {any} */ one) => `${one.zone}: ${one.what} (${one.reason}; ${one.whose_move})`));
  list("remedies", left.remedies.map((/** @type {any} */ one) => `${[one.zone, one.place].filter(Boolean).join(", ")}: ${one.text} (${one.whose_move})`));
  byId("left-none").hidden = !left.closed_at || left.not_reached.length + left.remedies.length > 0;
  say("droppings", left.rodents ? app.lists.droppings : "");
  const places = app.zones.flatMap((/** @type {any} */ zone) => [...zone.checkpoints, ...zone.monitors]).filter((one) => one.due).length;
  byId("places").textContent = app.zones.length
    ? `${app.zones.length} zone${app.zones.length === 1 ? "" : "s"}, ${places} place${places === 1 ? "" : "s"} to look at`
    : "This site has no zones yet. Ask the office to add them; findings and treatments need one.";
  byId("zones").replaceChildren(...app.zones.map((/** @type {any} */ zone) => item([zone.name, zone.boundary === "within" ? "" : `(${zone.boundary_words.toLowerCase()})`].filter(Boolean).join(" "))));
  go.hidden = !WORDS[state];
  go.textContent = WORDS[state] ?? "";
  byId("door").hidden = false;
}

/** @param {any} site */
function drawAccess(site) {
  const facts = byId("access-facts");
  const rows = [
    ["Address", [site.address, site.postcode].filter(Boolean).join("\n")],
    ["Access", site.access_note],
    ["Open", site.access_windows.join("\n")],
  ].filter(([, words]) => words);
  facts.replaceChildren(
    ...rows.flatMap(([name, words]) => {
      const row = copyOf("fact-template");
      part(row, "name").textContent = name;
      part(row, "words").textContent = words;
      return [...row.children];
    }),
    ...site.contacts.flatMap((/** @type {any} */ one) => {
      const row = copyOf("contact-template");
      part(row, "name").textContent = one.is_premises_manager ? "Manager" : "Contact";
      part(row, "words").textContent = [one.name, one.job_title].filter(Boolean).join(", ");
      const call = part(row, "call");
      call.hidden = !one.phone;
      call.href = `tel:${one.phone}`;
      part(row, "phone").textContent = one.phone;
      return [...row.children];
    }),
  );
}

/** @param {any} one */
function actionWords(one) {
  const due = one.due_on ? `by ${dayWords(one.due_on)}` : "";
  return `${[one.zone, one.title].filter(Boolean).join(": ")} (${[one.kind_words, one.state_words, one.whose_move, due].filter(Boolean).join("; ")})`;
}

/** A section with words in it, or none. @param {string} id @param {string} words */
function say(id, words) {
  byId(id).hidden = !words;
  part(byId(id), "words").textContent = words;
}

/** @param {string} words */
function item(words) {
  const line = document.createElement("li");
  line.textContent = words;
  return line;
}

/** @param {string} id @param {string[]} lines */
function list(id, lines) {
  byId(id).hidden = !lines.length;
  byId(id).querySelector("ul").replaceChildren(...lines.map(item));
}

let going = false;
go.addEventListener("click", async () => {
  if (going) return;
  going = true;
  const { state } = app.model;
  try {
    if (state === "booked") await app.record("visit.start", {}, "the start");
    location.assign(app.address(state === "closed" ? "close" : "walk", app.visitId));
  } catch (fault) {
    const why = isFull(fault) ? "This phone is full. Free some space and press again." : String(/** @type {any} */ (fault)?.message ?? fault);
    app.notice("not-kept", "Not kept", why);
  } finally {
    going = false;
  }
});
