// @ts-check
/** What every page gains from script. Nothing depends on it: all of it works, slower, without. */

import { askFirst } from "./shared/ask.js";
import { focusOnErrors } from "./shared/errors.js";
import { listKeys } from "./shared/keys.js";
import { sendOnce } from "./shared/once.js";
import { lookAgain } from "./shared/poll.js";
import { keepUnsent } from "./shared/signout.js";

keepUnsent(document); // first, so that a form it holds back is not marked as sent
focusOnErrors(document);
askFirst(document);
sendOnce(document);
listKeys(document);
lookAgain(document);
