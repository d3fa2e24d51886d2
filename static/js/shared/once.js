// @ts-check
/**
 * Lets a form go only once, however often its button is pressed. The server would answer the
 * second one rightly too; this spares the wait. Buttons are never disabled: a form that comes back
 * from the browser's cache must be usable.
 */

const LONG_ENOUGH_MS = 8000;

/** @param {Document} page */
export function sendOnce(page) {
  page.addEventListener("submit", (event) => {
    const form = event.target;
    if (!(form instanceof HTMLFormElement) || event.defaultPrevented) return;
    if (form.method !== "post" || "many" in form.dataset) return;
    if ("sent" in form.dataset) {
      event.preventDefault();
      return;
    }
    mark(form, event.submitter);
    // A download answers without leaving the page, and a dropped line never answers.
    setTimeout(() => unmark(form), LONG_ENOUGH_MS);
  });
  addEventListener("pageshow", () => {
    for (const form of page.forms) unmark(form);
  });
}

/** @param {HTMLFormElement} form @param {HTMLElement | null} button */
function mark(form, button) {
  form.dataset.sent = "";
  button?.setAttribute("aria-busy", "true");
}

/** @param {HTMLFormElement} form */
function unmark(form) {
  delete form.dataset.sent;
  for (const button of form.querySelectorAll("[aria-busy]")) button.removeAttribute("aria-busy");
}
