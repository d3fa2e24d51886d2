// @ts-check
/** Where the code of a printed label leads: into the open walk, else to the monitor's page. */

import { byId } from "./dom.js";
import * as store from "./store.js";

const addresses = byId("phone").dataset;
const code = location.pathname.split("/").filter(Boolean).at(-1)?.toUpperCase();
const person = /(?:^|; )who=([^;]+)/.exec(document.cookie)?.[1] ?? "";

find();

async function find() {
  for (const visit of await store.visitsOf(person).catch(() => [])) {
    const monitor = visit.zones
      .flatMap((/** @type {any} */ zone) => zone.monitors)
      .find((/** @type {any} */ one) => one.label_code === code);
    if (!monitor || !["booked", "under_way"].includes(visit.state)) continue;
    const page = addresses.walk?.replace(/0{8}-.*0{12}/, visit.id);
    location.replace(`${page}#monitor-${monitor.id}`);
    return;
  }
  location.replace(`${location.pathname}?page`);
}
