// @ts-check
/**
 * A list by keyboard, where it has `data-keys`: / goes to the filter, j and k to the next and
 * previous row's link, ? shows the keys. Silent while something is typed, and never with a modifier.
 */

const HELP = [
  ["/", "Go to the filter"],
  ["j", "Next row"],
  ["k", "Row before"],
  ["Enter", "Open the row"],
  ["?", "Show this"],
];

/** @param {Document} page */
export function listKeys(page) {
  if (!page.querySelector("[data-keys]")) return;
  page.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || isTyping(event.target)) return;
    const act = { "/": toFilter, j: toNext, k: toPrevious, "?": showKeys }[event.key];
    if (act?.(page)) event.preventDefault();
  });
}

/** @param {EventTarget | null} target */
function isTyping(target) {
  return (
    target instanceof HTMLElement &&
    (target.isContentEditable ||
      target.closest("input:not([type=checkbox], [type=radio]), select, textarea, dialog") !== null)
  );
}

/** @param {Document} page */
function toFilter(page) {
  const field = page.querySelector(".filter-row :is(input:not([type=hidden]), select)");
  if (!(field instanceof HTMLElement)) return false;
  field.focus();
  return true;
}

/** @param {Document} page */
const toNext = (page) => step(page, 1);

/** @param {Document} page */
const toPrevious = (page) => step(page, -1);

/**
 * Moves the focus from row to row.
 * @param {Document} page @param {1 | -1} by
 */
function step(page, by) {
  const links = [...page.querySelectorAll("[data-keys] :is(tbody tr, li)")]
    .map((row) => row.querySelector("a[href], summary, button"))
    .filter((link) => link instanceof HTMLElement);
  if (!links.length) return false;
  const row = page.activeElement?.closest("[data-keys] :is(tbody tr, li)");
  const here = links.findIndex((link) => row?.contains(link));
  const there = here < 0 ? (by > 0 ? 0 : links.length - 1) : here + by;
  const link = links[Math.max(0, Math.min(links.length - 1, there))];
  link.focus();
  link.scrollIntoView({ block: "nearest" });
  return true;
}

/** @param {Document} page */
function showKeys(page) {
  const dialog = page.createElement("dialog");
  dialog.className = "ask";
  const title = page.createElement("h2");
  title.id = "keys-title";
  title.textContent = "Keys on this page";
  dialog.setAttribute("aria-labelledby", title.id);
  const list = page.createElement("dl");
  list.className = "facts keys";
  for (const [key, words] of HELP) {
    const name = page.createElement("dt");
    name.append(page.createElement("kbd"));
    name.firstElementChild?.append(key);
    const does = page.createElement("dd");
    does.append(words);
    list.append(name, does);
  }
  const close = page.createElement("button");
  close.className = "button";
  close.type = "button";
  close.append("Close");
  close.addEventListener("click", () => dialog.close());
  dialog.append(title, list, close);
  dialog.addEventListener("close", () => dialog.remove());
  page.body.append(dialog);
  dialog.showModal();
  return true;
}
