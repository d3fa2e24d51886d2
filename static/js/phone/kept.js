// @ts-check
/** What is on this phone: what waits, what the server would not take, and the ways out. */

import { byId, copyOf, part, write } from "./dom.js";
import { logFile, saveFile, unsentOf } from "./logfile.js";
import * as store from "./store.js";
import { clockWords } from "./when.js";

const many = (/** @type {number} */ count, /** @type {string} */ what) => `${count} ${what}${count === 1 ? "" : "s"}`;
const megabytes = (/** @type {number} */ bytes) => `${(bytes / 1e6).toFixed(1)} MB`;

/** Lets the menu open the sheet. @param {import("./phone.js").Phone} phone */
export function showsKept(phone) {
  const dialog = /** @type {HTMLDialogElement} */ (byId("kept"));
  byId("show-kept").addEventListener("click", async () => {
    byId("site-menu").hidePopover?.();
    await draw(phone);
    dialog.showModal();
  });
  part(dialog, "back").addEventListener("click", () => dialog.close());
  part(dialog, "send").addEventListener("click", async () => {
    write(dialog, "said", "Sending…");
    await phone.sender.send();
    await draw(phone);
    write(dialog, "said", byId("saved").textContent);
  });
  part(dialog, "save").addEventListener("click", async () => {
    write(dialog, "said", "Writing the file…");
    const given = await logFile(phone.person);
    saveFile(given);
    write(dialog, "said", `Saved as ${given.name}. Give it to the office, who can load it. The records stay on this phone as well.`);
  });
}

/** @param {import("./phone.js").Phone} phone */
async function draw(phone) {
  const dialog = byId("kept");
  const [{ operations, photos, others }, visits] = await Promise.all([unsentOf(phone.person), store.visitsOf(phone.person)]);
  const site = (/** @type {string} */ id) => visits.find((one) => one.id === id)?.site.name ?? "A visit that is no longer on this phone";
  const waiting = photos.filter((one) => !one.refused);
  const named = [...new Set([...operations, ...waiting].map((one) => one.visit))];
  list(dialog, "waits", named.map((id) => {
    const ops = operations.filter((op) => op.visit === id).length;
    const own = waiting.filter((one) => one.visit === id);
    const size = own.reduce((sum, one) => sum + one.blob.size, 0);
    return `${site(id)}: ${[ops ? many(ops, "record") : "", own.length ? `${many(own.length, "photo")} (${megabytes(size)})` : ""].filter(Boolean).join(", ")}`;
  }));
  write(dialog, "none", named.length ? "" : "Everything that you recorded has been sent.");
  write(dialog, "others", others ? `${many(others, "record")} of somebody else ${others === 1 ? "is" : "are"} kept here until they sign in.` : "");
  const room = (await navigator.storage?.estimate?.()) ?? {};
  const safe = await navigator.storage?.persisted?.();
  write(dialog, "room", [room.usage ? `Kickplate takes ${megabytes(room.usage)} on this phone.` : "", safe ? "The phone keeps it until you sign out." : "The phone may clear it when it runs out of room: send when you can."].filter(Boolean).join(" "));
  write(dialog, "clock", clockWords(phone.ahead));
  drawRefused(phone, dialog, photos.filter((one) => one.refused), site);
}

/** @param {any} phone @param {any} dialog @param {import("./store.js").Photo[]} refused @param {(id: string) => string} site */
function drawRefused(phone, dialog, refused, site) {
  part(dialog, "refused").replaceChildren(
    ...refused.map((photo) => {
      const row = copyOf("refused-template");
      const name = `${photo.sha256.slice(0, 8)}.${photo.blob.type.split("/")[1] ?? "bin"}`;
      write(row, "words", `A photo at ${site(photo.visit)} was not taken by the server: ${photo.refused}`);
      part(row, "keep").addEventListener("click", () => saveFile({ name, file: photo.blob }));
      part(row, "drop").addEventListener("click", async () => {
        if (!confirm("Remove this photo from the phone? It is nowhere else.")) return;
        await store.forgetPhoto(photo.sha256);
        await draw(phone);
      });
      return row;
    }),
  );
}

/** @param {any} within @param {string} name @param {string[]} lines */
function list(within, name, lines) {
  part(within, name).replaceChildren(
    ...lines.map((words) => {
      const line = document.createElement("li");
      line.textContent = words;
      return line;
    }),
  );
}
