// @ts-check
/**
 * Does not let anybody sign out while records of theirs are still on this phone: it says how many, and
 * offers them as a file. The queue stays; whoever recorded it may sign in again and send it.
 */

import { photos, unsent as queue } from "../phone/store.js";

/** @param {Document} page */
export function keepUnsent(page) {
  page.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!(form instanceof HTMLFormElement) || !("signOut" in form.dataset)) return;
    if ("asked" in form.dataset || !globalThis.indexedDB) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    form.dataset.asked = "";
    const waiting = await unsent(form.dataset.signOut ?? "");
    if (waiting.length) {
      delete form.dataset.asked;
      tell(page, waiting);
    } else {
      form.requestSubmit();
    }
  }, { capture: true });
}

/** What a person recorded and what was not sent. @param {string} person */
async function unsent(person) {
  try {
    const [records, pictures] = await Promise.all([queue(), photos()]);
    return [...records, ...pictures.map(({ blob: _blob, ...photo }) => photo)].filter(
      (one) => !person || one.person === person,
    );
  } catch {
    return []; // a browser that keeps nothing has nothing to lose
  }
}

/** @param {Document} page @param {any[]} waiting */
function tell(page, waiting) {
  const dialog = page.createElement("dialog");
  dialog.className = "ask";
  const title = page.createElement("h2");
  title.id = "unsent-title";
  title.textContent = waiting.length === 1 ? "One record is not sent yet" : `${waiting.length} records are not sent yet`;
  dialog.setAttribute("aria-labelledby", title.id);
  const words = page.createElement("p");
  words.textContent = "They are on this phone only. Open the walk where there is a signal; once they are sent, sign out.";
  const buttons = page.createElement("div");
  buttons.className = "buttons";
  const stay = page.createElement("button");
  stay.type = "button";
  stay.className = "button primary";
  stay.textContent = "Stay signed in";
  stay.addEventListener("click", () => dialog.close());
  const save = page.createElement("a");
  save.className = "button";
  save.textContent = "Save them to a file";
  save.download = "unsent-records.json";
  save.href = URL.createObjectURL(new Blob([JSON.stringify(waiting, null, 2)], { type: "application/json" }));
  buttons.append(stay, save);
  dialog.append(title, words, buttons);
  dialog.addEventListener("close", () => {
    URL.revokeObjectURL(save.href);
    dialog.remove();
  });
  page.body.append(dialog);
  dialog.showModal();
}
