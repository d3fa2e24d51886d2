// @ts-check
/** Shown instead of a page that needs a line: tries again once there is one. */

addEventListener("online", () => location.reload());
