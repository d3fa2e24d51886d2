// @ts-check
/** Instants and days in words, and what they are if the phone's clock is wrong. No clock of its own. */

const CLOCK_MATTERS = 120; // seconds; the server takes the same

/**
 * The instant of an operation, by the server's clock as far as the phone knew it.
 * @param {{made_at: string, clock_ahead?: number | null}} op
 */
export const happenedAt = ({ made_at: made, clock_ahead: ahead }) => trueTime(new Date(made), ahead ?? null).toISOString();

/** What the server's clock shows when the phone's shows this. @param {Date} now @param {number | null} ahead seconds */
export const trueTime = (now, ahead) =>
  ahead !== null && Math.abs(ahead) > CLOCK_MATTERS ? new Date(now.getTime() - ahead * 1000) : now;

/** Words for a clock that is wrong, or nothing. @param {number | null} ahead seconds */
export function clockWords(ahead) {
  if (ahead === null || Math.abs(ahead) <= CLOCK_MATTERS) return "";
  return `This phone’s clock is ${spanWords(Math.abs(ahead))} ${ahead > 0 ? "fast" : "slow"}. Times are corrected when they are sent; set the clock right when you can.`;
}

/** A span such as "3 hours". @param {number} seconds */
export function spanWords(seconds) {
  const [unit, size] = seconds >= 2 * 86_400 ? ["day", 86_400] : seconds >= 7200 ? ["hour", 3600] : ["minute", 60];
  const many = Math.round(seconds / /** @type {number} */ (size));
  return `${many} ${unit}${many === 1 ? "" : "s"}`;
}

/** The day on a calendar, such as 2026-02-03. @param {Date} instant @param {string} zone */
export const dayIn = (instant, zone) => new Intl.DateTimeFormat("en-CA", { timeZone: zone }).format(instant);

/** A time of day at the site, such as 10:42. @param {string} instant @param {string} zone */
export function timeAt(instant, zone) {
  return new Intl.DateTimeFormat("en-GB", {
    hour: "2-digit",
    minute: "2-digit",
    timeZone: zone,
  }).format(new Date(instant));
}

/** A day, such as Tue 3 Feb 2026. @param {string} day */
export function dayWords(day) {
  const [year, month, date] = day.slice(0, 10).split("-").map(Number);
  return new Intl.DateTimeFormat("en-GB", {
    weekday: "short",
    day: "numeric",
    month: "short",
    year: "numeric",
    timeZone: "UTC",
  })
    .format(new Date(Date.UTC(year, month - 1, date)))
    .replace(",", "");
}

/**
 * The instant of a local time of day on the visit's day, as the phone's own zone has it.
 * @param {string} time such as 10:42 @param {Date} now
 */
export function instantOf(time, now) {
  const [hour, minute] = time.split(":").map(Number);
  const there = new Date(now);
  there.setHours(hour, minute, 0, 0);
  return there.toISOString();
}
