// @ts-check
/**
 * What the phone keeps: the log of operations, photos on their way, visits of the days to come, plans,
 * drafts of forms, what was parked. The only module that knows IndexedDB. Everything that a technician
 * said is written with strict durability before the page says that it is saved, and leaves the log
 * only once the server has it and the visit is gone from the phone.
 */

/**
 * @typedef {import("./rules.js").Operation} Operation @typedef {import("./rules.js").Answer} Answer
 * @typedef {{sha256: string, blob: Blob, taken_at: string, kept_at: string}} Photo
 * @typedef {{sha256: string, visit: string, person: string, order?: string, refused?: string}} OnItsWay
 *   a photo that a record names and that the server has not got yet
 */

const NAME = "kickplate";
const VERSION = 2;

/** @type {Promise<IDBDatabase> | undefined} */
let opening;

/** @returns {Promise<IDBDatabase>} */
function open() {
  opening ??= asked(VERSION).catch((fault) => {
    // A newer release has been here: what it added does not concern this page, which goes on.
    if (fault?.name === "VersionError") return asked();
    throw fault;
  });
  opening.catch(() => (opening = undefined));
  return opening;
}

/** @param {number} [version] @returns {Promise<IDBDatabase>} */
function asked(version) {
  return new Promise((done, fail) => {
    const request = indexedDB.open(NAME, version);
    request.onupgradeneeded = (event) => upgrade(request, event.oldVersion);
    request.onsuccess = () => {
      const opened = request.result;
      // Phones close databases behind the page's back, and another tab may want a newer one.
      opened.onclose = () => (opening = undefined);
      opened.onversionchange = () => {
        opened.close();
        opening = undefined;
      };
      done(opened);
    };
    request.onerror = () => fail(request.error);
    request.onblocked = () => fail(new Error("another tab holds an older store; close it"));
  });
}

/** Stores are only ever added to, so that an older page can go on. @param {IDBOpenDBRequest} request @param {number} from */
function upgrade(request, from) {
  const made = request.result;
  if (from < 1) {
    made.createObjectStore("meta");
    made.createObjectStore("operations", { keyPath: "seq" });
    made.createObjectStore("photos", { keyPath: "sha256" });
    made.createObjectStore("parked", { keyPath: "id" });
    made.createObjectStore("drafts");
  }
  if (from < 2) {
    made.createObjectStore("visits", { keyPath: "id" });
    made.createObjectStore("plans", { keyPath: "id" });
    const sending = made.createObjectStore("sending", { keyPath: ["visit", "sha256"] });
    const now = /** @type {IDBTransaction} */ (request.transaction);
    // An older release sent every photo that it kept.
    now.objectStore("photos").openCursor().onsuccess = ({ target }) => {
      const cursor = /** @type {any} */ (target).result;
      if (!cursor) return;
      const { sha256, visit, person } = cursor.value;
      sending.put({ sha256, visit, person });
      cursor.continue();
    };
    const operations = now.objectStore("operations");
    operations.createIndex("visit", "visit");
    operations.createIndex("unsent", "unsent");
    operations.openCursor().onsuccess = ({ target }) => {
      const cursor = /** @type {any} */ (target).result;
      if (!cursor) return;
      cursor.update({ ...cursor.value, unsent: 1 });
      cursor.continue();
    };
  }
}

/**
 * Runs something in one transaction; resolves once it is kept.
 * @template T
 * @param {string[]} stores @param {IDBTransactionMode} mode
 * @param {(transaction: IDBTransaction) => T} work
 * @returns {Promise<T extends IDBRequest<infer R> ? R : T>}
 */
async function within(stores, mode, work) {
  const opened = await open();
  return new Promise((done, fail) => {
    const transaction = opened.transaction(stores, mode, { durability: "strict" });
    /** @type {any} */
    let found;
    transaction.oncomplete = () => done(found instanceof IDBRequest ? found.result : found);
    transaction.onabort = () => fail(transaction.error ?? new Error("not kept"));
    found = work(transaction);
  });
}

/** @param {string} store @param {any} key @returns {Promise<any>} */
const get = (store, key) => within([store], "readonly", (t) => t.objectStore(store).get(key));
/** @param {string} store @returns {Promise<any[]>} */
const all = (store) => within([store], "readonly", (t) => t.objectStore(store).getAll());
/** @param {string} store @param {any} value @param {any} [key] */
const put = (store, value, key) => within([store], "readwrite", (t) => void t.objectStore(store).put(value, key));
/** @param {string} store @param {any} key */
const drop = (store, key) => within([store], "readwrite", (t) => void t.objectStore(store).delete(key));

