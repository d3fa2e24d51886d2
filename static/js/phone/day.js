// @ts-check
/** The page of the day: its stops in order, those of the days after it, and how old all that is. */

import { byId, copyOf, part, write } from "./dom.js";
import { Phone } from "./phone.js";
import { coverageOf } from "./rules.js";
import { inOrder, leftOpenWords, stateWords } from "./stops.js";
import * as store from "./store.js";
import { VisitOnPhone } from "./visit.js";
import { dayIn, dayWords, spanWords, timeAt } from "./when.js";

const OLD_SECONDS = 86_400;

class Day extends Phone {
  /** @type {VisitOnPhone[]} */
  models = [];

  async recall() {
    await super.recall();
    const [visits, log] = await Promise.all([store.visitsOf(this.person), store.log()]);
    this.models = inOrder(visits.map((visit) => new VisitOnPhone(visit, this.person, log.filter((op) => op.visit === visit.id))));
    const last = log.filter((op) => op.person === this.person).at(-1);
    this.last = { made: last?.made_at ?? "", sent: this.models.map((one) => one.last.sent).sort().at(-1) ?? "" };
  }
}

const day = new Day(draw);
day.open();

function draw() {
  if (!day.lists) return drawNothing();
  const today = dayIn(day.now(), day.zone);
  const on = (/** @type {string} */ date) => day.models.filter(({ visit }) => visit.booked_on === date);
  const stops = on(today);
  byId("today").textContent = `${dayWords(today)}, ${stops.length} stop${stops.length === 1 ? "" : "s"}`;
  byId("none").hidden = stops.length > 0;
  const next = stops.find((one) => ["booked", "under_way"].includes(one.state));
  byId("stops").replaceChildren(...stops.map((one) => stop(one, one === next)));
  drawUnfinished(today);
  drawLater([...new Set(day.models.map(({ visit }) => visit.booked_on))].filter((date) => date > today), on);
  drawParked();
  drawAge();
}

function drawNothing() {
  const why = day.fault ? `Your visits are not on this phone yet: ${day.fault}. Open this page once where there is a signal.` : "";
  byId("today").textContent = why || "Fetching your visits…";
  byId("fetched").textContent = "";
}

/** One stop. @param {VisitOnPhone} model @param {boolean} isNext */
function stop(model, isNext) {
  const { visit, state } = model;
  const { site } = visit;
  const row = copyOf("stop-template");
  row.classList.toggle("is-next", isNext);
  row.classList.toggle("is-done", ["closed", "called_off"].includes(state));
  write(row, "time", visit.booked_at_time?.slice(0, 5) ?? "any time");
  const link = part(row, "name");
  link.textContent = site.name;
  link.href = day.address(pageOf(model), visit.id);
  write(row, "line", `${visit.line || visit.kind_words}, ${visit.minutes} min`);
  write(row, "address", [...site.address.split("\n"), site.postcode].filter(Boolean).join(", "));
  const tags = part(row, "tags");
  for (const [tone, words] of stateWords(model, isNext)) {
    const tag = document.createElement("span");
    tag.className = `tag ${tone}`.trim();
    tag.textContent = words;
    tags.append(tag);
  }
  tags.hidden = !tags.childElementCount;
  write(row, "respond", visit.kind === "call_out" && visit.respond_by && state !== "closed" ? `Answer by ${timeAt(visit.respond_by, site.time_zone)}` : "");
  write(row, "zone", site.time_zone === day.zone ? "" : `Times in ${site.time_zone}`);
  const open = ["booked", "under_way"].includes(state);
  part(row, "hazard").hidden = !site.hazards || !open;
  part(row, "hazard-words").textContent = site.hazards;
  write(row, "left", open ? leftOpenWords(visit) : "");
  const { due, looked } = coverageOf(visit.zones, model.said);
  write(row, "covered", due && ["under_way", "closed"].includes(state) ? `${looked} of ${due} places looked at` : "");
  write(row, "reason", state === "called_off" ? visit.state_reason : "");
  const way = part(row, "way");
  way.hidden = site.latitude === null || !open;
  way.href = `geo:${site.latitude},${site.longitude}`;
  write(row, "way-to", ` to ${site.name}`);
  return row;
}

/** @param {VisitOnPhone} model */
function pageOf({ visit, state }) {
  if (state === "under_way") return "walk";
  if (state === "closed" && visit.state !== "closed") return "close";
  return state === "closed" ? "visit" : "start";
}

/** Begun on another day and not closed. @param {string} today */
function drawUnfinished(today) {
  const left = day.models.filter(({ visit, state }) => state === "under_way" && visit.booked_on < today);
  byId("unfinished").hidden = !left.length;
  byId("unfinished-list").replaceChildren(
    ...left.map(({ visit }) => {
      const line = document.createElement("li");
      const link = document.createElement("a");
      link.href = day.address("walk", visit.id);
      link.textContent = visit.site.name;
      line.append(link, `, ${dayWords(visit.booked_on)}`);
      return line;
    }),
  );
}

/** @param {string[]} dates @param {(date: string) => VisitOnPhone[]} on */
function drawLater(dates, on) {
  const open = new Set([...byId("later").querySelectorAll("details[open]")].map((one) => one.dataset.day));
  byId("later").replaceChildren(
    ...dates.map((date) => {
      const fold = copyOf("day-template");
      const stops = on(date);
      fold.dataset.day = date;
      fold.open = open.has(date);
      write(fold, "day", `${dayWords(date)}: ${stops.length} stop${stops.length === 1 ? "" : "s"}`);
      part(fold, "stops").append(...stops.map((one) => stop(one, false)));
      return fold;
    }),
  );
}

function drawParked() {
  const parked = day.lists.parked ?? [];
  byId("parked").hidden = !parked.length;
  write(byId("parked"), "count", parked.length === 1 ? "One record of yours waits for the office" : `${parked.length} records of yours wait for the office`);
  byId("parked-list").replaceChildren(
    ...parked.map((/** @type {any} */ one) => {
      const line = document.createElement("li");
      line.textContent = [one.site, one.reason].filter(Boolean).join(": ");
      return line;
    }),
  );
}

/** How old the visits on this phone are; its own clock has measured that. */
function drawAge() {
  const seconds = Math.max(0, (Date.now() - Date.parse(day.lists.fetched_at)) / 1000);
  const at = timeAt(new Date(day.now().getTime() - seconds * 1000).toISOString(), day.zone);
  const fetched = byId("fetched");
  fetched.textContent = [`Fetched ${at}, ${seconds < 60 ? "just now" : `${spanWords(seconds)} ago`}`, day.fault].filter(Boolean).join("; ");
  fetched.classList.toggle("late", seconds > OLD_SECONDS || Boolean(day.fault));
}

const again = byId("again");
again.addEventListener("click", async () => {
  again.textContent = "Fetching…";
  await day.sender.send();
  await day.refresh(true);
  again.textContent = "Fetch again";
});
setInterval(() => day.lists && drawAge(), 30_000);

const install = byId("install");
addEventListener("beforeinstallprompt", (event) => {
  event.preventDefault();
  install.hidden = false;
  install.addEventListener("click", () => /** @type {any} */ (event).prompt(), { once: true });
});
addEventListener("appinstalled", () => (install.hidden = true));
