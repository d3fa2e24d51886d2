// @ts-check
/** The last resort: what is not sent yet, as a file that the office can load. */

import { asSent } from "./queue.js";
import * as store from "./store.js";

const FORM = "kickplate-log-1";

/** Unsent records of a person, and all photos of theirs that are still here. @param {string} person */
export async function unsentOf(person) {
  const [operations, photos] = await Promise.all([store.unsent(), store.photos()]);
  const own = (/** @type {any} */ one) => one.person === person;
  return { operations: operations.filter(own), photos: photos.filter(own), others: operations.filter((op) => !own(op)).length };
}

/** One photo at a time is read, so that sixty of them fit in a phone's memory. @param {string} person @returns {Promise<{name: string, file: Blob}>} */
export async function logFile(person) {
  const { operations, photos } = await unsentOf(person);
  const lists = await store.listsOf(person).catch(() => null);
  const at = new Date().toISOString();
  const head = {
    form: FORM,
    person: { id: person, name: lists?.person?.name ?? "" },
    device: operations[0]?.device ?? "",
    saved_at: at,
    operations: operations.map(asSent),
  };
  /** @type {BlobPart[]} */
  const parts = [JSON.stringify(head).slice(0, -1), ',"photos":['];
  for (const [i, { sha256, visit, taken_at: taken, blob }] of photos.entries()) {
    const facts = JSON.stringify({ sha256, visit, taken_at: taken, type: blob.type });
    parts.push(`${i ? "," : ""}${facts.slice(0, -1)},"data":"`, new Blob([await base64(blob)]), '"}');
  }
  parts.push("]}");
  return { name: `kickplate-unsent-${at.slice(0, 10)}.json`, file: new Blob(parts, { type: "application/json" }) };
}

/** @param {Blob} blob @returns {Promise<string>} */
function base64(blob) {
  return new Promise((done, fail) => {
    const reader = new FileReader();
    reader.onload = () => done(String(reader.result).split(",")[1] ?? "");
    reader.onerror = () => fail(reader.error);
    reader.readAsDataURL(blob);
  });
}

/** Hand a file to whoever holds the phone. @param {{name: string, file: Blob}} given */
export function saveFile({ name, file }) {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(file);
  link.download = name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
}
