// @ts-check
/**
 * Makes tapping a plan quicker. Without this the plan is an image button of a set size, and every
 * tap is a page; with it the plan fills the page, and an outline grows under the finger.
 */

import { asLines, asPoints, fromLines, shareOf } from "./corners.js";

const SVG = "http://www.w3.org/2000/svg";

for (const form of document.querySelectorAll("form[data-tap-plan]")) {
  if (form instanceof HTMLFormElement) makeLive(form);
}

/** @param {HTMLFormElement} form */
function makeLive(form) {
  const image = form.querySelector("input[type=image]");
  const width = form.querySelector("[data-tap-width]");
  if (!(image instanceof HTMLInputElement && width instanceof HTMLInputElement)) return;
  form.classList.add("is-live");
  image.addEventListener("click", () => {
    // The server reads the tap in pixels, so it must know how wide the plan is drawn now.
    width.value = String(image.clientWidth);
  });
  if ("outline" in form.dataset) growOutline(form, image);
}

/** @param {HTMLFormElement} form @param {HTMLInputElement} image */
function growOutline(form, image) {
  const lines = document.querySelector("textarea[name=corners]");
  const overlay = form.querySelector("svg");
  const count = form.querySelector("[data-corner-count]");
  if (!(lines instanceof HTMLTextAreaElement && overlay && count)) return;
  const most = Number(form.dataset.outline);
  const { width, height } = overlay.viewBox.baseVal;

  /** @param {import("./corners.js").Corner[]} corners */
  const show = (corners) => {
    lines.value = asLines(corners);
    count.textContent = String(corners.length);
    for (const old of overlay.querySelectorAll(".in-the-making, .corner")) old.remove();
    const outline = document.createElementNS(SVG, "polygon");
    outline.setAttribute("class", "zone-outline in-the-making");
    outline.setAttribute("points", asPoints(corners, { width, height }));
    overlay.append(outline);
    for (const [x, y] of corners) {
      const dot = document.createElementNS(SVG, "circle");
      dot.setAttribute("class", "corner");
      dot.setAttribute("cx", String(x * width));
      dot.setAttribute("cy", String(y * height));
      dot.setAttribute("r", "5");
      overlay.append(dot);
    }
  };

  image.addEventListener("click", (event) => {
    event.preventDefault();
    // Pressed by keyboard it has no place; the corners can be typed instead.
    if (event.detail === 0) return;
    const corners = fromLines(lines.value);
    if (corners.length >= most) return;
    const size = { width: image.clientWidth, height: image.clientHeight };
    show([...corners, shareOf({ x: event.offsetX, y: event.offsetY }, size)]);
  });
  form.querySelector("[data-corner-back]")?.addEventListener("click", (event) => {
    event.preventDefault();
    show(fromLines(lines.value).slice(0, -1));
  });
  form.querySelector("[data-corner-restart]")?.addEventListener("click", (event) => {
    event.preventDefault();
    show([]);
  });
  lines.addEventListener("change", () => show(fromLines(lines.value)));
}
