// @ts-check
/**
 * Does not let anybody sign out while records of theirs are still on this phone: it says how many, and
 * offers to send them or to save them to a file. Once that is done, or nothing waits, the phone forgets
 * what it kept for them; what is unsent stays until whoever recorded it signs in again.
 */

import { logFile, saveFile, unsentOf } from "../phone/logfile.js";
import { forgetPerson } from "../phone/store.js";

/** @param {Document} page */
export function keepUnsent(page) {
  page.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!(form instanceof HTMLFormElement) || !("signOut" in form.dataset)) return;
    if ("asked" in form.dataset || !globalThis.indexedDB) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    form.dataset.asked = "";
    const person = form.dataset.signOut || (/(?:^|; )who=([^;]+)/.exec(page.cookie)?.[1] ?? "");
    const waiting = await unsent(person);
    if (waiting) {
      delete form.dataset.asked;
      tell(page, form, person, waiting);
    } else {
      await forgetPerson(person).catch(() => {});
      form.requestSubmit();
    }
  }, { capture: true });
}

/** How much a person recorded that was not sent. @param {string} person */
async function unsent(person) {
  try {
    const { operations, photos } = await unsentOf(person);
    return operations.length + photos.length;
  } catch {
    return 0; // a browser that keeps nothing has nothing to lose
  }
}

/** @param {Document} page @param {HTMLFormElement} form @param {string} person @param {number} waiting */
function tell(page, form, person, waiting) {
  const dialog = page.createElement("dialog");
  dialog.className = "ask";
  const title = page.createElement("h2");
  title.id = "unsent-title";
  title.textContent = waiting === 1 ? "One record is not sent yet" : `${waiting} records are not sent yet`;
  dialog.setAttribute("aria-labelledby", title.id);
  const words = page.createElement("p");
  words.textContent = "They are on this phone only. Send them where there is a signal, or save them to a file that the office can load.";
  const buttons = page.createElement("div");
  buttons.className = "buttons";
  const button = (/** @type {string} */ label, /** @type {() => any} */ work, kind = "") => {
    const made = page.createElement("button");
    made.type = "button";
    made.className = `button ${kind}`.trim();
    made.textContent = label;
    made.addEventListener("click", work);
    buttons.append(made);
  };
  button("Send now", () => location.assign("/visits/my-day/"), "primary");
  button("Save them to a file", async () => {
    saveFile(await logFile(person));
    words.textContent = "The file is saved. The records also stay on this phone until you sign in again.";
    buttons.replaceChildren();
    button("Sign out", async () => {
      await forgetPerson(person).catch(() => {});
      form.dataset.asked = "";
      form.requestSubmit();
    });
    button("Stay signed in", () => dialog.close(), "primary");
  });
  button("Stay signed in", () => dialog.close());
  dialog.append(title, words, buttons);
  dialog.addEventListener("close", () => dialog.remove());
  page.body.append(dialog);
  dialog.showModal();
}
