// @ts-check
/**
 * Goes through the months of a plan without asking for a page each: a slider that also moves by
 * arrow keys and says each month in words. The words of every month come with the page.
 * @typedef {{tint: number | null, label: string, rate: string, caught: string, stands: string,
 *   alarm: boolean, bar: number}} Zone
 * @typedef {{key: string, name: string, words: string, zones: Record<string, Zone>,
 *   monitors: Record<string, [number, string]>, most: [string, string][]}} Month
 */

const root = document.querySelector("[data-trend-plan]");
const data = document.getElementById("months");
if (root instanceof HTMLElement && data) start(root, JSON.parse(data.textContent ?? "[]"));

/** @param {HTMLElement} root @param {Month[]} months */
function start(root, months) {
  const frame = root.querySelector("[data-month-slider]");
  const slider = frame?.querySelector("input");
  const select = root.querySelector("[data-month-select]");
  if (!(frame instanceof HTMLElement && slider && select instanceof HTMLSelectElement)) return;
  frame.hidden = false;
  root.querySelector("[data-month-links]")?.remove();

  const show = () => {
    const month = months[Number(slider.value)];
    if (!month) return;
    slider.setAttribute("aria-valuetext", month.words);
    select.value = month.key;
    write(root, "[data-month-words]", month.words);
    for (const [id, zone] of Object.entries(month.zones)) showZone(root, id, zone);
    for (const [id, pin] of Object.entries(month.monitors)) showPin(root, id, pin);
    showMost(root, month.most);
  };
  const words = root.querySelector("[data-month-words]");
  slider.addEventListener("input", () => {
    // The slider says the month as its own value: said twice it would only be in the way.
    words?.setAttribute("aria-live", "off");
    show();
  });
  // Once the slider is let go: browsers refuse an address that changes too often.
  slider.addEventListener("change", () => remember(select.value));
  select.addEventListener("change", () => {
    words?.setAttribute("aria-live", "polite");
    slider.value = String(months.findIndex((month) => month.key === select.value));
    show();
    remember(select.value);
  });
  // A page that was come back to has its slider where it was left, and its words where they began.
  if (months[Number(slider.value)]?.key !== select.value) show();
}

/** @param {ParentNode} within @param {string} what @param {string} words */
function write(within, what, words) {
  const element = within.querySelector(what);
  if (element) element.textContent = words;
}

/** @param {HTMLElement} root @param {string} id @param {Zone} zone */
function showZone(root, id, zone) {
  const outline = root.querySelector(`[data-zone="${id}"]`);
  const tint = zone.tint === null ? "tint-unread" : `tint-${zone.tint}`;
  outline?.setAttribute("class", `zone-tint ${tint}${zone.alarm ? " is-alarm" : ""}`);
  write(root, `[data-zone-label="${id}"]`, zone.label);
  const row = root.querySelector(`[data-zone-row="${id}"]`);
  if (!row) return;
  row.classList.toggle("late", zone.alarm);
  const meter = row.querySelector("meter");
  if (meter) {
    meter.value = zone.bar;
    meter.textContent = zone.rate;
  }
  write(row, "[data-rate]", zone.rate);
  write(row, "[data-caught]", zone.caught);
  write(row, "[data-stands]", zone.stands);
}

/** @param {HTMLElement} root @param {string} id @param {[number, string]} pin */
function showPin(root, id, [size, words]) {
  const drawn = root.querySelector(`[data-pin="${id}"]`);
  if (!(drawn instanceof SVGElement)) return;
  const { x, y } = drawn.dataset;
  drawn.setAttribute("transform", `translate(${x} ${y}) scale(${size})`);
  drawn.classList.toggle("unknown", words === "not read");
  const link = drawn.querySelector("a");
  link?.setAttribute("aria-label", `${link.getAttribute("data-title")}: ${words}`);
}

/** @param {HTMLElement} root @param {[string, string][]} most */
function showMost(root, most) {
  const list = root.querySelector("[data-most]");
  const none = root.querySelector("[data-none]");
  if (none instanceof HTMLElement) none.hidden = most.length > 0;
  list?.replaceChildren(
    ...most.map(([words, address]) => {
      const link = document.createElement("a");
      link.className = "row-title";
      link.href = address;
      link.textContent = words;
      const main = document.createElement("div");
      main.className = "row-main";
      main.append(link);
      const item = document.createElement("li");
      item.append(main);
      return item;
    }),
  );
}

/**
 * Keeps the month in the address, so that the page can be loaded again and shared.
 * @param {string} key
 */
function remember(key) {
  const address = new URL(location.href);
  address.searchParams.set("month", key);
  history.replaceState(history.state, "", address);
}
