// @ts-check
/**
 * Keeps looking at long work: a part with an id and `data-poll` is fetched again from that address
 * and put in the old one's place, until it comes back without `data-poll`. Then the page is loaded
 * afresh, as what the work was for may change more than this part.
 */

const EVERY_MS = 1500;
const SLOWEST_MS = 20000;

/** @param {Document} page */
export function lookAgain(page) {
  for (const part of page.querySelectorAll("[data-poll][id]")) {
    if (part instanceof HTMLElement) watch(page, part, EVERY_MS);
  }
}

/** @param {Document} page @param {HTMLElement} part @param {number} wait */
function watch(page, part, wait) {
  setTimeout(async () => {
    if (!part.isConnected) return;
    if (page.hidden) {
      watch(page, part, wait);
      return;
    }
    const fresh = await fetchPart(part.dataset.poll ?? "", part.id);
    if (!fresh) {
      watch(page, part, Math.min(wait * 2, SLOWEST_MS)); // the line is bad or the server busy
      return;
    }
    if (!fresh.dataset.poll) {
      location.reload();
      return;
    }
    const focused = part.contains(page.activeElement);
    part.replaceWith(fresh);
    if (focused) fresh.querySelector("a")?.focus();
    watch(page, fresh, EVERY_MS);
  }, wait);
}

/**
 * The part with that id from the page at an address, or nothing if it cannot be had now.
 * @param {string} address @param {string} id @returns {Promise<HTMLElement | null>}
 */
async function fetchPart(address, id) {
  try {
    const answer = await fetch(address, { headers: { Accept: "text/html" } });
    if (!answer.ok) return null;
    const parsed = new DOMParser().parseFromString(await answer.text(), "text/html");
    return parsed.getElementById(id);
  } catch {
    return null;
  }
}