/** Whether somebody's storage is full. @param {any} fault */
export const isFull = (fault) => fault?.name === "QuotaExceededError";

const RESERVE = 2_000_000; // bytes that photos leave to words
const PART = 50_000;

/** Hold room that no photo takes, so that what was done can be recorded on a phone full of photos. */
async function holdReserve() {
  if (await within(["meta"], "readonly", (t) => t.objectStore("meta").getKey("reserve"))) return;
  const noise = Array.from({ length: RESERVE / PART }, () => crypto.getRandomValues(new Uint8Array(PART)));
  await put("meta", new Blob(noise), "reserve");
}

/** Write words: into the reserve, where photos have filled the phone. @param {() => Promise<any>} write */
async function writeWords(write) {
  try {
    await write();
  } catch (fault) {
    if (!isFull(fault)) throw fault;
    await drop("meta", "reserve");
    await write();
  }
}

// --- the log --------------------------------------------------------------------------------------

/**
 * Keep operations, all or none: each gets this phone's name and its next number, and the photos that
 * it names are on their way from now on.
 * @param {Omit<Operation, "device" | "seq">[]} drafts of one visit
 * @param {string} fresh a name for the phone, if it has none @returns {Promise<Operation[]>}
 */
export async function keep(drafts, fresh) {
  /** @type {any[]} */
  const kept = drafts.map((draft) => ({ ...draft, unsent: 1 }));
  const write = (/** @type {IDBTransaction} */ transaction) => {
    const [meta, photos, sending] = ["meta", "photos", "sending"].map((name) => transaction.objectStore(name));
    for (const { visit, person, body, made_at: made } of kept) {
      (body.photos ?? []).forEach((/** @type {string} */ sha256, /** @type {number} */ nth) => {
        const there = photos.getKey(sha256);
        const order = `${made} ${String(nth).padStart(2, "0")}`;
        there.onsuccess = () => there.result && sending.put({ sha256, visit, person, order });
      });
    }
    const asked = meta.get("device");
    asked.onsuccess = () => {
      const device = asked.result ?? { name: fresh, seq: 0 };
      for (const op of kept) {
        device.seq += 1;
        Object.assign(op, { device: device.name, seq: device.seq });
        transaction.objectStore("operations").put(op);
      }
      meta.put(device, "device");
    };
    // The closing says how many came before it.
    const made = `made/${kept[0].visit}`;
    const counted = meta.get(made);
    counted.onsuccess = () => meta.put((counted.result ?? 0) + kept.length, made);
  };
  await writeWords(() => within(["meta", "operations", "photos", "sending"], "readwrite", write));
  return kept;
}

/** How many operations this phone has made for a visit. @param {string} visit @returns {Promise<number>} */
export const madeFor = async (visit) => (await get("meta", `made/${visit}`)) ?? 0;

/** What is not sent yet, in the order in which it was made. @returns {Promise<Operation[]>} */
export const unsent = () =>
  within(["operations"], "readonly", (t) => t.objectStore("operations").index("unsent").getAll());

/** All that was made for a visit, sent or not. @param {string} visit @returns {Promise<Operation[]>} */
export const logOf = (visit) =>
  within(["operations"], "readonly", (t) => t.objectStore("operations").index("visit").getAll(visit));

/** The whole log. @returns {Promise<Operation[]>} */
export const log = () => all("operations");

/**
 * Note the answers beside their operations, and keep what was parked, in one transaction. On a
 * phone that is full, what the server has is taken out of the log instead: that needs no room.
 * @param {{answered: Operation[], changed: Operation[], parked: any[]}} settled
 */
export async function settled({ answered, changed, parked }) {
  const write = (/** @type {boolean} */ full) =>
    within(["operations", "parked"], "readwrite", (transaction) => {
      const operations = transaction.objectStore("operations");
      for (const op of answered) full ? operations.delete(op.seq) : operations.put(op);
      if (full) return;
      for (const op of changed) operations.put(op);
      for (const one of parked) transaction.objectStore("parked").put(one);
    });
  try {
    await write(false);
  } catch (fault) {
    if (!isFull(fault)) throw fault;
    await write(true);
  }
}

/** What the office has to place, of one visit or of all. @param {string} [visit] @returns {Promise<any[]>} */
export const parkedOf = async (visit) => (await all("parked")).filter((one) => !visit || one.op?.visit === visit);

