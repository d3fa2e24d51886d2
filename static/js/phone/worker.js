// @ts-check
/* global RELEASE */
/**
 * Keeps the phone's pages and their files, so that they open without a line. RELEASE stands before
 * this script when it is served. Every file is kept under the hash of its content and believed only
 * if it has that hash. A new release is fetched beside the old one and waits until a page asks it to
 * take over. Nothing of a person or a visit is kept here, and nothing but GET is touched.
 */

const KEPT = "kickplate-files";
const worker = /** @type {any} */ (self);
/** @type {{files: [string, string][], pages: [string, string][], no_line: string}} */
const release = /** @type {any} */ (RELEASE);
const hashes = new Map(release.files);
const pages = release.pages.map(([pattern, address]) => /** @type {const} */ ([new RegExp(pattern), address]));
const BUSY = /\/(start|walk|close)\/$/;

/** The name under which a file is kept. @param {string} address */
const named = (address) => `${address}?kept=${hashes.get(address)}`;

worker.addEventListener("install", (/** @type {any} */ event) => event.waitUntil(fetchAll()));

async function fetchAll() {
  const kept = await caches.open(KEPT);
  await Promise.all(
    release.files.map(async ([address, hash]) => {
      if (await kept.match(named(address))) return;
      const answer = await fetch(address, { cache: "no-cache", credentials: "omit" });
      const body = await answer.arrayBuffer();
      if (!answer.ok || (await hashOf(body)) !== hash) throw new Error(`${address} is not what was promised`);
      await kept.put(named(address), new Response(body, { headers: answer.headers }));
    }),
  );
}

/** @param {ArrayBuffer} bytes */
async function hashOf(bytes) {
  const found = await crypto.subtle.digest("SHA-256", bytes);
  return [...new Uint8Array(found)].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

worker.addEventListener("activate", (/** @type {any} */ event) => event.waitUntil(tidy()));

async function tidy() {
  const wanted = new Set(release.files.map(([address]) => new URL(named(address), location.origin).href));
  const kept = await caches.open(KEPT);
  for (const { url } of await kept.keys()) if (!wanted.has(url)) await kept.delete(url);
  await worker.clients.claim();
}

worker.addEventListener("fetch", (/** @type {any} */ event) => {
  const { request } = event;
  const address = new URL(request.url);
  if (request.method !== "GET" || address.origin !== location.origin) return;
  if (request.mode === "navigate") {
    const page = address.search ? undefined : pages.find(([pattern]) => pattern.test(address.pathname));
    event.respondWith(page ? keptOr(page[1], request) : lineOr(request));
  } else if (hashes.has(address.pathname) && !address.pathname.endsWith("/")) {
    event.respondWith(keptOr(address.pathname, request));
  }
});

/** @param {string} address @param {Request} request */
const keptOr = async (address, request) => (await caches.match(named(address))) ?? fetch(request);

/** Any other page needs a line; without one, a page says so. @param {Request} request */
async function lineOr(request) {
  try {
    return await fetch(request);
  } catch (fault) {
    const page = await caches.match(named(release.no_line));
    if (page) return page;
    throw fault;
  }
}

/** A page asks the newer release to take over; `quietly` only if no visit is open anywhere. */
worker.addEventListener("message", async (/** @type {any} */ event) => {
  if (event.data?.ask !== "take over") return;
  const open = await worker.clients.matchAll({ type: "window", includeUncontrolled: true });
  if (event.data.quietly && open.some((/** @type {any} */ one) => BUSY.test(new URL(one.url).pathname))) return;
  worker.skipWaiting();
});
