// @ts-check
/** What to know at the door; one button starts the visit. */

import { Phone } from "./phone.js";

const phone = new Phone(() => {});
phone.open();
