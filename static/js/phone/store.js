// @ts-check
/**
 * What the phone keeps: the queue of operations, photos on their way, what was parked, drafts of
 * forms. The only module that knows IndexedDB. Everything that a technician said is written with
 * strict durability before the page says that it is saved.
 */

/** @typedef {import("./rules.js").Operation} Operation */

const NAME = "kickplate";
const VERSION = 1;

/** @type {Promise<IDBDatabase> | undefined} */
let opening;

/** @returns {Promise<IDBDatabase>} */
function open() {
  opening ??= new Promise((done, fail) => {
    const request = indexedDB.open(NAME, VERSION);
    request.onupgradeneeded = () => {
      const made = request.result;
      made.createObjectStore("meta");
      made.createObjectStore("operations", { keyPath: "seq" });
      made.createObjectStore("photos", { keyPath: "sha256" });
      made.createObjectStore("parked", { keyPath: "id" });
      made.createObjectStore("drafts");
    };
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
    request.onerror = () => {
      opening = undefined;
      fail(request.error);
    };
    request.onblocked = () => fail(new Error("another tab holds an older store"));
  });
  return opening;
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

/**
 * Keep one operation: it gets this phone's name and its next number in the same transaction.
 * @param {Omit<Operation, "device" | "seq">} draft @param {string} fresh a name, if there is none
 * @returns {Promise<Operation>}
 */
export async function keep(draft, fresh) {
  /** @type {any} */
  const op = { ...draft };
  await within(["meta", "operations"], "readwrite", (transaction) => {
    const meta = transaction.objectStore("meta");
    const asked = meta.get("device");
    asked.onsuccess = () => {
      const device = asked.result ?? { name: fresh, seq: 0 };
      device.seq += 1;
      Object.assign(op, { device: device.name, seq: device.seq });
      meta.put(device, "device");
      count(meta, op.visit);
      transaction.objectStore("operations").put(op);
    };
  });
  return op;
}

/** Count what this phone has made for a visit: the closing says how much came before it.
 * @param {IDBObjectStore} meta @param {string} visit */
function count(meta, visit) {
  const key = `made/${visit}`;
  const asked = meta.get(key);
  asked.onsuccess = () => meta.put((asked.result ?? 0) + 1, key);
}

/** How many operations this phone has made for a visit. @param {string} visit */
export const madeFor = async (visit) =>
  /** @type {number} */ (
    (await within(["meta"], "readonly", (t) => t.objectStore("meta").get(`made/${visit}`))) ?? 0
  );

/** The queue, in the order in which it was made. @returns {Promise<Operation[]>} */
export const queue = () =>
  within(["operations"], "readonly", (t) => t.objectStore("operations").getAll());

/**
 * Take answered operations out of the queue, put changed ones back, and keep what was parked, in
 * one transaction: nothing is in both places or in neither.
 * @param {{gone: Operation[], changed: Operation[], parked: any[]}} settled
 */
export const settled = ({ gone, changed, parked }) =>
  within(["operations", "parked"], "readwrite", (transaction) => {
    const operations = transaction.objectStore("operations");
    for (const op of gone) operations.delete(op.seq);
    for (const op of changed) operations.put(op);
    for (const one of parked) transaction.objectStore("parked").put(one);
  });

/** What the office has to place, of one visit. @param {string} visit */
export const parkedOf = async (visit) =>
  (await within(["parked"], "readonly", (t) => t.objectStore("parked").getAll())).filter(
    (/** @type {any} */ one) => one.op.visit === visit,
  );

/** The technician has read it. @param {string} id */
export const forgetParked = (id) =>
  within(["parked"], "readwrite", (t) => void t.objectStore("parked").delete(id));

/**
 * Keep a photo until the server has it.
 * @param {{sha256: string, visit: string, person: string, blob: Blob, taken_at: string}} photo
 */
export const keepPhoto = (photo) =>
  within(["photos"], "readwrite", (t) => void t.objectStore("photos").put(photo));

/** @returns {Promise<{sha256: string, visit: string, person: string, blob: Blob, taken_at: string}[]>} */
export const photos = () => within(["photos"], "readonly", (t) => t.objectStore("photos").getAll());

/** @param {string} sha256 */
export const forgetPhoto = (sha256) =>
  within(["photos"], "readwrite", (t) => void t.objectStore("photos").delete(sha256));

/** What was typed into a form and not saved. @param {string} key @param {any} values */
export const keepDraft = (key, values) =>
  within(["drafts"], "readwrite", (t) => void t.objectStore("drafts").put(values, key));

/** @param {string} key @returns {Promise<any>} */
export const draft = (key) => within(["drafts"], "readonly", (t) => t.objectStore("drafts").get(key));

/** @param {string} key */
export const forgetDraft = (key) =>
  within(["drafts"], "readwrite", (t) => void t.objectStore("drafts").delete(key));
