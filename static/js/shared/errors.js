// @ts-check
/** Takes the reader to what is wrong with a form that came back. */

/** @param {Document} page */
export function focusOnErrors(page) {
  const summary = page.querySelector("[data-error-summary]");
  if (!(summary instanceof HTMLElement)) return;
  summary.focus();
  summary.addEventListener("click", (event) => {
    const link = event.target instanceof Element && event.target.closest("a[href^='#']");
    const field = link && page.getElementById(decodeURIComponent(link.hash.slice(1)));
    if (!field) return;
    event.preventDefault();
    // The label comes along: a field at the very top of the screen does not say what it asks.
    (field.closest(".field") ?? field).scrollIntoView({ block: "center" });
    field.focus({ preventScroll: true });
  });
}
