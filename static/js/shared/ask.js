// @ts-check
/**
 * Asks once before a form with `data-confirm`, or a button with it, does what it says. The words of
 * the question are the attribute's; the words on the button are those that were pressed.
 */

/** @param {Document} page */
export function askFirst(page) {
  page.addEventListener(
    "submit",
    (event) => {
      const form = event.target;
      if (!(form instanceof HTMLFormElement)) return;
      const button = event.submitter;
      const question = button?.dataset.confirm ?? form.dataset.confirm;
      if (!question) return;
      if ("agreed" in form.dataset) {
        delete form.dataset.agreed;
        return;
      }
      event.preventDefault();
      event.stopImmediatePropagation();
      ask(page, question, button?.textContent?.trim() || "Go on", button).then((agreed) => {
        if (!agreed) return;
        form.dataset.agreed = "";
        form.requestSubmit(button);
      });
    },
    { capture: true },
  );
}

/**
 * @param {Document} page @param {string} question @param {string} yes
 * @param {HTMLElement | null} button the one that was pressed: danger stays danger
 * @returns {Promise<boolean>}
 */
export function ask(page, question, yes, button = null) {
  const dialog = page.createElement("dialog");
  dialog.className = "ask";
  const words = page.createElement("p");
  words.id = "ask-words";
  words.textContent = question;
  dialog.setAttribute("aria-labelledby", words.id);
  const buttons = page.createElement("div");
  buttons.className = "buttons";
  const danger = button?.classList.contains("danger") ? " danger" : "";
  buttons.append(
    choice(page, yes, `button primary${danger}`, "yes", dialog),
    choice(page, "Leave it as it is", "button quiet", "", dialog),
  );
  dialog.append(words, buttons);
  page.body.append(dialog);
  dialog.showModal();
  return new Promise((resolve) => {
    dialog.addEventListener("close", () => {
      dialog.remove();
      resolve(dialog.returnValue === "yes");
    });
  });
}

/**
 * @param {Document} page @param {string} words @param {string} look @param {string} answer
 * @param {HTMLDialogElement} dialog
 */
function choice(page, words, look, answer, dialog) {
  const button = page.createElement("button");
  button.type = "button";
  button.className = look;
  button.textContent = words;
  button.addEventListener("click", () => dialog.close(answer));
  return button;
}
