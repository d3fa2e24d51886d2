// @ts-check
/** The page of the day: its stops in order, then those of the days after it. */

import { Phone } from "./phone.js";

const phone = new Phone(() => {});
phone.open();