/** The technician has read it. @param {string} id */
export const forgetParked = (id) => drop("parked", id);

// --- visits, and the lists that go with them ------------------------------------------------------

/**
 * Keep a package: its visits instead of those kept before, or beside them if it is of one visit only.
 * A visit of which something is not sent stays, whatever the package says.
 * @param {any} found the package @param {{person: string, at: string, tag: string, whole: boolean}} as
 */
export const keepPackage = ({ visits, ...lists }, { person, at, tag, whole }) =>
  within(["visits", "operations", "meta"], "readwrite", (transaction) => {
    const kept = transaction.objectStore("visits");
    for (const visit of visits) kept.put({ ...visit, person, fetched_at: at });
    if (!whole) return;
    transaction.objectStore("meta").put({ ...lists, fetched_at: at, tag }, `lists/${person}`);
    const named = new Set(visits.map((/** @type {any} */ one) => one.id));
    sweep(transaction, (one) => one.person === person && !named.has(one.id));
  });

/** The same package still stands. @param {string} person @param {string} at */
export const keepFetched = (person, at) =>
  within(["meta"], "readwrite", (transaction) => {
    const meta = transaction.objectStore("meta");
    const asked = meta.get(`lists/${person}`);
    asked.onsuccess = () => asked.result && meta.put({ ...asked.result, fetched_at: at }, `lists/${person}`);
  });

/** Forget what others keep here and what is too old; nothing that was recorded and not sent.
 * @param {string} person @param {string} before what was fetched or kept before this instant goes */
export const tidy = (person, before) =>
  within(["visits", "operations", "meta", "plans", "photos", "sending", "drafts"], "readwrite", (transaction) => {
    sweep(transaction, (one) => one.person !== person || one.fetched_at < before);
    loose(transaction, (photo) => photo.kept_at < before);
    const [visits, drafts] = ["visits", "drafts"].map((name) => transaction.objectStore(name));
    visits.getAllKeys().onsuccess = ({ target }) => {
      const visitsKept = /** @type {any} */ (target).result;
      drafts.getAllKeys().onsuccess = ({ target: found }) => {
        for (const key of /** @type {any} */ (found).result) {
          const [whose, visit] = key.split("/");
          if (whose === person && !visitsKept.includes(visit)) drafts.delete(key);
        }
      };
    };
    const meta = transaction.objectStore("meta");
    meta.getAllKeys().onsuccess = ({ target }) => {
      for (const key of /** @type {any} */ (target).result) {
        if (key.startsWith("lists/") && key !== `lists/${person}`) meta.delete(key);
      }
    };
    transaction.objectStore("plans").openCursor().onsuccess = ({ target }) => {
      const cursor = /** @type {any} */ (target).result;
      if (!cursor) return;
      if (cursor.value.person !== person) cursor.delete();
      cursor.continue();
    };
  });

/** Somebody signs out: forget what is kept for them here, but nothing that was not sent. @param {string} person */
export const forgetPerson = (person) =>
  within(["visits", "operations", "meta", "plans"], "readwrite", (transaction) => {
    sweep(transaction, (one) => one.person === person);
    transaction.objectStore("meta").delete(`lists/${person}`);
    transaction.objectStore("plans").clear();
  });

/** Forget visits, with their part of the log, unless something of it is not sent.
 * @param {IDBTransaction} transaction @param {(visit: any) => boolean} goes */
function sweep(transaction, goes) {
  const [visits, operations, meta] = ["visits", "operations", "meta"].map((name) => transaction.objectStore(name));
  visits.openCursor().onsuccess = ({ target }) => {
    const cursor = /** @type {any} */ (target).result;
    if (!cursor) return;
    const { value } = cursor;
    cursor.continue();
    if (!goes(value)) return;
    operations.index("visit").getAll(value.id).onsuccess = ({ target: found }) => {
      const ops = /** @type {any} */ (found).result;
      if (ops.some((/** @type {any} */ op) => op.unsent)) return;
      for (const op of ops) operations.delete(op.seq);
      visits.delete(value.id);
      meta.delete(`made/${value.id}`);
    };
  };
}

/** @param {string} id @returns {Promise<any>} */
export const visit = (id) => get("visits", id);

/** @param {string} person @returns {Promise<any[]>} */
export const visitsOf = async (person) => (await all("visits")).filter((one) => one.person === person);

/** Pests, products, cautions, and when they were fetched. @param {string} person @returns {Promise<any>} */
export const listsOf = (person) => get("meta", `lists/${person}`);

/** How far this phone's clock is ahead, in seconds. @returns {Promise<number | null>} */
export const clockAhead = async () => (await get("meta", "clock_ahead")) ?? null;

/** @param {number} seconds */
export const keepClockAhead = (seconds) => put("meta", seconds, "clock_ahead");

/** @param {string} id @returns {Promise<{id: string, sha256: string, person: string, blob: Blob} | undefined>} */
export const plan = (id) => get("plans", id);

/** @param {{id: string, sha256: string, person: string, blob: Blob}} drawn */
export const keepPlan = (drawn) => put("plans", drawn);

// --- photos and drafts ----------------------------------------------------------------------------

/**
 * Keep a photo and the draft that names it, both or neither. It stays until the server has it, or
 * until neither a record on its way nor a draft names it.
 * @param {Photo} photo @param {string} key of the draft @param {any} values
 */
export async function keepPhoto(photo, key, values) {
  await holdReserve();
  await within(["photos", "drafts"], "readwrite", (transaction) => {
    transaction.objectStore("photos").put(photo);
    transaction.objectStore("drafts").put(values, key);
  });
}

/** @param {string} sha256 @returns {Promise<Photo | undefined>} */
export const photo = (sha256) => get("photos", sha256);

/** Photos on their way, in the order in which records named them, without the pictures. @returns {Promise<OnItsWay[]>} */
export const sending = async () =>
  (await all("sending")).sort(({ order: a = "" }, { order: b = "" }) => (a < b ? -1 : Number(a > b)));

/** Photos on their way, with the pictures. @returns {Promise<(Photo & OnItsWay)[]>} */
export async function photos() {
  const [ways, kept] = await Promise.all([sending(), all("photos")]);
  return ways.flatMap((way) => kept.filter(({ sha256 }) => sha256 === way.sha256).map((one) => ({ ...one, ...way })));
}

/** The server will never take it: it stays here for a person. @param {OnItsWay} way @param {string} refused why */
export const refusePhoto = (way, refused) => put("sending", { ...way, refused });

/** The server has it. @param {OnItsWay} way */
export const photoSent = ({ visit, sha256 }) =>
  within(["photos", "sending", "drafts"], "readwrite", (transaction) => {
    transaction.objectStore("sending").delete([visit, sha256]);
    loose(transaction, (photo) => photo.sha256 === sha256);
  });

/** A person gives a photo up. @param {string} sha256 */
export const forgetPhoto = (sha256) =>
  within(["photos", "sending"], "readwrite", (transaction) => {
    transaction.objectStore("photos").delete(sha256);
    transaction.objectStore("sending").openCursor().onsuccess = ({ target }) => {
      const cursor = /** @type {any} */ (target).result;
      if (!cursor) return;
      if (cursor.value.sha256 === sha256) cursor.delete();
      cursor.continue();
    };
  });

/** Forget photos, unless something names them. @param {string[]} hashes */
export const forgetLoose = (hashes) =>
  within(["photos", "sending", "drafts"], "readwrite", (transaction) => loose(transaction, ({ sha256 }) => hashes.includes(sha256)));

/** Forget photos that neither a record on its way nor a draft names.
 * @param {IDBTransaction} transaction @param {(photo: Photo) => boolean} goes */
function loose(transaction, goes) {
  const named = new Set();
  transaction.objectStore("sending").getAllKeys().onsuccess = ({ target }) => {
    for (const [, sha256] of /** @type {any} */ (target).result) named.add(sha256);
  };
  transaction.objectStore("drafts").getAll().onsuccess = ({ target }) => {
    for (const { photos = [], spare = [] } of /** @type {any} */ (target).result) {
      for (const sha256 of [...photos, ...spare]) named.add(sha256);
    }
  };
  // Asked last, so that it is answered last.
  transaction.objectStore("photos").openCursor().onsuccess = ({ target }) => {
    const cursor = /** @type {any} */ (target).result;
    if (!cursor) return;
    if (!named.has(cursor.value.sha256) && goes(cursor.value)) cursor.delete();
    cursor.continue();
  };
}

/** What was typed into a form and not saved. @param {string} key @param {any} values */
export const keepDraft = (key, values) => writeWords(() => put("drafts", values, key));

/** @param {string} key @returns {Promise<any>} */
export const draft = (key) => get("drafts", key);

/** @param {string} key */
export const forgetDraft = (key) => drop("drafts", key);
